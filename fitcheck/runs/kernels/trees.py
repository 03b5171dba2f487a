"""Nearest triangle of a mesh, by trees of boxes as `world.kernels.tree` builds them."""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt
from typing import NamedTuple

import numpy as np

from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.tree import DEPTH, Tree
from fitcheck.world.kernels.vectors import Floats, Ints


class Trees(NamedTuple):
    """The trees of some meshes, one after the other, each in the frame of its mesh.

    Args:
        boxes: (m, 6) low and high corners of the nodes, a node's first child in the next row.
        links: (m, 3) row of the second child, 0 for a leaf; run of a node's triangles.
        corners: (t, 9) a corner of each triangle and the two edges from it.
        walk: (n, 2) room for one walk: rows of nodes, and the squares of their distances.
    """

    boxes: Floats
    links: Ints
    corners: Floats
    walk: Floats


def join(trees: Sequence[Tree]) -> tuple[Trees, list[int]]:
    """Trees of meshes as one set of arrays, and the first node of each."""
    boxes, links, corners = [np.empty((0, 6))], [np.empty((0, 3), np.int64)], [np.empty((0, 9))]
    nodes, triangles, roots = 0, 0, []
    for tree in trees:
        roots.append(nodes)
        edges = tree.corners[:, 1:] - tree.corners[:, :1]
        corners.append(np.hstack([tree.corners[:, 0], edges.reshape(-1, 6)]))
        second = np.where(tree.second > 0, tree.second + nodes, 0)
        links.append(np.column_stack([second, tree.start + triangles, tree.stop + triangles]))
        boxes.append(tree.boxes)
        nodes, triangles = nodes + len(tree.boxes), triangles + len(tree.corners)
    walk = np.empty((DEPTH + 2, 2))
    return Trees(np.concatenate(boxes), np.concatenate(links), np.concatenate(corners), walk), roots


@native
def box_square(boxes: Floats, i: int, x: float, y: float, z: float) -> float:
    """Square of the distance from a point to box i."""
    dx = max(boxes[i, 0] - x, x - boxes[i, 3], 0.0)
    dy = max(boxes[i, 1] - y, y - boxes[i, 4], 0.0)
    dz = max(boxes[i, 2] - z, z - boxes[i, 5], 0.0)
    return float(dx * dx + dy * dy + dz * dz)


@native
def triangle_square(corners: Floats, i: int, x: float, y: float, z: float) -> float:
    """Square of the distance from a point to triangle i.

    Regions of the triangle after Ericson, Real-Time Collision Detection, 5.1.5.
    """
    ux, uy, uz = corners[i, 3], corners[i, 4], corners[i, 5]
    vx, vy, vz = corners[i, 6], corners[i, 7], corners[i, 8]
    px, py, pz = x - corners[i, 0], y - corners[i, 1], z - corners[i, 2]
    uu, uv, vv = ux * ux + uy * uy + uz * uz, ux * vx + uy * vy + uz * vz, vx * vx + vy * vy + vz * vz
    pu, pv = px * ux + py * uy + pz * uz, px * vx + py * vy + pz * vz
    s, t = 0.0, 0.0
    c = uu * vv - uv * uv
    if c > 1e-14 * uu * vv:
        s, t = (vv * pu - uv * pv) / c, (uu * pv - uv * pu) / c
        inside = s >= 0.0 and t >= 0.0 and s + t <= 1.0
    else:
        inside = False
    if inside:
        dx, dy, dz = px - s * ux - t * vx, py - s * uy - t * vy, pz - s * uz - t * vz
        return float(dx * dx + dy * dy + dz * dz)
    # Outside: the nearest point lies on one of the edges.
    s = min(max(pu / uu, 0.0), 1.0) if uu > 0.0 else 0.0
    dx, dy, dz = px - s * ux, py - s * uy, pz - s * uz
    best = dx * dx + dy * dy + dz * dz
    t = min(max(pv / vv, 0.0), 1.0) if vv > 0.0 else 0.0
    dx, dy, dz = px - t * vx, py - t * vy, pz - t * vz
    best = min(best, dx * dx + dy * dy + dz * dz)
    wx, wy, wz = vx - ux, vy - uy, vz - uz
    ww = wx * wx + wy * wy + wz * wz
    qx, qy, qz = px - ux, py - uy, pz - uz
    r = min(max((qx * wx + qy * wy + qz * wz) / ww, 0.0), 1.0) if ww > 0.0 else 0.0
    dx, dy, dz = qx - r * wx, qy - r * wy, qz - r * wz
    return float(min(best, dx * dx + dy * dy + dz * dz))


@native
def shell_distance(trees: Trees, root: int, x: float, y: float, z: float, cap: float) -> float:
    """Distance from a point to the nearest triangle below a node, at most `cap`."""
    if cap <= 0.0:
        return cap
    boxes, links, corners, walk = trees.boxes, trees.links, trees.corners, trees.walk
    best = cap * cap
    node, wait = root, box_square(boxes, root, x, y, z)
    held = 0
    while True:
        if wait < best:
            right = links[node, 0]
            if right == 0:
                for j in range(links[node, 1], links[node, 2]):
                    best = min(best, triangle_square(corners, j, x, y, z))
            else:
                left = node + 1
                a, b = box_square(boxes, left, x, y, z), box_square(boxes, right, x, y, z)
                if b < a:
                    left, right, a, b = right, left, b, a
                if b < best:
                    walk[held, 0], walk[held, 1] = right, b
                    held += 1
                node, wait = left, a
                continue
        if held == 0:
            return sqrt(best) if best < cap * cap else cap
        held -= 1
        node, wait = int(walk[held, 0]), walk[held, 1]
