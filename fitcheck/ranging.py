"""The command that finds which values of a parameter fit."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from fitcheck.checks import RULE_TYPES
from fitcheck.console import announce_compilation, reading, refuse, say
from fitcheck.finding import Verdict
from fitcheck.layouts.asked import asked_world
from fitcheck.layouts.ranges import TO, Asked, Interval, intervals, stops
from fitcheck.outputs.progress import rewritten_line
from fitcheck.report import check_world
from fitcheck.scene.amounts import Amount
from fitcheck.scene.expression import evaluate, from_table
from fitcheck.scene.files import read_file
from fitcheck.scene.mistakes import Mistakes, ValueMistake, nearest
from fitcheck.scene.quantity import Uncertain, arithmetic, parse
from fitcheck.scene.read import scene_of
from fitcheck.scene.text import Document, read_document
from fitcheck.world.forest import prepare
from fitcheck.world.shared import Shared

# So many values are asked at most before ends are halved.
MOST = 2_000
# Steps over the range, where none is given.
STEPS = 50


@dataclass
class _Question:
    """One parameter of a scene: asks what values of it come to."""

    document: Document
    folder: Path
    name: str
    unit: Amount
    given: dict[str, str]
    runs: bool

    def __post_init__(self) -> None:
        self._shared = Shared()

    def typed(self, value: float) -> str:
        """A value as it would be typed."""
        if self.unit.kind == (0, 0):
            return f"{value:.10g}"
        return f"{value:.10g} {'mm' if self.unit.kind == (1, 0) else 'deg'}"

    def ask(self, value: float) -> Asked:
        """Whether everything fits with this value; a scene that cannot be built like that does not."""
        values = {**self.given, self.name: self.typed(value)}
        try:
            scene = scene_of(self.document, self.folder, values, RULE_TYPES)
            world = asked_world(scene, self._shared, self.runs)
            prepare(world)
            report = check_world(world, facts=False)
        except Mistakes as wrong:
            return Asked(False, str(wrong.items[0]))
        wrong_ones = [f for f in report.findings if f.verdict in (Verdict.FAILS, Verdict.UNKNOWN)]
        return Asked(not wrong_ones, wrong_ones[0].sentence if wrong_ones else "")


def run_range(
    scene: str,
    name: str,
    ends: tuple[str | None, str | None],
    step: str | None,
    given: dict[str, str],
    runs: bool,
) -> None:
    """Find all values of a parameter that fit, and say so."""
    import typer

    announce_compilation()
    document = reading(lambda: read_document(read_file(Path(scene)), scene))
    reading(lambda: scene_of(document, Path(scene).parent, given, RULE_TYPES))
    question, low, high, by = _asked(document, scene, name, ends, step, given, runs)
    whole = question.unit.kind == (0, 0)
    values = stops(low, high, by)
    if len(values) > MOST:
        refuse(f"--step {step}: {len(values):,} values; the limit is {MOST:,}")
    with rewritten_line(sys.stderr) as write:

        def ask(value: float) -> Asked:
            write(f"asking {name} {question.typed(round(value, 4))}")
            return question.ask(value)

        found = list(intervals(ask, values, 0.0 if whole else TO))
    say("".join(f"{line}\n" for line in _lines(question, found, values, by, whole)))
    raise typer.Exit(0 if found else 1)


def _lines(
    question: _Question, found: list[Interval], values: list[float], by: float, whole: bool
) -> Iterator[str]:
    name = question.name
    asked = f"{question.typed(values[0])} to {question.typed(values[-1])}"
    how = f"asked {asked}, every {question.typed(by)}"
    how += "" if whole else f"; ends to {TO:g}, what is narrower than a step may be missed"
    if not found:
        yield f"{name}: no value fits ({how})"
        why = question.ask(values[0]).why
        yield f"  at {question.typed(values[0])}: {why}"
        return
    for one in found:
        low, high = (question.typed(round(end, 3)) for end in (one.low, one.high))
        yield f"{name} fits at {low}" if one.low == one.high else f"{name} fits from {low} to {high}"
        if one.below:
            yield f"  below: {one.below}"
        if one.above:
            yield f"  above: {one.above}"
    left_out = "" if question.runs else "; tubes and cables were not laid, nor rules asked that need them"
    yield f"  ({how}{left_out})"


def _asked(
    document: Document,
    scene: str,
    name: str,
    ends: tuple[str | None, str | None],
    step: str | None,
    given: dict[str, str],
    runs: bool,
) -> tuple[_Question, float, float, float]:
    """The question with its ends and step; ends the program where something is missing or wrong."""
    parameters = document.data.get("parameters") or {}
    if name not in parameters:
        near = nearest(name, parameters)
        refuse(
            f"range {name}: the scene has no such parameter; it has {', '.join(parameters) or 'none'}"
            + (f"; write {near}" if near else "")
        )
    entry = parameters[name]
    long = entry if isinstance(entry, dict) else {"value": entry}
    unit = _amount("its value", long["value"])
    low, high = (ends[k] if ends[k] is not None else (long.get("range") or [None, None])[k] for k in (0, 1))
    for option, value in (("--from", low), ("--to", high)):
        if value is None or value == "none":
            refuse(f"range {name}: the scene says no end for it; give {option}")
    first, last = _amount("--from", low), _amount("--to", high)
    # A range without unit is one of lengths where the value is a length.
    kinds = {amount.kind for amount in (unit, first, last) if not amount.bare}
    if len(kinds) > 1:
        refuse(f"range {name}: its value and the ends are not of one kind; write all with their unit")
    kind = next(iter(kinds), (0, 0))
    unit = replace(unit, length=kind[0], angle=kind[1], bare=False)
    if last.value < first.value:
        refuse(f"range {name}: --to lies below --from")
    by = _amount("--step", step).value if step is not None else _step(first.value, last.value, kind)
    if by <= 0:
        refuse(f"--step {step}: is not above 0")
    return _Question(document, Path(scene).parent, name, unit, given, runs), first.value, last.value, by


def _step(low: float, high: float, kind: tuple[int, int]) -> float:
    if kind == (0, 0):
        return 1.0
    return max((high - low) / STEPS, TO)


def _amount(what: str, written: object) -> Amount:
    try:
        got = parse(written)  # type: ignore[arg-type]
        if isinstance(got, Uncertain):
            return got.nominal
        return evaluate(arithmetic(written), from_table({}))  # type: ignore[arg-type]
    except ValueMistake as wrong:
        refuse(f"{what} {written}: {wrong.problem}" + (f"; {wrong.mend}" if wrong.mend else ""))
