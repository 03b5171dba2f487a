"""Making a clear route shorter, as long as it stays clear."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from fitcheck.runs.kernels import search_compiled as compiled
from fitcheck.runs.kernels.search_close import Rules
from fitcheck.runs.kernels.search_trace import Space
from fitcheck.runs.route import Route

# Poses that shots may join stand at most this far apart, mm.
SAMPLES = 12.0
# A corner that turns by less goes, radians; points nearer than this are one, mm.
STRAIGHT_ON, TOGETHER = 1e-8, 1e-6
# First and last moves of a corner, mm; seed of their directions.
FIRST_MOVE, LAST_MOVE, SEED = 12.0, 0.01, 20_011
FREE, ON_RAIL, FIXED = 0, 1, 2


def any_bend(radius: float) -> Rules:
    """How a soft run bends: by any angle, one bend after the other, at no cost but its length."""
    return Rules(radius, np.empty(0), 0.0, 0.0)


def tidy(corners: np.ndarray) -> np.ndarray:
    """(n, 3) corners without double points and corners that go straight on; both ends stay."""
    kept = [corners[0]]
    for point in corners[1:-1]:
        if np.linalg.norm(point - kept[-1]) > TOGETHER:
            kept.append(point)
    while len(kept) > 1 and np.linalg.norm(corners[-1] - kept[-1]) <= TOGETHER:
        kept.pop()
    kept.append(corners[-1])
    points = np.array(kept)
    i = 1
    while i < len(points) - 1:
        before, after = points[i] - points[i - 1], points[i + 1] - points[i]
        turn = np.linalg.norm(np.cross(before, after)) / (np.linalg.norm(before) * np.linalg.norm(after))
        if turn < STRAIGHT_ON and before @ after > 0:
            points = np.delete(points, i, axis=0)
        else:
            i += 1
    return points


def shorter(space: Space, corners: np.ndarray, radius: float, tries: int) -> np.ndarray:
    """Corners (n, 3) of a route at most as long, clear, with the same ends and directions there."""
    best, least = corners, Route(corners, radius).length
    for _ in range(2):
        made = _descended(space, _bridged(space, best, radius), radius, tries // 2)
        length = Route(made, radius).length
        if length >= least - 1e-3:
            break
        best, least = made, length
    return best


def _bridged(space: Space, corners: np.ndarray, radius: float) -> np.ndarray:
    places, ways, gone = _poses(Route(corners, radius))
    before, shots = np.empty(len(places), np.int64), np.empty((len(places), 6))
    compiled.bridge(space, any_bend(radius), places, ways, gone, before, shots, 0.0)
    points, j = [corners[-1]], len(places) - 1
    while j > 0:
        i = int(before[j])
        if np.isfinite(shots[j, 0]):
            points += [corner for corner in (shots[j, 3:], shots[j, :3]) if np.isfinite(corner[0])]
        elif ways[i] @ ways[j] < 1 - 1e-12:
            half = np.arccos(np.clip(ways[i] @ ways[j], -1.0, 1.0)) / 2
            points.append(places[i] + ways[i] * radius * np.tan(half))
        points.append(places[i])
        j = i
    made = tidy(np.array(points[::-1]))
    return made if compiled.is_clear(space, made, radius, 0.0) else corners


def _poses(route: Route) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Places, directions (n, 3) and lengths (n,) up to each: at the ends of all pieces, and between."""
    ends = np.concatenate([[0.0], np.cumsum(route.flat.lengths)])
    gone = [0.0]
    for low, high in pairwise(ends):
        count = max(1, int(np.ceil((high - low) / SAMPLES)))
        gone += list(low + (high - low) * np.arange(1, count + 1) / count)
    along = np.array(gone)
    return route.point(along), route.tangent(along), along


def _descended(space: Space, corners: np.ndarray, radius: float, tries: int) -> np.ndarray:
    if len(corners) < 4:
        return corners
    kept = compiled.without_corners(space, corners, radius, held_corners(corners)[0], 0.0)
    corners = np.ascontiguousarray(corners[kept])
    held, rails = held_corners(corners)
    made = compiled.descend(space, corners, radius, held, rails, 0.0, tries, FIRST_MOVE, LAST_MOVE, SEED)
    made = tidy(made)
    return made if compiled.is_clear(space, made, radius, 0.0) else corners


def held_corners(corners: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """How corners (n, 3) may move: (n,) FREE, ON_RAIL or FIXED, and the rails (n, 3), unit."""
    held, rails = np.full(len(corners), FREE), np.zeros(corners.shape)
    held[[0, -1]] = FIXED
    if len(corners) == 3:
        held[1] = FIXED
    elif len(corners) > 3:
        held[1] = held[-2] = ON_RAIL
        rails[1], rails[-2] = corners[1] - corners[0], corners[-1] - corners[-2]
        rails[[1, -2]] /= np.linalg.norm(rails[[1, -2]], axis=1)[:, None]
    return held, rails
