"""Two patterns of points in a plane: the shift and turn that brings one onto the other best."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

# Each round looks at so many values of each of shift x, shift y and turn, in a span that shrinks by this.
_VALUES = np.linspace(-1.0, 1.0, 7)
_SHRINK = 0.6
_ROUNDS = 60


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

    For turns of a few degrees the offset is convex in shift and turn, so a shrinking grid about the best
    value of three unknowns finds it; it starts at the move of least squares, and its span holds every better
    one.

    Args:
        mine: (n, 2), mm.
        theirs: (n, 2).
        plays: (n,) how far each may be off, mm.

    Returns:
        The move; `worst` is the largest offset less its play: at most 0 where all screws go in.
    """
    start = best_move(mine, theirs)
    arms = np.linalg.norm(mine - start.centre, axis=1).max()
    span = 2 * start.worst + float(np.ptp(plays)) + 1e-6
    steps = np.array(np.meshgrid(_VALUES, _VALUES, _VALUES)).reshape(3, -1).T
    at = np.array([*start.shift, start.turn * max(arms, 1e-9)])
    away = mine - start.centre
    goal = theirs - start.centre
    for _ in range(_ROUNDS):
        tried = at + span * steps
        turns = tried[:, 2, None] / max(arms, 1e-9)
        cos, sin = np.cos(turns), np.sin(turns)
        x = away[:, 0] * cos - away[:, 1] * sin + tried[:, 0, None] - goal[:, 0]
        y = away[:, 0] * sin + away[:, 1] * cos + tried[:, 1, None] - goal[:, 1]
        excess = (np.hypot(x, y) - plays).max(axis=1)
        at = tried[int(excess.argmin())]
        span *= _SHRINK
    return Move(at[:2], float(at[2] / max(arms, 1e-9)), start.centre, float(excess.min()))
