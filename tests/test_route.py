"""Routes against handbook values, straight numerical integration, and moves in space."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from fitcheck.parts.pieces import bounds
from fitcheck.parts.tubes import tube_length
from fitcheck.runs.route import Arc, Route, Straight, from_points, joined, tube_solid
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.world.frames import Frame

steady = settings(derandomize=True, deadline=None, max_examples=150)


@st.composite
def routes(draw):
    """Sound routes of 1 to 7 legs, turns from a billionth of a radian to just below a half turn."""
    radius = draw(st.floats(5, 80))
    way = Rotation.random(rng=np.random.default_rng(draw(st.integers(0, 2**31)))).as_matrix()
    takes = [0.0]
    corners, at = [np.zeros(3)], np.zeros(3)
    turns = draw(st.lists(st.sampled_from(TURNS) | st.floats(1e-3, math.pi - 1e-2), max_size=6))
    for turn in [*turns, 0.0]:
        takes.append(radius * math.tan(turn / 2))
        straight = draw(st.sampled_from([0.0, 0.5, 30.0]) | st.floats(0, 200))
        at = at + way[:, 0] * max(takes[-2] + straight + takes[-1], 1e-3)
        corners.append(at)
        spin = draw(st.floats(-math.pi, math.pi))
        way = way @ Rotation.from_rotvec([spin, 0, 0]).as_matrix()
        way = way @ Rotation.from_rotvec([0, 0, turn]).as_matrix()
    return Route(np.array(corners), radius)


TURNS = (1e-8, 1e-5, math.pi / 4, math.pi / 2, 2 * math.pi / 3, math.pi - 0.01)


def zigzag(*legs_turns, radius):
    """A route in the plane z = 0 that starts along x: leg, turn in degrees, leg, ..."""
    at, heading, corners = np.zeros(3), 0.0, [np.zeros(3)]
    for k, value in enumerate(legs_turns):
        if k % 2:
            heading += math.radians(value)
        else:
            at = at + value * np.array([math.cos(heading), math.sin(heading), 0])
            corners.append(at)
    return Route(np.array(corners), radius)


@pytest.mark.parametrize(
    ("angle", "take", "arc"),
    [
        # Tube-bending handbook values as public pages give them: setback R tan(a/2), arc R a pi/180.
        (90, 24.0, 37.699112),
        (45, 9.941125, 24 * math.pi / 4),
        # Common practice: 60 deg takes R / sqrt(3), 120 deg R sqrt(3).
        (60, 24 / math.sqrt(3), 24 * math.pi / 3),
        (120, 24 * math.sqrt(3), 24 * math.pi * 2 / 3),
    ],
)
def test_a_bend_of_radius_24_takes_and_lays_its_handbook_lengths(angle, take, arc):
    route = zigzag(100, angle, 90, radius=24)
    assert route.legs == pytest.approx([100 - take, 90 - take], abs=1e-6)
    assert route.length == pytest.approx(190 - 2 * take + arc, abs=1e-6)
    (bend,) = route.bends
    assert math.degrees(bend.angle) == pytest.approx(angle)
    assert bend.start == pytest.approx([100 - take, 0, 0], abs=1e-6)


def test_two_points_are_one_straight():
    route = Route([[1, 2, 3], [1, 2, 8]], 40)
    (piece,) = route.pieces
    assert isinstance(piece, Straight) and route.bends == ()
    assert route.length == piece.length == 5
    assert route.point(2).tolist() == [1, 2, 5]
    assert route.tangent(5).tolist() == [0, 0, 1]
    assert route.sample(2).tolist() == [[1, 2, z] for z in (3, 3 + 5 / 3, 3 + 10 / 3, 8)]


def test_a_half_turn_of_two_corners_has_no_straight_between():
    route = Route([[0, 0, 0], [40, 0, 0], [40, 80, 0], [0, 80, 0]], 40)
    assert route.is_sound() and not route.is_sound(least=0.001)
    assert [type(piece) for piece in route.pieces] == [Arc, Arc]
    assert route.length == pytest.approx(40 * math.pi)
    assert route.tangent(0) == pytest.approx([1, 0, 0])
    # Half way round: the outermost point of the circle about (0, 40, 0).
    assert route.point(20 * math.pi) == pytest.approx([40, 40, 0])


def test_an_arc_says_centre_and_axis():
    _, arc, _ = Route([[0, 0, 0], [0, 0, 50], [0, 70, 50]], 30).pieces
    assert arc.centre == pytest.approx([0, 30, 20])
    assert arc.start == pytest.approx([0, 0, 20])
    assert arc.end == pytest.approx([0, 30, 50])
    # From +z towards +y: right-handed about -x.
    assert arc.axis == pytest.approx([-1, 0, 0])
    assert arc.way == pytest.approx([0, 0, 1])


def test_legs_below_zero_are_no_sound_route():
    route = zigzag(100, 90, 47.9, 90, 100, radius=24)
    assert route.legs == pytest.approx([76, -0.1, 76])
    assert not route.is_sound()
    with pytest.raises(ValueError, match="bends"):
        route.pieces  # noqa: B018


@steady
@given(routes())
def test_pieces_are_one_smooth_line_of_the_radius(route):
    at, way = route.corners[0], route.ways[0]
    for piece in route.pieces:
        assert piece.start == pytest.approx(at, abs=1e-8)
        if isinstance(piece, Arc):
            assert np.linalg.norm(piece.start - piece.centre) == pytest.approx(route.radius)
            # What a turn of the start about the axis says, by another library.
            turn = Rotation.from_rotvec(piece.axis * piece.angle)
            assert piece.end == pytest.approx(piece.centre + turn.apply(piece.start - piece.centre), abs=1e-8)
            assert piece.way == pytest.approx(way, abs=1e-7)
            way = turn.apply(piece.way)
        else:
            assert piece.way == pytest.approx(way, abs=1e-7)
            assert piece.end == pytest.approx(piece.start + piece.length * piece.way, abs=1e-8)
        at = piece.end
    assert at == pytest.approx(route.corners[-1], abs=1e-8)
    assert sum(piece.length for piece in route.pieces) == pytest.approx(route.length, abs=1e-7)


@steady
@given(routes(), st.floats(0, 1), st.floats(0, 1))
def test_points_are_no_farther_apart_than_the_line_is_long(route, a, b):
    """Distance along the line moves the point at unit speed: chords tell arc length."""
    a, b = sorted((a * route.length, b * route.length))
    apart = np.linalg.norm(route.point(b) - route.point(a))
    assert apart <= b - a + 1e-9
    step = 1e-3
    near = np.linalg.norm(route.point(a + step) - route.point(a))
    whole = min(a + step, route.length) - a
    assert whole * (1 - (step / route.radius) ** 2) - 1e-11 <= near <= whole + 1e-11


@steady
@given(routes(), st.floats(0, 1))
def test_the_tangent_is_the_slope_of_the_points(route, share):
    along = share * route.length
    step = 1e-4
    assume(step < along < route.length - step)
    slope = (route.point(along + step) - route.point(along - step)) / (2 * step)
    # Over a joint of straight and arc the slope is off by step / (4 R) at most.
    assert route.tangent(along) == pytest.approx(slope, abs=step / route.radius + 1e-7)
    assert np.linalg.norm(route.tangent(along)) == pytest.approx(1, abs=1e-12)


@steady
@given(routes(), st.floats(0.5, 20))
def test_samples_are_dense_enough_and_sum_up_to_the_length(route, step):
    points = route.sample(step)
    chords = np.linalg.norm(np.diff(points, axis=0), axis=1)
    assert points[0] == pytest.approx(route.corners[0], abs=1e-9)
    assert points[-1] == pytest.approx(route.corners[-1], abs=1e-7)
    assert chords.max() <= step + 1e-9
    # A chord of an arc c is shorter by at most c^3 / (24 R^2).
    loss = len(chords) * step**3 / (24 * route.radius**2)
    assert route.length - loss - 1e-6 <= chords.sum() <= route.length + 1e-6


@steady
@given(routes(), st.integers(0, 2**31), st.booleans(), st.floats(0, 1))
def test_turned_mirrored_shifted_and_reversed_it_is_the_same_line(route, seed, mirrored, share):
    rng = np.random.default_rng(seed)
    rotation = Rotation.random(rng=rng).as_matrix() @ np.diag([1, 1, -1 if mirrored else 1])
    frame = Frame(rotation, rng.uniform(-500, 500, 3))
    moved = route.moved(frame)
    assert moved.length == pytest.approx(route.length, abs=1e-6)
    assert moved.legs == pytest.approx(route.legs, abs=1e-6)
    along = share * route.length
    assert moved.point(along) == pytest.approx(frame.point(route.point(along)), abs=1e-6)
    back = route.reversed()
    assert back.length == pytest.approx(route.length, abs=1e-9)
    assert back.point(route.length - along) == pytest.approx(route.point(along), abs=1e-6)


@steady
@given(routes())
def test_flat_arrays_say_what_the_pieces_say(route):
    flat = route.flat
    for k, piece in enumerate(route.pieces):
        assert flat.starts[k].tolist() == piece.start.tolist()
        assert flat.ways[k].tolist() == piece.way.tolist()
        assert flat.lengths[k] == piece.length
        if isinstance(piece, Arc):
            inward = (piece.centre - piece.start) / piece.radius
            assert flat.inwards[k] == pytest.approx(inward, abs=1e-12)
            assert flat.curvatures[k] == pytest.approx(1 / route.radius)
        else:
            assert flat.curvatures[k] == 0 and not flat.inwards[k].any()


@steady
@given(routes(), st.floats(0.2, 1))
def test_the_laid_tube_holds_its_own_line_and_no_more_than_its_error(route, share):
    outside = 2 * share * min(route.radius, 12)
    solid = tube_solid(route, "inlet", outside)
    assert solid.role == "tube" and 0 <= solid.error <= 0.0051
    points = route.sample(2.0)
    low, high = bounds(solid.pieces)
    reach = outside / 2 + solid.error + 1e-6
    assert np.all(points >= low - 1e-6) and np.all(points <= high + 1e-6)
    assert np.all(low >= points.min(axis=0) - 2 - reach) and np.all(high <= points.max(axis=0) + 2 + reach)
    assert tube_length(route.corners, route.radius) == pytest.approx(route.length, abs=1e-6)


def test_a_tube_wider_than_its_bends_is_refused():
    with pytest.raises(ValueMistake, match="half the diameter"):
        tube_solid(zigzag(100, 90, 100, radius=5), "inlet", 13)


def test_the_slightest_corner_is_a_bend():
    """1e-7 radians over a metre are 0.1 micrometre, and more than rounding; 1e-10 are none."""
    assert len(Route([[0, 0, 0], [1000, 0, 0], [2000, 1e-4, 0]], 40).bends) == 1
    assert len(Route([[0, 0, 0], [1000, 0, 0], [2000, 1e-7, 0]], 40).bends) == 0


def test_points_as_they_come_lose_doubles_and_straight_corners():
    points = [[0, 0, 0], [0, 0, 0], [10, 0, 0], [60, 0, 0], [60, 0, 1e-8], [60, 70, 0], [60, 70, 1e-7]]
    route = from_points(np.array(points), 30)
    assert route.corners.tolist() == [[0, 0, 0], [60, 0, 0], [60, 70, 1e-7]]


@pytest.mark.parametrize(
    ("points", "said"),
    [
        ([[0, 0, 0]], "at least 2 points"),
        ([[0, 0, 0], [0, 0, 1e-9]], "at least 2 points"),
        ([[0, 0, 0], [50, 0, 0], [20, 0, 0]], "turns straight back at point 2"),
    ],
)
def test_points_that_are_no_path_are_refused(points, said):
    with pytest.raises(ValueMistake, match=said):
        from_points(np.array(points, float), 30)


@pytest.mark.parametrize(
    ("corners", "radius"),
    [
        ([[0, 0, 0]], 40),
        ([[0, 0, 0], [0, 0, 0]], 40),
        ([[0, 0, 0], [50, 0, 0], [0, 0, 0]], 40),
        ([[0, 0, 0], [50, 0, math.nan]], 40),
        ([[0, 0], [50, 0]], 40),
        ([[0, 0, 0], [50, 0, 0]], 0),
    ],
)
def test_what_is_no_route_is_an_error(corners, radius):
    with pytest.raises(ValueError, match=r"route|radius"):
        Route(np.array(corners, float), radius)


def test_two_routes_through_a_hole_are_one():
    first = Route([[0, 0, 0], [60, 0, 0], [60, 80, 0]], 40)
    second = Route([[60, 80, 0], [60, 160, 0], [60, 160, 90]], 40)
    both = joined(first, second)
    assert both.corners.tolist() == [[0, 0, 0], [60, 0, 0], [60, 160, 0], [60, 160, 90]]
    assert both.length == pytest.approx(first.length + second.length)
    with pytest.raises(ValueError, match="radius"):
        joined(first, Route(second.corners, 30))
