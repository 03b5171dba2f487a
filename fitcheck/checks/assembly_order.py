"""Assembly order: can all parts go in one at a time, and what must come out first for service?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial
from itertools import combinations
from typing import Any

from pydantic import Field

from fitcheck.checks.hosts import enclosing, host_groups
from fitcheck.checks.names import Chosen, choose
from fitcheck.checks.taken_out import leaves, on_solids
from fitcheck.checks.verdicts import mm, point, rule_line, towards
from fitcheck.finding import Answer, Finding, Point, Verdict
from fitcheck.motions.apart import Apart, Least, Step, apart, least
from fitcheck.motions.blocking import Blocking, Unit, blocking
from fitcheck.motions.hidden import hidden, not_told
from fitcheck.motions.moving import Joint, Moving, Pad, Pair
from fitcheck.motions.search import any_way, two_legs
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.scene.rules import Count, Flag, PartRef, Rule
from fitcheck.world.bodies import Bodies, bodies, bounds_gap
from fitcheck.world.contacts import allowed, permitted
from fitcheck.world.engine import CONTACT, measure
from fitcheck.world.frames import SIDES
from fitcheck.world.world import World

QUESTION = "can all parts go in one at a time, and how many must come out before one that needs service?"
# So many names are written in a sentence.
NAMED = 4


class Service(Rule):
    """A part that must come out without much ado."""

    part: PartRef = Field(description="What is taken out, with what is placed on it.")
    without: list[PartRef] = Field(
        default_factory=list, description="What must stay in; tubes and cables may always be taken off."
    )
    at_most: Count | None = Field(None, description="How many others may have to come out first.")


class AssemblyOrderRule(Rule):
    """Everything goes in, and comes out, one at a time."""

    comes_off: list[PartRef | list[PartRef]] = Field(
        default_factory=list,
        description="Solids that come off by themselves: panels of the case, the nut of a bulkhead, "
        "[case.door_frame, case.door_glass] as one.",
    )
    service: list[Service] = Field(
        default_factory=list, description="Parts that must come out without much ado."
    )
    search: Flag = Field(
        False, description="Where no straight moves free a part, look for any way, turned as need be."
    )
    looks: Count = Field(600_000, description="At how many places a search for one part looks at most.")


def check_assembly_order(world: World) -> Answer:
    """Take the machine apart, one unit at a time, each to one side, and turn the order round.

    Units are the scene's own parts, what comes off by itself, tubes and cables. What is placed on
    another part goes in after it. Where no straight slide frees a unit, two in turn are tried, then the
    smallest group that can leave together.

    Returns:
        One finding for all, one for each part that needs service. Facts: the order they go in.
    """
    if "assembly_order" not in world.rules:
        return Answer()
    rule = AssemblyOrderRule.model_validate(world.rules["assembly_order"])
    solids = bodies(world)
    units = _units(world, solids, rule)
    joints, pads = _held(world, solids)
    blocks = blocking(solids, units, joints, pads, _tied(world, units))
    carries = _carries(world, units)
    looks = int(rule.looks) if rule.search else 0
    whole = apart(blocks, carries, partial(_otherwise, blocks, looks))
    order = tuple(_told(units, step) for step in reversed(whole.steps))
    findings = [_of_all(world, solids, blocks, whole, order)]
    for i, service in enumerate(rule.service, 1):
        findings += _services(world, blocks, carries, service, f"assembly_order.service[{i}]")
    unsure = _hidden(solids, blocks)
    findings = [_or_unknown(solids, blocks, finding, unsure) for finding in findings]
    return Answer(tuple(findings), {"order": order})


def _hidden(solids: Bodies, blocks: Blocking) -> tuple[Pair, ...]:
    """Pairs of bodies of two units of which it is not known whether they lie in each other."""
    owner = {k: i for i, unit in enumerate(blocks.units) for k in unit.bodies}
    held = set(blocks.joints) | set(blocks.pads)
    pairs = ((i, j) for i, j in combinations(sorted(owner), 2) if owner[i] != owner[j] and (i, j) not in held)
    return hidden(solids, pairs)


def _or_unknown(solids: Bodies, blocks: Blocking, finding: Finding, unsure: Sequence[Pair]) -> Finding:
    """What fits only as far as an open mesh hides nothing is not known to fit."""
    if finding.rule != "assembly_order":
        names = {*finding.parts, *finding.details["first"]}
        moved = {k for unit in blocks.units if unit.name in names for k in unit.bodies}
        unsure = [pair for pair in unsure if moved & set(pair)]
    if finding.verdict != Verdict.FITS or not unsure:
        return finding
    said = f"{finding.sentence}; but {not_told(solids, unsure[0])}"
    return replace(finding, verdict=Verdict.UNKNOWN, sentence=said)


def _told(units: Sequence[Unit], step: Step) -> dict[str, Any]:
    return {"parts": tuple(units[i].name for i in step.units), "out": _out(step)}


def _out(step: Step) -> str:
    """Which way a step goes, in words."""
    match step.way:
        case ():
            return "off its ends"
        case (str() as side,):
            return towards(side) if side in SIDES else side
        case (str() as side, float() as way, str() as other):
            return f"{mm(way)} {towards(side)}, then {towards(other)}"
    raise TypeError(step)


def _units(world: World, solids: Bodies, rule: AssemblyOrderRule) -> list[Unit]:
    """Panels first, then the scene's parts in its order; what is left of cases stays."""
    cases = enclosing(world)
    taken: dict[int, str] = {}
    for panel in rule.comes_off:
        names = [panel] if isinstance(panel, str) else panel
        chosen = [choose(world, name) for name in names]
        for k, body in enumerate(solids.all):
            if any(one.holds(body.part_name, body.solid) for one in chosen):
                taken.setdefault(k, names[0])
    groups: dict[str, list[int]] = {}
    for k, body in enumerate(solids.all):
        groups.setdefault(taken.get(k, body.group), []).append(k)
    # Tubes and cables come off their ends; what is all of rubber is squeezed out of its hole.
    loose = {run.name for run in world.laid}
    for group in groups:
        solids_of = [s for part in world.parts if part.group == group for s in part.shape.solids.values()]
        if solids_of and all(solid.role == "rubber" for solid in solids_of):
            loose.add(group)
    return [Unit(name, tuple(own), loose=name in loose, fixed=name in cases) for name, own in groups.items()]


