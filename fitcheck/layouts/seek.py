"""The best layout: what varies by steps is taken as continuous, and all of it is sought through.

The optimiser is differential evolution (Storn and Price 1997) as scipy has it. It leads to the right
neighbourhood; the ends of what fits are then followed to a hundredth of a millimetre, one range after
the other and in pairs. A layout that does not hold is the worse the more is missing, so that the search
finds its way out of what overlaps.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations, product
from math import inf, isfinite, isnan, nan
from typing import Any

from fitcheck.checks.clashes import clashes
from fitcheck.finding import Verdict
from fitcheck.layouts.asked import Asker
from fitcheck.layouts.read import Layouts
from fitcheck.layouts.summary import holds, merit
from fitcheck.report import check_world
from fitcheck.scene.amounts import Amount
from fitcheck.scene.expression import evaluate, from_table
from fitcheck.scene.kinds import Scalar
from fitcheck.scene.layout_entries import Steps
from fitcheck.scene.mistakes import Mistakes, ValueMistake
from fitcheck.scene.quantity import arithmetic

# Values are asked to this, mm or degrees; so fine are ends followed.
TO = 0.01
# What comes second counts where the first is equal to about this, mm.
SECOND = 1e-4
# How far from holding a layout counts that cannot be built, or of which nothing is known, mm.
NOT_BUILT, NOT_KNOWN = 1e6, 1e3
# Worse than any layout that holds.
WORST = 1e9
# Individuals of a generation for each thing that varies (scipy's own usual number), and the seed.
EACH, SEED = 15, 1

Values = dict[str, Scalar]


@dataclass(frozen=True)
class Axis:
    """One thing that varies.

    Args:
        names: of what changes together.
        rows: the values they take together; those of a range are its two ends.
        unit: of a range; None for a choice.
    """

    names: tuple[str, ...]
    rows: tuple[tuple[Scalar, ...], ...]
    low: float = 0.0
    high: float = 0.0
    unit: Amount | None = None

    @property
    def bounds(self) -> tuple[float, float]:
        """Between what its place is: of a range the value, of a choice the number of the row."""
        return (self.low, self.high) if self.unit is not None else (0, len(self.rows) - 1)

    def values(self, place: float) -> Values:
        """What its names are at a place."""
        if self.unit is None:
            return dict(zip(self.names, self.rows[round(place)], strict=True))
        value = round(min(max(place, self.low), self.high), 4) + 0.0
        kind = {(0, 0): "", (1, 0): " mm"}.get(self.unit.kind, " deg")
        return {self.names[0]: f"{value:.10g}{kind}"}


@dataclass(frozen=True)
class Best:
    """The best that was found.

    Args:
        record: as of a batch, without a number; None when none holds.
        nearest: where none holds, the one to which least is missing.
        asked: how many layouts were asked.
        complete: every combination was asked; else a better one may have been missed.
    """

    record: dict[str, Any] | None
    nearest: dict[str, Any] | None
    asked: int
    complete: bool


def axes_of(layouts: Layouts) -> list[Axis]:
    """What varies in a layouts file: ranges with steps are ranges, whole numbers and lists are choices."""
    found = []
    for wheel in layouts.choices.wheels:
        name = wheel.names[0]
        steps = layouts.file.vary.get(name)
        if isinstance(steps, Steps) and len(wheel.rows) > 1:
            low, high, step = (_amount(value) for value in (steps.from_, steps.to, steps.step))
            unit = next((amount for amount in (low, high, step) if not amount.bare), low)
            if not (unit.bare and all(amount.value == round(amount.value) for amount in (low, step))):
                found.append(Axis(wheel.names, wheel.rows, low.value, high.value, unit))
                continue
        found.append(Axis(wheel.names, wheel.rows))
    return found


def _amount(value: Scalar) -> Amount:
    return evaluate(arithmetic(value), from_table({}))


class Seeker:
    """Seeks the best layout of a file.

    Args:
        layouts: as read.
        most: layouts asked, at most about so many.
        tell: told after each layout how many were asked, and the best merit so far.
    """

    def __init__(self, layouts: Layouts, most: int, tell: Callable[[int, float], None] | None = None) -> None:
        self.layouts, self.most, self.tell = layouts, most, tell
        self.axes = axes_of(layouts)
        self._asker = Asker(layouts)
        self._known: dict[tuple[tuple[str, Scalar], ...], tuple[float, dict[str, Any]]] = {}
        self._best: tuple[float, dict[str, Any]] = (inf, {})

    def seek(self) -> Best:
        """The best layout."""
        complete = self._try_all()
        if not complete:
            place = self._evolved()
            self._follow(place)
        cost, record = self._best
        if cost < WORST:
            return Best(record, None, len(self._known), complete)
        return Best(None, record or None, len(self._known), complete)

    def _try_all(self) -> bool:
        """Ask every combination, where there are no ranges and few enough."""
        if any(axis.unit is not None for axis in self.axes) or self.layouts.choices.count > self.most:
            return False
        for places in product(*(range(len(axis.rows)) for axis in self.axes)):
            self.cost(places)
        return True

    def _evolved(self) -> list[float]:
        """The place that evolution leads to.

        Raises:
            ImportError: scipy is not there.
        """
        from scipy.optimize import differential_evolution

        size = EACH * len(self.axes)
        found = differential_evolution(
            lambda places: self.cost(tuple(map(float, places))),
            [axis.bounds for axis in self.axes],
            integrality=[axis.unit is None for axis in self.axes],
            popsize=EACH,
            maxiter=max(1, self.most // size - 1),
            rng=SEED,
            polish=False,
            tol=1e-8,
        )
        return [float(place) for place in found.x]

    def _follow(self, places: list[float]) -> None:
        """From a place on: every way along one range or two, and every other choice, while it gets better."""
        here = self.cost(tuple(places))
        ranges = [k for k, axis in enumerate(self.axes) if axis.unit is not None]
        step = {k: (self.axes[k].high - self.axes[k].low) / 16 for k in ranges}
        while True:
            better = self._bettered(places, here, step)
            if better is not None:
                here, places = better
                continue
            if all(size <= TO / 2 for size in step.values()):
                return
            step = {k: max(size / 2, TO / 2) for k, size in step.items()}

    def _bettered(
        self, places: list[float], here: float, step: Mapping[int, float]
    ) -> tuple[float, list[float]] | None:
        tried = [(self.cost(tuple(near)), near) for near in self._around(places, step)]
        cost, near = min(tried, key=lambda one: one[0], default=(inf, places))
        return (cost, near) if cost < here - 1e-9 else None

    def _around(self, places: list[float], step: Mapping[int, float]) -> Iterator[list[float]]:
        moves: list[dict[int, float]] = [{k: sign * size} for k, size in step.items() for sign in (-1, 1)]
        moves += [
            {k: one * step[k], m: other * step[m]}
            for k, m in combinations(step, 2)
            for one, other in product((-1, 1), repeat=2)
        ]
        for move in moves:
            near = list(places)
            for k, by in move.items():
                near[k] = min(max(near[k] + by, self.axes[k].low), self.axes[k].high)
            if near != places:
                yield near
        for k, axis in enumerate(self.axes):
            if axis.unit is None:
                for row in range(len(axis.rows)):
                    if row != round(places[k]):
                        yield [*places[:k], float(row), *places[k + 1 :]]

    # --- one layout ---

    def cost(self, places: tuple[float, ...]) -> float:
        """How bad the layout at a place of each axis is; from `WORST` on it does not hold."""
        values: Values = {}
        for axis, place in zip(self.axes, places, strict=True):
            values |= axis.values(place)
        key = tuple(values.items())
        if key not in self._known:
            self._known[key] = self._asked(values)
            cost, record = self._known[key]
            if cost < self._best[0]:
                self._best = cost, record
            if self.tell is not None:
                self.tell(len(self._known), self._best[0])
        return self._known[key][0]

    def _asked(self, values: Values) -> tuple[float, dict[str, Any]]:
        record: dict[str, Any] = {"values": values}
        if self.layouts.choices.is_excluded(values):
            return WORST + NOT_BUILT, {**record, "verdict": None, "mistakes": ["left out"]}
        try:
            world = self._asker.world_of(values)
            hit = [clash.depth for clash in clashes(world) if clash.decided]
            if hit:
                # Not measured on: mends of what overlaps take longest, and nobody reads them here.
                said = f"{len(hit)} pairs of solids interfere"
                record |= {"verdict": str(Verdict.FAILS), "sentence": said}
                return WORST + sum(NOT_KNOWN if isnan(depth) else depth for depth in hit), record
            report = check_world(world, facts=False)
        except Mistakes as wrong:
            return WORST + NOT_BUILT, {**record, "verdict": None, "mistakes": [str(m) for m in wrong.items]}
        except ValueMistake as wrong:
            return WORST + NOT_BUILT, {**record, "verdict": None, "mistakes": [wrong.problem]}
        record |= self._asker.found(world, report, values)
        if not holds(record):
            missing = [
                (f.required or 0.0) - f.measured if f.measured is not None else nan
                for f in report.findings
                if f.verdict in (Verdict.FAILS, Verdict.UNKNOWN) and not f.follows
            ]
            missing += [self._missing(record["figures"][name], name) for name in record["missed"]]
            return WORST + sum(NOT_KNOWN if isnan(by) else abs(by) for by in missing), record
        first, *others = merit(self.layouts, record) or (0.0,)
        if not isfinite(first):
            return WORST + NOT_KNOWN, record
        return -first - sum(SECOND * 0.01**k * one for k, one in enumerate(others) if isfinite(one)), record

    def _missing(self, figure: float | None, name: str) -> float:
        """How far a figure is from its demand."""
        if figure is None:
            return nan
        ends = next(demand for demand in self.layouts.demands if demand.figure == name)
        return max((ends.at_least or -inf) - figure, figure - (inf if ends.at_most is None else ends.at_most))
