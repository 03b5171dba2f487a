"""Plots of a batch: what is marked in them, and that everybody can tell it apart."""

from __future__ import annotations

import io
from collections import Counter
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.colors import to_rgb
from PIL import Image
from small_layouts import LAYOUTS, written

from fitcheck.layouts.asked import Asker, numbered
from fitcheck.layouts.read import read_layouts
from fitcheck.layouts.summary import holds, summary
from fitcheck.outputs.plots import write_plot
from fitcheck.outputs.plots.gathered import WORDS, Stand, gathered
from fitcheck.outputs.plots.heat_map import heat_map
from fitcheck.outputs.plots.look import BEST, BETTER, PALE, PATTERNS
from fitcheck.outputs.plots.parallel import FAILING, parallel_lines

TOP = Path(__file__).resolve().parents[1]
TWO = LAYOUTS.partition("alternatives:")[0] + "exclude:" + LAYOUTS.partition("exclude:")[2]


def asked(folder, text):
    layouts = read_layouts(written(folder, text))
    asker = Asker(layouts)
    records = [asker.ask(number) for number in layouts.choices.numbers()]
    found = summary(layouts, records)
    return layouts, records, found, gathered(layouts, records, found.asked)


@pytest.fixture(scope="module")
def two(tmp_path_factory):
    return asked(tmp_path_factory.mktemp("two"), TWO)


@pytest.fixture(scope="module")
def three(tmp_path_factory):
    return asked(tmp_path_factory.mktemp("three"), LAYOUTS)


def words(figure):
    """All that is written in a figure."""
    return [text.get_text() for axes in figure.axes for text in axes.texts] + [
        t.get_text() for t in figure.texts
    ]


def test_results_as_arrays(three):
    _, records, _, seen = three
    assert seen.numbers.tolist() == [record["layout"] for record in records]
    assert seen.good.tolist() == [holds(record) for record in records]
    for one in seen.varied:
        shown = [record["values"][one.column.name].removesuffix(" mm") for record in records]
        assert [one.words[place] for place in one.at] == shown
    assert seen.figure("least")[1].tolist() == [record["figures"]["least"] for record in records]


def test_stands_of_all_kinds(three):
    layouts, _, _, _ = three
    base = {**numbered(layouts, 0), "figures": {"least": 1.0, "price": None}, "missed": []}
    cases = {
        Stand.FITS: {"verdict": "fits"},
        Stand.TIGHT: {"verdict": "tight"},
        Stand.MISSES: {"verdict": "tight", "missed": ["least"]},
        Stand.UNKNOWN: {"verdict": "unknown"},
        Stand.FAILS: {"verdict": "fails", "missed": ["least"]},
        Stand.WRONG: {"verdict": None, "mistakes": ["out of range"]},
    }
    seen = gathered(layouts, [{**base, **case} for case in cases.values()], len(cases))
    assert seen.stands.tolist() == list(cases)
    assert len({PATTERNS[stand] for stand in Stand}) == len({WORDS[stand] for stand in Stand}) == len(Stand)


def hatched(figure):
    """The patterns, each with the fields that lie under it."""
    found = {}
    for one in figure.axes[0].collections:
        if isinstance(one, PolyCollection):
            for path in one.get_paths():
                (left, low), (right, _) = path.vertices[0], path.vertices[1]
                row, columns = round(low + 0.5), range(round(left + 0.5), round(right + 0.5))
                found.setdefault(one.get_hatch(), set()).update((column, row) for column in columns)
    return found


