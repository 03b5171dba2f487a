"""The runs of a scene as people cut and bend them: a list, a cut list, a bend table."""

from __future__ import annotations

from collections.abc import Sequence

from fitcheck.finding import Finding
from fitcheck.runs.bend_table import BendTable, bend_sheet, bend_table
from fitcheck.runs.cut_list import CutPiece, cut_sheet
from fitcheck.runs.route import Route
from fitcheck.world.wishes import RIGID, LaidRun

HEADER = ("run", "kind", "outside", "length", "cut", "bends", "verdict")


def run_list(laid: Sequence[LaidRun], findings: Sequence[Finding]) -> str:
    """All runs as a table for reading, lengths in mm, then what is to be said of them; ends in a newline."""
    if not laid:
        return "the scene has no runs\n"
    told = {finding.parts[0]: finding for finding in findings if finding.check == "run"}
    rows = [HEADER, *(_row(run, str(told[run.name].verdict)) for run in laid)]
    widths = [max(len(row[k]) for row in rows) for k in range(len(HEADER))]
    lines = [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows
    ]
    lines += ["", *(told[run.name].sentence for run in laid)]
    return "\n".join(lines) + "\n"


def _row(run: LaidRun, verdict: str) -> tuple[str, ...]:
    wish = run.wish
    size = f"{wish.flat[0]:g} x {wish.flat[1]:g}" if wish.flat else f"{wish.outside:g}"
    if run.corners is None:
        return wish.name, wish.kind, size, "-", "-", "-", verdict
    return wish.name, wish.kind, size, f"{run.length:.1f}", f"{_cut(run):.1f}", str(run.bends), verdict


def _cut(run: LaidRun) -> float:
    return run.length + sum(run.wish.allowance)


def cut_list_file(laid: Sequence[LaidRun]) -> bytes:
    """The cut list of all runs that have a way, as CSV."""
    return cut_sheet(
        [
            CutPiece(run.name, run.wish.kind, run.wish.outside, run.wish.bore, _cut(run), run.bends)
            for run in laid
            if run.corners is not None
        ]
    )


def bend_table_file(laid: Sequence[LaidRun]) -> bytes:
    """Points and rows of length, rotation and angle of all rigid tubes that have a way, as CSV."""
    return bend_sheet(
        {run.name: _table(run) for run in laid if run.corners is not None and run.wish.kind == RIGID}
    )


def _table(run: LaidRun) -> BendTable:
    assert run.corners is not None
    return bend_table(Route(run.corners, run.radius), *run.wish.allowance)
