"""Bend tables against worked examples, and back into points."""

import csv
import io
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from fitcheck.runs.bend_table import HEADER, bend_sheet, bend_table, points
from fitcheck.runs.route import Route
from fitcheck.runs.sheets import sheet
from fitcheck.world.frames import Frame

steady = settings(derandomize=True, deadline=None, max_examples=200)

# Worked examples of the trade's two forms (definitions as tube-bending handbooks give them: XYZ the
# meeting points of the centre line's straights; L R A feed, turn from the plane of the bend before,
# bend). Own numbers, by hand: setback 24 tan(a/2) = 24 at 90 deg, 9.941125 at 45 deg; arcs 24 a.
# Each has the centre line's points, its rows and its developed length.
IN_SPACE = (
    [[0, 0, 0], [100, 0, 0], [100, 80, 0], [100, 80, 60], [160, 80, 60]],
    # 100 - 24, 80 - 48, 60 - 48, 60 - 24. x to y is about +z, y to z about +x: from +z to +x about +y
    # is 90 right-handed; z to x is about +y: from +x to +y about +z is 90.
    [(76, 0, 90), (32, 90, 90), (12, 90, 90), (36, None, None)],
    76 + 32 + 12 + 36 + 3 * 37.699112,
)
WITH_45 = (
    [[0, 0, 0], [120, 0, 0], [180, 60, 0], [180, 60, 90]],
    # 120 - 9.941125, 60 sqrt 2 - 9.941125 - 24, 90 - 24.
    [(110.058875, 0, 45), (50.911688, 90, 90), (66, None, None)],
    110.058875 + 50.911688 + 66 + 24 * math.pi / 4 + 24 * math.pi / 2,
)
# A flat S: the second bend goes the other way, half a turn about the tube.
FLAT_S = (
    [[0, 0, 0], [60, 0, 0], [60, 90, 0], [150, 90, 0]],
    [(36, 0, 90), (42, 180, 90), (66, None, None)],
    36 + 42 + 66 + 24 * math.pi,
)
# A flat U: both bends the same way, no turn.
FLAT_U = (
    [[0, 0, 0], [60, 0, 0], [60, 90, 0], [-30, 90, 0]],
    [(36, 0, 90), (42, 0, 90), (66, None, None)],
    36 + 42 + 66 + 24 * math.pi,
)
STRAIGHT = ([[0, 0, 0], [0, 0, 70]], [(70, None, None)], 70)


def rows(table):
    return [(row.length, row.rotation, row.angle) for row in table.rows] + [(table.last, None, None)]


@pytest.mark.parametrize("example", [IN_SPACE, WITH_45, FLAT_S, FLAT_U, STRAIGHT])
def test_worked_examples(example):
    corners, expected, developed = example
    table = bend_table(Route(corners, 24))
    assert table.developed == table.cut == pytest.approx(developed, abs=1e-5)
    for got, due in zip(rows(table), expected, strict=True):
        assert got[0] == pytest.approx(due[0], abs=1e-6)
        if due[1] is not None:
            # 180 and -180 are the same turn.
            assert abs((got[1] - due[1] + 180) % 360 - 180) < 1e-9
            assert got[2] == pytest.approx(due[2], abs=1e-9)
    assert points(table) == pytest.approx(np.array(corners), abs=1e-9)


def test_a_corner_that_goes_straight_on_is_no_bend():
    table = bend_table(Route([[0, 0, 0], [40, 0, 0], [100, 0, 0], [100, 80, 0]], 24))
    assert rows(table) == [pytest.approx((76, 0, 90)), (pytest.approx(56), None, None)]


