"""What is written beside a template, the same in every file: heading, table, warnings."""

from __future__ import annotations

from fitcheck.templates.drawing import Drawing, Spot
from fitcheck.templates.tapping import SOURCE

UNITS = "1:1, all lengths in millimetres"
HEADER = ("no.", "x", "y", "Ø or size", "kind", "for", "tap, drill", "note")


def heading(drawing: Drawing) -> tuple[str, ...]:
    """What it is, how many are made, which face is seen, which way is up."""
    many = len(drawing.parts)
    made = f"make {many}: {', '.join(drawing.parts)}" if many > 1 else "make 1"
    stuff = {"sheet": "sheet", "blank": "sheet, flat blank", "leg": "leg of a section",
             "side": "side of a block",             "block": "block"}[drawing.kind]  # fmt: skip
    of = "" if drawing.made_of in stuff else f" ({drawing.made_of})"
    wide, high = drawing.size
    edges = drawing.datum
    return (
        drawing.name,
        f"{made}; {stuff} {drawing.thickness:g} mm{of}, {_size(wide)} × {_size(high)} mm",
        drawing.face,
        f"up on the page: {drawing.up}",
        f"x from the {edges.left} edge (left on the page), y from the {edges.bottom} edge (below); {UNITS}",
    )


def table(drawing: Drawing) -> tuple[tuple[str, ...], ...]:
    """The table of holes and cut-outs in words, its header first; without columns that would stay empty."""
    rows = [_row(spot) for spot in drawing.spots]
    kept = [k for k in range(len(HEADER)) if any(row[k] for row in rows)]
    return tuple(tuple(row[k] for k in kept) for row in (HEADER, *rows)) if rows else ()


def notes(drawing: Drawing) -> tuple[str, ...]:
    """Warnings about this part, then the cautions; the source of tap drills where there are any."""
    tapped = (
        (f"{SOURCE[0].upper()}{SOURCE[1:]}.",) if any(s.tap_drill is not None for s in drawing.spots) else ()
    )
    return (*(f"Mind: {said}" for said in drawing.warnings), *tapped, *drawing.cautions)


def _size(length: float) -> str:
    return f"{round(length, 2):g}" if length < 1000 else f"{length:.1f}"


def _row(spot: Spot) -> tuple[str, ...]:
    size = f"Ø {spot.size}" if spot.diameter is not None else spot.size
    note = spot.note
    if spot.depth is not None:
        note = f"{spot.depth:g} deep{f', {note}' if note else ''}"
    return (
        str(spot.number), f"{spot.at[0]:.2f}", f"{spot.at[1]:.2f}", size, spot.kind, spot.what_for, tap(spot),
        note,
    )  # fmt: skip


def tap(spot: Spot) -> str:
    """Thread and drill in words, or empty."""
    if not spot.thread:
        return ""
    drill = "drill as its table says" if spot.tap_drill is None else f"drill {spot.tap_drill:g}"
    return f"{spot.thread}, {drill}"
