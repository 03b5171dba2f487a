"""Bounds and shortest ways against closed forms, worked values, and curves made at random."""

import math

import dubins
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.linalg import expm
from scipy.optimize import minimize
from scipy.spatial.transform import Rotation

from fitcheck.runs.bounds import directed_bound, lower_bound, point_bound, shortest_flat, shortest_free
from fitcheck.world.frames import Frame

steady = settings(derandomize=True, deadline=None, max_examples=150)
X, Y, Z, HERE = np.array([1.0, 0, 0]), np.array([0, 1.0, 0]), np.array([0, 0, 1.0]), np.zeros(3)


def heading(degrees):
    return np.array([math.cos(math.radians(degrees)), math.sin(math.radians(degrees)), 0])


def reaches(route, start, way, goal, arrival, radius):
    """A sound route really leads from pose to pose, and its bends are no tighter than asked."""
    assert route.is_sound() and route.radius == radius
    assert route.corners[0] == pytest.approx(start, abs=1e-6)
    assert route.corners[-1] == pytest.approx(goal, abs=1e-6)
    assert route.tangent(0) == pytest.approx(way, abs=1e-6)
    assert route.tangent(route.length) == pytest.approx(arrival, abs=1e-6)
    # The angle between directions a step apart is no more than the step's part of the circle.
    along = np.linspace(0, route.length, 400)
    ways = route.tangent(along)
    assert np.linalg.norm(ways, axis=1) == pytest.approx(1, abs=1e-9)
    turns = 2 * np.arcsin(np.minimum(1, np.linalg.norm(np.diff(ways, axis=0), axis=1) / 2))
    assert np.all(turns <= (along[1] - along[0]) / radius + 1e-6)
    # And the points move along these directions: no jump.
    chords = np.diff(route.point(along), axis=0)
    mean = (ways[:-1] + ways[1:]) / 2 * (along[1] - along[0])
    assert np.abs(chords - mean).max() <= (along[1] - along[0]) ** 2 / radius + 1e-6
    return True


# Solved once from 1,500 start directions by an iteration over corners, another way than the project's,
# R in the last column: arc-straight-arc from the origin along +x, with corners where given. The third
# turns 166 degrees in its last arc: radius 40 and offset (0, 100, -150) make a plane, in it
# sqrt(400^2 + 100.278^2) + 40 pi by hand (sqrt(100^2 + 150^2) - 2 40 = 100.278).
IN_SPACE = [
    ((300, 200, 100), Z, 50, 395.0040, [(16.3777, 0, 0), (300, 200, 57.6166)]),
    ((250, 0, 120), Y, 60, 321.4398, None),
    ((400, 100, -150), -X, 40, 538.0417, None),
]


@pytest.mark.parametrize(("goal", "arrival", "radius", "length", "corners"), IN_SPACE)
def test_worked_ways_in_space(goal, arrival, radius, length, corners):
    route = shortest_free(HERE, X, goal, arrival, radius)
    assert reaches(route, HERE, X, goal, arrival, radius)
    assert route.length == pytest.approx(length, abs=1e-4)
    if corners:
        assert route.corners[1:-1] == pytest.approx(np.array(corners), abs=1e-4)
    # None of their arcs is above a half turn: no curve at all is shorter.
    bound, way = directed_bound(HERE, X, goal, arrival, radius)
    assert way is not None and bound == pytest.approx(route.length, abs=1e-6)


