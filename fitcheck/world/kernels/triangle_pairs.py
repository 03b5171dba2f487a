"""Two triangles: their least distance and a nearest pair of points.

Every candidate is a point of the one and a point of the other, so no rounding makes a
distance too small: corners against edges and faces, edges against edges, and edges through
faces. For triangles apart one of the first three is least.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Vector, along, cross, dot, length, scale, sub

Triangle = tuple[Vector, Vector, Vector]
# Square of the distance, point of the first, point of the second.
Pair = tuple[float, Vector, Vector]

# A triangle whose height is below this share of its longest side has no face beside its
# edges, and two edges turned by less have no common normal.
THIN = 1e-14
# What two edges are apart along their common normal rules them out when it is beyond the best by
# NEARLY and the square of their sine is above SURE: the more alike they run, the less is sure.
SURE, NEARLY = 1e-4, 1.0 + 1e-3


class Face(NamedTuple):
    """A triangle, its longest side first.

    Args:
        corners: its corners; `along` the unit direction of its first side, `across` that to
            the third corner, square to it.
        size: length of the first side; the third corner is `shear` along it and `high` above
            it. High 0: it has no face.
    """

    corners: Triangle
    along: Vector
    across: Vector
    size: float
    shear: float
    high: float


@native
def unit_share(x: float) -> float:
    """x held within 0 .. 1."""
    return min(max(x, 0.0), 1.0)


@native
def on_edge(a: Vector, b: Vector, x: Vector) -> Vector:
    """Point of the edge a b nearest to x."""
    d = sub(b, a)
    size = dot(d, d)
    if size == 0.0:
        return a
    return along(a, d, unit_share(dot(sub(x, a), d) / size))


@native
def face_of(t: Triangle) -> Face:
    """A triangle by its longest side, and directions across it that are square however thin it is.

    Each is made square twice over: of a difference of nearly equal parts the first time
    leaves rounding that a sliver makes large.
    """
    a, b, c = t
    ab, bc, ca = sub(b, a), sub(c, b), sub(a, c)
    if dot(bc, bc) > max(dot(ab, ab), dot(ca, ca)):
        a, b, c = b, c, a
    elif dot(ca, ca) > dot(ab, ab):
        a, b, c = c, a, b
    along_, other = sub(b, a), sub(c, a)
    size = length(along_)
    if size == 0.0:
        return Face(t, along_, along_, 0.0, 0.0, 0.0)
    u = scale(along_, 1.0 / size)
    shear = dot(other, u)
    g = along(other, u, -shear)
    high = length(g)
    if high <= THIN * size:
        return Face(t, u, u, size, shear, 0.0)
    g = scale(g, 1.0 / high)
    g = along(g, u, -dot(g, u))
    return Face((a, b, c), u, scale(g, 1.0 / length(g)), size, shear, high)


@native
def on_face(face: Face, x: Vector) -> tuple[Vector, bool]:
    """Point of a triangle below x, as weights of its corners; whether x is over the face."""
    a, b, c = face.corners
    if face.high == 0.0:
        return x, False
    w = sub(x, a)
    third = dot(w, face.across) / face.high
    second = (dot(w, face.along) - third * face.shear) / face.size
    first = 1.0 - second - third
    if first < 0.0 or second < 0.0 or third < 0.0:
        return x, False
    return along(along(scale(a, first), b, second), c, third), True


@native
def nearer(best: Pair, p: Vector, q: Vector) -> Pair:
    """The better of a pair and these two points."""
    gap = sub(q, p)
    square = dot(gap, gap)
    return (square, p, q) if square < best[0] else best


@native
def corners_to(t: Triangle, face: Face, s: Triangle, best: Pair) -> Pair:
    """The better of a pair (point of t, point of s) and those of corners of s with t."""
    for k in range(3):
        x = s[k]
        foot, over = on_face(face, x)
        if over:
            best = nearer(best, foot, x)
        for m in range(3):
            best = nearer(best, on_edge(t[m], t[(m + 1) % 3], x), x)
    return best


@native
def edges_between(t: Triangle, s: Triangle, best: Pair) -> Pair:
    """The better of a pair and those inside an edge of t and inside an edge of s.

    By vector products alone: the usual formula, by scalar products, loses twice the digits
    on edges nearly parallel. What these lose along both edges, the last steps mend.
    """
    for k in range(3):
        a, end = t[k], t[(k + 1) % 3]
        d = sub(end, a)
        size = dot(d, d)
        for m in range(3):
            b, last = s[m], s[(m + 1) % 3]
            e = sub(last, b)
            n = cross(d, e)
            square = dot(n, n)
            w = sub(b, a)
            off = dot(w, n)
            sine = square / max(size * dot(e, e), 1e-300)
            if sine <= THIN * THIN or (sine > SURE and off * off > best[0] * square * NEARLY):
                continue
            share = dot(cross(w, e), n) / square
            if 0.0 < share < 1.0:
                q = on_edge(b, last, along(a, d, share))
                best = nearer(best, on_edge(a, end, q), q)
    return best


@native
def edges_through(face: Face, s: Triangle, best: Pair) -> Pair:
    """The better of a pair and those where an edge of s goes through the face of a triangle."""
    if face.high == 0.0:
        return best
    n = cross(face.along, face.across)
    for k in range(3):
        a, b = s[k], s[(k + 1) % 3]
        below, above = dot(sub(a, face.corners[0]), n), dot(sub(b, face.corners[0]), n)
        if below * above < 0.0:
            foot, over = on_face(face, along(a, sub(b, a), below / (below - above)))
            if over:
                best = nearer(best, foot, on_edge(a, b, foot))
    return best


@native
def turned(best: Pair) -> Pair:
    """The pair of points the other way about."""
    return best[0], best[2], best[1]


@native
def nearest_of_triangles(t: Triangle, s: Triangle) -> Pair:
    """Nearest points of two triangles."""
    face, other = face_of(t), face_of(s)
    best = corners_to(t, face, s, (np.inf, t[0], s[0]))
    best = turned(corners_to(s, other, t, turned(best)))
    best = edges_between(t, s, best)
    best = edges_through(face, s, best)
    return turned(edges_through(other, t, turned(best)))
