"""Bending a route as a whole: out of what it is in, and to less length, by damped least squares.

Unknowns are the corners, the first and the last along their rails only. Each point of the
route that is too near to a solid, and each leg that is too short for its bends, is a residual;
its slope follows from the outward direction of the distance and from how the points move with
the corners. Steps after Levenberg and Marquardt.
"""

from __future__ import annotations

from math import acos, ceil, cos, sin, sqrt

import numpy as np

from fitcheck.runs.kernels.search_trace import Space
from fitcheck.runs.kernels.solids import distance
from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Floats, Ints, Vector, along, length, row, scale

# Points of the route stand this far apart, mm; a corner is moved by this to see what follows.
SPACING, NUDGE = 3.0, 1e-4
# No corner moves farther at once, mm.
STRIDE = 4.0


@native
def counted(
    corners: Floats, radius: float, ways: Floats, lengths: Floats, takes: Floats, counts: Ints
) -> int:
    """Fill how many points each leg (2 i) and each bend (2 i + 1) after it gets; how many in all."""
    n = len(corners)
    total = 0
    for i in range(n - 1):
        straight = max(lengths[i] - takes[i] - takes[i + 1], 0.0)
        counts[2 * i] = ceil(straight / SPACING) + 1
        total += counts[2 * i]
        if i < n - 2:
            c = ways[i, 0] * ways[i + 1, 0] + ways[i, 1] * ways[i + 1, 1] + ways[i, 2] * ways[i + 1, 2]
            counts[2 * i + 1] = ceil(radius * acos(min(max(c, -1.0), 1.0)) / SPACING) + 1
            total += counts[2 * i + 1]
    return total


@native
def laid(
    corners: Floats, radius: float, ways: Floats, lengths: Floats, takes: Floats, counts: Ints, points: Floats
) -> None:
    """Fill the points along legs and bends."""
    n = len(corners)
    at = 0
    for i in range(n - 1):
        d = row(ways, i)
        start = along(row(corners, i), d, takes[i])
        straight = lengths[i] - takes[i] - takes[i + 1]
        for k in range(counts[2 * i]):
            points[at, 0], points[at, 1], points[at, 2] = along(
                start, d, straight * (k + 0.5) / counts[2 * i]
            )
            at += 1
        if i == n - 2:
            break
        u = row(ways, i + 1)
        c = d[0] * u[0] + d[1] * u[1] + d[2] * u[2]
        inward = along(u, d, -c)
        s = length(inward)
        if s > 1e-12:
            inward = scale(inward, 1.0 / s)
        angle = acos(min(max(c, -1.0), 1.0))
        enters = along(row(corners, i + 1), d, -takes[i + 1])
        for k in range(counts[2 * i + 1]):
            turn = angle * (k + 0.5) / counts[2 * i + 1]
            here = along(along(enters, d, radius * sin(turn)), inward, radius * (1.0 - cos(turn)))
            points[at, 0], points[at, 1], points[at, 2] = here
            at += 1


@native
def judged(
    space: Space,
    points: Floats,
    count: int,
    lengths: Floats,
    takes: Floats,
    need: float,
    spare: float,
    pull: float,
    total: float,
) -> float:
    """What is minimised: pull times the length, and half the squares of what is lacking."""
    found = pull * total
    for i in range(count):
        lacks = need - distance(space.solids, points[i, 0], points[i, 1], points[i, 2], need)
        if lacks > 0.0:
            found += lacks * lacks / 2
    for i in range(len(lengths)):
        lacks = takes[i] + takes[i + 1] + spare - lengths[i]
        if lacks > 0.0:
            found += lacks * lacks / 2
    for i in range(count):
        for k in range(3):
            out = max(space.box[0, k] - points[i, k], points[i, k] - space.box[1, k])
            if out > 0.0:
                found += out * out / 2
    return found


@native
def loose(corners: Floats, radius: float, ways: Floats, lengths: Floats, takes: Floats) -> float:
    """As `measured`, but legs may be too short; inf where a leg turns back."""
    n = len(corners)
    total = 0.0
    for i in range(n - 1):
        x, y, z = (
            corners[i + 1, 0] - corners[i, 0],
            corners[i + 1, 1] - corners[i, 1],
            corners[i + 1, 2] - corners[i, 2],
        )
        lengths[i] = sqrt(x * x + y * y + z * z)
        if lengths[i] < 1e-3:
            return np.inf
        ways[i, 0], ways[i, 1], ways[i, 2] = x / lengths[i], y / lengths[i], z / lengths[i]
        total += lengths[i]
    takes[0], takes[n - 1] = 0.0, 0.0
    for i in range(1, n - 1):
        c = ways[i - 1, 0] * ways[i, 0] + ways[i - 1, 1] * ways[i, 1] + ways[i - 1, 2] * ways[i, 2]
        if c < -0.95:
            return np.inf
        takes[i] = radius * sqrt(max(1.0 - c, 0.0) / (1.0 + c))
        total += radius * acos(min(c, 1.0)) - 2 * takes[i]
    return total