# R 50, poses (x, y, heading in degrees). Dubins (1957); each length by hand.
IN_PLANE = [
    ((0, 0, 0), (200, 0, 0), 200),
    ((0, 0, 0), (0, 100, 180), 50 * math.pi),
    ((0, 0, 0), (200, 100, 90), math.hypot(150, 50) + 25 * math.pi),
    # Circles' middles (200, -40) apart, crossed tangent sqrt(200^2 + 40^2 - 100^2), two arcs of 15.7514.
    ((0, 0, 0), (200, 60, 0), math.sqrt(200**2 + 40**2 - 100**2) + 2 * 15.7514),
    ((0, 0, 90), (200, 0, 90), 100 * math.pi),
    ((0, 0, 0), (0, 40, 180), 50 * (2 * math.pi - 2 * math.asin(0.7) + 2 * math.acos(0.7))),
    ((0, 0, 0), (0, 0, 180), 50 * 7 * math.pi / 3),
    ((0, 0, 0), (0, 60, 0), 100 * math.pi + 60),
]


@pytest.mark.parametrize(("start", "goal", "length"), IN_PLANE)
def test_worked_ways_in_the_plane(start, goal, length):
    poses = (*start[:2], 0), heading(start[2]), (*goal[:2], 0), heading(goal[2]), 50
    route = shortest_flat(*poses)
    assert reaches(route, *poses)
    assert route.length == pytest.approx(length, abs=1e-3)
    free = shortest_free(*poses)
    assert reaches(free, *poses)
    assert lower_bound(*poses) - 1e-6 <= free.length <= length + 1e-3
    oracle, _, _ = dubins.shortest(
        goal[0] - start[0], goal[1] - start[1], math.radians(start[2]), math.radians(goal[2]), 50
    )
    assert oracle == pytest.approx(length, abs=1e-3)


def test_a_tube_cannot_make_a_tight_u():
    """Ends 40 apart, radius 50: a loop of twice the half circle, in space as in the plane."""
    route = shortest_free(HERE, X, (0, 40, 0), -X, 50)
    assert route.length == pytest.approx(316.159399, abs=1e-4)


def test_side_step_in_space_is_shorter_than_in_the_plane():
    """A parallel line 60 beside, R 50: in the plane 100 pi + 60."""
    route = shortest_free(HERE, X, (0, 60, 0), X, 50)
    assert route.length <= 100 * math.pi + 60 + 1e-6


def random_plane_poses(rng, square):
    """Planar poses near and far; on a grid of 25 mm and quarter turns for `square`."""
    if square:
        x, y = rng.integers(-8, 9, 2) * 25.0
        a, b = rng.integers(0, 4, 2) * math.pi / 2
    else:
        x, y = rng.uniform(-1, 1, 2) * rng.choice([30, 100, 200, 400])
        a, b = rng.uniform(0, 2 * math.pi, 2)
    return float(x), float(y), float(a), float(b)


def against_closed_forms(count, seed):
    rng = np.random.default_rng(seed)
    met, words = 0, set()
    for k in range(count):
        x, y, a, b = random_plane_poses(rng, square=k % 5 == 0)
        length, word, parts = dubins.shortest(x, y, a, b, 50)
        if length < 1e-6:
            continue
        turn, at = Rotation.random(rng=rng).as_matrix(), rng.uniform(-300, 300, 3)
        tilted = Frame(turn, at)
        poses = (
            at,
            turn @ heading(math.degrees(a)),
            tilted.point(np.array([x, y, 0])),
            turn @ heading(math.degrees(b)),
            50,
        )
        flat, free = shortest_flat(*poses), shortest_free(*poses)
        assert reaches(flat, *poses) and reaches(free, *poses)
        assert abs(flat.length - length) < 1e-4, (x, y, a, b, word)
        assert lower_bound(*poses) - 1e-6 <= free.length <= length + 1e-4, (x, y, a, b, word)
        if word[1] == "S" and max(parts[0], parts[2]) <= math.pi:
            # The bound proves it: no way out of the plane is shorter either.
            assert abs(free.length - length) < 1e-4, (x, y, a, b, word)
            assert lower_bound(*poses) == pytest.approx(length, abs=1e-4)
            met += 1
        words.add(word)
    return met, words


def test_planar_ways_meet_dubins_closed_forms():
    met, words = against_closed_forms(520, seed=4)
    assert met > 150
    assert words == {"LSL", "RSR", "LSR", "RSL", "RLR", "LRL"}


