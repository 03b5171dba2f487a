"""Whether a straight or an arc of a centre line is clear, and a shot from pose to pose.

The field of distances answers where it is sure; the solids themselves are asked only in
between, so that no answer hangs on the field's grid.
"""

from __future__ import annotations

from math import atan2, cos, floor, sin, sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fitcheck.runs.kernels.field import fill_about
from fitcheck.runs.kernels.solids import Solids, distance
from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Floats, Vector, along, cross, dot, length, scale, sub

# The search keeps large tables of these.
Singles = NDArray[np.float32]
Shorts = NDArray[np.int32]
# Trilinear interpolation of a field of exact distances errs by at most this times the pitch.
FIELD_ERROR = 0.87
# Where the field leaves less room than this, the solids themselves are asked: a longer step, mm.
SHORT_STEP = 4.0
# How far beyond what is needed the solids are asked, mm.
REACH = 12.0


class Space(NamedTuple):
    """Where a centre line may go.

    Args:
        solids: what is in the way.
        low: (3,) where the field's first value stands, mm.
        pitch: of the field, mm.
        cap: larger distances are given as this, mm.
        values: (nx, ny, nz) distances to the solids, float32; nan where nobody asked yet.
        need: least distance of the centre line to the solids, mm.
        step: points this far apart along a line say that all between is clear.
        box: (2, 3) where the centre line has to stay.
    """

    solids: Solids
    low: Floats
    pitch: float
    cap: float
    values: Singles
    need: float
    step: float
    box: Floats


@native
def interpolated(space: Space, p: Vector) -> float:
    """The field at a point; nan outside it."""
    values, h = space.values, space.pitch
    x, y, z = (p[0] - space.low[0]) / h, (p[1] - space.low[1]) / h, (p[2] - space.low[2]) / h
    i, j, k = floor(x), floor(y), floor(z)
    nx, ny, nz = values.shape
    if i < 0 or j < 0 or k < 0 or i > nx - 2 or j > ny - 2 or k > nz - 2:
        return np.nan
    x, y, z = x - i, y - j, z - k
    found = between_corners(values, i, j, k, x, y, z)
    if np.isnan(found):
        fill_about(space.solids, space.low, h, space.cap, values, i, j, k)
        found = between_corners(values, i, j, k, x, y, z)
    return found


@native
def between_corners(values: Singles, i: int, j: int, k: int, x: float, y: float, z: float) -> float:
    """The values at the corners of a cell of the grid, weighted for a place (0 to 1 each way) in it."""
    a = values[i, j, k] * (1 - z) + values[i, j, k + 1] * z
    b = values[i, j + 1, k] * (1 - z) + values[i, j + 1, k + 1] * z
    c = values[i + 1, j, k] * (1 - z) + values[i + 1, j, k + 1] * z
    d = values[i + 1, j + 1, k] * (1 - z) + values[i + 1, j + 1, k + 1] * z
    return float((a * (1 - y) + b * y) * (1 - x) + (c * (1 - y) + d * y) * x)


@native
def inside(space: Space, p: Vector) -> bool:
    """Whether a point is where the centre line has to stay."""
    box = space.box
    if p[0] < box[0, 0] or p[1] < box[0, 1] or p[2] < box[0, 2]:
        return False
    return not (p[0] > box[1, 0] or p[1] > box[1, 1] or p[2] > box[1, 2])


@native
def room(space: Space, p: Vector) -> float:
    """A lower bound of the room a centre line has at a point, exact in its sign, mm.

    Negative where it is too near to a solid, or where it may not be.
    """
    if not inside(space, p):
        return -1.0
    found = interpolated(space, p)
    error = FIELD_ERROR * space.pitch
    if found - error - space.need > SHORT_STEP:
        return found - error - space.need
    if found + error - space.need < 0.0:
        return found + error - space.need
    return distance(space.solids, p[0], p[1], p[2], space.need + REACH) - space.need


@native
def keeps(space: Space, p: Vector, least: float) -> bool:
    """Whether the distance of a point to the solids is `least` or more."""
    if not inside(space, p):
        return False
    return distance(space.solids, p[0], p[1], p[2], least + 0.001) >= least


@native
def clear_way(space: Space, p: Vector, d: Vector, most: float) -> float:
    """How far a straight from p along d is clear, mm: 0 to `most`, -1 if not even p is."""
    at, clear = 0.0, -1.0
    while True:
        left = room(space, along(p, d, at))
        if left < 0.0:
            return clear
        clear = at
        if at >= most:
            return most
        at = min(at + max(left, space.step), most)


@native
def arc_point(p: Vector, t: Vector, n: Vector, radius: float, angle: float) -> Vector:
    """Where an arc from p along t, bending towards n, is after an angle."""
    return along(along(p, t, radius * sin(angle)), n, 2 * radius * sin(angle / 2) ** 2)


@native
def clear_arc(space: Space, p: Vector, t: Vector, u: Vector, radius: float) -> bool:
    """Whether the arc from p along t to the direction u is clear."""
    c = dot(t, u)
    n = (u[0] - t[0] * c, u[1] - t[1] * c, u[2] - t[2] * c)
    s = length(n)
    if s < 1e-9:
        return room(space, p) >= 0.0
    n = scale(n, 1.0 / s)
    angle, at = atan2(s, c), 0.0
    # The middle first: what is in the way of an arc is seldom at its start.
    if room(space, arc_point(p, t, n, radius, angle / 2)) < 0.0:
        return False
    while True:
        left = room(space, arc_point(p, t, n, radius, at))
        if left < 0.0:
            return False
        if at >= angle:
            return True
        at = min(at + max(left, space.step) / radius, angle)


@native
def clear_line(space: Space, p: Vector, q: Vector) -> bool:
    """Whether the straight from p to q is clear."""
    d = sub(q, p)
    whole = length(d)
    if whole < 1e-9:
        return room(space, p) >= 0.0
    d = scale(d, 1.0 / whole)
    if room(space, along(p, d, whole / 2)) < 0.0:
        return False
    return clear_way(space, p, d, whole) >= whole


@native
def half_tangent(c: float) -> float:
    """tan(A / 2) of an angle by its cosine."""
    return sqrt(max(1.0 - c, 0.0) / max(1.0 + c, 1e-12))


@native
def clear_shot(
    space: Space, p0: Vector, t0: Vector, p1: Vector, t1: Vector, radius: float, a: float, b: float, u: Vector
) -> bool:
    """Whether a shot is clear."""
    c0, c1 = along(p0, t0, a), along(p1, t1, -b)
    start, end = along(c0, u, a), along(c1, u, -b)
    if not clear_line(space, start, end):
        return False
    return clear_arc(space, p0, t0, u, radius) and clear_arc(space, end, u, t1, radius)


@native
def turn_angle(t: Vector, u: Vector) -> float:
    """Angle between unit directions, radians, true near 0 as well."""
    return atan2(length(cross(t, u)), dot(t, u))


@native
def turned(t: Vector, n: Vector, angle: float) -> Vector:
    """t turned by an angle towards n, which is square to it."""
    return (
        t[0] * cos(angle) + n[0] * sin(angle),
        t[1] * cos(angle) + n[1] * sin(angle),
        t[2] * cos(angle) + n[2] * sin(angle),
    )
