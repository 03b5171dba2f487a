"""Templates as files, read back: DXF, SVG, PDF and CSV say the same as the model, to the same bytes each time."""

import csv
import io
import math
import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import ezdxf
import numpy as np
import pypdfium2
import pytest
from ezdxf import recover
from template_scenes import FOLDED, PLATE, one

import fitcheck
from fitcheck.outputs.drawings.dxf import dxf
from fitcheck.outputs.drawings.hole_table import hole_table
from fitcheck.outputs.drawings.pdf import pdf
from fitcheck.outputs.drawings.svg import svg
from fitcheck.templates.drawing import Circle
from fitcheck.templates.made import templates
from fitcheck.templates.tiles import PAPERS, Printer

TOP = Path(__file__).resolve().parents[1]
SVG = "{http://www.w3.org/2000/svg}"
# Pixels of a rasterised page for each mm, and its scale from points.
FINE = 20
SCALE = FINE * 25.4 / 72


@pytest.fixture(params=["plate", "blank"])
def drawing(request, tmp_path):
    if request.param == "plate":
        return one(tmp_path, PLATE.format(turns="", more=""))
    return one(tmp_path, "  bent: {model: odd_channel}\n", FOLDED)


def read(drawing):
    return ezdxf.read(io.StringIO(dxf(drawing).decode()))


def polyline_area(entity):
    """Shoelace of the corners, and for each bulge the segment of its circle."""
    points = entity.get_points("xyb")
    area = 0.0
    for (x, y, bulge), (u, v, _) in zip(points, points[1:] + points[:1], strict=True):
        area += (x * v - u * y) / 2
        angle, chord = 4 * math.atan(bulge), math.hypot(u - x, v - y)
        if bulge:
            radius = chord / 2 / math.sin(angle / 2)
            area += radius**2 * (angle - math.sin(angle)) / 2
    return area


def test_dxf_audits_clean_in_millimetres(drawing):
    doc, auditor = recover.read(io.BytesIO(dxf(drawing)))
    assert not auditor.errors and not auditor.fixes
    assert not doc.audit().errors
    assert doc.dxfversion == "AC1024"  # R2010
    assert (doc.header["$INSUNITS"], doc.header["$MEASUREMENT"]) == (4, 1)
    assert any("millimetres" in text.dxf.text for text in doc.modelspace().query("TEXT"))
    for line in doc.modelspace().query("LWPOLYLINE[layer=='OUTLINE' | layer=='CUTOUT']"):
        assert line.closed


def test_dxf_areas_and_holes_are_the_drawings(drawing):
    space = read(drawing).modelspace()
    outer = sum(polyline_area(line) for line in space.query("LWPOLYLINE[layer=='OUTLINE']"))
    cuts = sum(polyline_area(line) for line in space.query("LWPOLYLINE[layer=='CUTOUT']"))
    through = {spot.at for spot in drawing.spots if spot.cut}
    circles = space.query("CIRCLE[layer=='DRILL' | layer=='CUTOUT']")
    round_ = sum(math.pi * c.dxf.radius**2 for c in circles if (c.dxf.center.x, c.dxf.center.y) in through)
    assert outer - cuts - round_ == pytest.approx(drawing.area, abs=1e-6)
    found = {(c.dxf.center.x, c.dxf.center.y, 2 * c.dxf.radius) for c in circles}
    wanted = {
        (*s.at, s.diameter) for s in drawing.spots
        if isinstance(s.shape, Circle) and s.kind in ("hole", "tapped hole", "blind hole", "cut-out")
    }  # fmt: skip
    assert found == wanted


def test_dxf_dimensions_measure_what_is_drawn(drawing):
    space = read(drawing).modelspace()
    measured = sorted(one.get_measurement() for one in space.query("DIMENSION"))
    bends = [bend.start[0] for bend in drawing.bends]
    assert measured == pytest.approx(sorted([*drawing.size, *bends]))
    # What is written beside them is what they measure: a style's factor must not come between.
    written = [
        float(text.text)
        for one in space.query("DIMENSION")
        for text in one.get_geometry_block().query("MTEXT")
    ]
    assert sorted(written) == pytest.approx(measured, abs=0.005)
    assert len(space.query("LINE[layer=='BEND']")) == len(drawing.bends)


def svg_shapes(drawing):
    """Circles and paths by layer, with y up from the datum again."""
    root = ET.fromstring(svg(drawing))
    groups = {group.get("id"): group for group in root.iter(f"{SVG}g")}
    # The datum is the outline's own lower left corner.
    corners = re.findall(r"[ML]([\d.]+) ([\d.]+)", groups["OUTLINE"].find(f"{SVG}path").get("d"))
    left, bottom = min(float(x) for x, _ in corners), max(float(y) for _, y in corners)
    circles = [
        (float(c.get("cx")) - left, bottom - float(c.get("cy")), 2 * float(c.get("r")))
        for name in ("DRILL", "CUTOUT")
        for c in groups[name].iter(f"{SVG}circle")
    ]
    return root, groups, circles


def test_svg_is_at_its_true_size_and_has_the_same_holes(drawing):
    root, groups, circles = svg_shapes(drawing)
    _, _, wide, high = map(float, root.get("viewBox").split())
    assert root.get("width") == f"{wide:g}mm" and root.get("height") == f"{high:g}mm"
    space = read(drawing).modelspace()
    wanted = sorted(
        (c.dxf.center.x, c.dxf.center.y, 2 * c.dxf.radius)
        for c in space.query("CIRCLE[layer=='DRILL' | layer=='CUTOUT']")
    )
    assert np.array(sorted(circles)).reshape(-1, 3) == pytest.approx(
        np.array(wanted).reshape(-1, 3), abs=2e-3
    )
    assert len(groups["OUTLINE"].findall(f"{SVG}path")) == len(drawing.loops)


