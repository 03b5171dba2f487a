"""How far a place is from the nearest piece: exact, by the same trees."""

from __future__ import annotations

from math import inf, sqrt

from fitcheck.rays.kernels.hits import BOX, CENTRE, CYLINDER, HALF, KIND, ROOT, Pieces
from fitcheck.world.kernels.girth import square_from
from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Floats, Vector


@native
def square_to(boxes: Floats, k: int, p: Vector) -> float:
    """Square of the distance from p to box k, 0 inside."""
    found = 0.0
    for m in range(3):
        off = max(boxes[k, m] - p[m], p[m] - boxes[k, m + 3], 0.0)
        found += off * off
    return found


@native
def to_mesh(pieces: Pieces, root: int, p: Vector, most: float) -> float:
    """Distance from p to the nearest triangle below a node, in the mesh's frame; inf when beyond `most`."""
    boxes, links, corners, todo = pieces.boxes, pieces.links, pieces.corners, pieces.todo
    best, found = most * most, False
    todo[1, 0] = root
    waiting = 1
    while waiting:
        waiting -= 1
        node = todo[1, waiting]
        if square_to(boxes, node, p) >= best:
            continue
        second = links[node, 0]
        if second:
            # The nearer child is looked at first.
            first = node + 1
            if square_to(boxes, second, p) < square_to(boxes, first, p):
                first, second = second, first
            todo[1, waiting], todo[1, waiting + 1] = second, first
            waiting += 2
            continue
        for k in range(links[node, 1], links[node, 2]):
            a = (corners[k, 0], corners[k, 1], corners[k, 2])
            b = (a[0] + corners[k, 3], a[1] + corners[k, 4], a[2] + corners[k, 5])
            c = (a[0] + corners[k, 6], a[1] + corners[k, 7], a[2] + corners[k, 8])
            square = square_from((a, b, c), p)
            if square < best:
                best, found = square, True
    return sqrt(best) if found else inf


@native
def to_piece(pieces: Pieces, i: int, p: Vector, most: float) -> float:
    """Distance from p to piece i, of a mesh inf when beyond `most`; negative inside boxes and cylinders."""
    n = pieces.numbers
    x, y, z = p[0] - n[i, CENTRE], p[1] - n[i, CENTRE + 1], p[2] - n[i, CENTRE + 2]
    u = n[i, 0] * x + n[i, 1] * y + n[i, 2] * z
    v = n[i, 3] * x + n[i, 4] * y + n[i, 5] * z
    w = n[i, 6] * x + n[i, 7] * y + n[i, 8] * z
    if n[i, KIND] == BOX:
        a, b, c = abs(u) - n[i, HALF], abs(v) - n[i, HALF + 1], abs(w) - n[i, HALF + 2]
        inside = min(max(a, b, c), 0.0)
        a, b, c = max(a, 0.0), max(b, 0.0), max(c, 0.0)
        return float(inside + sqrt(a * a + b * b + c * c))
    if n[i, KIND] == CYLINDER:
        a, c = sqrt(u * u + v * v) - n[i, HALF], abs(w) - n[i, HALF + 2]
        inside = min(max(a, c), 0.0)
        a, c = max(a, 0.0), max(c, 0.0)
        return float(inside + sqrt(a * a + c * c))
    return to_mesh(pieces, int(n[i, ROOT]), (u, v, w), most)


@native
def room(pieces: Pieces, p: Vector, cap: float) -> tuple[float, int]:
    """Distance from p to the nearest piece, at most `cap`, and which; -1 when none is so near."""
    boxes, links, todo = pieces.boxes, pieces.links, pieces.todo
    best, which = cap, -1
    if len(pieces.numbers) == 0:
        return best, which
    todo[0, 0] = 0
    waiting = 1
    while waiting:
        waiting -= 1
        node = todo[0, waiting]
        # What holds the place may be deeper than what is known, so boxes that hold it are all looked into.
        far = square_to(boxes, node, p)
        if far > 0.0 and (best <= 0.0 or far >= best * best):
            continue
        second = links[node, 0]
        if second:
            first = node + 1
            if square_to(boxes, second, p) < square_to(boxes, first, p):
                first, second = second, first
            todo[0, waiting], todo[0, waiting + 1] = second, first
            waiting += 2
            continue
        for i in range(links[node, 1], links[node, 2]):
            found = to_piece(pieces, i, p, max(best, 0.0))
            if found < best:
                best, which = found, i
    return best, which
