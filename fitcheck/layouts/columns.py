"""The columns of a table of layouts: what varies and what was found out, with units and types."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from fitcheck.layouts.read import Layouts
from fitcheck.layouts.summary import Record, holds
from fitcheck.scene.amounts import Amount
from fitcheck.scene.choices import spelled
from fitcheck.scene.expression import evaluate, from_table
from fitcheck.scene.kinds import Scalar
from fitcheck.scene.layout_entries import Figure
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.scene.quantity import arithmetic

Cell = str | int | float | bool | None
# Units of dimensions that a parameter has.
UNITS = {(1, 0): "mm", (0, 1): "deg", (0, 0): ""}
# What checks measure that is no length; those of a loop are lengths and pressures.
MEASURED = {"drainage": "ml", "loop": ""}


class Kind(StrEnum):
    """What the cells of a column are."""

    WHOLE = "whole"
    NUMBER = "number"
    FLAG = "flag"
    TEXT = "text"


@dataclass(frozen=True)
class Column:
    """One column.

    Args:
        name: as in the layouts file.
        kind: of its cells; any may be None.
        unit: of its numbers; empty where they have none.
    """

    name: str
    kind: Kind
    unit: str = ""

    @property
    def title(self) -> str:
        """Its name with its unit."""
        return f"{self.name} [{self.unit}]" if self.unit else self.name


def columns_of(layouts: Layouts) -> list[Column]:
    """All columns, in order; the same whatever was found out."""
    varied = [column for column, _ in varied_columns(layouts)]
    figures = [figure_column(name, figure) for name, figure in layouts.figures.items()]
    ends = [Column(name, Kind.TEXT) for name in ("missed", "worst", "sentence")]
    verdict, good = Column("verdict", Kind.TEXT), Column("holds", Kind.FLAG)
    return [Column("layout", Kind.WHOLE), *varied, verdict, good, *figures, *ends]


def rows_of(layouts: Layouts, records: Iterable[Record]) -> Iterator[Sequence[Cell]]:
    """A row for each layout, in the order in which they come."""
    varied = [(column.name, cells) for column, cells in varied_columns(layouts)]
    figures = list(layouts.figures)
    for record in records:
        found: Mapping[str, Any] = record.get("figures", {})
        yield [
            record["layout"],
            *(cells[record["values"][name]] for name, cells in varied),
            record["verdict"] or "wrong",
            holds(record),
            *(found.get(name) for name in figures),
            ", ".join(record.get("missed", ())),
            record.get("worst", ""),
            record.get("sentence", "; ".join(record.get("mistakes", ()))),
        ]


def varied_columns(layouts: Layouts) -> list[tuple[Column, dict[Scalar, Cell]]]:
    """A column for each thing that varies, and its cell for each value as a record spells it."""
    return [
        _varied(name, [row[at] for row in wheel.rows])
        for wheel in layouts.choices.wheels
        for at, name in enumerate(wheel.names)
    ]


def _varied(name: str, values: Sequence[Scalar]) -> tuple[Column, dict[Scalar, Cell]]:
    amounts = [_amount(value) for value in values]
    known = [amount for amount in amounts if amount is not None]
    kinds = {amount.kind for amount in known if not amount.bare}
    if len(known) < len(values) or len(kinds) > 1 or not kinds <= set(UNITS):
        shown = [spelled(value) if isinstance(value, bool) else value for value in values]
        return Column(name, Kind.TEXT), {value: spelled(value) for value in shown}
    unit = UNITS[next(iter(kinds))] if kinds else ""
    if all(isinstance(value, int) for value in values):
        return Column(name, Kind.WHOLE, unit), {value: value for value in values}
    numbers = {value: amount.value for value, amount in zip(values, known, strict=True)}
    return Column(name, Kind.NUMBER, unit), dict(numbers)


def _amount(value: Scalar) -> Amount | None:
    """What a value comes to by itself; None for a word, and for what a scene would have to work out."""
    if isinstance(value, bool):
        return None
    try:
        return evaluate(arithmetic(value), from_table({}))
    except ValueMistake:
        return None


def figure_column(name: str, figure: Figure) -> Column:
    """The column of a figure; a price has the unit that its author thinks of."""
    unit = "" if figure.cost is not None else MEASURED.get(figure.check or "", "mm")
    return Column(name, Kind.NUMBER, unit)
