"""The layouts of a file, numbered: every combination of what varies, but for those excluded.

Numbers are those of a counter whose last wheel turns fastest: the first thing that varies changes
last. A number stays the same whatever is excluded, and a layout is made when it is asked for: a
million combinations take no more room than ten.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import accumulate
from math import prod
from operator import mul

import numpy as np
from numpy.typing import NDArray

from fitcheck.scene.kinds import Scalar

Values = dict[str, Scalar]


@dataclass(frozen=True)
class Wheel:
    """Names that change together, and the values they take together.

    Args:
        names: of parameters or alternatives.
        rows: for each place of the wheel one value for each name.
    """

    names: tuple[str, ...]
    rows: tuple[tuple[Scalar, ...], ...]


@dataclass(frozen=True)
class Choices:
    """All layouts.

    Args:
        wheels: what varies, the slowest first.
        excluded: each leaves out the layouts whose values are all among those given, as they are spelled.
    """

    wheels: tuple[Wheel, ...]
    excluded: tuple[Mapping[str, frozenset[Scalar]], ...] = ()

    @cached_property
    def count(self) -> int:
        """How many combinations there are, excluded ones counted."""
        return prod(self.sizes)

    @cached_property
    def sizes(self) -> tuple[int, ...]:
        """How many places each wheel has."""
        return tuple(len(wheel.rows) for wheel in self.wheels)

    @cached_property
    def names(self) -> tuple[str, ...]:
        """All that varies, in order."""
        return tuple(name for wheel in self.wheels for name in wheel.names)

    @cached_property
    def _strides(self) -> tuple[int, ...]:
        return tuple(accumulate([1, *self.sizes[:0:-1]], mul))[::-1]

    def places(self, number: int) -> tuple[int, ...]:
        """Where each wheel stands for a number, from 0."""
        return tuple(
            number // stride % len(wheel.rows)
            for wheel, stride in zip(self.wheels, self._strides, strict=True)
        )

    def number(self, places: tuple[int, ...]) -> int:
        """The number of a stand of the wheels."""
        return sum(place * stride for place, stride in zip(places, self._strides, strict=True))

    def values(self, number: int) -> Values:
        """What each name is in a layout."""
        return {
            name: value
            for wheel, place in zip(self.wheels, self.places(number), strict=True)
            for name, value in zip(wheel.names, wheel.rows[place], strict=True)
        }

    def is_excluded(self, values: Mapping[str, Scalar]) -> bool:
        """Whether a layout is left out."""
        return any(all(values[name] in among for name, among in one.items()) for one in self.excluded)

    def left_out(self) -> NDArray[np.bool_]:
        """Which are excluded, an axis for each wheel, (sizes)."""
        found = np.zeros(self.sizes, bool)
        for one in self.excluded:
            those = np.ones(self.sizes, bool)
            for at, wheel in enumerate(self.wheels):
                those &= self._among(wheel, one).reshape(-1, *[1] * (len(self.wheels) - at - 1))
            found |= those
        return found

    def _among(self, wheel: Wheel, excluded: Mapping[str, frozenset[Scalar]]) -> NDArray[np.bool_]:
        """At which places of a wheel all its names have one of the values that are excluded."""
        named = [(at, excluded[name]) for at, name in enumerate(wheel.names) if name in excluded]
        return np.array([all(row[at] in among for at, among in named) for row in wheel.rows], bool)

    def numbers(self, first: int = 0) -> Iterator[int]:
        """The numbers of all layouts that are not excluded, from this one on."""
        for number in range(first, self.count):
            if not self.excluded or not self.is_excluded(self.values(number)):
                yield number

    def neighbours(self, number: int) -> Iterator[tuple[int, int]]:
        """Each layout that differs by one wheel, and which wheel."""
        places = self.places(number)
        for at, wheel in enumerate(self.wheels):
            for place in range(len(wheel.rows)):
                if place != places[at]:
                    yield self.number((*places[:at], place, *places[at + 1 :])), at
