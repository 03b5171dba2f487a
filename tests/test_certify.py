"""Certificates against dense points with other libraries' distances, and cases by hand."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from run_oracles import body_distances, clutter, plate, round_hole, turned
from scipy.spatial.distance import cdist
from worlds import box, part, rod, world

from fitcheck.runs.certify import TOLERANCE, certify, routes_apart, self_apart
from fitcheck.runs.obstacles import obstacles
from fitcheck.runs.route import Route
from fitcheck.runs.rows import Laid

steady = settings(derandomize=True, deadline=None, max_examples=25)
U_TURN = np.array([[0, 0, 0], [200, 0, 0], [200, 80, 0], [0, 80, 0]], float)


@st.composite
def routes(draw):
    """Sound routes of up to five legs in a room of 200 mm."""
    rng = np.random.default_rng(draw(st.integers(0, 2**31)))
    radius = draw(st.sampled_from([5.0, 15.0, 30.0]))
    for _ in range(50):
        corners = rng.uniform(-10, 210, (draw(st.integers(2, 6)), 3))
        try:
            route = Route(corners, radius)
        except ValueError:
            continue
        if route.is_sound():
            return route
    assume(False)
    raise AssertionError


@steady
@given(route=routes(), seed=st.integers(0, 2**31))
def test_least_distance_of_a_tube_in_clutter(route, seed):
    scene = clutter(seed, count=10)
    found = certify(obstacles(scene), route, 13.0)
    step = 2.0
    points = route.sample(step)
    table = body_distances(scene, points)
    sampled = min(float(d.min()) for d in table.values()) - 6.5
    assert found.sound
    assert 0 <= found.slack <= 1.01 * TOLERANCE
    # Proved: never above what is there, and at most half a step and the tolerance below the samples.
    assert sampled - step / 2 - 1.01 * TOLERANCE <= found.least <= sampled + 1e-5
    # And at the place named the body named is as near as that.
    there = body_distances(scene, found.where[None])[obstacles(scene).names[found.nearest]]
    assert there[0] - 6.5 == pytest.approx(found.least + found.slack, abs=1e-5)


@pytest.mark.long
@settings(steady, max_examples=1000)
@given(route=routes(), seed=st.integers(0, 2**31))
def test_least_distance_of_a_tube_in_clutter_long(route, seed):
    test_least_distance_of_a_tube_in_clutter.hypothesis.inner_test(route, seed)


@steady
@given(route=routes(), seed=st.integers(0, 2**31))
def test_the_other_way_round_is_as_near(route, seed):
    among = obstacles(clutter(seed, count=10))
    there, back = certify(among, route, 8.0), certify(among, route.reversed(), 8.0)
    assert there.least == pytest.approx(back.least, abs=1.01 * TOLERANCE)


def test_along_a_wall():
    among = obstacles(world(part("wall", box((-100, 20, -100), (900, 30, 100)))))
    found = certify(among, Route(np.array([[0, 0, 0], [800, 0, 0]], float), 40), 12.0)
    # 20 to the wall, less 6.
    assert found.least + found.slack == pytest.approx(14.0, abs=1e-9)
    assert 14.0 - 1.01 * TOLERANCE <= found.least <= 14.0
    assert found.nearest == 0


def test_a_bend_passes_inside_its_corner():
    # An arc of radius 60 about (0, 60): its middle is 60 (sqrt 2 - 1) inside the corner (60, 0); a thin
    # pin stands 5 mm inside of that on the diagonal, so 5 - 1 - 4 mm of tube and pin are left: 0.
    reach = 60 - 5
    pin = np.array([reach / np.sqrt(2), 60 - reach / np.sqrt(2)])
    scene = world(part("pin", rod((*pin, -50), (*pin, 50), 2)))
    route = Route(np.array([[-90, 0, 0], [60, 0, 0], [60, 150, 0]], float), 60)
    found = certify(obstacles(scene), route, 8.0)
    assert found.least + found.slack == pytest.approx(0.0, abs=1e-3)
    assert found.least <= 0.0
    np.testing.assert_allclose(found.where, [60 / np.sqrt(2), 60 - 60 / np.sqrt(2), 0], atol=0.3)


@pytest.mark.parametrize("seed", range(6))
def test_through_a_hole_in_a_thin_sheet(seed):
    pose = turned(np.random.default_rng(seed), (30, 20, 10))
    scene = world(part("plate", plate(0.5, round_hole(20)), pose=pose))
    through = Route(pose.point(np.array([[0, 0, -80], [0, 0, 60], [90, 0, 60]], float)), 30)
    beside = Route(pose.point(np.array([[40, 0, -80], [40, 0, 60]], float)), 30)
    # 10 less half of 12; the rim has 512 corners.
    assert certify(obstacles(scene), through, 12.0).least == pytest.approx(4.0, abs=TOLERANCE + 1e-3)
    # No sheet is so thin that it is stepped over.
    crossed = certify(obstacles(scene), beside, 12.0)
    assert crossed.least + crossed.slack == pytest.approx(-6.0, abs=1.01 * TOLERANCE)
    assert abs(pose.inverse().point(crossed.where)[2]) < 0.3


def test_extra_clearance_comes_off():
    scene = world(
        part("a", box((-100, 20, -100), (100, 30, 100))), part("b", box((-100, -60, -9), (100, -50, 9)))
    )
    route = Route(np.array([[-50, 0, 0], [50, 0, 0]], float), 40)
    found = certify(obstacles(scene, extra={"b": 40.0}), route, 10.0)
    assert found.nearest == 1
    assert found.least == pytest.approx(50 - 40 - 5, abs=1.01 * TOLERANCE)


def test_nothing_there_and_no_route():
    straight = Route(np.array([[0, 0, 0], [10, 0, 0]], float), 5)
    found = certify(obstacles(world()), straight, 10.0)
    assert (found.least, found.nearest, found.slack, found.sound) == (np.inf, -1, 0.0, True)
    tight = Route(np.array([[0, 0, 0], [10, 0, 0], [10, 10, 0]], float), 40)
    for asked in (
        certify(obstacles(world()), tight, 3.0),
        self_apart(tight, 3.0),
        routes_apart(straight, tight, (1, 1)),
    ):
        assert (asked.sound, asked.least) == (False, -np.inf)


@steady
@given(first=routes(), second=routes())
def test_two_routes(first, second):
    found = routes_apart(first, second, (6.0, 10.0))
    step = 0.5
    sampled = cdist(first.sample(step), second.sample(step)).min() - 8.0
    assert sampled - step - 1.01 * TOLERANCE <= found.least <= sampled + 1e-9
    assert 0 <= found.slack <= 1.01 * TOLERANCE
    assert routes_apart(second, first, (10.0, 6.0)).least == pytest.approx(found.least, abs=1.01 * TOLERANCE)
    # The same question put to the first as an obstacle.
    laid = obstacles(world(), more=[Laid("first", first.corners, first.radius, 3.0)])
    assert certify(laid, second, 10.0).least == pytest.approx(found.least, abs=1.01 * TOLERANCE)


@steady
@given(route=routes(), outside=st.floats(1, 10))
def test_a_route_and_itself(route, outside):
    found = self_apart(route, outside)
    step = 0.5
    points = route.sample(step)
    along = np.linspace(0, route.length, len(points))
    far = along[None, :] - along[:, None] >= np.pi * route.radius
    if not far.any():
        assert found.least == np.inf or route.length > np.pi * route.radius
        return
    sampled = cdist(points, points)[far].min() - outside
    assert sampled - 2 * step - 1.01 * TOLERANCE <= found.least <= sampled + 1e-9


def test_legs_of_a_u_turn():
    # Legs 80 apart, less one diameter.
    assert self_apart(Route(U_TURN, 40), 10.0).least == pytest.approx(70.0, abs=1.01 * TOLERANCE)
    # A last leg that comes back 5 mm beside the first: 5 - 10, so it hits itself.
    back = np.concatenate([U_TURN, [[-60, 80, 0], [-60, 40, 0], [-60, 40, 60], [100, 5, 0]]])
    assert self_apart(Route(back, 15), 10.0).least < -4.0


def test_a_full_loop_hits_itself():
    # A square with rounded corners that closes: its end is back at its start.
    ring = np.array([[0, 0, 0], [100, 0, 0], [100, 100, 0], [-100, 100, 0], [-100, 0, 0], [-1, 0, 0]], float)
    found = self_apart(Route(ring, 20), 8.0)
    assert found.least + found.slack == pytest.approx(1.0 - 8.0, abs=0.01)


def test_too_short_to_meet_itself():
    quarter = Route(np.array([[0, 0, 0], [40, 0, 0], [40, 40, 0]], float), 40)
    assert self_apart(quarter, 70.0).least == np.inf
