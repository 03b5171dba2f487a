"""Does one straight screw go through several holes, each a little beside the next?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fitcheck.fasteners.bores import Bore
from fitcheck.fasteners.patterns import offset, plane

# Values looked at along each axis, and how often the span shrinks to those next to the best: 16 ** 7 in all.
_VALUES, _ROUNDS = np.linspace(-1.0, 1.0, 33), 7


def excess(holes: Sequence[Bore], plays: np.ndarray, way: np.ndarray, tapped: Bore | None = None) -> float:
    """By how much the hole that is worst off is beyond its play, for the best axis there is, mm.

    The axis runs along `way`; in a tapped hole it is the thread's. Else it may lie anywhere: the largest
    excess is convex in its place, so that along one line a shrinking row of values finds the least, and a row
    of such rows.

    Args:
        plays: (n,) how far the axis may be off each hole's middle, mm.
        way: (3,) unit.

    Returns:
        At most 0 where a screw goes through all.
    """
    if tapped is not None:
        off = np.array([np.linalg.norm(offset(bore, tapped, way)) for bore in holes])
        return float((off - plays).max())
    axes = plane(way)
    middle = np.mean([bore.at for bore in holes], axis=0)
    flat = np.array([axes @ (bore.at - middle) for bore in holes])
    slots = np.array([axes @ bore.long for bore in holes])
    reach = float(np.linalg.norm(flat, axis=1).max() + np.linalg.norm(slots, axis=1).max()) + 1e-6
    low, span = 0.0, reach
    for _ in range(_ROUNDS):
        rows = low + span * _VALUES
        best = _least_along(rows, flat, slots, plays, reach)
        low, span = float(rows[int(best.argmin())]), span / 16
    return float(best.min())


def _least_along(
    rows: np.ndarray, flat: np.ndarray, slots: np.ndarray, plays: np.ndarray, reach: float
) -> np.ndarray:
    """(n,) for each first coordinate of the axis the least of the largest excess over the second."""
    at, span = np.zeros(len(rows)), reach
    for _ in range(_ROUNDS):
        tried = at[:, None] + span * _VALUES
        places = np.stack([np.broadcast_to(rows[:, None], tried.shape), tried], axis=-1)
        worst = (_off(places, flat, slots) - plays).max(axis=-1)
        best = worst.argmin(axis=1)
        at, span = tried[np.arange(len(rows)), best], span / 16
    return np.asarray(worst.min(axis=1))


def _off(places: np.ndarray, flat: np.ndarray, slots: np.ndarray) -> np.ndarray:
    """(..., n) distances of places (..., 2) from the middles of holes, of slots from their middle lines."""
    away = places[..., None, :] - flat
    lengths = np.linalg.norm(slots, axis=1)
    along = slots / np.maximum(lengths, 1e-12)[:, None]
    slid = np.clip((away * along).sum(axis=-1), -lengths, lengths)
    return np.asarray(np.linalg.norm(away - slid[..., None] * along, axis=-1))
