"""Support: is every part carried to the case; when does it tip, what do anchors bear?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np
from pydantic import Field

from fitcheck.checks.hosts import carried, enclosing, group_of
from fitcheck.checks.names import choose
from fitcheck.checks.verdicts import mm, point, rule_line, side_of
from fitcheck.finding import Answer, Finding, Point, Verdict
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.scene.rules import Angle, Length, Number, PartRef, PlaceRef, Rule
from fitcheck.statics.carrying import NEAR, Hold, carried_by, groups, holds
from fitcheck.statics.weights import GRAVITY, Load, centre_of, on_anchors, tips_at, together
from fitcheck.world.bodies import Bodies, bodies, bounds_gap
from fitcheck.world.engine import measure
from fitcheck.world.frames import SIDES
from fitcheck.world.world import World

QUESTION = "is every part carried by a chain of rests, joins and fastenings to the case?"
# What carries by itself; a tube or cable does not.
FIRM = ("rest", "join", "touches")
# Two holes are in line when their axes are no farther apart, mm, and their mouths no farther along.
IN_LINE, ALONG = 1.0, 40.0


class Mass(Rule):
    """What parts weigh."""

    of: PartRef = Field(description="A part, an assembly as a whole, or each of several by drive*.")
    kg: Number = Field(description="Kilograms; with coolant in it where it holds some.")


class SupportRule(Rule):
    """What carries what, and what is asked of the weight."""

    ground: list[PartRef] = Field(
        default_factory=list, description="What stands by itself, besides cases: a desk, a wall."
    )
    held: list[PartRef] = Field(
        default_factory=list, description="Parts that are held by what the scene does not show: glue, clips."
    )
    overhang: Length | None = Field(
        None, description="How far a part may reach out level beyond all that holds it."
    )
    masses: list[Mass] = Field(default_factory=list, description="What parts weigh, as far as known.")
    weighed: list[PartRef] = Field(
        default_factory=list, description="Trays and the like whose weight, with all on it, is wanted."
    )
    stands_on: list[PartRef] = Field(default_factory=list, description="Feet; then tipping is asked.")
    tips_from: Angle | None = Field(None, description="The least tilt at which it may tip over.")
    anchors: list[PlaceRef] = Field(default_factory=list, description="Holes by which it hangs on a wall.")
    anchor_pull: Number | None = Field(None, description="What one anchor may be pulled with, newtons.")


def check_support(world: World) -> Answer:
    """Follow rests, joins and meant touches from the case, as far as they touch; then weigh.

    Returns:
        One finding for each group of parts that hangs in the air, for each part held by tubes alone, by one
        screw or by none that is known, and for each demand of the rule; one that fits for all the others.
        Facts: masses, centre of mass, how far parts reach out.
    """
    if "support" not in world.rules:
        return Answer()
    rule = SupportRule.model_validate(world.rules["support"])
    held = holds(world)
    findings = list(_hanging(world, rule, held))
    findings += _screws(world, rule, held)
    facts: dict[str, Any] = {}
    reach = _overhangs(world, held)
    if reach:
        facts["reaches_out"] = dict(sorted(reach.items(), key=lambda item: -item[1])[:10])
    findings += _too_far_out(world, rule, reach)
    weights, unknown = _loads(world, rule)
    not_checked: tuple[str, ...] = ()
    if rule.masses:
        facts |= _weighed(world, rule, weights)
        findings += _standing(world, rule, weights)
        findings += _hung(world, rule, weights)
        if unknown:
            not_checked = (f"support: what {_listed(unknown)} weigh{'s' * (len(unknown) == 1)} is not known",)
    elif rule.stands_on or rule.anchors:
        not_checked = ("support: nothing is said of masses, so tipping and anchors are not asked",)
    return Answer(tuple(findings), facts, not_checked)


def _listed(names: list[str]) -> str:
    return ", ".join(names[:6]) + (f" and {len(names) - 6} more" if len(names) > 6 else "")


def _parts_of(world: World, said: Iterable[str]) -> set[str]:
    return {part for name in said for part in choose(world, name).solids}


def _hanging(world: World, rule: SupportRule, held: tuple[Hold, ...]) -> Iterator[Finding]:
    """What no chain of contacts joins to the case; what only tubes or cables hold."""
    runs = {run.name for run in world.laid}
    solid = [part.name for part in world.parts if part.shape.solids and part.name not in runs]
    ground = _parts_of(world, rule.ground) | _parts_of(world, rule.held)
    cases = enclosing(world)
    ground |= {part.name for part in world.parts if part.group in cases}
    if not ground:
        raise ValueMistake("nothing stands by itself: the scene has no case", "name it under ground")
    firm = carried_by(held, ground, FIRM)
    loose = [name for name in solid if name not in firm]
    firm_held = [hold for hold in held if hold.kind in FIRM and hold.carries]
    for names in groups(loose, firm_held):
        yield _hanging_group(world, rule, held, firm, runs, names)
    if not loose:
        said = f"all {len(solid)} parts are carried by {_listed(sorted(cases)) or 'the ground'}"
        yield _finding(world, ("all parts",), Verdict.FITS, said, 0.0, 0.0, "parts")


def _hanging_group(
    world: World, rule: SupportRule, held: tuple[Hold, ...], firm: set[str], runs: set[str], names: list[str]
) -> Finding:
    lead = names[0]
    more = f" with {len(names) - 1} part{'s' if len(names) > 2 else ''} on it" if len(names) > 1 else ""
    inside = set(names)
    short = [h for h in held if not h.carries and (h.a in inside) != (h.b in inside) and {h.a, h.b} & firm]
    tied = sorted({h.b if h.a in inside else h.a for h in held if h.kind == "run" and {h.a, h.b} & inside})
    tied = [name for name in tied if name in runs]
    if short:
        nearest = min(short, key=lambda hold: hold.gap)
        other = nearest.b if nearest.a in inside else nearest.a
        said = f"{lead}{more} hangs in the air: {other} ends {mm(nearest.gap)} short of it"
        where = (point((nearest.low + nearest.high) / 2),)
        return _finding(world, (lead, other), Verdict.FAILS, said, nearest.gap, 0.0, "mm", where)
    if tied:
        said = f"{lead}{more} is held by tubes or cables alone: {_listed(tied)}"
        return _finding(world, (lead,), Verdict.FAILS, said, where=_middle(world, lead))
    beside = _nearest(world, inside)
    said = f"{lead}{more} hangs in the air: nothing that the scene means carries it"
    if beside is None:
        return _finding(world, (lead,), Verdict.FAILS, said, where=_middle(world, lead))
    other, gap, side, at = beside
    said += f"; nearest is {other}, {mm(gap)} away"
    said += "" if not side else f" {side_of(side)} it"
    return _finding(world, (lead, other), Verdict.FAILS, said, gap, 0.0, "mm", (point(at),))


def _nearest(world: World, inside: set[str]) -> tuple[str, float, str, np.ndarray] | None:
    """The nearest solid of another part: its name, how far, on which side, where."""
    solids = bodies(world)
    ours = [k for k, body in enumerate(solids.all) if body.part_name in inside]
    others = [k for k, body in enumerate(solids.all) if body.part_name not in inside]
    gaps = bounds_gap(solids.body_bounds[ours][:, None], solids.body_bounds[others][None])
    pairs = [(ours[a], others[b]) for a, b in np.argwhere(gaps <= min(float(gaps.min()) + NEAR, NEAR))]
    if not pairs:
        return None
    found = measure(solids, pairs)
    k = min(range(len(pairs)), key=lambda k: found[k].distance)
    normal = found[k].normal
    side = max(SIDES, key=lambda side: float(normal @ SIDES[side])) if np.isfinite(normal).all() else ""
    return solids.all[pairs[k][1]].name, found[k].distance, side, found[k].on_b


def _middle(world: World, part: str) -> tuple[Point, ...]:
    return (point(world.by_name[part].bounds.mean(axis=0)),)


def _finding(
    world: World,
    parts: tuple[str, ...],
    verdict: Verdict,
    said: str,
    measured: float | None = None,
    required: float | None = None,
    unit: str = "mm",
    where: tuple[Point, ...] = (),
    rule: str = "support",
) -> Finding:
    return Finding(
        check="support", parts=parts, verdict=verdict, sentence=said, measured=measured, required=required,
        unit=unit, where=where, rule=rule, rule_line=rule_line(world, rule),
        # What is asked of screws and of tipping is a least, all else a most.
        details={} if unit in ("screws", "degrees") else {"at_most": True},
    )  # fmt: skip


def _screws(world: World, rule: SupportRule, held: tuple[Hold, ...]) -> Iterator[Finding]:
    """Parts that lean on others sideways, or hang below them, by one screw or by none that is known."""
    excused = _parts_of(world, rule.held) | _parts_of(world, rule.stands_on)
    cases = enclosing(world)
    of_part: dict[str, list[Hold]] = {}
    for hold in held:
        if hold.carries:
            of_part.setdefault(hold.a, []).append(hold)
    for name, own in of_part.items():
        part = world.by_name[name]
        sideways = [h for h in own if h.kind == "rest" and h.side is not None and h.side[2] >= 0]
        if name in excused or part.group in cases or len(sideways) < len(own):
            continue
        # Others that rest on it, or that it is joined to, may hold it too.
        if any(h.carries and h.b == name and h.kind != "run" for h in held if h.b == name):
            continue
        count = sum(_in_line(world, h.a, h.b) for h in sideways)
        if count > 1:
            continue
        on = " and ".join(dict.fromkeys(h.b for h in sideways))
        how = "by one screw" if count == 1 else "and no holes of theirs are in line"
        said = f"{name} is held only sideways, on {on}, {how}"
        yield _finding(
            world,
            (name, sideways[0].b),
            Verdict.TIGHT,
            said,
            float(count),
            2.0,
            "screws",
            _middle(world, name),
        )


def _in_line(world: World, a: str, b: str) -> int:
    """How many holes of one part lie on the axis of one of the other."""
    mine, theirs = (
        [(part.pose.point(h.at), part.pose.direction(h.axis)) for h in part.shape.holes.values()]
        for part in (world.by_name[a], world.by_name[b])
    )
    count = 0
    for at, axis in mine:
        for other, along in theirs:
            off = other - at
            if abs(float(axis @ along)) < 0.999 or abs(float(off @ axis)) > ALONG:
                continue
            if float(np.linalg.norm(off - (off @ axis) * axis)) <= IN_LINE:
                count += 1
                break
    return count


def _overhangs(world: World, held: tuple[Hold, ...]) -> dict[str, float]:
    """For each part that others hold: how far it reaches out level beyond all that holds it, mm."""
    cases = enclosing(world)
    spans: dict[str, list[Hold]] = {}
    for hold in held:
        if hold.carries and hold.kind != "run":
            for name, other in ((hold.a, hold.b), (hold.b, hold.a)):
                # What is placed on a part does not hold it.
                if world.by_name[other].host != name:
                    spans.setdefault(name, []).append(hold)
    found = {}
    for name, own in spans.items():
        part = world.by_name[name]
        if part.group in cases:
            continue
        low = np.min([h.low for h in own], axis=0)
        high = np.max([h.high for h in own], axis=0)
        out = max((low - part.bounds[0])[:2].max(), (part.bounds[1] - high)[:2].max())
        found[name] = round(float(out), 3)
    return found


def _too_far_out(world: World, rule: SupportRule, reach: dict[str, float]) -> Iterator[Finding]:
    if rule.overhang is None:
        return
    excused = _parts_of(world, rule.held)
    worst = max((name for name in reach if name not in excused), key=lambda n: reach[n], default="")
    for name, out in reach.items():
        if out > rule.overhang + 1e-6 and name not in excused:
            said = f"{name} reaches {mm(out, against=rule.overhang)} out beyond all that holds it"
            said += f", {mm(rule.overhang)} may be: hold its far end"
            yield _finding(
                world, (name,), Verdict.FAILS, said, out, rule.overhang, where=_middle(world, name),
                rule="support.overhang",
            )  # fmt: skip
    if worst and reach[worst] <= rule.overhang + 1e-6:
        said = f"no part reaches farther out beyond what holds it than {worst}, {mm(reach[worst])}"
        yield _finding(
            world, (worst,), Verdict.FITS, said, reach[worst], rule.overhang, rule="support.overhang"
        )


def _loads(world: World, rule: SupportRule) -> tuple[dict[str, Load], list[str]]:
    """Masses with their centres, by what was named; the scene's parts of which nothing is known."""
    solids = bodies(world)
    loads: dict[str, Load] = {}
    known: set[str] = set()
    for mass in rule.masses:
        chosen = choose(world, mass.of)
        sets: dict[str, list[int]] = {}
        for k, body in enumerate(solids.all):
            if chosen.holds(body.part_name, body.solid):
                sets.setdefault(body.group, []).append(k)
        for group, own in sets.items():
            loads[group if group not in loads else f"{group} ({mass.of})"] = Load(
                mass.kg, centre_of(solids, own)
            )
            known.add(group)
    runs = {run.name for run in world.laid}
    unknown = dict.fromkeys(body.group for body in solids.all if body.group not in known | runs)
    return loads, list(unknown)


