"""What is bought and what is cut, as tables for spreadsheets: parts, screws, sheet and sections."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any

from fitcheck.finding import Finding
from fitcheck.outputs.catalogue import summary
from fitcheck.report import Report
from fitcheck.runs.sheets import Cell, sheet
from fitcheck.scene.read import library
from fitcheck.templates.made import Stock
from fitcheck.world.world import Part, World

DECIMALS = 2
ANY_INDEX = re.compile(r"\[\d+\]")


def parts_list(world: World, made: Sequence[Stock]) -> bytes:
    """All parts of the scene, like ones together; then its tubes and cables by their kind.

    Sizes are those of the bounds as it stands. `made` says which solids are cut in the workshop.
    """
    header = (
        "number", "part", "model", "what", "made or bought", "wide [mm]", "deep [mm]",
        "high [mm]", "given", "names",
    )  # fmt: skip
    cut = {name.rpartition(".")[0] for one in made for name in one.parts}
    runs = {wish.name for wish in world.wishes}
    groups: dict[tuple[Any, ...], list[list[Part]]] = {}
    for own in _scene_parts(world).values():
        if own[0].name not in runs:
            groups.setdefault(_kind(own), []).append(own)
    summaries = _summaries({part.model for part in world.parts})
    rows: list[tuple[Cell, ...]] = []
    for alike in groups.values():
        first = alike[0]
        wide, deep, high = _size(first)
        names = [own[0].group for own in alike]
        rows.append(
            (
                len(alike), ANY_INDEX.sub("", names[0]), first[0].model, summaries.get(first[0].model, ""),
                "made" if any(part.name in cut for part in first) else "bought", wide, deep, high,
                _given(first[0]), ", ".join(names),
            )
        )  # fmt: skip
    rows += _runs(world)
    return sheet(header, rows, DECIMALS)


def screws_list(report: Report) -> bytes | None:
    """All screws by thread and length, with washers, nuts and what they go through; None if none is known."""
    rows = report.facts.get("fastening", {}).get("screws", ())
    if not rows:
        return None
    through: dict[tuple[str, int], list[str]] = {}
    for finding in report.findings:
        if _is_screw(finding):
            key = finding.details["screw"], finding.details["washers"]
            through.setdefault(key, []).append(" into ".join(finding.parts))
    header = (
        "thread", "length [mm]", "head", "number", "washers under each", "washers in all", "nuts "
        "in all", "through",
    )  # fmt: skip
    listed = sorted(
        ((screw_size(row["screw"]), row) for row in rows), key=lambda one: (one[0], one[1]["washers"])
    )
    return sheet(
        header,
        (
            (
                thread, float(length), head, row["count"], row["washers"], row["washers"] * row["count"],
                row["nuts"] * row["count"], "; ".join(through.get((row["screw"], row["washers"]), ())),
            )
            for (thread, length, head), row in listed
        ),
        DECIMALS,
    )  # fmt: skip


def screw_size(said: str) -> tuple[str, float, str]:
    """Thread, length and head of a screw as the check names it.

    >>> screw_size("M3 × 30 cap")
    ('M3', 30.0, 'cap')
    """
    thread, _, rest = said.partition(" × ")
    length, _, head = rest.partition(" ")
    return thread, float(length), head


def stock_list(stock: Sequence[Stock]) -> bytes:
    """Sheets, folded sheets, sections and blocks to cut, thickest and largest first within each kind."""
    header = (
        "what", "of", "thickness or wall [mm]", "length [mm]", "width [mm]", "outer size [mm]",
        "number", "parts",
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = []
    for one in sorted(stock, key=lambda s: (s.what, s.made_of, *(-value for value in s.size), s.name)):
        outer = ""
        thick: float | None
        width: float | None
        if one.what in ("sheet", "folded sheet"):
            thick, length, width = one.size
        else:
            *across, length = one.size
            thick = across[2] if one.what == "section" else None
            width = None
            outer = " × ".join(f"{value:g}" for value in across[:2])
        many = len(one.parts)
        rows.append((one.what, one.made_of, thick, length, width, outer, many, ", ".join(one.parts)))
    return sheet(header, rows, DECIMALS)


def _is_screw(finding: Finding) -> bool:
    return finding.check == "fastening" and "screw" in finding.details


def _scene_parts(world: World) -> dict[str, list[Part]]:
    """The parts of each of the scene's own parts, those without solids left out unless they head others."""
    own: dict[str, list[Part]] = {}
    for part in world.parts:
        own.setdefault(part.group, []).append(part)
    return own


def _kind(own: Sequence[Part]) -> tuple[Any, ...]:
    """What like parts have in common: models and values of all that they consist of."""
    return tuple((part.model, tuple(sorted((k, str(v)) for k, v in part.values.items()))) for part in own)


def _size(own: Sequence[Part]) -> tuple[float, float, float]:
    bounds = [part.bounds for part in own if part.shape.solids]
    low = [min(float(one[0, k]) for one in bounds) for k in range(3)] if bounds else [0.0] * 3
    high = [max(float(one[1, k]) for one in bounds) for k in range(3)] if bounds else [0.0] * 3
    wide, deep, tall = (b - a for a, b in zip(low, high, strict=True))
    return wide, deep, tall


def _given(part: Part) -> str:
    """The model's first values, that say which size of it is meant."""
    said = []
    for name, value in list(part.values.items())[:4]:
        said.append(f"{name} {value:g}" if isinstance(value, int | float) else f"{name} {value}")
    return ", ".join(said)


def _summaries(models: set[str]) -> dict[str, str]:
    """What built-in models say they are, from their first lines."""
    return {name: summary(path) for name, path in library().items() if name in models}


def _runs(world: World) -> Iterator[tuple[Cell, ...]]:
    """Tubes and cables of one size together: their number and length in all."""
    groups: dict[tuple[str, float, float], list[tuple[str, float]]] = {}
    for run in world.laid:
        wish = run.wish
        long = 0.0 if run.corners is None else run.length + sum(wish.allowance)
        groups.setdefault((wish.kind, wish.bore, wish.outside), []).append((run.name, long))
    for (kind, bore, outside), pieces in sorted(groups.items()):
        size = f"{bore:g}/{outside:g} mm" if bore else f"{outside:g} mm"
        long = sum(length for _, length in pieces)
        missing = sum(1 for _, length in pieces if not length)
        said = f"{long / 1000:.2f} m in all" + (f"; {missing} without a way" if missing else "")
        names = ", ".join(name for name, _ in pieces)
        yield len(pieces), kind, "", f"{kind} {size}", "cut to length", None, None, None, said, names
