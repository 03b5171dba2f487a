"""How far a body can move straight on before it presses into another.

For a fixed direction n the separation along n changes linearly with the travel, so the
signed distance, the greatest of them, is convex in the travel: tangents lie below it and
never step over anything.
"""

from __future__ import annotations

import numpy as np

from fitcheck.world.kernels.bodies import BOX, CYLINDER, TRIANGLE, Bodies, Scratch, radius, separation
from fitcheck.world.kernels.boxes import box_axis, box_reach, most_separate, relative
from fitcheck.world.kernels.coaxial import backwards
from fitcheck.world.kernels.depth import NO_AXIS, deepest, edge
from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.nearest import nearest
from fitcheck.world.kernels.vectors import Floats, Vector, along, axis, cross, dot, length, scale

# A direction of travel this near to square to a contact's normal slides along it: over
# 10 m it presses in by 1e-8 mm.
SLIDES = 1e-12
# Depth that rounding may add to a contact of exactly the tolerance, mm.
ROUNDING = 1e-9
# Gap at which two round bodies count as met, mm.
MET = 1e-8
# Tangents before the approach ends where it is, short of the contact. A path that grazes
# halves its remaining way each time; others need 5 to 10.
TANGENTS = 80
# Travel to which the deepest place of a grazing path is searched, mm.
FINE = 1e-6
BLOCKED_BEFORE = -1.0
# Side of the square in a circle of radius 1, halved.
SQUARE_IN_CIRCLE = 0.7071067811865475


@native
def travel_boxes(
    bodies: Bodies, i: int, j: int, c: Vector, d: Vector, limit: float, tolerance: float, turn: Floats
) -> float:
    """Travel of box i along the unit d until it touches box j, exact by the 15 axes."""
    t = relative(bodies, i, j, c, turn)
    frames = bodies.frames
    way = (dot(axis(frames, i, 0), d), dot(axis(frames, i, 1), d), dot(axis(frames, i, 2), d))
    allowed = tolerance + ROUNDING
    touch, enter, leave = 0.0, -np.inf, np.inf
    for k in range(15):
        n, real = box_axis(turn, k)
        if not real:
            continue
        both = box_reach(bodies, i, j, turn, n)
        offset, rate = dot(n, t), dot(n, way)
        if abs(rate) < SLIDES:
            if abs(offset) >= both - allowed:
                return np.inf
            continue
        if rate < 0.0:
            offset, rate = -offset, -rate
        if both <= allowed:
            return np.inf
        touch = max(touch, (offset - both) / rate)
        enter = max(enter, (offset - both + allowed) / rate)
        leave = min(leave, (offset + both - allowed) / rate)
    if leave <= max(enter, 0.0) or enter >= limit:
        return np.inf
    return BLOCKED_BEFORE if enter < 0.0 else touch


@native
def approach(
    bodies: Bodies, i: int, j: int, c: Vector, d: Vector, limit: float, scratch: Scratch
) -> tuple[float, bool]:
    """First travel of i along d at which it meets j, and whether it does before the limit."""
    s = 0.0
    for _ in range(TANGENTS):
        here = along(c, d, -s)
        between = length(here)
        start = scale(here, 1.0 / between) if between > 0.0 else d
        _, _, least, n, met = nearest(bodies, i, j, here, start, np.inf, scratch)
        if met or least < MET:
            return s, True
        rate = dot(n, d)
        if rate < SLIDES or s + least / rate >= limit:
            return limit, False
        s += least / rate
    return s, True


@native
def inner_box(bodies: Bodies, i: int, inner: Bodies, row: int) -> None:
    """Write a box that body i holds as body `row` of inner: itself, or the one in a cylinder."""
    shrink = SQUARE_IN_CIRCLE if bodies.kinds[i] == CYLINDER else 1.0
    for k in range(3):
        inner.halves[row, k] = bodies.halves[i, k] * (shrink if k < 2 else 1.0)
        for m in range(3):
            inner.frames[row, k, m] = bodies.frames[i, k, m]


@native
def surely_deeper(bodies: Bodies, i: int, j: int, c: Vector, tolerance: float, scratch: Scratch) -> bool:
    """Whether boxes inside the two bodies already overlap deeper, which is quick to tell."""
    if bodies.kinds[i] == TRIANGLE or bodies.kinds[j] == TRIANGLE:
        return False
    inner = scratch.inner
    inner_box(bodies, i, inner, 0)
    inner_box(bodies, j, inner, 1)
    t = relative(inner, 0, 1, c, scratch.turn)
    apart, _ = most_separate(inner, 0, 1, scratch.turn, t)
    return -apart > tolerance


