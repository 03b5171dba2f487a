"""A template as SVG at 1:1: one group a layer, millimetres, the table beside the drawing."""

from __future__ import annotations

from collections.abc import Iterator
from xml.sax.saxutils import escape

from fitcheck.outputs.drawings.wording import heading, notes, table
from fitcheck.templates.drawing import Circle, Drawing, Path
from fitcheck.templates.marks import LAYERS, LETTER, PAD, Ink, Line, Outline, ink

# Width of a line, and its colour, by layer.
STROKES = {
    "OUTLINE": (0.3, "#000000"), "CUTOUT": (0.3, "#000000"), "DRILL": (0.3, "#B00000"),
    "MARK": (0.25, "#8000A0"), "BEND": (0.3, "#0040C0"), "CENTRE": (0.13, "#505050"),
    "DATUM": (0.4, "#007030"),
    "TEXT": (0.0, "#202020"),    "SCALE": (0.2, "#202020"),
}  # fmt: skip
MARGIN, LINE = 12.0, 4.5
# The 100 mm marks meet so far below the datum.
MARK = 14.0
# What no XML file may hold.
CONTROL = dict.fromkeys([*range(9), 11, 12, *range(14, 32), 0xFFFE, 0xFFFF])


def svg(drawing: Drawing) -> bytes:
    """The whole drawing at its true size, for a screen or a plotter."""
    wide, high = drawing.size
    beside = MARGIN + wide + PAD + 14.0
    written = list(_written(drawing, beside))
    page_wide = (
        beside
        + max((at + len(text) * size * LETTER for at, _, size, text in written), default=beside)
        - beside
    )
    page_wide += MARGIN
    # The mark up the page is longer than a small part.
    bottom = max(MARGIN + PAD + high, MARGIN + 100.0 - MARK)
    page_high = max(bottom + MARK + MARGIN, max(y for _, y, _, _ in written) + MARGIN)
    groups: dict[str, list[str]] = {layer: [] for layer in LAYERS}
    for one in ink(drawing):
        groups[one.layer].append(_element(one, MARGIN, bottom))
    groups["SCALE"] += _scale(MARGIN, bottom + MARK)
    groups["TEXT"] += [_text(at, y, size, text) for at, y, size, text in written]
    groups["TEXT"] += _arrow(drawing, beside - 8.0, MARGIN + 24.0)
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_n(page_wide)}mm" height="{_n(page_high)}mm" '
        f'viewBox="0 0 {_n(page_wide)} {_n(page_high)}" font-family="sans-serif">',
        f"<title>{_safe(drawing.name)}</title>",
        f"<desc>{_safe('; '.join(heading(drawing)[1:]))}</desc>",
        f'<rect width="{_n(page_wide)}" height="{_n(page_high)}" fill="#FFFFFF"/>',
    ]
    for layer, items in groups.items():
        width, colour = STROKES[layer]
        lines.append(f'<g id="{layer}" fill="none" stroke="{colour}" stroke-width="{width:g}">')
        lines += [*items, "</g>"]
    return "\n".join([*lines, "</svg>", ""]).encode("utf-8")


def _element(one: Ink, left: float, bottom: float) -> str:
    def at(place: tuple[float, float]) -> tuple[str, str]:
        return _n(left + place[0]), _n(bottom - place[1])

    if isinstance(one, Line):
        (x, y), (u, v) = at(one.a), at(one.b)
        dashes = ' stroke-dasharray="3 1.5"' if one.dashed else ""
        return f'<line x1="{x}" y1="{y}" x2="{u}" y2="{v}"{dashes}/>'
    if isinstance(one, Outline):
        dashes = ' stroke-dasharray="2 1"' if one.dashed else ""
        if isinstance(one.shape, Circle):
            x, y = at(one.shape.middle)
            return f'<circle cx="{x}" cy="{y}" r="{_n(one.shape.diameter / 2)}"{dashes}/>'
        return f'<path d="{_path(one.shape, left, bottom)}"{dashes}/>'
    x, y = at(one.at)
    turned = f' transform="rotate(-90 {x} {y})"' if one.standing else ""
    anchor = "" if one.anchor == "start" else f' text-anchor="{one.anchor}"'
    colour = STROKES[one.layer][1]
    return (
        f'<text x="{x}" y="{y}" font-size="{one.height:g}" fill="{colour}" stroke="none"{anchor}{turned}>'
        f"{_safe(one.text)}</text>"
    )


