"""Keep-clear: what reaches into a volume that must stay empty?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from pydantic import Field

from fitcheck.checks.verdicts import mm, point, rule_line
from fitcheck.finding import SEVERITY, Answer, Finding, Verdict
from fitcheck.parts.features import KeepClear
from fitcheck.parts.solids import Piece
from fitcheck.scene.rules import Length, Rule
from fitcheck.world.bodies import Bodies, bodies, bounds_gap, with_probe
from fitcheck.world.contacts import allowed
from fitcheck.world.engine import Measured, measure
from fitcheck.world.frames import IDENTITY
from fitcheck.world.world import Part, World, piece_bounds

QUESTION = "what reaches into a keep-clear volume?"


class KeepClearRule(Rule):
    """How near to keep-clear volumes other parts may come."""

    margin: Length = Field(0.0, description="Nearer than this to a keep-clear volume is tight.")


@dataclass(frozen=True, eq=False)
class _Intruder:
    """A body near or in a volume."""

    body: int
    measured: Measured

    def verdict(self, margin: float) -> Verdict:
        if not self.measured.decided:
            return Verdict.UNKNOWN
        if self.measured.interferes:
            return Verdict.FAILS
        return Verdict.TIGHT if self.measured.distance < margin else Verdict.FITS


def check_keep_clear(world: World) -> Answer:
    """Measure how deep anything reaches into the volumes that models say must stay empty.

    The part that a volume belongs to does not count, nor do solids that are meant to touch
    that part; other solids of the same parts do.

    Returns:
        One finding for each volume and each part in it (or within the margin). Facts: the
        volumes that are empty.
    """
    rule = KeepClearRule.model_validate(world.rules.get("keep_clear", {}))
    solids = bodies(world)
    findings: list[Finding] = []
    empty = []
    for part in world.parts:
        for kept in part.shape.keep_clear.values():
            found = list(_in_volume(world, solids, rule, part, kept))
            findings += found
            if not found:
                empty.append(f"{part.name}.{kept.name}")
    return Answer(tuple(findings), {"empty": tuple(empty)} if empty else {})


def _in_volume(
    world: World, solids: Bodies, rule: KeepClearRule, part: Part, kept: KeepClear
) -> Iterator[Finding]:
    intruders: dict[str, list[_Intruder]] = {}
    for intruder in _near_volume(world, solids, rule.margin, part, kept):
        if intruder.verdict(rule.margin) != Verdict.FITS:
            intruders.setdefault(solids.all[intruder.body].part_name, []).append(intruder)
    for found in intruders.values():
        yield _finding(world, solids, rule, part, kept, found)


def _near_volume(world: World, solids: Bodies, margin: float, part: Part, kept: KeepClear) -> list[_Intruder]:
    """Every body within the margin of a volume that has no leave to be there."""
    volume = _placed(kept.piece, part)
    own = np.array([body.part_name == part.name for body in solids.all], bool)
    gaps = bounds_gap(piece_bounds(volume, IDENTITY), solids.body_bounds)
    mine = [solids.all[k] for k in np.flatnonzero(own).tolist()]
    asked = [
        k
        for k in np.flatnonzero(~own & (gaps <= margin)).tolist()
        if not any(allowed(world, solids.all[k], one) for one in mine)
    ]
    if not asked:
        return []
    among, probe = with_probe(solids, volume), len(solids)
    key = "in volume", part.serial, kept.name, margin, *solids.serials[asked].tolist()
    found = world.answers.of(key, lambda: measure(among, [(k, probe) for k in asked], margin))
    return [_Intruder(k, measured) for k, measured in zip(asked, found, strict=True)]


def _placed(piece: Piece, part: Part) -> Piece:
    return Piece(
        piece.kind, piece.half, part.pose.rotation @ piece.rotation, part.pose.point(piece.centre), piece.mesh
    )


def _finding(
    world: World, solids: Bodies, rule: KeepClearRule, part: Part, kept: KeepClear, found: list[_Intruder]
) -> Finding:
    def rank(intruder: _Intruder) -> tuple[float, ...]:
        verdict = SEVERITY.index(intruder.verdict(rule.margin))
        return verdict, np.nan_to_num(intruder.measured.depth), -intruder.measured.distance

    lead = max(found, key=rank)
    verdict = lead.verdict(rule.margin)
    volume = f"{part.name}.{kept.name}"
    body = solids.all[lead.body]
    measured, said = _said(body.name, volume, lead.measured, verdict, rule.margin)
    details: dict[str, Any] = {
        "solids": tuple(solids.all[i.body].name for i in found),
        "margin": rule.margin,
        "why": kept.why,
    }
    return Finding(
        check="keep_clear",
        parts=(body.part_name, volume),
        verdict=verdict,
        sentence=said + (f": {kept.why}" if kept.why else ""),
        measured=measured,
        required=0.0,
        where=(point(lead.measured.on_a),),
        rule="keep_clear" if "keep_clear" in world.rules else "",
        rule_line=rule_line(world, "keep_clear"),
        details=details,
    )


def _said(
    body: str, volume: str, measured: Measured, verdict: Verdict, margin: float
) -> tuple[float | None, str]:
    """What was measured (depth, or distance when outside) and the sentence."""
    if verdict == Verdict.UNKNOWN:
        return None, f"whether {body} lies in {volume} is unknown: its mesh is not closed"
    if verdict == Verdict.TIGHT:
        near = mm(measured.distance, against=margin)
        return measured.distance, f"{body} is {near} from {volume}, within the margin of {mm(margin)}"
    if np.isnan(measured.depth):
        return None, f"{body} reaches into {volume}, how deep is unknown: its mesh is not closed"
    return measured.depth, f"{body} reaches {mm(measured.depth, against=0.0)} into {volume}"
