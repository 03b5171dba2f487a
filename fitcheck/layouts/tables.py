"""Which layouts have parts that interfere, by look-up: for any number of layouts at once.

Where a part stands hangs on few of the things that vary: its values note what they read of the scene.
Whether two parts interfere hangs on what either of them hangs on. So parts that hang on the same wheels go
together, each two such groups get a table over the wheels of both, and a layout is answered by one look-up
in each table. Tables are filled from layouts that are worked out as always: a few hundred answer millions.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from math import prod

import numpy as np

from fitcheck.layouts.asked import Asker, Pair, clashing_pairs
from fitcheck.scene.mistakes import Mistakes
from fitcheck.world.node import base

# Cells of all tables together; and the share of all layouts that may be worked out to fill them.
MOST_CELLS, MOST_SHARE = 2_000_000, 0.25
# What a cell holds besides the rank of two parts.
UNKNOWN, UNSURE, FREE = -1, -2, np.iinfo(np.int64).max

Tell = Callable[[int, int], None]


class Tables:
    """Tables of one layouts file.

    Args:
        asker: works layouts out; what they share is kept there.
    """

    def __init__(self, asker: Asker) -> None:
        self.asker, self.choices = asker, asker.layouts.choices
        self.sizes = tuple(len(wheel.rows) for wheel in self.choices.wheels)
        self.worked_out = 0
        self.pairs: list[Pair] = []
        self._number: dict[Pair, int] = {}
        self._wheels_of: dict[str, frozenset[int]] = {}
        self._cells: dict[tuple[int, ...], np.ndarray] = {}

    def fill(self, tell: Tell | None = None) -> bool:
        """Work layouts out until every table is full.

        Args:
            tell: told how many cells are full, of how many.

        Returns:
            Whether that was worth it; not where most layouts would have to be worked out.
        """
        if self._touches_vary() or not self._learned_from((0,) * len(self.sizes)):
            return False
        while self._is_worth_it():
            left = [wheels for wheels, cells in self._cells.items() if (cells == UNKNOWN).any()]
            if not left:
                self._rank()
                return True
            wheels = max(left, key=lambda wheels: self._cells[wheels].size)
            places = self._place_to_ask(wheels)
            if not self._learned_from(places):
                self._cells[wheels][tuple(places[wheel] for wheel in wheels)] = UNSURE
            if tell is not None:
                full = sum(int((cells != UNKNOWN).sum()) for cells in self._cells.values())
                tell(full, sum(cells.size for cells in self._cells.values()))
        return False

    def first_clashes(self, numbers: np.ndarray) -> np.ndarray:
        """The first two parts that interfere in each layout, as a place in `pairs`.

        Args:
            numbers: (l,) of layouts, from 0.

        Returns:
            (l,) places; `FREE` where none interfere, `UNSURE` where the layout has to be worked out.
        """
        found = np.full(len(numbers), FREE)
        unsure = np.zeros(len(numbers), bool)
        places = np.unravel_index(numbers, self.sizes)
        for wheels, cells in self._cells.items():
            held = cells[tuple(places[wheel] for wheel in wheels)]
            unsure |= held < 0
            np.minimum(found, held, out=found)
        found[unsure] = UNSURE
        return found

    # --- filling ---

    def _touches_vary(self) -> bool:
        """Whether how deep parts may press, where the scene says so, is worked out from what varies."""
        said = " ".join(
            str(touch.get("gives", "")) for touch in self.asker.layouts.scene.data.get("touches") or ()
        )
        return any(re.search(rf"\b{re.escape(name)}\b", said) for name in self.choices.names)

    def _is_worth_it(self) -> bool:
        sizes = [prod(self.sizes[wheel] for wheel in wheels) for wheels in self._together()]
        return max(sizes) <= MOST_SHARE * self.choices.count and sum(sizes) <= MOST_CELLS

    def _place_to_ask(self, first: tuple[int, ...]) -> tuple[int, ...]:
        """A stand of the wheels that fills a cell of this table, and of others as it can."""
        places: dict[int, int] = {}
        for wheels, cells in sorted(self._cells.items(), key=lambda item: (item[0] != first, -item[1].size)):
            left = np.asarray(cells[tuple(places.get(wheel, slice(None)) for wheel in wheels)] == UNKNOWN)
            if left.any():
                free = [wheel for wheel in wheels if wheel not in places]
                places |= dict(
                    zip(free, map(int, np.unravel_index(int(left.argmax()), left.shape)), strict=True)
                )
        return tuple(places.get(wheel, 0) for wheel in range(len(self.sizes)))

    def _learned_from(self, places: tuple[int, ...]) -> bool:
        """Work a layout out and fill a cell of each table from it; tell if it could be."""
        self.worked_out += 1
        try:
            world = self.asker.world(self.choices.number(places))
        except Mistakes:
            return False
        self._regroup()
        if not self._cells:
            # Too large to be worth it: `fill` ends here.
            return True
        for wheels, cells in self._cells.items():
            cells[tuple(places[wheel] for wheel in wheels)] = FREE
        for pair in clashing_pairs(world, self.asker.layouts):
            if pair not in self._number:
                self._number[pair] = len(self.pairs)
                self.pairs.append(pair)
            a, b = (self._wheels_of[base(group)] for group in pair.entries)
            wheels = tuple(sorted(a | b))
            at = tuple(places[wheel] for wheel in wheels)
            if self._cells[wheels][at] == FREE:
                # The first of them, since they come in order.
                self._cells[wheels][at] = self._number[pair]
        return True

    def _regroup(self) -> None:
        """Find which wheels each entry hangs on; where one hangs on more than was known, begin anew."""
        grown = dict(self._wheels_of)
        for name, wheels in self.asker.hang_on().items():
            grown[name] = wheels | grown.get(name, frozenset())
        if grown != self._wheels_of:
            self._wheels_of = grown
            together = self._together() if self._is_worth_it() else ()
            self._cells = {
                wheels: np.full([self.sizes[wheel] for wheel in wheels], UNKNOWN, np.int64)
                for wheels in together
            }

    def _together(self) -> Iterator[tuple[int, ...]]:
        """The wheels of each table: of each two groups of entries that hang on the same."""
        groups = set(self._wheels_of.values())
        return iter(sorted({tuple(sorted(a | b)) for a in groups for b in groups}))

    def _rank(self) -> None:
        """Number the pairs in their order, so that the least of several cells is the first."""
        order = sorted(range(len(self.pairs)), key=lambda k: self.pairs[k].order)
        rank = np.empty(len(order), np.int64)
        rank[order] = np.arange(len(order))
        self.pairs = [self.pairs[k] for k in order]
        self._number = {pair: k for k, pair in enumerate(self.pairs)}
        for cells in self._cells.values():
            known = (cells >= 0) & (cells != FREE)
            cells[known] = rank[cells[known]]
