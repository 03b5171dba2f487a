"""The results of a batch as arrays: what varies, how each layout stands, its figures."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from fitcheck.finding import Verdict
from fitcheck.layouts.columns import Cell, Column, Kind, figure_column, varied_columns
from fitcheck.layouts.read import Layouts
from fitcheck.layouts.summary import Record, holds
from fitcheck.scene.choices import spelled
from fitcheck.scene.kinds import Scalar


class Stand(IntEnum):
    """How a layout stands, the best first."""

    FITS = 0
    TIGHT = 1
    MISSES = 2
    UNKNOWN = 3
    FAILS = 4
    WRONG = 5


# Up to this one a layout holds.
GOOD = Stand.TIGHT
WORDS = {
    Stand.FITS: "fits",
    Stand.TIGHT: "tight",
    Stand.MISSES: "misses a demand",
    Stand.UNKNOWN: "unknown",
    Stand.FAILS: "fails",
    Stand.WRONG: "cannot be built",
}


@dataclass(frozen=True)
class Varied:
    """One thing that varies, and its value in each layout.

    Args:
        column: its name, unit and type.
        cells: its different values in the order of an axis.
        at: which of them each layout has, (n,).
    """

    column: Column
    cells: tuple[Cell, ...]
    at: NDArray[np.int32]

    @property
    def words(self) -> list[str]:
        """The values as they are written at an axis; their unit stands in its title."""
        return [cell if isinstance(cell, str) else f"{cell:.6g}" for cell in self.cells]


@dataclass(frozen=True)
class Gathered:
    """All layouts.

    Args:
        numbers: of the layouts, from 1, (n,).
        varied: what varies, in order.
        stands: `Stand` of each layout, (n,).
        figures: each with its values, (n,), not a number where it is not known.
    """

    numbers: NDArray[np.int64]
    varied: tuple[Varied, ...]
    stands: NDArray[np.int8]
    figures: tuple[tuple[Column, NDArray[np.float64]], ...]

    @property
    def good(self) -> NDArray[np.bool_]:
        """Which layouts fit and meet the demands, (n,)."""
        good: NDArray[np.bool_] = self.stands <= GOOD
        return good

    def figure(self, name: str) -> tuple[Column, NDArray[np.float64]]:
        """One of the figures."""
        return next(one for one in self.figures if one[0].name == name)

    def row_of(self, number: int) -> int:
        """Where a layout stands in the arrays."""
        return int(np.flatnonzero(self.numbers == number)[0])


def gathered(layouts: Layouts, records: Iterable[Record], count: int) -> Gathered:
    """Put so many results into arrays; a million take some 50 MB."""
    axes = [(column, *_axis(column, cells)) for column, cells in varied_columns(layouts)]
    names = list(layouts.figures)
    at = np.zeros((len(axes), count), np.int32)
    numbers, stands = np.zeros(count, np.int64), np.zeros(count, np.int8)
    figures = np.full((len(names), count), np.nan)
    for row, record in enumerate(records):
        numbers[row], stands[row] = record["layout"], _stand(record)
        for k, (column, _, places) in enumerate(axes):
            at[k, row] = places[record["values"][column.name]]
        measured = record.get("figures", {})
        for k, name in enumerate(names):
            value = measured.get(name)
            figures[k, row] = np.nan if value is None else value
    varied = tuple(Varied(column, cells, at[k]) for k, (column, cells, _) in enumerate(axes))
    titled = [figure_column(name, figure) for name, figure in layouts.figures.items()]
    return Gathered(numbers, varied, stands, tuple(zip(titled, figures, strict=True)))


def _axis(column: Column, cells: Mapping[Scalar, Cell]) -> tuple[tuple[Cell, ...], dict[Scalar, int]]:
    """The different cells, numbers in their order and words as they are listed; where each value stands."""
    kept = list(dict.fromkeys(cells.values()))
    if column.kind != Kind.TEXT:
        kept.sort(key=lambda cell: float(cell or 0))
    places = {cell: place for place, cell in enumerate(kept)}
    return tuple(kept), {value: places[cell] for value, cell in cells.items()}


def _stand(record: Record) -> Stand:
    verdict = record["verdict"]
    if verdict is None:
        return Stand.WRONG
    if verdict in (Verdict.FITS, Verdict.TIGHT) and not holds(record):
        return Stand.MISSES
    return Stand[Verdict(verdict).name]


def said_value(column: Column, value: float) -> str:
    """A figure with its unit."""
    if np.isnan(value):
        return "not known"
    return f"{spelled(round(value, 1))} {column.unit}".rstrip()
