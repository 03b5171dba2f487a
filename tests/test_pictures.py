"""What is written on pictures and where, and how they come to a file; never a stored image."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from itertools import combinations, pairwise
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from pictured import SMALL, at, drawn, in_case, index, machine, report
from PIL import Image
from worlds import box, part, world

from fitcheck.finding import Finding, Verdict
from fitcheck.outputs import pictures
from fitcheck.outputs.pictures import camera, dimensions, labels, paper, probe
from fitcheck.report import Report, check_world


def test_the_identity_picture_names_the_part_in_front():
    picture = drawn()
    row, column = at(picture, [20, 250, 190])
    assert picture.ids[row, column] == index("board")
    row, column = at(picture, [60, 60, 40])
    assert picture.ids[row, column] == index("pump")


def test_hidden_parts_are_neither_seen_nor_named():
    picture = drawn(hide=("board", "drive"))
    gone = {index("board"), *(index(f"drive[{i}]") for i in range(1, 9))}
    assert not gone & set(np.unique(picture.ids).tolist())
    assert not any(w.text.startswith(("board", "drive[")) for w in picture.written if w.kind == "label")
    row, column = at(picture, [24, 270, 160])
    assert picture.ids[row, column] == index("card")  # which the board hid


def test_show_leaves_all_else_out():
    picture = drawn(show=("pump",))
    assert set(np.unique(picture.ids).tolist()) == {-1, index("pump")}


def test_a_name_points_to_where_its_part_is_seen():
    picture = drawn()
    assert len(picture.labels) >= 4
    for label in picture.labels:
        x, y = np.array(label.at) - picture.camera.pane[:2]
        assert picture.ids[int(y), int(x)] == label.part


def test_parts_behind_others_are_not_named():
    picture = drawn(hide=("case.left_panel",))
    assert "plug" not in [w.text for w in picture.written if w.kind == "label"]  # wholly behind the board


VIEWS = [
    {},
    {"look": "from front left top"},
    {"look": "from right", "colour": "verdict"},
    {"look": "from top", "colour": "role"},
    {"look": "", "cut_worst": True},
    {"look": "from front left", "explode": 1.0},
]


@pytest.mark.parametrize("view", VIEWS)
def test_no_text_covers_another_or_leaves_the_picture(view):
    picture = drawn(**view)
    frame = (0.0, 0.0, *map(float, SMALL))
    assert {"title", "verdict", "lead", "legend", "scale", "label"} <= {w.kind for w in picture.written}
    for words in picture.written:
        assert paper.inside(words.box, frame), words
    for one, other in combinations(picture.written, 2):
        assert not paper.overlap(one.box, other.box, -1.0), (one, other)


def test_too_many_parts_are_counted_not_crammed():
    crowd = [
        part(
            f"chip[{i + 1}]",
            box([20 + 20 * (i % 8), 50, 20 + 30 * (i // 8)], [34 + 20 * (i % 8), 60, 40 + 30 * (i // 8)]),
        )
        for i in range(64)
    ]
    many = in_case(*crowd)
    picture = pictures.draw_view(many, check_world(many), "from front", (1600, 1200))
    assert [label.text for label in picture.labels] == ["chip (64)"]
    unlike = world(*[replace(p, name=f"chip_{i}") for i, p in enumerate(crowd)])
    picture = pictures.draw_view(unlike, check_world(unlike), "from front", (1600, 1200))
    (more,) = [w.text for w in picture.written if w.kind == "more"]
    assert 20 < len(picture.labels) <= 2 * labels.MOST
    assert more == f"+ {64 - len(picture.labels)} more parts"


def test_parts_in_findings_are_named_first():
    picture = drawn("from right")
    strong = {label.part for label in picture.labels if label.strong}
    assert {index("card"), index("lid")} <= strong


@given(st.lists(st.tuples(st.integers(0, 400), st.integers(0, 400)), min_size=2, max_size=9, unique=True))
@settings(derandomize=True, deadline=None, max_examples=100)
def test_lines_to_names_do_not_cross(spots):
    places = sorted(((float(x), float(y)) for x, y in spots), key=lambda p: p[1])
    heights = labels.spread([y for _, y in places], 20, 0, 400)
    assert all(b - a >= 20 - 1e-9 for a, b in pairwise(heights))
    order = labels.uncrossed(-50.0, heights, places)
    assert sorted(order) == list(range(len(places)))

    def side(p, q, r):
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    lines = [((-50.0, y), places[k]) for y, k in zip(heights, order, strict=True)]
    for (a, b), (c, d) in combinations(lines, 2):
        assert not (side(a, b, c) * side(a, b, d) < 0 and side(c, d, a) * side(c, d, b) < 0)


def test_no_line_runs_through_another_parts_dot():
    # Two dots on one height: the far one's line would run through the near one, so it comes from below.
    spots, heights = [(200.0, 50.0), (80.0, 50.0)], [50.0, 70.0]
    order = labels.uncrossed(0.0, heights, spots)
    assert order == [0, 1]
    assert labels.clear_of_spots(0.0, heights, spots, order, 9.0) == [1, 0]
    # From (0, 70) to (200, 50) the line passes x = 80 at height 62: 12 less a little from the near dot.
    assert labels.clear_of_spots(0.0, heights, spots, order, 13.0) == [0, 1]


@given(st.tuples(*[st.integers(0, 40)] * 4), st.tuples(*[st.integers(0, 40)] * 4))
@settings(derandomize=True, deadline=None, max_examples=200)
def test_what_a_figure_covers(ends, corners):
    a, b = (float(ends[0]), float(ends[1])), (float(ends[2]), float(ends[3]))
    x, y = sorted(corners[::2]), sorted(corners[1::2])
    assume(a != b and x[0] < x[1] and y[0] < y[1])
    # Shapely: does the segment reach into the rectangle, and not only touch its edge?
    expected = shapely.LineString([a, b]).intersects(shapely.box(x[0], y[0], x[1], y[1]).buffer(-1e-6))
    assert paper.crosses(a, b, (float(x[0]), float(y[0]), float(x[1]), float(y[1]))) == expected


def test_figures_uncover_lines_to_names():
    image = Image.new("RGB", (800, 600), "white")
    finding = Finding("clearance", ("a", "b"), Verdict.FAILS, "", 3.0, 5.0)
    dim = dimensions.Dimension(finding, "3.0 mm (needs 5.0)", (400.0, 290.0), (400.0, 310.0), False)

    def box(lines):
        sheet = paper.Paper(image.copy())
        dimensions.draw_dimensions(sheet, [dim], (0.0, 0.0, 800.0, 600.0), (), lines)
        return next(w.box for w in sheet.written if w.kind == "figure")

    plain = box([])
    middle = (plain[1] + plain[3]) / 2
    line = ((0.0, middle), (800.0, middle))
    assert paper.crosses(*line, plain)
    assert not paper.crosses(*line, box([line]))


def test_figures_say_what_is_missing():
    def figure(check, measured, required, verdict=Verdict.FAILS):
        return dimensions.figure(Finding(check, ("a", "b"), verdict, "", measured, required))

    assert figure("interference", 22.0, 0.0) == "overlap 22.0 mm"
    assert figure("clearance", 1.4, 2.0) == "1.4 mm (needs 2.0)"
    assert figure("clearance", 2.4, 2.0, Verdict.TIGHT) == "2.4 mm (needs 2.0, tight)"
    assert figure("containment", 3.0, 0.0) == "sticks out 3.0 mm"


def test_a_dimension_ends_at_the_projected_witness_points():
    picture = drawn()
    (lid,) = [d for d in picture.dims if "lid" in d.finding.parts]
    assert lid.text == "1.0 mm (needs 2.0)"  # 298 - 297, demanded 2
    expected = picture.camera.pixels(np.array(lid.finding.where))
    np.testing.assert_allclose([lid.a, lid.b], expected)
    assert {round(p[2]) for p in lid.finding.where} == {297, 298}


def test_an_overlap_is_dimensioned_along_its_shortest_way_out():
    # card up to z = 170, plug from 164: 6 mm, the plug goes up.
    (finding,) = [f for f in report().findings if f.check == "interference"]
    points = dimensions.ends(finding)
    assert sorted(points[:, 2].round(6).tolist()) == [164, 170]
    np.testing.assert_allclose(points[0, :2], points[1, :2])
    assert "overlap 6.0 mm" in [w.text for w in drawn().written if w.kind == "figure"]


def test_what_sticks_out_is_dimensioned_from_the_wall():
    finding = Finding(
        "containment",
        ("a", "case.hall"),
        Verdict.FAILS,
        "",
        5.0,
        0.0,
        where=((203.0, 1.0, 2.0),),
        details={"out": {"right": 5.0}},
    )
    np.testing.assert_array_equal(dimensions.ends(finding), [[203, 1, 2], [198, 1, 2]])


def test_a_distance_along_the_eye_is_ringed_not_drawn_as_a_line():
    finding = Finding(
        "clearance", ("a", "b"), Verdict.FAILS, "", 10.0, 20.0, where=((0.0, 0.0, 0.0), (0.0, 10.0, 0.0))
    )
    bounds = np.array([[0, 0, 0], [200, 400, 300.0]])
    flat = [
        dimensions.dimension(finding, camera.aim(look, bounds, (0, 0, 800, 600))).flat
        for look in ("from front", "from left")
    ]
    assert flat == [True, False]


def neck(verdict: Verdict, reason: str, measured: float | None):
    return Finding(
        "run", ("tube", "board"), verdict, "", measured, 13.0, where=((20.0, 200.0, 200.0),),
        details={"reason": reason},
    )  # fmt: skip


@pytest.mark.parametrize(
    ("finding", "text"),
    [
        (neck(Verdict.FAILS, "narrow", 11.0), "neck: 11.0 mm pass (needs 13.0)"),
        (neck(Verdict.UNKNOWN, "bend", None), "no way found"),
    ],
)
def test_where_a_run_got_stuck_is_ringed(finding, text):
    stuck = replace(report(), verdict=finding.verdict, findings=(finding,))
    picture = pictures.draw_view(machine(), stuck, pictures.View("from left"), SMALL)
    (mark,) = picture.dims
    assert mark.flat
    np.testing.assert_allclose(mark.a, picture.camera.pixels(np.array(finding.where))[0])
    assert [words.text for words in picture.written if words.kind == "figure"] == [text]


def test_the_header_leads_with_the_worst_finding():
    written = {w.kind: w.text for w in drawn().written}
    assert written["verdict"] == "FAILS"
    assert report().findings[0].sentence.split()[0] in written["lead"]


def test_nothing_makes_no_picture():
    with pytest.raises(pictures.NoPicture, match="nothing to draw"):
        pictures.render(world(part("empty")), Report("empty", Verdict.FITS))


def test_what_a_view_hides_wholly_is_still_a_picture():
    picture = drawn(hide=tuple(p.name for p in machine().parts))
    assert set(np.unique(picture.ids).tolist()) == {-1}
    assert picture.labels == []


def test_the_default_set_is_two_files(tmp_path):
    written = pictures.render_file(machine(), report(), tmp_path / "all.png", size=SMALL)
    assert [p.name for p in written] == ["all.png", "all-worst-place.png"]
    assert all(p.read_bytes().startswith(b"\x89PNG") for p in written)


def test_without_a_place_to_show_there_is_only_the_overview():
    fits = Report("empty", Verdict.FITS)
    assert [v.name for v in pictures.default_views(fits)] == ["overview"]


SCRIPT = """
import sys
sys.path.insert(0, sys.argv[2])
from pictured import SMALL, machine, report
from fitcheck.outputs import pictures
pictures.render_file(machine(), report(), sys.argv[1], "from front left", SMALL)
"""


def test_another_process_draws_the_same_bytes_in_silence(tmp_path):
    here = pictures.render_file(machine(), report(), tmp_path / "here.png", "from front left", SMALL)[0]
    there = tmp_path / "there.png"
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT, str(there), str(Path(__file__).parent)],
        capture_output=True,
        check=True,
    )
    assert done.stderr == b""
    assert done.stdout == b""
    assert there.read_bytes() == here.read_bytes()


@pytest.fixture
def fresh_probe():
    probe._start.cache_clear()
    probe._failure.cache_clear()
    yield
    probe._start.cache_clear()
    probe._failure.cache_clear()


@pytest.mark.usefixtures("fresh_probe")
def test_without_the_library_there_is_a_mend_not_a_crash(monkeypatch):
    def missing(name):
        raise OSError(name)

    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setattr(probe.ctypes, "CDLL", missing)
    with pytest.raises(pictures.NoPicture, match="install libegl1 and libgl1-mesa-dri"):
        pictures.render(machine(), report(), size=SMALL)


@pytest.mark.usefixtures("fresh_probe")
def test_a_driver_that_dies_is_found_out_by_a_child(monkeypatch):
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setattr(probe, "_DRAW_A_LITTLE", "import os, signal; os.kill(os.getpid(), signal.SIGSEGV)")
    with pytest.raises(pictures.NoPicture, match="without a screen failed"):
        pictures.render(machine(), report(), size=SMALL)
