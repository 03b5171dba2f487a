"""Two triangles: their least distance and a nearest pair of points.

Every candidate is a point of the one and a point of the other, so no rounding makes a
distance too small: corners against edges and faces, edges against edges, and edges through
faces. For triangles apart one of the first three is least.
"""

from __future__ import annotations

import numpy as np

from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Vector, along, cross, dot, scale, sub

Triangle = tuple[Vector, Vector, Vector]
# Square of the distance, point of the first, point of the second.
Pair = tuple[float, Vector, Vector]

# A triangle whose height is below this share of its longest side has no face beside its
# edges, and two edges turned by less have no common normal: squares.
THIN = 1e-28


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
def normal_of(t: Triangle) -> tuple[Vector, float]:
    """Normal of a triangle, twice its area long, and its square; 0 when it has no face."""
    d, e = sub(t[1], t[0]), sub(t[2], t[0])
    n = cross(d, e)
    square = dot(n, n)
    longest = max(dot(d, d), dot(e, e))
    return n, square if square > THIN * longest * longest else 0.0


@native
def on_face(t: Triangle, n: Vector, square: float, x: Vector) -> tuple[Vector, bool]:
    """Point of a triangle below x, as weights of its corners; whether x is over the face."""
    a, b, c = sub(t[0], x), sub(t[1], x), sub(t[2], x)
    u, v, w = dot(cross(b, c), n), dot(cross(c, a), n), dot(cross(a, b), n)
    if u < 0.0 or v < 0.0 or w < 0.0:
        return x, False
    total = u + v + w
    if total == 0.0:
        return x, False
    return along(along(scale(t[0], u / total), t[1], v / total), t[2], w / total), True


@native
def corners_to(t: Triangle, s: Triangle, n: Vector, square: float, best: Pair) -> Pair:
    """The better of a pair (point of t, point of s) and those of corners of s with t."""
    for k in range(3):
        x = s[k]
        if square > 0.0:
            foot, over = on_face(t, n, square, x)
            if over:
                gap = sub(x, foot)
                if dot(gap, gap) < best[0]:
                    best = (dot(gap, gap), foot, x)
        for m in range(3):
            foot = on_edge(t[m], t[(m + 1) % 3], x)
            gap = sub(x, foot)
            if dot(gap, gap) < best[0]:
                best = (dot(gap, gap), foot, x)
    return best


@native
def edges_between(t: Triangle, s: Triangle, best: Pair) -> Pair:
    """The better of a pair and those inside an edge of t and inside an edge of s.

    By vector products alone: the usual formula, by scalar products, loses twice the digits
    on edges nearly parallel.
    """
    for k in range(3):
        a = t[k]
        d = sub(t[(k + 1) % 3], a)
        size = dot(d, d)
        for m in range(3):
            b = s[m]
            e = sub(s[(m + 1) % 3], b)
            n = cross(d, e)
            square = dot(n, n)
            w = sub(b, a)
            off = dot(w, n)
            if square <= THIN * size * dot(e, e) or off * off >= best[0] * square:
                continue
            x, y = dot(cross(w, e), n), dot(cross(w, d), n)
            if 0.0 < x < square and 0.0 < y < square:
                p, q = along(a, d, x / square), along(b, e, y / square)
                gap = sub(q, p)
                if dot(gap, gap) < best[0]:
                    best = (dot(gap, gap), p, q)
    return best


@native
def edges_through(t: Triangle, n: Vector, square: float, s: Triangle, best: Pair) -> Pair:
    """The better of a pair and those where an edge of s goes through the face of t."""
    for k in range(3):
        a, b = s[k], s[(k + 1) % 3]
        below, above = dot(sub(a, t[0]), n), dot(sub(b, t[0]), n)
        if below * above < 0.0:
            x = along(a, sub(b, a), below / (below - above))
            foot, over = on_face(t, n, square, x)
            gap = sub(x, foot)
            if over and dot(gap, gap) < best[0]:
                best = (dot(gap, gap), foot, x)
    return best


@native
def turned(best: Pair) -> Pair:
    """The pair of points the other way about."""
    return best[0], best[2], best[1]


@native
def nearest_of_triangles(t: Triangle, s: Triangle) -> Pair:
    """Nearest points of two triangles."""
    best = (np.inf, t[0], s[0])
    n, square = normal_of(t)
    m, other = normal_of(s)
    best = corners_to(t, s, n, square, best)
    best = turned(corners_to(s, t, m, other, turned(best)))
    best = edges_between(t, s, best)
    if square > 0.0:
        best = edges_through(t, n, square, s, best)
    if other > 0.0:
        best = turned(edges_through(s, m, other, t, turned(best)))
    return best
