"""Which parts a view shows, which of them are the case, and which findings matter in a picture."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np

from fitcheck.checks.names import choose
from fitcheck.checks.sight import SightRule
from fitcheck.fasteners.bores import family
from fitcheck.finding import SEVERITY, Finding, Verdict
from fitcheck.outputs.pictures.camera import View
from fitcheck.outputs.pictures.surfaces import Skin
from fitcheck.scene.mistakes import ValueMistake, nearest
from fitcheck.world.frames import point
from fitcheck.world.world import Part, World

# A sub-part of the case's owner that is made of nothing else counts as case too.
SHELL_ROLES = {"sheet", "glass"}


class Report(Protocol):
    """What a picture reads of a report."""

    @property
    def findings(self) -> Sequence[Finding]:
        """All findings."""
        ...

    @property
    def verdict(self) -> Verdict:
        """The scene's verdict."""
        ...


def case_parts(world: World) -> set[int]:
    """Indices of the parts that own compartments: drawn as edges and a breath of grey."""
    owners = {room.part for room in world.compartments.values()}
    owners |= {part.name for part in world.parts if part.shape.compartments}
    found = set()
    for index, part in enumerate(world.parts):
        shell = {solid.role for solid in part.shape.solids.values()} <= SHELL_ROLES
        below = any(part.name.startswith(owner + ".") for owner in owners)
        if part.name in owners or (below and shell):
            found.add(index)
    return found


def case_bounds(world: World) -> np.ndarray:
    """(2, 3) bounds of the case, or of everything where there is none."""
    indices = sorted(case_parts(world)) or range(len(world.parts))
    boxes = np.array([world.parts[i].bounds for i in indices])
    return np.array([boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)])


def shown(world: World, view: View, skins: Sequence[Skin]) -> np.ndarray:
    """(n,) bool: which skins the view shows; raises ValueMistake for a name the scene has not."""
    kept, hidden = ([choose(world, name) for name in names] for names in (view.show, view.hide))
    names = [(world.parts[s.part].name, s.solid.name) for s in skins]
    return np.array(
        [
            (not kept or any(k.holds(*name) for k in kept)) and not any(h.holds(*name) for h in hidden)
            for name in names
        ],
        bool,
    )


def concerned(world: World, finding: Finding) -> set[int]:
    """Indices of the parts that a finding names, by themselves, by a solid, their holes or their assembly."""

    def has(part: Part, rest: str) -> bool:
        holes = (*part.shape.holes, *part.shape.openings)
        return rest in part.shape.solids or bool({family(hole) for hole in holes} & set(rest.split("/")))

    return {
        index
        for index, part in enumerate(world.parts)
        for name in finding.parts
        if name == part.name
        or (name.startswith(part.name + ".") and has(part, name[len(part.name) + 1 :]))
        or (part.name.startswith(name + ".") and name not in world.by_name)
    }


def eye_of(world: World, findings: Sequence[Finding], name: str) -> tuple[float, float, float]:
    """Where the eye of that name is: of a box the place that a finding calls the worst, else its middle.

    Raises:
        ValueMistake: the rule `sight` has no such eyes.
    """
    rule = world.rules.get("sight")
    eyes = {} if rule is None else SightRule.model_validate(rule).eyes
    if name not in eyes:
        near = nearest(name, eyes)
        listed = ", ".join(eyes) or "none; name them under rules: sight: eyes"
        raise ValueMistake(
            f"there are no eyes named `{name}` (there are {listed})", f"write {near}" if near else ""
        )
    for finding in findings:
        if finding.check == "sight" and finding.parts[-1] == name and "eye" in finding.details:
            return point(np.array(finding.details["eye"]))
    return point(eyes[name].box().mean(axis=0))


def worst_first(findings: Sequence[Finding]) -> list[Finding]:
    """Findings by verdict, and causes before what follows from them; else in the report's own order."""
    return sorted(findings, key=lambda f: (-SEVERITY.index(f.verdict), bool(f.follows)))
