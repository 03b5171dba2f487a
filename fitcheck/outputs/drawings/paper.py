"""Pages of paper in millimetres: fonts, 100 mm marks, flowing text and tables. The door to reportlab."""

from __future__ import annotations

import io
from collections.abc import Sequence
from importlib.util import find_spec
from pathlib import Path

from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from fitcheck.templates.tiles import BELOW, LEFT, PAPERS, WHITE

PLAIN, BOLD = "fitcheck", "fitcheck-bold"
# Height of running text and of a line of it, mm.
SIZE, LINE = 2.9, 4.2
INK, GREY = (0.1, 0.1, 0.12), (0.45, 0.47, 0.5)
MARK = 100.0
# What no page can show, and would end a line.
CONTROL = dict.fromkeys([*range(32), *range(127, 160)], " ")


class Pages:
    """Pages of one PDF; all places in mm from the lower left corner of the page.

    The same calls give the same bytes: no date, no random name goes into the file.
    """

    def __init__(self, title: str, paper: str) -> None:
        self.paper = paper
        self.size = PAPERS[paper]
        self.stream = io.BytesIO()
        _fonts()
        self.canvas = Canvas(self.stream, pagesize=(1, 1), invariant=1, pageCompression=1)
        self.canvas.setTitle(clean(title))
        self.canvas.setAuthor("fitcheck")
        self.canvas.setViewerPreference("PrintScaling", "None")
        self.pages = 0

    def begin(self, standing: bool = True, scale: tuple[float, float] | None = (1.0, 1.0)) -> None:
        """A new page with both 100 mm marks, drawn longer or shorter by the printer's correction.

        Without a scale it has none: nothing on it is to be measured.
        """
        if self.pages:
            self.canvas.showPage()
        self.pages += 1
        short, long = PAPERS[self.paper]
        self.size = (short, long) if standing else (long, short)
        self.canvas.setPageSize((self.size[0] * mm, self.size[1] * mm))
        if scale is not None:
            self._mark(WHITE + LEFT, WHITE + 4.5, scale[0], "short" if standing else "long", False)
            self._mark(WHITE + 4.5, WHITE + BELOW, scale[1], "long" if standing else "short", True)

    def text(
        self, x: float, y: float, said: str, size: float = SIZE, bold: bool = False, anchor: str = "start",
        standing: bool = False, colour: tuple[float, float, float] = INK,
    ) -> None:  # fmt: skip
        """One line of text from its base line."""
        c = self.canvas
        c.saveState()
        c.setFillColorRGB(*colour)
        c.setFont(BOLD if bold else PLAIN, size * mm)
        c.translate(x * mm, y * mm)
        if standing:
            c.rotate(90)
        draw = {"start": c.drawString, "middle": c.drawCentredString, "end": c.drawRightString}[anchor]
        draw(0, 0, clean(said))
        c.restoreState()

    def line(
        self, x: float, y: float, u: float, v: float, width: float = 0.2,
        colour: tuple[float, float, float] = INK, dash: Sequence[float] = (),
    ) -> None:  # fmt: skip
        """A straight line."""
        c = self.canvas
        c.saveState()
        c.setStrokeColorRGB(*colour)
        c.setLineWidth(width * mm)
        if dash:
            c.setDash([part * mm for part in dash])
        c.line(x * mm, y * mm, u * mm, v * mm)
        c.restoreState()

    def arrow_up(self, x: float, y: float, length: float, said: str) -> None:
        """An arrow that points up the page, and what lies there."""
        self.line(x, y, x, y + length, 0.4)
        for side in (-1.4, 1.4):
            self.line(x + side, y + length - 3, x, y + length, 0.4)
        self.text(x - 1.2, y, said, 2.4, standing=True)

    def _mark(self, x: float, y: float, scale: float, side: str, standing: bool) -> None:
        """A mark of 100 mm with a tick every 10, the outer ones long; ends are the middles of the ticks."""
        long = MARK * scale

        def place(along: float, across: float) -> tuple[float, float]:
            return (x + across, y + along) if standing else (x + along, y + across)

        self.line(*place(0, 0), *place(long, 0), 0.15)
        for k in range(11):
            half = 2.2 if k in (0, 10) else 1.0
            self.line(*place(long * k / 10, -half), *place(long * k / 10, half), 0.15)
        words = f"100 mm along the {side} side"
        at = place(12, 1.4)
        if standing:
            self.text(at[0] - 2.8 - 1.0, at[1], words, 2.1, standing=True, colour=GREY)
        else:
            self.text(at[0], at[1], words, 2.1, colour=GREY)

    def bytes(self) -> bytes:
        """The finished file."""
        self.canvas.showPage()
        self.canvas.save()
        return self.stream.getvalue()


def width_of(said: str, size: float = SIZE, bold: bool = False) -> float:
    """Width of a line of text, mm."""
    _fonts()
    return float(pdfmetrics.stringWidth(clean(said), BOLD if bold else PLAIN, size)) if said else 0.0


