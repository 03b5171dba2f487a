"""A template as PDF: a first page with map, table and cautions, then 1:1 sheets to be laid together."""

from __future__ import annotations

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from fitcheck.outputs.drawings.paper import (
    BOLD,
    GREY,
    LINE,
    Flow,
    Pages,
    width_of,
    wrapped,
)
from fitcheck.outputs.drawings.pdf_ink import cross, draw, outline, stroke
from fitcheck.outputs.drawings.wording import heading, notes, table
from fitcheck.templates.drawing import Drawing
from fitcheck.templates.marks import Line, Outline, bounds, box, ink
from fitcheck.templates.tiles import (
    BELOW,
    LEFT,
    OVERLAP,
    WHITE,
    Printer,
    Tile,
    Tiling,
    tiled,
)

# The map on the first page, and the small one on each sheet, mm.
MAP, SMALL_MAP = (80.0, 75.0), (26.0, 18.0)


def pdf(drawing: Drawing, paper: str, printer: Printer | None = None) -> bytes:
    """All pages of a template, `a4` or `letter`; sheets are drawn larger where a printer comes out short."""
    printer = printer or Printer()
    tiling = tiled(drawing, paper, printer)
    pages = Pages(f"{drawing.name}, template 1:1", paper)
    _first(pages, drawing, tiling, printer)
    for tile in tiling.tiles:
        _sheet(pages, drawing, tiling, tile)
    return pages.bytes()


def _first(pages: Pages, drawing: Drawing, tiling: Tiling, printer: Printer) -> None:
    """Heading, map, table, warnings and cautions."""
    flow = Flow(pages, drawing.name, (100.0 / printer.short, 100.0 / printer.long))
    for k, said in enumerate(heading(drawing)):
        flow.say(said, 4.6 if k == 0 else 2.9, k == 0, gap=1.5 if k == 0 else 0.0)
    flow.y -= 2.0
    top = flow.y
    across, tall = _map(pages, drawing, tiling, (flow.left + 6.0, top - MAP[1]), MAP, None)
    pages.arrow_up(flow.left + 1.5, top - 24.0, 18.0, f"up: {drawing.up}")
    beside = flow.left + across + 14.0
    y = top - 3.0
    for said in _about(drawing, tiling, printer):
        for line in wrapped(said, pages.size[0] - WHITE - beside):
            pages.text(beside, y, line)
            y -= LINE
    flow.y = min(top - max(tall, 26.0) - 8.0, y - LINE)
    rows = table(drawing)
    if rows:
        flow.table(rows[0], rows[1:], frozenset((0, 1, 2)))
    for said in notes(drawing):
        flow.say(f"• {said}", indent=2.4)


def _about(drawing: Drawing, tiling: Tiling, printer: Printer) -> list[str]:
    """How the sheets are put together."""
    many = len(tiling.tiles)
    names = f"{tiling.tiles[0].name} to {tiling.tiles[-1].name}" if many > 1 else tiling.tiles[0].name
    said = [
        f"{many} sheet{'s' if many > 1 else ''} of {'A4' if tiling.paper == 'a4' else 'Letter'}, {names}."
    ]
    if many > 1:
        said.append(
            f"Neighbours overlap by {OVERLAP:g} mm: lay cross on cross, then tape. Letters are rows "
            "from the top, figures columns from the left."
        )
    left = tiling.rows * tiling.columns - many
    if left:
        said.append(
            f"{left} sheet{'s' if left > 1 else ''} with nothing on {'them' if left > 1 else 'it'} left out."
        )
    if tiling.split:
        numbers = ", ".join(map(str, tiling.split))
        said.append(f"On no one sheet whole: number {numbers}. Check after taping.")
    said.append(
        "Print at 100 %, no fitting to the page. Both marks must measure 100 mm; if not, ask again with "
        "--measured and what they measure, the one along the short side first: --measured 99.4 100.1."
    )
    if (printer.short, printer.long) != (100.0, 100.0):
        said.append(
            f"Corrected for a printer whose marks came out {printer.short:g} and {printer.long:g} mm long."
        )
    return said


def _sheet(pages: Pages, drawing: Drawing, tiling: Tiling, tile: Tile) -> None:
    """One sheet: its part of the drawing at 1:1, its name, its neighbours, the map."""
    pages.begin(tiling.standing, tiling.scale)
    wide, high = pages.size
    x, y = WHITE + LEFT, WHITE + BELOW
    shown = [size * factor for size, factor in zip(tiling.window, tiling.scale, strict=True)]
    c = pages.canvas
    c.saveState()
    c.translate(x * mm, y * mm)
    clip = c.beginPath()
    clip.rect(0, 0, shown[0] * mm, shown[1] * mm)
    c.clipPath(clip, stroke=0, fill=0)
    c.scale(tiling.scale[0] * mm, tiling.scale[1] * mm)
    c.translate(-tile.low[0], -tile.low[1])
    for one in ink(drawing):
        low_x, low_y, high_x, high_y = box(one)
        seen_x = low_x <= tile.low[0] + tiling.window[0] and high_x >= tile.low[0]
        if seen_x and low_y <= tile.low[1] + tiling.window[1] and high_y >= tile.low[1]:
            draw(c, one)
    for k, place in enumerate(tiling.crosses, 1):
        if tiling.shows(tile, place):
            cross(c, place, str(k))
    c.restoreState()
    _seams(pages, tiling, tile, (x, y), (shown[0], shown[1]))
    top = high - WHITE
    pages.text(x, top - 7.0, tile.name, 8.0, True)
    beside = x + max(16.0, width_of(tile.name, 8.0, True) + 5.0)
    pages.arrow_up(beside + 3.0, top - 17.5, 17.0, f"up: {drawing.up}")
    beside += 8.0
    pages.text(beside, top - 3.2, drawing.name, 3.4, True)
    for k, said in enumerate(
        (drawing.face, _made(drawing), _joins(tiling, tile), "Check both 100 mm marks first.")
    ):
        pages.text(beside, top - 7.2 - 3.5 * k, said, 2.5)
    _map(pages, drawing, tiling, (wide - WHITE - SMALL_MAP[0], top - SMALL_MAP[1]), SMALL_MAP, tile)


