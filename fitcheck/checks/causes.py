"""Causes: which finding leads, and which follow from it.

A part too long sticks out of its compartment, drives into the wall behind it and takes its
drain along: one cause, not five of equal rank. The rule, in this order:

1. A part that sticks out of its compartment at a side leads. What it carries (parts placed
   on it or joined to it) and sticks out at the same side follows. So does everything found at
   that end of it or of what it carries: in its outer quarter on that side, or beyond. So does
   a room or gap demanded on that side of it.
2. Of the interferences left, the deepest leads. Those between the same two parts or
   assemblies follow, and those of the same part (or what it carries) on the same side. So do
   a clearance or keep-clear between the same two, a gap that is none because they overlap,
   and a room or gap on that side.
3. What the tolerances say of everything together follows the first that fails as drawn.
4. Nothing else leads.

A finding follows one that fails and itself follows nothing; the first in this order that
explains it. Findings that fit follow nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitcheck.checks.hosts import carried, group_of
from fitcheck.finding import Finding, Verdict
from fitcheck.world.frames import SIDES
from fitcheck.world.world import World

# How far out from the middle of a part, in halves of its length, its end begins.
END_OF_PART = 0.5


@dataclass(frozen=True)
class _Scene:
    """What the rule needs to know of the world."""

    world: World
    carried: dict[str, tuple[str, ...]]

    def groups(self, finding: Finding) -> tuple[str, ...]:
        """The scene's own parts that a finding is about."""
        found = (group_of(self.world, name) for name in finding.parts)
        return tuple(dict.fromkeys(group for group in found if group))

    def bounds(self, group: str) -> np.ndarray:
        boxes = [p.bounds for p in self.world.parts if p.group == group and p.shape.solids]
        return np.array([np.min([b[0] for b in boxes], axis=0), np.max([b[1] for b in boxes], axis=0)])


def caused(world: World, findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """The same findings in the same order, consequences marked with the finding they follow."""
    scene = _Scene(world, carried(world))
    leading: list[Finding] = []
    follows: dict[int, str] = {}
    for i in sorted(range(len(findings)), key=lambda i: _rank(scene, findings[i])):
        finding = findings[i]
        if finding.verdict == Verdict.FITS:
            continue
        cause = next((c for c in leading if _explains(scene, c, finding)), None)
        if cause is not None:
            follows[i] = cause.id
        elif finding.check in _EXPLAINS and finding.verdict == Verdict.FAILS:
            leading.append(finding)
    failing = next(
        (f for k, f in enumerate(findings) if f.verdict == Verdict.FAILS and k not in follows), None
    )
    for i, finding in enumerate(findings):
        if "probability" in finding.details and failing is not None and failing is not finding:
            follows[i] = failing.id
    return tuple(f.following(follows[i]) if i in follows else f for i, f in enumerate(findings))


def _rank(scene: _Scene, finding: Finding) -> tuple[float, ...]:
    """Causes before consequences: containments, carriers first; interferences, deepest first."""
    if finding.check == "containment":
        group = next(iter(scene.groups(finding)), "")
        return 0, -len(scene.carried.get(group, ()))
    if finding.check == "interference":
        return 1, -(finding.measured or 0.0)
    return 2, 0


def _explains(scene: _Scene, cause: Finding, finding: Finding) -> bool:
    return finding.id != cause.id and _EXPLAINS[cause.check](scene, cause, finding)


def _containment_explains(scene: _Scene, cause: Finding, finding: Finding) -> bool:
    group = next(iter(scene.groups(cause)), "")
    moving = scene.carried.get(group, ())
    if not set(moving) & set(scene.groups(finding)):
        return False
    sides = set(cause.details["out"])
    if finding.check == "containment":
        return bool(sides & set(finding.details.get("out", ())))
    if finding.check in ("room", "gaps") and not finding.details.get("overlaps"):
        return finding.details["side"] in sides
    return any(_at_end(scene.bounds(group), finding, side) for side in sides)


def _interference_explains(scene: _Scene, cause: Finding, finding: Finding) -> bool:
    pair = set(scene.groups(cause))
    about = set(scene.groups(finding))
    same_pair = finding.check in ("interference", "clearance", "keep_clear") or finding.details.get(
        "overlaps"
    )
    if same_pair and about == pair:
        return True
    mover = cause.details.get("mover", "")
    side = cause.details.get("side", "")
    moving = set(scene.carried.get(group_of(scene.world, mover), ()))
    if finding.check in ("room", "gaps"):
        return bool(moving & about) and finding.details.get("side") == side
    if finding.check == "interference":
        other = group_of(scene.world, finding.details.get("mover", ""))
        return other in moving and finding.details.get("side") == side
    return False


def _at_end(bounds: np.ndarray, finding: Finding, side: str) -> bool:
    """Does a finding's place lie in the outer quarter of these bounds on a side, or beyond?"""
    if not finding.where:
        return False
    direction = SIDES[side]
    half = float(np.abs(direction) @ (bounds[1] - bounds[0])) / 2
    out = float(direction @ (np.mean(finding.where, axis=0) - bounds.mean(axis=0)))
    return out >= END_OF_PART * half


_EXPLAINS = {"containment": _containment_explains, "interference": _interference_explains}