def wrapped(said: str, width: float, size: float = SIZE, bold: bool = False) -> list[str]:
    """A text in lines no wider than `width`, mm; a word that is wider alone is broken."""
    lines = [""]
    for word in clean(said).split():
        while width_of(word, size, bold) > width:
            cut = next(
                k for k in range(len(word) - 1, 0, -1) if width_of(word[:k], size, bold) <= width or k == 1
            )
            lines += [word[:cut]]
            word = word[cut:]
        longer = f"{lines[-1]} {word}".strip()
        if width_of(longer, size, bold) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return [line for line in lines if line] or [""]


class Flow:
    """Text and tables one below the other, on as many pages as it takes.

    Each page repeats the heading; with a scale it has the 100 mm marks.
    """

    def __init__(self, pages: Pages, heading: str, scale: tuple[float, float] | None = None) -> None:
        self.pages, self.heading, self.scale = pages, heading, scale
        self.left = WHITE + LEFT + 2.0
        self.y = 0.0
        self.next_page()

    @property
    def width(self) -> float:
        """Width of the lines, mm."""
        return self.pages.size[0] - self.left - WHITE - 2.0

    def next_page(self) -> None:
        """Begin a page."""
        first = self.pages.pages == 0
        self.pages.begin(True, self.scale)
        self.y = self.pages.size[1] - WHITE - 6.0
        if not first:
            self.pages.text(self.left, self.y, f"{self.heading}, continued", SIZE, True)
            self.y -= 2 * LINE

    def room(self, height: float) -> None:
        """A new page unless there is so much room, mm."""
        if self.y - height < WHITE + BELOW + 2.0:
            self.next_page()

    def say(
        self, said: str, size: float = SIZE, bold: bool = False, indent: float = 0.0, gap: float = 0.0
    ) -> None:
        """A paragraph, wrapped."""
        for k, line in enumerate(wrapped(said, self.width - indent, size, bold)):
            self.room(LINE)
            self.pages.text(self.left + (indent if k or indent == 0 else 0.0), self.y, line, size, bold)
            self.y -= max(LINE, size * 1.4)
        self.y -= gap

    def table(
        self, header: Sequence[str], rows: Sequence[Sequence[str]], right: frozenset[int] = frozenset()
    ) -> None:
        """A table whose columns share the width; long cells are wrapped.

        Args:
            right: numbers of the columns that are set to the right.
        """
        size = 2.5
        widths = _columns(header, rows, size, self.width)
        for n, row in enumerate((header, *rows)):
            cells = [wrapped(cell, width - 2.0, size, not n) for cell, width in zip(row, widths, strict=True)]
            height = max(len(cell) for cell in cells) * (size * 1.35) + 1.0
            before = self.pages.pages
            self.room(height)
            if self.pages.pages != before and n:
                self._row([[cell] for cell in header], widths, size, right, True)
            self._row(cells, widths, size, right, n == 0)
        self.y -= LINE / 2

    def _row(
        self,
        cells: Sequence[Sequence[str]],
        widths: Sequence[float],
        size: float,
        right: frozenset[int],
        bold: bool,
    ) -> None:
        height = max(len(cell) for cell in cells) * (size * 1.35) + 1.0
        x = self.left
        for k, (cell, width) in enumerate(zip(cells, widths, strict=True)):
            for n, line in enumerate(cell):
                at = x + width - 2.0 if k in right else x
                self.pages.text(
                    at, self.y - n * size * 1.35, line, size, bold, "end" if k in right else "start"
                )
            x += width
        self.y -= height
        self.pages.line(
            self.left, self.y + size + 0.1, self.left + sum(widths), self.y + size + 0.1, 0.1, GREY
        )


def clean(said: str) -> str:
    """A text without control characters."""
    return said.translate(CONTROL)


def _columns(header: Sequence[str], rows: Sequence[Sequence[str]], size: float, width: float) -> list[float]:
    """As wide as their cells; where that is too much the widest give way."""
    wanted = [
        max(width_of(row[k], size, row is header) for row in (header, *rows)) + 2.5
        for k in range(len(header))
    ]
    least = [
        max((width_of(word, size) for word in row[k].split()), default=0.0)
        for row in (header, *rows)
        for k in range(len(header))
    ]
    least = [min(max(least[k :: len(header)]) + 2.5, 40.0) for k in range(len(header))]
    over = sum(wanted) - width
    while over > 0.01:
        spare = [max(w - low, 0.0) for w, low in zip(wanted, least, strict=True)]
        if sum(spare) < 0.01:
            return [w * width / sum(wanted) for w in wanted]
        taken = min(over, sum(spare))
        wanted = [w - taken * s / sum(spare) for w, s in zip(wanted, spare, strict=True)]
        over = sum(wanted) - width
    return wanted


def _fonts() -> None:
    """The font of the pictures, that comes with matplotlib: the same on every machine."""
    if PLAIN in pdfmetrics.getRegisteredFontNames():
        return
    found = find_spec("matplotlib")
    assert found is not None and found.submodule_search_locations is not None
    folder = Path(found.submodule_search_locations[0]) / "mpl-data" / "fonts" / "ttf"
    pdfmetrics.registerFont(TTFont(PLAIN, str(folder / "DejaVuSans.ttf")))
    pdfmetrics.registerFont(TTFont(BOLD, str(folder / "DejaVuSans-Bold.ttf")))
