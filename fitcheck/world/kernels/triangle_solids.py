"""A triangle and a solid box or cylinder: their least distance and a nearest pair of points.

All in the frame of the solid, its middle at the origin. The square of the distance to a
convex solid is convex and smooth along an edge, so the nearest point of an edge is where
its slope, which never falls, is 0. If no edge holds the nearest point of the triangle, its
face does: below the point of the solid that reaches farthest towards it, or, where its
plane cuts the solid, at any point of the cut.
"""

from __future__ import annotations

from math import sqrt

import numpy as np

from fitcheck.world.kernels.bodies import BOX
from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.triangle_pairs import Pair, Triangle, face_of, nearer, on_face
from fitcheck.world.kernels.vectors import Vector, along, clamp, cross, dot, scale, sub

# Newton's rounds: an edge of a box takes 7 at most, one that runs along a cylinder at a
# tangent converges by thirds only, and its distance then three times as fast.
ROUNDS = 64


@native
def in_solid(kind: int, half: Vector, x: Vector) -> Vector:
    """Point of the solid nearest to x."""
    if kind == BOX:
        return clamp(x[0], half[0]), clamp(x[1], half[1]), clamp(x[2], half[2])
    off = sqrt(x[0] * x[0] + x[1] * x[1])
    shrink = half[0] / off if off > half[0] else 1.0
    return x[0] * shrink, x[1] * shrink, clamp(x[2], half[2])


@native
def farthest_of(kind: int, half: Vector, n: Vector) -> Vector:
    """A point of the solid that reaches farthest along n."""
    z = half[2] if n[2] > 0.0 else -half[2]
    if kind == BOX:
        return half[0] if n[0] > 0.0 else -half[0], half[1] if n[1] > 0.0 else -half[1], z
    size = sqrt(n[0] * n[0] + n[1] * n[1])
    if size == 0.0:
        return 0.0, 0.0, z
    return half[0] * n[0] / size, half[0] * n[1] / size, z


@native
def slope(kind: int, half: Vector, x: Vector, d: Vector) -> tuple[float, float]:
    """Half the slope of the square of the distance at x along d, and how fast it grows."""
    total = grow = 0.0
    if kind == BOX:
        for k in range(2):
            off = x[k] - clamp(x[k], half[k])
            if off != 0.0:
                total += off * d[k]
                grow += d[k] * d[k]
    else:
        r = sqrt(x[0] * x[0] + x[1] * x[1])
        if r > half[0]:
            u = x[0] * d[0] + x[1] * d[1]
            share = (r - half[0]) / r
            total += share * u
            grow += share * (d[0] * d[0] + d[1] * d[1]) + half[0] * u * u / (r * r * r)
    off = x[2] - clamp(x[2], half[2])
    if off != 0.0:
        total += off * d[2]
        grow += d[2] * d[2]
    return total, grow


@native
def nearest_on_edge(kind: int, half: Vector, a: Vector, b: Vector) -> Vector:
    """Point of the edge a b nearest to the solid: Newton's steps, held in a shrinking bracket."""
    d = sub(b, a)
    low, high = 0.0, 1.0
    rise, grow = slope(kind, half, a, d)
    if rise >= 0.0:
        return a
    if slope(kind, half, b, d)[0] <= 0.0:
        return b
    at = 0.0
    for _ in range(ROUNDS):
        step = at - rise / grow if grow > 0.0 else high
        if not low < step < high:
            step = 0.5 * (low + high)
        if step in (at, low, high):
            break
        at = step
        rise, grow = slope(kind, half, along(a, d, at), d)
        if rise == 0.0:
            break
        if rise < 0.0:
            low = at
        else:
            high = at
    return along(a, d, at)


@native
def nearest_of_solid(kind: int, half: Vector, t: Triangle) -> Pair:
    """Nearest points of a triangle and the solid."""
    best = (np.inf, t[0], t[0])
    for k in range(3):
        p = nearest_on_edge(kind, half, t[k], t[(k + 1) % 3])
        best = nearer(best, p, in_solid(kind, half, p))
    face = face_of(t)
    if face.high == 0.0:
        return best
    n = cross(face.along, face.across)
    s = farthest_of(kind, half, n)
    reach = dot(s, n)
    # Solids are their own mirror image: -s reaches as far to the other side.
    share = 0.0 if reach == 0.0 else clamp(dot(t[0], n) / reach, 1.0)
    p, over = on_face(face, scale(s, share))
    return nearer(best, p, in_solid(kind, half, p)) if over else best
