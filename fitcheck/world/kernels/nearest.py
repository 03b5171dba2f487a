"""Nearest points of any two convex bodies, with a certificate.

Gilbert, Johnson and Keerthi, A fast procedure for computing the distance between complex
objects in three-dimensional space, IEEE J. Robotics and Automation 4, 1988: the point
nearest to the origin of the set of all differences (point of j minus point of i), by
hulls of up to four of its points.
"""

from __future__ import annotations

from math import sqrt

import numpy as np

from fitcheck.world.kernels.bodies import Bodies, Scratch, clear, farthest, separation, square_to
from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Floats, Vector, add, along, dot, length, row, scale, sub

# Bodies nearer than this touch: rounding of coordinates of 1 km is about as large.
TOUCH = 1e-10
# Where the search ends: upper minus lower bound, mm.
ENOUGH = 1e-9
# Rounds before it is left to other means; smooth pairs need 10 to 30.
ROUNDS = 60
# How far from a face (sine) a direction may lean and count as square to it. The wider
# ones only steer the search: both bounds are computed without them.
TIES = (1e-13, 1e-8, 1e-6, 1e-4)

# p, q, lower bound of the distance and its direction, whether they touch or overlap.
Found = tuple[Vector, Vector, float, Vector, bool]


@native
def weigh_edge(a: Vector, b: Vector) -> tuple[float, float, bool]:
    """Weights of a and b at the point of their line nearest to the origin; ok if inside."""
    e = sub(b, a)
    size = dot(e, e)
    if size == 0.0:
        return 0.0, 0.0, False
    s = -dot(a, e) / size
    return 1.0 - s, s, s > 0.0 and s < 1.0


@native
def weigh_triangle(a: Vector, b: Vector, c: Vector) -> tuple[float, float, float, bool]:
    """Weights at the point of the plane of a, b, c nearest to the origin; ok if inside.

    Orthogonal directions instead of normal equations: slivers lose half the digits less.
    """
    e, f = sub(b, a), sub(c, a)
    e_size = length(e)
    if e_size == 0.0:
        return 0.0, 0.0, 0.0, False
    u = scale(e, 1.0 / e_size)
    shear = dot(f, u)
    g = along(f, u, -shear)
    g_size = length(g)
    if g_size <= 1e-15 * abs(shear):
        return 0.0, 0.0, 0.0, False
    t = -dot(a, g) / (g_size * g_size)
    s = (-dot(a, u) - t * shear) / e_size
    return 1.0 - s - t, s, t, s > 0.0 and t > 0.0 and s + t < 1.0


@native
def weigh_all(a: Vector, b: Vector, c: Vector, d: Vector) -> tuple[float, float, float, float, bool]:
    """Weights of the origin in the tetrahedron a, b, c, d; ok if inside."""
    e, f, g = sub(b, a), sub(c, a), sub(d, a)
    fg = (f[1] * g[2] - f[2] * g[1], f[2] * g[0] - f[0] * g[2], f[0] * g[1] - f[1] * g[0])
    volume = dot(e, fg)
    if abs(volume) <= 1e-14 * length(e) * length(f) * length(g):
        return 0.0, 0.0, 0.0, 0.0, False
    s = -dot(a, fg) / volume
    ag = (a[1] * g[2] - a[2] * g[1], a[2] * g[0] - a[0] * g[2], a[0] * g[1] - a[1] * g[0])
    t = -dot(e, ag) / volume
    fa = (f[1] * a[2] - f[2] * a[1], f[2] * a[0] - f[0] * a[2], f[0] * a[1] - f[1] * a[0])
    u = -dot(e, fa) / volume
    return 1.0 - s - t - u, s, t, u, s > 0.0 and t > 0.0 and u > 0.0 and s + t + u < 1.0


