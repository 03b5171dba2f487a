"""The quick answer: where parts stand, what the checks of a few milliseconds say, and the colours."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fitcheck.checks import CHECKS, RULE_TYPES
from fitcheck.checks.causes import caused
from fitcheck.finding import worst
from fitcheck.layouts.asked import OF_RUNS, asked_world
from fitcheck.live.colours import Coloured, Colours
from fitcheck.outputs.page.described import described
from fitcheck.outputs.pictures.bands import bands_of
from fitcheck.report import Report, mesh_notes, ordered
from fitcheck.scene.read import scene_of
from fitcheck.scene.text import Document
from fitcheck.world.forest import prepare
from fitcheck.world.shared import Shared
from fitcheck.world.world import World

# Asked when nothing moves: what needs the runs, and what takes longer than a step of a control may.
LATER = (*OF_RUNS, "tolerance")


@dataclass(frozen=True)
class Quick:
    """What is known at once of a scene with some values.

    Args:
        data: as the page shows it.
        solids: in the order of `data["solids"]`.
    """

    data: dict[str, Any]
    solids: list[Coloured]


class QuickAnswers:
    """Answers for one text of a scene with ever other values: only what they change is worked out."""

    def __init__(self, document: Document, folder: Path, kept: QuickAnswers | None = None) -> None:
        self._document, self._folder = document, folder
        self._shared: Shared = Shared() if kept is None else kept._shared
        self._colours: Colours = Colours() if kept is None else kept._colours

    def at(self, document: Document, anew: bool) -> QuickAnswers:
        """The same for another text of the scene; `anew`: models or meshes may have changed with it."""
        return QuickAnswers(document, self._folder, None if anew else self)

    def of(self, values: Mapping[str, str]) -> Quick:
        """The answer for values of parameters, as typed.

        Raises:
            Mistakes: the scene cannot be built like that.
            ValueMistake: a rule asks what cannot be asked.
        """
        scene = scene_of(self._document, self._folder, values, RULE_TYPES)
        world = asked_world(scene, self._shared, False)
        prepare(world)
        report = quick_report(world)
        bands = bands_of(world)
        solids = self._colours.of(world, bands)
        data = described(world, report, [one.drawn for one in solids], bands)
        waiting = not_asked_yet(self._document.data, bool(world.uncertain))
        if waiting:
            data["meaning"] = (
                f"so far; not asked yet: {', '.join(name.replace('_', ' ') for name in waiting)}"
            )
        return Quick(data, solids)


def quick_report(world: World) -> Report:
    """A report of the checks that take milliseconds."""
    answers = [check.run(world) for check in CHECKS if not (check.optional or check.name in LATER)]
    findings = caused(world, [finding for answer in answers for finding in answer.findings])
    return Report(
        world.title,
        worst([finding.verdict for finding in findings]),
        ordered(findings),
        not_checked=tuple(dict.fromkeys(line for answer in answers for line in answer.not_checked)),
        parameters=dict(world.parameters),
        notes=mesh_notes(world),
    )


def not_asked_yet(data: Mapping[str, Any], uncertain: bool) -> list[str]:
    """The checks that a scene, as written, asks for and that the quick answer leaves out."""
    rules = data.get("rules") or {}
    asked = {name for name in LATER if rules.get(name)}
    if uncertain:
        asked.add("tolerance")
    if data.get("runs"):
        asked.add("run")
    if data.get("loops"):
        asked |= {"loop", "drainage"}
    return [check.name for check in CHECKS if check.name in asked]
