"""A CSV with one layout a row, as the layouts file it stands for."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from pathlib import Path

from fitcheck.scene.kinds import Scalar
from fitcheck.scene.mistakes import Mark, Mistake, Mistakes
from fitcheck.scene.refusals import Path as Keys
from fitcheck.scene.text import Document, Spot


def document_of_csv(text: str, name: str, scene: Path | None) -> Document:
    """A table of layouts as the layouts file it stands for; marks are those of the CSV.

    Raises:
        Mistakes: it has no rows, or rows of another length than its first.
    """
    if scene is None:
        said = "a CSV file does not say which scene it is about"
        raise Mistakes([Mistake(Mark(name, 1, 1), "", said, "give --scene FILE")])
    rows = [row for row in csv.reader(io.StringIO(text.removeprefix("\ufeff"))) if row]
    if len(rows) < 2:
        raise Mistakes([Mistake(Mark(name, 1, 1), "", "expected names in the first row, layouts below")])
    columns = [cell.strip() for cell in rows[0]]
    wrong = [
        Mistake(Mark(name, at, 1), "", f"this row has {len(row)} cells, the first has {len(columns)}")
        for at, row in enumerate(rows[1:], 2)
        if len(row) != len(columns)
    ]
    if wrong:
        raise Mistakes(wrong)
    spots: dict[Keys, Spot] = {(): Spot((1, 1)), ("scene",): Spot((1, 1)), ("tables",): Spot((1, 1))}
    base: Keys = ("tables", 0)
    for at, row in enumerate(rows):
        column = 1
        for k, cell in enumerate(row):
            path = (*base, "columns", k) if at == 0 else (*base, "rows", at - 1, k)
            spots[path] = Spot((at + 1, column))
            column += len(cell) + 1
    cells: Callable[[str], Scalar] = _cell
    table = {"columns": columns, "rows": [[cells(cell.strip()) for cell in row] for row in rows[1:]]}
    return Document(name, {"scene": str(scene), "tables": [table]}, tuple(text.splitlines()), spots)


def _cell(said: str) -> Scalar:
    """A cell as the same text would be read in a file."""
    try:
        return int(said)
    except ValueError:
        return {"yes": True, "no": False, "true": True, "false": False}.get(said.lower(), said)
