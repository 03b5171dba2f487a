"""Wanted boxes: does a box of a given size find a place, where, and how much is missing?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import permutations
from typing import Any

import numpy as np
from pydantic import Field

from fitcheck.checks.largest_boxes import THIN, largest_boxes
from fitcheck.checks.spaces import WORTH, Space, described
from fitcheck.checks.verdicts import ROUNDING, mm, point, rule_line
from fitcheck.finding import Finding, Verdict
from fitcheck.scene.rules import Length, PlaceRef, Rule, Text
from fitcheck.world.frames import SIDES
from fitcheck.world.world import World


class WantedBox(Rule):
    """A box of a given size that must find a place."""

    name: Text = Field(description="What it is for, such as spare_pump.")
    in_: PlaceRef | None = Field(
        None, alias="in", description="The compartment, such as case.hall; any if not given."
    )
    size: list[Length] = Field(
        min_length=3, max_length=3, description="Three lengths; it may be turned by right angles."
    )


def place_wanted(world: World, spaces: dict[str, Space], wanted: WantedBox, rule: str) -> Finding:
    """Whether a wanted box fits, in its compartment or in any, and where.

    `unknown` where round or slanted parts leave it open: it does not fit beside boxes that
    cover them, but would beside boxes that lie inside them.
    """
    said = ""
    if wanted.in_ is not None and wanted.in_ not in spaces:
        said = f"{wanted.name}: {wanted.in_} is no compartment of the scene"
    elif min(wanted.size) <= 0:
        said = f"{wanted.name}: a size of {sizes_said(wanted.size)} is no box"
    if said:
        return _finding(world, wanted, rule, Verdict.UNKNOWN, said, {})
    rooms = [spaces[wanted.in_]] if wanted.in_ else list(spaces.values())
    turns = list(dict.fromkeys(permutations(wanted.size)))
    for space in rooms:
        blocked = np.concatenate([space.covers, space.boxes.reserved])
        for turn in turns:
            found = largest_boxes(space.room.bounds, blocked, np.array(turn)).boxes
            if found:
                return _fits(world, wanted, rule, space, found[0], turn)
    return _nearly(world, wanted, rule, rooms, turns)


def _standing(box: np.ndarray, turn: tuple[float, ...]) -> np.ndarray:
    """A box of a size on the floor of an empty box, in its middle."""
    size = np.array(turn)
    low = (box[0] + box[1] - size) / 2
    low[2] = box[0, 2]
    return np.array([low, low + size])


def _fits(
    world: World, wanted: WantedBox, rule: str, space: Space, box: np.ndarray, turn: tuple[float, ...]
) -> Finding:
    place = _standing(box, turn)
    said = f"{wanted.name} ({sizes_said(wanted.size)}) fits in {space.room.name}"
    if turn != tuple(wanted.size):
        said += f" turned to {sizes_said(turn)}"
    x, y, z = point(place[0])
    said += f", its left front bottom corner at x {x:.1f}, y {y:.1f}, z {z:.1f}"
    details = {"place": described(place), "empty": described(space.grown(box))}
    return _finding(world, wanted, rule, Verdict.FITS, said, details, space, place)


@dataclass(frozen=True, eq=False)
class _Try:
    """The best place found with one side of the wanted box left free, and what that side gets."""

    space: Space
    turn: tuple[float, ...]
    axis: int
    box: np.ndarray

    @property
    def missing(self) -> float:
        return max(self.turn[self.axis] - float(self.box[1, self.axis] - self.box[0, self.axis]), 0.0)


def _nearly(
    world: World, wanted: WantedBox, rule: str, rooms: list[Space], turns: list[tuple[float, ...]]
) -> Finding:
    """No place among the covers: the nearest to one, grown exactly, and whether that settles it."""
    tries = sorted(_tries(rooms, turns), key=lambda t: t.missing)
    size = f"{wanted.name} ({sizes_said(wanted.size)})"
    where = wanted.in_ or "any compartment"
    if tries and tries[0].missing <= ROUNDING:
        best = tries[0]
        inside = [b for b in best.space.boxes.reserved if _overlap(b, _standing(best.box, best.turn))]
        if not inside:
            return _fits(world, wanted, rule, best.space, best.box, best.turn)
        said = f"{size} fits in {best.space.room.name} only where a keep-clear volume must stay empty"
        details = {"place": described(_standing(best.box, best.turn))}
        return _finding(world, wanted, rule, Verdict.FAILS, said, details, best.space, best.box)
    if any(_may_fit(space, turn) for space in rooms for turn in turns):
        said = f"{size}: no place found in {where}, but round or slanted parts leave it open"
        return _finding(world, wanted, rule, Verdict.UNKNOWN, said, _missing(tries), *_at(tries))
    if not tries:
        return _finding(world, wanted, rule, Verdict.FAILS, f"{size} does not fit in {where}", {})
    best = tries[0]
    got = float(best.box[1, best.axis] - best.box[0, best.axis])
    said = f"{size} does not fit in {where}: its side of {mm(best.turn[best.axis])} finds {mm(got)}"
    said += f" in {best.space.room.name}, {mm(best.missing)} are missing"
    return _finding(
        world, wanted, rule, Verdict.FAILS, said, _missing(tries), best.space, best.box,
        (got, best.turn[best.axis]),
    )  # fmt: skip


def _tries(rooms: list[Space], turns: list[tuple[float, ...]]) -> Iterator[_Try]:
    for space in rooms:
        for turn in turns:
            for axis in range(3):
                least = np.array(turn)
                least[axis] = 0.0
                found = largest_boxes(space.room.bounds, space.covers, least, along=axis)
                for box in found.boxes:
                    yield _Try(space, turn, axis, _longest(space, box, turn, axis))


def _longest(space: Space, box: np.ndarray, turn: tuple[float, ...], axis: int) -> np.ndarray:
    """The longest exact box along an axis with the wanted sides across, among places in `box`."""
    sides = [side for side, way in SIDES.items() if way[axis] != 0]
    best = box
    for share in ((0.5, 0.5), (0, 0), (0, 1), (1, 0), (1, 1)):
        place = box.copy()
        for across, part in zip((k for k in range(3) if k != axis), share, strict=True):
            spare = box[1, across] - box[0, across] - turn[across]
            place[0, across] = box[0, across] + part * spare
            place[1, across] = place[0, across] + turn[across]
        place = space.grown(place, tuple(sides))
        if best is box or place[1, axis] - place[0, axis] > best[1, axis] - best[0, axis] + WORTH:
            best = place
    return best


def _may_fit(space: Space, turn: tuple[float, ...]) -> bool:
    """Would it fit if only what is surely filled stood in the way?"""
    found = largest_boxes(space.room.bounds, space.cores, np.array(turn))
    return bool(found.boxes) or not found.complete


def _overlap(a: np.ndarray, b: np.ndarray) -> bool:
    return bool(((a[0] < b[1] - THIN) & (a[1] > b[0] + THIN)).all())


def _missing(tries: list[_Try]) -> dict[str, Any]:
    return {"missing": round(tries[0].missing, 6), "nearest": described(tries[0].box)} if tries else {}


def _at(tries: list[_Try]) -> tuple[Any, ...]:
    return (tries[0].space, tries[0].box) if tries else ()


def _finding(
    world: World, wanted: WantedBox, rule: str, verdict: Verdict, said: str, details: dict[str, Any],
    space: Space | None = None, box: np.ndarray | None = None,
    lengths: tuple[float, float] | None = None,
) -> Finding:  # fmt: skip
    room = space.room.name if space else wanted.in_ or ""
    return Finding(
        check="empty_boxes",
        parts=(wanted.name, room) if room else (wanted.name,),
        verdict=verdict,
        sentence=said,
        measured=None if lengths is None else lengths[0],
        required=None if lengths is None else lengths[1],
        where=() if box is None else (point(box.mean(axis=0)),),
        rule=rule,
        rule_line=rule_line(world, rule),
        details={**details, "size": tuple(wanted.size)},
    )


def sizes_said(size: Any) -> str:
    """Three lengths as they are said."""
    return " × ".join(f"{value:.1f}" for value in size) + " mm"