def test_a_heat_map_shows_each_layout_where_it_belongs(two):
    layouts, records, found, seen = two
    figure = heat_map(layouts, seen, found)
    axes = figure.axes[0]
    # The longer side lies across.
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("gap [mm]", "wide [mm]")
    assert [tick.get_text() for tick in axes.get_yticklabels()] == ["10", "20", "26"]
    counted = Counter(seen.stands.tolist())
    places = list(zip(seen.varied[1].at.tolist(), seen.varied[0].at.tolist(), strict=True))
    by_pattern = {}
    for place, stand in zip(places, seen.stands.tolist(), strict=True):
        by_pattern.setdefault(PATTERNS[stand], set()).add(place)
    assert hatched(figure) == {pattern: those for pattern, those in by_pattern.items() if pattern}
    # In each field its verdict and figure, at its place.
    said = {text.get_position(): text.get_text() for text in axes.texts if "\n" in text.get_text()}
    assert len(said) == len(records)
    for record in records:
        place = (
            float(record["values"]["gap"][:-3]) / 1.5,
            ["10 mm", "20 mm", "26 mm"].index(record["values"]["wide"]),
        )
        verdict, figure_said = said[place].split("\n")
        assert verdict == WORDS[seen.stands[seen.row_of(record["layout"])]]
        assert figure_said == f"{record['figures']['least']:g} mm"
    best = found.best[0]["values"]
    ring = axes.lines[-1]
    assert ring.get_color() == BEST
    assert np.mean(ring.get_xdata()[:4]) == float(best["gap"][:-3]) / 1.5
    assert np.mean(ring.get_ydata()[:4]) == ["10 mm", "20 mm", "26 mm"].index(best["wide"])
    legend = [text.get_text() for text in figure.legends[0].get_texts()]
    assert legend == [f"{WORDS[s]}: {counted[s]}" for s in Stand if s in counted] + ["not asked"]


@pytest.mark.parametrize(("rank", "better"), [("[most least]", 1), ("[least least]", -1)])
def test_the_better_the_darker(tmp_path, rank, better):
    layouts, _, found, seen = asked(tmp_path, TWO.replace("[most least, least price]", rank))
    figure = heat_map(layouts, seen, found)
    values = seen.figure("least")[1][seen.good]
    order = np.argsort(better * values, kind="stable")
    drawn = figure.axes[0].images[0].get_array()
    dark = lightness(drawn[seen.varied[0].at, seen.varied[1].at, :3][seen.good])[order]
    assert (drawn[seen.varied[0].at, seen.varied[1].at, :3][~seen.good] == to_rgb(PALE)).all()
    assert (np.diff(dark) <= 1e-6).all()
    assert dark[0] - dark[-1] > 40
    # The bar beside it says the same of the same figure.
    bar = figure.axes[1].collections[-1]
    middle = bar.norm((values.min() + values.max()) / 2)
    assert middle == pytest.approx(0.5)
    ends = lightness(np.array([bar.cmap(0.0)[:3], bar.cmap(1.0)[:3]]))
    assert (ends[0] > ends[1]) == (better > 0)


def test_parallel_lines_show_all_that_varies_and_each_figure(three):
    layouts, _, found, seen = three
    figure = parallel_lines(layouts, seen, found)
    axes = figure.axes[0]
    titles = ["wide [mm]", "gap [mm]", "upper", "least [mm]", "price"]
    assert [text for text in words(figure) if text in titles] == titles
    for said in ("as_drawn", "lowered", "wider", "none", "at least 1", "most is best", "least is best"):
        assert said in words(figure)
    best = found.best[0]
    line = next(line for line in axes.lines if line.get_color() == BEST)
    heights = [
        (float(best["values"]["wide"][:-3]) - 10) / 16,
        float(best["values"]["gap"][:-3]) / 12,
        ["as_drawn", "lowered", "wider", "none"].index(best["values"]["upper"]) / 3,
    ]
    assert line.get_ydata()[:3] == pytest.approx(heights)
    bundles = [one for one in axes.collections if isinstance(one, LineCollection)]
    # What fits lies over what does not, and is drawn in another way.
    for good, bad in ((b, a) for a, b in pairwise(bundles) if a.get_zorder() < b.get_zorder()):
        assert min(good.get_linewidths()) > max(bad.get_linewidths())
        assert good.get_linestyles()[0][1] is None
        assert bad.get_linestyles()[0][1] is not None
    # Every pair of values that some layout that fits has is joined, and no other.
    pairs = {(seen.varied[0].at[row], seen.varied[1].at[row]) for row in np.flatnonzero(seen.good)}
    first = next(one for one in bundles if one.get_zorder() == 3)
    assert len(first.get_segments()) == len(pairs)


