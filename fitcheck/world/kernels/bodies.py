"""Bodies and their supports: how far a box, cylinder or triangle reaches in a direction.

A body is a kind, three half sizes and a 3 x 3 frame; its support function and points
are relative to its centre. Everything else here knows a body only through them, so one
algorithm serves every pair of kinds.
"""

from __future__ import annotations

from math import sqrt
from typing import NamedTuple

import numpy as np

from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Floats, Ints, Vector, add, along, axis, dot, scale, sub

# BOX and CYLINDER are those of `parts.solids.Kind`. A TRIANGLE is known to the kernels
# only: the rows of its frame are its corners, relative to its centre.
BOX, CYLINDER, TRIANGLE = 0, 1, 2
# Directions sampled over the sphere where two cylinders overlap, see `depth.try_sphere`.
ON_SPHERE = 256

# Distance, depth, unit normal from i to j, point of i, point of j (both from the centre of
# i), and by how much the distance may be too large.
Measure = tuple[float, float, Vector, Vector, Vector, float]


class Bodies(NamedTuple):
    """Kinds (n,), half sizes (n, 3) and frames (n, 3, 3) as the public functions take them."""

    kinds: Ints
    halves: Floats
    frames: Floats


class Scratch(NamedTuple):
    """Room that one pair after the other uses, so that nothing has to be allocated.

    Args:
        turn: (3, 3) axes of one box in the frame of another.
        hull: (4, 9) points of the set of differences, see `nearest.improve`.
        weights: (4,) of these points.
        inner: two boxes, see `travel.surely_deeper`.
        ring: (8,) values about a direction, see `depth.climb_sphere`.
        values, samples: (m,) of m directions (m, 3), see `depth.try_sphere`.
    """

    turn: Floats
    hull: Floats
    weights: Floats
    inner: Bodies
    ring: Floats
    values: Floats
    samples: Floats


def make_scratch() -> Scratch:
    """New scratch."""
    inner = Bodies(np.zeros(2, np.int64), np.zeros((2, 3)), np.zeros((2, 3, 3)))
    sphere = np.empty(ON_SPHERE), np.empty((ON_SPHERE, 3))
    return Scratch(np.empty((3, 3)), np.empty((4, 9)), np.empty(4), inner, np.empty(8), *sphere)


@native
def reach(bodies: Bodies, i: int, n: Vector) -> float:
    """Support function of body i: greatest n.x over its points x, from its centre."""
    kind = bodies.kinds[i]
    halves = bodies.halves
    frames = bodies.frames
    if kind == BOX:
        total = abs(dot(axis(frames, i, 0), n)) * halves[i, 0]
        total += abs(dot(axis(frames, i, 1), n)) * halves[i, 1]
        return float(total + abs(dot(axis(frames, i, 2), n)) * halves[i, 2])
    if kind == CYLINDER:
        x, y = dot(axis(frames, i, 0), n), dot(axis(frames, i, 1), n)
        return float(abs(dot(axis(frames, i, 2), n)) * halves[i, 2] + sqrt(x * x + y * y) * halves[i, 0])
    best = dot((frames[i, 0, 0], frames[i, 0, 1], frames[i, 0, 2]), n)
    best = max(best, dot((frames[i, 1, 0], frames[i, 1, 1], frames[i, 1, 2]), n))
    return max(best, dot((frames[i, 2, 0], frames[i, 2, 1], frames[i, 2, 2]), n))


@native
def signed(x: float, tie: float) -> float:
    """Sign of x, 0 within the tie."""
    if x > tie:
        return 1.0
    if x < -tie:
        return -1.0
    return 0.0


@native
def farthest(bodies: Bodies, i: int, n: Vector, tie: float) -> Vector:
    """A point of body i, from its centre, that reaches farthest along the unit vector n.

    Within a sine of `tie` of a face or an axis n counts as on it: the point is then the
    middle of the face, which keeps flush pairs from jumping between its corners.
    """
    kind = bodies.kinds[i]
    halves = bodies.halves
    frames = bodies.frames
    if kind == BOX:
        point = (0.0, 0.0, 0.0)
        for k in range(3):
            a = axis(frames, i, k)
            point = along(point, a, signed(dot(a, n), tie) * halves[i, k])
        return point
    if kind == CYLINDER:
        a = axis(frames, i, 2)
        point = scale(a, signed(dot(a, n), tie) * halves[i, 2])
        # By the two axes across, not by n less its part along a: close to the axis that
        # difference is rounding, and would leave the disc.
        a, b = axis(frames, i, 0), axis(frames, i, 1)
        x, y = dot(a, n), dot(b, n)
        size = sqrt(x * x + y * y)
        if size > tie:
            point = along(along(point, a, x / size * halves[i, 0]), b, y / size * halves[i, 0])
        return point
    best = 0
    far = dot((frames[i, 0, 0], frames[i, 0, 1], frames[i, 0, 2]), n)
    for k in range(1, 3):
        here = dot((frames[i, k, 0], frames[i, k, 1], frames[i, k, 2]), n)
        if here > far:
            far = here
            best = k
    return (frames[i, best, 0], frames[i, best, 1], frames[i, best, 2])


@native
def separation(bodies: Bodies, i: int, j: int, c: Vector, n: Vector) -> float:
    """Gap between body i and body j (centre at c from that of i) seen along unit n.

    A lower bound of the distance for any n; minus a shift along n that clears them when
    negative.
    """
    return dot(c, n) - reach(bodies, i, n) - reach(bodies, j, (-n[0], -n[1], -n[2]))


@native
def radius(bodies: Bodies, i: int) -> float:
    """Radius of a ball about the centre that holds the body."""
    halves = bodies.halves
    if bodies.kinds[i] == CYLINDER:
        return sqrt(halves[i, 0] ** 2 + halves[i, 2] ** 2)
    if bodies.kinds[i] == BOX:
        return sqrt(halves[i, 0] ** 2 + halves[i, 1] ** 2 + halves[i, 2] ** 2)
    most = 0.0
    for k in range(3):
        corner = (bodies.frames[i, k, 0], bodies.frames[i, k, 1], bodies.frames[i, k, 2])
        most = max(most, dot(corner, corner))
    return sqrt(most)


@native
def clear(bodies: Bodies, i: int, j: int, c: Vector, p: Vector, q: Vector) -> tuple[float, float]:
    """Upper and lower bound of the distance proven by points p of i and q of j.

    The lower bound is the separation along q - p (engine of the certificate: weak
    duality of the distance between convex sets, Boyd and Vandenberghe, Convex
    Optimization, 8.2).
    """
    gap = sub(q, p)
    most = sqrt(dot(gap, gap))
    if most == 0.0:
        return 0.0, 0.0
    return most, separation(bodies, i, j, c, scale(gap, 1.0 / most))


@native
def square_to(bodies: Bodies, i: int, n: Vector, tie: float) -> Vector:
    """Unit n turned square to those axes of body i that it is square to within `tie`."""
    if bodies.kinds[i] == TRIANGLE:
        return n
    for k in range(3):
        a = axis(bodies.frames, i, k)
        lean = dot(n, a)
        if abs(lean) < tie and (bodies.kinds[i] == BOX or k == 2):
            n = along(n, a, -lean)
    return scale(n, 1.0 / sqrt(dot(n, n)))


@native
def middle(p: Vector, q: Vector) -> Vector:
    """Point half way."""
    return scale(add(p, q), 0.5)
