"""Largest boxes that hold none of a set of boxes: best-first search, exact.

Breuel, "Two geometric algorithms for layout analysis" (DAS 2002), carried to three
dimensions: a queue of boxes that may still hold obstacles, best first. The best box without
an obstacle inside is the answer, because cutting a box never makes it better. Otherwise an
obstacle inside is chosen and the box is replaced by the six remainders beside it.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

# Obstacles that reach less than this into a box do not count, and no box is thinner, mm:
# the rounding of sums of written lengths.
THIN = 1e-7
# Boxes taken from the queue before the search gives up; a scene of 100 parts takes hundreds.
STEPS = 60_000


@dataclass(frozen=True, eq=False)
class Search:
    """Boxes found, best first, each (2, 3); `complete` unless the steps ran out."""

    boxes: tuple[np.ndarray, ...]
    complete: bool


def largest_boxes(
    space: np.ndarray, obstacles: np.ndarray, least: np.ndarray, count: int = 1, along: int | None = None
) -> Search:
    """The best `count` boxes in `space` that overlap no obstacle and none found before.

    Args:
        space: (2, 3) where to look, mm.
        obstacles: (n, 2, 3) boxes along the same axes; touching is allowed.
        least: (3,) no box smaller than this along x, y, z.
        count: how many boxes; each found one is an obstacle for the next.
        along: best means longest along this axis; by volume when None.
    """
    queue = _Queue(least, along)
    walls = np.asarray(obstacles, float).reshape(-1, 2, 3)
    queue.push(np.array(space, float), walls, 0)
    found: list[np.ndarray] = []
    for _ in range(STEPS):
        taken = queue.pop()
        if taken is None:
            return Search(tuple(found), True)
        box, inside, known = taken
        if known < len(found):
            inside = np.concatenate([inside, overlapping(box, np.array(found[known:]))])
        if len(inside):
            pivot = inside[queue.best_cut(box, inside)]
            for rest in _remainders(box, pivot):
                queue.push(rest, inside, len(found))
            continue
        found.append(box)
        if len(found) == count:
            return Search(tuple(found), True)
    return Search(tuple(found), False)


def overlapping(box: np.ndarray, others: np.ndarray) -> np.ndarray:
    """Those of `others` (n, 2, 3) that reach into `box` (2, 3); touching is not reaching."""
    hit = (others[:, 0] < box[1] - THIN) & (others[:, 1] > box[0] + THIN)
    return np.asarray(others[hit.all(axis=1)])


class _Queue:
    """Boxes still to look at, the best first; each box once."""

    def __init__(self, least: np.ndarray, along: int | None) -> None:
        self.least = np.maximum(np.asarray(least, float) - THIN, THIN)
        self.along = along
        self.seen: set[tuple[float, ...]] = set()
        self.heap: list[tuple[tuple[float, ...], tuple[float, ...], np.ndarray, np.ndarray, int]] = []

    def push(self, box: np.ndarray, walls: np.ndarray, known: int) -> None:
        side = box[1] - box[0]
        key = tuple(box.ravel().tolist())
        if (side < self.least).any() or key in self.seen:
            return
        self.seen.add(key)
        volume = float(side[0] * side[1] * side[2])
        rank = (-volume,) if self.along is None else (-float(side[self.along]), -volume)
        heapq.heappush(self.heap, (rank, key, box, overlapping(box, walls), known))

    def pop(self) -> tuple[np.ndarray, np.ndarray, int] | None:
        if not self.heap:
            return None
        _, _, box, inside, known = heapq.heappop(self.heap)
        return box, inside, known

    def best_cut(self, box: np.ndarray, inside: np.ndarray) -> int:
        """Index of the obstacle whose largest remainder is smallest: it prunes most."""
        rests = np.concatenate([inside[:, 0] - box[0], box[1] - inside[:, 1]], axis=1)
        rests = np.where(rests < np.tile(self.least, 2), 0.0, rests)
        side = np.tile(box[1] - box[0], 2)
        share = rests / side
        if self.along is not None:
            across = np.arange(6) % 3 != self.along
            share[:, across] = np.where(rests[:, across] > 0, 1.0, 0.0)
        ranked = np.sort(share, axis=1)[:, ::-1]
        # Ties by the next largest remainder, then by the order of the scene.
        return int(np.lexsort((ranked[:, 2], ranked[:, 1], ranked[:, 0]))[0])


def _remainders(box: np.ndarray, obstacle: np.ndarray) -> Iterator[np.ndarray]:
    """The six parts of a box beside an obstacle in it, overlapping each other."""
    for axis in range(3):
        below, above = box.copy(), box.copy()
        below[1, axis] = obstacle[0, axis]
        above[0, axis] = obstacle[1, axis]
        yield below
        yield above
