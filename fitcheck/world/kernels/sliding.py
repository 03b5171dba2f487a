"""Triangles that move along a line: when do they first touch, how long do they overlap?

All triangles are given in a frame whose z runs along the move, so that two of them meet
only where their projections on xy overlap; there the way between them is linear, and its
least and greatest values lie at corners of the overlap.

Walls along the move have no projection: sliding past a flush wall is free by
construction. So is leaving: only a face that looks ahead can run into one that looks back.

Over 400 lines, and `first_touch` over 60: travel and chords share the overlap of two triangles, and
kernels carry their rows and bounds along by hand, so that each cut would add more than it parts.
"""

from __future__ import annotations

from math import sqrt
from typing import NamedTuple

import numpy as np

from fitcheck.world.kernels.native import bare_entry, native
from fitcheck.world.kernels.vectors import Floats, Ints

# A triangle clipped by another has at most six corners; two to spare for rounding.
CORNERS = 8
# Triangles whose projection is less than this share of their size, both squared, are walls.
FLAT = 1e-9
# A contact is as much longer along a move as its face is steeper; no further than this many times:
# to be wider than 0.01 mm across the move, such a face must be 100 mm long.
STEEPEST = 1e4


class Room(NamedTuple):
    """Room that all pairs of triangles use, so that nothing has to be allocated.

    Args:
        here, there: (CORNERS, 2) corners of an overlap.
        one: (3, 3) a triangle.
        low, high: (3,) bounds.
        movers, stayers: (n,), (m,) rows of triangles.
        lows, leans: (m,) where those that stay begin, and how steep they are.
        crossed: (1,) 1 when two triangles are in each other a little.
    """

    here: Floats
    there: Floats
    one: Floats
    low: Floats
    high: Floats
    movers: Ints
    stayers: Ints
    lows: Floats
    leans: Floats
    crossed: Ints


def make_room(movers: int, stayers: int) -> Room:
    """Room for so many triangles."""
    corners = np.empty((CORNERS, 2)), np.empty((CORNERS, 2))
    rows = np.empty(movers, np.int64), np.empty(stayers, np.int64)
    begins = np.empty(stayers), np.empty(stayers)
    return Room(*corners, np.empty((3, 3)), np.empty(3), np.empty(3), *rows, *begins, np.zeros(1, np.int64))


@native
def _turns(t: Floats) -> float:
    """Twice the signed area of the projection."""
    return float((t[1, 0] - t[0, 0]) * (t[2, 1] - t[0, 1]) - (t[1, 1] - t[0, 1]) * (t[2, 0] - t[0, 0]))


@native
def _shared(a: Floats, b: Floats, here: Floats, there: Floats) -> int:
    """Fill `here` with the corners (n, 2) that the projections of a and b share; n.

    Sutherland and Hodgman 1974, a clipped by the three sides of b.
    """
    count = 3
    for k in range(3):
        here[k, 0], here[k, 1] = a[k, 0], a[k, 1]
    sense = 1.0 if _turns(b) > 0 else -1.0
    for side in range(3):
        x, y = b[side, 0], b[side, 1]
        dx = (b[(side + 1) % 3, 0] - x) * sense
        dy = (b[(side + 1) % 3, 1] - y) * sense
        kept = 0
        for k in range(count):
            px, py = here[k, 0], here[k, 1]
            qx, qy = here[(k + 1) % count, 0], here[(k + 1) % count, 1]
            p = dx * (py - y) - dy * (px - x)
            q = dx * (qy - y) - dy * (qx - x)
            if p >= 0:
                there[kept, 0], there[kept, 1] = px, py
                kept += 1
            if (p > 0 and q < 0) or (p < 0 and q > 0):
                s = p / (p - q)
                there[kept, 0], there[kept, 1] = px + s * (qx - px), py + s * (qy - py)
                kept += 1
        count = kept
        if count < 3:
            return 0
        for k in range(count):
            here[k, 0], here[k, 1] = there[k, 0], there[k, 1]
    return count


