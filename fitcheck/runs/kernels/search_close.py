"""Closing a route: from a pose to a pose by at most two bends, as the bending allows."""

from __future__ import annotations

from math import acos, sqrt
from typing import NamedTuple

import numpy as np

from fitcheck.runs.kernels.search_trace import (
    Space,
    clear_arc,
    clear_line,
    clear_shot,
    half_tangent,
)
from fitcheck.runs.kernels.shots import LEAST_COSINE, shot
from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Floats, Vector, along, cross, dot, length, scale, sub

# Directions with a smaller sine between them are parallel; lines this near meet, mm.
PARALLEL, MEETS = 1e-7, 1e-6
# Cosines of angles that are the same differ by less.
SAME_COSINE = 1e-7


class Rules(NamedTuple):
    """How a run may bend.

    Args:
        radius: of each bend, mm.
        cosines: (k,) of the angles allowed; none: any angle.
        straight: least straight between two bends, mm.
        cost: what a bend counts besides its length, mm.
    """

    radius: float
    cosines: Floats
    straight: float
    cost: float


class Closing(NamedTuple):
    """The cheapest way found.

    Args:
        cost: length, and what its bends cost, mm; inf if there is none.
        bends: how many.
        first, second: its corners; one may lie on its leg and be none.
    """

    cost: float
    bends: int
    first: Vector
    second: Vector


@native
def allowed(rules: Rules, cosine: float) -> bool:
    """Whether a bend may have the angle with this cosine."""
    if len(rules.cosines) == 0:
        return cosine > LEAST_COSINE
    return bool(np.any(np.abs(rules.cosines - cosine) < SAME_COSINE))


@native
def taken(rules: Rules, cosine: float) -> tuple[float, float]:
    """What a bend takes of both its legs, and by how much its arc is shorter than those, mm."""
    a = rules.radius * half_tangent(cosine)
    return a, 2 * a - rules.radius * acos(min(max(cosine, -1.0), 1.0))


@native
def clear_corners(
    space: Space, p: Vector, q: Vector, radius: float, bends: int, c: Vector, e: Vector
) -> bool:
    """Whether p to q by the corners c, or c and e, is clear."""
    if bends == 0:
        return clear_line(space, p, q)
    first, second = sub(c, p), sub(e if bends == 2 else q, c)
    t, u = scale(first, 1.0 / length(first)), scale(second, 1.0 / length(second))
    a = radius * half_tangent(dot(t, u))
    start, left = along(c, t, -a), along(c, u, a)
    if bends == 1:
        return (
            clear_arc(space, start, t, u, radius)
            and clear_line(space, p, start)
            and clear_line(space, left, q)
        )
    third = sub(q, e)
    v = scale(third, 1.0 / length(third))
    b = radius * half_tangent(dot(u, v))
    enters, leaves = along(e, u, -b), along(e, v, b)
    if not clear_line(space, left, enters):
        return False
    if not clear_arc(space, start, t, u, radius) or not clear_arc(space, enters, u, v, radius):
        return False
    return clear_line(space, p, start) and clear_line(space, leaves, q)


