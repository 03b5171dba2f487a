"""Bending a way that keeps too little room as a whole, until it is clear."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from fitcheck.runs.kernels import search_compiled as compiled
from fitcheck.runs.kernels.search_trace import Space
from fitcheck.runs.shorten import held_corners, shorter, tidy

# What is wanted beyond what is needed, mm, less and less: the middle of a wide gap is found first.
SPARES = (1.0, 0.5, 0.2, 0.08, 0.03)
# Steps for each of them.
ROUNDS = 60
# A leg of this many radii gets a corner in its middle, so that it can bend round something.
LONG = 2.5


def mended(
    space: Space, tight: Space, corners: np.ndarray, radius: float, tries: int
) -> tuple[np.ndarray | None, np.ndarray]:
    """Corners (n, 3) of a clear route near a way that keeps only what `tight` asks, None if that failed.

    Returns:
        Also the (3,) place where the last try lacked most.
    """

    def starts() -> Iterator[np.ndarray]:
        yield corners
        yield shorter(tight, corners, radius, tries)
        yield _finer(corners, radius)

    return _bent(space, starts(), radius)


def bent(space: Space, corners: np.ndarray, radius: float) -> np.ndarray | None:
    """Corners (n, 3) of a clear route near one that is not, or that has legs too short for its bends.

    None if that failed.
    """
    return _bent(space, (corners, _finer(corners, radius)), radius)[0]


def _bent(space: Space, starts: Iterable[np.ndarray], radius: float) -> tuple[np.ndarray | None, np.ndarray]:
    worst = np.zeros(3)
    for given in starts:
        made, held, rails = np.ascontiguousarray(given), *held_corners(given)
        for spare in SPARES:
            made = compiled.bend_clear(space, made, radius, held, rails, spare, 0.0, ROUNDS)
            if compiled.is_clear(space, made, radius, 0.0):
                return tidy(made), worst
        worst = np.array(compiled.worst_place(space, made, radius))
    return None, worst


def _finer(corners: np.ndarray, radius: float) -> np.ndarray:
    """The corners with one more in the middle of each long leg."""
    points = [corners[0]]
    for point in corners[1:]:
        if np.linalg.norm(point - points[-1]) > LONG * radius:
            points.append((points[-1] + point) / 2)
        points.append(point)
    return np.array(points)
