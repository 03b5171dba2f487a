"""Making a route shorter: shots across it, and corners moved as long as all stays clear."""

from __future__ import annotations

from math import acos, sqrt

import numpy as np

from fitcheck.runs.kernels.search_close import Rules, close
from fitcheck.runs.kernels.search_trace import (
    Space,
    clear_arc,
    clear_line,
    half_tangent,
)
from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Floats, Ints, along, cross, dot, length, row, scale, sub

# What rounding may take of a straight, mm.
ROUNDING = 1e-9
# A move of a corner has to win so much, mm.
WORTH = 1e-5


@native
def bridge(
    space: Space,
    rules: Rules,
    places: Floats,
    ways: Floats,
    gone: Floats,
    before: Ints,
    corners: Floats,
    last: float,
) -> float:
    """The cheapest chain of closings over poses in order along a clear route; its cost, mm.

    Args:
        places, ways: (n, 3) poses.
        gone: (n,) cost of the route up to each: length, and what bends cost.
        before: (n,) filled: the pose before each in its chain.
        corners: (n, 6) filled: the corners of the closing that leads to each, the second nan where
            there is none; both nan where the route itself leads there.
        last: least straight before the last pose; before the others it is that between bends, mm.
    """
    n = len(places)
    cost = np.full(n, np.inf)
    cost[0], before[0] = 0.0, -1
    corners[:] = np.nan
    for j in range(1, n):
        q, t = row(places, j), row(ways, j)
        cost[j], before[j] = cost[j - 1] + gone[j] - gone[j - 1], j - 1
        for i in range(j - 1):
            p, d = row(places, i), row(ways, i)
            most = cost[j] - cost[i] - WORTH
            if length(sub(q, p)) >= most:
                continue
            found = close(space, rules, p, d, q, t, last if j == n - 1 else rules.straight, most)
            if found.cost < np.inf:
                cost[j], before[j] = cost[i] + found.cost, i
                corners[j] = np.nan
                corners[j, 0], corners[j, 1], corners[j, 2] = found.first
                if found.bends > 1:
                    corners[j, 3], corners[j, 4], corners[j, 5] = found.second
    return float(cost[n - 1])


@native
def leg_ways(corners: Floats, ways: Floats, lengths: Floats) -> bool:
    """Fill directions and lengths of the legs; False if a leg has none."""
    for i in range(len(corners) - 1):
        d = sub(row(corners, i + 1), row(corners, i))
        lengths[i] = length(d)
        if lengths[i] < 1e-6:
            return False
        ways[i, 0], ways[i, 1], ways[i, 2] = scale(d, 1.0 / lengths[i])
    return True


@native
def measured(
    corners: Floats, radius: float, ways: Floats, lengths: Floats, takes: Floats, short: float
) -> float:
    """Length of a route; inf if a leg keeps less than `short` of straight between two bends.

    Fills the legs' directions and lengths and what the bends take at each corner.
    """
    if not leg_ways(corners, ways, lengths):
        return np.inf
    n = len(corners)
    total = 0.0
    takes[0], takes[n - 1] = 0.0, 0.0
    for i in range(1, n - 1):
        c = dot(row(ways, i - 1), row(ways, i))
        if c < -0.999:
            return np.inf
        takes[i] = radius * half_tangent(c)
        total += radius * acos(min(c, 1.0))
    for i in range(n - 1):
        left = lengths[i] - takes[i] - takes[i + 1]
        if left < -ROUNDING or (short > 0.0 and 0 < i < n - 2 and left < short - ROUNDING):
            return np.inf
        total += left
    return total


@native
def clear_between(
    space: Space, corners: Floats, radius: float, ways: Floats, takes: Floats, first: int, last: int
) -> bool:
    """Whether the bends of corners first..last and the straights beside them are clear."""
    n = len(corners)
    for i in range(max(first, 1), min(last, n - 2) + 1):
        d = row(ways, i - 1)
        if not clear_arc(space, along(row(corners, i), d, -takes[i]), d, row(ways, i), radius):
            return False
    for i in range(max(first - 1, 0), min(last, n - 2) + 1):
        d = row(ways, i)
        start, end = along(row(corners, i), d, takes[i]), along(row(corners, i + 1), d, -takes[i + 1])
        if not clear_line(space, start, end):
            return False
    return True


@native
def drawn(state: int) -> tuple[int, float]:
    """The next state of a generator (xorshift of 32 bits, Marsaglia 2003), and a number in -1..1."""
    state ^= (state << 13) & 0xFFFFFFFF
    state ^= state >> 17
    state ^= (state << 5) & 0xFFFFFFFF
    return state, state / 2147483648.0 - 1.0


