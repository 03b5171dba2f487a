"""Margins: what is to spare of each demand, as drawn and at the worst end of the measurements."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from itertools import chain, islice, product

import numpy as np

from fitcheck.scene.mistakes import Mistakes
from fitcheck.tolerances.movement import Movement
from fitcheck.tolerances.turned import turned_of
from fitcheck.tolerances.worst import TO, worst_of, worst_ways
from fitcheck.world.world import World

# Corners that a check itself is asked in, at most: each time the scene is placed anew.
TRIED = 16
# A margin that changes by less does not change, mm: rounding.
NOTHING = 1e-6


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
        ask: what the check itself measures in a world, where lengths are only a bound of it, mm.
    """

    check: str
    parts: tuple[str, str]
    things: tuple[str, str]
    required: float
    slack: float
    rule: str = ""
    contact: bool = False
    ask: Callable[[World], float] | None = field(default=None, compare=False)


@dataclass(frozen=True, eq=False)
class Demands:
    """All demands that something moving may miss.

    Args:
        all: the demands.
        pairs: (q, 2) rows whose distance is demanded; `pair_of` (q,) says by which demand.
        here, slope: (p,), (p, k) lengths that are linear in the measurements; `length_of` (p,).
        sure: (p,) lengths that nothing longer is measured than; the others may not count at all.
        ends, towards: (p, 2), (p, 3) of lengths between pieces that turn: their rows, and the direction; rows
            -1 of the others. `here` and `slope` are as drawn.
        left_out: what is not followed, in plain sentences.
    """

    all: tuple[Demand, ...]
    pairs: np.ndarray
    pair_of: np.ndarray
    here: np.ndarray
    slope: np.ndarray
    length_of: np.ndarray
    sure: np.ndarray
    ends: np.ndarray
    towards: np.ndarray
    left_out: tuple[str, ...] = ()

    @property
    def turns(self) -> np.ndarray:
        """(p,) lengths between pieces that turn."""
        return np.asarray(self.ends[:, 0] >= 0)

    def lengths_at(self, move: Movement, rows: np.ndarray, offsets: np.ndarray) -> np.ndarray:
        """(p, n) lengths of rows (p,) at offsets (n, k), mm."""
        found = np.array([self.here[row] + offsets @ self.slope[row] for row in rows.tolist()])
        for at in np.flatnonzero(self.turns[rows]).tolist():
            row = int(rows[at])
            turned, none = turned_of(move, self.ends[row][None]), np.zeros(len(offsets), int)
            normals = np.tile(self.towards[row], (len(offsets), 1))
            found[at] = turned.ways(none, offsets, offsets, normals).least[:, 0]
        return found.reshape(len(rows), len(offsets))

    def of_those(self, chosen: np.ndarray) -> Demands:
        """The pairs and lengths of some demands (d,) alone; all demands keep their numbers."""
        pairs, lengths = chosen[self.pair_of], chosen[self.length_of]
        return replace(
            self,
            pairs=self.pairs[pairs],
            pair_of=self.pair_of[pairs],
            here=self.here[lengths],
            slope=self.slope[lengths],
            length_of=self.length_of[lengths],
            sure=self.sure[lengths],
            ends=self.ends[lengths],
            towards=self.towards[lengths],
        )


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
        turns: of pieces that turn, whose bound is only as near as the search for it went.
    """

    demand: Demand
    drawn: float
    bound: float
    met: float
    where: np.ndarray
    slope: np.ndarray
    pairs: np.ndarray
    lengths: np.ndarray
    turns: bool = False

    @property
    def least(self) -> float:
        """What is to spare at the worst end, at least as far as it is proved, mm."""
        known = self.bound if np.isfinite(self.bound) else self.met
        return known - self.demand.required

    @property
    def drops(self) -> bool:
        """Whether the measurements can take anything off it."""
        if self.turns and self.met > self.drawn - NOTHING and self.bound >= self.drawn - TO:
            return False
        return self.least < self.drawn - self.demand.required - NOTHING

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
    move: Movement,
    demands: Demands,
    low: np.ndarray | None = None,
    high: np.ndarray | None = None,
    anew: bool = False,
) -> list[Margin]:
    """The margin of each demand within offsets low to high (k,), or the whole ranges; least first.

    Args:
        anew: where lengths are only a bound of what a check measures and miss the demand, ask the
            check itself of the scene placed anew.
    """
    low = move.low if low is None else low
    high = move.high if high is None else high
    found = worst_of(move, demands.pairs, low, high)
    ends = np.where(demands.slope > 0, low, np.where(demands.slope < 0, high, np.clip(0.0, low, high)))
    worst = demands.here + (demands.slope * ends).sum(axis=1)
    if (turns := demands.turns).any():
        worst[turns], ends[turns] = worst_ways(move, demands.ends[turns], demands.towards[turns], low, high)
    every = []
    for index, demand in enumerate(demands.all):
        rows, lengths = np.flatnonzero(demands.pair_of == index), np.flatnonzero(demands.length_of == index)
        if not len(rows) and not len(lengths):
            continue
        bound = np.concatenate([_useful(move, demands, rows, found.bound), worst[lengths]])
        met = np.concatenate([found.met[rows], np.where(demands.sure[lengths], worst[lengths], np.inf)])
        drawn = np.concatenate([found.drawn[rows], demands.here[lengths]])
        # Open meshes hide how deep they are in each other: their own check says so.
        drawn = np.where(np.isnan(drawn), np.inf, drawn)
        where = np.concatenate([found.where[rows], ends[lengths]])
        slope = np.concatenate([found.slope[rows], demands.slope[lengths]])
        lead, now = int(met.argmin()), int(drawn.argmin())
        one = Margin(
            demand, float(drawn[now]), float(bound.min()), float(met[lead]), where[lead], slope[now],
            demands.pairs[rows], lengths, bool(move.turns(demands.pairs[rows]).any()),
        )  # fmt: skip
        every.append(_asked(move, one, where[int(bound.argmin())]) if anew and demand.ask else one)
    return sorted(every, key=lambda one: one.least)


def _asked(move: Movement, one: Margin, corner: np.ndarray) -> Margin:
    """The margin with what the check itself measures: as drawn, and where the bound is worst if it misses."""
    ask = one.demand.ask
    assert ask is not None and move.world.elsewhere is not None
    one = replace(one, drawn=ask(move.world))
    if one.fits_bound:
        return one
    first = [] if one.fits_met else [one.where]
    for offsets in chain(first, _ways_to(move, corner)):
        try:
            there = ask(move.world.elsewhere(move.values(offsets)))
        except Mistakes:
            continue
        if there < one.met:
            one = replace(one, met=there, where=offsets)
            if not one.fits_met:
                break
    return one


def _ways_to(move: Movement, corner: np.ndarray) -> Iterator[np.ndarray]:
    """The corner, and with it the ends of what only brings something into the way, or out of it."""
    yield corner
    held = np.clip(0.0, move.low, move.high)
    free = np.flatnonzero((corner == held) & (move.high > move.low))
    for ends in islice(product((move.low, move.high), repeat=len(free)), TRIED):
        offsets = corner.copy()
        offsets[free] = [end[k] for end, k in zip(ends, free, strict=True)]
        yield offsets


def _useful(move: Movement, demands: Demands, rows: np.ndarray, bound: np.ndarray) -> np.ndarray:
    """Bounds of pairs, -inf for meshes that change their shape unless the box about them proves enough."""
    deforms = move.deforms[demands.pairs[rows]].any(axis=1)
    allowed = np.array([demands.all[k].required - demands.all[k].slack for k in demands.pair_of[rows]])
    return np.where(deforms & (bound[rows] < allowed), -np.inf, bound[rows])
