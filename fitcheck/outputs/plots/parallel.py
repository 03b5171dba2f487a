"""Parallel lines: an axis for each thing that varies and each figure, a line for each layout.

Lines that run along each other between two axes are drawn once, the stronger the more they are: thirty
thousand layouts stay as readable as three hundred.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patheffects import Normal, Stroke
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from fitcheck.layouts.columns import Kind
from fitcheck.layouts.read import Layouts
from fitcheck.layouts.summary import Summary
from fitcheck.outputs.plots.gathered import WORDS, Gathered, Stand, Varied, said_value
from fitcheck.outputs.plots.look import BEST, BETTER, GREY, INK, SMALL, TEXT, bare, colour_bar, paper, worth

# A figure's axis is divided into so many places, a parameter's into no more.
PLACES = 48
# So many values are written along an axis.
TICKS = 14
FAILING = "#A9B0B7"
# Words so near to each other on an axis, in parts of its height, run into each other.
CLOSE = 0.035


@dataclass(frozen=True)
class _Scale:
    """One axis.

    Args:
        title: with its unit.
        height: of each layout on it, 0 to 1, not a number where it has none, (n,).
        ticks: height and word.
        demands: heights of what is demanded, with the word.
        below: what is said at its foot.
    """

    title: str
    height: NDArray[np.float64]
    ticks: tuple[tuple[float, str], ...]
    demands: tuple[tuple[float, str], ...] = ()
    below: str = ""


def parallel_lines(layouts: Layouts, seen: Gathered, found: Summary) -> Figure:
    """Many things that vary: what fits over what does not, coloured by the first ranked figure."""
    scales = [*map(_varied, seen.varied), *_figures(layouts, seen)]
    figure = paper(layouts, found)
    axes = figure.add_axes((0.05, 0.13, 0.835, 0.68))
    _lines(axes, layouts, seen, scales)
    if found.best:
        _best(axes, layouts, seen, scales, seen.row_of(found.best[0]["layout"]))
    for at, one in enumerate(scales):
        _axis(axes, at, one)
    bare(axes)
    axes.set(xlim=(-0.25, len(scales) - 0.75), ylim=(-0.03, 1.03), xticks=[], yticks=[])
    _legend(figure, seen, bool(found.best))
    colour_bar(figure, (0.935, 0.13, 0.014, 0.68), layouts, seen)
    return figure


def _varied(one: Varied) -> _Scale:
    """Numbers stand where they are, words at equal steps."""
    count = len(one.cells)
    numbers = [float(cell) for cell in one.cells if isinstance(cell, int | float)]
    if count == 1:
        places = np.array([0.5])
    elif one.column.kind == Kind.TEXT:
        places = np.arange(count) / (count - 1)
    else:
        places = (np.array(numbers) - numbers[0]) / (numbers[-1] - numbers[0])
    ticks: tuple[tuple[float, str], ...]
    if count <= TICKS:
        ticks = tuple(zip(places.tolist(), one.words, strict=True))
    elif one.column.kind == Kind.TEXT:
        ticks = tuple((float(places[k]), one.words[k]) for k in range(0, count, -(-count // TICKS)))
    else:
        low, high = numbers[0], numbers[-1]
        ticks = tuple(((m - low) / (high - low), f"{m:.6g}") for m in _round(low, high) if low <= m <= high)
    return _Scale(one.column.title, places[one.at], ticks)


def _round(low: float, high: float) -> list[float]:
    """Round figures from one at or below `low` to one at or above `high`."""
    return [float(mark) for mark in MaxNLocator(8, steps=[1, 2, 2.5, 5, 10]).tick_values(low, high)]


def _figures(layouts: Layouts, seen: Gathered) -> list[_Scale]:
    """The ranked figures, the most important first, then the others."""
    senses = {figure: sense for sense, figure in reversed(layouts.rank)}
    ranked = list(dict.fromkeys(figure for _, figure in layouts.rank))
    names = [*ranked, *(column.name for column, _ in seen.figures if column.name not in ranked)]
    return [_figure(layouts, seen, name, senses.get(name, "")) for name in names]


def _figure(layouts: Layouts, seen: Gathered, name: str, sense: str) -> _Scale:
    column, values = seen.figure(name)
    bounds = [
        (value, word)
        for demand in layouts.demands
        if demand.figure == name
        for value, word in ((demand.at_least, "at least"), (demand.at_most, "at most"))
        if value is not None
    ]
    known = np.concatenate([values[np.isfinite(values)], [value for value, _ in bounds]])
    below = f"{sense} is best" if sense else ""
    if not len(known):
        return _Scale(column.title, values, (), below="not known")
    if known.min() == known.max():
        return _Scale(column.title, values * 0 + 0.5, ((0.5, f"{known[0]:.6g}"),), below=below)
    marks = _round(float(known.min()), float(known.max()))
    low, high = marks[0], marks[-1]
    demands = tuple(((value - low) / (high - low), f"{word} {value:.6g}") for value, word in bounds)
    heights = [((mark - low) / (high - low), f"{mark + 0.0:.6g}") for mark in marks]
    # What is demanded is written in the place of a figure near by.
    ticks = tuple(tick for tick in heights if all(abs(tick[0] - at) > CLOSE for at, _ in demands))
    return _Scale(column.title, (values - low) / (high - low), ticks, demands, below)


def _lines(axes: Axes, layouts: Layouts, seen: Gathered, scales: Sequence[_Scale]) -> None:
    """What does not fit below, thin and grey; what fits above it, the better the later."""
    counts = worth(layouts, seen)
    for at, (one, other) in enumerate(pairwise(scales)):
        for good in (False, True):
            those = seen.good == good
            ends, many, best = _bundles(one.height[those], other.height[those], counts[those])
            if not len(ends):
                continue
            order = np.argsort(best, kind="stable")
            ends, share = ends[order], (many / many.max())[order] ** 0.5
            heights = zip(*ends.T.tolist(), strict=True)
            segments = [((at, low), (at + 1, high)) for low, high in heights]
            crowd = min(1.0, (250 / len(ends)) ** 0.5)
            alpha = np.clip((0.35 + 0.65 * share) * crowd, 0.06, 0.9)
            looks: dict[str, Any] = {"alpha": alpha, "capstyle": "round", "zorder": 3 if good else 2}
            if good:
                looks |= {"colors": BETTER(best[order]), "linewidths": 1.2 + 2.2 * share}
            else:
                looks |= {"colors": FAILING, "linewidths": 0.7, "linestyles": (0, (4, 2.5))}
            axes.add_collection(LineCollection(segments, **looks))


def _bundles(
    one: NDArray[np.float64], other: NDArray[np.float64], counts: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.float64]]:
    """Lines between two axes put together: their ends (k, 2), how many they are, the best worth of each."""
    known = np.isfinite(one) & np.isfinite(other)
    ends = np.stack([_placed(one[known]), _placed(other[known])], axis=1)
    found, inverse, many = np.unique(ends, axis=0, return_inverse=True, return_counts=True)
    best = np.zeros(len(found))
    np.maximum.at(best, inverse.ravel(), counts[known])
    return found, many, best


def _placed(heights: NDArray[np.float64]) -> NDArray[np.float64]:
    """Heights as they are where they are few, else the middle of what stands in one of `PLACES`."""
    if len(np.unique(heights)) <= PLACES:
        return heights
    return (np.minimum(heights * PLACES, PLACES - 1).astype(int) + 0.5) / PLACES


def _best(axes: Axes, layouts: Layouts, seen: Gathered, scales: Sequence[_Scale], row: int) -> None:
    heights = [float(one.height[row]) for one in scales]
    axes.plot(
        range(len(scales)), heights, color=BEST, linewidth=4.0, marker="o", markersize=10, zorder=6,
        path_effects=[Stroke(linewidth=8.0, foreground="white"), Normal()],
    )  # fmt: skip
    said = [one.words[one.at[row]] for one in seen.varied]
    for one in scales[len(seen.varied) :]:
        column, values = next(figure for figure in seen.figures if figure[0].title == one.title)
        said.append(said_value(column, values[row]))
    for at, (height, text) in enumerate(zip(heights, said, strict=True)):
        if np.isfinite(height):
            axes.annotate(
                text, (at, height), xytext=(12, 0), textcoords="offset points", va="center", size=TEXT,
                weight="bold", color="white", zorder=8, parse_math=False,
                bbox={"facecolor": BEST, "edgecolor": "white", "boxstyle": "round,pad=0.25"},
            )  # fmt: skip


def _axis(axes: Axes, at: int, one: _Scale) -> None:
    """The axis, its words on the left, its title above."""
    white = [Stroke(linewidth=3.5, foreground="white"), Normal()]
    axes.plot([at, at], [0, 1], color=INK, linewidth=1.6, zorder=4)
    for height, word in one.ticks:
        axes.plot([at - 0.012, at], [height, height], color=INK, linewidth=1.2, zorder=4)
        axes.annotate(
            word, (at, height), xytext=(-9, 0), textcoords="offset points", ha="right", va="center",
            size=SMALL, color=INK, path_effects=white, zorder=7, parse_math=False,
        )  # fmt: skip
    for height, word in one.demands:
        axes.plot([at - 0.05, at + 0.05], [height, height], color=INK, linewidth=3.5, zorder=5)
        axes.annotate(
            word, (at - 0.05, height), xytext=(-4, 0), textcoords="offset points", ha="right", va="center",
            size=SMALL, weight="bold", color=INK, path_effects=white, zorder=7,
        )  # fmt: skip
    axes.annotate(
        one.title, (at, 1), xytext=(0, 16), textcoords="offset points", ha="center", size=TEXT,
        weight="bold", color=INK, parse_math=False,
    )  # fmt: skip
    axes.annotate(
        one.below, (at, 0), xytext=(0, -24), textcoords="offset points", ha="center", size=SMALL, color=GREY
    )


def _legend(figure: Figure, seen: Gathered, best: bool) -> None:
    counts = np.bincount(seen.stands, minlength=len(Stand))

    def said(stands: Sequence[Stand]) -> str:
        return ", ".join(f"{WORDS[stand]} {counts[stand]:,}" for stand in stands if counts[stand])

    lines = []
    if seen.good.any():
        lines.append(Line2D([], [], color=BETTER(0.8), linewidth=3, label=said((Stand.FITS, Stand.TIGHT))))
    if not seen.good.all():
        words = said([stand for stand in Stand if stand > Stand.TIGHT])
        lines.append(Line2D([], [], color=FAILING, linewidth=1.2, linestyle=(0, (4, 2.5)), label=words))
    if best:
        lines.append(Line2D([], [], color=BEST, linewidth=4, marker="o", markersize=9, label="the best"))
    figure.legend(
        handles=lines, loc="lower left", bbox_to_anchor=(0.03, 0.015), ncols=len(lines), frameon=False,
        fontsize=TEXT, handlelength=3.2,
    )  # fmt: skip
