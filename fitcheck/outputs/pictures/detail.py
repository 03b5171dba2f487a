"""A detail: the worst place once more, magnified, where its dimension is too short to be read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from PIL import Image

from fitcheck.outputs.pictures.camera import Camera
from fitcheck.outputs.pictures.dimensions import Dimension, dimension, draw_dimensions, ends
from fitcheck.outputs.pictures.margins import Layout
from fitcheck.outputs.pictures.paper import GREY, INK, PAPER, Box, Paper

# Side of the square, and the least that is worth drawing, in pixels of a picture 1600 wide.
SIDE, LEAST = 320.0, 190.0
# A dimension longer than this on paper needs no detail.
LONG = 40.0
# Share of the square that the dimension may take.
SHARE = 0.3
FACTORS = (2, 3, 4, 5, 6, 8, 10, 12)
CAPTION = 14.0
# The ring and its detail share this letter; a line joins them where it need not cross half the drawing.
NAME, NEAR = "A", 320.0


@dataclass(frozen=True, eq=False)
class Detail:
    """Where a detail goes: its camera, how much larger it is drawn, what square of the drawing it shows."""

    camera: Camera
    factor: int
    dim: Dimension
    shows: Box


def detail_of(
    paper: Paper,
    dim: Dimension,
    camera: Camera,
    frame: Layout,
    bounds: np.ndarray,
    spots: Sequence[tuple[float, float]],
) -> Detail | None:
    """The detail of a dimension, in the corner with room beside `bounds` (2, 3) and fewest `spots` near.

    None where the dimension can be read as it is, is seen head-on, or no corner has room.
    """
    length = float(np.linalg.norm(np.array(dim.b) - dim.a))
    if dim.flat or length > paper.px(LONG):
        return None
    square = _square(paper, camera, frame, bounds, spots)
    if square is None:
        return None
    side = square[2] - square[0]
    factor = max((f for f in FACTORS if f * length <= SHARE * side), default=FACTORS[0])
    near = replace(camera, middle=ends(dim.finding).mean(axis=0), scale=camera.scale * factor, pane=square)
    larger = dimension(dim.finding, near)
    if larger is None:
        return None
    x, y = camera.pixels(near.middle)
    reach = side / factor / 2
    return Detail(
        near, factor, larger, (float(x - reach), float(y - reach), float(x + reach), float(y + reach))
    )


def _square(
    paper: Paper, camera: Camera, frame: Layout, bounds: np.ndarray, spots: Sequence[tuple[float, float]]
) -> tuple[int, int, int, int] | None:
    corners = np.array(
        [[bounds[i, 0], bounds[j, 1], bounds[k, 2]] for i in (0, 1) for j in (0, 1) for k in (0, 1)]
    )
    across = camera.pixels(corners)[:, 0]
    left, top, right, bottom = frame.pane
    gap, edge = paper.px(12), frame.columns[0][0]
    middle = ((left + right) / 2, (top + bottom) / 2)
    best = None
    for way in (1, -1):
        free = paper.image.width - edge - across.max() - gap if way > 0 else across.min() - gap - edge
        side = int(min(paper.px(SIDE), free))
        if side < paper.px(LEAST):
            continue
        for low in (True, False):
            near = sum((x > middle[0]) == (way > 0) and (y > middle[1]) == low for x, y in spots)
            x = paper.image.width - edge - side if way > 0 else edge
            y = bottom - side - gap if low else top
            if best is None or near < best[0]:
                best = (near, (x, y, x + side, y + side))
    return None if best is None else best[1]


def kept_free(frame: Layout, square: tuple[int, int, int, int], gap: int) -> Layout:
    """The layout with the square's part of its column taken out."""
    column = 1 if square[0] > frame.pane[0] else 0
    low, high = frame.rooms[column]
    middle = (frame.pane[1] + frame.pane[3]) / 2
    room = (low, square[1] - gap) if square[1] > middle - 1 else (square[3] + gap, high)
    rooms = (frame.rooms[0], room) if column else (room, frame.rooms[1])
    return replace(frame, rooms=rooms)


def tag_box(paper: Paper, detail: Detail) -> Box:
    """Where the detail's letter stands: at the ring's upper corner, towards the middle of the picture."""
    x0, y0, x1, _ = detail.shows
    wide, high = (n + 2 * paper.px(3) for n in paper.measure(NAME, CAPTION, bold=True))
    x = x0 - wide if x0 > paper.image.width / 2 else x1
    return x, y0, x + wide, y0 + high


def draw_detail(paper: Paper, detail: Detail, drawing: Image.Image) -> None:
    """Paste the magnified drawing, say what it is, and frame what it shows in the main drawing."""
    left, top, right, bottom = detail.camera.pane
    x0, y0, x1, y1 = detail.shows
    start = (x1 if left > x0 else x0, y1 if top > y0 else y0)
    end = (float(left if left > x0 else right), float(top if top > y0 else bottom))
    if np.hypot(end[0] - start[0], end[1] - start[1]) < paper.px(NEAR):
        paper.line([start, end], PAPER, 3.5)
        paper.line([start, end], GREY, 1.3)
    ring = [(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)]
    paper.line(ring, PAPER, 4.0)
    paper.line(ring, INK, 1.6)
    paper.image.paste(drawing, (left, top))
    tag = tag_box(paper, detail)
    paper.write("detail", NAME, tag[:2], CAPTION, bold=True, colour=PAPER, fill=INK, pad=3)
    text = _caption(paper, detail, right - left - paper.px(16))
    box = paper.write("detail", text, (left, top), CAPTION, fill=PAPER, pad=4)
    pane = (float(left), box[3], float(right), float(bottom))
    draw_dimensions(paper, [detail.dim], pane)
    paper.draw.rectangle((left, top, right, bottom), outline=INK, width=paper.px(2))


def _caption(paper: Paper, detail: Detail, width: float) -> str:
    """What the detail is, its parts in a second line where one is too short for both."""
    what, parts = f"{NAME}  {detail.factor} × larger:", ", ".join(detail.dim.finding.parts)
    if paper.measure(f"{what} {parts}", CAPTION)[0] <= width:
        return f"{what} {parts}"
    return f"{what}\n{paper.shortened(parts, CAPTION, width)}"
