"""Room: is there the room demanded on a side of a part, for a named thing?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from pydantic import Field

from fitcheck.checks.clashes import clashes
from fitcheck.checks.names import Chosen, choose
from fitcheck.checks.verdicts import compare, mm, point, rule_line, side_of
from fitcheck.finding import Answer, Finding, Point, Verdict
from fitcheck.parts.solids import Kind, Piece
from fitcheck.scene.rules import Length, PartRef, Rule, Side
from fitcheck.world.bodies import Bodies, bodies
from fitcheck.world.engine import CONTACT, Travel, sweep_probe
from fitcheck.world.frames import SIDES
from fitcheck.world.world import World

QUESTION = "is there the room demanded on the named side of a part, for a named thing?"
# Thickness of the cross-section that is swept, mm: enough that what it starts in counts.
SLICE = 2 * CONTACT
# A cylinder is swept as one when its axis lies along the sweep to this (sine).
ALONG = 1e-9
# World axes of a cross-section, width then height, by the axis it is swept along.
ACROSS = {0: (1, 2), 1: (0, 2), 2: (0, 1)}


class RoomRule(Rule):
    """Room on a side of a part."""

    for_: PartRef | None = Field(
        None, alias="for", description="The thing that needs the room: its silhouette is swept."
    )
    side: Side = Field(description="On which side of the world.")
    of: PartRef = Field(
        description="The part beside which the room is: measured from its outermost point there."
    )
    at_least: Length = Field(description="The least length of the room.")
    margin: Length = Field(0.0, description="From the demand up to demand + margin the verdict is tight.")
    width: Length | None = Field(
        None, description="Width of a stated cross-section: along x, or along y for left and right."
    )
    height: Length | None = Field(
        None, description="Height of a stated cross-section: along z, or along y for top and bottom."
    )
    at: list[Length] | None = Field(
        None,
        min_length=3,
        max_length=3,
        description="Middle [x, y, z] of the stated cross-section; else that of the thing or part.",
    )


def check_room(world: World) -> Answer:
    """Sweep a cross-section from a side of a part until it touches anything.

    It starts in the plane of the part's outermost point on that side. The cross-section is
    the silhouette of the thing, seen along the side: each of its solids as the rectangle
    around it, a cylinder along the sweep as its disc; or a stated width and height. The
    thing itself, the part, and what the thing joins do not stop it. A solid that the part
    itself overlaps at that end, in the way of the sweep, leaves no room at all.

    Returns:
        One finding for each rule. `measured` is None where nothing stops the sweep.
    """
    solids = bodies(world)
    rules = [RoomRule.model_validate(rule) for rule in world.rules.get("room", [])]
    return Answer(tuple(_measure(world, solids, rule, f"room[{i}]") for i, rule in enumerate(rules, 1)))


@dataclass(frozen=True, eq=False)
class Sweep:
    """One rule made ready: where it starts, what is swept, what does not stop it."""

    side: str
    start: float
    sections: tuple[Piece, ...]
    passed: tuple[int, ...]


def _measure(world: World, solids: Bodies, rule: RoomRule, name: str) -> Finding:
    of = choose(world, rule.of)
    thing = None if rule.for_ is None else choose(world, rule.for_)
    said = ""
    if thing is None and (rule.width is None or rule.height is None):
        said = f"room {side_of(rule.side)} {rule.of}: no thing and no width and height are given"
    elif min(1.0 if size is None else size for size in (rule.width, rule.height)) <= 0:
        said = f"room {side_of(rule.side)} {rule.of}: a width or height of nothing is no room"
    if said:
        return _finding(world, rule, name, Verdict.UNKNOWN, said, None, (), {})
    sweep = ready(world, solids, rule, of, thing)
    blocked = _blocked(world, solids, sweep, of)
    if blocked is not None:
        return _said(world, solids, rule, name, sweep, sweep.sections[0], Travel(0.0, blocked, overlaps=True))
    found = [sweep_probe(solids, piece, rule.side, _span(solids), sweep.passed) for piece in sweep.sections]
    first = min(range(len(found)), key=lambda k: (found[k].against is None, found[k].distance))
    return _said(world, solids, rule, name, sweep, sweep.sections[first], found[first])


def room_of(world: World, at: int) -> float | None:
    """What the check measures of the rule with this index, mm; None where nothing stops the sweep."""
    rule = RoomRule.model_validate(world.rules["room"][at])
    return _measure(world, bodies(world), rule, f"room[{at + 1}]").measured


def ready(world: World, solids: Bodies, rule: RoomRule, of: Chosen, thing: Chosen | None) -> Sweep:
    axis = int(np.abs(SIDES[rule.side]).argmax())
    forward = float(SIDES[rule.side][axis])
    end = 1 if forward > 0 else 0
    part = bodies_of(solids, of)
    start = float(
        solids.body_bounds[part, end, axis].max() if end else solids.body_bounds[part, end, axis].min()
    )
    own = [] if thing is None else bodies_of(solids, thing)
    if rule.width is not None and rule.height is not None:
        sections: tuple[Piece, ...] = (_stated(solids, rule, own or part, axis, start, forward),)
    else:
        sections = tuple(_silhouette(solids, own, axis, start, forward))
    whole = {solids.all[k].group for k in own}
    passed = {k for k, body in enumerate(solids.all) if body.group in whole} | set(part)
    if thing is not None:
        passed |= _joined(world, solids, whole)
    return Sweep(rule.side, start, sections, tuple(sorted(passed)))


def _blocked(world: World, solids: Bodies, sweep: Sweep, of: Chosen) -> int | None:
    """A body that the part itself overlaps between its middle and the start of the sweep."""
    part = bodies_of(solids, of)
    axis = int(np.abs(SIDES[sweep.side]).argmax())
    boxes = solids.body_bounds[part]
    middle = float(boxes[:, 0, axis].min() + boxes[:, 1, axis].max()) / 2
    for clash in clashes(world):
        for mine, other in (clash.pair, clash.pair[::-1]):
            if mine not in part or other in sweep.passed or not clash.decided:
                continue
            rest = [k for k in range(len(solids)) if k != other]
            for section in sweep.sections:
                centre = section.centre.copy()
                centre[axis] = middle
                found = sweep_probe(
                    solids, replace(section, centre=centre), sweep.side, abs(sweep.start - middle), rest
                )
                if found.against is not None:
                    return other
    return None


def bodies_of(solids: Bodies, chosen: Chosen) -> list[int]:
    return [k for k, body in enumerate(solids.all) if chosen.holds(body.part_name, body.solid)]


def _joined(world: World, solids: Bodies, groups: set[str]) -> set[int]:
    """Bodies of the parts that the thing joins; of a case only the solids it is joined to."""
    found: set[int] = set()
    for contact in world.contacts:
        if contact.kind != "join":
            continue
        ends = ((contact.a, contact.b, contact.solids_b), (contact.b, contact.a, contact.solids_a))
        for mine, other, touched in ends:
            if world.by_name[mine].group not in groups:
                continue
            around = other in {room.part for room in world.compartments.values()}
            found |= {
                k
                for k, body in enumerate(solids.all)
                if body.part_name == other and (not around or body.solid in touched)
            }
    return found


def _silhouette(solids: Bodies, own: list[int], axis: int, start: float, forward: float) -> Iterator[Piece]:
    """Thin slices, just beyond the start plane, of all that the thing is made of."""
    middle = start + forward * SLICE / 2
    for row in solids.rows(own).tolist():
        bounds, rotation = solids.bounds[row], solids.rotations[row]
        half = (bounds[1] - bounds[0]) / 2
        centre = bounds.mean(axis=0)
        centre[axis] = middle
        upright = float(np.linalg.norm(np.delete(rotation[:, 2], axis))) < ALONG
        if solids.kinds[row] == Kind.CYLINDER and upright:
            radius = float(solids.halves[row, 0])
            yield Piece(Kind.CYLINDER, np.array([radius, radius, SLICE / 2]), rotation, centre)
        else:
            half[axis] = SLICE / 2
            yield Piece(Kind.BOX, half, np.eye(3), centre)


def _stated(
    solids: Bodies, rule: RoomRule, around: list[int], axis: int, start: float, forward: float
) -> Piece:
    across, up = ACROSS[axis]
    boxes = solids.body_bounds[around]
    centre = (boxes[:, 0].min(axis=0) + boxes[:, 1].max(axis=0)) / 2
    if rule.at is not None:
        centre = np.array(rule.at, float)
    assert rule.width is not None and rule.height is not None
    half = np.full(3, SLICE / 2)
    half[across], half[up] = rule.width / 2, rule.height / 2
    centre[axis] = start + forward * SLICE / 2
    return Piece(Kind.BOX, half, np.eye(3), centre)


def _span(solids: Bodies) -> float:
    """Longer than any way within the scene, mm."""
    return float(2 * (solids.body_bounds[:, 1].max(axis=0) - solids.body_bounds[:, 0].min(axis=0)).max())


def _said(
    world: World, solids: Bodies, rule: RoomRule, name: str, sweep: Sweep, section: Piece, found: Travel
) -> Finding:
    what = f"room for {rule.for_}" if rule.for_ else f"room of {mm(rule.width or 0)} × {mm(rule.height or 0)}"
    where = f"{what} {side_of(rule.side)} {rule.of}"
    begin = section.centre - SIDES[rule.side] * SLICE / 2
    if found.against is None:
        said = f"{where}: nothing stops it, {mm(rule.at_least)} are demanded"
        return _finding(world, rule, name, Verdict.FITS, said, None, (point(begin),), {"stops": ""})
    length = 0.0 if found.overlaps else found.distance + SLICE
    verdict = compare(length, rule.at_least, rule.margin)
    stop = solids.all[found.against].name
    until = f"{mm(length, against=rule.at_least)} up to {stop}"
    if found.overlaps:
        until = f"none, {stop} is in the way from the start"
    said = f"{where}: {until}, {mm(rule.at_least)} are demanded"
    said += ": within the margin" if verdict == Verdict.TIGHT else ""
    ends = (point(begin), point(begin + SIDES[rule.side] * length))
    return _finding(world, rule, name, verdict, said, length, ends, {"stops": stop})


def _finding(
    world: World, rule: RoomRule, name: str, verdict: Verdict, said: str, length: float | None,
    where: tuple[Point, ...], details: dict[str, Any],
) -> Finding:  # fmt: skip
    return Finding(
        check="room",
        parts=(rule.for_, rule.of) if rule.for_ else (rule.of,),
        verdict=verdict,
        sentence=said,
        measured=length,
        required=rule.at_least,
        where=where,
        rule=name,
        rule_line=rule_line(world, name),
        details={"side": rule.side, "margin": rule.margin, **details},
    )