@native
def _wide(corners: Floats, count: int, least: float) -> bool:
    """Is a convex polygon wider than `least` in every direction?"""
    for k in range(count):
        x, y = corners[k, 0], corners[k, 1]
        dx, dy = corners[(k + 1) % count, 0] - x, corners[(k + 1) % count, 1] - y
        size = sqrt(dx * dx + dy * dy)
        if size == 0.0:
            continue
        widest = 0.0
        for m in range(count):
            widest = max(widest, abs(dx * (corners[m, 1] - y) - dy * (corners[m, 0] - x)) / size)
        if widest <= least:
            return False
    return True


@native
def _height(t: Floats, x: float, y: float) -> float:
    """z of a triangle above (x, y), held within its own corners: steep ones lose digits."""
    turns = _turns(t)
    u = ((t[1, 0] - x) * (t[2, 1] - y) - (t[1, 1] - y) * (t[2, 0] - x)) / turns
    v = ((t[2, 0] - x) * (t[0, 1] - y) - (t[2, 1] - y) * (t[0, 0] - x)) / turns
    z = u * t[0, 2] + v * t[1, 2] + (1.0 - u - v) * t[2, 2]
    low = min(t[0, 2], t[1, 2], t[2, 2])
    high = max(t[0, 2], t[1, 2], t[2, 2])
    return float(min(max(z, low), high))


@native
def _lean(t: Floats) -> float:
    """How far along z it takes to come 1 mm nearer to the plane of a triangle, at most `STEEPEST`."""
    ux, uy, uz = t[1, 0] - t[0, 0], t[1, 1] - t[0, 1], t[1, 2] - t[0, 2]
    vx, vy, vz = t[2, 0] - t[0, 0], t[2, 1] - t[0, 1], t[2, 2] - t[0, 2]
    nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    size = sqrt(nx * nx + ny * ny + nz * nz)
    return float(size / abs(nz)) if size < STEEPEST * abs(nz) else STEEPEST


@native
def _ways(one: Floats, other: Floats, least: float, room: Room) -> tuple[float, float]:
    """Least and greatest way along z from one triangle to the other; inf, -inf where they slide past."""
    low, high, here = np.inf, -np.inf, room.here
    count = _shared(one, other, here, room.there)
    if count > 0 and _wide(here, count, least):
        for k in range(count):
            x, y = here[k, 0], here[k, 1]
            way = _height(other, x, y) - _height(one, x, y)
            low, high = min(low, way), max(high, way)
    return low, high


@native
def _bound(low: Floats, high: Floats, extents: Floats, rows: Ints, count: int) -> None:
    """Fill low and high (3,) with the bounds of some rows of triangles, of all when count is below 0."""
    for k in range(3):
        low[k], high[k] = np.inf, -np.inf
    for at in range(count if count >= 0 else len(extents)):
        i = rows[at] if count >= 0 else at
        for k in range(3):
            low[k], high[k] = min(low[k], extents[i, 0, k]), max(high[k], extents[i, 1, k])


@native
def _into(extents: Floats, offset: Floats, sign: float, low: Floats, high: Floats, rows: Ints) -> int:
    """Fill `rows` with the triangles that, shifted by sign times an offset, come into bounds; how many."""
    count = 0
    for i in range(len(extents)):
        inside = True
        for k in range(3):
            shift = sign * offset[k]
            inside = inside and extents[i, 0, k] + shift <= high[k] and extents[i, 1, k] + shift >= low[k]
        if inside:
            rows[count] = i
            count += 1
    return count


@native
def _first_from(values: Floats, count: int, least: float) -> int:
    """Where the sorted values (the first `count`) reach `least`."""
    low, high = 0, count
    while low < high:
        middle = (low + high) // 2
        if values[middle] < least:
            low = middle + 1
        else:
            high = middle
    return low


@native
def _apart(
    ours: Floats, i: int, theirs: Floats, j: int, offset: Floats, best: float, slack: float, least: float
) -> bool:
    """Do the extents of two triangles pass each other, or meet no sooner than known?"""
    return bool(
        theirs[j, 1, 0] - offset[0] <= ours[i, 0, 0] + least
        or theirs[j, 0, 1] - offset[1] >= ours[i, 1, 1] - least
        or theirs[j, 1, 1] - offset[1] <= ours[i, 0, 1] + least
        or theirs[j, 0, 2] - offset[2] - ours[i, 1, 2] >= best
        or theirs[j, 1, 2] - offset[2] - ours[i, 0, 2] < -slack
    )


