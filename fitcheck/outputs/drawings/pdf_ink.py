"""Lines, outlines and words of a drawing on the canvas of a PDF, in its own millimetres."""

from __future__ import annotations

from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject

from fitcheck.outputs.drawings.paper import BOLD, INK, PLAIN, clean
from fitcheck.templates.drawing import Circle, Place
from fitcheck.templates.marks import Ink, Line, Outline

# Width and colour of lines by layer.
STROKES = {
    "OUTLINE": (0.3, (0, 0, 0)), "CUTOUT": (0.3, (0, 0, 0)), "DRILL": (0.3, (0.65, 0, 0)),
    "MARK": (0.25, (0.5, 0, 0.6)), "BEND": (0.3, (0, 0.25, 0.75)), "CENTRE": (0.12, (0.3, 0.3, 0.3)),
    "DATUM": (0.4, (0, 0.45, 0.2)), "TEXT": (0.1, INK), "SCALE": (0.1, INK),
}  # fmt: skip
# A quarter circle as a cubic curve: how far its handles reach, of the radius (error below 0.03 %).
KAPPA = 0.5522847498


def draw(c: Canvas, one: Ink) -> None:
    """Whatever it is, in the colour of its layer."""
    if isinstance(one, Line):
        stroke(c, one.layer, one.dashed)
        c.line(*one.a, *one.b)
    elif isinstance(one, Outline):
        stroke(c, one.layer, one.dashed)
        outline(c, one)
    else:
        c.saveState()
        c.setFillColorRGB(*STROKES[one.layer][1])
        c.setFont(PLAIN, one.height)
        c.translate(*one.at)
        if one.standing:
            c.rotate(90)
        draw = {"start": c.drawString, "middle": c.drawCentredString, "end": c.drawRightString}[one.anchor]
        draw(0, 0, clean(one.text))
        c.restoreState()


def stroke(c: Canvas, layer: str, dashed: bool, width: float | None = None) -> None:
    """Set the pen for a layer."""
    own, colour = STROKES[layer]
    c.setStrokeColorRGB(*colour)
    c.setLineWidth(own if width is None else width)
    c.setDash(*(([2.0, 1.0],) if dashed else ([],)))


def outline(c: Canvas, one: Outline) -> None:
    """A closed outline with the pen as it is set."""
    if isinstance(one.shape, Circle):
        c.circle(*one.shape.middle, one.shape.diameter / 2, stroke=1, fill=0)
        return
    path = c.beginPath()
    corners = one.shape.corners
    path.moveTo(*corners[0])
    for k, a in enumerate(corners):
        b = corners[(k + 1) % len(corners)]
        if k in one.shape.round_after:
            _half(path, a, b)
        elif k + 1 < len(corners):
            path.lineTo(*b)
    path.close()
    c.drawPath(path, stroke=1, fill=0)


def _half(path: PDFPathObject, a: Place, b: Place) -> None:
    """A half circle to the right of the way from a to b, as two cubic curves."""
    mx, my = (a[0] + b[0]) / 2, (a[1] + b[1]) / 2
    px, py = a[0] - mx, a[1] - my
    for _ in range(2):
        qx, qy = -py, px
        path.curveTo(
            mx + px + KAPPA * qx,
            my + py + KAPPA * qy,
            mx + qx + KAPPA * px,
            my + qy + KAPPA * py,
            mx + qx,
            my + qy,
        )
        px, py = qx, qy


def cross(c: Canvas, at: Place, name: str) -> None:
    """A cross that two or more sheets share, with its number."""
    x, y = at
    c.setStrokeColorRGB(0, 0, 0)
    c.setLineWidth(0.15)
    c.setDash([])
    c.line(x - 4, y, x + 4, y)
    c.line(x, y - 4, x, y + 4)
    c.circle(x, y, 2.0, stroke=1, fill=0)
    c.setFillColorRGB(0, 0, 0)
    c.setFont(BOLD, 2.2)
    c.drawString(x + 1.6, y + 1.6, name)