@pytest.mark.long
def test_planar_ways_meet_dubins_closed_forms_at_length():
    against_closed_forms(8000, seed=5)


def test_point_bound_worked():
    """R 50, straight to the left 200 away: 50 (pi - acos(1/3)) + sqrt(20000), by hand."""
    bound = point_bound(HERE, X, np.array([0, 200, 0]), 50)
    assert bound == pytest.approx(50 * (math.pi - math.acos(1 / 3)) + math.sqrt(20000), abs=1e-9)
    assert bound == pytest.approx(236.9530, abs=1e-4)
    assert point_bound(HERE, X, np.array([70, 0, 0]), 50) == pytest.approx(70)
    # Right behind: the tangent from a circle of radius 50 to a point 120 from its foot.
    behind = point_bound(HERE, X, np.array([-120, 0, 0]), 50)
    assert behind == pytest.approx(120 + 50 * (2 * math.pi - 2 * math.atan2(120, 50)), abs=1e-9)


@settings(steady, max_examples=100)
@given(st.floats(-3, 3), st.floats(-3, 3), st.floats(0, 2 * math.pi), st.integers(0, 2**31))
def test_point_bound_is_the_best_heading_of_the_closed_forms(x, y, start, seed):
    assume(math.hypot(x, y) > 0.01)
    turn = Rotation.random(rng=np.random.default_rng(seed)).as_matrix()
    bound = point_bound(HERE, turn @ heading(math.degrees(start)), turn @ np.array([x, y, 0]), 1)
    assert bound == pytest.approx(best_heading(x, y, start), abs=1e-5)


def best_heading(x, y, start):
    """The shortest of the closed forms over all arrivals: from the best of a grid on, by halving."""

    def length(end):
        return dubins.shortest(x, y, start, end, 1)[0]

    found = []
    for at in sorted(np.radians(range(0, 360, 2)), key=length)[:4]:
        step = math.radians(2)
        while step > 1e-9:
            trial = min((at - step, at, at + step), key=length)
            at, step = trial, step if trial != at else step / 2
        found.append(length(at))
    return min(found)


@st.composite
def curves(draw):
    """A curve of curvature up to 1 / R in space: pieces of constant curvature and torsion; its ends, its length."""
    radius = draw(st.floats(10, 80))
    pieces = draw(
        st.lists(
            st.tuples(CURVED, st.floats(-3, 3), st.floats(-3.2, 3.2), st.floats(0.01, 4)),
            min_size=1,
            max_size=5,
        )
    )
    rng = np.random.default_rng(draw(st.integers(0, 2**31)))
    pose = np.eye(4)
    pose[:3, :3], pose[:3, 3] = Rotation.random(rng=rng).as_matrix(), rng.uniform(-200, 200, 3)
    start, length = pose, 0.0
    for curved, torsion, spin, part in pieces:
        twist = np.zeros((4, 4))
        # Serret-Frenet: t' = k n, n' = -k t + tau b, b' = -tau n, columns t, n, b; p' = t.
        twist[0, 1], twist[1, 0] = -curved, curved
        twist[1, 2], twist[2, 1] = -torsion, torsion
        twist[0, 3] = 1.0
        turn = np.eye(4)
        turn[:3, :3] = Rotation.from_rotvec([spin, 0, 0]).as_matrix()
        piece = expm(twist * part)
        piece[:3, 3] *= radius
        pose = pose @ turn @ piece
        length += part * radius
    return start[:3, 3], start[:3, 0], pose[:3, 3], pose[:3, 0], radius, length


CURVED = st.sampled_from([0.0, 1.0]) | st.floats(0, 1)


@settings(steady, max_examples=100)
@given(curves())
def test_no_curve_is_shorter_than_its_bounds(curve):
    *poses, length = curve
    assert lower_bound(*poses) <= length + 1e-6
    assert point_bound(poses[0], poses[1], poses[2], poses[4]) <= length + 1e-6


