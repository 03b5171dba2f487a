"""Gaps: how far can each part travel to each of six sides before it touches, and what?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from pydantic import Field

from fitcheck.checks.hosts import enclosing
from fitcheck.checks.names import choose
from fitcheck.checks.verdicts import compare, mm, point, rule_line, towards
from fitcheck.finding import Answer, Finding, Point, Verdict
from fitcheck.scene.rules import Length, PartRef, Rule, Side
from fitcheck.world.bodies import Bodies, bodies, bounds_gap
from fitcheck.world.contacts import allowed
from fitcheck.world.engine import CONTACT, measure, travel
from fitcheck.world.frames import SIDES
from fitcheck.world.world import World

QUESTION = "how far can each part travel to each of six sides before it touches, and what does it touch?"
# A pad pressed against a part stops it where it faces it by more than this (cosine).
FACES = 0.5


class GapRule(Rule):
    """Free travel demanded of a part."""

    part: PartRef = Field(
        description="What moves: a part, an assembly as a whole, a solid, or several by drive*."
    )
    side: Side = Field(description="Towards which side of the world.")
    at_least: Length = Field(description="The least travel demanded.")
    margin: Length = Field(0.0, description="From the demand up to demand + margin the verdict is tight.")


@dataclass(frozen=True)
class Gap:
    """Free travel, mm (None: nothing is in the way), and the name of the solid that ends it.

    `overlaps` when they interfere before anything moves; `against` is that solid's index.
    """

    free: float | None
    touches: str = ""
    overlaps: bool = False
    against: int = -1


def check_gaps(world: World) -> Answer:
    """Move each part to each of six sides until it touches something else.

    A part moves alone, an assembly as one. What is joined to it (threads, plugs) does not
    stop it; what it only rests on stops it where it faces it. Parts with compartments are
    left out: the others are measured in them.

    Returns:
        Facts: six figures a part. Findings: one for each rule and part it names.
    """
    solids = bodies(world)
    facts = {}
    for group, moving in _movers(world, solids):
        partners = partners_of(world, solids, moving)
        facts[group] = {side: _fact(gap(solids, moving, side, partners)) for side in SIDES}
    rules = [GapRule.model_validate(rule) for rule in world.rules.get("gaps", [])]
    findings = [
        _finding(world, solids, rule, f"gaps[{i}]", name, moving)
        for i, rule in enumerate(rules, 1)
        for name, moving in named(world, solids, rule.part)
    ]
    return Answer(tuple(findings), facts)


def _movers(world: World, solids: Bodies) -> Iterator[tuple[str, list[int]]]:
    cases = enclosing(world)
    groups: dict[str, list[int]] = {}
    for k, body in enumerate(solids.all):
        if body.group not in cases:
            groups.setdefault(body.group, []).append(k)
    yield from groups.items()


def named(world: World, solids: Bodies, said: str) -> Iterator[tuple[str, list[int]]]:
    """What moves together: for each scene part named, the solids of it that are meant."""
    chosen = choose(world, said)
    groups: dict[str, list[int]] = {}
    for k, body in enumerate(solids.all):
        if chosen.holds(body.part_name, body.solid):
            groups.setdefault(body.group, []).append(k)
    for group, moving in groups.items():
        whole = len(moving) == sum(body.group == group for body in solids.all)
        yield group if whole or "*" in said else said, moving


@dataclass(frozen=True, eq=False)
class Partners:
    """What moving bodies are joined to or pressed against: bodies that do not stop them as others do.

    `pads` are those pressed against, with the direction from the moving ones to each.
    """

    skip: tuple[int, ...]
    pads: tuple[tuple[int, np.ndarray], ...]


def gap(solids: Bodies, moving: Sequence[int], side: str, partners: Partners) -> Gap:
    """Free travel of bodies, moved together, to a side."""
    span = solids.body_bounds[:, 1].max(axis=0) - solids.body_bounds[:, 0].min(axis=0)
    for pad, normal in partners.pads:
        if float(normal @ SIDES[side]) > FACES:
            return Gap(0.0, solids.all[pad].name)
    found = travel(solids, moving, side, float(2 * span.max()), partners.skip)
    if found.against is None:
        return Gap(None)
    return Gap(found.distance, solids.all[found.against].name, found.overlaps, found.against)


def partners_of(world: World, solids: Bodies, moving: Sequence[int]) -> Partners:
    inside = set(moving)
    others = [k for k in range(len(solids)) if k not in inside]
    ours = np.array(sorted(inside))
    close = bounds_gap(solids.body_bounds[ours][:, None], solids.body_bounds[others][None]) <= CONTACT
    skip, pads = [], []
    for a, b in np.argwhere(close).tolist():
        i, j = int(ours[a]), others[b]
        permission = allowed(world, solids.all[i], solids.all[j])
        if permission is None:
            continue
        if permission.kind == "join" or permission.zone is not None:
            skip.append(j)
        elif permission.gives > 0:
            (measured,) = measure(solids, [(i, j)], 0.0)
            if measured.interferes and measured.depth <= permission.gives + CONTACT:
                skip.append(j)
                pads.append((j, measured.normal))
    return Partners(tuple(skip), tuple(pads))


def _fact(found: Gap) -> dict[str, Any]:
    free = None if found.free is None else round(found.free, 6) + 0.0
    fact = {"free": free, "touches": found.touches}
    return {**fact, "overlaps": True} if found.overlaps else fact


def _finding(world: World, solids: Bodies, rule: GapRule, name: str, part: str, moving: list[int]) -> Finding:
    found = gap(solids, moving, rule.side, partners_of(world, solids, moving))
    demand = f"{mm(rule.at_least)} are demanded"
    if found.free is None:
        verdict, said = Verdict.FITS, f"nothing stops {part} {towards(rule.side)}"
    elif found.overlaps:
        verdict, said = (
            Verdict.FAILS,
            f"{part} cannot travel {towards(rule.side)}: it overlaps {found.touches}",
        )
        said += f", {demand}"
    else:
        verdict = compare(found.free, rule.at_least, rule.margin)
        said = f"{part} can travel {mm(found.free, against=rule.at_least)} {towards(rule.side)}"
        said += f" before it touches {found.touches}, {demand}"
        said += ": within the margin" if verdict == Verdict.TIGHT else ""
    return Finding(
        check="gaps",
        parts=(part, found.touches) if found.touches else (part,),
        verdict=verdict,
        sentence=said,
        measured=found.free,
        required=rule.at_least,
        where=(_where(solids, moving, rule.side, found),),
        rule=name,
        rule_line=rule_line(world, name),
        details={
            "side": rule.side,
            "touches": found.touches,
            "overlaps": found.overlaps,
            "margin": rule.margin,
        },
    )


def _where(solids: Bodies, moving: list[int], side: str, found: Gap) -> Point:
    """Middle of the side that moves ahead; a place in the overlap when there is one."""
    if found.overlaps:
        met = measure(solids, [(k, found.against) for k in moving], 0.0)
        return point(max(met, key=lambda m: float(np.nan_to_num(m.depth))).on_a)
    low = solids.body_bounds[moving, 0].min(axis=0)
    high = solids.body_bounds[moving, 1].max(axis=0)
    return point((low + high) / 2 + SIDES[side] * (high - low) / 2)