@native
def improve(hull: Floats, weights: Floats, count: int) -> tuple[int, float]:
    """Drop from the hull what its point nearest to the origin does not need.

    Tries every face that holds the newest point (the last row): a face counts if its
    weights are positive, so that each candidate is in the hull whatever the rounding.

    Args:
        hull: (4, 9) rows of difference, point of i, point of j; the first count are used.
        weights: (4,) filled with the weights of the rows kept.

    Returns:
        Rows kept, and the square of the least distance (inf if nothing is nearer).
    """
    new = count - 1
    a = row(hull, new)
    best = dot(a, a)
    mask = 0
    w0 = w1 = w2 = 0.0
    wa = 1.0
    for x in range(new):
        b = row(hull, x)
        fa, fb, ok = weigh_edge(a, b)
        v = add(scale(a, fa), scale(b, fb))
        if ok and dot(v, v) < best:
            best, mask, wa, w0 = dot(v, v), 1 << x, fa, fb
    for x in range(new):
        for y in range(x + 1, new):
            b, c = row(hull, x), row(hull, y)
            fa, fb, fc, ok = weigh_triangle(a, b, c)
            v = along(along(scale(a, fa), b, fb), c, fc)
            if ok and dot(v, v) < best:
                best, mask, wa, w0, w1 = dot(v, v), 1 << x | 1 << y, fa, fb, fc
    if new == 3:
        fa, fb, fc, fd, ok = weigh_all(a, row(hull, 0), row(hull, 1), row(hull, 2))
        if ok:
            best, mask, wa, w0, w1, w2 = 0.0, 7, fa, fb, fc, fd
    kept = 0
    for x in range(new):
        if mask >> x & 1:
            for m in range(9):
                hull[kept, m] = hull[x, m]
            weights[kept] = w0 if kept == 0 else w1 if kept == 1 else w2
            kept += 1
    for m in range(9):
        hull[kept, m] = hull[new, m]
    weights[kept] = wa
    return kept + 1, best


@native
def blend(hull: Floats, weights: Floats, count: int, first: int) -> Vector:
    """Weighted sum of columns first to first + 2."""
    total = (0.0, 0.0, 0.0)
    for x in range(count):
        total = along(total, (hull[x, first], hull[x, first + 1], hull[x, first + 2]), weights[x])
    return total


@native
def extend(
    bodies: Bodies, i: int, j: int, c: Vector, n: Vector, hull: Floats, count: int, tie: float
) -> Vector:
    """Write the support along n (from i to j) as row `count`; its difference."""
    p = farthest(bodies, i, n, tie)
    q = add(c, farthest(bodies, j, (-n[0], -n[1], -n[2]), tie))
    w = sub(q, p)
    for m in range(3):
        hull[count, m], hull[count, 3 + m], hull[count, 6 + m] = w[m], p[m], q[m]
    return w


@native
def search(
    bodies: Bodies, i: int, j: int, c: Vector, start: Vector, within: float, scratch: Scratch, tie: float
) -> Found:
    """Nearest points of bodies i and j, whose centre is at c from that of i.

    Returns:
        p, q from the centre of i; lower bound of the distance; its direction; whether
        they touch or overlap. A lower bound above `within` ends the search early.
    """
    hull, weights = scratch.hull, scratch.weights
    best, where = -np.inf, start
    w = extend(bodies, i, j, c, start, hull, 0, tie)
    weights[0] = 1.0
    count = 1
    square = dot(w, w)
    p, q = blend(hull, weights, count, 3), blend(hull, weights, count, 6)
    rounds = 0
    while rounds < ROUNDS:
        rounds += 1
        v = blend(hull, weights, count, 0)
        size = sqrt(dot(v, v))
        if size < TOUCH:
            return p, q, best, where, True
        n = scale(v, 1.0 / size)
        w = extend(bodies, i, j, c, n, hull, count, tie)
        least = separation(bodies, i, j, c, n)
        if least > best:
            best, where = least, n
        if size - best <= ENOUGH or best > within:
            break
        count, now = improve(hull, weights, count + 1)
        if now >= square:
            # Rounding lets nothing improve: the points found so far stand.
            break
        square = now
        p, q = blend(hull, weights, count, 3), blend(hull, weights, count, 6)
        if now == 0.0:
            return p, q, best, where, True
    return p, q, best, where, False


@native
def nearest(
    bodies: Bodies, i: int, j: int, c: Vector, start: Vector, within: float, scratch: Scratch
) -> Found:
    """As `search`; where rounding ends it early, again from a squared-up direction.

    Flush and square pairs are the ones that end early: the direction then leans by
    1e-10 from a face, and the search jumps between the far corners of that face.
    """
    p, q, best, where, met = search(bodies, i, j, c, start, within, scratch, TIES[0])
    if met or best > within:
        return p, q, best, where, met
    most, least = clear(bodies, i, j, c, p, q)
    if least > best:
        best, where = least, scale(sub(q, p), 1.0 / most)
    for again in range(1, len(TIES)):
        if most - best <= ENOUGH:
            break
        n = square_to(bodies, j, square_to(bodies, i, where, TIES[again]), TIES[again])
        p2, q2, best2, where2, met = search(bodies, i, j, c, n, within, scratch, TIES[again])
        if best2 > best:
            best, where = best2, where2
        if met:
            return p2, q2, best, where, met
        most2, least2 = clear(bodies, i, j, c, p2, q2)
        if least2 > best:
            best, where = least2, scale(sub(q2, p2), 1.0 / most2)
        if most2 < most:
            most, p, q = most2, p2, q2
    return p, q, best, where, False
