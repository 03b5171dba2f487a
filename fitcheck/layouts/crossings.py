"""Two groups of parts that hang on different wheels: which two parts interfere, for many stands at once."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from fitcheck.layouts.clashing import Pair, pair_of
from fitcheck.layouts.stands import Lying, Named, Rows, Stands
from fitcheck.world.bodies import Bodies, bounds_gap
from fitcheck.world.deep import interfering
from fitcheck.world.node import base

# What is known of two stands besides the rank of the first two parts that interfere.
UNSURE, FREE = -2, np.iinfo(np.int64).max
# Pairs of pieces asked in one go.
ROWS = 200_000

Parts = tuple[str, str]


@dataclass(frozen=True, eq=False)
class _Two:
    """Two parts, one of each group, that may come near each other, and their solids, two and two."""

    pair: Pair
    solids: tuple[tuple[Lying, Lying], ...]


class Crossing:
    """All that two groups can do to each other.

    Args:
        ours, theirs: how they lie.
        places: of each entry in the scene file: parts are named in its order.
    """

    def __init__(self, ours: Stands, theirs: Stands, places: Mapping[str, int]) -> None:
        (rows, own), (more, other) = ours.gathered(), theirs.gathered()
        self._shift = len(rows.kinds)
        self._bodies = _together(rows, more)
        self._twos = sorted(_twos(own, other, places), key=lambda two: two.pair.order)
        self._rank: dict[Pair, int] = {}
        self._permitted: frozenset[Parts] = frozenset()

    @property
    def pairs(self) -> tuple[Pair, ...]:
        """Two parts each that come near each other at some stands."""
        return tuple(two.pair for two in self._twos)

    def number(self, rank: Mapping[Pair, int], permitted: Collection[Parts]) -> None:
        """Take the numbers of pairs.

        Args:
            rank: of each of `pairs`, in their order.
            permitted: parts, in either order, that the scene lets touch in some layout.
        """
        self._rank = dict(rank)
        self._permitted = frozenset(permitted)

    def first(self, ours: np.ndarray, theirs: np.ndarray) -> np.ndarray:
        """The first two parts that interfere.

        Args:
            ours, theirs: (l,) stands of the two groups.

        Returns:
            (l,) ranks of pairs; `FREE` where none interfere; `UNSURE` where two do that may touch: how deep
            they may press is for the checks to say.
        """
        found = np.full(len(ours), FREE)
        for two in self._twos:
            left = np.flatnonzero(found == FREE)
            unsure = two.pair.names in self._permitted or two.pair.names[::-1] in self._permitted
            for one, other in two.solids:
                hit = self._interfere(one, other, ours[left], theirs[left])
                found[left[hit]] = UNSURE if unsure else self._rank[two.pair]
                left = left[~hit]
        return found

    def _interfere(self, one: Lying, other: Lying, ours: np.ndarray, theirs: np.ndarray) -> np.ndarray:
        """(l,) whether two solids are deeper in each other than a contact."""
        hit = np.zeros(len(ours), bool)
        met = np.flatnonzero((bounds_gap(one.bounds[ours], other.bounds[theirs])) <= 0.0)
        for some, rows, owner in self._rows(one, other, ours, theirs, met):
            hit[some[owner[interfering(self._bodies, rows)]]] = True
        return hit

    def _rows(
        self, one: Lying, other: Lying, ours: np.ndarray, theirs: np.ndarray, met: np.ndarray
    ) -> Iterator[tuple[np.ndarray, np.ndarray, np.ndarray]]:
        """The pieces of two solids where their bounds meet: whose, (q, 2) rows, and which of those."""
        many, others = one.many[ours[met]], other.many[theirs[met]]
        lots = np.cumsum(many * others) // ROWS
        for lot in np.split(np.arange(len(met)), np.flatnonzero(np.diff(lots)) + 1):
            if not len(lot):
                continue
            each = many[lot] * others[lot]
            owner = np.repeat(np.arange(len(lot)), each)
            place = np.arange(len(owner)) - np.repeat(np.cumsum(each) - each, each)
            first = one.first[ours[met[lot]]][owner] + place // others[lot][owner]
            second = self._shift + other.first[theirs[met[lot]]][owner] + place % others[lot][owner]
            bounds = self._bodies.bounds
            near = bounds_gap(bounds[first], bounds[second]) <= 0.0
            if near.any():
                yield met[lot], np.column_stack([first, second])[near], owner[near]


def _twos(
    own: Mapping[Named, Lying], other: Mapping[Named, Lying], places: Mapping[str, int]
) -> Iterator[_Two]:
    """Parts of the two groups that come near each other, if bounds of all stands are taken together."""
    found: dict[Pair, list[tuple[Lying, Lying]]] = {}
    around = {named: _around(lying) for named, lying in (*own.items(), *other.items())}
    for one, mine in own.items():
        for two, yours in other.items():
            if float(bounds_gap(around[one], around[two])) <= 0.0:
                found.setdefault(_pair(one, two, places), []).append((mine, yours))
    return (_Two(pair, tuple(solids)) for pair, solids in found.items())


def _around(lying: Lying) -> np.ndarray:
    return np.array([lying.bounds[:, 0].min(axis=0), lying.bounds[:, 1].max(axis=0)])


def _pair(one: Named, two: Named, places: Mapping[str, int]) -> Pair:
    """The two in the order of the scene."""
    first, second = sorted((one, two), key=lambda named: places[base(named.entry)])
    return pair_of((first.part, second.part), (first.entry, second.entry), places)


def _together(rows: Rows, more: Rows) -> Bodies:
    """Rows of two groups as bodies that the engine can be asked about."""
    count = len(rows.kinds) + len(more.kinds)
    return Bodies(
        kinds=np.concatenate([rows.kinds, more.kinds]),
        halves=np.concatenate([rows.halves, more.halves]),
        rotations=np.concatenate([rows.rotations, more.rotations]),
        centres=np.concatenate([rows.centres, more.centres]),
        bounds=np.concatenate([rows.bounds, more.bounds]),
        body=np.arange(count),
        meshes=rows.meshes + more.meshes,
        all=(),
        body_bounds=np.empty((0, 2, 3)),
        body_parts=np.empty(0, int),
        serials=np.empty(0, int),
        answers=None,
    )
