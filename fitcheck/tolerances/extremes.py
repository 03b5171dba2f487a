"""The least and the most of what is linear in the measurements, and whether it changes at all."""

from __future__ import annotations

import numpy as np

from fitcheck.tolerances.movement import STILL, Movement


def least(move: Movement, slope: np.ndarray) -> np.ndarray:
    """The least that slopes (..., k) add, mm."""
    return np.asarray(np.minimum(slope * move.low, slope * move.high).sum(axis=-1))


def most(move: Movement, slope: np.ndarray) -> np.ndarray:
    """The most that slopes (..., k) add, mm."""
    return -least(move, -slope)


def moves(move: Movement, slope: np.ndarray) -> np.ndarray:
    """(...) whether slopes (..., k) make a difference."""
    return np.asarray((np.abs(slope) * (move.high - move.low)).sum(axis=-1) > STILL)


def held(move: Movement, rows: np.ndarray) -> np.ndarray:
    """Rows, with the box before its holes for a sheet that changes its shape."""
    return np.where(move.deforms[rows], move.pieces.covers[rows], rows)
