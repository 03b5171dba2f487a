"""The least distance of pairs of pieces over all values of the measurements: proved, and met.

Two numbers for each pair: one that the distance never goes below, and one that it was measured to
come down to. The first is the greatest of two lower bounds: how far apart the pieces are along a direction,
at its least in a corner of the ranges (`between.py`); and the distance in the middle less how far the two
can move against each other. For pieces that turn the first is asked of each part of the ranges anew
(`turned.py`). Where the numbers differ, the ranges are halved and both asked again, as
long as one half may hold something worse than what was met (branch and bound).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from fitcheck.parts.solids import Kind
from fitcheck.tolerances.between import Apart, along, apart, candidates, rates
from fitcheck.tolerances.movement import Movement
from fitcheck.tolerances.turned import turned_of

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

    def cut(self, kinks: Mapping[int, float], owners: np.ndarray) -> _Boxes:
        """Those of some owners cut in two where a measurement begins anew."""
        found = self
        for k, kink in kinks.items():
            inside = owners[found.owner] & (found.low[:, k] < kink) & (kink < found.high[:, k])
            left, right = found.high.copy(), found.low.copy()
            left[inside, k] = right[inside, k] = kink
            found = _Boxes(
                np.concatenate([found.owner, found.owner[inside]]),
                np.concatenate([found.low, right[inside]]),
                np.concatenate([left, found.high[inside]]),
            )
        return found

    def halved(self, weight: np.ndarray) -> _Boxes:
        """Each cut in two across the measurement that has the most weight (m, k)."""
        axis = weight.argmax(axis=1)
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
    if search.turned is not None:
        slope[search.turns] = search.turned.slopes(drawn.normal[search.turns])
        slope[~sound] = np.nan
    search.run(_Boxes(np.arange(count), np.tile(low, (count, 1)), np.tile(high, (count, 1))))
    # Of meshes in each other the engine's depth is a way out that may be longer than what is proved.
    return Worst(np.minimum(search.bound, search.met), search.met, search.where, drawn.signed, slope)


def worst_ways(
    move: Movement, pairs: np.ndarray, directions: np.ndarray, low: np.ndarray, high: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """The least way of pairs (q, 2) that turn along directions (q, 3): (q,) bounds, mm, and where, (q, k)."""
    search = _Ways(move, pairs, directions)
    count = len(pairs)
    search.run(_Boxes(np.arange(count), np.tile(low, (count, 1)), np.tile(high, (count, 1))))
    return np.minimum(search.bound, search.met), search.where


class _Search:
    """One branch and bound over several pairs at once."""

    def __init__(self, move: Movement, pairs: np.ndarray) -> None:
        self.move, self.pairs = move, pairs
        self.rate = rates(move, pairs)
        self.turns = np.asarray(move.turns(pairs).any(axis=1))
        self.turned = turned_of(move, pairs[self.turns]) if self.turns.any() else None
        if self.turned is not None:
            self.rate[self.turns] = self.turned.rate
        # Placed anew for each value: too dear to be halved.
        self.dear = move.deforms[pairs].any(axis=1)
        self.meshed = (move.pieces.all.kinds[pairs] == Kind.MESH).any(axis=1)
        count, measurements = len(pairs), len(move.measurements)
        self.met = np.full(count, np.inf)
        self.where = np.zeros((count, measurements))
        self.bound = np.full(count, np.inf)
        # Of the parts looked at last, how much of their bounds is lost to each measurement.
        self.lost = np.zeros((0, measurements))

    def run(self, boxes: _Boxes) -> None:
        """Halve until bound and met agree, or the parts are used up."""
        if self.turned is not None:
            boxes = boxes.cut(self.turned.turning.kinks, self.turns)
        used = 0
        for turn in range(ROUNDS if self.turned is None else 2 * ROUNDS):
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
            left = np.flatnonzero(~ends)
            boxes = boxes.chosen(left)
            if not len(left):
                return
            weight = self.rate[boxes.owner] * (boxes.high - boxes.low)
            if self.turned is not None and turn % 2:
                # Where much moves but little bends, halving what moves alone would never come to an end.
                lost = self.lost[left]
                weight = np.where(lost.max(axis=1, keepdims=True) > 0, lost, weight)
            boxes = boxes.halved(weight)
        np.minimum.at(self.bound, boxes.owner, self._look(boxes))

    def _look(self, boxes: _Boxes) -> np.ndarray:
        """Lower bounds of parts of the ranges; what is measured on the way is kept as met."""
        middle = (boxes.low + boxes.high) / 2
        here = self._measured(boxes.owner, middle)
        self._keep(boxes.owner, here.signed, middle)
        lower, corner = self._bounds(here.normal, boxes)
        self._keep(boxes.owner, self._measured(boxes.owner, corner).signed, corner)
        rate = self.rate[boxes.owner]
        ways = (np.where(np.isfinite(rate), rate, 0.0) * (boxes.high - boxes.low) / 2).sum(axis=1)
        still = here.signed - np.where(np.isfinite(rate).all(axis=1), ways, np.inf)
        # Of meshes in each other the depth is a way out, not the shortest one: it proves nothing.
        still[np.isnan(still) | (self.meshed[boxes.owner] & (here.signed <= 0))] = -np.inf
        return np.asarray(np.maximum(lower, still))

    def _measured(self, owner: np.ndarray, offsets: np.ndarray) -> Apart:
        return apart(self.move, self.pairs[owner], offsets)

    def _bounds(self, normals: np.ndarray, boxes: _Boxes) -> tuple[np.ndarray, np.ndarray]:
        """The best bound along any direction, and the corner that it is met in."""
        if self.turned is None:
            return self._along(self.pairs[boxes.owner], normals, boxes)
        lower, corner = np.empty(len(boxes.owner)), np.empty_like(boxes.low)
        turns = self.turns[boxes.owner]
        still = np.flatnonzero(~turns)
        if len(still):
            some = boxes.chosen(still)
            lower[still], corner[still] = self._along(self.pairs[some.owner], normals[still], some)
        some = boxes.chosen(np.flatnonzero(turns))
        which = (np.cumsum(self.turns) - 1)[some.owner]
        least = self.turned.least(which, some.low, some.high, normals[turns])
        lower[turns] = np.where(self._unheld(self.pairs[some.owner]), -np.inf, least.bound)
        corner[turns], self.lost = least.corner, np.zeros_like(boxes.low)
        self.lost[turns] = least.lost
        return lower, corner

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


class _Ways(_Search):
    """The same of the way along one direction for each pair; all of them turn."""

    def __init__(self, move: Movement, pairs: np.ndarray, directions: np.ndarray) -> None:
        super().__init__(move, pairs)
        self.directions = directions

    def _measured(self, owner: np.ndarray, offsets: np.ndarray) -> Apart:
        assert self.turned is not None
        found = self.turned.ways(owner, offsets, offsets, self.directions[owner])
        return Apart(found.least[:, 0], np.full((len(owner), 3), np.nan))

    def _bounds(self, normals: np.ndarray, boxes: _Boxes) -> tuple[np.ndarray, np.ndarray]:
        assert self.turned is not None
        found = self.turned.towards(boxes.owner, boxes.low, boxes.high, self.directions[boxes.owner])
        self.lost = found.lost
        return found.bound, found.corner
