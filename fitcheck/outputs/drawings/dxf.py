"""A template as DXF: true circles, closed outlines, real dimensions, millimetres. The door to ezdxf."""

from __future__ import annotations

import io

import ezdxf
from ezdxf import units
from ezdxf.document import Drawing as Document
from ezdxf.enums import TextEntityAlignment
from ezdxf.layouts import Modelspace

from fitcheck.outputs.drawings.wording import heading, notes, table
from fitcheck.templates.drawing import Circle, Drawing, Path, Shape
from fitcheck.templates.marks import LAYERS, Line, Outline, Words, ink

# Colours of the layers by the format's own index, and whether they are to be cut at all.
COLOURS = {
    "OUTLINE": 7, "CUTOUT": 7, "DRILL": 1, "MARK": 6, "BEND": 5, "CENTRE": 8, "DATUM": 3, "TEXT": 8,
    "SCALE": 8, "DIMENSION": 8,
}  # fmt: skip
# A half circle as the format has it: the tangent of a quarter of the angle.
HALF = 1.0
LINE, COLUMN = 5.0, 3.0
ALIGN = {
    "start": TextEntityAlignment.LEFT,
    "middle": TextEntityAlignment.CENTER,
    "end": TextEntityAlignment.RIGHT,
}


def dxf(drawing: Drawing) -> bytes:
    """The drawing at 1:1, R2010, with its table and notes beside it on the layer TEXT."""
    options = ezdxf.options
    before = options.write_fixed_meta_data_for_testing
    # Same drawing, same bytes: no dates, no random ids.
    options.write_fixed_meta_data_for_testing = True
    try:
        return _bytes(_document(drawing))
    finally:
        options.write_fixed_meta_data_for_testing = before


def _document(drawing: Drawing) -> Document:
    doc = ezdxf.new("R2010", setup=True)
    doc.units = units.MM
    doc.header["$MEASUREMENT"] = 1
    for name in (*LAYERS, "DIMENSION"):
        doc.layers.add(name, color=COLOURS[name])
    space = doc.modelspace()
    for one in ink(drawing):
        _draw(space, one)
    _dimensions(space, drawing)
    _scale(space, drawing)
    _written(space, drawing)
    return doc


def _draw(space: Modelspace, one: Line | Outline | Words) -> None:
    if isinstance(one, Line):
        kind = {"linetype": "DASHED"} if one.dashed else {}
        space.add_line(one.a, one.b, dxfattribs={"layer": one.layer, **kind})
    elif isinstance(one, Outline):
        _closed(space, one.shape, one.layer)
    else:
        text = space.add_text(
            _own(one.text),
            height=one.height,
            rotation=90 if one.standing else 0,
            dxfattribs={"layer": one.layer},
        )
        text.set_placement(one.at, align=ALIGN[one.anchor])


def _own(said: str) -> str:
    """A text in the format's own signs, for its fonts need have no Ø; no control characters."""
    return "".join(c if c.isprintable() else " " for c in said).replace("%%", "% %").replace("Ø", "%%c")


def _closed(space: Modelspace, shape: Shape, layer: str) -> None:
    if isinstance(shape, Circle):
        space.add_circle(shape.middle, shape.diameter / 2, dxfattribs={"layer": layer})
        return
    points = [(x, y, _bulge(shape, k)) for k, (x, y) in enumerate(shape.corners)]
    space.add_lwpolyline(points, format="xyb", close=True, dxfattribs={"layer": layer})


def _bulge(path: Path, k: int) -> float:
    return HALF if k in path.round_after else 0.0


def _dimensions(space: Modelspace, drawing: Drawing) -> None:
    """Outer sizes, and where the bends lie, as dimensions that measure what is drawn."""
    wide, high = drawing.size
    style = {
        "dimlfac": 1.0,
        "dimtxt": 2.5,
        "dimasz": 2.5,
        "dimexe": 1.0,
        "dimexo": 1.0,
        "dimdec": 2,
        "dimdsep": ord("."),
    }
    layer = {"layer": "DIMENSION"}
    space.add_linear_dim((0, -14), (0, 0), (wide, 0), override=style, dxfattribs=layer).render()
    space.add_linear_dim((-14, 0), (0, 0), (0, high), angle=90, override=style, dxfattribs=layer).render()
    for k, bend in enumerate(drawing.bends):
        (x, y), (u, v) = bend.start, bend.end
        if abs(u - x) < abs(v - y):
            at = (0.0, high + 10 + 6 * k)
            space.add_linear_dim(at, (0, high), (x, high), override=style, dxfattribs=layer).render()
        else:
            at = (wide + 10 + 6 * k, 0.0)
            space.add_linear_dim(
                at, (wide, 0), (wide, y), angle=90, override=style, dxfattribs=layer
            ).render()


def _scale(space: Modelspace, drawing: Drawing) -> None:
    """100 mm both ways, below and at the left, with what they are."""
    layer = {"layer": "SCALE"}
    for a, b in (((0, -26), (100, -26)), ((-26, 0), (-26, 100))):
        space.add_line(a, b, dxfattribs=layer)
        for x, y in (a, b):
            across = (0, 2) if a[1] == b[1] else (2, 0)
            space.add_line((x - across[0], y - across[1]), (x + across[0], y + across[1]), dxfattribs=layer)
    space.add_text("100 mm", height=2.5, dxfattribs=layer).set_placement((2, -25))
    space.add_text("100 mm", height=2.5, rotation=90, dxfattribs=layer).set_placement((-27, 2))


def _written(space: Modelspace, drawing: Drawing) -> None:
    """Heading, table and notes to the right of the drawing, and the arrow that says which way is up."""
    x, y = drawing.size[0] + 40.0 + 6 * len(drawing.bends), max(drawing.size[1], 60.0)
    layer = {"layer": "TEXT"}
    space.add_line((x, y - 20), (x, y), dxfattribs=layer)
    space.add_lwpolyline([(x - 2, y - 5), (x, y), (x + 2, y - 5)], dxfattribs=layer)
    space.add_text(f"up: {drawing.up}", height=2.5, rotation=90, dxfattribs=layer).set_placement(
        (x - 3, y - 20)
    )
    x += 8
    for k, said in enumerate(heading(drawing)):
        space.add_text(_own(said), height=3.5 if k == 0 else 2.5, dxfattribs=layer).set_placement(
            (x, y - 3.5 - LINE * k)
        )
    y -= LINE * len(heading(drawing)) + 6
    rows = table(drawing)
    widths = [max(map(len, column)) * 2.2 + COLUMN for column in zip(*rows, strict=True)]
    for n, row in enumerate(rows):
        at = x
        for cell, width in zip(row, widths, strict=True):
            if cell:
                space.add_text(_own(cell), height=2.5, dxfattribs=layer).set_placement((at, y - LINE * n))
            at += width
    y -= LINE * (len(rows) + 1)
    for n, said in enumerate(notes(drawing)):
        space.add_text(_own(said), height=2.5, dxfattribs=layer).set_placement((x, y - LINE * n))


def _bytes(doc: Document) -> bytes:
    """The file's text; its classes sorted, since their order follows the hash seed."""
    stream = io.StringIO()
    doc.classes.add_required_classes(doc.dxfversion)
    doc.classes.classes = dict(sorted(doc.classes.classes.items()))
    doc.write(stream)
    return stream.getvalue().encode("utf-8")
