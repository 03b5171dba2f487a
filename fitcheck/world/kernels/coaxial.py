"""A cylinder along an axis of a box, or two parallel cylinders: closed forms.

Both are products of a segment along the axis and a figure across it, so the distance is
that of the two gaps, and the depth the lesser of the two overlaps. These are the square
scenes: most of what is asked.
"""

from __future__ import annotations

from math import sqrt

import numpy as np

from fitcheck.world.kernels.bodies import BOX, Bodies, Measure
from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Vector, add, along, axis, clamp, cross, dot, length, scale, sub

# Axes turned against each other by less than this (sine) count as parallel: 6e-11 mm on
# 600 mm.
PARALLEL = 1e-13


@native
def shared_axis(bodies: Bodies, i: int, j: int) -> int:
    """Which axis of body i the axis of cylinder j lies along; -1 for none."""
    a = axis(bodies.frames, j, 2)
    if bodies.kinds[i] == BOX:
        for k in range(3):
            if length(cross(axis(bodies.frames, i, k), a)) < PARALLEL:
                return k
        return -1
    return 2 if length(cross(axis(bodies.frames, i, 2), a)) < PARALLEL else -1


@native
def box_and_disc(
    half_x: float, half_y: float, x: float, y: float, r: float
) -> tuple[float, float, float, float, float]:
    """Separation of a rectangle and a disc, its direction, and the contact on the rectangle.

    Exact signed distance of a rectangle, less the radius; the middle of the disc is at x, y.
    """
    px, py = clamp(x, half_x), clamp(y, half_y)
    away = sqrt((x - px) ** 2 + (y - py) ** 2)
    if away > 0.0:
        return away - r, (x - px) / away, (y - py) / away, px, py
    side_x = 1.0 if x >= 0.0 else -1.0
    side_y = 1.0 if y >= 0.0 else -1.0
    if abs(x) - half_x >= abs(y) - half_y:
        return abs(x) - half_x - r, side_x, 0.0, side_x * half_x, y
    return abs(y) - half_y - r, 0.0, side_y, x, side_y * half_y


@native
def discs(own: float, x: float, y: float, r: float) -> tuple[float, float, float, float, float]:
    """As box_and_disc for a disc of radius `own` about the origin."""
    away = sqrt(x * x + y * y)
    u, v = (x / away, y / away) if away > 0.0 else (1.0, 0.0)
    return away - own - r, u, v, u * own, v * own


@native
def measure_coaxial(bodies: Bodies, i: int, j: int, c: Vector, k: int, within: float) -> Measure:
    """Distance, depth, normal, points (from the centre of i) and error; axis k of i is shared."""
    halves, frames = bodies.halves, bodies.frames
    a, u, v = axis(frames, i, k), axis(frames, i, (k + 1) % 3), axis(frames, i, (k + 2) % 3)
    x, y, z = dot(c, u), dot(c, v), dot(c, a)
    r = halves[j, 0]
    if bodies.kinds[i] == BOX:
        across, nx, ny, px, py = box_and_disc(halves[i, (k + 1) % 3], halves[i, (k + 2) % 3], x, y, r)
    else:
        across, nx, ny, px, py = discs(halves[i, 0], x, y, r)
    side = 1.0 if z >= 0.0 else -1.0
    rise = abs(z) - halves[i, k] - halves[j, 2]
    apart = max(across, rise)
    if across > 0.0 and rise > 0.0:
        apart = sqrt(across * across + rise * rise)
    normal = add(scale(u, nx), scale(v, ny))
    sideways = along(scale(u, nx * across), v, ny * across)
    if across > 0.0 and rise > 0.0:
        normal = scale(along(sideways, a, side * rise), 1.0 / apart)
    elif rise >= across:
        normal = scale(a, side)
        if across < 0.0:
            # Over each other: the middle of what faces, not the contact across.
            px, py = shared_middle(bodies, i, k, px, py, nx, ny, -across, r)
            sideways = (0.0, 0.0, 0.0)
    if apart > within:
        nowhere = (np.nan, np.nan, np.nan)
        return apart, 0.0, normal, nowhere, nowhere, np.inf
    here = add(scale(u, px), scale(v, py))
    if rise >= 0.0 or rise >= across:
        p = along(here, a, side * halves[i, k])
        q = along(add(here, sideways), a, side * (halves[i, k] + rise))
    else:
        low = max(-halves[i, k], z - halves[j, 2])
        high = min(halves[i, k], z + halves[j, 2])
        p = along(here, a, 0.5 * (low + high))
        q = add(p, sideways)
    return max(apart, 0.0), max(-apart, 0.0), normal, p, q, 0.0


@native
def shared_middle(
    bodies: Bodies, i: int, k: int, px: float, py: float, nx: float, ny: float, shared: float, r: float
) -> tuple[float, float]:
    """A place in both figures, from the contact on that of body i inwards, against (nx, ny).

    Along that line the disc of radius r reaches from shared - 2 r to shared, and the
    figure of i from 0 to its width.
    """
    halves = bodies.halves
    nearest = max(0.0, shared - 2.0 * r)
    if bodies.kinds[i] != BOX:
        inwards = 0.5 * (nearest + min(shared, 2.0 * halves[i, 0]))
        return px - nx * inwards, py - ny * inwards
    half_x, half_y = halves[i, (k + 1) % 3], halves[i, (k + 2) % 3]
    inwards = 0.5 * (nearest + min(shared, 2.0 * (abs(nx) * half_x + abs(ny) * half_y)))
    # From a corner the line may leave a thin rectangle: held in it, the place only comes
    # nearer to the middle of the disc.
    return clamp(px - nx * inwards, half_x), clamp(py - ny * inwards, half_y)


@native
def mirrored(found: Measure, c: Vector) -> Measure:
    """The answer for (i, j) from that for (j, i), where c leads from i to j."""
    distance, depth, normal, p, q, error = found
    back = (-normal[0], -normal[1], -normal[2])
    return distance, depth, back, add(c, q), add(c, p), error


@native
def backwards(c: Vector) -> Vector:
    """-c."""
    return sub((0.0, 0.0, 0.0), c)
