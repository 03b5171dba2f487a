"""All templates of a world as files."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from fitcheck.outputs.drawings.dxf import dxf
from fitcheck.outputs.drawings.hole_table import hole_table
from fitcheck.outputs.drawings.names import file_names
from fitcheck.outputs.drawings.pdf import pdf
from fitcheck.outputs.drawings.svg import svg
from fitcheck.templates.drawing import Drawing
from fitcheck.templates.tiles import Printer


def template_files(
    drawings: Sequence[Drawing], paper: str, printer: Printer | None = None
) -> Iterator[tuple[str, bytes]]:
    """Of each drawing a DXF, an SVG, a PDF and, where it has holes, a table: names and contents."""
    for drawing, name in zip(drawings, file_names([one.name for one in drawings]), strict=True):
        yield f"{name}.dxf", dxf(drawing)
        yield f"{name}.svg", svg(drawing)
        yield f"{name}.pdf", pdf(drawing, paper, printer)
        if drawing.spots:
            yield f"{name}.csv", hole_table(drawing)