@native
def presses(
    bodies: Bodies,
    i: int,
    j: int,
    c: Vector,
    d: Vector,
    low: float,
    high: float,
    tolerance: float,
    scratch: Scratch,
) -> bool:
    """Whether i gets deeper than the tolerance anywhere between two travels along d.

    Each depth comes with a direction, hence a line above the depth at every travel: it
    leaves only one side to search.
    """
    while True:
        s = 0.5 * (low + high)
        here = along(c, d, -s)
        if surely_deeper(bodies, i, j, here, tolerance, scratch):
            return True
        depth, n = deepest(bodies, i, j, here, d, scratch)
        if depth > tolerance:
            return True
        rate = dot(n, d)
        if abs(rate) < SLIDES:
            return False
        at = s + (tolerance - depth) / rate
        if rate > 0.0:
            low = max(at, s)
        else:
            high = min(at, s)
        if high - low < FINE:
            return False


@native
def kept_apart(bodies: Bodies, i: int, j: int, c: Vector, d: Vector, limit: float, n: Vector) -> bool:
    """Whether a plane square to n, of any length, stays between the bodies up to the limit."""
    size = length(n)
    if size < NO_AXIS:
        return False
    n = scale(n, 1.0 / size)
    for sign in (1.0, -1.0):
        n = scale(n, sign)
        here = separation(bodies, i, j, c, n)
        if here > MET and here - limit * dot(n, d) > MET:
            return True
    return False


@native
def passes_by(bodies: Bodies, i: int, j: int, c: Vector, d: Vector, limit: float) -> bool:
    """Whether a face of either body, or a cylinder's side, keeps them apart all the way; quick to tell."""
    for body in (i, j):
        if bodies.kinds[body] == TRIANGLE:
            n = cross(edge(bodies, body, 0), edge(bodies, body, 1))
            if kept_apart(bodies, i, j, c, d, limit, n):
                return True
            continue
        for k in range(3):
            a = axis(bodies.frames, body, k)
            if bodies.kinds[body] == CYLINDER:
                # Its end, and its side towards the other body.
                a = axis(bodies.frames, body, 2)
                if k > 0:
                    a = along(c, a, -dot(c, a))
            if kept_apart(bodies, i, j, c, d, limit, a):
                return True
            if bodies.kinds[body] == CYLINDER and k > 0:
                break
    return False


@native
def travel_convex(
    bodies: Bodies,
    i: int,
    j: int,
    c: Vector,
    d: Vector,
    limit: float,
    least: float,
    tolerance: float,
    scratch: Scratch,
) -> float:
    """As travel_boxes for any two bodies; inf when it is no shorter than `least`."""
    allowed = tolerance + ROUNDING
    # Farther than this they are past each other.
    end = min(limit, length(c) + radius(bodies, i) + radius(bodies, j) + 1.0)
    if passes_by(bodies, i, j, c, d, min(end, least)):
        return np.inf
    touch, met = approach(bodies, i, j, c, d, min(end, least), scratch)
    if not met:
        return np.inf
    if touch == 0.0 and deepest(bodies, i, j, c, d, scratch)[0] > allowed:
        return BLOCKED_BEFORE
    back, met = approach(bodies, i, j, along(c, d, -end), backwards(d), end - touch, scratch)
    if not met or not presses(bodies, i, j, c, d, touch, end - back, allowed, scratch):
        return np.inf
    return touch


@native
def past(c: Vector, d: Vector, reach: float, limit: float) -> bool:
    """Whether balls of that joint radius pass each other, or meet only beyond the limit."""
    way = dot(c, d)
    aside = dot(c, c) - way * way
    return aside >= reach * reach or way < -reach or way - reach > limit


@native
def travel_pair(
    bodies: Bodies,
    i: int,
    j: int,
    c: Vector,
    d: Vector,
    limit: float,
    least: float,
    tolerance: float,
    scratch: Scratch,
) -> float:
    """Travel of body i along d until it touches body j: 0 against it, -1 in it, inf free.

    What presses only beyond `limit` is free; a travel no shorter than `least` may be called so, too.
    """
    if past(c, d, radius(bodies, i) + radius(bodies, j), min(limit, least)):
        return np.inf
    if bodies.kinds[i] == BOX and bodies.kinds[j] == BOX:
        return travel_boxes(bodies, i, j, c, d, limit, tolerance, scratch.turn)
    return travel_convex(bodies, i, j, c, d, limit, least, tolerance, scratch)
