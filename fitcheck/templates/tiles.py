"""How a drawing is laid over sheets of paper: which way they lie, where they meet, what both show there."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitcheck.templates.drawing import Drawing, Place
from fitcheck.templates.marks import bounds, ink, reach, segments

# Sizes of paper, mm (ISO 216; US letter is 8 1/2 by 11 in).
PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
# What printers leave white at every edge, and what each page keeps for its own marks, mm: names and a map
# above, a 100 mm mark below and another at the left (common practice).
WHITE, ABOVE, BELOW, LEFT = 8.0, 21.0, 11.0, 10.0
# Neighbours both show so much, mm, with crosses in the middle of it.
OVERLAP = 10.0
# At the outer end of a seam crosses stand so far inside, mm.
INSIDE = 8.0
# So many ways of shifting the drawing on the sheets are looked at, each way.
SHIFTS = 40


@dataclass(frozen=True)
class Printer:
    """How long the 100 mm marks came out: along the short and along the long side of the paper, mm."""

    short: float = 100.0
    long: float = 100.0


@dataclass(frozen=True)
class Tile:
    """One sheet: its name, row and column from the upper left, and the low corner of what it shows."""

    name: str
    row: int
    column: int
    low: Place


@dataclass(frozen=True)
class Tiling:
    """A drawing on sheets.

    Args:
        paper: `a4` or `letter`.
        standing: upright sheets.
        window: what each sheet shows of the drawing, mm (wide, high).
        scale: by how much what is printed is drawn larger, so that it comes out right: x and y.
        rows, columns: of the whole.
        tiles: those that are printed: one with nothing on it is left out where the others still hang
            together.
        crosses: places that two or more sheets show.
        split: numbers of holes that no sheet shows whole.
    """

    paper: str
    standing: bool
    window: tuple[float, float]
    scale: tuple[float, float]
    rows: int
    columns: int
    tiles: tuple[Tile, ...]
    crosses: tuple[Place, ...]
    split: tuple[int, ...]

    @property
    def page(self) -> tuple[float, float]:
        """The page as it lies, mm (wide, high)."""
        short, long = PAPERS[self.paper]
        return (short, long) if self.standing else (long, short)

    def shows(self, tile: Tile, place: Place) -> bool:
        """Whether a sheet shows a place of the drawing."""
        return all(0 <= p - low <= size for p, low, size in zip(place, tile.low, self.window, strict=True))


def tiled(drawing: Drawing, paper: str, printer: Printer | None = None) -> Tiling:
    """The fewest sheets for a drawing, standing or lying, shifted so that seams keep off its holes."""
    printer = printer or Printer()
    ways = [_laid(drawing, paper, standing, printer) for standing in (True, False)]
    return min(ways, key=lambda one: (len(one.tiles), len(one.split), not one.standing))


def _laid(drawing: Drawing, paper: str, standing: bool, printer: Printer) -> Tiling:
    short, long = PAPERS[paper]
    wide, high = (short, long) if standing else (long, short)
    came = (printer.short, printer.long) if standing else (printer.long, printer.short)
    window = (
        (wide - 2 * WHITE - LEFT) * came[0] / 100.0,
        (high - 2 * WHITE - ABOVE - BELOW) * came[1] / 100.0,
    )
    low_x, low_y, high_x, high_y = bounds(drawing)
    reaches = np.array([reach(spot) for spot in drawing.spots]).reshape(-1, 4)
    starts_x = _starts(low_x, high_x, window[0], reaches[:, (0, 2)])
    starts_y = _starts(low_y, high_y, window[1], reaches[:, (1, 3)])
    rows, columns = len(starts_y), len(starts_x)
    tiles = [
        Tile(f"{_letters(row)}{column + 1}", row, column, (starts_x[column], starts_y[rows - 1 - row]))
        for row in range(rows)
        for column in range(columns)
    ]
    tiles = _needed(tiles, window, segments(ink(drawing), 2.0))
    split = tuple(
        spot.number
        for spot, (x0, y0, x1, y1) in zip(drawing.spots, reaches, strict=True)
        if not any(
            x <= x0 and y <= y0 and x1 <= x + window[0] and y1 <= y + window[1]
            for x, y in (tile.low for tile in tiles)
        )
    )
    bare = Tiling(
        paper, standing, window, (100.0 / came[0], 100.0 / came[1]), rows, columns, tuple(tiles), (), split
    )
    return Tiling(
        paper,
        standing,
        window,
        bare.scale,
        rows,
        columns,
        tuple(tiles),
        _crosses(bare, starts_x, starts_y),
        split,
    )


def _starts(low: float, high: float, window: float, spans: np.ndarray) -> list[float]:
    """Where each column (or row) of sheets begins: as few as it takes, seams off the spans if they can be."""
    step = window - OVERLAP
    count = 1 if high - low <= window else math.ceil((high - low - OVERLAP) / step)
    slack = count * step + OVERLAP - (high - low)

    def cost(shift: int) -> tuple[int, int, int]:
        starts = low - slack * shift / SHIFTS + step * np.arange(count)
        whole = (starts[:, None] <= spans[:, 0]) & (spans[:, 1] <= starts[:, None] + window)
        seams = starts[1:] + OVERLAP / 2
        met = (spans[:, 0] < seams[:, None]) & (seams[:, None] < spans[:, 1])
        return int((~whole.any(axis=0)).sum()), int(met.sum()), abs(shift - SHIFTS // 2)

    best = min(range(SHIFTS + 1), key=cost)
    return [low - slack * best / SHIFTS + step * k for k in range(count)]


def _needed(tiles: list[Tile], window: tuple[float, float], lines: np.ndarray) -> list[Tile]:
    """The sheets with something on them, and those without that the others hang together by."""
    inked = {tile for tile in tiles if _crossed(lines, tile.low, window)}
    kept = list(tiles)
    for tile in tiles:
        if tile not in inked:
            less = [one for one in kept if one is not tile]
            if _together(less):
                kept = less
    return kept


def _together(tiles: Sequence[Tile]) -> bool:
    places = {(tile.row, tile.column) for tile in tiles}
    seen, new = set(), [next(iter(sorted(places)))]
    while new:
        row, column = new.pop()
        if (row, column) in places and (row, column) not in seen:
            seen.add((row, column))
            new += [(row + 1, column), (row - 1, column), (row, column + 1), (row, column - 1)]
    return seen == places


def _crossed(lines: np.ndarray, low: Place, window: tuple[float, float]) -> bool:
    """Whether any segment (n, 2, 2) enters a window (Liang and Barsky's clipping)."""
    start, along = lines[:, 0], lines[:, 1] - lines[:, 0]
    enter, leave = np.zeros(len(lines)), np.ones(len(lines))
    within = np.ones(len(lines), bool)
    for k in (0, 1):
        with np.errstate(divide="ignore", invalid="ignore"):
            a = (low[k] - start[:, k]) / along[:, k]
            b = (low[k] + window[k] - start[:, k]) / along[:, k]
        flat = along[:, k] == 0
        within &= ~flat | ((low[k] <= start[:, k]) & (start[:, k] <= low[k] + window[k]))
        enter = np.where(flat, enter, np.maximum(enter, np.minimum(a, b)))
        leave = np.where(flat, leave, np.minimum(leave, np.maximum(a, b)))
    return bool(np.any(within & (enter <= leave)))


def _crosses(tiling: Tiling, starts_x: list[float], starts_y: list[float]) -> tuple[Place, ...]:
    """Places in the middle of the overlaps: on each seam where it meets another, and near its outer ends."""
    seams = [[start + OVERLAP / 2 for start in starts[1:]] for starts in (starts_x, starts_y)]
    ends = [
        [starts[0] + INSIDE, starts[-1] + size - INSIDE]
        for starts, size in zip((starts_x, starts_y), tiling.window, strict=True)
    ]
    found = {(x, y) for x in seams[0] for y in (*seams[1], *ends[1])}
    found |= {(x, y) for x in (*seams[0], *ends[0]) for y in seams[1]}
    return tuple(
        place
        for place in sorted(found, key=lambda p: (-p[1], p[0]))
        if sum(tiling.shows(tile, place) for tile in tiling.tiles) > 1
    )


def _letters(row: int) -> str:
    """A, B … Z, AA, AB …: rows from the top."""
    name = ""
    row += 1
    while row:
        row, last = divmod(row - 1, 26)
        name = chr(ord("A") + last) + name
    return name
