"""Shots: arc, straight, arc from one pose to another, the shortest way there is where no solid stands.

The length of such a way whose straight has direction u gains as much along u as any curve can
(`fitcheck.runs.bounds`): over all directions it is a peak of d.u + R (a - sin a + b - sin b), a and
b the angles of u to both directions of travel. Newton's steps uphill find it in a few rounds; the
fixed point over its corners, u = unit(d - R tan(a/2) t0 - R tan(b/2) t1), runs away from it where the
poses are within four radii.
"""

from __future__ import annotations

from math import acos, cos, sin, sqrt

import numpy as np

from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Vector, dot, length, scale, sub

# Rounds of the climb, halvings of one step, and the longest step, radians.
ROUNDS, HALVINGS, STRIDE = 24, 6, 0.7
# No steeper than this at the peak, radii for each radius and radius between the poses.
LEVEL = 1e-11
# A straight shorter than nothing by less is none, radii: two arcs often just meet.
ROUNDING = 1e-10
# An arc's corner lies R tan(A / 2) away: one of nearly a half turn is no use. Cosine of 166 degrees.
LEAST_COSINE = -0.97


@native
def arc_of(cosine: float) -> tuple[float, float]:
    """Angle and sine of an arc between directions with this cosine."""
    c = min(max(cosine, -1.0), 1.0)
    return acos(c), sqrt(max(1.0 - c * c, 0.0))


@native
def gained(d: Vector, t0: Vector, t1: Vector, u: Vector) -> float:
    """Length of arcs and straight that gain d.u along u, in radii."""
    a, sa = arc_of(dot(t0, u))
    b, sb = arc_of(dot(t1, u))
    return dot(d, u) + a - sa + b - sb


@native
def uphill(d: Vector, t0: Vector, t1: Vector, u: Vector) -> tuple[float, float, Vector, Vector, float]:
    """Newton's step to the peak near u, or the slope where the gain does not bend down.

    Returns:
        The step along two directions square to u and to each other, these, and the slope's size.
    """
    sign = -1.0 if u[2] < 0.0 else 1.0
    h = -1.0 / (sign + u[2])
    e = (1.0 + sign * u[0] * u[0] * h, sign * u[0] * u[1] * h, -sign * u[0])
    f = (u[0] * u[1] * h, sign + u[1] * u[1] * h, -u[1])
    ge, gf, ee, ef = dot(d, e), dot(d, f), -dot(d, u), 0.0
    ff = ee
    for t in (t0, t1):
        c, x, y = dot(t, u), dot(t, e), dot(t, f)
        # tan(A / 2) = k sin A, and (x, y) is sin A long.
        k, sine = 1.0 / max(1.0 + c, 1e-9), sqrt(x * x + y * y)
        ge -= k * sine * x
        gf -= k * sine * y
        # Along the arc's own turn the second derivative is sin A, square to it tan(A / 2) cos A.
        if sine > 1e-12:
            x, y = x / sine, y / sine
            across = k * sine * c
            ee += sine * x * x + across * y * y
            ff += sine * y * y + across * x * x
            ef += (sine - across) * x * y
    steep = sqrt(ge * ge + gf * gf)
    det = ee * ff - ef * ef
    if ee < 0.0 and det > 1e-12 * ee * ee:
        return -(ff * ge - ef * gf) / det, -(ee * gf - ef * ge) / det, e, f, steep
    return ge, gf, e, f, steep


@native
def shot(p0: Vector, t0: Vector, p1: Vector, t1: Vector, radius: float) -> tuple[float, float, float, Vector]:
    """The shortest way from one pose to another if it is arc, straight, arc, and no arc is above 166 degrees.

    Returns:
        Length (inf if there is none), what the arcs take of the straights they join, mm, and the
        direction between them: the corners are p0 + a t0 and p1 - b t1.
    """
    d = scale(sub(p1, p0), 1.0 / radius)
    far = length(d)
    if far < 1e-9:
        return np.inf, 0.0, 0.0, t0
    u = scale(d, 1.0 / far)
    value = gained(d, t0, t1, u)
    for _ in range(ROUNDS):
        x, y, e, f, steep = uphill(d, t0, t1, u)
        if steep < LEVEL * (1.0 + far):
            return closed(d, t0, t1, u, radius)
        size = sqrt(x * x + y * y)
        step = min(size, STRIDE)
        risen = False
        for _ in range(HALVINGS):
            c, s = cos(step), sin(step) / size
            v = (
                c * u[0] + s * (x * e[0] + y * f[0]),
                c * u[1] + s * (x * e[1] + y * f[1]),
                c * u[2] + s * (x * e[2] + y * f[2]),
            )
            v = scale(v, 1.0 / length(v))
            high = gained(d, t0, t1, v)
            # At the top rounding hides what the last steps gain: these are trusted.
            if high > value or size < 1e-5:
                u, value, risen = v, high, True
                break
            step /= 2
        if not risen:
            break
    return np.inf, 0.0, 0.0, u


@native
def closed(d: Vector, t0: Vector, t1: Vector, u: Vector, radius: float) -> tuple[float, float, float, Vector]:
    """The shot along a peak's direction, if it has a straight left and no arc is too long."""
    ca, cb = dot(t0, u), dot(t1, u)
    a, sa = arc_of(ca)
    b, sb = arc_of(cb)
    straight = dot(d, u) - sa - sb
    if straight < -ROUNDING or ca < LEAST_COSINE or cb < LEAST_COSINE:
        return np.inf, 0.0, 0.0, u
    return radius * (max(straight, 0.0) + a + b), radius * sa / (1 + ca), radius * sb / (1 + cb), u
