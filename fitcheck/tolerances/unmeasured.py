"""Which values of a length or an angle that nobody measured yet fit: proved interval by interval.

The range is halved. A part of it fits when every demand is proved to be met all over it; it fails when one
is proved to be missed all over it; else it is halved again, down to `TO`, and its halves are asked what is
still open. Of boxes and cylinders the worst of a part is known (`worst.py`), and one fails that is missed
in the middle by more than it can change up to the ends; pairs with a mesh are asked in `throughout.py`.
The other measurements are held as drawn, or each value must hold at the worst end of theirs.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fitcheck.parts.solids import Kind
from fitcheck.tolerances.between import rates
from fitcheck.tolerances.margins import Demand, Demands, Margin, margins
from fitcheck.tolerances.movement import Movement
from fitcheck.tolerances.throughout import Throughout
from fitcheck.tolerances.turned import turned_of

# Between the last value known to fit and the first known to fail, mm or degrees.
TO = 0.002
# The same where only meshes are open: contacts of theirs are not told from what is just deeper, mm.
TO_OF_MESHES = 0.005
# Parts of the range that are looked at, at most.
PARTS = 400


@dataclass(frozen=True)
class Stretch:
    """A part of the range: from, to (mm or degrees), and whether it fits; None where that is not decided.

    `why` is the demand that is missed, of a part that fails; or that is open, and `unsure` what keeps it so.
    """

    low: float
    high: float
    fits: bool | None
    why: Demand | None = None
    unsure: str = ""


@dataclass(frozen=True, eq=False)
class _Open:
    """What is not proved to be met yet: plain demands as such, pairs with a mesh by their rows."""

    plain: Demands
    meshed: tuple[int, ...]


def stretches(move: Movement, demands: Demands, index: int, with_others: bool) -> list[Stretch]:
    """The range of measurement `index` in parts that fit or fail, from low to high.

    Args:
        with_others: the others anywhere within their ends; else as drawn.
    """
    search = _Range(move, demands, index, with_others)
    nominal = move.measurements[index].nominal
    parts = [(float(move.low[index]), float(move.high[index]), search.every())]
    found: list[Stretch] = []
    looked = 0
    while parts:
        low, high, before = parts.pop()
        looked += 1
        fits, why, left = search.look(low, high, before)
        if fits is None and high - low > search.to(left) and looked < PARTS:
            middle = (low + high) / 2
            parts += [(middle, high, left), (low, middle, left)]
            continue
        unsure = "" if fits is not None else search.unsure(left)
        found.append(Stretch(nominal + low, nominal + high, fits, why, unsure))
    return _joined(found)


class _Range:
    """One range, asked part by part."""

    def __init__(self, move: Movement, demands: Demands, index: int, with_others: bool) -> None:
        self.move, self.demands, self.index = move, demands, index
        held = np.clip(0.0, move.low, move.high)
        measured = np.array([one.measured for one in move.measurements], bool)
        free = measured & with_others
        self.low, self.high = np.where(free, move.low, held), np.where(free, move.high, held)
        self.meshes = Throughout(move)
        angles = np.array([one.angle for one in move.measurements], bool)
        # With every angle as drawn what turns moves linearly, too.
        self.turns = bool(angles[index] or (angles & (self.low < self.high)).any())
        self.turned = [] if angles[index] else np.flatnonzero(self._turned_meshes()).tolist()

    def every(self) -> _Open:
        """All demands, before any is proved; what an angle turns is asked as boxes are (`turned.py`)."""
        meshed = self._meshed(self.demands.pairs) & ~self._turned_meshes()
        pairs, pair_of = self.demands.pairs[~meshed], self.demands.pair_of[~meshed]
        return _Open(
            replace(self.demands, pairs=pairs, pair_of=pair_of), tuple(np.flatnonzero(meshed).tolist())
        )

    def look(self, low: float, high: float, before: _Open) -> tuple[bool | None, Demand | None, _Open]:
        """Whether a part of the range fits or fails as a whole, None for neither; and what is open in it."""
        first, last = self.low.copy(), self.high.copy()
        first[self.index], last[self.index] = low, high
        everywhere = margins(self.move, before.plain, first, last)
        still = [one.demand for one in everywhere if not one.fits_bound]
        names = {id(one) for one in still}
        kept = np.array([id(one) in names for one in self.demands.all], bool)
        meshed = tuple(
            row
            for row in before.meshed
            if not self.meshes.met(self._pair(row), self._least(row), first, last, self.index)
        )
        left = _Open(before.plain.of_those(kept), meshed)
        if not still and not meshed:
            return True, None, left
        for row in meshed:
            if self.meshes.missed(self._pair(row), self._least(row), first, last, self.index):
                return False, self._demand(row), left
        for row in self.turned:
            if kept[self.demands.pair_of[row]] and self._missed_as_drawn(row, low, high):
                return False, self._demand(row), left
        first[self.index] = last[self.index] = (low + high) / 2
        middle = margins(self.move, left.plain, first, last)
        for one in middle:
            # Depths of meshes are ways out: that they meet is all they prove.
            met = max(one.met, 0.0) if self._meshed(one.pairs).any() else one.met
            missed = one.demand.required - one.demand.slack - met
            if missed > self._rate(one) * (high - low) / 2:
                return False, one.demand, left
        return None, still[0] if still else self._demand(meshed[0]), left

    def to(self, left: _Open) -> float:
        """No part is halved that is shorter than this, mm; endless where that would decide nothing."""
        if len(left.plain.pairs) + len(left.plain.here):
            return TO
        tell = any(self.meshes.may_tell(self._pair(row), self._least(row)) for row in left.meshed)
        return TO_OF_MESHES if tell else np.inf

    def unsure(self, left: _Open) -> str:
        """Why what is open cannot be decided, if that is known."""
        said = [self.meshes.why_not(self._pair(row)) for row in left.meshed]
        return next((one for one in said if one), "")

    def _turned_meshes(self) -> np.ndarray:
        """(q,) pairs with a mesh of which an angle turns one in this search."""
        pairs = self.demands.pairs
        return np.asarray(self._meshed(pairs) & self.move.turns(pairs).any(axis=1) & self.turns)

    def _missed_as_drawn(self, row: int, low: float, high: float) -> bool:
        """Whether a pair is missed at every value, the others as drawn: at their worst it is no better."""
        first, last = np.clip(0.0, self.low, self.high), np.clip(0.0, self.low, self.high)
        first[self.index], last[self.index] = low, high
        return self.meshes.missed(self._pair(row), self._least(row), first, last, self.index)

    def _meshed(self, pairs: np.ndarray) -> np.ndarray:
        return np.asarray((self.move.pieces.all.kinds[pairs] == Kind.MESH).any(axis=1))

    def _pair(self, row: int) -> tuple[int, int]:
        a, b = self.demands.pairs[row].tolist()
        return a, b

    def _demand(self, row: int) -> Demand:
        return self.demands.all[int(self.demands.pair_of[row])]

    def _least(self, row: int) -> float:
        one = self._demand(row)
        return one.required - one.slack

    def _rate(self, one: Margin) -> float:
        """How much what is measured may change with the measurement at most, mm a mm or degree."""
        by_pairs = self._rates(one.pairs) if len(one.pairs) else np.zeros(0)
        by_lengths = np.abs(self.demands.slope[one.lengths, self.index])
        turns = self.demands.turns[one.lengths]
        if turns.any():
            by_lengths[turns] = self._rates(self.demands.ends[one.lengths][turns])
        return float(np.concatenate([by_pairs, by_lengths]).max())

    def _rates(self, pairs: np.ndarray) -> np.ndarray:
        found = rates(self.move, pairs)[:, self.index]
        turns = self.move.turns(pairs).any(axis=1)
        if turns.any():
            found[turns] = turned_of(self.move, pairs[turns]).rate[:, self.index]
        return found


def _joined(found: list[Stretch]) -> list[Stretch]:
    """Neighbours of one kind as one."""
    joined: list[Stretch] = []
    for one in found:
        if joined and joined[-1].fits == one.fits:
            last = joined[-1]
            joined[-1] = replace(
                last, high=one.high, why=last.why or one.why, unsure=last.unsure or one.unsure
            )
        else:
            joined.append(one)
    return joined
