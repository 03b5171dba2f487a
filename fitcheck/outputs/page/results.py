"""Results of a batch as the page lists them: a table, and pictures of all."""

from __future__ import annotations

import csv
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from fitcheck.outputs.page.packed import text64

# A longer table is read in a spreadsheet; larger files are none that a page should carry, bytes.
ROWS = 300
TABLE_BYTES, PICTURE_BYTES = 200_000_000, 2_000_000
PNG = b"\x89PNG\r\n\x1a\n"


class NoResults(Exception):
    """A file that was named holds nothing to show; says why."""


def more_of(layouts: Path | None, plots: Sequence[Path]) -> dict[str, Any]:
    """What the page shows of a batch.

    Raises:
        NoResults: a file is not what it should be.
    """
    return {
        "layouts": None if layouts is None else _table(layouts),
        "plots": [_picture(path) for path in plots],
    }


def _picture(path: Path) -> dict[str, str]:
    data = _read(path, "--plot", PICTURE_BYTES)
    if not data.startswith(PNG):
        raise NoResults(f"--plot {path}: is no PNG; name a picture that fitcheck batch --plot drew")
    return {"name": path.stem, "data": f"data:image/png;base64,{text64(data)}"}


def _table(path: Path) -> dict[str, Any]:
    readers = {".csv": _of_csv, ".jsonl": _of_lines}
    read = readers.get(path.suffix.lower())
    if read is None:
        raise NoResults(f"--layouts {path}: write a .csv or .jsonl that fitcheck batch wrote")
    data = _read(path, "--layouts", TABLE_BYTES)
    try:
        columns, rows = read(data.decode("utf-8-sig"))
    except (ValueError, KeyError, TypeError, IndexError):
        raise NoResults(f"--layouts {path}: is no table of layouts; name what fitcheck batch wrote") from None
    return {"file": path.name, "columns": columns, "rows": rows[:ROWS], "count": len(rows)}


def _read(path: Path, option: str, most: int) -> bytes:
    try:
        if path.stat().st_size > most:
            raise NoResults(f"{option} {path}: is larger than {most / 1e6:.0f} MB; that is the limit")
        return path.read_bytes()
    except OSError as why:
        raise NoResults(f"{option} {path}: {why.strerror or why}") from None


def _of_csv(text: str) -> tuple[list[str], list[list[Any]]]:
    columns, *rows = csv.reader(text.splitlines())
    if "layout" not in columns[0] or any(len(row) != len(columns) for row in rows):
        raise ValueError
    return columns, [[_number(cell) for cell in row] for row in rows]


def _of_lines(text: str) -> tuple[list[str], list[list[Any]]]:
    records = sorted(
        (one for one in map(json.loads, text.splitlines()) if "layout" in one), key=lambda one: one["layout"]
    )
    first = records[0]
    values, figures = list(first["values"]), list(first.get("figures", {}))
    columns = ["layout", *values, "verdict", *figures, "sentence"]
    rows = [
        [
            one["layout"],
            *(one["values"][name] for name in values),
            one["verdict"] or "cannot be built",
            *(one.get("figures", {}).get(name) for name in figures),
            one.get("sentence", ""),
        ]
        for one in records
    ]
    return columns, rows


def _number(cell: str) -> str | float | int:
    try:
        number = float(cell)
    except ValueError:
        return cell
    return int(number) if number.is_integer() and "." not in cell else number
