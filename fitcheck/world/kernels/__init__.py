"""Exact distance, depth and travel of boxes and cylinders, compiled by numba."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fitcheck.world.kernels import compiled

Floats = NDArray[np.float64]


class Measures(NamedTuple):
    """What `measure_pairs` found, one row a pair."""

    distance: Floats
    depth: Floats
    normal: Floats
    on_a: Floats
    on_b: Floats
    error: Floats


def measure_pairs(
    kinds: ArrayLike, halves: ArrayLike, rotations: ArrayLike, centres: ArrayLike, pairs: ArrayLike,
    within: float = np.inf,
) -> Measures:
    """Distance and depth of pairs of boxes and cylinders."""
    chosen = _ints(pairs)
    numbers = np.empty((len(chosen), 3))
    vectors = np.empty((len(chosen), 3, 3))
    compiled.measure(
        _ints(kinds), _floats(halves), _floats(rotations), _floats(centres), chosen, float(within), numbers, vectors
    )
    return Measures(
        numbers[:, 0], numbers[:, 1], vectors[:, 0], vectors[:, 1], vectors[:, 2], numbers[:, 2]
    )


def _floats(values: ArrayLike) -> Floats:
    return np.ascontiguousarray(values, dtype=np.float64)


def _ints(values: ArrayLike) -> NDArray[np.int64]:
    return np.ascontiguousarray(values, dtype=np.int64)
