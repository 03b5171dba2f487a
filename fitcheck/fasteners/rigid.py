"""Two patterns of points in a plane: the shift and turn that brings one onto the other best."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

# The largest of several offsets is smoothed over this share of the span at first, then less and less, mm.
_SMOOTH, _SHRINK, _FINEST = 0.3, 0.4, 1e-7
_NEWTON = 12


@dataclass(frozen=True, eq=False)
class Move:
    """A shift (2,), mm, and a turn, radians, about a centre (2,); and the largest excess left, mm."""

    shift: np.ndarray
    turn: float
    centre: np.ndarray
    worst: float = 0.0

    def moved(self, points: np.ndarray) -> np.ndarray:
        """Points (n, 2) after the move."""
        cos, sin = np.cos(self.turn), np.sin(self.turn)
        return np.asarray(
            (points - self.centre) @ np.array([[cos, sin], [-sin, cos]]) + self.centre + self.shift
        )


def best_move(mine: np.ndarray, theirs: np.ndarray) -> Move:
    """The rigid move of `mine` that lies on `theirs` with the least sum of squares.

    Closed form in the plane: the means come together, the turn is that of the sum of dot and cross
    products (Horn's method in two dimensions).

    Args:
        mine: (n, 2), mm.
        theirs: (n, 2), each the partner of the same row.
    """
    middle, goal = mine.mean(axis=0), theirs.mean(axis=0)
    a, b = mine - middle, theirs - goal
    turn = 0.0
    if len(mine) > 1:
        turn = float(np.arctan2((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum(), (a * b).sum()))
    found = Move(goal - middle, turn, middle)
    off = np.linalg.norm(found.moved(mine) - theirs, axis=1)
    return Move(found.shift, found.turn, middle, float(off.max()))


def easiest_move(mine: np.ndarray, theirs: np.ndarray, plays: np.ndarray) -> Move:
    """The rigid move after which the largest offset beyond its own play is least.

    For turns of a few degrees the offset is convex in shift and turn. The largest is smoothed (log of the sum
    of exponentials) and brought down by Newton's method, the smoothing made finer until it is below 1e-6 mm;
    the start is the move of least squares.

    Args:
        mine: (n, 2), mm.
        theirs: (n, 2).
        plays: (n,) how far each may be off, mm.

    Returns:
        The move; `worst` is the largest offset less its play: at most 0 where all screws go in.
    """
    start = best_move(mine, theirs)
    away, goal = mine - start.centre, theirs - start.centre
    arm = max(float(np.linalg.norm(away, axis=1).max()), 1.0)
    at = np.array([*start.shift, start.turn * arm])
    best, least = at, float(_excess(at, away, goal, plays, arm, 0.0)[0].max())
    fine = _SMOOTH * (start.worst + _FINEST)
    while fine > _FINEST:
        for _ in range(_NEWTON):
            at, moved = _newton(at, away, goal, plays, arm, fine)
            worst = float(_excess(at, away, goal, plays, arm, 0.0)[0].max())
            if worst < least:
                best, least = at, worst
            if moved < 1e-3 * fine:
                break
        fine *= _SHRINK
    return Move(best[:2], float(best[2] / arm), start.centre, least)


def _excess(
    at: np.ndarray, away: np.ndarray, goal: np.ndarray, plays: np.ndarray, arm: float, fine: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(n,) offsets less their plays; (n, 2) the offsets; (n, 2, 3) how they change with shift and turn."""
    cos, sin = np.cos(at[2] / arm), np.sin(at[2] / arm)
    turned = away @ np.array([[cos, sin], [-sin, cos]])
    off = turned + at[:2] - goal
    change = np.zeros((len(away), 2, 3))
    change[:, 0, 0] = change[:, 1, 1] = 1.0
    change[:, :, 2] = np.column_stack([-turned[:, 1], turned[:, 0]]) / arm
    return np.sqrt((off**2).sum(axis=1) + fine**2) - plays, off, change


def _newton(
    at: np.ndarray, away: np.ndarray, goal: np.ndarray, plays: np.ndarray, arm: float, fine: float
) -> tuple[np.ndarray, float]:
    """One step down the smoothed largest excess, halved until it helps; and its length, mm."""
    excess, off, change = _excess(at, away, goal, plays, arm, fine)
    lengths = excess + plays
    high = float(excess.max())
    weights = np.exp((excess - high) / fine)
    value = high + fine * float(np.log(weights.sum()))
    weights = weights / weights.sum()
    slopes = np.einsum("nk,nkj->nj", off / lengths[:, None], change)
    slope = weights @ slopes
    square = np.einsum("nki,nkj->nij", change, change) - slopes[:, :, None] * slopes[:, None, :]
    bent = np.einsum("n,nij->ij", weights / lengths, square)
    bent += (np.einsum("n,ni,nj->ij", weights, slopes, slopes) - np.outer(slope, slope)) / fine
    # A little more than the bend there is: with one or two holes some moves change nothing.
    step = -np.linalg.solve(bent + (1e-9 + 1e-11 * np.trace(bent)) * np.eye(3), slope)
    for _ in range(40):
        tried = _excess(at + step, away, goal, plays, arm, fine)[0]
        top = float(tried.max())
        if top + fine * float(np.log(np.exp((tried - top) / fine).sum())) <= value + 0.1 * float(
            slope @ step
        ):
            return at + step, float(np.linalg.norm(step))
        step = step / 2
    return at, 0.0