def test_what_is_cut_on_stands_in_the_first_and_last_straight():
    """Ends that go 10 and 12 mm into their fittings, and 3 mm to trim at each."""
    table = bend_table(Route(IN_SPACE[0], 24), before=10 + 3, after=12 + 3)
    assert rows(table)[0][0] == pytest.approx(76 + 13)
    assert table.last == pytest.approx(36 + 15)
    assert table.developed == pytest.approx(269.097336, abs=1e-5)
    assert table.cut == pytest.approx(269.097336 + 28, abs=1e-5)
    assert points(table)[0] == pytest.approx([-13, 0, 0])
    assert points(table)[-1] == pytest.approx([175, 80, 60])


@st.composite
def bent(draw, least=0.0):
    """Sound routes of up to 7 bends, anywhere; slight, square and nearly folded bends among them.

    With `least`, no straight is shorter, mm, and no bend so slight that its plane is rounding.
    """
    radius = draw(st.floats(10, 60))
    slightest = 0.05 if least else 1e-6
    angles = st.sampled_from([slightest, math.pi / 4, math.pi / 2, math.radians(179)]) | st.floats(0.05, 3.1)
    turns = draw(st.lists(angles, max_size=7))
    rng = np.random.default_rng(draw(st.integers(0, 2**31)))
    way = Rotation.random(rng=rng).as_matrix()
    at, take, corners = rng.uniform(-300, 300, 3), 0.0, []
    corners.append(at)
    for turn in [*turns, 0.0]:
        reach = radius * math.tan(turn / 2)
        straight = draw(st.sampled_from([0.0, 20.0]) | st.floats(0, 150))
        at = at + way[:, 0] * (take + max(straight, least, 1e-3) + reach)
        corners.append(at)
        way = way @ Rotation.from_rotvec([rng.uniform(-4, 4), 0, 0]).as_matrix()
        way = way @ Rotation.from_rotvec([0, 0, turn]).as_matrix()
        take = reach
    return Route(np.array(corners), radius)


def far(route):
    """What an error of 1e-9 mm may grow to: a route with nearly folded bends goes metres away."""
    return 1e-9 * max(1.0, float(np.ptp(route.corners, axis=0).max()) / 1000)


@settings(steady, max_examples=400)
@given(bent())
def test_points_to_rows_to_points(route):
    assert points(bend_table(route)) == pytest.approx(route.corners, abs=far(route), rel=0)


@pytest.mark.long
@settings(steady, max_examples=20_000)
@given(bent())
def test_points_to_rows_to_points_at_length(route):
    assert points(bend_table(route)) == pytest.approx(route.corners, abs=far(route), rel=0)


@steady
@given(bent())
def test_the_developed_length_is_that_of_the_line(route):
    table = bend_table(route, before=5, after=7)
    assert table.developed == pytest.approx(route.length, abs=1e-7)
    assert table.cut == pytest.approx(route.length + 12, abs=1e-7)


@steady
@given(bent(least=1.0), st.integers(0, 2**31))
def test_rows_say_nothing_of_where_the_tube_lies(route, seed):
    rng = np.random.default_rng(seed)
    frame = Frame(Rotation.random(rng=rng).as_matrix(), rng.uniform(-500, 500, 3))
    assert same(rows(bend_table(route)), rows(bend_table(route.moved(frame))), turn=1)


@steady
@given(bent(least=1.0))
def test_mirrored_every_turn_goes_the_other_way(route):
    mirrored = route.moved(Frame(np.diag([-1.0, 1.0, 1.0]), np.zeros(3)))
    assert same(rows(bend_table(route)), rows(bend_table(mirrored)), turn=-1)


@steady
@given(bent(least=1.0))
def test_from_the_other_end_turns_keep_their_sign(route):
    """A right-hand helix is one from both its ends; the turn between two bends then leads to the other."""
    table, back = rows(bend_table(route)), rows(bend_table(route.reversed()))
    lengths = [row[0] for row in table[::-1]]
    angles = [row[2] for row in table[-2::-1]]
    turns = [0.0, *(row[1] for row in table[-2:0:-1])]
    due = list(zip(lengths[:-1], turns, angles, strict=False))
    assert same([*due, (lengths[-1], None, None)], back, turn=1)


