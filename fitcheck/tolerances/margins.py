"""Margins: what is to spare of each demand, as drawn and at the worst end of the measurements."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitcheck.tolerances.movement import Movement
from fitcheck.tolerances.worst import worst_of


@dataclass(frozen=True)
class Demand:
    """One demand of two things, as the check that makes it names it.

    Args:
        check: whose it is.
        parts: the two that the finding is about.
        things: the two solids, or what else is meant, for sentences.
        required: mm.
        slack: so much less still counts as met, mm: contacts, rounding.
        rule: which rule of the scene file, empty if built in.
        contact: the two are meant to touch: nothing is to spare, and nothing needs to be.
    """

    check: str
    parts: tuple[str, str]
    things: tuple[str, str]
    required: float
    slack: float
    rule: str = ""
    contact: bool = False


@dataclass(frozen=True, eq=False)
class Demands:
    """All demands that something moving may miss.

    Args:
        all: the demands.
        pairs: (q, 2) rows whose distance is demanded; `pair_of` (q,) says by which demand.
        here, slope: (p,), (p, k) lengths that are linear in the measurements; `length_of` (p,).
        left_out: what is not followed, in plain sentences.
    """

    all: tuple[Demand, ...]
    pairs: np.ndarray
    pair_of: np.ndarray
    here: np.ndarray
    slope: np.ndarray
    length_of: np.ndarray
    left_out: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Margin:
    """What one demand comes to.

    Args:
        demand: whose margin it is.
        drawn: what is measured as drawn, mm; below 0 the depth.
        bound: it is never below this, mm; -inf where nothing is proved.
        met: the least that was measured.
        where: (k,) offsets of the measurements at which it was, mm.
        slope: (k,) of what is measured, as drawn, mm a mm; nan where touching solids give none.
        pairs: (q, 2) rows that this is the least of; none for a length.
        lengths: which rows of `Demands.here`.
    """

    demand: Demand
    drawn: float
    bound: float
    met: float
    where: np.ndarray
    slope: np.ndarray
    pairs: np.ndarray
    lengths: np.ndarray

    @property
    def least(self) -> float:
        """What is to spare at the worst end, at least as far as it is proved, mm."""
        known = self.bound if np.isfinite(self.bound) else self.met
        return known - self.demand.required

    @property
    def fits_drawn(self) -> bool:
        """Whether the demand is met as drawn."""
        return self.drawn >= self.demand.required - self.demand.slack

    @property
    def fits_bound(self) -> bool:
        """Whether it is proved to be met everywhere."""
        return self.bound >= self.demand.required - self.demand.slack

    @property
    def fits_met(self) -> bool:
        """Whether it was met wherever it was measured."""
        return self.met >= self.demand.required - self.demand.slack


def margins(
    move: Movement, demands: Demands, low: np.ndarray | None = None, high: np.ndarray | None = None
) -> list[Margin]:
    """The margin of each demand within offsets low to high (k,), or the whole ranges; least first."""
    low = move.low if low is None else low
    high = move.high if high is None else high
    found = worst_of(move, demands.pairs, low, high)
    ends = np.where(demands.slope > 0, low, high) if len(demands.here) else demands.slope
    worst = demands.here + (demands.slope * ends).sum(axis=1)
    proved = worst if not move.doubts.bent else np.full(len(worst), -np.inf)
    every = []
    for index, demand in enumerate(demands.all):
        rows, lengths = np.flatnonzero(demands.pair_of == index), np.flatnonzero(demands.length_of == index)
        if not len(rows) and not len(lengths):
            continue
        bound = np.concatenate([_useful(move, demands, rows, found.bound), proved[lengths]])
        met = np.concatenate([found.met[rows], worst[lengths]])
        drawn = np.concatenate([found.drawn[rows], demands.here[lengths]])
        # Open meshes hide how deep they are in each other: their own check says so.
        drawn = np.where(np.isnan(drawn), np.inf, drawn)
        where = np.concatenate([found.where[rows], ends[lengths]])
        slope = np.concatenate([found.slope[rows], demands.slope[lengths]])
        lead, now = int(met.argmin()), int(drawn.argmin())
        every.append(
            Margin(
                demand, float(drawn[now]), float(bound.min()), float(met[lead]), where[lead], slope[now],
                demands.pairs[rows], lengths,
            )
        )  # fmt: skip
    return sorted(every, key=lambda one: one.least)


def _useful(move: Movement, demands: Demands, rows: np.ndarray, bound: np.ndarray) -> np.ndarray:
    """Bounds of pairs, -inf for meshes that change their shape unless the box about them proves enough."""
    deforms = move.deforms[demands.pairs[rows]].any(axis=1)
    allowed = np.array([demands.all[k].required - demands.all[k].slack for k in demands.pair_of[rows]])
    return np.where(deforms & (bound[rows] < allowed), -np.inf, bound[rows])