def _held(world: World, solids: Bodies) -> tuple[list[Joint], list[Pad]]:
    """All joints and pads of the world, each pair both ways round."""
    joints, pads = [], []
    for i, j in sorted(permitted(world, solids)):
        permission = allowed(world, solids.all[i], solids.all[j])
        if permission is None or bounds_gap(solids.body_bounds[i], solids.body_bounds[j]) > CONTACT:
            continue
        if permission.zone is not None:
            away = leaves(world, solids, i, j, permission.zone.inward)
            deep = permission.zone.depth
            joints += [Joint((i, j), away, deep), Joint((j, i), -away, deep)]
        elif permission.gives > 0:
            (found,) = measure(solids, [(i, j)], 0.0)
            if found.interferes and found.depth <= permission.gives + CONTACT:
                pads += [Pad((i, j), found.normal), Pad((j, i), -found.normal)]
    return joints, pads


def _tied(world: World, units: Sequence[Unit]) -> set[tuple[int, int]]:
    """(unit, run) for each tube or cable that hangs on a unit: it is taken off before the unit moves."""
    number = {unit.name: i for i, unit in enumerate(units)}
    ends = [
        (world.by_name[end.part].group, run.name)
        for run in world.laid
        for end in (run.wish.start, run.wish.goal)
    ]
    return {(number[group], number[run]) for group, run in ends if group in number and run in number}


def _carries(world: World, units: Sequence[Unit]) -> dict[int, tuple[int, ...]]:
    """For each unit those placed on it."""
    number = {unit.name: i for i, unit in enumerate(units)}
    found: dict[int, list[int]] = {}
    for guest, host in host_groups(world).items():
        if guest in number and host in number and not units[number[host]].fixed:
            found.setdefault(number[host], []).append(number[guest])
    solids = bodies(world)
    for i, unit in enumerate(units):
        if unit.name not in {part.group for part in world.parts}:
            own = [solids.all[k] for k in unit.bodies]
            for part in {body.part_name for body in own}:
                named = tuple(body.solid for body in own if body.part_name == part)
                guests = [g for g in on_solids(world, part, named) if g in number]
                found.setdefault(i, []).extend(number[g] for g in guests)
    return {i: tuple(guests) for i, guests in found.items()}


def _otherwise(blocks: Blocking, looks: int, unit: int, there: frozenset[int]) -> str | frozenset[int]:
    """How a unit leaves in two straight legs, or by any way, in words; else the units in its way."""
    units, movers = blocks.units, blocks.units[unit].bodies
    owner = {k: i for i in sorted(there) if i != unit for k in units[i].bodies}
    moved = Moving(
        blocks.solids, movers, tuple(owner), frozenset(),
        tuple(one for (i, j), one in blocks.joints.items() if i in movers and j in owner),
        tuple(one for (i, j), one in blocks.pads.items() if i in movers and j in owner),
        (), (units[unit].name,),
    )  # fmt: skip
    found = two_legs(moved, 0.0, shortest=False)
    if isinstance(found, frozenset):
        if looks and any_way(moved, 0.0, looks) is not None:
            return "turned on its way, by a way that was searched for"
        return frozenset(owner[k] for k in found)
    (side, way), (other, _) = found.legs
    return f"{mm(way)} {towards(side)}, then {towards(other)}"


