"""Shortest clearing move of two convex bodies that overlap, one of them round.

Any unit n clears them by a shift of -separation(n), so the depth is the least of these.
The set of differences touches its largest inscribed ball at a point with one normal
only. For a polyhedron and a cylinder that leaves the face normals, the cylinder's axis,
and the great circles square to an edge or to the axis; two cylinders add the family in
which both touch by their rims, two-dimensional.
"""

from __future__ import annotations

from math import cos, pi, sin, sqrt

import numpy as np

from fitcheck.world.kernels.bodies import BOX, CYLINDER, ON_SPHERE, TRIANGLE, Bodies, Scratch, separation
from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Floats, Vector, along, axis, cross, dot, length, scale

# Samples on a great circle; those over the sphere, for two cylinders, are `ON_SPHERE`. The
# tests hold the result against 4,000 directions with refinement.
ON_CIRCLE = 24
# Starts refined from the sphere's samples, and how far they lie apart (cosine).
STARTS = 8
APART = 0.97
# Rounds of one climb: 5 to 10 when smooth; on a ridge it is left there.
CLIMB = 30
# Products of two unit edges shorter than this have no direction.
NO_AXIS = 1e-12
# No deeper than this, they touch: nothing is left to find.
TOUCHING = 1e-9
GOLDEN = (sqrt(5.0) - 1.0) / 2.0


@native
def turned(n: Vector, towards: Vector) -> Vector:
    """n or -n, whichever points along `towards`."""
    return n if dot(n, towards) >= 0.0 else (-n[0], -n[1], -n[2])


@native
def edge(bodies: Bodies, i: int, k: int) -> Vector:
    """Direction k of the edges of body i (a cylinder's axis counts as one); its length is free."""
    if bodies.kinds[i] == BOX:
        return axis(bodies.frames, i, k)
    if bodies.kinds[i] == CYLINDER:
        return axis(bodies.frames, i, 2)
    f, m = bodies.frames, (k + 1) % 3
    return (f[i, m, 0] - f[i, k, 0], f[i, m, 1] - f[i, k, 1], f[i, m, 2] - f[i, k, 2])


@native
def edge_count(bodies: Bodies, i: int) -> int:
    """How many directions `edge` knows."""
    return 1 if bodies.kinds[i] == CYLINDER else 3


@native
def try_axis(
    bodies: Bodies, i: int, j: int, c: Vector, n: Vector, best: float, where: Vector
) -> tuple[float, Vector]:
    """The better of (best, where) and n or -n of any length."""
    size = length(n)
    if size < NO_AXIS:
        return best, where
    n = turned(scale(n, 1.0 / size), c)
    here = separation(bodies, i, j, c, n)
    if bodies.kinds[i] == TRIANGLE or bodies.kinds[j] == TRIANGLE:
        # Not the same from both sides: the shorter way out may be against c.
        back = separation(bodies, i, j, c, (-n[0], -n[1], -n[2]))
        if back > here:
            here, n = back, (-n[0], -n[1], -n[2])
    if here > best:
        return here, n
    return best, where


@native
def try_faces(bodies: Bodies, i: int, j: int, c: Vector, best: float, where: Vector) -> tuple[float, Vector]:
    """Face normals of both bodies, axes of cylinders, and products of their edges."""
    for body in (i, j):
        if bodies.kinds[body] == TRIANGLE:
            n = cross(edge(bodies, body, 0), edge(bodies, body, 1))
            best, where = try_axis(bodies, i, j, c, n, best, where)
        else:
            for k in range(edge_count(bodies, body)):
                best, where = try_axis(bodies, i, j, c, edge(bodies, body, k), best, where)
    for k in range(edge_count(bodies, i)):
        for m in range(edge_count(bodies, j)):
            n = cross(edge(bodies, i, k), edge(bodies, j, m))
            best, where = try_axis(bodies, i, j, c, n, best, where)
    return best, where


@native
def around(e: Vector) -> tuple[Vector, Vector]:
    """Two unit vectors that make a right-handed frame with the unit vector e."""
    u = cross(e, (1.0, 0.0, 0.0)) if abs(e[0]) < 0.6 else cross(e, (0.0, 1.0, 0.0))
    u = scale(u, 1.0 / length(u))
    return u, cross(e, u)


@native
def on_circle(u: Vector, v: Vector, angle: float) -> Vector:
    """Unit vector at an angle from u towards v."""
    return along(scale(u, cos(angle)), v, sin(angle))


@native
def climb_circle(
    bodies: Bodies, i: int, j: int, c: Vector, u: Vector, v: Vector, low: float, high: float
) -> tuple[float, Vector]:
    """Greatest separation between two angles on a circle, by golden section."""
    a = high - GOLDEN * (high - low)
    b = low + GOLDEN * (high - low)
    at_a = separation(bodies, i, j, c, on_circle(u, v, a))
    at_b = separation(bodies, i, j, c, on_circle(u, v, b))
    while high - low > 1e-7:
        if at_a > at_b:
            high, b, at_b = b, a, at_a
            a = high - GOLDEN * (high - low)
            at_a = separation(bodies, i, j, c, on_circle(u, v, a))
        else:
            low, a, at_a = a, b, at_b
            b = low + GOLDEN * (high - low)
            at_b = separation(bodies, i, j, c, on_circle(u, v, b))
    if at_a > at_b:
        return at_a, on_circle(u, v, a)
    return at_b, on_circle(u, v, b)