@native
def solved(matrix: Floats, right: Floats, n: int) -> bool:
    """Solve a positive definite system in place by Cholesky's way; False if it is none."""
    for i in range(n):
        for j in range(i + 1):
            rest = matrix[i, j]
            for k in range(j):
                rest -= matrix[i, k] * matrix[j, k]
            if i == j:
                if rest <= 0.0:
                    return False
                matrix[i, i] = sqrt(rest)
            else:
                matrix[i, j] = rest / matrix[j, j]
    for i in range(n):
        for k in range(i):
            right[i] -= matrix[i, k] * right[k]
        right[i] /= matrix[i, i]
    for i in range(n - 1, -1, -1):
        for k in range(i + 1, n):
            right[i] -= matrix[k, i] * right[k]
        right[i] /= matrix[i, i]
    return True


@native
def freedoms(held: Ints, rails: Floats) -> tuple[Ints, Floats]:
    """The corner (m,) and the direction (m, 3) of each unknown."""
    count = 0
    for i in range(len(held)):
        count += 3 if held[i] == 0 else (1 if held[i] == 1 else 0)
    which, ways = np.empty(count, np.int64), np.zeros((count, 3))
    at = 0
    for i in range(len(held)):
        if held[i] == 0:
            for k in range(3):
                which[at], ways[at, k] = i, 1.0
                at += 1
        elif held[i] == 1:
            which[at], ways[at] = i, rails[i]
            at += 1
    return which, ways


@native
def lacking(space: Space, points: Floats, need: float, lacks: Floats, out: Floats, rows: Ints) -> int:
    """Fill what points (n, 3) lack, the way out of it (., 3), and which they are; how many."""
    found, e, reach = 0, 0.02, need + 1.0
    for i in range(len(points)):
        x, y, z = points[i, 0], points[i, 1], points[i, 2]
        here = distance(space.solids, x, y, z, need)
        if here < need:
            gx = distance(space.solids, x + e, y, z, reach) - distance(space.solids, x - e, y, z, reach)
            gy = distance(space.solids, x, y + e, z, reach) - distance(space.solids, x, y - e, z, reach)
            gz = distance(space.solids, x, y, z + e, reach) - distance(space.solids, x, y, z - e, reach)
            lacks[found], rows[found] = need - here, i
            out[found, 0], out[found, 1], out[found, 2] = gx / (2 * e), gy / (2 * e), gz / (2 * e)
            found += 1
        for k in range(3):
            beyond = max(space.box[0, k] - points[i, k], points[i, k] - space.box[1, k])
            if beyond > 0.0 and found < len(rows):
                lacks[found], rows[found] = beyond, i
                out[found] = 0.0
                out[found, k] = 1.0 if points[i, k] < space.box[0, k] else -1.0
                found += 1
    return found


@native
def normal(
    lacks: Floats, slopes: Floats, pulls: Floats, damping: float, matrix: Floats, right: Floats
) -> None:
    """Fill the damped normal equations (m, m), below the diagonal, and (m,) of (r, m) slopes."""
    for a in range(len(right)):
        right[a] = -pulls[a]
        for r in range(len(lacks)):
            right[a] -= slopes[r, a] * lacks[r]
        for b in range(a + 1):
            whole = 0.0
            for r in range(len(lacks)):
                whole += slopes[r, a] * slopes[r, b]
            matrix[a, b] = whole
        matrix[a, a] += damping + 1e-6