@bare_entry
def first_touch(
    ahead: Floats,
    ours: Floats,
    offset: Floats,
    back: Floats,
    theirs: Floats,
    limit: float,
    slack: float,
    least: float,
    room: Room,
) -> float:
    """How far triangles can move along +z before one runs into others.

    Args:
        ahead: (n, 3, 3) of what moves, those that look along +z.
        ours: (n, 2, 3) their low and high corners.
        offset: (3,) from their frame to that of the others.
        back: (m, 3, 3) of what stays, those that look along -z, by rising low x.
        theirs: (m, 2, 3) their low and high corners.
        limit: mm; nothing beyond is looked for.
        slack: mm that one may be past the other and still be just touching it; below zero: that it
            must be short of it.
        least: mm; overlaps narrower than this in projection slide past.
        room: for n and m triangles. `crossed` is set when one is past another by more, but either
            only in part or by no more than `slack` square to them: the move presses in or draws out.

    Returns:
        mm, 0 or below for what touches already; inf when nothing is touched within the limit.
    """
    low, high, one, lows, leans = room.low, room.high, room.one, room.lows, room.leans
    past = max(slack, slack * STEEPEST)
    room.crossed[0] = 0
    _bound(low, high, theirs, room.stayers, -1)
    low[2] -= limit
    high[2] += past
    movers = _into(ours, offset, 1.0, low, high, room.movers)
    _bound(low, high, ours, room.movers, movers)
    low[2] -= past
    high[2] += limit
    stayers = _into(theirs, offset, -1.0, low, high, room.stayers)
    widest = 0.0
    for at in range(stayers):
        j = room.stayers[at]
        lows[at] = theirs[j, 0, 0] - offset[0]
        leans[at] = _lean(back[j])
        widest = max(widest, theirs[j, 1, 0] - theirs[j, 0, 0])
    best, found = limit, np.inf
    for mover in range(movers):
        i = room.movers[mover]
        for k in range(3):
            for m in range(3):
                one[k, m] = ahead[i, k, m] + offset[m]
        lean = _lean(one)
        for at in range(_first_from(lows, stayers, ours[i, 0, 0] - widest), stayers):
            j = room.stayers[at]
            if lows[at] >= ours[i, 1, 0] - least:
                break
            allowed = slack * max(lean, leans[at]) if slack > 0.0 else slack
            if _apart(ours, i, theirs, j, offset, best, allowed, least):
                continue
            way, farthest = _ways(one, back[j], least, room)
            if way < -slack:
                if way >= -allowed or farthest > abs(slack):
                    room.crossed[0] = 1
            elif way < best:
                best = way
                found = way
    return found


class Overlap(NamedTuple):
    """Room for the n triangles of an overlap: those that look along -z, and those that look along +z.

    Args:
        lower, upper: (n, 3, 3) triangles.
        under, over: (n, 2, 3) their low and high corners.
        here, there: (CORNERS, 2) corners of what two of them share.
    """

    lower: Floats
    under: Floats
    upper: Floats
    over: Floats
    here: Floats
    there: Floats


def make_overlap(triangles: int) -> Overlap:
    """Room for so many triangles."""
    lower, under = np.empty((triangles, 3, 3)), np.empty((triangles, 2, 3))
    shared = np.empty((CORNERS, 2)), np.empty((CORNERS, 2))
    return Overlap(lower, under, np.empty_like(lower), np.empty_like(under), *shared)


@native
def _turned(triangle: Floats, turn: Floats, to: Floats, extent: Floats) -> None:
    """Fill (3, 3) a triangle turned, x @ turn, and (2, 3) its low and high corners."""
    for m in range(3):
        for k in range(3):
            to[k, m] = triangle[k, 0] * turn[0, m] + triangle[k, 1] * turn[1, m] + triangle[k, 2] * turn[2, m]
        extent[0, m] = min(to[0, m], to[1, m], to[2, m])
        extent[1, m] = max(to[0, m], to[1, m], to[2, m])


