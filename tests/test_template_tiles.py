"""Drawings over sheets of paper: the fewest, with seams off holes; laid together they are the drawing again."""

import itertools

import numpy as np
import pytest
from scipy import ndimage
from test_template_files import pages

import fitcheck
from fitcheck.outputs.drawings import paper as paper_module
from fitcheck.outputs.drawings.paper import width_of
from fitcheck.outputs.drawings.pdf import pdf
from fitcheck.templates import tiles as tiles_module
from fitcheck.templates.made import templates
from fitcheck.templates.marks import Words, bounds, ink, segments
from fitcheck.templates.tiles import BELOW, LEFT, OVERLAP, WHITE, Printer, tiled

PANEL = "parts:\n  panel: {{model: flat_panel, with: {{{with_}}}}}\n"


def panel(with_):
    (drawing,) = templates(fitcheck.load(PANEL.format(with_=with_), name="panel")).drawings
    return drawing


def test_a_long_panel_takes_three_standing_sheets():
    """420 x 180: lying, a sheet shows 162 mm of height, so two rows of two; standing, three beside each other."""
    tiling = tiled(panel("width: 420, length: 180"), "a4")
    assert (tiling.standing, tiling.rows, tiling.columns) == (True, 1, 3)
    assert [tile.name for tile in tiling.tiles] == ["A1", "A2", "A3"]


def test_a_wide_low_panel_lies():
    assert not tiled(panel("width: 240, length: 120"), "a4").standing


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_neighbours_share_crosses(paper):
    tiling = tiled(panel("width: 500, length: 500"), paper)
    by_place = {(tile.row, tile.column): tile for tile in tiling.tiles}
    for tile in tiling.tiles:
        for beside in ((tile.row, tile.column + 1), (tile.row + 1, tile.column)):
            other = by_place.get(beside)
            if other is not None:
                shared = [c for c in tiling.crosses if tiling.shows(tile, c) and tiling.shows(other, c)]
                assert len(shared) >= 2
                axis = 0 if other.row == tile.row else 1
                overlap = tiling.window[axis] - abs(other.low[axis] - tile.low[axis])
                assert overlap == pytest.approx(OVERLAP)


def test_seams_keep_off_holes_where_a_shift_can():
    """Standing A4 sheets show 184 mm: in the middle of 350 mm a hole would lie right on the seam of two."""
    drawing = panel("width: 340, length: 150, columns: 1, rows: 1, hole: 20")
    tiling = tiled(drawing, "a4")
    assert len(tiling.tiles) == 2
    assert tiling.split == ()
    (seam,) = {cross[0] for cross in tiling.crosses}
    assert abs(seam - drawing.spots[0].at[0]) > 10


def test_what_no_sheet_shows_whole_is_told():
    tiling = tiled(panel("width: 500, length: 300, cut_out: rectangle, cut_long: 400, cut_wide: 200"), "a4")
    assert tiling.split == (5,)


def test_no_empty_sheets_and_none_alone():
    """A meadow of 1200 x 900 with holes at its corners: sheets without a line are left out, the rest hangs together."""
    drawing = panel("width: 1200, length: 900")
    tiling = tiled(drawing, "a4")
    assert len(tiling.tiles) < tiling.rows * tiling.columns
    lines = segments(ink(drawing)).reshape(-1, 2)
    for tile in tiling.tiles:
        within = np.all((lines >= tile.low) & (lines <= np.add(tile.low, tiling.window)), axis=1)
        crossing = within.any() or tile.row in (0, tiling.rows - 1) or tile.column in (0, tiling.columns - 1)
        assert crossing, tile
    # Each line lies on some sheet.
    for place in lines:
        assert any(tiling.shows(tile, place) for tile in tiling.tiles)


def test_a_hole_in_the_middle_keeps_the_sheets_that_lead_to_it():
    tiling = tiled(panel("width: 1400, length: 1200, cut_out: round, cut_long: 20"), "a4")
    places = {(tile.row, tile.column) for tile in tiling.tiles}
    first = next(iter(places))
    seen, new = set(), [first]
    while new:
        row, column = new.pop()
        if (row, column) in places - seen:
            seen.add((row, column))
            new += [(row + 1, column), (row - 1, column), (row, column + 1), (row, column - 1)]
    assert seen == places