def test_thirty_thousand_layouts_stay_readable():
    """Results of a made-up formula: how many lines are drawn does not grow with the layouts."""
    layouts = read_layouts(TOP / "scenes" / "cabinet_layouts.yaml")
    records = []
    for number in layouts.choices.numbers():
        said = numbered(layouts, number)
        least = number % 997 / 50
        figures = {"least": least, "hand_room": float(number % 89)}
        missed = [] if number % 89 >= 60 else ["hand_room"]
        failing = ["clearance:a~b"] if least < 2 else []
        verdict = "fails" if failing else "fits"
        records.append({**said, "verdict": verdict, "figures": figures, "missed": missed, "failing": failing})
    found = summary(layouts, records)
    assert found.asked == 30_250
    figure = parallel_lines(layouts, gathered(layouts, records, found.asked), found)
    drawn = sum(
        len(one.get_segments()) for one in figure.axes[0].collections if isinstance(one, LineCollection)
    )
    assert drawn < 12_000
    file = io.BytesIO()
    write_plot(file, layouts, records, found)
    assert Image.open(file).size == (1600, 1000)


def test_nothing_fits_and_one_thing_varies(tmp_path):
    for text in (
        TWO.replace("at_least: 1 mm", "at_least: 100 mm"),
        LAYOUTS.replace("at_least: 1 mm", "at_least: 100 mm"),
        TWO.replace("  wide: [10 mm, 20 mm, 26 mm]\n", "").partition("exclude:")[0]
        + "figures: {least: {least_distance: yes}}\n",
        TWO.partition("vary:")[0]
        + "tables: [{columns: [wide, gap], rows: [[10 mm, 5 mm], [20 mm, 5 mm]]}]\n",
    ):
        layouts, records, found, _ = asked(tmp_path, text)
        file = io.BytesIO()
        write_plot(file, layouts, records, found)
        assert Image.open(file).size == (1600, 1000)


# Machado, Oliveira, Fernandes, "A physiologically-based model for simulation of color vision deficiency"
# (2009), severity 1.0; from memory.
SIGHTS = {
    "normal": np.eye(3),
    "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritan": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}  # fmt: skip
# sRGB to CIE XYZ, D65: IEC 61966-2-1.
XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])


def lab(colours, sight="normal"):
    """CIE 1976 L*a*b* of sRGB colours (n, 3), as seen by an eye."""
    colours = np.asarray(colours, float)
    linear = np.where(colours <= 0.04045, colours / 12.92, ((colours + 0.055) / 1.055) ** 2.4)
    linear = np.clip(linear @ np.asarray(SIGHTS[sight]).T, 0, 1)
    share = linear @ XYZ.T / XYZ.sum(axis=1)
    root = np.where(share > (6 / 29) ** 3, np.cbrt(share), share / (3 * (6 / 29) ** 2) + 4 / 29)
    x, y, z = root.T
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=1)


def lightness(colours):
    return lab(colours)[:, 0]


@pytest.mark.parametrize("sight", SIGHTS)
def test_colours_can_be_told_apart_by_everybody(sight):
    shades = lab(BETTER(np.linspace(0, 1, 64))[:, :3], sight)
    assert (np.diff(shades[:, 0]) < 0).all()  # the better, the darker
    assert np.linalg.norm(shades[0] - shades[-1]) > 60
    for other in (BEST, PALE, FAILING):
        apart = np.linalg.norm(shades - lab([to_rgb(other)], sight), axis=1)
        # What does not hold has a pattern or a thin broken line besides, the best a ring or a thick line.
        assert apart.min() > (20 if other == BEST else 8)