@pytest.mark.long
@settings(steady, max_examples=5_000)
@given(curves())
def test_no_curve_is_shorter_than_its_bounds_at_length(curve):
    test_no_curve_is_shorter_than_its_bounds.hypothesis.inner_test(curve)


def ports(rng):
    """Two ports anywhere in a case of 700 x 320 x 650 mm, and a radius as tubes and cables have it."""
    way, arrival = (v / np.linalg.norm(v) for v in rng.normal(size=(2, 3)))
    start, goal = rng.uniform(0, 1, (2, 3)) * [700, 320, 650]
    return start, way, goal, arrival, float(rng.uniform(20, 70))


@pytest.mark.long
def test_ways_between_ports_are_close_to_the_proved_bound():
    """500 port pairs: the median is proved shortest to the last digit."""
    rng = np.random.default_rng(6)
    ratios = []
    for _ in range(500):
        poses = ports(rng)
        route = shortest_free(*poses)
        assert reaches(route, *poses)
        ratios.append(route.length / lower_bound(*poses))
    assert min(ratios) >= 1 - 1e-9
    assert np.percentile(ratios, 50) <= 1 + 1e-9
    assert np.percentile(ratios, 85) <= 1.001


@pytest.mark.long
@steady
@given(st.integers(0, 2**31), st.booleans(), st.booleans(), st.sampled_from([0.05, 0.3, 1.0]))
def test_turned_mirrored_shifted_and_swapped_it_is_the_same_length(seed, mirrored, swapped, near):
    rng = np.random.default_rng(seed)
    start, way, goal, arrival, radius = ports(rng)
    goal = start + near * (goal - start)
    frame = Frame(
        Rotation.random(rng=rng).as_matrix() @ np.diag([1, 1, -1 if mirrored else 1]), np.full(3, 0.37)
    )
    ends = [(frame.point(start), frame.direction(way)), (frame.point(goal), frame.direction(arrival))]
    if swapped:
        ends = [(ends[1][0], -ends[1][1]), (ends[0][0], -ends[0][1])]
    there = (*ends[0], *ends[1], radius)
    here = (start, way, goal, arrival, radius)
    assert shortest_free(*there).length == pytest.approx(shortest_free(*here).length, abs=1e-5)
    assert lower_bound(*there) == pytest.approx(lower_bound(*here), abs=1e-4 * radius)


@steady
@given(st.integers(0, 2**31), st.floats(0.1, 60))
def test_a_greater_radius_is_never_shorter(seed, more):
    """What a greater radius can lay, a smaller one can too: so it is with the bound that is met."""
    start, way, goal, arrival, radius = ports(np.random.default_rng(seed))
    tight, met = directed_bound(start, way, goal, arrival, radius)
    wide, also_met = directed_bound(start, way, goal, arrival, radius + more)
    assume(met is not None and also_met is not None)
    assert wide >= tight - 1e-9


def test_exact_half_turns_and_straights():
    for goal, arrival, length in [
        ((0, 100, 0), -X, 50 * math.pi),  # just two radii aside
        ((-300, 100, 0), -X, 50 * math.pi + 300),  # and back along a straight
        ((0, 120, 0), -X, 50 * math.pi + 20),  # two quarters
        ((80, 0, 0), X, 80),
        ((50, 50, 0), Y, 25 * math.pi),
        ((0, 0, 100), -X, 50 * math.pi),
        ((-50, 0, 50), -Z, 75 * math.pi),  # three quarters round: no longer way can be a single corner
    ]:
        route = shortest_free(HERE, X, np.array(goal, float), arrival, 50)
        assert reaches(route, HERE, X, goal, arrival, 50)
        assert route.length == pytest.approx(length, abs=1e-6), goal
        assert lower_bound(HERE, X, np.array(goal, float), arrival, 50) <= length + 1e-6