def canvas(content, tiling, low, size, fine):
    """The sheets of a PDF laid together: darkest of all, at their places in the drawing."""
    whole = np.full((round(size[1] * fine) + 2, round(size[0] * fine) + 2), 255, np.uint8)
    for tile, picture in zip(tiling.tiles, pages(content, fine)[1:], strict=True):
        left, bottom = round((WHITE + LEFT) * fine), picture.shape[0] - round((WHITE + BELOW) * fine)
        wide, high = (round(length * fine) for length in tiling.window)
        cut = picture[bottom - high : bottom, left : left + wide]
        x = round((tile.low[0] - low[0]) * fine)
        y = whole.shape[0] - round((tile.low[1] - low[1]) * fine)
        place = whole[y - high : y, x : x + wide]
        np.minimum(place, cut, out=place)
    return whole


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_sheets_laid_together_are_the_drawing(paper, monkeypatch):
    """Against one sheet large enough for all: but for crosses, seams and frames the same ink, to 0.2 mm."""
    fine = 10
    drawing = panel(
        "width: 420, length: 330, columns: 2, rows: 2, cut_out: slot, cut_long: 200, cut_wide: 40, cut_y: 60"
    )
    tiling = tiled(drawing, paper)
    assert len(tiling.tiles) >= 4
    content = pdf(drawing, paper)
    huge = {"huge": (480.0, 560.0)}
    monkeypatch.setattr(tiles_module, "PAPERS", huge)
    monkeypatch.setattr(paper_module, "PAPERS", huge)
    single = tiled(drawing, "huge")
    assert len(single.tiles) == 1
    both = [(tile.low, np.add(tile.low, way.window)) for way in (tiling, single) for tile in way.tiles]
    low, high = np.min([one for one, _ in both], axis=0), np.max([one for _, one in both], axis=0)
    together = canvas(content, tiling, low, high - low, fine)
    alone = canvas(pdf(drawing, "huge"), single, low, high - low, fine)
    left_out = np.zeros(together.shape, bool)

    def leave_out(x0, y0, x1, y1):
        x0, x1 = (round((x - low[0]) * fine) for x in (x0, x1))
        y0, y1 = (together.shape[0] - round((y - low[1]) * fine) for y in (y1, y0))
        left_out[max(y0, 0) : max(y1, 0), max(x0, 0) : max(x1, 0)] = True

    for tile in (*tiling.tiles, *single.tiles):
        (x, y), (w, h) = tile.low, tiling.window if tile in tiling.tiles else single.window
        for off in (0, OVERLAP / 2):
            for at in (x + off, x + w - off):
                leave_out(at - 0.4, y, at + 0.4, y + h)
            for at in (y + off, y + h - off):
                leave_out(x, at - 0.4, x + w, at + 0.4)
    for x, y in tiling.crosses:
        leave_out(x - 5, y - 5, x + 5, y + 5)
    one, other = (np.where(left_out, 255, picture) < 160 for picture in (together, alone))
    near = np.ones((5, 5), bool)  # 0.2 mm
    assert not (one & ~ndimage.binary_dilation(other, near)).any()
    assert not (other & ~ndimage.binary_dilation(one, near)).any()
    assert one.sum() > 1000


def test_the_raster_is_the_drawing():
    """Ink where the outlines are, by points along them that the drawing itself gives; none a mm beside them."""
    fine = 10
    drawing = panel("width: 150, length: 120, columns: 2, rows: 2, cut_out: slot, cut_long: 60, cut_wide: 20")
    tiling = tiled(drawing, "a4")
    low = tiling.tiles[0].low
    picture = canvas(pdf(drawing, "a4"), tiling, low, tiling.window, fine)
    # A slot 60 x 20 about the middle (75, 60), and holes at 10 from the edges: by hand.
    angles = np.linspace(-np.pi / 2, np.pi / 2, 50)
    rim = np.stack([95 + 10 * np.cos(angles), 60 + 10 * np.sin(angles)], axis=1)
    hole = np.array([10, 10]) + 2.25 * np.stack([np.cos(2 * angles), np.sin(2 * angles)], axis=1)
    edge = np.stack([np.linspace(1, 149, 80), np.full(80, 120.0)], axis=1)
    for x, y in np.concatenate([rim, hole, edge]):
        row, column = picture.shape[0] - round((y - low[1]) * fine), round((x - low[0]) * fine)
        assert picture[row - 3 : row + 3, column - 3 : column + 3].min() < 100, (x, y)


def test_words_at_holes_keep_off_each_other():
    """Two rows of holes 9 apart, each with its number and size: no two texts meet, by boxes of the font's own widths."""
    drawing = panel("width: 120, length: 60, columns: 4, rows: 2, column_pitch: 20, row_pitch: 9")
    texts = [
        one for one in ink(drawing) if isinstance(one, Words) and one.layer == "TEXT" and "Ø" in one.text
    ]
    assert len(texts) == 8
    boxes = []
    for one in texts:
        wide = width_of(one.text, one.height)
        left = one.at[0] - {"start": 0, "middle": wide / 2, "end": wide}[one.anchor]
        boxes.append((left, one.at[1], left + wide, one.at[1] + 0.73 * one.height))
    for a, b in itertools.combinations(boxes, 2):
        assert a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]


def test_a_printer_that_is_off_shows_less_or_more():
    """A printer that makes 99 of 100 draws 1/0.99 larger: its sheet shows so much less of the drawing."""
    plain, off = (tiled(panel("width: 100"), "a4", printer) for printer in (Printer(), Printer(99.0, 99.0)))
    assert off.window == pytest.approx([length * 0.99 for length in plain.window])
    assert off.scale == pytest.approx((1 / 0.99, 1 / 0.99))


def test_the_bounds_hold_all_ink():
    drawing = panel("width: 100, columns: 2, column_pitch: 94")
    x0, y0, x1, y1 = bounds(drawing)
    lines = segments(ink(drawing)).reshape(-1, 2)
    assert (lines >= (x0, y0)).all() and (lines <= (x1, y1)).all()
