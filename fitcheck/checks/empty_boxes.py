"""Empty boxes: which largest boxes are left in each compartment; does a wanted box fit, where?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from itertools import permutations
from typing import Any

import numpy as np
from pydantic import Field

from fitcheck.checks.largest_boxes import THIN, largest_boxes
from fitcheck.checks.verdicts import ROUNDING, mm, rule_line
from fitcheck.finding import Answer, Finding, Verdict
from fitcheck.parts.solids import Kind, Piece
from fitcheck.scene.rules import Count, Length, PlaceRef, Rule, Text
from fitcheck.world.bodies import Bodies, bodies
from fitcheck.world.covers import core, cover
from fitcheck.world.engine import sweep_probe
from fitcheck.world.frames import SIDES, Frame
from fitcheck.world.world import Room, World

QUESTION = "which largest empty boxes are left in each compartment; does a wanted box fit, where?"
# A face is not grown by less, mm.
WORTH = 1e-6


class WantedBox(Rule):
    """A box of a given size that must find a place."""

    name: Text = Field(description="What it is for, such as spare_pump.")
    in_: PlaceRef | None = Field(
        None, alias="in", description="The compartment, such as case.hall; any if not given."
    )
    size: list[Length] = Field(
        min_length=3, max_length=3, description="Three lengths; it may be turned by right angles."
    )


class EmptyBoxesRule(Rule):
    """What to look for in the empty space."""

    wanted: list[WantedBox] = Field(default_factory=list, description="Boxes that must find a place.")
    least_side: Length = Field(20.0, description="Empty boxes thinner than this are not listed.")
    count: Count = Field(3, description="How many empty boxes to list for each compartment.")


@dataclass(frozen=True, eq=False)
class _Covers:
    """Boxes about and inside each piece of a world, worked out when first asked for."""

    world: World
    solids: Bodies
    known: dict[tuple[int, bool], np.ndarray] = field(default_factory=dict)

    @cached_property
    def pieces(self) -> tuple[tuple[Piece, Frame], ...]:
        """The rows of `solids`, as pieces and where their parts stand."""
        return tuple(
            (piece, part.pose)
            for part in self.world.parts
            for solid in part.shape.solids.values()
            for piece in solid.pieces
        )

    def within(self, bounds: np.ndarray, inside: bool) -> np.ndarray:
        """(n, 2, 3) covers, or cores, of all pieces that reach into some bounds."""
        low, high = bounds
        boxes = self.solids.bounds
        reach = (boxes[:, 0] < high - THIN).all(axis=1) & (boxes[:, 1] > low + THIN).all(axis=1)
        found = [np.zeros((0, 2, 3))]
        for row in np.flatnonzero(reach).tolist():
            if (row, inside) not in self.known:
                self.known[row, inside] = (core if inside else cover)(*self.pieces[row])
            found.append(self.known[row, inside])
        return np.concatenate(found)


@dataclass(frozen=True, eq=False)
class _Space:
    """A compartment, what stands in it, and both sides of the doubt about round things."""

    world: World
    room: Room
    solids: Bodies
    boxes: _Covers

    @cached_property
    def covers(self) -> np.ndarray:
        """(n, 2, 3): nothing stands outside these."""
        return self.boxes.within(self.room.bounds, inside=False)

    @cached_property
    def cores(self) -> np.ndarray:
        """(n, 2, 3): all of these is filled."""
        return self.boxes.within(self.room.bounds, inside=True)

    @cached_property
    def reserved(self) -> np.ndarray:
        """(n, 2, 3) covers of the keep-clear volumes that reach in."""
        volumes = [
            cover(kept.piece, part.pose)
            for part in self.world.parts
            for kept in part.shape.keep_clear.values()
        ]
        return np.concatenate([np.zeros((0, 2, 3)), *volumes])

    def grown(self, box: np.ndarray, sides: tuple[str, ...] = tuple(SIDES)) -> np.ndarray:
        """The box with each face moved out until it touches a solid or the wall."""
        for side in sides:
            axis = int(np.abs(SIDES[side]).argmax())
            end = 1 if SIDES[side][axis] > 0 else 0
            left = abs(float(self.room.bounds[end, axis] - box[end, axis]))
            if left > WORTH:
                free = sweep_probe(self.solids, _piece(box), side, left).distance
                box = box.copy()
                box[end, axis] += SIDES[side][axis] * min(free, left)
        return box


def _piece(box: np.ndarray) -> Piece:
    return Piece(Kind.BOX, (box[1] - box[0]) / 2, np.eye(3), box.mean(axis=0))


def check_empty_boxes(world: World) -> Answer:
    """Find the largest empty boxes of each compartment, and a place for each wanted box.

    The boxes lie along the world's axes and do not overlap each other. They are found among
    boxes that cover the solids, best first, and their faces are then moved out until they
    touch: exact where everything stands square, never too large anywhere.

    Returns:
        Facts: by compartment the boxes with size and place. Findings: one for each wanted box.
    """
    rule = EmptyBoxesRule.model_validate(world.rules.get("empty_boxes", {}))
    solids = bodies(world)
    boxes = _Covers(world, solids)
    spaces = {name: _Space(world, room, solids, boxes) for name, room in world.compartments.items()}
    facts = {}
    not_checked = []
    for name, space in spaces.items():
        found = largest_boxes(space.room.bounds, space.covers, np.full(3, rule.least_side), rule.count)
        facts[name] = _listed(space, found.boxes)
        if not found.complete:
            not_checked.append(
                f"empty_boxes: {name} is too crowded, larger empty boxes may exist than listed"
            )
    findings = tuple(
        _place(world, spaces, wanted, f"empty_boxes.wanted[{i}]") for i, wanted in enumerate(rule.wanted, 1)
    )
    return Answer(findings, facts, tuple(not_checked))


def _listed(space: _Space, boxes: tuple[np.ndarray, ...]) -> tuple[dict[str, Any], ...]:
    out = []
    taken: list[np.ndarray] = []
    for box in boxes:
        grown = _apart(space.grown(box), box, [b for b in (*taken, *boxes) if b is not box])
        taken.append(grown)
        out.append(_described(grown))
    return tuple(out)


def _apart(grown: np.ndarray, kept: np.ndarray, others: list[np.ndarray]) -> np.ndarray:
    """The grown box drawn back to where the boxes listed beside it begin."""
    for other in others:
        if ((other[0] < grown[1] - THIN) & (other[1] > grown[0] + THIN)).all():
            grown = kept
    return grown


def _described(box: np.ndarray) -> dict[str, Any]:
    size = box[1] - box[0]
    return {
        "size": _plain(size),
        "low": _plain(box[0]),
        "high": _plain(box[1]),
        "volume": round(float(np.prod(size)), 3),
    }


def _plain(values: np.ndarray) -> tuple[float, float, float]:
    x, y, z = (round(float(v), 6) + 0.0 for v in values)
    return x, y, z


def _place(world: World, spaces: dict[str, _Space], wanted: WantedBox, rule: str) -> Finding:
    if wanted.in_ is not None and wanted.in_ not in spaces:
        said = f"{wanted.name}: {wanted.in_} is no compartment of the scene"
        return _finding(world, wanted, rule, Verdict.UNKNOWN, said, {})
    rooms = [spaces[wanted.in_]] if wanted.in_ else list(spaces.values())
    turns = list(dict.fromkeys(permutations(wanted.size)))
    for space in rooms:
        blocked = np.concatenate([space.covers, space.reserved])
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
    world: World, wanted: WantedBox, rule: str, space: _Space, box: np.ndarray, turn: tuple[float, ...]
) -> Finding:
    place = _standing(box, turn)
    said = f"{wanted.name} ({_sizes(wanted.size)}) fits in {space.room.name}"
    if turn != tuple(wanted.size):
        said += f" turned to {_sizes(turn)}"
    x, y, z = _plain(place[0])
    said += f", its left front bottom corner at x {x:.1f}, y {y:.1f}, z {z:.1f}"
    details = {"place": _described(place), "empty": _described(space.grown(box))}
    return _finding(world, wanted, rule, Verdict.FITS, said, details, space, place)


@dataclass(frozen=True, eq=False)
class _Try:
    """The best place found with one side of the wanted box left free, and what that side gets."""

    space: _Space
    turn: tuple[float, ...]
    axis: int
    box: np.ndarray

    @property
    def missing(self) -> float:
        return max(self.turn[self.axis] - float(self.box[1, self.axis] - self.box[0, self.axis]), 0.0)


def _nearly(
    world: World, wanted: WantedBox, rule: str, rooms: list[_Space], turns: list[tuple[float, ...]]
) -> Finding:
    """No place among the covers: the nearest to one, grown exactly, and whether that settles it."""
    tries = sorted(_tries(rooms, turns), key=lambda t: t.missing)
    size = f"{wanted.name} ({_sizes(wanted.size)})"
    where = wanted.in_ or "any compartment"
    if tries and tries[0].missing <= ROUNDING:
        best = tries[0]
        inside = [b for b in best.space.reserved if _overlap(b, _standing(best.box, best.turn))]
        if not inside:
            return _fits(world, wanted, rule, best.space, best.box, best.turn)
        said = f"{size} fits in {best.space.room.name} only where a keep-clear volume must stay empty"
        details = {"place": _described(_standing(best.box, best.turn))}
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


def _tries(rooms: list[_Space], turns: list[tuple[float, ...]]) -> Iterator[_Try]:
    for space in rooms:
        for turn in turns:
            for axis in range(3):
                least = np.array(turn)
                least[axis] = 0.0
                found = largest_boxes(space.room.bounds, space.covers, least, along=axis)
                for box in found.boxes:
                    yield _Try(space, turn, axis, _longest(space, box, turn, axis))


def _longest(space: _Space, box: np.ndarray, turn: tuple[float, ...], axis: int) -> np.ndarray:
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


def _may_fit(space: _Space, turn: tuple[float, ...]) -> bool:
    """Would it fit if only what is surely filled stood in the way?"""
    found = largest_boxes(space.room.bounds, space.cores, np.array(turn))
    return bool(found.boxes) or not found.complete


def _overlap(a: np.ndarray, b: np.ndarray) -> bool:
    return bool(((a[0] < b[1] - THIN) & (a[1] > b[0] + THIN)).all())


def _missing(tries: list[_Try]) -> dict[str, Any]:
    return {"missing": round(tries[0].missing, 6), "nearest": _described(tries[0].box)} if tries else {}


def _at(tries: list[_Try]) -> tuple[Any, ...]:
    return (tries[0].space, tries[0].box) if tries else ()


def _finding(
    world: World, wanted: WantedBox, rule: str, verdict: Verdict, said: str, details: dict[str, Any],
    space: _Space | None = None, box: np.ndarray | None = None,
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
        where=() if box is None else (_plain(box.mean(axis=0)),),
        rule=rule,
        rule_line=rule_line(world, rule),
        details={**details, "size": tuple(wanted.size)},
    )


def _sizes(size: Any) -> str:
    return " × ".join(f"{value:.1f}" for value in size) + " mm"
