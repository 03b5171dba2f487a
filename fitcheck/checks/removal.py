"""Removal: can a part be taken out as demanded, straight, swinging, or by any way that is found?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from pydantic import Field

from fitcheck.checks.taken_out import taken_out
from fitcheck.checks.verdicts import ROUNDING, mm, point, rule_line, towards
from fitcheck.finding import Answer, Finding, Point, Verdict
from fitcheck.motions.hidden import hidden, not_told
from fitcheck.motions.moving import Moving, Pair
from fitcheck.motions.search import Legs, any_way, two_legs
from fitcheck.motions.straight import Way, free_after, in_the_way, straight
from fitcheck.motions.swing import swing
from fitcheck.scene.rules import Angle, Count, Flag, Length, Number, PartRef, Rule, Side
from fitcheck.world.engine import CONTACT, measure
from fitcheck.world.frames import SIDES, turn_about
from fitcheck.world.world import World

QUESTION = "can the part be taken out as demanded, and what is in its way?"
AXES = {"x": np.array([1.0, 0, 0]), "y": np.array([0, 1.0, 0]), "z": np.array([0, 0, 1.0])}


class Hinge(Rule):
    """A hinge that a door, a panel or a window swings on."""

    about: Literal["x", "y", "z"] = Field(description="Along which axis of the world the hinge lies.")
    at: list[Length] = Field(min_length=3, max_length=3, description="A point [x, y, z] of its axis.")
    by: Angle = Field(
        description="How far it opens, counter-clockwise seen from the axis' tip; below 0 the other way."
    )


class RemovalRule(Rule):
    """A part that must come out."""

    part: PartRef = Field(
        description="What is taken out: a part, an assembly, a solid (case.side_panel), or several by drive*."
    )
    also: list[PartRef] = Field(
        default_factory=list, description="Further parts that come out together with it."
    )
    alone: Flag = Field(False, description="Without what is placed on it or joined to it.")
    before: list[PartRef] = Field(
        default_factory=list, description="What is taken out before it, with all that is fastened to that."
    )
    towards: Side | None = Field(None, description="To which side it slides; else any of the six.")
    along: list[Number] | None = Field(
        None, min_length=3, max_length=3, description="Or along any direction [x, y, z]."
    )
    by: Length | None = Field(None, description="How far; else until it is free of everything.")
    hinge: Hinge | None = Field(None, description="It swings instead of sliding.")
    keep: Length = Field(0.0, description="What it keeps from everything but its guides, all the way.")
    margin: Length = Field(0.0, description="From `keep` up to keep + margin the verdict is tight.")
    guides: list[PartRef] = Field(
        default_factory=list, description="What it may touch on its way, besides what it rests on."
    )

    search: Flag = Field(
        False, description="Where it slides out straight to no side: look for two legs, then for any way."
    )
    looks: Count = Field(
        600_000, description="At how many places a search for any way looks; the same number, the same way."
    )

    def wrong(self) -> Iterable[tuple[str, str, str]]:
        """More than one way at once, or a direction of no length."""
        ways = [key for key in ("towards", "along", "hinge") if getattr(self, key) is not None]
        if len(ways) > 1:
            yield ways[1], f"{' and '.join(ways)} together: a part goes one way", "keep one"
        if self.along is not None and not np.linalg.norm(self.along):
            yield "along", "a direction of no length", "write [0, 1, 0] for to the rear"
        if self.hinge is not None and self.by is not None:
            yield "by", "a part on a hinge opens by an angle: it stands in the hinge", ""


@dataclass(frozen=True, eq=False)
class _Try:
    """One way that was tried: its name in words, its direction, what it needs, and how far it got."""

    said: str
    direction: np.ndarray
    needed: float
    way: Way

    @property
    def done(self) -> bool:
        return self.way.way >= self.needed - ROUNDING


def check_removal(world: World) -> Answer:
    """Take each part out that a rule names, with all that is fastened to it.

    Runs that hold it at one end are taken off first, runs between two moving parts come along.

    Returns:
        One finding for each rule.
    """
    rules = [RemovalRule.model_validate(rule) for rule in world.rules.get("removal", [])]
    return Answer(tuple(_finding(world, rule, f"removal[{i}]") for i, rule in enumerate(rules, 1)))


def _finding(world: World, rule: RemovalRule, name: str) -> Finding:
    moved = taken_out(
        world, (rule.part, *rule.also), () if rule.alone else None, tuple(rule.before), tuple(rule.guides)
    )
    if rule.hinge is not None:
        return _swung(world, moved, rule, rule.hinge, name)
    tries = [_tried(moved, rule, said, direction) for said, direction in _directions(rule)]
    best = max(tries, key=lambda one: (one.done, one.way.nearest if one.done else one.way.way / one.needed))
    if not best.done and rule.search:
        return _searched(world, moved, rule, name, best)
    verdict = Verdict.FAILS
    if best.done:
        verdict = Verdict.TIGHT if best.way.nearest < rule.keep + rule.margin - ROUNDING else Verdict.FITS
    said = _straight_said(moved, rule, tries, best)
    return _made(world, moved, rule, name, verdict, said, best)


def _searched(world: World, moved: Moving, rule: RemovalRule, name: str, best: _Try) -> Finding:
    """Two straight legs, else any way: none found is no proof that there is none."""
    what = _what(moved, rule)
    legs = two_legs(moved, rule.keep)
    details: dict[str, Any] = {}
    if isinstance(legs, Legs):
        (side, first), (other, _) = legs.legs
        said = f"{what} slides out {mm(first)} {towards(side)}, then {towards(other)}" + _first(moved)
        details["legs"] = legs.legs
        verdict = Verdict.FITS
    elif (path := any_way(moved, rule.keep, int(rule.looks))) is not None:
        count = len(path.places) - 1
        said = f"{what} comes out by a way of {count} legs with turns, found by search and followed exactly"
        said += _first(moved)
        details["path"] = tuple(tuple(place) for place in path.places.tolist())
        verdict = Verdict.FITS
    else:
        said = _straight_said(moved, rule, [best, best], best)
        said += f"; no other way was found within {int(rule.looks):,} looks"
        verdict = Verdict.UNKNOWN
    return _made(world, moved, rule, name, verdict, said, best, details)


def _directions(rule: RemovalRule) -> list[tuple[str, np.ndarray]]:
    if rule.along is not None:
        vector = np.array(rule.along, float)
        return [(f"along {[float(v) for v in rule.along]}", vector / np.linalg.norm(vector))]
    sides = SIDES if rule.towards is None else {rule.towards: SIDES[rule.towards]}
    return [(towards(side), direction) for side, direction in sides.items()]


def _tried(moved: Moving, rule: RemovalRule, said: str, direction: np.ndarray) -> _Try:
    needed = free_after(moved, direction) if rule.by is None else rule.by
    return _Try(said, direction, needed, straight(moved, direction, needed, rule.keep))


def _straight_said(moved: Moving, rule: RemovalRule, tries: list[_Try], best: _Try) -> str:
    goal = "free" if rule.by is None else "out as demanded"
    if best.done:
        said = f"{_what(moved, rule)} slides out {best.said}: {goal} after {mm(best.needed)}"
        near = best.way
        if near.pair is not None:
            beside = moved.solids.all[near.pair[1]].name
            said += f", {mm(near.nearest, against=rule.keep)} from {beside} on the way"
            said += f" where {mm(rule.keep)} are demanded" if rule.keep else ""
        return said + _first(moved)
    stop = best.way.stop
    assert stop is not None
    mover, stayer = (moved.solids.all[k].name for k in stop.pair)
    opening = f"{_what(moved, rule)} does not come out "
    opening += best.said if len(tries) == 1 else f"to any side; best {best.said}"
    after = f"after {mm(best.way.way)} of {mm(best.needed)}"
    match stop.reason:
        case "overlaps":
            return f"{opening}: {mover} and {stayer} overlap as they stand"
        case "joined":
            return f"{opening}: {mover} is joined to {stayer}, and comes off it only along that joint's axis"
        case "pressed":
            return f"{opening}: {mover} leans on {stayer}"
        case "near" if best.way.way == 0:
            apart = mm(stop.distance, against=rule.keep)
            return f"{opening}: as they stand {mover} is {apart} from {stayer}, {mm(rule.keep)} are demanded"
        case "near":
            less = f"{opening}: {after} {mover} comes nearer than {mm(rule.keep)} to {stayer}"
            return less + _by_how_much(moved, best)
    return f"{opening}: {after} {mover} runs into {stayer}" + _by_how_much(moved, best)


def _by_how_much(moved: Moving, best: _Try) -> str:
    stop = best.way.stop
    assert stop is not None
    shifts = {side: in_the_way(moved, stop.pair, best.direction, side) for side in SIDES}
    ways = {side: way for side, way in shifts.items() if way is not None}
    side = min(ways, key=lambda one: ways[one], default="")
    if not side or ways[side] <= CONTACT:
        return ""
    return f", which is in its way by {mm(ways[side])} (it would pass if it lay so far {towards(side)})"


def _what(moved: Moving, rule: RemovalRule) -> str:
    others = len(moved.parts) - 1
    if rule.alone or others < 1:
        return rule.part
    return f"{rule.part} with {others} part{'s' if others > 1 else ''} on it"


def _first(moved: Moving) -> str:
    count = len(moved.loosened)
    if not count:
        return ""
    return f"; {moved.loosened[0] if count == 1 else f'{count} tubes and cables'} taken off first"


def _swung(world: World, moved: Moving, rule: RemovalRule, hinge: Hinge, name: str) -> Finding:
    axis, at = AXES[hinge.about], np.array(hinge.at, float)
    way = swing(moved, at, axis, hinge.by, rule.keep)
    needed = abs(hinge.by)
    best = _Try("", axis, needed, way)
    if way.stop is None:
        kept = f", never nearer than {mm(rule.keep)} to anything but its guides" if rule.keep else ""
        return _made(
            world, moved, rule, name, Verdict.FITS,
            f"{_what(moved, rule)} swings open by {needed:g} degrees{kept}{_first(moved)}", best,
        )  # fmt: skip
    mover, stayer = (moved.solids.all[k].name for k in way.stop.pair)
    met = f"{mover} runs into {stayer}"
    if way.stop.reason == "overlaps":
        met = f"{mover} and {stayer} overlap as they stand"
    elif way.stop.reason == "near":
        near = mm(way.stop.distance, against=rule.keep)
        met = f"{mover} is {near} from {stayer}, {mm(rule.keep)} are demanded"
    said = f"{_what(moved, rule)} swings open by {way.way:.1f} of {needed:g} degrees: there {met}"
    return _made(world, moved, rule, name, Verdict.FAILS, said, best)


def _made(
    world: World,
    moved: Moving,
    rule: RemovalRule,
    name: str,
    verdict: Verdict,
    said: str,
    best: _Try,
    more: dict[str, Any] | None = None,
) -> Finding:
    stop = best.way.stop
    pair = best.way.pair if stop is None else stop.pair
    if verdict in (Verdict.FITS, Verdict.TIGHT) and (unsure := _hidden(moved)):
        verdict, pair = Verdict.UNKNOWN, unsure[0]
        said += f"; but {not_told(moved.solids, unsure[0])}"
    others = (moved.solids.all[pair[1]].name,) if pair is not None else ()
    details: dict[str, Any] = {
        "parts": moved.parts,
        "loosened": moved.loosened,
        "keep": rule.keep,
        "nearest": best.way.nearest,
        "direction": tuple(best.direction.tolist()),
        "stopped": "" if stop is None else stop.reason,
        **(more or {}),
    }
    return Finding(
        check="removal",
        parts=(rule.part, *others),
        verdict=verdict,
        sentence=said,
        # How far it got straight says nothing of another way that was found.
        measured=best.way.way if stop is None or verdict != Verdict.FITS else None,
        required=best.needed,
        unit="mm" if rule.hinge is None else "degrees",
        where=_where(moved, rule, best),
        rule=name,
        rule_line=rule_line(world, name),
        details=details,
    )


def _hidden(moved: Moving) -> tuple[Pair, ...]:
    """Pairs of which it is not known whether they lie in each other."""
    pairs = ((i, j) for i in moved.movers for j in moved.stayers if (i, j) not in moved.excused)
    return hidden(moved.solids, pairs)


def _where(moved: Moving, rule: RemovalRule, best: _Try) -> tuple[Point, ...]:
    """On what stops the part, where it is met; else where it comes nearest on its way."""
    stop = best.way.stop
    if stop is None:
        return () if best.way.at is None else (point(best.way.at),)
    mover, stayer = stop.pair
    if rule.hinge is None:
        met = moved.solids.shifted([mover], best.way.way * best.direction)
        (found,) = measure(met, [(mover, stayer)])
        return (point(found.on_b),)
    # Where it is met is told in the place of the part as it stands, turned to where it stops.
    middle = moved.solids.body_bounds[mover].mean(axis=0)
    at = np.array(rule.hinge.at, float)
    turned = turn_about(best.direction, float(np.sign(rule.hinge.by)) * best.way.way) @ (middle - at) + at
    low, high = moved.solids.body_bounds[stayer]
    return (point(np.clip(turned, low, high)),)
