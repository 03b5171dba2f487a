"""A sheet: pictures of several layouts side by side, from one place and with one set of colours."""

from __future__ import annotations

from collections.abc import Iterable
from math import ceil, sqrt

from PIL import Image

from fitcheck.outputs.pictures.camera import View
from fitcheck.outputs.pictures.choose import Report
from fitcheck.outputs.pictures.paper import INK, PAPER, Paper
from fitcheck.outputs.pictures.studio import SIZE, Studio
from fitcheck.world.world import World

# Height of a caption, of both its lines of text, and the gap between pictures, in the sheet's pixels.
CAPTION, TEXT, GAP = 64, 19, 24


def sheet(layouts: Iterable[tuple[str, str, World, Report]], view: View) -> Image.Image:
    """Draw layouts in rows, each under its name and what is said of it.

    Args:
        layouts: a name, a line about it, the placed world and its report.
        view: of all of them. The case stands where it stands in each: what moved is what differs.

    Raises:
        NoPicture: this machine cannot draw; says what to install.
        ValueMistake: the view names what a layout does not have.
    """
    drawn = [(name, said, Studio(world, report).drawn(view).image) for name, said, world, report in layouts]
    columns = ceil(sqrt(len(drawn)))
    rows = ceil(len(drawn) / columns)
    wide, high = SIZE[0] + GAP, SIZE[1] + CAPTION + GAP
    image = Image.new("RGB", (columns * wide - GAP, rows * high - GAP), PAPER)
    paper = Paper(image, 1.0)
    for place, (name, said, picture) in enumerate(drawn):
        left, top = place % columns * wide, place // columns * high
        width = SIZE[0] - 2 * GAP
        paper.write(
            "title", paper.shortened(name, TEXT, width, bold=True), (left + GAP, top + 6), TEXT, bold=True
        )
        paper.write("label", paper.shortened(said, TEXT, width), (left + GAP, top + 6 + CAPTION / 2), TEXT)
        image.paste(picture, (left, top + CAPTION))
        paper.line([(left, top + CAPTION), (left + SIZE[0] - 1, top + CAPTION)], INK, 1.0)
    return image
