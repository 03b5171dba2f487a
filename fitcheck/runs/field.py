"""A field: the exact distance to the nearest solid on a grid of points."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

# Values a field holds at most; a finer pitch asked of a larger region is made coarser.
MOST_VALUES = 8_000_000
# Interpolated between the grid's points the distance is off by at most this many pitches: of
# a function that changes by no more than the way, the mean with weights w over corners c is off
# by at most sum w |c - p| <= sqrt(sum w |c - p|^2) <= sqrt(3 / 4), the middle of a cell.
BETWEEN = float(np.sqrt(3) / 2)


@dataclass(frozen=True, eq=False)
class Field:
    """Distances on a grid, mm.

    Args:
        origin: (3,) where the first value stands.
        pitch: from one value to the next along each axis.
        cap: larger distances are given as this, mm.
        values: (i, j, k) float32, distance less extra at origin + pitch (i, j, k), at most the cap;
            nan where a search has not asked for it yet.
    """

    origin: np.ndarray
    pitch: float
    cap: float
    values: np.ndarray

    @property
    def end(self) -> np.ndarray:
        """(3,) where the last value stands."""
        return np.asarray(self.origin + self.pitch * (np.array(self.values.shape) - 1))


def field(region: np.ndarray, pitch: float, cap: float) -> Field:
    """A grid over a region, its distances still to be asked: a search fills them in where it comes.

    Args:
        region: (2, 3) mm.
        pitch: mm; coarser where the grid would hold more than `MOST_VALUES`.
        cap: larger distances are given as this, mm.
    """
    low, high = np.asarray(region, float)
    shape = _shape(high - low, pitch)
    while shape.prod() > MOST_VALUES:
        pitch *= max(1.001, float(np.cbrt(shape.prod() / MOST_VALUES)))
        shape = _shape(high - low, pitch)
    return Field(np.ascontiguousarray(low), float(pitch), float(cap), np.full(shape, np.nan, np.float32))


def _shape(extent: np.ndarray, pitch: float) -> np.ndarray:
    return np.asarray(np.maximum(np.ceil(extent / pitch).astype(int), 1) + 1)
