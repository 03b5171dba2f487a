"""A drawing as lines, outlines and words on layers: the one thing that DXF, SVG and PDF all draw."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from fitcheck.templates.drawing import Bend, Circle, Drawing, Path, Place, Shape, Spot

# Layers, by what a cutter does with them: OUTLINE and CUTOUT are cut, DRILL is drilled, the rest is marked
# or only read.
LAYERS = ("OUTLINE", "CUTOUT", "DRILL", "MARK", "BEND", "CENTRE", "DATUM", "TEXT", "SCALE")
# Height of what is written at holes, mm; and how far cross hairs go on beyond a hole's edge.
HEIGHT, BEYOND = 2.5, 3.0
# Mean width of a letter by its height.
LETTER = 0.62
# Around the outline there is room for the names of the edges, mm.
PAD = 6.0
# A cut-out's cross is so large, each way from its middle, mm.
CROSS = 5.0


@dataclass(frozen=True)
class Line:
    """A straight line on a layer."""

    layer: str
    a: Place
    b: Place
    dashed: bool = False


@dataclass(frozen=True)
class Outline:
    """A closed outline on a layer."""

    layer: str
    shape: Shape
    dashed: bool = False


@dataclass(frozen=True)
class Words:
    """A text, its height in mm; `anchor` start, middle or end; turned by 90 degrees where `standing`."""

    layer: str
    at: Place
    text: str
    height: float = HEIGHT
    anchor: str = "start"
    standing: bool = False


Ink = Line | Outline | Words


@lru_cache(maxsize=64)
def ink(drawing: Drawing) -> tuple[Ink, ...]:
    """All that a drawing consists of, from its datum."""
    labels = _labels(drawing)
    return (
        *(Outline("OUTLINE", loop) for loop in drawing.loops),
        *(Outline("CUTOUT", path) for path in drawing.inner),
        *(one for spot in drawing.spots for one in _spot(drawing, spot)),
        *labels,
        *(one for bend in drawing.bends for one in _bend(drawing, bend, labels)),
        *_datum(drawing),
    )


def bounds(drawing: Drawing) -> tuple[float, float, float, float]:
    """Least x and y, greatest x and y of all that is drawn, with room for the words at the edges."""
    wide, high = drawing.size
    return -PAD, -PAD, wide + PAD, high + PAD


def box(one: Ink) -> tuple[float, float, float, float]:
    """Least x and y, greatest x and y of one line, outline or text (of a text never too small)."""
    if isinstance(one, Line):
        (x, y), (u, v) = one.a, one.b
        return min(x, u), min(y, v), max(x, u), max(y, v)
    if isinstance(one, Outline):
        return one.shape.bounds
    (x, y), long = one.at, len(one.text) * one.height
    return x - long, y - long, x + long, y + long


def segments(items: tuple[Ink, ...], facet: float = 0.5) -> np.ndarray:
    """(n, 2, 2) all lines and outlines as straight segments, round ones in steps of about `facet`, mm."""
    found = []
    for one in items:
        if isinstance(one, Line):
            found.append(np.array([[one.a, one.b]], float))
        elif isinstance(one, Outline):
            points = polygon(one.shape, facet)
            found.append(np.stack([points, np.roll(points, -1, axis=0)], axis=1))
    return np.concatenate([np.zeros((0, 2, 2)), *found])


def polygon(shape: Shape, facet: float = 0.5) -> np.ndarray:
    """(n, 2) points around a shape, on it."""
    if isinstance(shape, Circle):
        count = max(12, int(np.pi * shape.diameter / facet))
        angles = np.arange(count) * 2 * np.pi / count
        ring = np.stack([np.cos(angles), np.sin(angles)], axis=1)
        return np.asarray(np.array(shape.middle) + shape.diameter / 2 * ring)
    points: list[np.ndarray] = []
    corners = [np.array(corner) for corner in shape.corners]
    for k, a in enumerate(corners):
        points.append(a)
        if k in shape.round_after:
            b = corners[(k + 1) % len(corners)]
            middle, to = (a + b) / 2, a - (a + b) / 2
            count = max(6, int(np.pi * np.linalg.norm(to) / facet))
            for step in range(1, count):
                cos, sin = np.cos(np.pi * step / count), np.sin(np.pi * step / count)
                points.append(middle + np.array([cos * to[0] - sin * to[1], sin * to[0] + cos * to[1]]))
    return np.array(points)


def reach(spot: Spot) -> tuple[float, float, float, float]:
    """Least x and y, greatest x and y of a spot with its cross hairs."""
    x0, y0, x1, y1 = spot.shape.bounds
    beyond = BEYOND if isinstance(spot.shape, Circle) else 0.0
    return x0 - beyond, y0 - beyond, x1 + beyond, y1 + beyond


def _spot(drawing: Drawing, spot: Spot) -> Iterator[Ink]:
    merged = spot.number in drawing.merged
    dashed = spot.kind in ("stand-off", "to drill")
    if not merged:
        layer = "MARK" if dashed else "CUTOUT" if spot.kind in ("cut-out", "slot") else "DRILL"
        yield Outline(layer, spot.shape, dashed)
    x, y = spot.at
    x0, y0, x1, y1 = reach(spot)
    if isinstance(spot.shape, Path):
        x0, y0, x1, y1 = max(x0, x - CROSS), max(y0, y - CROSS), min(x1, x + CROSS), min(y1, y + CROSS)
    yield Line("CENTRE", (x0, y), (x1, y))
    yield Line("CENTRE", (x, y0), (x, y1))


def _labels(drawing: Drawing) -> tuple[Words, ...]:
    """Number and size of each spot: within a cut-out where they fit, else beside it where nothing else is."""
    many = len(drawing.spots)
    # Of each spot the boxes that it covers, then of the words placed so far; nothing there yet: no number.
    taken = np.full((2 * many, 3, 4), np.nan)
    for k, spot in enumerate(drawing.spots):
        boxes = _covered(spot)
        taken[k, : len(boxes)] = boxes
    found = []
    for k, spot in enumerate(drawing.spots):
        own = taken[k].copy()
        taken[k] = np.nan
        others = taken[: many + k].reshape(-1, 4)
        best, least = None, np.inf
        for words in _places(spot):
            met = _meets(others, _box_of(words), *drawing.size)
            if met < least:
                best, least = words, met
            if met == 0:
                break
        assert best is not None
        found.append(best)
        taken[k], taken[many + k, 0] = own, _box_of(best)
    return tuple(found)


def _covered(spot: Spot) -> list[tuple[float, float, float, float]]:
    """Boxes that a spot covers: of a large round one what lies well within it, and its cross hairs."""
    x0, y0, x1, y1 = reach(spot)
    if not isinstance(spot.shape, Circle) or spot.shape.diameter < 4 * HEIGHT:
        return [(x0, y0, x1, y1)]
    (x, y), half = spot.at, spot.shape.diameter / 2 * 0.85
    return [(x - half, y - half, x + half, y + half), (x0, y - 0.2, x1, y + 0.2), (x - 0.2, y0, x + 0.2, y1)]


def _places(spot: Spot) -> list[Words]:
    """Where the words of a spot may stand, the best first."""
    x, y = spot.at
    size = f"Ø{spot.size}" if isinstance(spot.shape, Circle) else spot.size
    said = f"{spot.number}  {size}{f' {spot.thread}' if spot.thread else ''}"
    low, bottom, high, top = spot.shape.bounds
    if x + 1.6 + _length(said) < high and y + 1.6 + HEIGHT < top:
        return [Words("TEXT", (x + 0.8, y + 0.8), said)]
    above, below = y + 0.8, y - 0.8 - HEIGHT * 0.8
    return [
        Words("TEXT", (high + 0.6, above), said),
        Words("TEXT", (low - 0.6, above), said, anchor="end"),
        Words("TEXT", (high + 0.6, below), said),
        Words("TEXT", (low - 0.6, below), said, anchor="end"),
        Words("TEXT", (x, top + BEYOND + 0.5), said, anchor="middle"),
        Words("TEXT", (x, bottom - BEYOND - 0.5 - HEIGHT * 0.8), said, anchor="middle"),
    ]


def _box_of(words: Words) -> tuple[float, float, float, float]:
    """Least x and y, greatest x and y of lying words, about."""
    long = _length(words.text)
    left = words.at[0] - {"start": 0.0, "middle": long / 2, "end": long}[words.anchor]
    return left, words.at[1] - 0.2 * HEIGHT, left + long, words.at[1] + 0.8 * HEIGHT


def _meets(others: np.ndarray, own: tuple[float, float, float, float], wide: float, high: float) -> float:
    """How much of other boxes (n, 4), or of what lies outside the part, a box covers, mm2."""
    across = np.minimum(others[:, 2], own[2]) - np.maximum(others[:, 0], own[0])
    up = np.minimum(others[:, 3], own[3]) - np.maximum(others[:, 1], own[1])
    covered = float(np.nansum(np.maximum(across, 0.0) * np.maximum(up, 0.0)))
    out = max(own[2] - wide, -own[0], 0.0) + max(own[3] - high, -own[1], 0.0)
    return round(covered + HEIGHT * out, 3)


def _length(said: str) -> float:
    return len(said) * LETTER * HEIGHT


def _bend(drawing: Drawing, bend: Bend, labels: Sequence[Words]) -> Iterator[Ink]:
    """Its line, and beside it which way and how far, where least of the holes and their words is."""
    yield Line("BEND", bend.start, bend.end, dashed=True)
    (x, y), (u, v) = bend.start, bend.end
    upright = abs(u - x) < abs(v - y)
    said = f"bend {'up' if bend.up else 'down'} {bend.angle:g}°, {bend.radius:g} inside"
    long = _length(said)
    low, high = sorted((y, v) if upright else (x, u))
    boxes = [one for spot in drawing.spots for one in _covered(spot)] + [_box_of(one) for one in labels]
    others = np.array(boxes).reshape(-1, 4)

    def met(along: float) -> float:
        own = (x - 0.8 - HEIGHT, along, x - 0.8, along + long) if upright else (
            along, y + 0.8, along + long, y + 0.8 + HEIGHT
        )  # fmt: skip
        return _meets(others, own, *drawing.size)

    at = float(min(np.linspace(low + 2.0, max(high - 2.0 - long, low + 2.0), 24), key=met))
    yield Words("TEXT", (x - 0.8, at) if upright else (at, y + 0.8), said, standing=upright)


def _datum(drawing: Drawing) -> Iterator[Ink]:
    """The two edges that are measured from, drawn on beyond the corner, and the names of all four."""
    wide, high = drawing.size
    edges = drawing.datum
    yield Line("DATUM", (-PAD + 1, 0.0), (min(wide, 15.0), 0.0))
    yield Line("DATUM", (0.0, -PAD + 1), (0.0, min(high, 15.0)))
    yield Words("DATUM", (-0.8, -3.2), "0", anchor="end")
    below = (
        f"y from here: {edges.bottom} edge"
        if edges.square_y
        else f"y from the outermost place: {edges.bottom}"
    )
    aside = (
        f"x from here: {edges.left} edge" if edges.square_x else f"x from the outermost place: {edges.left}"
    )
    yield Words("DATUM", (1.5, -3.6), below)
    yield Words("DATUM", (-1.5, 1.5), aside, standing=True)
    yield Words("TEXT", (wide / 2, high + 1.2), f"{edges.top} edge", anchor="middle")
    yield Words("TEXT", (wide + 3.6, high / 2), f"{edges.right} edge", anchor="middle", standing=True)
