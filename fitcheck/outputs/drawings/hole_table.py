"""The table of holes as a file for spreadsheets."""

from __future__ import annotations

from fitcheck.runs.sheets import sheet
from fitcheck.templates.drawing import Drawing

HEADER = (
    "template", "number", "x [mm]", "y [mm]", "x from", "y from", "diameter [mm]", "size [mm]", "kind", "for",
    "thread", "tap drill [mm]", "depth [mm]", "note", "hole",
)  # fmt: skip
DECIMALS = 3


def hole_table(drawing: Drawing) -> bytes:
    """All holes, cut-outs and marks of a template, in its own order, as CSV."""
    edges = drawing.datum
    return sheet(
        HEADER,
        (
            (
                drawing.name, s.number, s.at[0], s.at[1], f"{edges.left} edge", f"{edges.bottom} edge",
                s.diameter, s.size, s.kind, s.what_for, s.thread, s.tap_drill, s.depth, s.note, s.hole,
            )
            for s in drawing.spots
        ),
        DECIMALS,
    )  # fmt: skip
