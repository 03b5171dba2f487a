"""What the check `edges` asks of panels: overhang, angles that join two sheets, blanks of folded ones."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from fitcheck.checks.edges_asked import AngleRule, EdgesRule, FoldedRule
from fitcheck.checks.names import Chosen, choose
from fitcheck.checks.verdicts import ROUNDING, mm, point, rule_line
from fitcheck.finding import Finding, Verdict
from fitcheck.parts.solids import Solid
from fitcheck.sheets.around import sheets
from fitcheck.sheets.bending import (
    FLANGE,
    LEAST_RADIUS,
    Profile,
    bend_allowance,
    bend_deduction,
    neutral_fibre,
)
from fitcheck.sheets.panels import Panel, folded, footprint, overhang, panel, width_on
from fitcheck.world.engine import bodies, measure
from fitcheck.world.world import Part, World

# Solids of these roles are brackets and mounts; what else rests on a sheet may well reach over its edge.
BRACKETS = ("sheet", "metal")


def overhangs(world: World, rule: EdgesRule) -> Iterator[Finding]:
    """How far brackets and mounts stick out over the edge of what they lie on: named ones, and found ones."""
    asked: set[tuple[str, str]] = set()
    for at, one in enumerate(rule.overhangs):
        name = f"edges.overhangs[{at + 1}]"
        for host, on in _panels(world, choose(world, one.on)):
            for part, solids in _parts(world, choose(world, one.part)):
                asked.add((part.name, host))
                yield _overhang(world, name, part, solids, on, one.at_most)
    for part, solids, on in _resting(world) if rule.found else ():
        full = f"{on.part.name}.{on.solid}"
        if (part.name, full) not in asked:
            asked.add((part.name, full))
            yield _overhang(world, "edges", part, solids, on, 0.0)


def _resting(world: World) -> Iterator[tuple[Part, list[Solid], Panel]]:
    """Brackets and mounts, their solids that rest, and the panels that they rest on."""
    for contact in world.contacts:
        part, host = world.by_name[contact.a], world.by_name[contact.b]
        solids = [part.shape.solids[name] for name in contact.solids_a if name in part.shape.solids]
        if contact.kind != "rest" or not solids or any(solid.role not in BRACKETS for solid in solids):
            continue
        for name in contact.solids_b:
            below = host.shape.solids.get(name)
            on = _panel(world, host, below) if below is not None and below.role == "sheet" else None
            if on is not None and len(footprint(on, part, solids)):
                yield part, solids, on


def _panels(world: World, chosen: Chosen) -> Iterator[tuple[str, Panel]]:
    for part, solids in _parts(world, chosen):
        for solid in solids:
            found = _panel(world, part, solid)
            if found is not None:
                yield f"{part.name}.{solid.name}", found


def _panel(world: World, part: Part, solid: Solid) -> Panel | None:
    return panel(part, solid, [sheet for sheet in sheets(world, part) if sheet.solid == solid.name])


def _parts(world: World, chosen: Chosen) -> Iterator[tuple[Part, list[Solid]]]:
    for name, solids in chosen.solids.items():
        part = world.by_name[name]
        if solids:
            yield part, [part.shape.solids[solid] for solid in solids]


def _overhang(world: World, name: str, part: Part, solids: list[Solid], on: Panel, most: float) -> Finding:
    host = f"{on.part.name}.{on.solid}"
    lies = footprint(on, part, solids)
    if not len(lies):
        said = f"{part.name} does not lie on {host}: whether it overhangs is not decided"
        return _finding(world, name, (part.name, host), Verdict.UNKNOWN, said, None, most)
    out, where = overhang(on, lies)
    verdict = Verdict.FAILS if out > most + ROUNDING else Verdict.FITS
    said = (
        f"{part.name} overhangs {host} by {mm(out, most)}"
        if out
        else f"{part.name} lies on {host} with all of its face"
    )
    if out and verdict == Verdict.FAILS:
        said += f", {mm(most, out)} are allowed" if most else ""
    places = tuple(point(place) for place in where)
    return _finding(
        world, name, (part.name, host), verdict, said, out, most, places, f"overhang:{name}", True
    )


def angles(world: World, rule: EdgesRule) -> Iterator[Finding]:
    """Does each angle lie on both the sheets it joins, wide enough, and within their edges?"""
    for at, one in enumerate(rule.angles):
        name = f"edges.angles[{at + 1}]"
        for part, solids in _parts(world, choose(world, one.angle)):
            for sheet in (one.between, one.and_):
                yield _leg(world, name, one, part, solids, sheet)


def _leg(world: World, name: str, rule: AngleRule, part: Part, solids: list[Solid], sheet: str) -> Finding:
    held = bodies(world)
    chosen = choose(world, sheet)
    mine = [k for k, body in enumerate(held.all) if body.part_name == part.name]
    theirs = [k for k, body in enumerate(held.all) if chosen.holds(body.part_name, body.solid)]
    found = measure(held, [(i, j) for i in mine for j in theirs])
    near = min(found, key=lambda one: one.distance)
    said = f"{part.name} on {sheet}: "
    parts = (part.name, sheet)
    if near.distance > rule.lies_within + ROUNDING:
        said += f"it ends {mm(near.distance, rule.lies_within)} short of it"
        where = point(near.on_a), point(near.on_b)
        return _finding(
            world, name, parts, Verdict.FAILS, said, near.distance, rule.lies_within, where, at_most=True
        )
    lying = [(on, lies) for _, on in _panels(world, chosen) if len(lies := footprint(on, part, solids))]
    if not lying:
        said += "it touches, but no leg lies flat on it"
        return _finding(world, name, parts, Verdict.FAILS, said, 0.0, rule.covers, (point(near.on_a),))
    on, lies = max(lying, key=lambda pair: width_on(*pair))
    width = width_on(on, lies)
    out, where_out = overhang(on, lies)
    if out > ROUNDING:
        said += f"it overhangs its edge by {mm(out)}"
        return _finding(
            world, name, parts, Verdict.FAILS, said, out, 0.0, tuple(map(point, where_out)), at_most=True
        )
    verdict = Verdict.FAILS if width < rule.covers - ROUNDING else Verdict.FITS
    said += f"its leg lies on {mm(width, rule.covers)} of it"
    said += f", {mm(rule.covers, width)} are demanded" if rule.covers else ""
    return _finding(world, name, parts, verdict, said, width, rule.covers, (point(near.on_a),))


def blanks(
    world: World, asked: list[tuple[Chosen, FoldedRule]]
) -> tuple[list[Finding], tuple[dict[str, Any], ...]]:  # fmt: skip
    """How folded parts are cut out flat, and whether they can be folded; like parts once."""
    findings: list[Finding] = []
    flat: list[dict[str, Any]] = []
    for at, (chosen, one) in enumerate(asked):
        name = f"edges.folded[{at + 1}]"
        told: set[tuple[Any, ...]] = set()
        for part, solids in _parts(world, chosen):
            made = [(solid, found) for solid in solids if (found := folded(solid)) is not None]
            if not made:
                said = f"{part.name} is no sheet of one thickness with bends: no blank was worked out"
                findings.append(_finding(world, name, (part.name,), Verdict.UNKNOWN, said, None, None))
            for solid, (shape, width) in made:
                row = _blank(f"{part.name}.{solid.name}", shape, width, one)
                key = (
                    *(round(value, 6) for value in (row["length"], row["width"])),
                    round(min(shape.legs), 6),
                )
                if key not in told:
                    told.add(key)
                    flat.append(row)
                    findings.append(_folds(world, name, part, shape, row, one))
    return findings, tuple(flat)


def _blank(name: str, shape: Profile, width: float, rule: FoldedRule) -> dict[str, Any]:
    k = neutral_fibre(rule.radius, shape.thickness) if rule.k is None else rule.k
    return {
        "part": name, "length": shape.blank(rule.radius, k), "width": width, "thickness": shape.thickness,
        "radius": rule.radius, "k": k, "bends": shape.bends,
        "allowances": tuple(bend_allowance(one, rule.radius, shape.thickness, k) for one in shape.bends),
        "deductions": tuple(bend_deduction(one, rule.radius, shape.thickness, k) for one in shape.bends),
        "source": "DIN 6935 (steel; for aluminium an approximation)" if rule.k is None else "K as given",
    }  # fmt: skip


def _folds(
    world: World, name: str, part: Part, shape: Profile, row: dict[str, Any], rule: FoldedRule
) -> Finding:
    """Is each end flange long enough for the brake, and the radius large enough for the metal?"""
    shortest = min(shape.legs)
    due = FLANGE * shape.thickness + rule.radius
    least = LEAST_RADIUS[rule.material] * shape.thickness if rule.material else 0.0
    start = f"{part.name} folded with {mm(rule.radius)} inside"
    if rule.radius < least - ROUNDING:
        said = f"{start}: {rule.material} of {mm(shape.thickness)} wants {mm(least, rule.radius)} (shop rule)"
        return _finding(world, name, (part.name,), Verdict.FAILS, said, rule.radius, least)
    if shortest < due - ROUNDING:
        said = f"{start}: a flange of {mm(shortest, due)} is too short for the brake, "
        said += f"{mm(due, shortest)} are wanted"
        return _finding(world, name, (part.name,), Verdict.FAILS, said, shortest, due)
    many = len(shape.bends)
    said = (
        f"{start}: blank {row['length']:.1f} × {row['width']:.1f} mm for {many} bend{'s' if many > 1 else ''}"
    )
    said += f" (K {row['k']:.2f}), flanges of {mm(shortest)} and more, {mm(due)} are wanted"
    return _finding(world, name, (part.name,), Verdict.FITS, said, shortest, due)


def _finding(
    world: World, name: str, parts: tuple[str, ...], verdict: Verdict, said: str, measured: float | None,
    required: float | None, where: tuple[tuple[float, float, float], ...] = (), rule: str = "",
    at_most: bool = False,
) -> Finding:  # fmt: skip
    return Finding(
        "edges", parts, verdict, said, measured, required, where=where, rule=rule or name,
        rule_line=rule_line(world, name), details={"at_most": True} if at_most else {},
    )  # fmt: skip
