"""Triangles that move along a line: when do they first touch, how long do they overlap?

Compiled by way of the kernels. All triangles are given in a frame whose z runs along the move, so
that two of them meet only where their projections on xy overlap; there the way between
them is linear, and its least and greatest values lie at corners of the overlap.

Walls along the move have no projection: sliding past a flush wall is free by
construction. So is leaving: only a face that looks ahead can run into one that looks back.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from fitcheck.world.kernels.native import entry, is_kept, native
from fitcheck.world.kernels.vectors import Floats, Ints

# A triangle clipped by another has at most six corners; two to spare for rounding.
CORNERS = 8


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
        size = np.sqrt(dx * dx + dy * dy)
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


@entry
def extents(triangles: Floats) -> Floats:
    """(n, 2, 3) low and high corners of triangles (n, 3, 3)."""
    out = np.empty((len(triangles), 2, 3))
    for i in range(len(triangles)):
        for k in range(3):
            out[i, 0, k] = min(triangles[i, 0, k], triangles[i, 1, k], triangles[i, 2, k])
            out[i, 1, k] = max(triangles[i, 0, k], triangles[i, 1, k], triangles[i, 2, k])
    return out


@native
def _into(extents: Floats, offset: Floats, low: Floats, high: Floats) -> Ints:
    """Rows of triangles that, shifted by an offset, come into bounds."""
    rows = np.empty(len(extents), np.int64)
    count = 0
    for i in range(len(extents)):
        inside = True
        for k in range(3):
            inside = (
                inside and extents[i, 0, k] + offset[k] <= high[k] and extents[i, 1, k] + offset[k] >= low[k]
            )
        if inside:
            rows[count] = i
            count += 1
    return rows[:count]


@entry
def first_touch(
    ahead: Floats,
    ours: Floats,
    offset: Floats,
    back: Floats,
    theirs: Floats,
    limit: float,
    slack: float,
    least: float,
) -> float:
    """How far triangles can move along +z before one runs into others.

    One long function, since it is compiled as one: its arrays are made once and shared by all pairs.

    Args:
        ahead: (n, 3, 3) of what moves, those that look along +z.
        ours: (n, 2, 3) their `extents`.
        offset: (3,) from their frame to that of the others.
        back: (m, 3, 3) of what stays, those that look along -z.
        theirs: (m, 2, 3) their `extents`.
        limit: mm; nothing beyond is looked for.
        slack: mm that a face may be past the other and still be just touching it.
        least: mm; overlaps narrower than this in projection slide past.

    Returns:
        mm, at least -slack; inf when nothing is touched within the limit.
    """
    low, high = np.full(3, np.inf), np.full(3, -np.inf)
    for j in range(len(theirs)):
        for k in range(3):
            low[k], high[k] = min(low[k], theirs[j, 0, k]), max(high[k], theirs[j, 1, k])
    low[2] -= limit
    high[2] += slack
    movers = _into(ours, offset, low, high)
    low[:], high[:] = np.inf, -np.inf
    for i in movers:
        for k in range(3):
            low[k], high[k] = min(low[k], ours[i, 0, k]), max(high[k], ours[i, 1, k])
    low[2] -= slack
    high[2] += limit
    stayers = _into(theirs, -offset, low, high)
    stayers = stayers[np.argsort(theirs[stayers, 0, 0])]
    lows = theirs[stayers, 0, 0] - offset[0]
    widest = 0.0
    for j in stayers:
        widest = max(widest, theirs[j, 1, 0] - theirs[j, 0, 0])
    best = limit
    found = np.inf
    one = np.empty((3, 3))
    here, there = np.empty((CORNERS, 2)), np.empty((CORNERS, 2))
    for i in movers:
        one[:] = ahead[i] + offset
        for at in range(np.searchsorted(lows, ours[i, 0, 0] - widest), len(stayers)):
            j = stayers[at]
            if lows[at] >= ours[i, 1, 0] - least:
                break
            if (
                theirs[j, 1, 0] - offset[0] <= ours[i, 0, 0] + least
                or theirs[j, 0, 1] - offset[1] >= ours[i, 1, 1] - least
                or theirs[j, 1, 1] - offset[1] <= ours[i, 0, 1] + least
                or theirs[j, 0, 2] - offset[2] - ours[i, 1, 2] >= best
                or theirs[j, 1, 2] - offset[2] - ours[i, 0, 2] < -slack
            ):
                continue
            count = _shared(one, back[j], here, there)
            if count == 0 or not _wide(here, count, least):
                continue
            way = np.inf
            for k in range(count):
                x, y = here[k, 0], here[k, 1]
                way = min(way, _height(back[j], x, y) - _height(one, x, y))
            if -slack <= way < best:
                best = way
                found = way
    return found


@entry
def longest_chord(lower: Floats, upper: Floats, least: float) -> float:
    """Longest line along z inside a closed surface.

    Args:
        lower: (n, 3, 3) triangles that look along -z, where lines enter.
        upper: (m, 3, 3) those that look along +z, where they leave.
        least: mm; overlaps narrower in projection are passed over.

    Returns:
        mm; never too long, and exact where `least` hides nothing.
    """
    best = 0.0
    under, over = extents(lower), extents(upper)
    here, there = np.empty((CORNERS, 2)), np.empty((CORNERS, 2))
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
            x, y = here[:count, 0].mean(), here[:count, 1].mean()
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


def split(triangles: np.ndarray, turn: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Triangles turned: those that then look along z, and those that look back.

    Args:
        triangles: (n, 3, 3) corners, outward by the right-hand rule, mm.
        turn: (3, 3); x @ turn is a point in the frame of the move.

    Returns:
        (n, 3, 3) and (m, 3, 3).
    """
    turned = triangles @ turn
    a, b, c = np.moveaxis(turned[..., :2], 1, 0)
    turns = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    # Walls along the move, but for rounding.
    flat = 1e-9 * np.square(turned.max(axis=1) - turned.min(axis=1)).sum(axis=1)
    return np.ascontiguousarray(turned[turns > flat]), np.ascontiguousarray(turned[turns < -flat])


def frame_along(towards: np.ndarray) -> np.ndarray:
    """(3, 3) rotation whose last column is `towards`; x @ it has its z along it."""
    return _frame_along(*towards.tolist())


@lru_cache(maxsize=256)
def _frame_along(x: float, y: float, z: float) -> np.ndarray:
    towards = np.array([x, y, z])
    across = np.cross(np.eye(3)[int(np.abs(towards).argmin())], towards)
    across /= np.linalg.norm(across)
    frame = np.column_stack([across, np.cross(towards, across), towards])
    frame.setflags(write=False)
    return frame


def is_compiled() -> bool:
    """Whether the first moves and overlaps are answered at once; else they wait for the compiler."""
    return all(is_kept(function) for function in (extents, first_touch, longest_chord))


def warm() -> None:
    """Compile everything now, or load it from disk."""
    triangles = np.zeros((1, 3, 3))
    around = extents(triangles)
    first_touch(triangles, around, np.zeros(3), triangles, around, 1.0, 0.0, 0.0)
    longest_chord(triangles, triangles, 0.0)
