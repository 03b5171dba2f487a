"""A table as a comma-separated file that every spreadsheet opens as it is meant."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

# With one of these in front a spreadsheet takes a text for a formula.
FORMULA = ("=", "+", "-", "@", "\t", "\r")

Cell = str | int | float | None


def sheet(header: Sequence[str], rows: Iterable[Sequence[Cell]], decimals: int) -> bytes:
    """A table as RFC 4180 text in UTF-8 with its signature, so that no sign in a name is misread.

    Args:
        header: names of the columns, with their units.
        rows: cells; None is left empty, a text that looks like a formula gets an apostrophe in front.
        decimals: of every number that is not whole by type.
    """
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(header)
    writer.writerows([_cell(cell, decimals) for cell in row] for row in rows)
    return text.getvalue().encode("utf-8-sig")


def _cell(cell: Cell, decimals: int) -> str:
    if cell is None:
        return ""
    if isinstance(cell, str):
        return f"'{cell}" if cell.startswith(FORMULA) else cell
    if isinstance(cell, int):
        return str(cell)
    # Adding 0 turns the -0.0 that rounding leaves into 0.0.
    return f"{round(cell, decimals) + 0.0:.{decimals}f}"
