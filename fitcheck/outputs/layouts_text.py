"""A batch of layouts for people: the summary, and the table for spreadsheets."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

from fitcheck.layouts.columns import Cell, columns_of, rows_of
from fitcheck.layouts.read import Layouts
from fitcheck.layouts.summary import MOST_FRONT, Record, Summary, said_figures, said_values
from fitcheck.runs.sheets import sheet_lines
from fitcheck.scene.choices import spelled

# So many lines of each list.
LISTED = 5


def summary_text(layouts: Layouts, found: Summary) -> str:
    """What all layouts together say, in a few lines."""
    return "".join(f"{line}\n" for line in _lines(layouts, found))


def _lines(layouts: Layouts, found: Summary) -> Iterator[str]:
    title = layouts.file.title or Path(layouts.document.name).name
    yield f"{title}: {found.good:,} of {found.asked:,} layouts fit" + (
        " and meet the demands" if layouts.demands else ""
    )
    yield "  " + ", ".join(f"{count:,} {verdict}" for verdict, count in sorted(found.verdicts.items()))
    if not layouts.file.runs:
        yield "  tubes and cables were not laid, and rules that need them not asked (runs: yes asks all)"
    if found.best:
        by = ", then ".join(f"{sense} {figure}" for sense, figure in layouts.rank)
        yield f"the best by {by}:"
        for record in found.best[:LISTED]:
            yield f"  layout {record['layout']}: {said_values(record)}: {', '.join(said_figures(record))}"
        if len(layouts.rank) > 1:
            many = f"{len(found.front)}{' or more' if len(found.front) == MOST_FRONT else ''}"
            yield f"no other is better in one figure and as good in the rest ({many}):"
            for record in found.front[:LISTED]:
                yield f"  layout {record['layout']}: {said_values(record)}: {', '.join(said_figures(record))}"
    if found.ruled_out:
        yield "what rules most out:"
        for what, count in found.ruled_out.most_common(LISTED):
            alone = f", {found.alone[what]:,} of them alone" if found.alone[what] else ""
            yield f"  {what}: {count:,} layouts{alone}"
    if found.rescues:
        name, count = found.rescues.most_common(1)[0]
        yield f"one change that would rescue most: {name}, {count:,} layouts"


def layouts_csv(layouts: Layouts, records: Iterable[Record]) -> Iterator[bytes]:
    """A line a layout for spreadsheets, in the order in which they come, the names of the columns first."""
    rows = ([_shown(cell) for cell in row] for row in rows_of(layouts, records))
    yield from sheet_lines([column.title for column in columns_of(layouts)], rows, None)


def _shown(cell: Cell) -> str | int | float | None:
    return spelled(cell) if isinstance(cell, bool) else cell