def _made(drawing: Drawing) -> str:
    many = len(drawing.parts)
    edges = f"datum: {drawing.datum.left} and {drawing.datum.bottom} edge"
    return f"{drawing.thickness:g} mm, {drawing.made_of}; make {many}; {edges}"


def _joins(tiling: Tiling, tile: Tile) -> str:
    """Which sheets lie beside this one."""
    by_place = {(one.row, one.column): one.name for one in tiling.tiles}
    said = [
        f"{word} {by_place[place]}"
        for word, place in (
            ("left", (tile.row, tile.column - 1)), ("right", (tile.row, tile.column + 1)),
            ("above", (tile.row - 1, tile.column)), ("below", (tile.row + 1, tile.column)),
        )
        if place in by_place
    ]  # fmt: skip
    return f"beside it: {', '.join(said)}" if said else "the only sheet"


def _seams(
    pages: Pages, tiling: Tiling, tile: Tile, corner: tuple[float, float], shown: tuple[float, float]
) -> None:
    """The edges of what is shown, and the middle of each overlap with a neighbour that is printed."""
    (x, y), (w, h) = corner, shown
    for a, b, u, v in (
        (x, y, x + w, y),
        (x + w, y, x + w, y + h),
        (x + w, y + h, x, y + h),
        (x, y + h, x, y),
    ):
        pages.line(a, b, u, v, 0.1, GREY)
    places = {(one.row, one.column) for one in tiling.tiles}
    half_x, half_y = (OVERLAP / 2 * factor for factor in tiling.scale)
    for there, (a, b, u, v) in (
        ((tile.row, tile.column - 1), (x + half_x, y, x + half_x, y + h)),
        ((tile.row, tile.column + 1), (x + w - half_x, y, x + w - half_x, y + h)),
        ((tile.row - 1, tile.column), (x, y + h - half_y, x + w, y + h - half_y)),
        ((tile.row + 1, tile.column), (x, y + half_y, x + w, y + half_y)),
    ):
        if there in places:
            pages.line(a, b, u, v, 0.1, GREY, (1.5, 1.5))


def _map(
    pages: Pages,
    drawing: Drawing,
    tiling: Tiling,
    corner: tuple[float, float],
    size: tuple[float, float],
    here: Tile | None,
) -> tuple[float, float]:
    """All sheets small, with the drawing under them, the present one tinted; its size as it came out, mm."""
    low_x, low_y, high_x, high_y = bounds(drawing)
    for tile in tiling.tiles:
        low_x, low_y = min(low_x, tile.low[0]), min(low_y, tile.low[1])
        high_x, high_y = (
            max(high_x, tile.low[0] + tiling.window[0]),
            max(high_y, tile.low[1] + tiling.window[1]),
        )
    factor = min(size[0] / (high_x - low_x), size[1] / (high_y - low_y))
    c: Canvas = pages.canvas
    c.saveState()
    # At the right upper corner of its room on a sheet, at the left on the first page.
    right = size[0] - factor * (high_x - low_x) if here is not None else 0.0
    c.translate((corner[0] + right) * mm, (corner[1] + size[1] - factor * (high_y - low_y)) * mm)
    c.scale(factor * mm, factor * mm)
    c.translate(-low_x, -low_y)
    thin = 0.15 / factor
    for tile in tiling.tiles:
        c.setStrokeColorRGB(*GREY)
        c.setLineWidth(thin)
        fill = tile is here
        c.setFillColorRGB(0.8, 0.86, 0.92)
        c.rect(tile.low[0], tile.low[1], *tiling.window, stroke=1, fill=int(fill))
    _small(c, drawing, thin, "whole" if here is None else "small")
    for tile in tiling.tiles if here is None else ():
        height = 4.0 / factor
        c.setFillColorRGB(*GREY)
        c.setFont(BOLD, height)
        c.drawCentredString(
            tile.low[0] + tiling.window[0] / 2, tile.low[1] + tiling.window[1] / 2 - height / 3, tile.name
        )
    c.restoreState()
    return factor * (high_x - low_x), factor * (high_y - low_y)


def _small(c: Canvas, drawing: Drawing, thin: float, name: str) -> None:
    """The outlines and bends of a drawing, kept in the file once however many pages show them."""
    if not c.hasForm(name):
        low_x, low_y, high_x, high_y = bounds(drawing)
        c.beginForm(name, low_x, low_y, high_x, high_y)
        for one in ink(drawing):
            if isinstance(one, Outline):
                stroke(c, one.layer, one.dashed, thin)
                outline(c, one)
            elif isinstance(one, Line) and one.layer == "BEND":
                stroke(c, one.layer, False, thin)
                c.line(*one.a, *one.b)
        c.endForm()
    c.doForm(name)
