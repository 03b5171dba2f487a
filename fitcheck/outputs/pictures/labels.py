"""Part names in two side columns, each with a line to where its part is seen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, permutations
from math import hypot

import numpy as np

from fitcheck.checks.names import INDICES
from fitcheck.outputs.pictures.margins import Layout
from fitcheck.outputs.pictures.paper import GREY, INK, PAPER, Paper, Pixel

# Names a column holds at 1200 pixels' height; more would be read by nobody.
MOST = 15
TEXT = 15.0
PITCH = 30.0
# A name this many pitches off its part's height is left out, unless a finding names it: its line confuses.
STRAY = 4.5
# Seen on fewer pixels than this, a part is no use pointing at.
LEAST_SEEN = 60
# A line nearer than this to another part's dot would seem to end there.
PAST = 9.0
# The dot's place is searched on every so many-th pixel.
SPARSE = 3


@dataclass(frozen=True)
class Seen:
    """Where a part is seen: its index, pixels seen, and a pixel (x, y) well inside what is seen of it."""

    part: int
    pixels: int
    at: tuple[float, float]


@dataclass(frozen=True)
class Label:
    """A name placed: its part, text, side (-1 left, 1 right), middle height, and where its line ends."""

    part: int
    text: str
    side: int
    y: float
    at: tuple[float, float]
    strong: bool


def seen_parts(ids: np.ndarray, corner: tuple[int, int]) -> dict[int, Seen]:
    """Parts seen in an identity picture (height, width; -1 none) whose top left pixel is `corner`."""
    counts = np.bincount(ids[ids >= 0].ravel())
    small = ids[::SPARSE, ::SPARSE].copy()
    grid = np.indices(small.shape)
    rows, columns = grid[0], grid[1]
    at: dict[int, tuple[float, float]] = {}
    # Peel every part's pixels layer by layer; what goes last lies deepest inside.
    while (small >= 0).any():
        padded = np.pad(small, 1, constant_values=-1)
        same = np.ones(small.shape, bool)
        for row, column in ((0, 1), (2, 1), (1, 0), (1, 2)):
            shifted = padded[row : row + small.shape[0], column : column + small.shape[1]]
            same &= shifted == small
        peeled = np.where(same, small, -1)
        for part in np.setdiff1d(np.unique(small[small >= 0]), peeled):
            where = small == part
            middle = np.array([rows[where].mean(), columns[where].mean()])
            r, c = rows[where], columns[where]
            nearest = int(np.argmin((r - middle[0]) ** 2 + (c - middle[1]) ** 2))
            at[int(part)] = (
                float(c[nearest] * SPARSE + corner[0]),
                float(r[nearest] * SPARSE + corner[1]),
            )
        small = peeled
    return {p: Seen(p, int(counts[p]), place) for p, place in sorted(at.items()) if counts[p] >= LEAST_SEEN}


def arranged(
    paper: Paper, names: Mapping[int, str], seen: Mapping[int, Seen], first: Sequence[int], frame: Layout
) -> tuple[list[Label], int]:
    """Labels that fit, and how many seen parts go without: `first` parts first, then by area seen.

    Where there are too many, a repeat (`drive[1]`, `drive[2]` …) gets one name with its count. Names that
    would end up far from the height of their part are left out.
    """
    pitch = paper.px(PITCH)
    rooms = [max(min(MOST, int((high - low) // pitch) - 1), 0) for low, high in frame.rooms]
    ranked = [p for p in first if p in seen]
    ranked += sorted((p for p in seen if p not in ranked), key=lambda p: (-seen[p].pixels, p))
    counts = dict.fromkeys(ranked, 1)
    if len(ranked) > sum(rooms):
        counts = _repeats(names, ranked, set(first))
        names = {p: names[p] if n == 1 else f"{INDICES.sub('', names[p])} ({n})" for p, n in counts.items()}
    chosen = list(counts)[: sum(rooms)]
    while True:
        labels = _placed(paper, names, seen, chosen, first, frame, rooms)
        astray = [
            label for label in labels if not label.strong and abs(label.y - label.at[1]) > STRAY * pitch
        ]
        if not astray:
            return labels, len(seen) - sum(counts[p] for p in chosen)
        worst = max(astray, key=lambda label: abs(label.y - label.at[1]))
        chosen.remove(worst.part)


def _repeats(names: Mapping[int, str], ranked: Sequence[int], alone: set[int]) -> dict[int, int]:
    """The first of each repeat and how many it stands for, in order; `alone` stand for themselves."""
    leader: dict[str, int] = {}
    counts: dict[int, int] = {}
    for p in ranked:
        stem = INDICES.sub("", names[p])
        if p in alone or stem == names[p]:
            counts[p] = 1
        else:
            first = leader.setdefault(stem, p)
            counts[first] = counts.get(first, 0) + 1
    return counts


def _placed(
    paper: Paper,
    names: Mapping[int, str],
    seen: Mapping[int, Seen],
    chosen: Sequence[int],
    first: Sequence[int],
    frame: Layout,
    rooms: Sequence[int],
) -> list[Label]:
    """The chosen parts' names in both columns, each side sorted by height and without crossing lines."""
    pane, pitch = frame.pane, paper.px(PITCH)
    across = sorted(chosen, key=lambda p: (seen[p].at[0], p))
    left = sum(seen[p].at[0] < (pane[0] + pane[2]) / 2 for p in across)
    left = min(max(left, len(across) - rooms[1]), rooms[0])
    labels: list[Label] = []
    for side, members in ((-1, across[:left]), (1, across[left:])):
        members = sorted(members, key=lambda p: (seen[p].at[1], p))
        spots = [seen[p].at for p in members]
        column, (low, high) = frame.columns[side > 0], frame.rooms[side > 0]
        heights = spread([y for _, y in spots], pitch, low + pitch / 2, high - pitch)
        x = column[1] if side < 0 else column[0]
        order = uncrossed(x, heights, spots)
        order = clear_of_spots(x, heights, spots, order, paper.px(PAST))
        for y, k in zip(heights, order, strict=True):
            strong = members[k] in first
            text = paper.shortened(names[members[k]], TEXT, column[1] - column[0], bold=strong)
            labels.append(Label(members[k], text, side, y, spots[k], strong))
    return labels