@native
def descend(
    space: Space,
    given: Floats,
    radius: float,
    held: Ints,
    rails: Floats,
    short: float,
    tries: int,
    step: float,
    finest: float,
    seed: int,
) -> Floats:
    """Move corners at random as long as the route becomes shorter and stays clear.

    Args:
        given: (n, 3) corners of a clear route.
        held: (n,) 0 for a corner that moves freely, 1 along its rail only, 2 not at all.
        rails: (n, 3) unit directions.
        short: least straight between two bends, mm.
        tries: moves tried at most.
        step, finest: length of the first moves, and where they end, mm.
        seed: of the moves, above 0.
    """
    # A line or two beyond sixty: one move, tried and taken back, is one thought.
    n = len(given)
    best, tried = given.copy(), given.copy()
    ways, lengths, takes = np.zeros((n - 1, 3)), np.zeros(n - 1), np.zeros(n)
    least = measured(best, radius, ways, lengths, takes, short)
    steps = np.full(n, step)
    state, done = seed, 0
    while done < tries:
        widest = 0.0
        for i in range(1, n - 1):
            if held[i] == 2 or steps[i] < finest:
                continue
            widest = max(widest, steps[i])
            done += 1
            state, x = drawn(state)
            if held[i] == 1:
                x = steps[i] if x > 0 else -steps[i]
                move = scale(row(rails, i), x)
            else:
                state, y = drawn(state)
                state, z = drawn(state)
                move = scale((x, y, z), steps[i] / max(sqrt(x * x + y * y + z * z), 1e-9))
            state, pick = drawn(state)
            last = i
            if pick > 0.4 and held[i] == 0 and held[i + 1] == 0 and i + 1 < n - 1:
                last = i + 1
            for k in range(i, last + 1):
                tried[k, 0], tried[k, 1], tried[k, 2] = along(row(best, k), move, 1.0)
            found = measured(tried, radius, ways, lengths, takes, short)
            if found < least - WORTH and clear_between(space, tried, radius, ways, takes, i - 1, last + 1):
                least = found
                steps[i] = min(steps[i] * 1.8, step)
                for k in range(i, last + 1):
                    best[k, 0], best[k, 1], best[k, 2] = row(tried, k)
            else:
                steps[i] *= 0.93
                for k in range(i, last + 1):
                    tried[k, 0], tried[k, 1], tried[k, 2] = row(best, k)
        if widest == 0.0:
            break
    return best


@native
def is_clear(space: Space, corners: Floats, radius: float, short: float) -> bool:
    """Whether a route is sound and clear from end to end."""
    n = len(corners)
    ways, lengths, takes = np.zeros((n - 1, 3)), np.zeros(n - 1), np.zeros(n)
    if measured(corners, radius, ways, lengths, takes, short) == np.inf:
        return False
    return clear_between(space, corners, radius, ways, takes, 0, n - 1)


@native
def without_corners(space: Space, given: Floats, radius: float, held: Ints, short: float) -> Ints:
    """Which corners are left (n,) when each that can go, the route becoming no longer, goes."""
    n = len(given)
    kept = np.arange(n)
    ways, lengths, takes = np.zeros((n - 1, 3)), np.zeros(n - 1), np.zeros(n)
    least = measured(given, radius, ways, lengths, takes, short)
    i = 1
    while i < len(kept) - 1:
        if held[kept[i]] == 0:
            fewer = np.concatenate((kept[:i], kept[i + 1 :]))
            corners = given[fewer]
            found = measured(corners, radius, ways, lengths, takes, short)
            if found <= least and clear_between(space, corners, radius, ways, takes, i - 1, i):
                kept, least = fewer, found
                continue
        i += 1
    return kept


@native
def slide(space: Space, given: Floats, radius: float, straight: float, ends: float) -> Floats:
    """Change legs, their directions held, as long as the route becomes shorter and stays clear.

    Two parallel legs, or three in one plane, are changed together so that all others stay.

    Args:
        given: (n, 3) corners of a clear route.
        straight, ends: least straight between two bends, and at both ends, mm.
    """
    n = len(given)
    best = given.copy()
    ways, lengths, takes = np.zeros((n - 1, 3)), np.zeros(n - 1), np.zeros(n)
    measured(best, radius, ways, lengths, takes, 0.0)
    least = np.empty(n - 1)
    for i in range(n - 1):
        least[i] = takes[i] + takes[i + 1] + (ends if i == 0 or i == n - 2 else straight)
    change = np.zeros(n - 1)
    for _ in range(40):
        won = 0.0
        for i in range(n - 1):
            for j in range(i + 1, n - 1):
                for k in range(j, n - 1):
                    if together(ways, i, j, k, change):
                        won += slid(space, best, radius, ways, lengths, takes, least, change)
        if won < 0.01:
            break
    return best


@native
def together(ways: Floats, i: int, j: int, k: int, change: Floats) -> bool:
    """Fill by what legs i, j, k (or i and j, k = j) change so that the route closes and is shorter."""
    change[:] = 0.0
    u, v = row(ways, i), row(ways, j)
    if k == j:
        c = dot(u, v)
        if c > -1.0 + 1e-9:
            return False
        change[i], change[j] = -1.0, -1.0
        return True
    w = row(ways, k)
    n = cross(u, v)
    square = dot(n, n)
    if square < 1e-9 or abs(dot(n, w)) > 1e-9:
        return False
    change[i], change[j], change[k] = dot(cross(v, w), n), dot(cross(w, u), n), dot(cross(u, v), n)
    total = change[i] + change[j] + change[k]
    if abs(total) < 1e-6 * square:
        return False
    change *= -1.0 / total
    return True


@native
def slid(
    space: Space,
    best: Floats,
    radius: float,
    ways: Floats,
    lengths: Floats,
    takes: Floats,
    least: Floats,
    change: Floats,
) -> float:
    """Change the legs as far as all stays clear; by how much the route became shorter, mm."""
    n = len(best)
    reach = 1e9
    for i in range(n - 1):
        if change[i] < 0.0:
            reach = min(reach, (lengths[i] - least[i]) / -change[i])
    won, step = 0.0, reach
    tried = best.copy()
    while step > 0.01:
        for i in range(n - 1):
            lengths[i] += change[i] * step
        for i in range(1, n - 1):
            tried[i, 0], tried[i, 1], tried[i, 2] = along(row(tried, i - 1), row(ways, i - 1), lengths[i - 1])
        if clear_between(space, tried, radius, ways, takes, 0, n - 1):
            best[:] = tried
            won += step
            step = min(step, reach - won)
        else:
            for i in range(n - 1):
                lengths[i] -= change[i] * step
            step /= 2.0
    return won
