"""Edges: is each hole and cut-out far enough from edges, bends and neighbours; does a bracket overhang?

Distances in the sheets are asked here; what lies over a panel's edge, which angles join two sheets and how
folded sheets are cut out flat, in `checks.panels`.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from fitcheck.checks.edges_asked import EdgesRule, FoldedRule
from fitcheck.checks.names import Chosen, choose, choose_holes
from fitcheck.checks.verdicts import ROUNDING, compare, mm, point, rule_line
from fitcheck.finding import Answer, Finding, Verdict
from fitcheck.sheets.around import Sheet, sheets
from fitcheck.sheets.cutouts import Cut
from fitcheck.sheets.nearest import Factors, Nearness, nearness, rim
from fitcheck.world.world import Part, World

QUESTION = (
    "is each hole and cut-out far enough from edges, bends and neighbours, and does a bracket overhang?"
)

ANY_INDEX = re.compile(r"\[\d+\]")
# Where the factors of the rule are from; M3 and M4 in sheet lie outside the scope of the structural codes.
SOURCES = {
    "edge": "EN 1993-1-8 table 3.3, 1.2 d0 (published); borrowed for screws below M5",
    "pitch": "EN 1993-1-8 table 3.3, 2.2 d0 (published); borrowed for screws below M5",
    "rim": "shop rule, 2 t (common practice, no source)",
    "web": "shop rule, 2 t (common practice, no source)",
    "bend": "shop rules, 2 t + r from the bend's tangent, a cut-out 3 t + r (common practice, no source)",
}
SAID = {
    "edge": "from its middle to {to}", "pitch": "between the middles of it and {to}", "rim": "of rim to {to}",
    "web": "of web to {to}", "bend": "to the tangent of its bend",
}  # fmt: skip


def check_edges(world: World) -> Answer:
    """Measure every hole and cut-out of every sheet against its edges, bends and neighbours.

    Exact for holes, slots and rectangles as the model states them; other edges as drawn.

    Returns:
        Without the rule nothing. Else a finding for each kind of distance that is missed in a sheet, one for
        each part whose sheets keep all, and those of rims, overhangs, angles and folds. Facts: blanks of
        folded parts.

    Raises:
        ValueMistake: the rule names something that the scene does not have.
    """
    if "edges" not in world.rules:
        return Answer()
    # Loaded only where it is asked.
    from fitcheck.checks.panels import angles, blanks, overhangs

    rule = EdgesRule.model_validate(world.rules["edges"])
    only = [choose(world, name) for name in rule.of]
    folded = [(choose(world, one.of), one) for one in rule.folded]
    findings: list[Finding] = []
    for part in world.parts:
        if not only or any(part.name in chosen.solids for chosen in only):
            findings += _part(world, rule, part, folded)
    findings = [*_merged(findings), *_rims(world, rule), *overhangs(world, rule), *angles(world, rule)]
    more, flat = blanks(world, folded)
    return Answer((*findings, *more), {"blanks": flat} if flat else {})


def _part(
    world: World, rule: EdgesRule, part: Part, folded: list[tuple[Chosen, FoldedRule]]
) -> Iterator[Finding]:
    factors = Factors(rule.edge, rule.pitch, rule.web, rule.bend, rule.bend_cutout)
    radius = next((one.radius for chosen, one in folded if part.name in chosen.solids), None)
    own = sheets(world, part)
    kept: list[tuple[Sheet, Nearness]] = []
    missed: dict[tuple[str, str], list[tuple[Sheet, Nearness]]] = defaultdict(list)
    for sheet in own:
        # An extruded section has roots, no bends: only what is folded or of sheet is asked about them.
        bent = radius is not None or part.shape.solids[sheet.solid].role == "sheet"
        for near in nearness(sheet, factors, (radius or 0.0) if bent else None):
            spare = near.measured - near.wanted
            if spare < rule.margin - ROUNDING or spare < -ROUNDING:
                missed[(sheet.solid, near.kind)].append((sheet, near))
            else:
                kept.append((sheet, near))
    for (solid, kind), found in missed.items():
        yield _missed(world, rule, part, solid, kind, found)
    if kept and not missed:
        yield _kept(world, part, own, kept)


def _missed(
    world: World, rule: EdgesRule, part: Part, solid: str, kind: str, found: list[tuple[Sheet, Nearness]]
) -> Finding:
    _, near = min(found, key=lambda one: one[1].measured - one[1].wanted)
    verdict = compare(near.measured, near.wanted, rule.margin)
    to = f"{part.name}.{near.other}" if near.other else "an edge"
    said = f"{part.name}.{near.cut.name} in {part.name}.{solid}: "
    if near.measured - (near.cut.radius if near.cut.is_hole and kind == "edge" else 0) < 0 and kind != "bend":
        said += f"it runs into {to}" if kind != "pitch" else f"it lies too near {to}"
        said += f", {mm(near.measured)} {SAID[kind].format(to=to)}" if kind in ("edge", "pitch") else ""
    else:
        said += f"{mm(near.measured, near.wanted)} {SAID[kind].format(to=to)}"
    said += f", {mm(near.wanted, near.measured)} are wanted"
    said += ": within the margin" if verdict == Verdict.TIGHT else ""
    if len(found) > 1:
        said += f"; so it is at {len(found)} places of this sheet"
    return Finding(
        "edges", (f"{part.name}.{solid}",), verdict, said, near.measured, near.wanted,
        where=_where(part, near),
        rule=f"{kind}:edges", rule_line=rule_line(world, "edges"),
        details={"source": SOURCES[kind], "places": tuple(_place(one) for _, one in found)},
    )  # fmt: skip


def _kept(world: World, part: Part, own: tuple[Sheet, ...], kept: list[tuple[Sheet, Nearness]]) -> Finding:
    cuts = [cut for sheet in own for cut in sheet.cuts]
    holes = sum(cut.is_hole for cut in cuts)
    _, near = min(kept, key=lambda one: one[1].measured - one[1].wanted)
    to = f"{part.name}.{near.other}" if near.other else "an edge"
    count = f"{_count(holes, 'hole')} and {_count(len(cuts) - holes, 'cut-out')}"
    said = (
        f"{part.name}: {count} keep their distances; least to spare has {near.cut.name}, {mm(near.measured)} "
    )
    said += f"{SAID[near.kind].format(to=to)}, {mm(near.wanted)} are wanted"
    return Finding(
        "edges", (part.name,), Verdict.FITS, said, near.measured, near.wanted, where=_where(part, near),
        rule="edges", rule_line=rule_line(world, "edges"),
        details={"source": SOURCES[near.kind], "sheets": len(own)},
    )  # fmt: skip


def _place(near: Nearness) -> str:
    to = f" to {near.other}" if near.other else ""
    return f"{near.cut.name}{to}: {near.measured:.2f} of {near.wanted:.2f}"


def _where(part: Part, near: Nearness) -> tuple[tuple[float, float, float], ...]:
    a, b = part.pose.point(near.where)
    return point(a), point(b)


def _merged(findings: list[Finding]) -> list[Finding]:
    """Findings of like parts that say the same but for their indices, as one."""
    alike: dict[tuple[Any, ...], list[Finding]] = defaultdict(list)
    for finding in findings:
        alike[(finding.rule, finding.verdict, ANY_INDEX.sub("", finding.sentence))].append(finding)
    merged = []
    for group in alike.values():
        said = group[0].sentence + (f"; so it is with {len(group)} like parts" if len(group) > 1 else "")
        merged.append(replace(group[0], sentence=said))
    return merged


def _count(many: int, what: str) -> str:
    return f"{many} {what}{'' if many == 1 else 's'}"


def _rims(world: World, rule: EdgesRule) -> Iterator[Finding]:
    """Rims that are demanded by name, whatever the thickness says."""
    for at, one in enumerate(rule.rims):
        chosen = choose_holes(world, one.of)
        name = f"edges.rims[{at + 1}]"
        found = [
            (near, part)
            for part in world.parts
            if part.name in chosen
            for sheet in sheets(world, part)
            for cut in sheet.cuts
            if _meant(cut, chosen[part.name])
            for near in [rim(sheet, cut)]
        ]
        if not found:
            said = f"rim around {one.of}: no cut-out of that name goes through a sheet"
            yield Finding(
                "edges", (one.of,), Verdict.UNKNOWN, said, rule=name, rule_line=rule_line(world, name)
            )
            continue
        near, part = min(found, key=lambda one: one[0].measured)
        to = f"{part.name}.{near.other}" if near.other else "an edge"
        said = f"rim around {part.name}.{near.cut.name}: {mm(near.measured, one.at_least)} to {to}"
        yield Finding(
            "edges", (one.of,), compare(near.measured, one.at_least, rule.margin),
            f"{said}, {mm(one.at_least, near.measured)} are demanded", near.measured, one.at_least,
            where=_where(part, near), rule=name, rule_line=rule_line(world, name),
        )  # fmt: skip


def _meant(cut: Cut, names: tuple[str, ...] | None) -> bool:
    """Is this cut-out meant: by its name, or as one of a whole part's that are no holes for screws?"""
    return not cut.is_hole if names is None else cut.name in names
