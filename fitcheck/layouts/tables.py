"""Which layouts have parts that interfere, by look-up: for any number of layouts at once.

Where a part stands hangs on few of the things that vary: its values note what they read of the scene.
Parts that hang on the same wheels are a group, and stand in as many ways as these wheels have stands. Layouts
are worked out as always until each group was seen at every one of its stands: some thousand answer millions.
Each group gets a table of who interferes in it, or with a group that hangs on fewer of its wheels. What two
groups that cross do to each other, that hang on different wheels, is asked of the kernels from how both lie
(`crossings.py`): tabulated where the table is small enough, else asked as the layouts come.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import combinations
from math import prod

import numpy as np

from fitcheck.layouts.asked import Asker
from fitcheck.layouts.clashing import Pair, clashing_pairs, places_of
from fitcheck.layouts.crossings import FREE, UNSURE, Crossing
from fitcheck.layouts.groups import Groups, Wheels
from fitcheck.layouts.mentioned import followed_elsewhere
from fitcheck.layouts.stands import Stands
from fitcheck.scene.mistakes import Mistakes
from fitcheck.world.bodies import bodies
from fitcheck.world.node import base
from fitcheck.world.world import World

__all__ = ["FREE", "UNSURE", "Tables"]

# Cells of all tables that are filled by working layouts out; and the share of all layouts that may be.
MOST_CELLS, MOST_SHARE = 2_000_000, 0.25
# Cells of all tables of groups that cross: 64 MB. What is more is asked as layouts come, so many in one go.
CROSSED_CELLS, AT_ONCE = 8_000_000, 65_536
# Layouts that are tried to see two parts interfere that the kernels say do.
TRIES = 3
UNKNOWN = -1

Tell = Callable[[int, int], None]


@dataclass(eq=False)
class _Cross:
    """Two groups that cross: their wheels, what they do to each other, and the table of it if it is kept."""

    wheels: tuple[Wheels, Wheels]
    crossing: Crossing
    cells: np.ndarray | None = None


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
        self._groups = Groups(self.sizes)
        # Each option of an alternative is worked out at least once: what it brings in is not known before.
        options = {
            frozenset({at})
            for at, wheel in enumerate(self.choices.wheels)
            if asker.layouts.file.alternatives.keys() & set(wheel.names)
        }
        self._elsewhere = followed_elsewhere(asker.layouts) | options
        self._cells: dict[Wheels, np.ndarray] = {}
        self._stands: dict[Wheels, Stands] = {}
        # Two groups that cross and have parts that may touch: how deep is for the checks to say.
        self._touching: set[Wheels] = set()
        self._permitted: set[tuple[str, str]] = set()
        self._seen: set[Pair] = set()
        self._crosses: list[_Cross] = []

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
                if self._tabulate_what_touches():
                    continue
                self._cross(tell)
                return True
            wheels = max(left, key=lambda wheels: self._cells[wheels].size)
            places = self._place_to_ask(wheels)
            if not self._learned_from(places) and not self._explained(places):
                return False
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
        for cross in self._crosses:
            ours, theirs = (self._groups.stand(wheels, places) for wheels in cross.wheels)
            held = self._crossed(cross, ours, theirs)
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
        sizes = [self._groups.size(wheels) for wheels in self._filled()]
        return max(sizes) <= MOST_SHARE * self.choices.count and sum(sizes) <= MOST_CELLS

    def _place_to_ask(self, first: Wheels) -> Wheels:
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

    def _learned_from(self, places: Wheels) -> bool:
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
            wheels = self._groups.of_both(*pair.entries)
            if wheels in self._cells:
                number = self._number_of(pair)
                at = tuple(places[wheel] for wheel in wheels)
                if self._cells[wheels][at] == FREE:
                    # The first of them, since they come in order.
                    self._cells[wheels][at] = number
        self._learn_how_they_lie(world, places)
        return True

    def _explained(self, places: Wheels) -> bool:
        """Whether one table tells why a layout cannot be built: its wheels alone, the others as they were."""
        explained = False
        for wheels, cells in list(self._cells.items()):
            at = tuple(places[wheel] for wheel in wheels)
            if cells[at] == UNKNOWN:
                alone = tuple(place if wheel in wheels else 0 for wheel, place in enumerate(places))
                if not self._learned_from(alone):
                    self._cells[wheels][at] = UNSURE
            explained |= self._cells.get(wheels, cells)[at] == UNSURE
        return explained

    def _learn_how_they_lie(self, world: World, places: Wheels) -> None:
        """Keep where the bodies of groups that cross are, and which parts may touch."""
        solids = bodies(world)
        entries = [base(body.group) for body in solids.all]
        for wheels, stands in self._stands.items():
            own = [entry if self._groups.of(entry) == wheels else "" for entry in entries]
            stands.learn(int(self._groups.stand(wheels, places)), solids, own)
        entry_of = {body.part_name: entry for body, entry in zip(solids.all, entries, strict=True)}
        for contact in world.contacts:
            if contact.a in entry_of and contact.b in entry_of:
                self._permitted |= {(contact.a, contact.b), (contact.b, contact.a)}
                both = self._groups.of_both(entry_of[contact.a], entry_of[contact.b])
                if both not in self._cells:
                    self._touching.add(both)

    def _regroup(self) -> None:
        """Find which wheels each entry hangs on; where one hangs on more than was known, begin anew."""
        if self._groups.grow(self.asker.hang_on()):
            self._touching.clear()
            self._permitted.clear()
            filled = self._filled() if self._is_worth_it() else []
            self._cells = {wheels: self._empty(wheels) for wheels in filled}
            self._stands = {
                wheels: Stands(self._groups.size(wheels)) for two in self._crossing_groups() for wheels in two
            }

    def _tabulate_what_touches(self) -> bool:
        """One more table to fill by working layouts out: groups that cross and may touch, where worth it."""
        more = sorted(self._touching - self._cells.keys(), key=self._groups.size)
        sizes = sum(cells.size for cells in self._cells.values())
        for wheels in more:
            if self._groups.size(wheels) <= MOST_SHARE * self.choices.count and sizes <= MOST_CELLS:
                # All is asked anew: what a layout worked out before says of this table was not kept.
                self._cells[wheels] = self._empty(wheels)
                return True
        return False

    def _filled(self) -> list[Wheels]:
        """The wheels of each table that is filled by working layouts out."""
        elsewhere = {tuple(sorted(wheels)) for wheels in self._elsewhere}
        return sorted({*self._groups.all, *elsewhere, *self._cells})

    def _crossing_groups(self) -> Iterator[tuple[Wheels, Wheels]]:
        """Each two groups that no table is for."""
        for one, other in combinations(self._groups.all, 2):
            if tuple(sorted({*one, *other})) not in self._cells:
                yield one, other

    def _empty(self, wheels: Wheels) -> np.ndarray:
        return np.full(self._groups.shape(wheels), UNKNOWN, np.int64)

    def _number_of(self, pair: Pair) -> int:
        if pair not in self._number:
            self._number[pair] = len(self.pairs)
            self.pairs.append(pair)
        return self._number[pair]

    # --- groups that cross ---

    def _cross(self, tell: Tell | None) -> None:
        """Ask of groups that cross what they do to each other, and number all pairs in order."""
        places = places_of(self.asker.layouts)
        for one, other in self._crossing_groups():
            crossing = Crossing(self._stands[one], self._stands[other], places)
            if crossing.pairs:
                self._crosses.append(_Cross((one, other), crossing))
                for pair in crossing.pairs:
                    self._number_of(pair)
        self._rank()
        left = CROSSED_CELLS
        for cross in sorted(self._crosses, key=self._cells_of):
            cross.crossing.number(self._number, self._permitted)
            if self._cells_of(cross) <= left:
                left -= self._cells_of(cross)
                self._tabulate(cross, tell)
        self._stands.clear()

    def _cells_of(self, cross: _Cross) -> int:
        return prod(self._groups.size(wheels) for wheels in cross.wheels)

    def _tabulate(self, cross: _Cross, tell: Tell | None) -> None:
        sizes = [self._groups.size(wheels) for wheels in cross.wheels]
        cells = np.empty(prod(sizes), np.int64)
        for begin in range(0, len(cells), AT_ONCE):
            some = np.arange(begin, min(begin + AT_ONCE, len(cells)))
            cells[some] = self._crossed(cross, *np.unravel_index(some, sizes))
            if tell is not None:
                tell(int(some[-1]) + 1, len(cells))
        cross.cells = cells.reshape(sizes)

    def _crossed(self, cross: _Cross, ours: np.ndarray, theirs: np.ndarray) -> np.ndarray:
        """(l,) numbers of the first pairs of two groups at these stands of theirs, (l,) each."""
        if cross.cells is not None:
            return np.asarray(cross.cells[ours, theirs])
        while True:
            ways, again = np.unique(np.column_stack([ours, theirs]), axis=0, return_inverse=True)
            found = cross.crossing.first(ways[:, 0], ways[:, 1])
            if self._were_seen(cross, ways, found):
                return np.asarray(found[again.reshape(-1)])

    def _were_seen(self, cross: _Cross, ways: np.ndarray, found: np.ndarray) -> bool:
        """Whether a layout worked out as always agrees that these pairs interfere; each is asked once.

        Two parts that the scene lets touch without any layout so far having both are found that way.
        """
        agreed = True
        for number in np.unique(found[(found >= 0) & (found != FREE)]).tolist():
            pair = self.pairs[number]
            if pair not in self._seen:
                self._seen.add(pair)
                if not self._is_seen(cross, pair, ways[found == number][:TRIES]):
                    agreed = False
                    self._permitted |= {pair.names, pair.names[::-1]}
                    for one in self._crosses:
                        one.crossing.number(self._number, self._permitted)
        return agreed

    def _is_seen(self, cross: _Cross, pair: Pair, ways: np.ndarray) -> bool:
        for stands in ways.tolist():
            places = [0] * len(self.sizes)
            for wheels, stand in zip(cross.wheels, stands, strict=True):
                for wheel, place in self._groups.places(wheels, stand).items():
                    places[wheel] = place
            self.worked_out += 1
            try:
                world = self.asker.world(self.choices.number(tuple(places)))
            except Mistakes:
                continue
            may_touch = any({contact.a, contact.b} == set(pair.names) for contact in world.contacts)
            return not may_touch and pair in clashing_pairs(world, self.asker.layouts)
        return False

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