@native
def _is_wall(t: Floats, extent: Floats) -> bool:
    """Does a triangle run along the move, but for rounding?"""
    size = 0.0
    for m in range(3):
        size += (extent[1, m] - extent[0, m]) ** 2
    return abs(_turns(t)) <= FLAT * size


@bare_entry
def longest_chord(triangles: Floats, turn: Floats, least: float, lines: int, room: Overlap) -> float:
    """Longest line along z inside a closed surface.

    Args:
        triangles: (n, 3, 3), outward by the right-hand rule.
        turn: (3, 3); x @ turn is a point in the frame of the move.
        least: mm; overlaps narrower in projection are passed over.
        lines: from about so many faces at most lines are looked along; fewer make a chord no longer.

    Returns:
        mm; never too long, and exact where `least` and `lines` hide nothing.
    """
    lower, under, upper, over, here, there = room
    low = high = 0
    for k in range(len(triangles)):
        # Each is turned into the place of the next that looks ahead, and copied if it looks back.
        _turned(triangles[k], turn, upper[high], over[high])
        if _is_wall(upper[high], over[high]):
            continue
        if _turns(upper[high]) > 0:
            high += 1
        else:
            _copy(upper, over, high, lower, under, low)
            low += 1
    step = max(1, low // lines)
    kept = 0
    for k in range(0, low, step):
        _copy(lower, under, k, lower, under, kept)
        kept += 1
    return _longest(lower[:kept], under[:kept], upper[:high], over[:high], least, here, there)


@native
def _copy(triangles: Floats, extents: Floats, k: int, others: Floats, theirs: Floats, j: int) -> None:
    """Copy triangle k and its corners over triangle j of others."""
    for m in range(3):
        for n in range(3):
            others[j, n, m] = triangles[k, n, m]
        theirs[j, 0, m], theirs[j, 1, m] = extents[k, 0, m], extents[k, 1, m]


@native
def _longest(
    lower: Floats, under: Floats, upper: Floats, over: Floats, least: float, here: Floats, there: Floats
) -> float:
    best = 0.0
    for i in range(len(lower)):
        for j in range(len(upper)):
            if (
                over[j, 1, 2] - under[i, 0, 2] <= best
                or over[j, 0, 0] >= under[i, 1, 0]
                or over[j, 1, 0] <= under[i, 0, 0]
                or over[j, 0, 1] >= under[i, 1, 1]
                or over[j, 1, 1] <= under[i, 0, 1]
            ):
                continue
            count = _shared(lower[i], upper[j], here, there)
            if count == 0 or not _wide(here, count, least):
                continue
            x, y = 0.0, 0.0
            for k in range(count):
                x, y = x + here[k, 0] / count, y + here[k, 1] / count
            for k in range(count):
                way = _height(upper[j], here[k, 0], here[k, 1]) - _height(lower[i], here[k, 0], here[k, 1])
                if way <= best:
                    continue
                # Just beside the corner, so that no edge is met: is the line unbroken?
                px, py = here[k, 0] + 1e-3 * (x - here[k, 0]), here[k, 1] + 1e-3 * (y - here[k, 1])
                if _unbroken(lower, under, upper, over, i, j, px, py):
                    best = way
    return best


@native
def _unbroken(
    lower: Floats, under: Floats, upper: Floats, over: Floats, i: int, j: int, x: float, y: float
) -> bool:
    """Is there no other surface between the two triangles above (x, y)?"""
    low, high = _height(lower[i], x, y), _height(upper[j], x, y)
    for n in range(len(lower)):
        if n != i and _between(lower[n], under[n], x, y, low, high):
            return False
    clear = True
    for n in range(len(upper)):
        clear = clear and (n == j or not _between(upper[n], over[n], x, y, low, high))
    return clear


@native
def _between(t: Floats, extent: Floats, x: float, y: float, low: float, high: float) -> bool:
    if x < extent[0, 0] or x > extent[1, 0] or y < extent[0, 1] or y > extent[1, 1]:
        return False
    turns = _turns(t)
    for k in range(3):
        px, py = t[k, 0], t[k, 1]
        qx, qy = t[(k + 1) % 3, 0], t[(k + 1) % 3, 1]
        if ((qx - px) * (y - py) - (qy - py) * (x - px)) * turns < 0:
            return False
    return low < _height(t, x, y) < high
