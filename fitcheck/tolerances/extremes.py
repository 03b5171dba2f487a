"""The least and the most of ways along a direction; rows of pieces that lie beside each other."""

from __future__ import annotations

import numpy as np

from fitcheck.parts.solids import Kind
from fitcheck.tolerances.between import farthest
from fitcheck.tolerances.movement import STILL, Movement
from fitcheck.tolerances.turned import Spans, spans
from fitcheck.world.engine import CONTACT

# Entries of a rotation nearer to 0 and 1 than this: faces across the axes.
SQUARE = 1e-9


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


def between(
    move: Movement, first: np.ndarray, second: np.ndarray, direction: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """From the far side of the first rows (q,) to the near side of the second: (q,) mm and (q, k) slopes."""
    out, out_slope = farthest(move, first, np.tile(direction, (len(first), 1)))
    near, near_slope = farthest(move, second, np.tile(-direction, (len(second), 1)))
    return -near - out, -near_slope - out_slope


def reaches(move: Movement, first: np.ndarray, second: np.ndarray, direction: np.ndarray) -> Spans:
    """The same with the least and the most that it comes to; also of rows that turn."""
    here, slope = between(move, first, second, direction)
    low, high = here + least(move, slope), here + most(move, slope)
    pairs = np.column_stack([first, second])
    turns = np.asarray(move.turns(pairs).any(axis=1))
    if turns.any():
        found = spans(move, pairs[turns], direction)
        here[turns], slope[turns], low[turns], high[turns] = found.here, found.slope, found.least, found.most
    return Spans(here, low, high, slope)


def of_turning(move: Movement, first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """(q, 2) pairs of rows that turn, -1 for the others: what margins ask anew for parts of the ranges."""
    pairs = np.column_stack([first, second])
    turns = np.asarray(move.turns(pairs).any(axis=1))
    return np.where(turns[:, None], pairs, -1)


def beside(
    move: Movement, first: np.ndarray, second: np.ndarray, direction: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """(q,) whether bounds of rows overlap across a direction at some values, and whether at all of them."""
    some, always = np.ones(len(first), bool), np.ones(len(first), bool)
    for axis in np.flatnonzero(direction == 0).tolist():
        for sign in (1.0, -1.0):
            across = np.zeros(3)
            across[axis] = sign
            # How far the one reaches past the near side of the other: less than a contact is no overlap.
            apart = reaches(move, first, second, across)
            some &= -apart.least > CONTACT
            always &= -apart.most > CONTACT
    return some, always


def square(move: Movement, rows: np.ndarray) -> np.ndarray:
    """(q,) boxes along the axes that keep their shape and do not turn."""
    pieces = move.pieces.all
    turned = np.abs(np.abs(pieces.rotations[rows]).max(axis=2) - 1).max(axis=1)
    return np.asarray(
        (pieces.kinds[rows] == Kind.BOX) & (turned < SQUARE) & ~move.deforms[rows] & ~move.turns(rows)
    )