def _weighed(world: World, rule: SupportRule, loads: dict[str, Load]) -> dict[str, Any]:
    whole = together(list(loads.values()))
    facts: dict[str, Any] = {
        "mass": round(whole.mass, 3),
        "centre_of_mass": tuple(round(float(value), 1) for value in whole.centre),
    }
    along = carried(world)
    trays = {}
    for said in rule.weighed:
        for group in dict.fromkeys(group_of(world, part) for part in choose(world, said).solids):
            own = [load for name, load in loads.items() if name.split(" ")[0] in along.get(group, (group,))]
            if own:
                tray = together(own)
                centre = tuple(round(float(value), 1) for value in tray.centre)
                trays[group] = {"mass": round(tray.mass, 3), "centre_of_mass": centre}
    return facts | ({"trays": trays} if trays else {})


def _standing(world: World, rule: SupportRule, loads: dict[str, Load]) -> Iterator[Finding]:
    if not rule.stands_on:
        return
    whole = together(list(loads.values()))
    feet = _feet(world, bodies(world), rule.stands_on)
    angle, edge = tips_at(whole, feet)
    demand = rule.tips_from
    verdict = Verdict.FITS if demand is None or angle >= demand else Verdict.FAILS
    said = f"{whole.mass:.1f} kg tip over at a tilt of {angle:.1f} degrees"
    said += f", {demand:g} are demanded" if demand is not None else ""
    floor = float(feet[:, 2].min())
    yield _finding(
        world, ("all parts",), verdict, said, angle, demand, "degrees",
        (point(np.array([*edge.mean(axis=0), floor])),), "support.stands_on",
    )  # fmt: skip