def _path(path: Path, left: float, bottom: float) -> str:
    """Straights and half circles; counter-clockwise on the drawing is sweep 0 where y runs down."""
    corners = [(left + x, bottom - y) for x, y in path.corners]
    said = [f"M{_n(corners[0][0])} {_n(corners[0][1])}"]
    for k, (x, y) in enumerate(corners):
        u, v = corners[(k + 1) % len(corners)]
        if k in path.round_after:
            r = _n(((u - x) ** 2 + (v - y) ** 2) ** 0.5 / 2)
            said.append(f"A{r} {r} 0 0 0 {_n(u)} {_n(v)}")
        elif k + 1 < len(corners):
            said.append(f"L{_n(u)} {_n(v)}")
    return "".join([*said, "Z"])


def _written(drawing: Drawing, x: float) -> Iterator[tuple[float, float, float, str]]:
    """Heading, table and notes: where each text starts, its height, and what it says."""
    y = MARGIN + 4.0
    for k, said in enumerate(heading(drawing)):
        yield x, y, 4.0 if k == 0 else 2.8, said
        y += LINE + (1.5 if k == 0 else 0)
    y += LINE
    rows = table(drawing)
    widths = [max(map(len, column)) * 2.5 * LETTER + 2.5 for column in zip(*rows, strict=True)]
    for row in rows:
        at = x
        for cell, width in zip(row, widths, strict=True):
            if cell:
                yield at, y, 2.5, cell
            at += width
        y += LINE * 0.9
    y += LINE
    for said in notes(drawing):
        yield x, y, 2.5, said
        y += LINE * 0.9


def _text(x: float, y: float, size: float, text: str, more: str = "") -> str:
    place = f'x="{_n(x)}" y="{_n(y)}" font-size="{size:g}"'
    return f'<text {place} fill="#202020" stroke="none"{more}>{_safe(text)}</text>'


def _arrow(drawing: Drawing, x: float, y: float) -> list[str]:
    shaft = f"M{_n(x)} {_n(y)}V{_n(y - 20)}"
    head = f"M{_n(x - 2)} {_n(y - 15)}L{_n(x)} {_n(y - 20)}L{_n(x + 2)} {_n(y - 15)}"
    turned = f' transform="rotate(-90 {_n(x - 2)} {_n(y)})"'
    return [
        f'<path d="{shaft}{head}" stroke-width="0.4"/>',
        _text(x - 2, y, 2.8, f"up: {drawing.up}", turned),
    ]


def _scale(x: float, y: float) -> list[str]:
    """100 mm along the page and up it, from one corner."""
    said = [f'<path d="M{_n(x)} {_n(y)}h100M{_n(x)} {_n(y - 1.5)}v3M{_n(x + 100)} {_n(y - 1.5)}v3"/>']
    said.append(_text(x + 2, y + 4, 2.5, "both marks: 100 mm; measure them before you cut"))
    left = x - 9
    said.append(
        f'<path d="M{_n(left)} {_n(y)}v-100M{_n(left - 1.5)} {_n(y)}h3M{_n(left - 1.5)} {_n(y - 100)}h3"/>'
    )
    return said


def _safe(text: str) -> str:
    return escape(text.translate(CONTROL))


def _n(value: float) -> str:
    """A coordinate to a thousandth of a mm, without a needless end."""
    return f"{round(value, 3) + 0.0:.3f}".rstrip("0").rstrip(".")
