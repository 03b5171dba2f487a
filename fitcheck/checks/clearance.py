"""Clearance: what is the least distance of every pair nearer than its demand?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any
from weakref import WeakKeyDictionary

import numpy as np
from pydantic import Field

from fitcheck.checks.clashes import clashes
from fitcheck.checks.names import Chosen, choose
from fitcheck.checks.verdicts import compare, mm, point, rule_line
from fitcheck.finding import SEVERITY, Answer, Finding, Verdict
from fitcheck.scene.rules import Length, PartRef, Rule
from fitcheck.world.bodies import Bodies, bodies, bounds_gap, near
from fitcheck.world.contacts import allowed
from fitcheck.world.engine import Measured, measure
from fitcheck.world.world import World

QUESTION = "what is the least distance of every pair nearer than its demand?"
# Nearest pairs are listed as facts up to this distance, mm, and up to this many.
LISTED_WITHIN, LISTED = 5.0, 12


class ClearancePair(Rule):
    """A clearance between two named parts; it replaces the default for them."""

    between: PartRef = Field(description="A part, an assembly, a solid of a part, or several by drive*.")
    and_: PartRef = Field(
        alias="and", description="The other; its parts are measured against each of the first."
    )
    at_least: Length = Field(description="The least distance demanded.")
    margin: Length | None = Field(
        None, description="Up to this much above the demand is tight; the rule's own margin if not given."
    )


class IgnoredPair(Rule):
    """A pair to leave out."""

    between: PartRef = Field(description="A part, an assembly, a solid of a part, or several by drive*.")
    and_: PartRef = Field(alias="and", description="The other.")


class ClearanceRule(Rule):
    """How far apart parts must be that are not meant to touch."""

    default: Length = Field(
        0.0, description="Least distance of every two parts; parts of one assembly are its model's business."
    )
    margin: Length = Field(0.0, description="From the demand up to demand + margin the verdict is tight.")
    pairs: list[ClearancePair] = Field(default_factory=list, description="Pairs with a demand of their own.")
    ignore: list[IgnoredPair] = Field(default_factory=list, description="Pairs that no default holds for.")


@dataclass(frozen=True, eq=False)
class _Pair:
    """Two bodies (indices, the lower first) and what was measured."""

    i: int
    j: int
    measured: Measured


def check_clearance(world: World) -> Answer:
    """Measure every pair of parts that is nearer than its demand.

    Solids that a contact lets touch are left out, solid by solid; other solids of the same
    two parts count. Parts that interfere are not repeated, but for pairs that a rule names.
    Without a rule nothing is demanded, and the nearest pairs are facts.

    Returns:
        One finding for each two parts nearer than the default demand plus margin; for each
        rule in `pairs` one for every two parts too near, or one for the nearest that fits.
        Facts: the nearest pairs that are not meant to touch.
    """
    rule = ClearanceRule.model_validate(world.rules.get("clearance", {}))
    solids = bodies(world)
    named = [(choose(world, pair.between), choose(world, pair.and_)) for pair in rule.pairs]
    ignored = [(choose(world, pair.between), choose(world, pair.and_)) for pair in rule.ignore]
    # A pair of solids that a rule names is measured for that rule: the last one that does.
    special = _named_pairs(solids, named)
    left_out = {pair for chosen in ignored for pair in _pairs_of(solids, *chosen)}
    clashing = {(clash.pair[0], clash.pair[1]) for clash in clashes(world)}
    findings = _by_default(world, solids, rule, left_out | set(special), clashing)
    for index, pair in enumerate(rule.pairs):
        chosen = [bodies_pair for bodies_pair, owner in special.items() if owner == index]
        margin = rule.margin if pair.margin is None else pair.margin
        findings += _by_rule(world, solids, pair, margin, sorted(chosen), index)
    not_checked = _inside_assemblies(solids, rule)
    return Answer(tuple(findings), _facts(world, solids, left_out, clashing), not_checked)


def least_distance(world: World, within: float) -> float:
    """Least distance of any two parts that are not meant to touch, and that no rule ignores, mm.

    Returns:
        0 where two interfere; at most `within`.
    """
    rule = ClearanceRule.model_validate(world.rules.get("clearance", {}))
    solids = bodies(world)
    if clashes(world):
        return 0.0
    ignored = [(choose(world, pair.between), choose(world, pair.and_)) for pair in rule.ignore]
    left_out = {pair for chosen in ignored for pair in _pairs_of(solids, *chosen)}
    return min((pair.measured.distance for pair in _near(world, solids, within, left_out)), default=within)


def demanded(world: World, solids: Bodies, pairs: Iterable[tuple[int, int]]) -> list[tuple[float, str]]:
    """What is demanded of pairs of bodies that are not meant to touch: mm, and by which rule.

    Returns:
        For each pair 0 and an empty name where no rule holds for it: then they may only not interfere.
    """
    rule = ClearanceRule.model_validate(world.rules.get("clearance", {}))
    special = _named_pairs(
        solids, [(choose(world, pair.between), choose(world, pair.and_)) for pair in rule.pairs]
    )
    ignored = [(choose(world, pair.between), choose(world, pair.and_)) for pair in rule.ignore]
    left_out = {pair for chosen in ignored for pair in _pairs_of(solids, *chosen)}
    found = []
    for i, j in pairs:
        if (i, j) in special:
            index = special[i, j]
            found.append((rule.pairs[index].at_least, f"clearance.pairs[{index + 1}]"))
        elif solids.all[i].group == solids.all[j].group or (i, j) in left_out or rule.default <= 0:
            found.append((0.0, ""))
        else:
            found.append((rule.default, "clearance.default"))
    return found


def _pairs_of(solids: Bodies, one: Chosen, other: Chosen) -> Iterable[tuple[int, int]]:
    first = [k for k, x in enumerate(solids.all) if one.holds(x.part_name, x.solid)]
    second = [k for k, x in enumerate(solids.all) if other.holds(x.part_name, x.solid)]
    for i in first:
        for j in second:
            if solids.all[i].part != solids.all[j].part:
                yield min(i, j), max(i, j)


def _named_pairs(solids: Bodies, named: list[tuple[Chosen, Chosen]]) -> dict[tuple[int, int], int]:
    found: dict[tuple[int, int], int] = {}
    for index, chosen in enumerate(named):
        found.update(dict.fromkeys(_pairs_of(solids, *chosen), index))
    return found


def _by_default(
    world: World,
    solids: Bodies,
    rule: ClearanceRule,
    left_out: set[tuple[int, int]],
    clashing: set[tuple[int, int]],
) -> list[Finding]:
    if rule.default + rule.margin <= 0:
        return []
    within = rule.default + rule.margin + _drawn_off(solids)
    interfering = {_parts(solids, pair) for pair in clashing}
    nearest: dict[tuple[str, str], list[_Pair]] = {}
    for pair in _near(world, solids, within, left_out):
        names = _parts(solids, (pair.i, pair.j))
        if names not in interfering and _verdict(pair, rule.default, rule.margin) != Verdict.FITS:
            nearest.setdefault(names, []).append(pair)
    return [
        _finding(world, solids, found, rule.default, rule.margin, "clearance.default")
        for _, found in sorted(nearest.items(), key=lambda item: _order(solids, item[1]))
    ]


def _drawn_off(solids: Bodies) -> float:
    """How far two surfaces together may lie from where they are drawn, at most, mm."""
    return 2 * max((body.error for body in solids.all), default=0.0)


_apart: WeakKeyDictionary[World, dict[float, list[_Pair]]] = WeakKeyDictionary()


def _near(world: World, solids: Bodies, within: float, left_out: set[tuple[int, int]]) -> list[_Pair]:
    """Pairs of different scene parts, not meant to touch, within a distance, but for those left out."""
    known = _apart.setdefault(world, {})
    if within not in known:
        known[within] = _all_near(world, solids, within)
    return [pair for pair in known[within] if (pair.i, pair.j) not in left_out]


def _all_near(world: World, solids: Bodies, within: float) -> list[_Pair]:
    """A run keeps the distance that it demands itself: the check of runs tells that."""
    runs = {run.name for run in world.laid}
    groups = [body.group for body in solids.all]
    number = {group: k for k, group in enumerate(dict.fromkeys(groups))}
    of = np.array([number[group] for group in groups], int)
    laid = np.array([group in runs for group in groups], bool)
    pairs = near(solids, within)
    i, j = pairs[:, 0], pairs[:, 1]
    pairs = pairs[(of[i] != of[j]) & ~laid[i] & ~laid[j]]
    asked = [(i, j) for i, j in pairs.tolist() if allowed(world, solids.all[i], solids.all[j]) is None]
    measured = measure(solids, asked, within)
    return [_Pair(i, j, m) for (i, j), m in zip(asked, measured, strict=True) if not m.beyond]


def _parts(solids: Bodies, pair: tuple[int, int]) -> tuple[str, str]:
    i, j = pair
    return solids.all[i].part_name, solids.all[j].part_name


def _order(solids: Bodies, found: list[_Pair]) -> tuple[int, int]:
    return solids.all[found[0].i].part, solids.all[found[0].j].part


def _by_rule(
    world: World,
    solids: Bodies,
    pair: ClearancePair,
    margin: float,
    chosen: list[tuple[int, int]],
    index: int,
) -> list[Finding]:
    """Findings of one rule: all two parts too near, or the nearest two."""
    name = f"clearance.pairs[{index + 1}]"
    meant = [c for c in chosen if allowed(world, solids.all[c[0]], solids.all[c[1]]) is None]
    if not meant:
        said = f"{pair.between} and {pair.and_} are meant to touch: no clearance to measure"
        line = rule_line(world, name)
        return [
            Finding(
                "clearance",
                (pair.between, pair.and_),
                Verdict.FITS,
                said,
                None,
                pair.at_least,
                rule=name,
                rule_line=line,
            )
        ]
    measured = _down_to_nearest(solids, meant, pair.at_least + margin + _drawn_off(solids))
    together: dict[tuple[str, str], list[_Pair]] = {}
    for found in measured:
        together.setdefault(_parts(solids, (found.i, found.j)), []).append(found)
    findings = [_finding(world, solids, found, pair.at_least, margin, name) for found in together.values()]
    near_ones = [finding for finding in findings if finding.verdict != Verdict.FITS]
    return near_ones or [min(findings, key=lambda finding: finding.measured or 0.0)]


def _down_to_nearest(solids: Bodies, chosen: list[tuple[int, int]], within: float) -> list[_Pair]:
    """All pairs within a distance; when there are none, the nearest pair."""
    asked = np.array(chosen, int).reshape(-1, 2)
    gaps = bounds_gap(solids.body_bounds[asked[:, 0]], solids.body_bounds[asked[:, 1]])
    close = asked[gaps <= within]
    found = [
        _Pair(int(i), int(j), m) for (i, j), m in zip(close, measure(solids, close, within), strict=True)
    ]
    found = [pair for pair in found if not pair.measured.beyond]
    if found:
        return found
    best: _Pair | None = None
    for k in np.argsort(gaps, kind="stable"):
        if best is not None and gaps[k] >= best.measured.distance:
            break
        i, j = int(asked[k, 0]), int(asked[k, 1])
        (measured,) = measure(solids, [(i, j)])
        if best is None or measured.distance < best.measured.distance:
            best = _Pair(i, j, measured)
    return [] if best is None else [best]


def _finding(
    world: World, solids: Bodies, found: list[_Pair], required: float, margin: float, rule: str
) -> Finding:
    """One finding for two parts: their nearest solids lead."""

    def rank(pair: _Pair) -> tuple[float, float]:
        return -SEVERITY.index(_verdict(pair, required, margin)), pair.measured.distance

    lead = min(found, key=rank)
    verdict = _verdict(lead, required, margin)
    measured = lead.measured
    a, b = solids.all[lead.i].name, solids.all[lead.j].name
    near_ones = [pair for pair in found if _verdict(pair, required, margin) != Verdict.FITS]
    details: dict[str, Any] = {
        "solids": f"{a} ~ {b}",
        "solid_pairs": max(len(near_ones), 1),
        "margin": margin,
    }
    if measured.error > 0:
        details["error"] = round(measured.error, 6)
    return Finding(
        check="clearance",
        parts=_parts(solids, (lead.i, lead.j)),
        verdict=verdict,
        sentence=_said(a, b, lead.measured, (required, margin), verdict),
        measured=measured.distance,
        required=required,
        where=(point(measured.on_a), point(measured.on_b)),
        rule=rule,
        rule_line=rule_line(world, rule),
        details=details,
    )


def _verdict(pair: _Pair, required: float, margin: float) -> Verdict:
    if not pair.measured.decided:
        return Verdict.UNKNOWN
    return compare(pair.measured.distance, required, margin, pair.measured.error)


def _said(a: str, b: str, measured: Measured, demanded: tuple[float, float], verdict: Verdict) -> str:
    required, margin = demanded
    if verdict == Verdict.UNKNOWN:
        return f"{a} may lie inside {b} or the other way round: a mesh of theirs is not closed"
    if measured.interferes:
        return f"{a} and {b} interfere, {mm(required)} apart are demanded"
    distance = mm(measured.distance, against=required)
    apart = "touch" if measured.distance == 0 else f"are {distance} apart"
    if verdict == Verdict.FAILS:
        return f"{a} and {b} {apart}, {mm(required)} are demanded"
    if verdict == Verdict.TIGHT:
        why = "within the margin"
        if compare(measured.distance, required, margin) == Verdict.FITS:
            why = f"only as drawn, its facets may be {mm(measured.error, against=0.0)} off"
        return f"{a} and {b} {apart}, {mm(required)} are demanded: {why}"
    return f"{a} and {b} {apart}, at least {mm(required)} as demanded"


def _inside_assemblies(solids: Bodies, rule: ClearanceRule) -> tuple[str, ...]:
    """Say that the default holds between the scene's parts, where there are assemblies."""
    parts: dict[str, set[int]] = {}
    for body in solids.all:
        parts.setdefault(body.group, set()).add(body.part)
    several = [group for group, inside in parts.items() if len(inside) > 1]
    if not several or rule.default <= 0:
        return ()
    listed = ", ".join(several[:6]) + (" …" if len(several) > 6 else "")
    return (f"clearance: the default is not asked between parts of one assembly ({listed})",)


def _facts(
    world: World, solids: Bodies, left_out: set[tuple[int, int]], clashing: set[tuple[int, int]]
) -> dict[str, Any]:
    """The nearest two parts that are not meant to touch, nearest first."""
    least: dict[tuple[str, str], _Pair] = {}
    for pair in _near(world, solids, LISTED_WITHIN, left_out | clashing):
        names = _parts(solids, (pair.i, pair.j))
        if names not in least or pair.measured.distance < least[names].measured.distance:
            least[names] = pair
    nearest = sorted(least.values(), key=lambda pair: (round(pair.measured.distance, 6), pair.i, pair.j))
    listed = [
        {
            "between": solids.all[pair.i].name,
            "and": solids.all[pair.j].name,
            "distance": round(pair.measured.distance, 6),
        }
        for pair in nearest[:LISTED]
    ]
    return {"nearest": tuple(listed)} if listed else {}
