"""Which values of a length or an angle that nobody measured yet fit: proved interval by interval.

The range is halved. A part of it fits when every demand is proved to be met all over it; it fails when one
is missed in its middle by more than it can change by up to the ends; else it is halved again, down
to `TO`. The other measurements are held as drawn, or each value must hold at the worst end of theirs.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitcheck.tolerances.between import rates
from fitcheck.tolerances.margins import Demands, Margin, margins
from fitcheck.tolerances.movement import Movement
from fitcheck.tolerances.turned import turned_of

# Between the last value known to fit and the first known to fail, mm or degrees.
TO = 0.002
# Parts of the range that are looked at, at most; with meshes that change their shape, placed anew each time.
PARTS, PLACED_ANEW = 400, 12


@dataclass(frozen=True)
class Stretch:
    """A part of the range: from, to (mm or degrees), and whether it fits; None where that is not decided.

    `why` is the margin that is missed most, of a part that fails.
    """

    low: float
    high: float
    fits: bool | None
    why: Margin | None = None


def stretches(move: Movement, demands: Demands, index: int, with_others: bool) -> list[Stretch]:
    """The range of measurement `index` in parts that fit or fail, from low to high.

    Args:
        with_others: the others anywhere within their ends; else as drawn.
    """
    search = _Range(move, demands, index, with_others)
    nominal = move.measurements[index].nominal
    open_ones = [(float(move.low[index]), float(move.high[index]))]
    found: list[Stretch] = []
    most = PLACED_ANEW if move.deforms[demands.pairs].any() else PARTS
    looked = 0
    while open_ones:
        low, high = open_ones.pop()
        looked += 1
        fits, why = search.look(low, high)
        if fits is None and high - low > TO and looked < most:
            middle = (low + high) / 2
            open_ones += [(middle, high), (low, middle)]
            continue
        found.append(Stretch(nominal + low, nominal + high, fits, why))
    return _joined(found)


class _Range:
    """One range, asked part by part."""

    def __init__(self, move: Movement, demands: Demands, index: int, with_others: bool) -> None:
        self.move, self.demands, self.index = move, demands, index
        held = np.clip(0.0, move.low, move.high)
        measured = np.array([one.measured for one in move.measurements], bool)
        free = measured & with_others
        self.low, self.high = np.where(free, move.low, held), np.where(free, move.high, held)

    def look(self, low: float, high: float) -> tuple[bool | None, Margin | None]:
        """Whether a part of the range fits as a whole, or fails as a whole; None for neither."""
        first, last = self.low.copy(), self.high.copy()
        first[self.index], last[self.index] = low, high
        everywhere = margins(self.move, self.demands, first, last)
        if all(one.bound >= one.demand.required - one.demand.slack for one in everywhere):
            return True, None
        first[self.index] = last[self.index] = (low + high) / 2
        middle = margins(self.move, self.demands, first, last)
        for one in middle:
            missed = one.demand.required - one.demand.slack - one.met
            if missed > self._rate(one) * (high - low) / 2:
                return False, one
        return None, middle[0] if middle else None

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
            why = joined[-1].why or one.why
            joined[-1] = Stretch(joined[-1].low, one.high, one.fits, why)
        else:
            joined.append(one)
    return joined
