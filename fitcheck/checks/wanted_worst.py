"""Wanted boxes over all values of the measurements: one place for each part of them, proved free.

A box surely fits if it has a place, in its compartment as small as it gets, beside all that anything ever
comes to (`tolerances/swept.py`). Where there is none for all values the ranges are halved, and each half may
have a place of its own. It fails where the check itself, asked of the scene placed anew, says so.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import permutations, product

import numpy as np

from fitcheck.checks.empty_boxes import EmptyBoxesRule
from fitcheck.checks.largest_boxes import largest_boxes
from fitcheck.checks.spaces import Covers, Space
from fitcheck.checks.verdicts import rule_line
from fitcheck.checks.wanted_boxes import WantedBox, place_wanted, sizes_said
from fitcheck.finding import Finding, Verdict
from fitcheck.scene.mistakes import Mistakes
from fitcheck.tolerances.held import Held
from fitcheck.tolerances.movement import Movement, said_values
from fitcheck.tolerances.swept import Swept
from fitcheck.world.bodies import bodies
from fitcheck.world.world import World

# Parts of the ranges that are looked at for one wanted box, and values at which the check is asked, at most.
PARTS, ANEW = 100, 12
# Corners of the ranges that are looked at first, at most.
CORNERS = 64
# The same where a mesh changes its shape: each part takes it cut into boxes anew, some 30 ms.
DEAR_PARTS, DEAR_CORNERS = 16, 8
# A part narrower than this in all that moves anything is not halved, mm.
NARROW = 0.01


@dataclass(frozen=True, eq=False)
class Place:
    """A part of the ranges, and a place that is free all over it.

    Args:
        low, high: (k,) offsets of the measurements, mm.
        room: full name of the compartment that the place moves with.
        box: (2, 3) as drawn, mm.
    """

    low: np.ndarray
    high: np.ndarray
    room: str
    box: np.ndarray


@dataclass(frozen=True, eq=False)
class Wanted:
    """What came of one wanted box.

    Args:
        places: that it has, part by part; they make up the whole ranges if it is `proved`.
        failing: what the check says where it finds no place, worst first of those asked, and at
            which offsets (k,).
    """

    box: WantedBox
    proved: bool
    places: tuple[Place, ...]
    failing: Finding | None = None
    where: np.ndarray | None = None


def wanted_worst(move: Movement) -> Iterator[tuple[int, Wanted]]:
    """Each wanted box that fits as drawn, by its number from 1, over the ranges of a movement."""
    rule = EmptyBoxesRule.model_validate(move.world.rules.get("empty_boxes", {}))
    held = Held(move)
    for number, wanted in enumerate(rule.wanted, 1):
        if _asked(move.world, wanted, number).verdict == Verdict.FITS:
            yield number, _Search(move, held, wanted, number).run()


def wanted_findings(world: World, move: Movement) -> Iterator[Finding]:
    """One finding for each wanted box that fits as drawn: proved, missed at some values, or neither."""
    measured = [m.name for m in move.measurements if m.measured]
    for number, one in wanted_worst(move):
        named = f"{one.box.name} ({sizes_said(one.box.size)})"
        name = f"empty_boxes.wanted[{number}]"
        parts = (one.box.name, one.places[0].room if one.places else one.box.in_ or "any compartment")
        if one.failing is not None and one.where is not None:
            there = {m: v for m, v in move.values(one.where).items() if m in measured}
            said = f"with {said_values(there, move.angles)} {one.failing.sentence}; as drawn it fits"
            yield replace(
                one.failing, check="tolerance", verdict=Verdict.TIGHT, sentence=said, rule=name, mend="",
                details={**one.failing.details, "check": "empty_boxes", "at": there},
            )  # fmt: skip
            continue
        verdict = Verdict.FITS if one.proved else Verdict.UNKNOWN
        said = f"{named} fits wherever it was asked, but that it does at every value is not proved"
        if one.proved:
            rooms = sorted({place.room for place in one.places})
            several = f", in {len(one.places)} places" if len(one.places) > 1 else ""
            said = f"{named} fits in {' or '.join(rooms)} at every value of the uncertain lengths{several}"
        yield Finding(
            "tolerance", parts, verdict, said,
            rule=name, rule_line=rule_line(world, name), details={"check": "empty_boxes"},
        )  # fmt: skip


def _asked(world: World, wanted: WantedBox, number: int) -> Finding:
    """What the check itself says of one wanted box in a world."""
    solids = bodies(world)
    boxes = Covers(world, solids)
    spaces = {name: Space(room, solids, boxes) for name, room in world.compartments.items()}
    return place_wanted(world, spaces, wanted, f"empty_boxes.wanted[{number}]")


class _Search:
    """One wanted box over one movement."""

    def __init__(self, move: Movement, held: Held, wanted: WantedBox, number: int) -> None:
        self.move, self.wanted, self.number = move, wanted, number
        rooms = [wanted.in_] if wanted.in_ else list(move.pieces.rooms)
        starts = {name: move.pieces.all.all[move.pieces.rooms[name]].pieces.start for name in rooms}
        self.rooms = {name: Swept(move, start, held) for name, start in starts.items()}
        rows = [
            move.pieces.all.all[body].pieces
            for body in (*range(move.pieces.solids), *move.pieces.kept.values())
        ]
        self.rows = np.concatenate([np.zeros(0, int), *(np.arange(one.start, one.stop) for one in rows)])
        self.turns = list(dict.fromkeys(permutations(wanted.size)))
        near = self._near(move.low, move.high)
        self.rate = np.max([self.rooms[name].rates(near[name]) for name in rooms], axis=0)
        dear = move.changed_by[:, np.concatenate(list(near.values()))].any()
        self.parts, self.corners = (DEAR_PARTS, DEAR_CORNERS) if dear else (PARTS, CORNERS)

    def run(self) -> Wanted:
        low, high = np.where(self.rate > 0, self.move.low, 0.0), np.where(self.rate > 0, self.move.high, 0.0)
        whole = self._place(low, high)
        if whole is not None:
            return Wanted(self.wanted, True, (whole,))
        failing = self._failing(self._corners(low, high))
        if failing is not None:
            return Wanted(self.wanted, False, (), *failing)
        return self._in_parts(low, high)

    def _in_parts(self, low: np.ndarray, high: np.ndarray) -> Wanted:
        parts, places, asked = [(low, high)], [], 0
        proved = True
        for _ in range(self.parts):
            if not parts:
                break
            low, high = parts.pop()
            found = self._place(low, high)
            if found is not None:
                places.append(found)
                continue
            middle = (low + high) / 2
            width = self.rate * (high - low)
            if self._place(middle, middle) is None and asked < ANEW:
                asked += 1
                failing = self._failing([middle])
                if failing is not None:
                    return Wanted(self.wanted, False, (), *failing)
            if width.max() < NARROW:
                proved = False
                continue
            cut = int(width.argmax())
            below, above = high.copy(), low.copy()
            below[cut] = above[cut] = middle[cut]
            parts += [(above, high), (low, below)]
        return Wanted(self.wanted, proved and not parts, tuple(places))

    def _near(self, low: np.ndarray, high: np.ndarray) -> dict[str, np.ndarray]:
        """By room the rows that may reach into it."""
        found = {}
        for name, swept in self.rooms.items():
            room = swept.reach(np.array([swept.seen_from]), low, high)[0]
            reach = swept.reach(self.rows, low, high)
            inside = ((reach[:, 0] < room[1]) & (reach[:, 1] > room[0])).all(axis=1)
            found[name] = np.append(self.rows[inside], swept.seen_from)
        return found

    def _place(self, low: np.ndarray, high: np.ndarray) -> Place | None:
        """A place that is free at all offsets low to high (k,)."""
        for name, rows in self._near(low, high).items():
            swept = self.rooms[name]
            blocked = swept.covers(rows[:-1], low, high)
            walls = swept.walls(low, high)
            if swept.turns() or blocked is None or (walls[1] <= walls[0]).any():
                continue
            for turn in self.turns:
                found = largest_boxes(walls, blocked, np.array(turn)).boxes
                if found:
                    corner = found[0][0]
                    return Place(low, high, name, np.array([corner, corner + turn]))
        return None

    def _corners(self, low: np.ndarray, high: np.ndarray) -> list[np.ndarray]:
        """Ends of the ranges, of what moves most where there are many, the others in the middle."""
        free = np.argsort(-self.rate * (high - low), kind="stable")[: int(np.log2(self.corners))]
        free = free[(high > low)[free]]
        made = []
        for ends in product((low, high), repeat=len(free)):
            corner = (low + high) / 2
            corner[free] = [end[k] for end, k in zip(ends, free.tolist(), strict=True)]
            made.append(corner)
        return made

    def _failing(self, offsets: list[np.ndarray]) -> tuple[Finding, np.ndarray] | None:
        """The worst that the check says at some of these offsets, asked where no place is proved."""
        worst: tuple[float, Finding, np.ndarray] | None = None
        asked = 0
        for one in offsets:
            if asked >= ANEW or self._place(one, one) is not None:
                continue
            asked += 1
            assert self.move.world.elsewhere is not None
            try:
                finding = _asked(self.move.world.elsewhere(self.move.values(one)), self.wanted, self.number)
            except Mistakes:
                continue
            missing = float(finding.details.get("missing", 0.0))
            if finding.verdict == Verdict.FAILS and (worst is None or missing > worst[0]):
                worst = missing, finding, one
        return None if worst is None else (worst[1], worst[2])
