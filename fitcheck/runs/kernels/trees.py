"""Nearest triangle of a mesh: a tree of boxes as flat arrays.

A tree is complete and lies in heap order: the children of node i are 2 i + 1 and 2 i + 2,
and all leaves hold equally many triangles. Meshes are asked in their own frame.
"""

from __future__ import annotations

from math import sqrt
from typing import NamedTuple

from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Floats, Ints


class Trees(NamedTuple):
    """All trees of a world, one after the other.

    Args:
        boxes: (m, 6) low and high corners of the nodes.
        corners: (t, 9) a corner and the two edges from it, leaf by leaf.
        first: (k, 4) of each tree: its first node, first triangle, leaves, triangles a leaf.
        stack: (64,) room for one walk.
        waits: (64,) square distances of the nodes on it.
    """

    boxes: Floats
    corners: Floats
    first: Ints
    stack: Ints
    waits: Floats


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
def shell_distance(trees: Trees, k: int, x: float, y: float, z: float, cap: float) -> float:
    """Distance from a point to the nearest triangle of tree k, at most `cap`."""
    if cap <= 0.0:
        return cap
    boxes, corners, stack, waits = trees.boxes, trees.corners, trees.stack, trees.waits
    base, start, leaves, each = trees.first[k, 0], trees.first[k, 1], trees.first[k, 2], trees.first[k, 3]
    best = cap * cap
    node, wait = 0, box_square(boxes, base, x, y, z)
    held = 0
    while True:
        if wait < best:
            if node >= leaves - 1:
                i = start + (node - leaves + 1) * each
                for j in range(i, i + each):
                    best = min(best, triangle_square(corners, j, x, y, z))
            else:
                left, right = 2 * node + 1, 2 * node + 2
                a = box_square(boxes, base + left, x, y, z)
                b = box_square(boxes, base + right, x, y, z)
                if b < a:
                    left, right, a, b = right, left, b, a
                if b < best:
                    stack[held], waits[held] = right, b
                    held += 1
                node, wait = left, a
                continue
        if held == 0:
            return sqrt(best) if best < cap * cap else cap
        held -= 1
        node, wait = stack[held], waits[held]