def spread(wanted: Sequence[float], pitch: float, low: float, high: float) -> list[float]:
    """Heights near those wanted (ascending), at least `pitch` apart, within low and high."""
    heights: list[float] = []
    for y in wanted:
        heights.append(max(y, low, heights[-1] + pitch if heights else low))
    limit = high
    for index in range(len(heights) - 1, -1, -1):
        heights[index] = min(heights[index], limit)
        limit = heights[index] - pitch
    return heights


def uncrossed(x: float, heights: Sequence[float], spots: Sequence[Pixel]) -> list[int]:
    """Which spot each height gets, so that no two lines from (x, height) cross."""
    order = list(range(len(spots)))
    for _ in range(len(order) ** 2):
        swapped = False
        for i, j in combinations(range(len(order)), 2):
            if _cross((x, heights[i]), spots[order[i]], (x, heights[j]), spots[order[j]]):
                order[i], order[j] = order[j], order[i]
                swapped = True
        if not swapped:
            break
    return order


def clear_of_spots(
    x: float, heights: Sequence[float], spots: Sequence[Pixel], order: Sequence[int], past: float
) -> list[int]:
    """The order with fewer lines that pass another's spot nearer than `past`, and still none that cross.

    Two heights change places where that helps; a line through a spot would seem to end there.
    """

    def through(order: Sequence[int]) -> int:
        pairs = permutations(zip(heights, order, strict=True), 2)
        return sum(_apart((x, y), spots[k], spots[other]) < past for (y, k), (_, other) in pairs)

    def crossing(order: Sequence[int]) -> bool:
        pairs = combinations(zip(heights, order, strict=True), 2)
        return any(_cross((x, a), spots[k], (x, b), spots[m]) for (a, k), (b, m) in pairs)

    best, worst = list(order), through(order)
    for i, j in combinations(range(len(order)), 2):
        if not worst:
            break
        other = list(best)
        other[i], other[j] = other[j], other[i]
        less = through(other)
        if less < worst and not crossing(other):
            best, worst = other, less
    return best


def _apart(a: Pixel, b: Pixel, p: Pixel) -> float:
    """Distance of a point from the line between two."""
    along, to = (b[0] - a[0], b[1] - a[1]), (p[0] - a[0], p[1] - a[1])
    share = (to[0] * along[0] + to[1] * along[1]) / max(along[0] ** 2 + along[1] ** 2, 1e-9)
    share = min(max(share, 0.0), 1.0)
    return hypot(to[0] - share * along[0], to[1] - share * along[1])


def _cross(a: Pixel, b: Pixel, c: Pixel, d: Pixel) -> bool:
    def turn(p: Pixel, q: Pixel, r: Pixel) -> float:
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    return turn(a, b, c) * turn(a, b, d) < 0 and turn(c, d, a) * turn(c, d, b) < 0


def line_start(paper: Paper, label: Label, frame: Layout) -> Pixel:
    """Where the line of a name begins, beside its column."""
    gap = paper.px(5)
    return (frame.columns[0][1] + gap if label.side < 0 else frame.columns[1][0] - gap), label.y


def draw_labels(
    paper: Paper, labels: Sequence[Label], frame: Layout, colours: Mapping[int, tuple[int, int, int]]
) -> None:
    """Write names and lines; `colours` gives parts in findings their verdict's colour."""
    radius, columns = paper.px(4), frame.columns
    for label in labels:
        colour = colours.get(label.part, INK)
        width, height = paper.measure(label.text, TEXT, label.strong)
        x = columns[0][1] - width if label.side < 0 else columns[1][0]
        start = line_start(paper, label, frame)
        paper.line([start, label.at], PAPER, 3.5)
        paper.line([start, label.at], colour if label.strong else GREY, 1.6 if label.strong else 1.1)
        paper.write("label", label.text, (x, label.y - height / 2), TEXT, bold=label.strong, colour=colour)
    for label in labels:
        dot_x, y = label.at
        paper.draw.ellipse((dot_x - radius, y - radius, dot_x + radius, y + radius), fill=PAPER)
        inner = radius - max(1, radius // 3)
        fill = colours.get(label.part, INK)
        paper.draw.ellipse((dot_x - inner, y - inner, dot_x + inner, y + inner), fill=fill)
