"""Which length, measured better, would help most?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitcheck.tolerances.likely import sigmas_of
from fitcheck.tolerances.margins import Demands, Margin, margins
from fitcheck.tolerances.movement import Movement

# Measured better: to this share of its width.
BETTER = 0.5
# Measurements that are asked one by one; beyond these only their slopes count.
ASKED = 12


@dataclass(frozen=True)
class Helped:
    """What one measurement would bring.

    Args:
        name: whose.
        gain: by how much the least margin grows when it is measured twice as well, mm.
        share: its share of the variance of the least margin.
    """

    name: str
    gain: float
    share: float


def ranking(
    move: Movement, demands: Demands, every: list[Margin], sigmas: float | None
) -> tuple[Helped, ...]:
    """Measurements by what measuring them better brings, the best first; none that bring nothing.

    Args:
        every: margins of all demands, what is not measured held as drawn, least first.
    """
    if not every:
        return ()
    lead = every[0]
    slope = np.where(np.isfinite(lead.slope), lead.slope, 0.0)
    spread = (slope * sigmas_of(move, sigmas)) ** 2
    shares = spread / spread.sum() if spread.sum() > 0 else spread
    measured = np.array([one.measured for one in move.measurements], bool)
    held = np.clip(0.0, move.low, move.high)
    low, high = np.where(measured, move.low, held), np.where(measured, move.high, held)
    weight = np.abs(slope) * (high - low)
    asked = [k for k in np.argsort(-weight, kind="stable").tolist() if high[k] > low[k]][:ASKED]
    near = _near(demands, every, float(weight.max(initial=0.0)))
    found = []
    for k in asked:
        better_low, better_high = low.copy(), high.copy()
        middle = (low[k] + high[k]) / 2
        better_low[k] = middle + (low[k] - middle) * BETTER
        better_high[k] = middle + (high[k] - middle) * BETTER
        least = margins(move, near, better_low, better_high)[0].least
        found.append(Helped(move.measurements[k].name, max(least - lead.least, 0.0), float(shares[k])))
    helping = [one for one in found if one.gain > 1e-9 or one.share > 1e-9]
    return tuple(sorted(helping, key=lambda one: (-round(one.gain, 6), -one.share, one.name)))


def _near(demands: Demands, every: list[Margin], gain: float) -> Demands:
    """The demands that may be the least ones after a gain: no others need to be asked again."""
    kept = {id(one.demand) for one in every if one.least <= every[0].least + gain}
    index = np.array([id(one) in kept for one in demands.all], bool)
    return demands.of_those(index)