def same(a, b, turn):
    return len(a) == len(b) and all(
        abs(p[0] - q[0]) < 1e-6
        and (p[1] is None or abs(p[2] - q[2]) < 1e-6)
        and (p[1] is None or abs((turn * p[1] - q[1] + 180) % 360 - 180) < 1e-6)
        for p, q in zip(a, b, strict=True)
    )


def read(data):
    assert data.startswith(b"\xef\xbb\xbf")
    return list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")))


def test_the_file_holds_both_forms():
    table = bend_table(Route(FLAT_S[0], 24), before=10)
    header, *lines = read(bend_sheet({"inlet": table}))
    assert header == list(HEADER)
    assert lines == [
        ["inlet", "start", "-10.000", "0.000", "0.000", "", "", "", ""],
        ["inlet", "bend 1", "60.000", "0.000", "0.000", "46.000", "0.000", "90.000", "24.000"],
        ["inlet", "bend 2", "60.000", "90.000", "0.000", "42.000", "180.000", "90.000", "24.000"],
        ["inlet", "end", "150.000", "90.000", "0.000", "66.000", "", "", ""],
    ]


def test_a_half_turn_is_written_one_way_wherever_the_tube_lies():
    """Rounding makes some of these -180; the workshop turns the tube by half a turn either way."""
    rng = np.random.default_rng(3)
    for _ in range(40):
        turn = Rotation.random(rng=rng).as_matrix()
        tube = bend_table(Route(FLAT_S[0], 24).moved(Frame(turn, np.zeros(3))))
        assert read(bend_sheet({"inlet": tube}))[3][6] == "180.000"


def test_nothing_is_not_written_below_nothing():
    assert sheet(["x [mm]"], [[-1e-6], [-0.0], [-0.0006]], 3).split() == [
        b"\xef\xbb\xbfx", b"[mm]", b"0.000", b"0.000", b"-0.001",
    ]  # fmt: skip


def test_a_name_is_no_formula_and_keeps_its_letters():
    tube = bend_table(Route(STRAIGHT[0], 24))
    lines = read(bend_sheet({"=SUM(A1)": tube, "Rücklauf, oben": tube}))
    assert [line[0] for line in lines[1:]] == ["'=SUM(A1)"] * 2 + ["Rücklauf, oben"] * 2


@steady
@given(bent())
def test_the_file_rebuilds_the_tube_within_its_decimals(route):
    """Rows rounded to 0.001 mm and 0.001 deg; each bend's error turns all that follows."""
    _, *lines = read(bend_sheet({"inlet": bend_table(route)}))
    at, way = np.array(lines[0][2:5], float), route.ways[0]
    first = bend_table(route).frame.rotation[:, 2]
    take, radius = 0.0, route.radius
    rotation = np.stack([way, np.cross(first, way), first], axis=1)
    for line in lines[1:-1]:
        length, turn, angle = map(float, line[5:8])
        rotation = rotation @ Rotation.from_euler("x", turn, degrees=True).as_matrix()
        reach = radius * math.tan(math.radians(angle) / 2)
        at = at + rotation[:, 0] * (take + length + reach)
        rotation = rotation @ Rotation.from_euler("z", angle, degrees=True).as_matrix()
        take = reach
    at = at + rotation[:, 0] * (take + float(lines[-1][5]))
    reach = float(np.linalg.norm(np.diff(route.corners, axis=0), axis=1).sum())
    # Half a thousandth a figure; a take grows by R / (2 cos^2(a/2)) a radian of its angle.
    stretch = sum(radius / math.cos(turn / 2) ** 2 for turn in route.turns)
    bends = len(lines) - 2
    error = 0.0005 * (bends + 2) + math.radians(0.0005) * (2 * bends * reach + stretch)
    assert np.linalg.norm(at - route.corners[-1]) <= error
    assert [float(x) for x in lines[-1][2:5]] == pytest.approx(route.corners[-1], abs=6e-4)
