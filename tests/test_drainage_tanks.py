"""Tanks: drained against a flood of cubes of 1 mm, level by level; siphons by hand."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from waterways import row_of_tanks

from fitcheck.loops.drainage import drain
from fitcheck.loops.filling import fill
from fitcheck.loops.waterway import Plumber
from fitcheck.parts.pieces import box_piece

QUICK = settings(derandomize=True, deadline=None, max_examples=60)
WIDTH, GAP, HIGH = 6, 5, 24


@st.composite
def rows(draw):
    """Tanks in a row, tubes between them, which tank is drained."""
    count = draw(st.integers(1, 3))
    tanks, ways = [], []
    for _ in range(count):
        floor = draw(st.integers(1, HIGH - 8))
        ceiling = draw(st.integers(floor + 2, HIGH - 2))
        tanks.append((floor, ceiling, draw(st.integers(floor, ceiling - 1))))
    for k in range(count - 1):
        out = draw(st.integers(tanks[k][0], tanks[k][1] - 1))
        into = draw(st.integers(tanks[k + 1][0], tanks[k + 1][1] - 1))
        ways.append((out, into))
    return tanks, ways, draw(st.integers(0, count - 1))


def flooded(tanks, ways, drained) -> float:
    """ml that stay: cubes are full; each takes the least highest floor on its way out, sweep after sweep.

    Tubes are one cube wide and do not count; their cube at height h has its floor there.
    """
    wide = len(tanks) * (WIDTH + GAP)
    open_ = np.zeros((wide, HIGH), bool)  # a section through the middle: x, z
    counts = np.zeros((wide, HIGH))
    for k, (floor, ceiling, _) in enumerate(tanks):
        x = k * (WIDTH + GAP)
        open_[x : x + WIDTH, floor:ceiling] = True
        counts[x : x + WIDTH, floor:ceiling] = WIDTH  # mm³ of the row of cubes behind the section
    for k, (out, into) in enumerate(ways):
        x = k * (WIDTH + GAP) + WIDTH
        middle = x + GAP // 2
        open_[x : middle + 1, out] = True
        open_[middle, min(out, into) : max(out, into) + 1] = True
        open_[middle : x + GAP, into] = True
    floors = np.where(open_, np.arange(HIGH)[None, :], 10**6).astype(float)
    spill = np.full(open_.shape, 1e6)
    spill[drained * (WIDTH + GAP), tanks[drained][2]] = tanks[drained][2]
    while True:
        before = spill.copy()
        for axis in (0, 1):
            for step in (1, -1):
                moved = np.roll(spill, step, axis=axis)
                edge = [slice(None), slice(None)]
                edge[axis] = 0 if step == 1 else -1
                moved[tuple(edge)] = 1e6
                spill = np.minimum(spill, np.maximum(moved, floors))
        spill[~open_] = 1e6
        if np.array_equal(before, spill):
            return float(counts[open_ & (np.arange(HIGH)[None, :] < spill)].sum()) / 1000


@given(rows())
@QUICK
def test_most_against_a_flood_of_cubes(row):
    tanks, ways, drained = row
    water, openings = row_of_tanks(tanks, ways, WIDTH, GAP)
    left = drain(water, [openings[drained][0]], [mine[1] for mine in openings])
    assert left.most == pytest.approx(flooded(tanks, ways, drained), abs=1e-5)
    assert -1e-9 <= left.least <= left.likely + 1e-9 <= left.most + 2e-9


@given(rows(), st.integers(0, 2), st.integers(1, 6))
@QUICK
def test_a_higher_port_never_drains_more(row, which, higher):
    tanks, ways, drained = row
    floor, ceiling, port = tanks[drained]
    raised = list(tanks)
    raised[drained] = (floor, ceiling, min(port + higher, ceiling))

    def left(them):
        water, openings = row_of_tanks(them, ways, WIDTH, GAP)
        return drain(water, [openings[drained][0]], [openings[which % len(them)][1]])

    for side in ("most", "least", "likely"):
        assert getattr(left(raised), side) >= getattr(left(tanks), side) - 1e-9


@given(rows())
@QUICK
def test_filling_is_draining_upside_down(row):
    """Turned over by 180° the air of the one is the coolant of the other."""
    tanks, ways, drained = row
    water, openings = row_of_tanks(tanks, ways, WIDTH, GAP)
    port = openings[drained][0]
    air = fill(water, [port], (0, 0, 1)).air
    stays = drain(water, [port], [mine[1] for mine in openings], (0, 0, -1)).most
    assert air == pytest.approx(stays, abs=1e-5)


def test_a_siphon_draws_a_tank_down_to_its_tube():
    """Tank A, floor 0, tube from its side at 30 over a crest of 80 down to a drain at -20; 100 x 100 mm, so
    30 mm are 300 ml. By gravity nothing passes the crest: 60 mm of the tank stay, all it holds."""
    plumber = Plumber()
    top, side = plumber.node((50, 50, 60), "top"), plumber.node((100, 50, 30), "side")
    plumber.tank("tank", [box_piece(np.array([0.0, 0, 0]), np.array([100.0, 100, 60]))], [top, side])
    crest, end = plumber.node((150, 50, 80)), plumber.node((200, 50, -20), "end")
    plumber.pipe(side, crest, 1e-9, "tube")
    plumber.pipe(crest, end, 1e-9, "tube")
    left = drain(plumber.waterway(), [end], [top])
    assert (left.most, left.least) == (pytest.approx(600, abs=1e-3), pytest.approx(300, abs=1e-3))
    # The end held at 45 stops it 15 mm earlier.
    held = drain(_raised(plumber, end, 45), [end], [top])
    assert held.least == pytest.approx(450, abs=1e-3)


def _raised(plumber, node, z):
    water = plumber.waterway()
    points = list(water.points)
    points[node] = np.array([[200.0, 50, z]])
    return type(water)(tuple(points), water.names, water.pipes, water.tanks, water.index)


def test_air_goes_on_through_every_opening_that_the_level_has_left():
    """A tank from 0 to 60 with a vent on top: one tube from its side at 40 through a low at 0 and a crest at 30,
    one from 10 over a crest of 80, both down to drains at -20. The siphon of the second draws to 10, so air goes
    into both: nothing stays in the tubes, and 10 mm in the tank. By gravity the first keeps both legs up to 30."""
    plumber = Plumber()
    top, upper, lower = (plumber.node((50, 50, z), n) for z, n in ((60, "top"), (40, "upper"), (10, "lower")))
    plumber.tank("tank", [box_piece(np.array([0.0, 0, 0]), np.array([100.0, 100, 60]))], [top, upper, lower])
    one = [upper, *(plumber.node((150, 50, z)) for z in (0, 30, -20))]
    two = [lower, *(plumber.node((-50, 50, z)) for z in (80, -20))]
    for owner, line in (("one", one), ("two", two)):
        for a, b in itertools.pairwise(line):
            plumber.pipe(a, b, 100.0, owner, length=abs(plumber.points[b][0, 2] - plumber.points[a][0, 2]))
    water = plumber.waterway()
    left = drain(water, [one[-1], two[-1]], [top])
    assert left.least == pytest.approx(100)
    # 40 mm in the tank; 30 + 30 mm in the low of the first, 30 mm of the second's rise, 100 mm² each.
    assert left.most == pytest.approx(400 + 6 + 3)
    # In the likely case what rises in the first falls back, and in the second what rises below 40.
    assert left.likely == pytest.approx(100 + 3 + 3)


def test_a_vent_that_leads_nowhere_lets_no_air_in():
    plumber = Plumber()
    a, b, c, d = (plumber.node((x, 0, z)) for x, z in ((0, 100), (0, 0), (50, 100), (50, 0)))
    plumber.pipe(a, b, 100.0, "one")
    plumber.pipe(c, d, 100.0, "two")
    left = drain(plumber.waterway(), [b], [c])
    assert not left.vented
    assert left.most == left.total


def test_two_halves_open_at_one_end_only():
    """A radiator standing on its ports: two tall halves, 100 ml each, open to each other over the top 20 mm.
    Drained below the one, the other keeps all below the sill at 80, and its own port is shut."""
    plumber = Plumber()
    low, high = plumber.node((5, 5, 0), "low"), plumber.node((15, 5, 0), "high")
    vent = plumber.node((5, 5, 100), "vent")
    corners = np.array([[10, y, z] for y in (0.0, 10.0) for z in (80.0, 100.0)])
    between = plumber.node(corners)
    plumber.tank("one", [box_piece(np.array([0.0, 0, 0]), np.array([10.0, 10, 100]))], [low, vent, between])
    plumber.tank("two", [box_piece(np.array([10.0, 0, 0]), np.array([20.0, 10, 100]))], [high, between])
    water = plumber.waterway()
    assert drain(water, [low], [vent]).most == pytest.approx(8.0)
    assert drain(water, [low, high], [vent]).most == pytest.approx(0.0)
    # Upside down the opening is at the bottom: drained at what is then the top, all below stays.
    assert drain(water, [vent], [low], (0, 0, -1)).most == pytest.approx(0.0)


def test_tipped_tank_keeps_a_wedge():
    """A tray of 100 x 100, port at the floor's middle of its right side, tipped by 10° so that its left goes down:
    the level runs through the port, 100 tan 10° = 17.63 deep at the left: a wedge of 100 * 100 * 17.63 / 2."""
    plumber = Plumber()
    top, side = plumber.node((100, 50, 60), "top"), plumber.node((100, 50, 0), "side")
    plumber.tank("tank", [box_piece(np.array([0.0, 0, 0]), np.array([100.0, 100, 60]))], [top, side])
    up = (np.sin(np.radians(10)), 0.0, np.cos(np.radians(10)))
    left = drain(plumber.waterway(), [side], [top], up)
    assert left.most == pytest.approx(100 * 100 * 100 * np.tan(np.radians(10)) / 2 / 1000)
    (place,) = left.places
    assert place.at.tolist() == [0, 50, 0]


def test_unknown_insides_may_keep_all():
    plumber = Plumber()
    top, low = plumber.node((5, 5, 10), "top"), plumber.node((5, 5, 0), "low")
    plumber.tank("pump", [box_piece(np.zeros(3), np.full(3, 10.0))], [top, low], 0.5, unsure=True)
    left = drain(plumber.waterway(), [low], [top])
    assert (left.most, left.least, left.likely) == (pytest.approx(0.5), 0, 0)
    assert [place.why for place in left.places] == ["its inside is not known"]


@pytest.mark.long
@given(rows())
@settings(QUICK, max_examples=1500)
def test_most_against_floods_many_times(row):
    test_most_against_a_flood_of_cubes.hypothesis.inner_test(row)


@pytest.mark.long
@given(rows(), st.integers(0, 2), st.integers(1, 6))
@settings(QUICK, max_examples=1500)
def test_higher_ports_many_times(row, which, higher):
    test_a_higher_port_never_drains_more.hypothesis.inner_test(row, which, higher)