def _feet(world: World, solids: Bodies, said: list[str]) -> np.ndarray:
    """Points (n, 3) on the floor that feet stand on, four each."""
    found = []
    for name in said:
        chosen = choose(world, name)
        for k, body in enumerate(solids.all):
            if chosen.holds(body.part_name, body.solid):
                low, high = solids.body_bounds[k]
                middle = (low + high) / 2
                # The middles of the four sides: inside a round foot, and of a square one on its edge.
                found += [
                    [low[0], middle[1], low[2]], [high[0], middle[1], low[2]],
                    [middle[0], low[1], low[2]], [middle[0], high[1], low[2]],
                ]  # fmt: skip
    return np.array(found)


def _hung(world: World, rule: SupportRule, loads: dict[str, Load]) -> Iterator[Finding]:
    if not rule.anchors:
        return
    whole = together(list(loads.values()))
    places, out = _anchor_places(world, rule.anchors)
    foot = min(float(world.by_name[name.rpartition(".")[0]].bounds[0, 2]) for name in places)
    pulls = on_anchors(whole, places, out, foot)
    worst = max(pulls, key=lambda name: pulls[name])
    share = whole.mass * GRAVITY / len(places)
    demand = rule.anchor_pull
    verdict = Verdict.FITS if demand is None or pulls[worst] <= demand else Verdict.FAILS
    said = f"{whole.mass:.1f} kg on {len(places)} anchors: each bears {share:.0f} N down the wall, "
    said += f"{worst} is pulled with {pulls[worst]:.0f} N"
    said += f", {demand:g} N may be" if demand is not None else ""
    said += "; whether the wall bears it is for a builder to say"
    yield _finding(
        world, (worst,), verdict, said, pulls[worst], demand, "N", (point(places[worst]),), "support.anchors"
    )


def _anchor_places(world: World, said: list[str]) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """World places of holes by full name, and the level direction out of the wall."""
    places: dict[str, np.ndarray] = {}
    axes = []
    for name in said:
        owner, _, feature = name.rpartition(".")
        part = world.by_name.get(owner)
        holes = {} if part is None else part.shape.holes
        named = [hole for hole in holes if hole == feature or hole.partition("[")[0] == feature]
        if part is None or not named:
            known = ", ".join(sorted({h.partition("[")[0] for h in holes})) or "none"
            raise ValueMistake(f"{name} is no hole (holes of {owner or 'it'}: {known})")
        for hole in named:
            places[f"{owner}.{hole}"] = part.pose.point(holes[hole].at)
            axes.append(part.pose.direction(holes[hole].axis))
    level = np.array([*axes[0][:2], 0.0])
    if np.linalg.norm(level) < 0.5:
        raise ValueMistake(f"{said[0]} is no hole in a wall: its axis is not level")
    level /= np.linalg.norm(level)
    middle = world.by_name[said[0].rpartition(".")[0]].bounds.mean(axis=0)
    # Out of the wall is where the machine is, whichever way the hole's axis points.
    return places, level if float((middle - next(iter(places.values()))) @ level) > 0 else -level
