"""Parts that hang on the same of what varies are a group: which wheels each hangs on, and its stands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import prod

import numpy as np

from fitcheck.world.node import base

Wheels = tuple[int, ...]


class Groups:
    """The groups of a layouts file, as far as the layouts worked out so far can tell.

    Args:
        sizes: how many places each wheel has.
    """

    def __init__(self, sizes: Sequence[int]) -> None:
        self._sizes = tuple(sizes)
        self._wheels_of: dict[str, frozenset[int]] = {}

    def grow(self, found: Mapping[str, frozenset[int]]) -> bool:
        """Take in on which wheels entries hang, besides what was known; tell if anything is new."""
        grown = {name: self._wheels_of.get(name, frozenset()) | wheels for name, wheels in found.items()}
        new = any(self._wheels_of.get(name) != wheels for name, wheels in grown.items())
        self._wheels_of |= grown
        return new

    @property
    def all(self) -> list[Wheels]:
        """The wheels of each group, in order."""
        return sorted({tuple(sorted(wheels)) for wheels in self._wheels_of.values()})

    def of(self, entry: str) -> Wheels:
        """The wheels of an entry's group."""
        return tuple(sorted(self._wheels_of[base(entry)]))

    def of_both(self, one: str, other: str) -> Wheels:
        """The wheels that either of two entries hangs on."""
        return tuple(sorted({*self.of(one), *self.of(other)}))

    def size(self, wheels: Wheels) -> int:
        """How many stands these wheels have together."""
        return prod(self._sizes[wheel] for wheel in wheels)

    def shape(self, wheels: Wheels) -> list[int]:
        """How many places each of them has."""
        return [self._sizes[wheel] for wheel in wheels]

    def stand(self, wheels: Wheels, places: Sequence[np.ndarray] | Wheels) -> np.ndarray:
        """Which stand of these wheels it is, () or (l,), where all wheels stand at places."""
        at = [np.asarray(places[wheel]) for wheel in wheels]
        return np.asarray(np.ravel_multi_index(at, self.shape(wheels)))

    def places(self, wheels: Wheels, stand: int) -> dict[int, int]:
        """At which place each of these wheels is at a stand of theirs."""
        return dict(zip(wheels, map(int, np.unravel_index(stand, self.shape(wheels))), strict=True))
