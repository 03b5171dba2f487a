"""Text and marks on the drawn picture: one font, boxes that know where they are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFont

INK, GREY, PAPER = (20, 24, 28), (95, 102, 110), (255, 255, 255)
LINE = 1.32  # line height over font size

Box = tuple[float, float, float, float]
Pixel = tuple[float, float]
Font = ImageFont.FreeTypeFont | ImageFont.ImageFont


@lru_cache(maxsize=64)
def font(size: int, bold: bool = False) -> Font:
    """The font of all pictures: the one that comes with matplotlib (which pyvista needs), else Pillow's own.

    No font of the system is asked for, so that pictures look the same everywhere.
    """
    found = find_spec("matplotlib")
    for folder in (found.submodule_search_locations or []) if found else []:
        path = (
            Path(folder)
            / "mpl-data"
            / "fonts"
            / "ttf"
            / ("DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf")
        )
        if path.exists():
            return ImageFont.truetype(str(path), size)
    return ImageFont.load_default(size)


@dataclass(frozen=True)
class Words:
    """A text that was drawn: what, where (pixels), and for what (`title`, `label`, `figure`, `legend` …)."""

    kind: str
    text: str
    box: Box


@dataclass
class Paper:
    """A picture being annotated; `written` collects every text with its box."""

    image: Image.Image
    size: float = 1.0
    written: list[Words] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.draw = ImageDraw.Draw(self.image)

    def px(self, length: float) -> int:
        """A length given for a picture 1600 wide, in pixels of this one."""
        return max(1, round(length * self.size))

    def font(self, size: float, bold: bool = False) -> Font:
        """The font at a size given for a picture 1600 wide; never under 9 pixels."""
        return font(max(9, round(size * self.size)), bold)

    def measure(self, text: str, size: float, bold: bool = False) -> tuple[int, int]:
        """Width and height in pixels of a text, which may have several lines."""
        lines = text.split("\n")
        held = self.font(size, bold)
        return int(max(held.getlength(t) for t in lines) + 0.999), round(
            len(lines) * LINE * self._height(size)
        )

    def _height(self, size: float) -> int:
        return max(9, round(size * self.size))

    def write(
        self,
        kind: str,
        text: str,
        at: tuple[float, float],
        size: float,
        *,
        bold: bool = False,
        colour: tuple[int, int, int] = INK,
        fill: tuple[int, int, int] | None = None,
        pad: float = 0.0,
    ) -> Box:
        """Write with the top left corner of its box at `at`; returns the box."""
        width, height = self.measure(text, size, bold)
        pad_px = self.px(pad) if pad else 0
        box = (at[0], at[1], at[0] + width + 2 * pad_px, at[1] + height + 2 * pad_px)
        if fill is not None:
            self.draw.rectangle(box, fill=fill)
        step = LINE * self._height(size)
        for index, line in enumerate(text.split("\n")):
            # Anchored in the middle of its line: fonts differ in where their top lies.
            middle = at[1] + pad_px + (index + 0.5) * step
            self.draw.text(
                (at[0] + pad_px, middle), line, font=self.font(size, bold), fill=colour, anchor="lm"
            )
        self.written.append(Words(kind, text, box))
        return box

    def line(self, points: Sequence[tuple[float, float]], colour: tuple[int, int, int], width: float) -> None:
        """A smooth polyline: drawn four times as large on a patch, then averaged."""
        ends = np.array(points, float)
        margin = self.px(width) + 2
        low = np.floor(ends.min(axis=0)).astype(int) - margin
        high = np.ceil(ends.max(axis=0)).astype(int) + margin
        size = (int(high[0] - low[0]), int(high[1] - low[1]))
        mask = Image.new("L", (size[0] * 4, size[1] * 4), 0)
        pen = ImageDraw.Draw(mask)
        places = [tuple(map(float, p)) for p in (ends - low) * 4]
        thick = max(2, round(width * self.size * 4))
        pen.line(places, fill=255, width=thick, joint="curve")
        self.image.paste(colour, (int(low[0]), int(low[1])), mask.resize(size, Image.Resampling.BOX))

    def polygon(self, points: np.ndarray, colour: tuple[int, int, int]) -> None:
        """A smooth filled polygon."""
        low = np.floor(points.min(axis=0)).astype(int) - 1
        high = np.ceil(points.max(axis=0)).astype(int) + 1
        size = (int(high[0] - low[0]), int(high[1] - low[1]))
        mask = Image.new("L", (size[0] * 4, size[1] * 4), 0)
        ImageDraw.Draw(mask).polygon([tuple(map(float, p)) for p in (points - low) * 4], fill=255)
        self.image.paste(colour, (int(low[0]), int(low[1])), mask.resize(size, Image.Resampling.BOX))

    def wrapped(self, text: str, size: float, width: float, lines: int) -> str:
        """The text in at most `lines` lines of at most `width` pixels; the last ends in … if it must."""
        held, words, rows = self.font(size), text.split(), [""]
        for index, word in enumerate(words):
            longer = f"{rows[-1]} {word}".strip()
            if held.getlength(longer) <= width or not rows[-1]:
                rows[-1] = longer
            elif len(rows) < lines:
                rows.append(word)
            else:
                rows[-1] = self.shortened(" ".join([rows[-1], *words[index:]]), size, width)
                break
        return "\n".join(rows)

    def shortened(self, text: str, size: float, width: float, bold: bool = False) -> str:
        """The text with its end cut off for … where it is wider than `width` pixels."""
        held = self.font(size, bold)
        if held.getlength(text) <= width:
            return text
        while text and held.getlength(text + "…") > width:
            text = text[:-1]
        return text.rstrip() + "…"


def overlap(a: Box, b: Box, margin: float = 0.0) -> bool:
    """Do two boxes come nearer than the margin?"""
    return a[0] < b[2] + margin and b[0] < a[2] + margin and a[1] < b[3] + margin and b[1] < a[3] + margin


def crosses(a: Pixel, b: Pixel, box: Box) -> bool:
    """Does the line between two pixels run through a box?"""
    enter, leave = 0.0, 1.0
    for axis in (0, 1):
        step = b[axis] - a[axis]
        if step == 0:
            if not box[axis] < a[axis] < box[axis + 2]:
                return False
            continue
        first, last = sorted(((box[axis] - a[axis]) / step, (box[axis + 2] - a[axis]) / step))
        enter, leave = max(enter, first), min(leave, last)
    return enter < leave


def inside(a: Box, frame: Box) -> bool:
    """Does box a lie inside the frame?"""
    return a[0] >= frame[0] and a[1] >= frame[1] and a[2] <= frame[2] and a[3] <= frame[3]
