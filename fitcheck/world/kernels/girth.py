"""How thick is a closed surface where it is thickest: a ball that it holds, found from its faces."""

from __future__ import annotations

import numpy as np

from fitcheck.world.kernels.native import bare_entry, native
from fitcheck.world.kernels.triangle_pairs import Triangle, face_of, on_edge, on_face
from fitcheck.world.kernels.vectors import Floats, Vector, along, cross, dot, scale, sub


@native
def corners_of(triangles: Floats, i: int) -> Triangle:
    """The corners of triangle i."""
    t = triangles[i]
    return (t[0, 0], t[0, 1], t[0, 2]), (t[1, 0], t[1, 1], t[1, 2]), (t[2, 0], t[2, 1], t[2, 2])


# A face so little behind another that a line begins at is met at once, mm: rounding.
BEHIND = 1e-9


@native
def way_to(t: Triangle, x: Vector, d: Vector) -> tuple[float, bool]:
    """How far from x along d a triangle is met, inf when it is not, and whether from behind."""
    a, b, c = sub(t[0], x), sub(t[1], x), sub(t[2], x)
    u, v, w = dot(d, cross(b, c)), dot(d, cross(c, a)), dot(d, cross(a, b))
    if min(u, v, w) < 0.0 < max(u, v, w) or u + v + w == 0.0:
        return np.inf, False
    way = (u * dot(a, d) + v * dot(b, d) + w * dot(c, d)) / (u + v + w)
    return way if way > -BEHIND else np.inf, u + v + w > 0.0


@native
def square_from(t: Triangle, x: Vector) -> float:
    """Square of the distance of a point and a triangle."""
    below, over = on_face(face_of(t), x)
    if over:
        gap = sub(below, x)
        return dot(gap, gap)
    best = np.inf
    for k in range(3):
        gap = sub(on_edge(t[k], t[(k + 1) % 3], x), x)
        best = min(best, dot(gap, gap))
    return best


@native
def room_about(triangles: Floats, i: int, x: Vector, least: float) -> float:
    """Distance of a point and a surface if it is above `least`, else 0; faces listed near i come first."""
    n, best = len(triangles), np.inf
    for k in range(n):
        step = (k + 1) // 2
        j = (i + step if k % 2 else i - step) % n
        best = min(best, square_from(corners_of(triangles, j), x))
        if best <= least * least:
            return 0.0
    return float(np.sqrt(best))


@bare_entry
def girth(triangles: Floats, enough: float) -> float:
    """Diameter of the largest ball found in a closed surface; the search ends above `enough`.

    A ball is tried in the middle of each line from the middle of a face straight in to where
    it leaves: not always the largest, but none that does not fit.

    Args:
        triangles: (n, 3, 3) corners, outward by the right-hand rule, mm.
    """
    best = 0.0
    for i in range(len(triangles)):
        t = corners_of(triangles, i)
        face = face_of(t)
        if face.high == 0.0:
            continue
        inward = scale(cross(face.along, face.across), -1.0)
        x = scale(along(along(t[0], t[1], 1.0), t[2], 1.0), 1.0 / 3.0)
        way, leaves = np.inf, False
        for j in range(len(triangles)):
            if j != i and way > best:
                here, behind = way_to(corners_of(triangles, j), x, inward)
                if here < way:
                    way, leaves = here, behind
        if leaves and best < way < np.inf:
            best = max(best, 2.0 * room_about(triangles, i, along(x, inward, 0.5 * way), 0.5 * best))
            if best > enough:
                break
    return best
