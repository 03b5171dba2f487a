"""A heat map: two things that vary along its sides, a field a layout."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.colors import to_rgba
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from numpy.typing import NDArray

from fitcheck.layouts.read import Layouts
from fitcheck.layouts.summary import Summary
from fitcheck.outputs.plots.gathered import GOOD, WORDS, Gathered, Stand, Varied, said_value
from fitcheck.outputs.plots.look import (
    BEST,
    BETTER,
    GREY,
    INK,
    PALE,
    PATTERNS,
    SMALL,
    TEXT,
    bare,
    colour_bar,
    paper,
    worth,
)  # fmt: skip

# Fields up to these numbers, across and up, have their verdict and figure written in them.
WRITTEN = (12, 12)
# So many values are written along a side.
TICKS = 26


def heat_map(layouts: Layouts, seen: Gathered, found: Summary) -> Figure:
    """One or two things that vary: colour by the first ranked figure, patterns and words by verdict."""
    sides = [_side(seen.varied, wheel.names) for wheel in layouts.choices.wheels]
    while len(sides) < 2:
        sides.append(_Side("", [""], np.zeros(len(seen.numbers), np.int32)))
    sides.sort(key=lambda side: -len(side.words))
    across, up = sides
    figure = paper(layouts, found)
    axes = figure.add_axes((0.09, 0.15, 0.76, 0.69))
    legend = _fields(axes, layouts, seen, across, up)
    if len(across.words) <= WRITTEN[0] and len(up.words) <= WRITTEN[1]:
        _write(axes, layouts, seen, across, up)
    if found.best:
        _mark_best(axes, seen.row_of(found.best[0]["layout"]), across, up)
    _label(axes, across, up)
    colour_bar(figure, (0.885, 0.15, 0.018, 0.69), layouts, seen)
    figure.legend(
        handles=legend, loc="lower left", bbox_to_anchor=(0.085, 0.01), ncols=len(legend), frameon=False,
        fontsize=TEXT, handlelength=2.6, handleheight=1.6,
    )  # fmt: skip
    return figure


class _Side:
    """One side of the map: its title, what is written along it, where each layout stands."""

    def __init__(self, title: str, words: list[str], at: NDArray[np.int32]) -> None:
        self.title, self.words, self.at = title, words, at


def _side(varied: Sequence[Varied], names: tuple[str, ...]) -> _Side:
    """What varies together is one side: its rows in their order."""
    together = [one for one in varied if one.column.name in names]
    if len(together) == 1:
        return _Side(together[0].column.title, together[0].words, together[0].at)
    rows, at = np.unique(np.stack([one.at for one in together]), axis=1, return_inverse=True)
    words = [", ".join(one.words[place] for one, place in zip(together, row, strict=True)) for row in rows.T]
    return _Side(", ".join(one.column.title for one in together), words, at.astype(np.int32).ravel())


def _fields(axes: Axes, layouts: Layouts, seen: Gathered, across: _Side, up: _Side) -> list[Patch]:
    """Draw the fields, coloured and with the patterns of how they stand; what is to be said of each stand."""
    colours = np.ones((len(up.words), len(across.words), 4))
    colours[up.at, across.at] = to_rgba(PALE)
    colours[up.at[seen.good], across.at[seen.good]] = BETTER(worth(layouts, seen)[seen.good])
    ends = (-0.5, len(across.words) - 0.5, -0.5, len(up.words) - 0.5)
    axes.imshow(colours, origin="lower", extent=ends, aspect="auto", interpolation="nearest")
    legend = []
    for stand in Stand:
        those = seen.stands == stand
        if not those.any():
            continue
        good, pattern = stand <= GOOD, PATTERNS[stand]
        # A hatch takes the colour of the edge, which is not drawn itself.
        edge = "white" if good else GREY
        if pattern:
            rows = _rows(across.at[those], up.at[those])
            looks: dict[str, Any] = {"facecolors": "none", "edgecolors": edge, "linewidths": 0.0}
            axes.add_collection(PolyCollection(list(rows), hatch=pattern, **looks))
        face = BETTER(0.8) if good else PALE
        words = f"{WORDS[stand]}: {int(those.sum()):,}"
        legend.append(Patch(facecolor=face, edgecolor=edge, hatch=pattern or None, label=words))
    if len(seen.numbers) < len(across.words) * len(up.words):
        legend.append(Patch(facecolor="white", edgecolor=GREY, label="not asked"))
    return legend


def _rows(x: NDArray[np.int32], y: NDArray[np.int32]) -> NDArray[np.float64]:
    """Fields that lie beside each other as one rectangle: corners, (k, 4, 2)."""
    order = np.lexsort((x, y))
    x, y = x[order], y[order]
    begins = np.flatnonzero(np.append(True, (np.diff(y) != 0) | (np.diff(x) != 1)))
    ends = np.append(begins[1:], len(x)) - 1
    low, high, row = x[begins] - 0.5, x[ends] + 0.5, y[begins]
    corners = [[low, row - 0.5], [high, row - 0.5], [high, row + 0.5], [low, row + 0.5]]
    return np.array(corners).transpose(2, 0, 1)


_SQUARE = np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]])


def _write(axes: Axes, layouts: Layouts, seen: Gathered, across: _Side, up: _Side) -> None:
    """The verdict and the figure into each field."""
    column, values = seen.figure(layouts.rank[0][1])
    counts = worth(layouts, seen)
    for row, stand in enumerate(seen.stands.tolist()):
        good = stand <= GOOD
        dark = good and counts[row] > 0.45
        said = f"{WORDS[Stand(stand)]}\n{said_value(column, values[row])}"
        axes.text(
            float(across.at[row]), float(up.at[row]), said, ha="center", va="center", size=SMALL,
            color="white" if dark else INK, parse_math=False,
            bbox=None if good else {"facecolor": PALE, "edgecolor": "none", "pad": 2.0},
        )  # fmt: skip


def _mark_best(axes: Axes, row: int, across: _Side, up: _Side) -> None:
    x, y = float(across.at[row]), float(up.at[row])
    around = np.vstack([_SQUARE, _SQUARE[:1]]) + np.array([x, y])
    for width, colour in ((7.0, "white"), (3.5, BEST)):
        axes.plot(*around.T, color=colour, linewidth=width, zorder=5, solid_joinstyle="miter", clip_on=False)
    left, low = x > (len(across.words) - 1) / 2, y <= (len(up.words) - 1) / 2
    axes.annotate(
        "best", (x + (-0.5 if left else 0.5), y + (0.5 if low else -0.5)),
        xytext=(-9 if left else 9, 9 if low else -9),
        textcoords="offset points", size=TEXT, weight="bold", color="white", zorder=6,
        ha="right" if left else "left", va="bottom" if low else "top",
        bbox={"facecolor": BEST, "edgecolor": "white", "boxstyle": "round,pad=0.3"},
    )  # fmt: skip


def _label(axes: Axes, across: _Side, up: _Side) -> None:
    bare(axes)
    axes.set_xlim(-0.5, len(across.words) - 0.5)
    axes.set_ylim(-0.5, len(up.words) - 0.5)
    for axis, side in ((axes.xaxis, across), (axes.yaxis, up)):
        step = -(-len(side.words) // TICKS)
        places = range(0, len(side.words), step)
        axis.set_ticks(list(places), [side.words[place] for place in places], fontsize=TEXT, color=INK)
        axis.set_label_text(side.title, fontsize=TEXT, color=INK, fontweight="bold")
    long = max(len(word) for word in across.words) * min(len(across.words), TICKS) > 130
    axes.tick_params(axis="x", labelrotation=90 if long else 0)
