"""What a straight line meets first among boxes, cylinders and triangles: exact, by a tree over all pieces.

A line that starts in a box or cylinder is stopped where it starts; a mesh is its shell.
"""

from __future__ import annotations

from math import inf, sqrt
from typing import NamedTuple

from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Floats, Ints, Vector

# Columns of a piece: axes of its frame in the world one after the other, centre, half sizes, kind
# (that of `parts.solids.Kind`), and of a mesh the first node of its tree.
CENTRE, HALF, KIND, ROOT, COLUMNS = 9, 12, 15, 16, 17
BOX, CYLINDER = 0.0, 1.0
# A line may pass so far beside a triangle and still meet it, as a share of its edges: no line slips
# between two that share an edge.
SEAM = 1e-9


class Pieces(NamedTuple):
    """All pieces that can stop a line.

    Args:
        numbers: (n, COLUMNS), as the columns are named above, in the order of `boxes`' leaves.
        boxes: (m, 6) low and high corners of the nodes of the tree over the pieces, then of those over the
            triangles of each mesh in its own frame; a node's first child is the next row.
        links: (m, 3) row of the second child, 0 for a leaf; the run of pieces, or triangles, of a leaf.
        corners: (t, 9) a corner of each triangle and the two edges from it.
        todo: (2, k) room for a walk through the upper and a lower tree.
    """

    numbers: Floats
    boxes: Floats
    links: Ints
    corners: Floats
    todo: Ints


@native
def enters(boxes: Floats, k: int, o: Vector, w: Vector, most: float) -> bool:
    """Whether o + t w, 0 <= t <= most, comes into box k."""
    near, far = 0.0, most
    for m in range(3):
        low, high = boxes[k, m] - o[m], boxes[k, m + 3] - o[m]
        if w[m] == 0.0:
            if low > 0.0 or high < 0.0:
                return False
        else:
            a, b = low / w[m], high / w[m]
            near, far = max(near, min(a, b)), min(far, max(a, b))
    # Rounding of the quotients, so that what lies in a side of the box is not passed by.
    return near <= far + 1e-12 * (1.0 + abs(far))


@native
def into_box(a: float, b: float, c: float, o: Vector, w: Vector) -> float:
    """Where a line enters the box of these half sizes; 0 when it starts inside, inf when it passes."""
    near, far = 0.0, inf
    for m in range(3):
        half = a if m == 0 else b if m == 1 else c
        if w[m] == 0.0:
            if abs(o[m]) >= half:
                return inf
        else:
            s, t = (-half - o[m]) / w[m], (half - o[m]) / w[m]
            near, far = max(near, min(s, t)), min(far, max(s, t))
    return near if near < far else inf


@native
def into_cylinder(radius: float, half: float, o: Vector, w: Vector) -> float:
    """Where a line enters the cylinder along z; 0 when it starts inside, inf when it passes."""
    near, far = 0.0, inf
    if w[2] == 0.0:
        if abs(o[2]) >= half:
            return inf
    else:
        s, t = (-half - o[2]) / w[2], (half - o[2]) / w[2]
        near, far = max(near, min(s, t)), min(far, max(s, t))
    square = w[0] * w[0] + w[1] * w[1]
    outside = o[0] * o[0] + o[1] * o[1] - radius * radius
    if square == 0.0:
        return near if near < far and outside < 0.0 else inf
    along = o[0] * w[0] + o[1] * w[1]
    root = along * along - square * outside
    if root <= 0.0:
        return inf
    root = sqrt(root)
    near, far = max(near, (-along - root) / square), min(far, (root - along) / square)
    return near if near < far else inf