@native
def by_two(
    space: Space,
    rules: Rules,
    p: Vector,
    t: Vector,
    q: Vector,
    v: Vector,
    last: float,
    ca: float,
    cb: float,
    best: Closing,
) -> Closing:
    """The best of `best` and the ways whose two bends have the angles with cosines ca and cb.

    The direction between them stands on a cone about t and on one about v; then the lengths of
    the three legs follow from l0 t + l1 u + l2 v = q - p.
    """
    # Over sixty lines: the parallel and the general case share all names of the formula.
    d = sub(q, p)
    a, wins_a = taken(rules, ca)
    b, wins_b = taken(rules, cb)
    least0, least1, least2 = a, a + b + rules.straight, b + last
    c = dot(t, v)
    w = cross(t, v)
    ww = dot(w, w)
    for side in range(2):
        if ww < PARALLEL * PARALLEL:
            if abs(ca - (cb if c > 0 else -cb)) > SAME_COSINE:
                break
            ahead = dot(d, t)
            off = along(d, t, -ahead)
            aside = length(off)
            sine = sqrt(max(1.0 - ca * ca, 0.0))
            if aside < MEETS or sine < PARALLEL:
                break
            n = scale(off, 1.0 / aside)
            u = along(scale(t, ca), n, sine)
            l1 = aside / sine
            rest = ahead - l1 * ca
            if c > 0:
                # Straight may stand before or after the two bends: once all here, once all there.
                l0 = least0 if side == 0 else rest - least2
                l2 = rest - l0
            else:
                l0 = max(least0, rest + least2)
                l2 = l0 - rest
        else:
            x, y = (ca - c * cb) / ww, (cb - c * ca) / ww
            square = (1.0 - x * x - y * y - 2 * x * y * c) / ww
            if square < 0.0:
                break
            z = sqrt(square) if side == 0 else -sqrt(square)
            u = along(along(scale(t, x), v, y), w, z)
            uv = cross(u, v)
            volume = dot(t, uv)
            if abs(volume) < PARALLEL:
                continue
            l0, l1, l2 = dot(d, uv) / volume, dot(t, cross(d, v)) / volume, dot(t, cross(u, d)) / volume
        if l0 < least0 - MEETS or l1 < least1 - MEETS or l2 < least2 - MEETS:
            continue
        cost = l0 + l1 + l2 - wins_a - wins_b + 2 * rules.cost
        if cost < best.cost - MEETS:
            first, second = along(p, t, l0), along(q, v, -l2)
            if clear_corners(space, p, q, rules.radius, 2, first, second):
                best = Closing(cost, 2, first, second)
    return best


@native
def close(
    space: Space, rules: Rules, p: Vector, t: Vector, q: Vector, v: Vector, last: float, most: float
) -> Closing:
    """The cheapest clear way found from p along t to q along v, cheaper than `most`.

    Args:
        last: least straight before q, mm.
    """
    best = Closing(most, 0, p, p)
    d = sub(q, p)
    c = dot(t, v)
    ahead = dot(d, t)
    w = cross(t, v)
    ww = dot(w, w)
    if ww < PARALLEL * PARALLEL:
        off = length(along(d, t, -ahead))
        if c > 0 and off < MEETS and ahead >= last and ahead < best.cost and clear_line(space, p, q):
            best = Closing(ahead, 0, p, p)
    elif allowed(rules, c) and abs(dot(d, w)) < MEETS * sqrt(ww):
        a, wins = taken(rules, c)
        l0, l2 = dot(cross(d, v), w) / ww, dot(cross(t, d), w) / ww
        cost = l0 + l2 - wins + rules.cost
        if l0 >= a - MEETS and l2 >= a + last - MEETS and cost < best.cost:
            first = along(p, t, l0)
            if clear_corners(space, p, q, rules.radius, 1, first, first):
                best = Closing(cost, 1, first, first)
    if len(rules.cosines) > 0:
        for ca in rules.cosines:
            for cb in rules.cosines:
                best = by_two(space, rules, p, t, q, v, last, ca, cb, best)
    else:
        end = along(q, v, -last)
        found, a, b, u = shot(p, t, end, v, rules.radius)
        bends = (a > MEETS) + (b > MEETS)
        cost = found + last + bends * rules.cost
        if cost < best.cost - MEETS:
            first, second = along(p, t, a), along(end, v, -b)
            sound = bends < 2 or length(sub(second, first)) >= a + b + rules.straight
            if sound and clear_shot(space, p, t, end, v, rules.radius, a, b, u) and clear_line(space, end, q):
                best = Closing(cost, 2, first, second)
    if best.cost >= most:
        return Closing(np.inf, 0, p, p)
    return best