@native
def bend_clear(
    space: Space,
    given: Floats,
    radius: float,
    held: Ints,
    rails: Floats,
    spare: float,
    pull: float,
    rounds: int,
) -> Floats:
    """Corners that lack less and, for a pull above 0, make the route shorter.

    Damped least squares (Levenberg 1944, Marquardt 1963) over the places of the corners.

    Args:
        held: (n,) 0 for a corner that moves freely, 1 along its rail only, 2 not at all.
        rails: (n, 3) unit directions.
        spare: beyond what is needed, of distances and of the straights between bends, mm.
        pull: what a mm of length counts against the squares of what is lacking, mm^2 / 2.
        rounds: steps at most.
    """
    # Longer than a function should be: what is left are one step's stages, which share all its arrays.
    n = len(given)
    which, moves = freedoms(held, rails)
    m = len(which)
    corners = given.copy()
    ways, lengths, takes = np.zeros((n - 1, 3)), np.zeros(n - 1), np.zeros(n)
    counts = np.zeros(2 * n, np.int64)
    total = loose(corners, radius, ways, lengths, takes)
    if total == np.inf or m == 0:
        return corners
    damping, need = 0.01, space.need + spare
    matrix, right, pulls = np.zeros((m, m)), np.zeros(m), np.zeros(m)
    near = np.zeros(n - 1)
    for _ in range(rounds):
        total = loose(corners, radius, ways, lengths, takes)
        count = counted(corners, radius, ways, lengths, takes, counts)
        points, moved = np.empty((count, 3)), np.empty((count, 3))
        laid(corners, radius, ways, lengths, takes, counts, points)
        before = judged(space, points, count, lengths, takes, need, spare, pull, total)
        if before < 1e-10:
            break
        # Points that lack, then legs that are too short, and the slope of what each lacks.
        lacks, out = np.empty(count * 2 + n), np.empty((count * 2, 3))
        rows, legs = np.empty(count * 2, np.int64), np.empty(n, np.int64)
        found, short = lacking(space, points, need, lacks, out, rows), 0
        for i in range(n - 1):
            near[i] = takes[i] + takes[i + 1] + spare - lengths[i]
            if near[i] > 0.0:
                lacks[found + short], legs[short] = near[i], i
                short += 1
        slopes = np.zeros((found + short, m))
        for j in range(m):
            i = which[j]
            kept = (corners[i, 0], corners[i, 1], corners[i, 2])
            for k in range(3):
                corners[i, k] += NUDGE * moves[j, k]
            after = loose(corners, radius, ways, lengths, takes)
            laid(corners, radius, ways, lengths, takes, counts, moved)
            corners[i, 0], corners[i, 1], corners[i, 2] = kept
            pulls[j] = pull * (after - total) / NUDGE if after < np.inf else 0.0
            for r in range(found):
                p = rows[r]
                gained = 0.0
                for k in range(3):
                    gained += out[r, k] * (moved[p, k] - points[p, k])
                slopes[r, j] = -gained / NUDGE
            for r in range(short):
                k = legs[r]
                slopes[found + r, j] = (takes[k] + takes[k + 1] + spare - lengths[k] - near[k]) / NUDGE
        better = False
        for _ in range(8):
            normal(lacks[: found + short], slopes, pulls, damping, matrix, right)
            if solved(matrix, right, m):
                longest = 0.0
                for a in range(m):
                    longest = max(longest, abs(right[a]))
                cut = min(1.0, STRIDE / max(longest, 1e-12))
                tried = corners.copy()
                for a in range(m):
                    for k in range(3):
                        tried[which[a], k] += cut * right[a] * moves[a, k]
                after = loose(tried, radius, ways, lengths, takes)
                if after < np.inf:
                    laid(tried, radius, ways, lengths, takes, counts, moved)
                    now = judged(space, moved, count, lengths, takes, need, spare, pull, after)
                    if now < before * (1 - 1e-5):
                        corners, better = tried, True
                        damping = max(damping / 4, 1e-6)
                        break
            damping *= 5
        if not better:
            break
    return corners


@native
def worst_place(space: Space, corners: Floats, radius: float) -> Vector:
    """The point of a route, its legs long enough or not, that lacks most."""
    n = len(corners)
    ways, lengths, takes = np.zeros((n - 1, 3)), np.zeros(n - 1), np.zeros(n)
    counts = np.zeros(2 * n, np.int64)
    worst = row(corners, n // 2)
    if loose(corners, radius, ways, lengths, takes) == np.inf:
        return worst
    count = counted(corners, radius, ways, lengths, takes, counts)
    points = np.empty((count, 3))
    laid(corners, radius, ways, lengths, takes, counts, points)
    least = space.need
    for i in range(count):
        found = distance(space.solids, points[i, 0], points[i, 1], points[i, 2], least)
        if found < least:
            least, worst = found, row(points, i)
    for i in range(n - 1):
        # A leg that is too short counts by what it lacks.
        found = space.need + lengths[i] - takes[i] - takes[i + 1]
        if found < least:
            least, worst = found, scale(along(row(corners, i), row(corners, i + 1), 1.0), 0.5)
    return worst