@native
def onto_triangle(corners: Floats, k: int, o: Vector, w: Vector) -> float:
    """Where a line crosses triangle k, from either side; inf when it does not.

    Moeller and Trumbore, Fast, minimum storage ray/triangle intersection, 1997.
    """
    ux, uy, uz = corners[k, 3], corners[k, 4], corners[k, 5]
    vx, vy, vz = corners[k, 6], corners[k, 7], corners[k, 8]
    px, py, pz = w[1] * vz - w[2] * vy, w[2] * vx - w[0] * vz, w[0] * vy - w[1] * vx
    size = ux * px + uy * py + uz * pz
    if size == 0.0:
        return inf
    sx, sy, sz = o[0] - corners[k, 0], o[1] - corners[k, 1], o[2] - corners[k, 2]
    a = (sx * px + sy * py + sz * pz) / size
    if a < -SEAM or a > 1.0 + SEAM:
        return inf
    qx, qy, qz = sy * uz - sz * uy, sz * ux - sx * uz, sx * uy - sy * ux
    b = (w[0] * qx + w[1] * qy + w[2] * qz) / size
    if b < -SEAM or a + b > 1.0 + SEAM:
        return inf
    t = (vx * qx + vy * qy + vz * qz) / size
    return t if t >= 0.0 else inf


@native
def onto_mesh(pieces: Pieces, root: int, o: Vector, w: Vector, most: float) -> float:
    """Where a line first meets a triangle below a node, in the mesh's frame; inf when beyond `most`."""
    boxes, links, corners, todo = pieces.boxes, pieces.links, pieces.corners, pieces.todo
    best, found = most, False
    todo[1, 0] = root
    waiting = 1
    while waiting:
        waiting -= 1
        node = todo[1, waiting]
        if not enters(boxes, node, o, w, best):
            continue
        second = links[node, 0]
        if second:
            todo[1, waiting], todo[1, waiting + 1] = second, node + 1
            waiting += 2
            continue
        for k in range(links[node, 1], links[node, 2]):
            t = onto_triangle(corners, k, o, w)
            if t <= best:
                best, found = t, True
    return best if found else inf


@native
def into_piece(pieces: Pieces, i: int, o: Vector, w: Vector, most: float) -> float:
    """Where a line first meets piece i; inf when beyond `most`, or never."""
    n = pieces.numbers
    x, y, z = o[0] - n[i, CENTRE], o[1] - n[i, CENTRE + 1], o[2] - n[i, CENTRE + 2]
    own = (
        n[i, 0] * x + n[i, 1] * y + n[i, 2] * z,
        n[i, 3] * x + n[i, 4] * y + n[i, 5] * z,
        n[i, 6] * x + n[i, 7] * y + n[i, 8] * z,
    )
    way = (
        n[i, 0] * w[0] + n[i, 1] * w[1] + n[i, 2] * w[2],
        n[i, 3] * w[0] + n[i, 4] * w[1] + n[i, 5] * w[2],
        n[i, 6] * w[0] + n[i, 7] * w[1] + n[i, 8] * w[2],
    )
    if n[i, KIND] == BOX:
        return into_box(n[i, HALF], n[i, HALF + 1], n[i, HALF + 2], own, way)
    if n[i, KIND] == CYLINDER:
        return into_cylinder(n[i, HALF], n[i, HALF + 2], own, way)
    return onto_mesh(pieces, int(n[i, ROOT]), own, way, most)


@native
def first(pieces: Pieces, o: Vector, w: Vector, any_will_do: bool) -> tuple[float, int]:
    """Where o + t w, 0 <= t <= 1, first meets a piece, and which; inf and -1 when it is free.

    Args:
        any_will_do: whether it is free is all that is asked: any piece it meets is given.
    """
    boxes, links, todo = pieces.boxes, pieces.links, pieces.todo
    best, which = 1.0, -1
    if len(pieces.numbers) == 0:
        return inf, -1
    todo[0, 0] = 0
    waiting = 1
    while waiting:
        waiting -= 1
        node = todo[0, waiting]
        if not enters(boxes, node, o, w, best):
            continue
        second = links[node, 0]
        if second:
            todo[0, waiting], todo[0, waiting + 1] = second, node + 1
            waiting += 2
            continue
        for i in range(links[node, 1], links[node, 2]):
            t = into_piece(pieces, i, o, w, best)
            if t <= best:
                best, which = t, i
                if any_will_do:
                    return best, which
    return (best, which) if which >= 0 else (inf, -1)
