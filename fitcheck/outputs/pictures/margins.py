"""Round the drawing: title, verdict and leading finding above; legend, scale and axes below."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitcheck.finding import Finding, Verdict
from fitcheck.outputs.pictures.bands import rgb
from fitcheck.outputs.pictures.camera import Camera, View
from fitcheck.outputs.pictures.paper import GREY, INK, PAPER, Box, Paper

TOP, BOTTOM, SIDE, EDGE = 112, 92, 232, 22
SCALE_BAR = 100.0
VERDICT_COLOURS: dict[Verdict, tuple[int, int, int]] = {
    Verdict.FAILS: (0xB0, 0x1E, 0x1E),
    Verdict.UNKNOWN: (0x5B, 0x4B, 0x8A),
    Verdict.TIGHT: (0xB3, 0x6B, 0x00),
    Verdict.FITS: (0x1F, 0x6F, 0x4A),
}
RULE = (205, 210, 215)


@dataclass(frozen=True)
class Layout:
    """Where things go, in pixels: the pane of the drawing, the two columns of names from left to right,
    and the room for names in each from top to bottom."""

    pane: tuple[int, int, int, int]
    columns: tuple[tuple[int, int], tuple[int, int]]
    rooms: tuple[tuple[int, int], tuple[int, int]]

    @property
    def box(self) -> Box:
        """The pane as a box."""
        left, top, right, bottom = self.pane
        return float(left), float(top), float(right), float(bottom)


def layout(size: tuple[int, int], paper: Paper) -> Layout:
    """The same for every picture of one size."""
    width, height = size
    side, edge = paper.px(SIDE), paper.px(EDGE)
    pane = (side, paper.px(TOP), width - side, height - paper.px(BOTTOM))
    columns = ((edge, side - paper.px(14)), (width - side + paper.px(14), width - edge))
    return Layout(pane, columns, ((pane[1], pane[3]), (pane[1], pane[3])))


def view_words(view: View) -> str:
    """What the view shows, in words: `from left · cut at x = 155 mm`."""
    words = [view.look]
    if view.at is not None:
        words = [f"seen by {view.eye} from x {view.at[0]:.0f}, y {view.at[1]:.0f}, z {view.at[2]:.0f}"]
    if view.cut:
        words.append(f"cut at {view.cut[0]} = {view.cut[1]:.4g} mm")
    if view.explode:
        words.append("moved apart")
    if view.show:
        words.append("only " + ", ".join(view.show))
    if view.hide:
        words.append("without " + ", ".join(view.hide))
    return " · ".join(words)


def draw_header(
    paper: Paper, title: str, view: View, verdict: Verdict, lead: Finding | None, count: int
) -> None:
    """Title, view, verdict word, and the leading finding's sentence."""
    width = paper.image.width
    edge = paper.px(EDGE)
    said = view_words(view)
    said_width = paper.measure(said, 16)[0]
    paper.write("view", said, (width - edge - said_width, paper.px(20)), 16, colour=GREY)
    name = f"{title} — {view.name}" if view.name else title
    room = width - 3 * edge - said_width
    paper.write("title", paper.shortened(name, 25, room, bold=True), (edge, paper.px(12)), 25, bold=True)
    top = paper.px(54)
    chip = paper.write(
        "verdict",
        verdict.upper(),
        (edge, top),
        20,
        bold=True,
        colour=PAPER,
        fill=VERDICT_COLOURS[verdict],
        pad=7,
    )
    sentence = lead.sentence if lead else "Nothing that was checked is in the way."
    more = f" (+ {count - 1} more)" if count > 1 else ""
    beside = width - chip[2] - 2 * edge - paper.measure(more, 18)[0]
    text = paper.wrapped(sentence, 18, beside, 2) + more
    one_line = "\n" not in text
    paper.write("lead", text, (chip[2] + paper.px(14), top + (paper.px(7) if one_line else -paper.px(4))), 18)


def draw_footer(paper: Paper, camera: Camera, legend: Sequence[tuple[str, str]], heading: str) -> None:
    """Legend at the left, the scale bar and the axes cross at the right."""
    width, height = paper.image.size
    edge, base = paper.px(EDGE), height - paper.px(BOTTOM)
    paper.draw.line((edge, base, width - edge, base), fill=RULE, width=paper.px(1))
    axes_left = width - edge - paper.px(120)
    # What is nearer looks larger to an eye: no bar.
    bar = SCALE_BAR * camera.scale if camera.eye is None else 0.0
    bar_left = axes_left - paper.px(40) - bar
    _legend(paper, legend, heading, (edge, base + paper.px(8)), bar_left - paper.px(30))
    _axes(paper, camera, (axes_left + paper.px(58), base + paper.px(48)))
    if not bar:
        return
    y = base + paper.px(58)
    for x in (bar_left, bar_left + bar):
        paper.line([(x, y - paper.px(7)), (x, y + paper.px(7))], INK, 2)
    paper.line([(bar_left, y), (bar_left + bar, y)], INK, 2)
    text = f"{SCALE_BAR:g} mm"
    size = paper.measure(text, 15)
    paper.write("scale", text, (bar_left + bar / 2 - size[0] / 2, y - paper.px(9) - size[1]), 15)


def _legend(
    paper: Paper, legend: Sequence[tuple[str, str]], heading: str, at: tuple[float, float], right: float
) -> None:
    above = paper.write("legend heading", heading, at, 13, colour=GREY)
    swatch, text = paper.px(26), 14.0
    two_lines = paper.measure("\n", text)[1]
    x, y = float(at[0]), above[3] + paper.px(2) + max(0.0, (two_lines - swatch) / 2)
    wide = sum(paper.measure(words, text)[0] + swatch + paper.px(24) for _, words in legend)
    if x + wide > right:  # a long scale bar takes its room from the legend's letters
        text = max(10.0, text * (right - x) / wide)
    for colour, words in legend:
        paper.draw.rectangle((x, y, x + swatch, y + swatch), fill=rgb(colour), outline=(120, 125, 130))
        size = paper.measure(words, text)
        middle = y + swatch / 2 - size[1] / 2
        paper.write("legend", words, (x + swatch + paper.px(6), middle), text)
        x += swatch + paper.px(6) + size[0] + paper.px(18)


def _axes(paper: Paper, camera: Camera, at: tuple[float, float]) -> None:
    length = paper.px(30)
    for axis, word in ((0, "right"), (1, "rear"), (2, "top")):
        unit = np.eye(3)[axis]
        across = np.array([unit @ camera.right, -(unit @ camera.up)])
        share = float(np.linalg.norm(across))
        if share < 0.15:
            continue
        tip = np.array(at) + length * across
        paper.line([at, (float(tip[0]), float(tip[1]))], INK, 2)
        way = across / share
        side = np.array([-way[1], way[0]])
        head = paper.px(8)
        paper.polygon(
            np.array([tip + way * 3, tip - way * head + side * head / 2, tip - way * head - side * head / 2]),
            INK,
        )
        width, height = paper.measure(word, 13)
        centre = tip + way * (paper.px(6) + np.array([width, height]) / 2 * np.abs(way)).max()
        paper.write("axis", word, (centre[0] - width / 2, centre[1] - height / 2), 13)