def _of_all(
    world: World, solids: Bodies, blocks: Blocking, whole: Apart, order: Sequence[dict[str, Any]]
) -> Finding:
    units = blocks.units
    parts = [unit for unit in units if not unit.fixed and not unit.loose]
    together = [step for step in whole.steps if len(step.units) > 1]
    names: tuple[str, ...] = ()
    left = sorted({i for group in whole.locked for i in group if not units[i].loose})
    if not left:
        said = f"all {len(parts)} parts go in one at a time"
        said += "".join(f"; only together: {_names(units, step.units)}" for step in together)
        verdict = Verdict.FITS
    else:
        group = next(g for g in whole.locked if any(not units[i].loose for i in g))
        names = tuple(units[i].name for i in group if not units[i].loose)
        said = f"{len(left)} of {len(parts)} parts cannot be put in or taken out by straight moves; "
        said += f"{_names(units, group)} stop each other" if len(names) > 1 else f"{names[0]} is shut in"
        said += _by_what(blocks, group)
        # Single slides and two in turn were tried, or a search made: that there is no way is not proved.
        verdict = Verdict.UNKNOWN
    return Finding(
        check="assembly_order",
        parts=names[:NAMED] or ("all parts",),
        verdict=verdict,
        sentence=said,
        measured=float(len(left)),
        required=0.0,
        unit="parts",
        where=_where(solids, units, left[:1]),
        rule="assembly_order",
        rule_line=rule_line(world, "assembly_order"),
        details={
            "at_most": True,
            "together": tuple(tuple(units[i].name for i in step.units) for step in together),
            "order": tuple(f"{' and '.join(step['parts'])}, comes out {step['out']}" for step in order),
            "locked": tuple(tuple(units[i].name for i in group) for group in whole.locked),
        },
    )


def _by_what(blocks: Blocking, group: Sequence[int]) -> str:
    """What stops the first of a group on the side where the least does."""
    first = next(i for i in group if not blocks.units[i].loose)
    side = min(SIDES, key=lambda side: len(blocks.stops[side][first]))
    stops = sorted(blocks.stops[side][first])
    return f" ({towards(side)} {blocks.units[first].name} is stopped by {_names(blocks.units, stops)})"


def _names(units: Sequence[Unit], chosen: Sequence[int]) -> str:
    names = [units[i].name for i in chosen]
    if len(names) > NAMED:
        return f"{', '.join(names[:NAMED])} and {len(names) - NAMED} more"
    return " and ".join([", ".join(names[:-1]), names[-1]]) if len(names) > 1 else "".join(names)


def _where(solids: Bodies, units: Sequence[Unit], chosen: Sequence[int]) -> tuple[Point, ...]:
    return tuple(point(solids.body_bounds[list(units[i].bodies)].mean(axis=(0, 1))) for i in chosen)


def _services(
    world: World, blocks: Blocking, carries: dict[int, tuple[int, ...]], service: Service, name: str
) -> Iterator[Finding]:
    stay = [choose(world, said) for said in service.without]
    solids = bodies(world)
    kept = replace(
        blocks,
        units=tuple(
            replace(unit, fixed=unit.fixed or any(_meant(one, solids, unit) for one in stay))
            for unit in blocks.units
        ),
    )
    wanted = choose(world, service.part)
    named = [i for i, unit in enumerate(kept.units) if _meant(wanted, solids, unit)]
    if not named:
        raise ValueMistake(
            f"`{service.part}` is part of a larger unit, which comes out as one",
            "name the whole part, or list the solid under comes_off",
        )
    for i in named:
        yield _service(world, kept, service, i, least(kept, carries, i), name)


def _meant(chosen: Chosen, solids: Bodies, unit: Unit) -> bool:
    """Does a name mean all of a unit?"""
    return all(chosen.holds(solids.all[k].part_name, solids.all[k].solid) for k in unit.bodies)


def _service(
    world: World, blocks: Blocking, service: Service, unit: int, found: Least | None, name: str
) -> Finding:
    units = blocks.units
    stays = f" while {', '.join(service.without)} stay{'s' if len(service.without) == 1 else ''} in"
    stays = stays if service.without else ""
    first: list[int] = []
    if found is None:
        verdict = Verdict.UNKNOWN if not service.without else Verdict.FAILS
        said = f"{units[unit].name} does not come out by straight moves{stays}"
    else:
        first = [i for step in found.steps[:-1] for i in step.units]
        most = None if service.at_most is None else int(service.at_most)
        verdict = Verdict.FAILS if most is not None and len(first) > most else Verdict.FITS
        said = f"{units[unit].name} comes out {_out(found.steps[-1])}"
        said += f" after {_names(units, first)}" if first else " at once"
        said += stays
        if most is not None and first:
            said += f": {len(first)} first, {most} may have to"
            said += "" if found.proved else " (fewer may do)"
    return Finding(
        check="assembly_order",
        parts=(units[unit].name,),
        verdict=verdict,
        sentence=said,
        measured=None if found is None else float(len(first)),
        required=None if service.at_most is None else float(service.at_most),
        unit="parts",
        where=_where(bodies(world), units, [unit]) if verdict != Verdict.FITS else (),
        rule=name,
        rule_line=rule_line(world, name),
        details={
            "at_most": True,
            "first": tuple(units[i].name for i in first),
            "proved": found is not None and found.proved,
        },
    )
