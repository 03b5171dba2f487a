"""What one resolution shares: models, mistakes noted so far, what is being asked."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from fitcheck.scene.general import General
from fitcheck.scene.mistakes import Mark, Mistake, ValueMistake
from fitcheck.scene.read import Model
from fitcheck.world.node import Node
from fitcheck.world.shared import MEASUREMENT, Rests, Shared, Worked
from fitcheck.world.world import Measurement, Trace

# Where something is written: the keys that lead to it.
Keys = tuple[str | int, ...]
T = TypeVar("T")

# Longest chain of values that ask for each other. Real scenes stay under ten; the limit
# comes before Python's own, so that a made-up chain ends in an error that says so.
CHAIN = 40


def last_key(path: Keys) -> str:
    """What a mistake at a path is said of; for an item of a list the key that the list belongs to."""
    return next(step for step in reversed(path) if isinstance(step, str))


class PassedOver(Exception):
    """This rests on a value whose mistake is noted already."""


@dataclass
class Desk:
    """What one resolution shares: models, notes of mistakes, what is being worked out.

    `shared` may be that of many layouts of one scene; `tracing` is what each value being worked out
    rests on so far, the innermost last. Measurements are taken at the values of `trace`, or as drawn, and
    what rests on them is noted there. `general` says which lengths without a tolerance take one.
    """

    models: Mapping[str, Model]
    # Where the scene's own `file` values start.
    folder: Path = Path()
    mistakes: set[Mistake] = field(default_factory=set)
    nodes: dict[tuple[str, str], Node] = field(default_factory=dict)
    uncertain: dict[str, Measurement] = field(default_factory=dict)
    trace: Trace = field(default_factory=Trace)
    general: General | None = None
    asking: list[str] = field(default_factory=list)
    tracing: list[Rests] = field(default_factory=list)
    shared: Shared = field(default_factory=Shared)

    def note(self, mark: Mark, subject: str, wrong: ValueMistake) -> PassedOver:
        """Write a mistake down where it stands."""
        place = Mark(mark.file, mark.line, mark.column + wrong.offset)
        self.mistakes.add(Mistake(place, subject, wrong.problem, wrong.mend))
        return PassedOver(subject)

    def measured(self, one: Measurement) -> float:
        """The value that a measurement is taken at, mm or degrees; notes that it was met."""
        self.uncertain[one.name] = one
        if self.tracing:
            self.tracing[-1].uncertain[one.name] = one
            self.tracing[-1].reads[MEASUREMENT, one.name] = self.trace.taken.get(one.name)
        return self.trace.taken.get(one.name, one.nominal)

    def bends(self, names: Iterable[str]) -> None:
        """Note what some place or part may not follow linearly."""
        self._note_of(Trace(bent=set(names)))

    def turns(self, names: Iterable[str]) -> None:
        """Note what some part or solid is turned by."""
        self._note_of(Trace(turned=set(names)))

    def looked_up(self, name: str, value: float, boxes: np.ndarray | None = None) -> None:
        """Note what arithmetic looked up of a place; `boxes` are the pieces of which the outermost counts."""
        asked = f"{self.asking[-1] if self.asking else ''}: {name}"
        self._note_of(Trace(looked={name: value}, outermost={} if boxes is None else {asked: (boxes,)}))

    def _note_of(self, noted: Trace) -> None:
        self.trace.take(noted)
        if self.tracing:
            self.tracing[-1].noted.take(noted)

    def is_as_now(self, rests: Rests) -> bool:
        """Whether all measurements that a value rests on are taken as they are now."""
        return all(
            self.trace.taken.get(name) == value
            for (section, name), value in rests.reads.items()
            if section == MEASUREMENT
        )

    def rest_on(self, rests: Rests) -> None:
        """What is being worked out rests on all that another value rests on; that one's notes are ours."""
        self.uncertain.update(rests.uncertain)
        self.trace.take(rests.noted)
        if self.tracing:
            self.tracing[-1].take(rests)

    def fits_below(self, rests: Rests) -> bool:
        """Whether a value kept would be within the longest chain here, too."""
        return len(self.asking) + rests.depth <= CHAIN

    def once(self, what: str, work: Callable[[], T]) -> Worked:
        """Do the work of a named value, refusing one that asks for itself."""
        if what in self.asking:
            chain = [*self.asking[self.asking.index(what) :], what]
            raise ValueMistake(f"depends on itself: {' → '.join(chain)}")
        if len(self.asking) >= CHAIN:
            raise ValueMistake(f"rests on a chain of more than {CHAIN} values")
        self.asking.append(what)
        try:
            return self.traced(work)
        finally:
            self.asking.pop()

    def traced(self, work: Callable[[], T]) -> Worked:
        """Do work, and find out what it rests on."""
        rests = Rests()
        self.tracing.append(rests)
        try:
            return Worked(work(), rests)
        except BaseException:
            rests.sound = False
            raise
        finally:
            self.tracing.pop()
            if self.tracing and not rests.sound:
                self.tracing[-1].sound = False


class Gathering:
    """Collects failures so that all mistakes of an entry are noted at once."""

    def __init__(self) -> None:
        self._passed: PassedOver | None = None

    def __enter__(self) -> Gathering:
        return self

    def __call__(self, work: Callable[[], T]) -> Iterator[T]:
        """Yields the value once, or not at all when its mistake was noted."""
        try:
            yield work()
        except PassedOver as passed:
            self._passed = passed

    def failed(self, passed: PassedOver) -> None:
        """Remember a failure that is noted already."""
        self._passed = passed

    def __exit__(self, kind: Any, *_: Any) -> None:
        if kind is None and self._passed is not None:
            raise self._passed