def test_rounding_at_the_circle_does_not_lift_the_bound():
    """Half a circle round, turned somewhere in space: the goal lies on the first circle but for rounding."""
    rng = np.random.default_rng(8)
    for _ in range(300):
        turn, at = Rotation.random(rng=rng).as_matrix(), rng.uniform(-300, 300, 3)
        bound = point_bound(at, turn @ X, at + turn @ np.array([0, 100.0, 0]), 50)
        assert bound <= 50 * math.pi + 1e-9
        assert bound == pytest.approx(50 * math.pi, abs=1e-4)


def test_two_poses_that_are_one_have_no_way_between():
    assert shortest_free(HERE, X, HERE, X, 50) is None
    assert shortest_flat(HERE, X, HERE, X, 50) is None
    assert lower_bound(HERE, X, HERE, X, 50) == pytest.approx(0, abs=1e-9)


def test_poses_without_a_common_plane_have_no_flat_way():
    assert shortest_flat(HERE, X, np.array([300.0, 0, 100]), Y, 50) is None


def transcribed(goal, arrival, pieces, seed):
    """The shortest curve of many short arcs of curvature up to 1, solved for directly (SLSQP), from the origin
    along +x; infinite where the solver did not come to an end. Another way than the project's."""

    def end(x):
        at, frame, part = np.zeros(3), np.eye(3), x[0] / pieces
        for a, b in x[1:].reshape(pieces, 2):
            bent = max(math.hypot(a, b), 1e-9)
            c, s = math.cos(bent * part), math.sin(bent * part)
            way, inward = frame[:, 0], (frame[:, 1] * a + frame[:, 2] * b) / bent
            aside = (frame[:, 2] * a - frame[:, 1] * b) / bent
            at = at + (way * s + inward * (1 - c)) / bent
            way, inward = way * c + inward * s, inward * c - way * s
            frame = np.stack([way, (inward * a - aside * b) / bent, (inward * b + aside * a) / bent], axis=1)
        return at, frame[:, 0]

    across = np.linalg.svd(arrival[None])[2][1:]

    def gap(x):
        at, way = end(x)
        return np.concatenate([at - goal, across @ way])

    def room(x):
        return 1 - (x[1:].reshape(pieces, 2) ** 2).sum(axis=1)

    def slopes(f):
        steps = 1e-6 * np.eye(2 * pieces + 1)
        return lambda x: np.stack([(f(x + step) - f(x - step)) / 2e-6 for step in steps], axis=1)

    rng = np.random.default_rng(seed)
    bends = np.repeat(rng.normal(0, 0.7, (4, 2)), pieces // 4, axis=0) + rng.normal(0, 0.1, (pieces, 2))
    start = np.concatenate([[rng.uniform(4, 9)], bends.ravel()])
    solved = minimize(
        lambda x: x[0],
        start,
        method="SLSQP",
        constraints=[
            {"type": "eq", "fun": gap, "jac": slopes(gap)},
            {"type": "ineq", "fun": room, "jac": slopes(room)},
        ],
        options={"maxiter": 150, "ftol": 1e-8},
    )
    good = np.abs(gap(solved.x)).max() < 1e-5 and end(solved.x)[1] @ arrival > 0
    return solved.x[0] if good and room(solved.x).min() > -1e-5 else math.inf


@pytest.mark.long
def test_curves_solved_for_directly_end_at_the_proved_bound():
    """A library's optimiser, free to bend anywhere, comes down to the bound and never below."""
    rng = np.random.default_rng(7)
    near = 0
    for _ in range(6):
        goal, arrival = rng.normal(size=3), rng.normal(size=3)
        goal *= 4.5 / np.linalg.norm(goal)
        arrival /= np.linalg.norm(arrival)
        bound = lower_bound(HERE, X, goal, arrival, 1)
        length = min(transcribed(goal, arrival, 16, seed) for seed in range(4))
        assert length >= bound - 1e-4
        near += length < bound * 1.001
    assert near >= 4