def test_csv_has_the_same_places(drawing):
    text = hole_table(drawing)
    assert text.startswith(b"\xef\xbb\xbf")
    rows = list(csv.DictReader(io.StringIO(text.decode("utf-8-sig"))))
    read_back = np.array([(float(r["x [mm]"]), float(r["y [mm]"])) for r in rows])
    assert read_back == pytest.approx(np.array([s.at for s in drawing.spots]), abs=1e-3)
    assert [r["hole"] for r in rows] == [s.hole for s in drawing.spots]


def pages(content, fine=FINE):
    """The pages of a PDF as arrays of grey, 0 black, row 0 at the top."""
    doc = pypdfium2.PdfDocument(content)
    return [
        np.array(page.render(scale=fine * 25.4 / 72, grayscale=True).to_numpy()).squeeze() for page in doc
    ]


def mark_lengths(page, fine=FINE):
    """Lengths of the marks below and at the left, mm: between the middles of their outer ticks.

    The outer ticks reach 2.2 mm to either side of the line, all others 1.0: a line of pixels 1.7 mm off it
    meets only the two.
    """
    dark = page < 128
    high = page.shape[0]
    row = dark[high - round((8 + 4.5 - 1.7) * fine)]
    column = dark[:, round((8 + 4.5 - 1.7) * fine)]
    lengths = []
    for line in (row, column):
        at = np.flatnonzero(line)
        groups = np.split(at, np.flatnonzero(np.diff(at) > 2) + 1)
        assert len(groups) == 2, groups
        lengths.append((groups[1].mean() - groups[0].mean()) / fine)
    return lengths


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_marks_measure_100_mm_on_every_page(drawing, paper):
    content = pdf(drawing, paper)
    doc = pypdfium2.PdfDocument(content)
    short, long = PAPERS[paper]
    for page, picture in zip(doc, pages(content), strict=True):
        size = [length * 25.4 / 72 for length in page.get_size()]
        assert sorted(size) == pytest.approx([short, long], abs=0.01)
        assert mark_lengths(picture) == pytest.approx([100, 100], abs=0.1)
    assert b"/PrintScaling /None" in content


def test_a_printer_is_corrected_both_ways(drawing):
    """Marks that came out 99.4 and 100.8 long are drawn so much longer and shorter, whichever way a page lies."""
    content = pdf(drawing, "a4", Printer(99.4, 100.8))
    for picture in pages(content):
        standing = picture.shape[0] > picture.shape[1]
        due = [100 / 0.994, 100 / 1.008]
        assert mark_lengths(picture) == pytest.approx(due if standing else due[::-1], abs=0.1)


def test_what_is_drawn_is_corrected_as_the_marks_are():
    """On a lying sheet the long side runs across: a panel of 240 x 120 comes out 240 / 1.008 by 120 / 0.994 long."""
    text = "parts:\n  panel: {model: flat_panel, with: {width: 240, length: 120, columns: 0}}\n"
    (panel,) = templates(fitcheck.load(text, name="panel")).drawings
    sheet = pages(pdf(panel, "a4", Printer(99.4, 100.8)))[1]
    assert sheet.shape[1] > sheet.shape[0]
    assert mark_lengths(sheet) == pytest.approx([100 / 1.008, 100 / 0.994], abs=0.1)
    dark = sheet < 128
    # Along the middle of the window the two short edges are the only ink within it, and likewise upright.
    high, wide = sheet.shape
    inner = (
        slice(round(45 * FINE), high - round(30 * FINE)),
        slice(round(24 * FINE), wide - round(12 * FINE)),
    )
    longest = min(
        np.flatnonzero(row)[-1] - np.flatnonzero(row)[0] for row in dark[inner] if row.sum() > 200 * FINE
    )
    tallest = min(
        np.flatnonzero(column)[-1] - np.flatnonzero(column)[0]
        for column in dark[inner].T
        if column.sum() > 100 * FINE
    )
    # The shortest of the long lines: at the datum two are drawn on. They end half their width, 0.15 mm, outside.
    assert longest / FINE == pytest.approx(240 / 1.008, abs=0.5)
    assert tallest / FINE == pytest.approx(120 / 0.994, abs=0.5)


def test_words_of_the_pdf(drawing):
    doc = pypdfium2.PdfDocument(pdf(drawing, "a4"))
    words = [page.get_textpage().get_text_bounded() for page in doc]
    for said in (drawing.face, "eye protection", "unplugged", *(s.what_for for s in drawing.spots)):
        assert said in " ".join(words[0].split())
    for page in words[1:]:
        assert drawing.face in page and f"up: {drawing.up}" in page and "100 mm along the short side" in page


def test_same_bytes_in_another_process():
    """With another seed of hashes than this one has (which is random)."""
    text = (
        "parts:\n  bracket: {model: corner_bracket}\n  clamp: {model: tube_clamp, place: {at: [200, 0, 0]}}\n"
    )
    code = (
        "import hashlib, fitcheck\n"
        "from fitcheck.templates.made import templates\n"
        "from fitcheck.outputs.drawings.files import template_files\n"
        f"found = templates(fitcheck.load({text!r}, name='it')).drawings\n"
        "whole = hashlib.sha256(b''.join(n.encode() + c for n, c in template_files(found, 'a4'))).hexdigest()\n"
    )
    here: dict[str, str] = {}
    exec(code, here)
    there = subprocess.run(
        [sys.executable, "-c", code + "print(whole)"], capture_output=True, text=True, cwd=TOP, check=True,
        env={**os.environ, "PYTHONPATH": str(TOP), "PYTHONHASHSEED": "2"},
    )  # fmt: skip
    assert there.stdout.strip() == here["whole"]
