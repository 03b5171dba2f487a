"""A field: the exact distance to the nearest solid on a grid of points."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitcheck.runs.kernels import compiled
from fitcheck.runs.obstacles import Obstacles

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
        values: (i, j, k) float32, distance less extra at origin + pitch (i, j, k), at most the cap.
    """

    origin: np.ndarray
    pitch: float
    values: np.ndarray

    @property
    def end(self) -> np.ndarray:
        """(3,) where the last value stands."""
        return np.asarray(self.origin + self.pitch * (np.array(self.values.shape) - 1))


def field(obstacles: Obstacles, pitch: float, cap: float, region: np.ndarray | None = None) -> Field:
    """The distances to obstacles on a grid that covers a region.

    Args:
        pitch: mm; coarser where the grid would hold more than `MOST_VALUES`.
        cap: larger distances are given as this, mm.
        region: (2, 3) mm; the bounds of the obstacles if none is given.
    """
    low, high = np.asarray(obstacles.bounds if region is None else region, float)
    shape = _shape(high - low, pitch)
    while shape.prod() > MOST_VALUES:
        pitch *= max(1.001, float(np.cbrt(shape.prod() / MOST_VALUES)))
        shape = _shape(high - low, pitch)
    values = np.empty(shape, np.float32)
    compiled.fill_field(obstacles.solids, np.ascontiguousarray(low), float(pitch), float(cap), values)
    return Field(low, float(pitch), values)


def _shape(extent: np.ndarray, pitch: float) -> np.ndarray:
    return np.asarray(np.maximum(np.ceil(extent / pitch).astype(int), 1) + 1)
