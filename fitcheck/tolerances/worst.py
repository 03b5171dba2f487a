"""The least distance of pairs of pieces over all values of the measurements: proved, and met.

Two numbers for each pair: one that the distance never goes below, and one that it was measured to
come down to. The first is the greatest of two lower bounds: how far apart the pieces are along a direction,
at its least in a corner of the ranges (`between.py`); and the distance in the middle less how far the two
can move against each other. Where the numbers differ, the ranges are halved and both asked again, as
long as one half may hold something worse than what was met (branch and bound).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitcheck.parts.solids import Kind
from fitcheck.tolerances.between import along, apart, candidates, rates
from fitcheck.tolerances.movement import Movement

# Bound and what was met may differ by so much, mm; of pieces in each other also by that share of the depth.
TO, OF_DEPTH = 0.01, 0.05
# Halvings of the ranges, and parts of them that are looked at for all pairs together, at most.
ROUNDS, PARTS = 24, 20_000


@dataclass(frozen=True, eq=False)
class Worst:
    """What came of pairs of pieces, one row each.

    Args:
        bound: (q,) the distance is never below this, mm (depth counts below 0); -inf where nothing is proved.
        met: (q,) the least that was measured.
        where: (q, k) the offsets at which it was, mm.
        drawn: (q,) as drawn.
        slope: (q, k) of the distance as drawn, mm a mm; nan where touching pieces give no direction.
    """

    bound: np.ndarray
    met: np.ndarray
    where: np.ndarray
    drawn: np.ndarray
    slope: np.ndarray


@dataclass(frozen=True, eq=False)
class _Boxes:
    """Parts of the ranges, one row each: whose pair, from where to where."""

    owner: np.ndarray
    low: np.ndarray
    high: np.ndarray

    def chosen(self, rows: np.ndarray) -> _Boxes:
        return _Boxes(self.owner[rows], self.low[rows], self.high[rows])

    def halved(self, rate: np.ndarray) -> _Boxes:
        """Each cut in two across the measurement in which it matters most."""
        axis = (rate * (self.high - self.low)).argmax(axis=1)
        row = np.arange(len(axis))
        middle = (self.low[row, axis] + self.high[row, axis]) / 2
        left, right = self.high.copy(), self.low.copy()
        left[row, axis] = middle
        right[row, axis] = middle
        return _Boxes(
            np.concatenate([self.owner, self.owner]),
            np.concatenate([self.low, right]),
            np.concatenate([left, self.high]),
        )


def worst_of(
    move: Movement, pairs: np.ndarray, low: np.ndarray | None = None, high: np.ndarray | None = None
) -> Worst:
    """The least distance of pairs (q, 2) of rows within offsets low to high (k,), or the whole ranges."""
    low = move.low if low is None else low
    high = move.high if high is None else high
    count = len(pairs)
    if not count:
        none = np.zeros(0)
        return Worst(none, none, np.zeros((0, len(low))), none, np.zeros((0, len(low))))
    drawn = apart(move, pairs, np.zeros((count, len(low))))
    sound = np.isfinite(drawn.normal).all(axis=1) & np.isfinite(drawn.signed)
    slope = np.full((count, len(low)), np.nan)
    slope[sound] = along(move, pairs[sound], drawn.normal[sound]).slope
    search = _Search(move, pairs)
    search.run(_Boxes(np.arange(count), np.tile(low, (count, 1)), np.tile(high, (count, 1))))
    # Of meshes in each other the engine's depth is a way out that may be longer than what is proved.
    return Worst(np.minimum(search.bound, search.met), search.met, search.where, drawn.signed, slope)


class _Search:
    """One branch and bound over several pairs at once."""

    def __init__(self, move: Movement, pairs: np.ndarray) -> None:
        self.move, self.pairs = move, pairs
        self.rate = rates(move, pairs)
        # Placed anew for each value: too dear to be halved.
        self.dear = move.deforms[pairs].any(axis=1)
        self.meshed = (move.pieces.all.kinds[pairs] == Kind.MESH).any(axis=1)
        count, measurements = len(pairs), len(move.measurements)
        self.met = np.full(count, np.inf)
        self.where = np.zeros((count, measurements))
        self.bound = np.full(count, np.inf)

    def run(self, boxes: _Boxes) -> None:
        """Halve until bound and met agree, or the parts are used up."""
        used = 0
        for _ in range(ROUNDS):
            used += len(boxes.owner)
            lower = self._look(boxes)
            met = self.met[boxes.owner]
            worse = lower < met - TO - OF_DEPTH * np.maximum(-met, 0.0)
            # What cannot be split any more, or not usefully, keeps its bound as it is.
            ends = ~worse | (used + 2 * int(worse.sum()) > PARTS) | self.dear[boxes.owner]
            # Meshes that are in each other somewhere have missed their demand: how deep at most takes long.
            ends |= self.meshed[boxes.owner] & (self.met[boxes.owner] <= 0)
            # Open meshes that hide what they hold say nothing in smaller parts, either.
            ends |= self.meshed[boxes.owner] & ~np.isfinite(self.met[boxes.owner])
            np.minimum.at(self.bound, boxes.owner[ends], lower[ends])
            boxes = boxes.chosen(np.flatnonzero(~ends))
            if not len(boxes.owner):
                return
            boxes = boxes.halved(self.rate[boxes.owner])
        np.minimum.at(self.bound, boxes.owner, self._look(boxes))

    def _look(self, boxes: _Boxes) -> np.ndarray:
        """Lower bounds of parts of the ranges; what is measured on the way is kept as met."""
        pairs = self.pairs[boxes.owner]
        middle = (boxes.low + boxes.high) / 2
        here = apart(self.move, pairs, middle)
        self._keep(boxes.owner, here.signed, middle)
        lower, corner = self._along(pairs, here.normal, boxes)
        self._keep(boxes.owner, apart(self.move, pairs, corner).signed, corner)
        rate = self.rate[boxes.owner]
        ways = (np.where(np.isfinite(rate), rate, 0.0) * (boxes.high - boxes.low) / 2).sum(axis=1)
        still = here.signed - np.where(np.isfinite(rate).all(axis=1), ways, np.inf)
        # Of meshes in each other the depth is a way out, not the shortest one: it proves nothing.
        still[np.isnan(still) | (self.meshed[boxes.owner] & (here.signed <= 0))] = -np.inf
        return np.asarray(np.maximum(lower, still))

    def _along(self, pairs: np.ndarray, normals: np.ndarray, boxes: _Boxes) -> tuple[np.ndarray, np.ndarray]:
        """The best bound along any direction tried, and the corner that it is met in."""
        tries = np.concatenate([normals[:, None], candidates(self.move, pairs)], axis=1)
        count, each = tries.shape[:2]
        known = np.isfinite(tries).all(axis=2)
        tries = np.where(known[..., None], tries, np.array([1.0, 0.0, 0.0]))
        found = along(self.move, np.repeat(pairs, each, axis=0), tries.reshape(-1, 3))
        low, high = np.repeat(boxes.low, each, axis=0), np.repeat(boxes.high, each, axis=0)
        least = np.where(known, found.least(low, high).reshape(count, each), -np.inf)
        loose = self._unheld(pairs)
        best = least.argmax(axis=1)
        corner = found.worst(low, high).reshape(count, each, -1)[np.arange(count), best]
        return np.asarray(np.where(loose, -np.inf, least.max(axis=1))), corner

    def _unheld(self, pairs: np.ndarray) -> np.ndarray:
        """Pairs of which one deforms and no box surely holds it."""
        move = self.move
        return np.asarray((move.deforms[pairs] & (move.pieces.covers[pairs] == pairs)).any(axis=1))

    def _keep(self, owner: np.ndarray, signed: np.ndarray, offsets: np.ndarray) -> None:
        order = np.argsort(np.where(np.isnan(signed), np.inf, signed), kind="stable")
        for row in order.tolist():
            k = owner[row]
            if signed[row] < self.met[k]:
                self.met[k], self.where[k] = signed[row], offsets[row]
