"""What one resolution shares: models, mistakes noted so far, what is being asked."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from fitcheck.parts.features import Shape
from fitcheck.scene.general import General
from fitcheck.scene.mistakes import Mark, Mistake, ValueMistake
from fitcheck.scene.read import Model
from fitcheck.world.node import Node
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


# Shapes already built, by the model (kept, so that its identity stays its own) and its values.
Shapes = dict[tuple[int, str], tuple[Model, Shape]]


@dataclass
class Desk:
    """What one resolution shares: models, notes of mistakes, shapes already built.

    `shapes` may be shared by the resolutions of many layouts of one scene. Measurements are
    taken at the values of `trace`, or as drawn, and what rests on them is noted there. `general` says
    which lengths without a tolerance take one.
    """

    models: Mapping[str, Model]
    # Where the scene's own `file` values start.
    folder: Path = Path()
    mistakes: set[Mistake] = field(default_factory=set)
    nodes: dict[tuple[str, str], Node] = field(default_factory=dict)
    shapes: Shapes = field(default_factory=dict)
    uncertain: dict[str, Measurement] = field(default_factory=dict)
    trace: Trace = field(default_factory=Trace)
    general: General | None = None
    asking: list[str] = field(default_factory=list)

    def note(self, mark: Mark, subject: str, wrong: ValueMistake) -> PassedOver:
        """Write a mistake down where it stands."""
        place = Mark(mark.file, mark.line, mark.column + wrong.offset)
        self.mistakes.add(Mistake(place, subject, wrong.problem, wrong.mend))
        return PassedOver(subject)

    def once(self, what: str, work: Callable[[], T]) -> T:
        """Do the work of a named value, refusing one that asks for itself."""
        if what in self.asking:
            chain = [*self.asking[self.asking.index(what) :], what]
            raise ValueMistake(f"depends on itself: {' → '.join(chain)}")
        if len(self.asking) >= CHAIN:
            raise ValueMistake(f"rests on a chain of more than {CHAIN} values")
        self.asking.append(what)
        try:
            return work()
        finally:
            self.asking.pop()


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