@native
def try_circle(
    bodies: Bodies, i: int, j: int, c: Vector, e: Vector, best: float, where: Vector
) -> tuple[float, Vector]:
    """The better of (best, where) and the best direction square to the edge e."""
    size = length(e)
    if size < NO_AXIS:
        return best, where
    u, v = around(scale(e, 1.0 / size))
    # Bodies that are the same from both sides are left on the side they are on.
    least = -0.2 * length(c)
    if bodies.kinds[i] == TRIANGLE or bodies.kinds[j] == TRIANGLE:
        least = -np.inf
    step = 2.0 * pi / ON_CIRCLE
    before = separation(bodies, i, j, c, on_circle(u, v, -step))
    here = separation(bodies, i, j, c, u)
    for k in range(ON_CIRCLE):
        after = separation(bodies, i, j, c, on_circle(u, v, (k + 1) * step))
        top_near = here >= before and here >= after
        if top_near and dot(on_circle(u, v, k * step), c) >= least:
            top, n = climb_circle(bodies, i, j, c, u, v, (k - 1) * step, (k + 1) * step)
            if top > best:
                best, where = top, n
        before, here = here, after
    return best, where


@native
def climb_sphere(
    bodies: Bodies, i: int, j: int, c: Vector, n: Vector, step: float, ring: Floats
) -> tuple[float, Vector]:
    """A local best direction from n: the top of a quadric through nine values, or the best of them.

    Ridges, where the top is not smooth, are great circles that `try_circle` walks, so it
    does no harm that this stops on them.
    """
    best = separation(bodies, i, j, c, n)
    for _ in range(CLIMB):
        if step < 1e-6:
            break
        u, v = around(n)
        centre, middle_value = n, best
        for k in range(8):
            far = step if k % 2 == 0 else step * sqrt(2.0)
            m = off_by(centre, u, v, far * cos(k * pi / 4), far * sin(k * pi / 4))
            ring[k] = separation(bodies, i, j, c, m)
            if ring[k] > best:
                best, n = ring[k], m
        x, y = quadric_top(ring, middle_value)
        m = off_by(centre, u, v, step * x, step * y)
        here = separation(bodies, i, j, c, m)
        if here >= best:
            best, n = here, m
            step *= min(max(sqrt(x * x + y * y), 0.1), 1.0)
        elif best == middle_value:
            step *= 0.25
    return best, n


@native
def off_by(n: Vector, u: Vector, v: Vector, x: float, y: float) -> Vector:
    """Unit vector from n by x along u and y along v."""
    m = along(along(n, u, x), v, y)
    return scale(m, 1.0 / length(m))


@native
def quadric_top(ring: Floats, centre: float) -> tuple[float, float]:
    """Top of the quadric through the eight neighbours of a grid point, in steps, at most 2 away."""
    east, west, north, south = ring[0], ring[4], ring[2], ring[6]
    gx, gy = 0.5 * (east - west), 0.5 * (north - south)
    xx, yy = east + west - 2.0 * centre, north + south - 2.0 * centre
    xy = 0.25 * (ring[1] + ring[5] - ring[3] - ring[7])
    det = xx * yy - xy * xy
    if det <= 0.0 or xx >= 0.0:
        return 0.0, 0.0
    x, y = (xy * gy - yy * gx) / det, (xy * gx - xx * gy) / det
    size = sqrt(x * x + y * y)
    if size > 2.0:
        return x * 2.0 / size, y * 2.0 / size
    return x, y


@native
def try_sphere(
    bodies: Bodies, i: int, j: int, c: Vector, best: float, where: Vector, scratch: Scratch
) -> tuple[float, Vector]:
    """The better of (best, where) and what is found from samples of all directions."""
    values, samples = scratch.values, scratch.samples
    for k in range(ON_SPHERE):
        # Fibonacci spiral: evenly spread points on a half sphere, turned along c.
        z = (k + 0.5) / ON_SPHERE
        flat = sqrt(1.0 - z * z)
        angle = k * pi * (3.0 - sqrt(5.0))
        n = turned((flat * cos(angle), flat * sin(angle), z), c)
        samples[k, 0], samples[k, 1], samples[k, 2] = n[0], n[1], n[2]
        values[k] = separation(bodies, i, j, c, n)
    for _ in range(STARTS):
        k = 0
        for m in range(1, ON_SPHERE):
            if values[m] > values[k]:
                k = m
        if values[k] == -np.inf:
            break
        n = (samples[k, 0], samples[k, 1], samples[k, 2])
        for m in range(ON_SPHERE):
            if samples[m, 0] * n[0] + samples[m, 1] * n[1] + samples[m, 2] * n[2] > APART:
                values[m] = -np.inf
        top, n = climb_sphere(bodies, i, j, c, n, 0.05, scratch.ring)
        if top > best:
            best, where = top, n
    return best, where


@native
def deepest(
    bodies: Bodies, i: int, j: int, c: Vector, known: Vector, scratch: Scratch
) -> tuple[float, Vector]:
    """Depth of two overlapping bodies and its direction, from i to j.

    Args:
        known: a direction thought to be good, such as one that a search ended with.

    Returns:
        Depth (below 0: they are apart, proven by the direction) and the unit direction
        in which a shift of j by the depth clears them.
    """
    best, where = -np.inf, known
    best, where = try_axis(bodies, i, j, c, known, best, where)
    best, where = try_faces(bodies, i, j, c, best, where)
    if best > -TOUCHING or not (bodies.kinds[i] == CYLINDER or bodies.kinds[j] == CYLINDER):
        return -best, where
    for k in range(edge_count(bodies, i)):
        best, where = try_circle(bodies, i, j, c, edge(bodies, i, k), best, where)
    for k in range(edge_count(bodies, j)):
        best, where = try_circle(bodies, i, j, c, edge(bodies, j, k), best, where)
    if bodies.kinds[i] == CYLINDER and bodies.kinds[j] == CYLINDER:
        best, where = try_sphere(bodies, i, j, c, best, where, scratch)
    return -best, where
