"""One layout asked: its verdict, what is worst, its figures; as plain data."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from dataclasses import replace
from typing import Any

from fitcheck.checks import RULE_TYPES
from fitcheck.checks.clearance import least_distance
from fitcheck.checks.names import choose
from fitcheck.finding import Finding, Verdict, plain
from fitcheck.layouts.clashing import Pair, clashing_pairs
from fitcheck.layouts.read import Layouts
from fitcheck.layouts.varied import varied
from fitcheck.report import Report, check_world
from fitcheck.scene.choices import spelled
from fitcheck.scene.kinds import Scalar
from fitcheck.scene.layout_entries import Figure
from fitcheck.scene.mistakes import Mistakes, ValueMistake
from fitcheck.scene.options import overridden
from fitcheck.scene.read import Scene, scene_of
from fitcheck.scene.text import Document
from fitcheck.world.forest import prepare
from fitcheck.world.node import base
from fitcheck.world.resolve import resolve
from fitcheck.world.shared import Leaf, Shared
from fitcheck.world.world import World

# What is asked of a machine with its tubes and cables in only: left out where none are laid.
OF_RUNS = (
    "run", "loop", "drainage", "removal", "assembly_order", "fastening", "edges", "support", "ventilation",
    "sight", "access",
)  # fmt: skip
# So many values of parameters are remembered as sound.
SOUND = 100_000
# Distances are measured up to this, mm.
WITHIN = 20.0


class Asker:
    """Asks layouts of one file, and keeps what they share."""

    def __init__(self, layouts: Layouts) -> None:
        self.layouts = layouts
        self._shared = Shared()
        # By the options chosen: the text with them, a scene read from it, the values it was found sound with.
        self._sound: dict[Hashable, tuple[Document, Scene, set[tuple[str, str]]]] = {}

    def world(self, number: int) -> World:
        """A layout with its parts placed.

        Raises:
            Mistakes: the scene cannot be built like that.
        """
        return self.world_of(self.layouts.choices.values(number))

    def world_of(self, values: Mapping[str, Scalar]) -> World:
        """The same by the values of all that varies, which may lie between those of the file."""
        world = asked_world(self._scene(values), self._shared, self.layouts.file.runs)
        prepare(world)
        return world

    def _scene(self, values: Mapping[str, Scalar]) -> Scene:
        """The scene with these values. The types judge each value of a parameter by itself, so once."""
        layouts = self.layouts
        given = layouts.parameters(values)
        chosen = tuple(str(values[name]) for name in layouts.file.alternatives)
        known = self._sound.get(chosen)
        if known is None:
            written = varied(layouts.scene, layouts.document, layouts.chosen(values))
        else:
            written, scene, sound = known
            if sound.issuperset(given.items()):
                return replace(scene, document=overridden(written, given), overrides=given)
        scene = scene_of(written, layouts.scene_path.parent, given, RULE_TYPES)
        _, _, sound = self._sound.setdefault(chosen, (written, scene, set()))
        if len(sound) < SOUND:
            sound.update(given.items())
        return scene

    def hang_on(self) -> dict[str, frozenset[int]]:
        """Which wheels each entry of a part hangs on, as far as the layouts worked out so far can tell."""
        choices = self.layouts.choices
        turned_by: dict[Leaf, set[int]] = {}
        for at, wheel in enumerate(choices.wheels):
            for name in wheel.names:
                turned_by.setdefault(("parameter", name), set()).add(at)
                for option in self.layouts.file.alternatives.get(name, {}).values():
                    for changed in (*option.parts, *option.without):
                        turned_by.setdefault(("part", changed), set()).add(at)
        found: dict[str, frozenset[int]] = {}
        for name, leaves in self._shared.read_for().items():
            wheels = {at for leaf in leaves for at in turned_by.get(leaf, ())}
            found[base(name)] = found.get(base(name), frozenset()) | wheels
        return found

    def ask(self, number: int) -> dict[str, Any]:
        """What is found out about a layout, as it is written down."""
        said = numbered(self.layouts, number)
        try:
            world = self.world(number)
            if self.layouts.file.measure == "fitting":
                first = next(iter(clashing_pairs(world, self.layouts)), None)
                if first is not None:
                    return ruled_out(self.layouts, number, first)
            report = check_world(world, facts=False)
        except Mistakes as wrong:
            return {**said, "verdict": None, "mistakes": [str(one) for one in wrong.items]}
        except ValueMistake as wrong:
            return {**said, "verdict": None, "mistakes": [wrong.problem]}
        return {**said, **self.found(world, report, self.layouts.choices.values(number))}

    def found(self, world: World, report: Report, values: Mapping[str, Scalar]) -> dict[str, Any]:
        """Verdict, figures and what stands in the way, from a world and what was asked of it."""
        layouts = self.layouts
        figures = {
            name: plain(self._figure(name, figure, world, report, values))
            for name, figure in layouts.figures.items()
        }
        missed = [
            demand.figure
            for demand in layouts.demands
            if not _reaches(figures[demand.figure], demand.at_least, demand.at_most)
        ]
        wrong = [finding for finding in report.findings if finding.verdict != Verdict.FITS]
        found: dict[str, Any] = {"verdict": str(report.verdict), "figures": figures, "missed": missed}
        if wrong:
            found |= {"worst": wrong[0].id, "sentence": wrong[0].sentence}
            found["failing"] = [f.id for f in wrong if f.verdict == Verdict.FAILS and not f.follows]
        return found

    def _figure(
        self, name: str, figure: Figure, world: World, report: Report, values: Mapping[str, Scalar]
    ) -> float | None:
        if figure.cost is not None:
            return sum(prices[values[of]] for of, prices in self.layouts.costs[name].items())
        if figure.length_of is not None:
            named = choose(world, str(figure.length_of)).solids
            lengths = [
                run.length if run.corners is not None else None for run in world.laid if run.name in named
            ]
            known = [length for length in lengths if length is not None]
            return sum(known) if len(known) == len(lengths) else None
        if figure.least_distance:
            return least_distance(world, WITHIN)
        return _least_spare(_of(figure, world, report.findings))


def asked_world(scene: Scene, shared: Shared, runs: bool) -> World:
    """The world of a scene; without `runs` it has no tubes, cables and loops, nor the rules about them.

    Raises:
        Mistakes: the scene cannot be built like that.
    """
    world = resolve(scene, shared, runs)
    if runs:
        return world
    return replace(world, rules={name: rule for name, rule in world.rules.items() if name not in OF_RUNS})


def ruled_out(layouts: Layouts, number: int, pair: Pair) -> dict[str, Any]:
    """What is written down of a layout that is not measured on, since two parts interfere."""
    a, b = pair.names
    finding = Finding("interference", (a, b), Verdict.FAILS, f"{a} and {b} interfere")
    return {
        **numbered(layouts, number),
        "verdict": str(Verdict.FAILS),
        "figures": dict.fromkeys(layouts.figures),
        "missed": [],
        "worst": finding.id,
        "sentence": finding.sentence,
        "failing": [finding.id],
    }


def numbered(layouts: Layouts, number: int) -> dict[str, Any]:
    """How a layout is called: its number, from 1, and its values as they are spelled."""
    values = layouts.choices.values(number)
    return {"layout": number + 1, "values": {name: _shown(value) for name, value in values.items()}}


def _shown(value: Scalar) -> Scalar:
    return spelled(value) if isinstance(value, bool) else value


def _of(figure: Figure, world: World, findings: Iterable[Finding]) -> list[Finding]:
    named = None if figure.parts is None else set(choose(world, str(figure.parts)).solids)
    return [
        finding
        for finding in findings
        if finding.check == figure.check
        and finding.measured is not None
        and (named is None or any(part.partition(".")[0] in named or part in named for part in finding.parts))
    ]


def _least_spare(findings: list[Finding]) -> float | None:
    """What the finding with the least to spare measured."""
    if not findings:
        return None
    found = min(findings, key=lambda f: (f.measured or 0.0) - (f.required or 0.0))
    return found.measured


def _reaches(value: float | None, least: float | None, most: float | None) -> bool:
    if value is None:
        return False
    return (least is None or value >= least) and (most is None or value <= most)
