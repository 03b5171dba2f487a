"""Triangles that move along a line: when do they first touch, how long do they overlap?

Compiled by numba. All triangles are given in a frame whose z runs along the move, so
that two of them meet only where their projections on xy overlap; there the way between
them is linear, and its least and greatest values lie at corners of the overlap.

Walls along the move have no projection: sliding past a flush wall is free by
construction. So is leaving: only a face that looks ahead can run into one that looks back.
"""

from __future__ import annotations

import numpy as np
from numba import njit

# A triangle clipped by another has at most six corners; one spare for closing.
CORNERS = 8


@njit(cache=True)
def _turns(t):  # type: ignore[no-untyped-def]
    """Twice the signed area of the projection."""
    return (t[1, 0] - t[0, 0]) * (t[2, 1] - t[0, 1]) - (t[1, 1] - t[0, 1]) * (t[2, 0] - t[0, 0])


@njit(cache=True)
def _shared(a, b, here, there):  # type: ignore[no-untyped-def]
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


@njit(cache=True)
def _wide(corners, count, least):  # type: ignore[no-untyped-def]
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


@njit(cache=True)
def _height(t, x, y):  # type: ignore[no-untyped-def]
    """z of a triangle above (x, y), held within its own corners: steep ones lose digits."""
    turns = _turns(t)
    u = ((t[1, 0] - x) * (t[2, 1] - y) - (t[1, 1] - y) * (t[2, 0] - x)) / turns
    v = ((t[2, 0] - x) * (t[0, 1] - y) - (t[2, 1] - y) * (t[0, 0] - x)) / turns
    z = u * t[0, 2] + v * t[1, 2] + (1.0 - u - v) * t[2, 2]
    low = min(t[0, 2], t[1, 2], t[2, 2])
    high = max(t[0, 2], t[1, 2], t[2, 2])
    return min(max(z, low), high)


@njit(cache=True)
def _extents(triangles):  # type: ignore[no-untyped-def]
    """(n, 2, 3) low and high corners."""
    out = np.empty((len(triangles), 2, 3))
    for i in range(len(triangles)):
        for k in range(3):
            out[i, 0, k] = min(triangles[i, 0, k], triangles[i, 1, k], triangles[i, 2, k])
            out[i, 1, k] = max(triangles[i, 0, k], triangles[i, 1, k], triangles[i, 2, k])
    return out


@njit(cache=True)
def first_touch(ahead, back, limit, slack, least):  # type: ignore[no-untyped-def]
    """How far triangles can move along +z before one runs into others.

    Args:
        ahead: (n, 3, 3) of what moves, those that look along +z.
        back: (m, 3, 3) of what stays, those that look along -z.
        limit: mm; nothing beyond is looked for.
        slack: mm that a face may be past the other and still be just touching it.
        least: mm; overlaps narrower than this in projection slide past.

    Returns:
        mm, at least -slack; inf when nothing is touched within the limit.
    """
    best = limit
    found = np.inf
    ours, theirs = _extents(ahead), _extents(back)
    here, there = np.empty((CORNERS, 2)), np.empty((CORNERS, 2))
    order = np.argsort(theirs[:, 0, 0])
    lows = theirs[order, 0, 0]
    widest = 0.0
    for j in range(len(back)):
        widest = max(widest, theirs[j, 1, 0] - theirs[j, 0, 0])
    for i in range(len(ahead)):
        start = np.searchsorted(lows, ours[i, 0, 0] - widest)
        for at in range(start, len(order)):
            j = order[at]
            if lows[at] >= ours[i, 1, 0] - least:
                break
            if (
                theirs[j, 1, 0] <= ours[i, 0, 0] + least
                or theirs[j, 0, 1] >= ours[i, 1, 1] - least
                or theirs[j, 1, 1] <= ours[i, 0, 1] + least
                or theirs[j, 0, 2] - ours[i, 1, 2] >= best
                or theirs[j, 1, 2] - ours[i, 0, 2] < -slack
            ):
                continue
            count = _shared(ahead[i], back[j], here, there)
            if count == 0 or not _wide(here, count, least):
                continue
            way = np.inf
            for k in range(count):
                x, y = here[k, 0], here[k, 1]
                way = min(way, _height(back[j], x, y) - _height(ahead[i], x, y))
            if -slack <= way < best:
                best = way
                found = way
    return found


@njit(cache=True)
def longest_chord(lower, upper, least):  # type: ignore[no-untyped-def]
    """Longest line along z inside a closed surface.

    Args:
        lower: (n, 3, 3) triangles that look along -z, where lines enter.
        upper: (m, 3, 3) those that look along +z, where they leave.
        least: mm; overlaps narrower in projection are passed over.

    Returns:
        mm; never too long, and exact where `least` hides nothing.
    """
    best = 0.0
    under, over = _extents(lower), _extents(upper)
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


@njit(cache=True)
def _unbroken(lower, under, upper, over, i, j, x, y):  # type: ignore[no-untyped-def]
    """Is there no other surface between the two triangles above (x, y)?"""
    low, high = _height(lower[i], x, y), _height(upper[j], x, y)
    for n in range(len(lower)):
        if n != i and _between(lower[n], under[n], x, y, low, high):
            return False
    clear = True
    for n in range(len(upper)):
        clear = clear and (n == j or not _between(upper[n], over[n], x, y, low, high))
    return clear


@njit(cache=True)
def _between(t, extent, x, y, low, high):  # type: ignore[no-untyped-def]
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
    least = int(np.abs(towards).argmin())
    across = np.cross(np.eye(3)[least], towards)
    across /= np.linalg.norm(across)
    return np.column_stack([across, np.cross(towards, across), towards])
