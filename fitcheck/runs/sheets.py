"""A table as a comma-separated file that every spreadsheet opens as it is meant."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence

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
    return b"".join(sheet_lines(header, rows, decimals))


def sheet_lines(
    header: Sequence[str], rows: Iterable[Sequence[Cell]], decimals: int | None
) -> Iterator[bytes]:
    """The same a line at a time, so that a table may be longer than the memory holds.

    Args:
        header, rows: as `sheet`.
        decimals: as `sheet`; None writes the digits that there are, ten at most.
    """
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(header)
    yield text.getvalue().encode("utf-8-sig")
    for row in rows:
        text.seek(0)
        text.truncate()
        writer.writerow([_cell(cell, decimals) for cell in row])
        yield text.getvalue().encode()


def _cell(cell: Cell, decimals: int | None) -> str:
    if cell is None:
        return ""
    if isinstance(cell, str):
        return f"'{cell}" if cell.startswith(FORMULA) else cell
    if isinstance(cell, int):
        return str(cell)
    if decimals is None:
        return f"{cell + 0.0:.10g}"
    # Adding 0 turns the -0.0 that rounding leaves into 0.0.
    return f"{round(cell, decimals) + 0.0:.{decimals}f}"
