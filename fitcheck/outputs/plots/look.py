"""How plots look: one paper, colours that everybody can tell apart, patterns and words beside them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.cm import ScalarMappable
from matplotlib.colors import ListedColormap, Normalize
from matplotlib.figure import Figure
from numpy.typing import NDArray

from fitcheck.layouts.read import Layouts
from fitcheck.layouts.summary import Summary, said_figures, said_values
from fitcheck.outputs.plots.gathered import Gathered, Stand

# Inches and dots an inch: 1600 x 1000 pixels, as the pictures of a scene.
SIZE, DPI = (16.0, 10.0), 100
INK, GREY, PALE = "#14181C", "#5F666E", "#DDE3E8"
# Of the palette of Okabe and Ito, "Color Universal Design" (2008).
BEST = "#D55E00"
# cividis (Nuñez, Anderton, Renslow, 2018) is made for readers with any common colour vision deficiency and
# grows evenly in lightness, so that it prints in grey. The better, the darker; its palest end, which is lost
# on white paper, is left out.
BETTER = ListedColormap(colormaps["cividis"](np.linspace(0.92, 0.0, 256)), "better")
# What does not hold has no colour: it is pale, and has a pattern.
PATTERNS = {
    Stand.FITS: "",
    Stand.TIGHT: "..",
    Stand.MISSES: "--",
    Stand.UNKNOWN: "oo",
    Stand.FAILS: "///",
    Stand.WRONG: "xxx",
}
# Line, title and small print, points.
TITLE, TEXT, SMALL = 19, 13, 11
# So many characters fit into a line of small print.
LINE = 190


def paper(layouts: Layouts, found: Summary) -> Figure:
    """A white sheet with what all layouts say together at its head."""
    figure = Figure(SIZE, facecolor="white")
    FigureCanvasAgg(figure)
    title = layouts.file.title or Path(layouts.document.name).name
    meets = " and meet the demands" if layouts.demands else ""
    head = f"{title}: {found.good:,} of {found.asked:,} layouts fit{meets}"
    figure.text(
        0.03, 0.965, _cut(head, 110), size=TITLE, weight="bold", color=INK, va="top", parse_math=False
    )
    figure.text(
        0.03, 0.92, _cut(_best_line(layouts, found), LINE), size=TEXT, color=INK, va="top", parse_math=False
    )
    return figure


def _best_line(layouts: Layouts, found: Summary) -> str:
    if not found.best:
        return "none fits"
    best = found.best[0]
    by = ", then ".join(f"{sense} {figure}" for sense, figure in layouts.rank)
    return f"best by {by}: layout {best['layout']}: {said_values(best)}: {', '.join(said_figures(best))}"


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 1]}…"


def worth(layouts: Layouts, seen: Gathered) -> NDArray[np.float64]:
    """What the first ranked figure counts as in each layout, 0 the worst that holds to 1 the best, (n,)."""
    sense, name = layouts.rank[0]
    low, high = _ends(layouts, seen)
    share = np.clip((seen.figure(name)[1] - low) / (high - low), 0.0, 1.0)
    found: NDArray[np.float64] = np.nan_to_num(share if sense == "most" else 1 - share)
    return found


def _ends(layouts: Layouts, seen: Gathered) -> tuple[float, float]:
    """The least and the greatest of the first ranked figure among what holds."""
    _, values = seen.figure(layouts.rank[0][1])
    known = values[seen.good & np.isfinite(values)]
    low, high = (float(known.min()), float(known.max())) if len(known) else (0.0, 1.0)
    return (low, high) if high - low > 1e-9 else (low - 0.5, high + 0.5)


def colour_bar(
    figure: Figure, box: tuple[float, float, float, float], layouts: Layouts, seen: Gathered
) -> None:
    """Which colour means which figure; nothing where nothing holds."""
    sense, name = layouts.rank[0]
    if not seen.good.any():
        return
    colours = BETTER if sense == "most" else BETTER.reversed()
    shown = ScalarMappable(Normalize(*_ends(layouts, seen)), colours)
    bar = figure.colorbar(shown, cax=figure.add_axes(box))
    said = f"{seen.figure(name)[0].title} of what fits; {sense} is best"
    bar.set_label(said, fontsize=TEXT, color=INK, labelpad=12)
    bar.ax.tick_params(labelsize=SMALL)
    bar.outline.set_visible(False)


def bare(axes: Axes) -> None:
    """Without frame and ticks."""
    for side in axes.spines.values():
        side.set_visible(False)
    axes.tick_params(length=0)
