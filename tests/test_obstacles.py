"""Distances to all that stands in the way of a run, against coal, trimesh and scipy."""

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from run_oracles import body_distances, clutter, laid_distance, meshed, plate, round_hole, turned
from worlds import box, part, rod, world

from fitcheck.runs.obstacles import distance_at, inside, obstacles
from fitcheck.runs.route import Route
from fitcheck.runs.rows import Laid, world_rows

steady = settings(derandomize=True, deadline=None, max_examples=25)


def lane(name="lane", radius=6.5):
    """A run with a square bend, a sharp one and one of 20 degrees."""
    corners = np.array([[0, 0, 0], [120, 0, 0], [120, 150, 0], [40, 60, 120], [150, 0, 220]], float)
    return Laid(name, corners, 30.0, radius)


def least(scene, points, extra=None, runs=()):
    """Least distance less extra by other libraries, and of which body."""
    found = body_distances(scene, points, runs)
    names = list(found)
    table = np.array([found[name] - (extra or {}).get(name, 0.0) for name in names])
    return table.min(axis=0), table, names


@steady
@given(seed=st.integers(0, 2**31), square=st.booleans())
def test_distance_is_exact_in_any_clutter(seed, square):
    scene = clutter(seed, square=square)
    points = np.random.default_rng(seed).uniform(-60, 260, (60, 3))
    if square:
        points = np.round(points, -1)
    expected, table, names = least(scene, points)
    among = obstacles(scene)
    got, bodies = distance_at(among, points)
    # coal's distance of a rod is iterated to 1e-6.
    np.testing.assert_allclose(got, expected, atol=1e-5)
    where = [names.index(among.names[k]) for k in bodies]
    np.testing.assert_allclose(table[where, range(len(points))], expected, atol=1e-5)


@pytest.mark.long
@settings(steady, max_examples=1500)
@given(seed=st.integers(0, 2**31), square=st.booleans())
def test_distance_is_exact_in_any_clutter_long(seed, square):
    test_distance_is_exact_in_any_clutter.hypothesis.inner_test(seed, square)


@pytest.mark.parametrize(
    ("point", "distance"),
    [
        # Box of half sizes 10, 20, 30 about the origin: 3-4-5 past an edge, 2-3-6 past a corner.
        ((13, 24, 0), 5.0),
        ((12, 23, 36), 7.0),
        ((0, 0, 31), 1.0),
        ((10, 20, 30), 0.0),
        ((9, 0, 0), -1.0),
        ((0, 0, 0), -10.0),
    ],
)
def test_box_by_hand(point, distance):
    among = obstacles(world(part("a", box((-10, -20, -30), (10, 20, 30)))))
    assert distance_at(among, np.array([point], float))[0][0] == pytest.approx(distance, abs=1e-12)


@pytest.mark.parametrize(
    ("point", "distance"),
    [
        # Rod of radius 10 and half length 20 along z: beside it, past its end, 3-4-5 past its rim.
        ((15, 0, 5), 5.0),
        ((0, 3, 26), 6.0),
        ((0, 13, 24), 5.0),
        ((0, 0, 19), -1.0),
        ((8, 0, 0), -2.0),
    ],
)
def test_rod_by_hand(point, distance):
    among = obstacles(world(part("a", rod((0, 0, -20), (0, 0, 20), 20))))
    assert distance_at(among, np.array([point], float))[0][0] == pytest.approx(distance, abs=1e-12)


def test_a_run_laid_is_a_tube_and_not_its_corners():
    run = lane()
    points = np.random.default_rng(2).uniform(-50, 260, (400, 3))
    expected = laid_distance(run, points)
    got = distance_at(obstacles(world(), more=[run]), points)[0]
    # STEP^2 / 8 is 5e-5 mm; all points but those in the tube are 6.5 mm from its middle.
    np.testing.assert_allclose(got, expected, atol=1e-4)
    # On a bend of radius 30 at its middle: radius 30 - 10 from its centre is 10 - 6.5 off the tube.
    middle = np.array([90, 30, 0]) + 20 * np.array([1, -1, 0]) / np.sqrt(2)
    assert distance_at(obstacles(world(), more=[run]), middle[None])[0][0] == pytest.approx(3.5, abs=1e-12)


@steady
@given(seed=st.integers(0, 2**31), turn=st.sampled_from([1e-6, 0.3, np.pi / 2, 3.0, np.pi - 1e-3]))
def test_a_bend_of_any_turn(seed, turn):
    pose = turned(np.random.default_rng(seed), (10, 20, 30))
    take = 25 * np.tan(turn / 2) + 10
    way = np.array([np.cos(turn), np.sin(turn), 0.0])
    run = Laid("run", pose.point(np.array([[-take, 0, 0], [0, 0, 0], take * way])), 25.0, 2.0)
    points = run.route.sample(5.0)[:40] + np.random.default_rng(seed).normal(0, 20, (1, 3))
    near = laid_distance(run, points)
    got = distance_at(obstacles(world(), more=[run]), points)[0]
    np.testing.assert_allclose(got[near > -1], near[near > -1], atol=1e-4)


def test_extra_of_a_solid_goes_before_its_parts_and_its_groups():
    floor, lid = box((0, 0, 0), (10, 10, 1)), box((0, 0, 50), (10, 10, 51))
    scene = world(part("case.tray", floor, lid, group="case"), part("pump", box((30, 0, 0), (40, 10, 50))))
    names = {"case": 1.0, "case.tray": 2.0, "case.tray.body_2": -3.0, "pump": 4.0}
    among = obstacles(scene, extra=names)
    assert among.names == ("case.tray.body", "case.tray.body_2", "pump.body")
    points = np.array([[5, 5, 11], [5, 5, 45], [45, 5, 20]], float)
    assert distance_at(among, points)[0].tolist() == pytest.approx([8.0, 8.0, 1.0])
    assert distance_at(obstacles(scene, extra={"case": 1.0}), points)[0].tolist() == pytest.approx([9, 4, 5])


def test_extra_decides_which_is_nearest():
    scene = world(part("a", box((0, 0, 0), (10, 10, 10))), part("b", box((40, 0, 0), (50, 10, 10))))
    at = np.array([[20.0, 5, 5]])
    assert distance_at(obstacles(scene), at) == (pytest.approx([10.0]), [0])
    assert distance_at(obstacles(scene, extra={"b": 15.0}), at) == (pytest.approx([5.0]), [1])
    assert distance_at(obstacles(scene, extra={"a": -30.0}), at) == (pytest.approx([20.0]), [1])


@steady
@given(seed=st.integers(0, 2**31))
def test_extras_runs_and_skips_together(seed):
    rng = np.random.default_rng(seed)
    scene, runs = clutter(seed, count=10), [lane("one"), lane("two", 3.0)]
    extra = {f"p{k}": float(rng.uniform(-20, 20)) for k in range(10)} | {"one": 2.5}
    points = rng.uniform(-60, 260, (40, 3))
    solids = {f"{name}.body": value for name, value in extra.items()} | {"one": 2.5}
    kept = world(*(one for one in scene.parts if one.name not in ("p3", "p7")))
    expected = least(kept, points, solids, [runs[0]])[0]
    got, bodies = distance_at(obstacles(scene, ("p3", "p7", "two"), extra, runs), points)
    np.testing.assert_allclose(got, expected, atol=1e-4)
    assert not set(bodies.tolist()) & {3, 7}


def test_cap_changes_nothing_below_it():
    scene = clutter(5)
    points = np.random.default_rng(5).uniform(-100, 300, (500, 3))
    free, _ = distance_at(obstacles(scene), points)
    for cap in (-2.0, 0.0, 3.0, 20.0):
        capped, bodies = distance_at(obstacles(scene), points, cap)
        np.testing.assert_array_equal(capped, np.minimum(free, cap))
        np.testing.assert_array_equal(bodies < 0, free >= cap)


def test_far_outside_the_grid_too():
    scene = clutter(8, count=6)
    points = np.random.default_rng(8).uniform(-3000, 3000, (50, 3))
    np.testing.assert_allclose(distance_at(obstacles(scene), points)[0], least(scene, points)[0], atol=1e-4)


def test_nothing_in_the_way():
    at = np.zeros((2, 3))
    for among in (obstacles(world()), obstacles(world(part("a", box((0, 0, 0), (1, 1, 1)))), skip=["a"])):
        assert distance_at(among, at, 60.0)[0].tolist() == [60.0, 60.0]
        assert distance_at(among, at)[1].tolist() == [-1, -1]
        assert inside(among, at).tolist() == [-1, -1]


def test_through_a_real_hole_and_not_through_the_sheet():
    scene = world(part("plate", plate(0.5, round_hole(20))))
    points = np.array([[0, 0, 0], [6, 0, 0], [50, 0, 0.25], [50, 0, 0], [50, 0, 3.25]], float)
    got = distance_at(obstacles(scene), points)[0]
    # Rim of 512 corners: at most 0.0004 mm nearer than the circle. In the sheet its faces are 0.25 off.
    assert got.tolist() == pytest.approx([10.0, 4.0, 0.0, 0.25, 3.0], abs=4e-4)


def test_inside_a_closed_mesh_only():
    outer, hollow = trimesh.creation.icosphere(3, 50), trimesh.creation.icosphere(3, 30)
    hollow.invert()
    ball = meshed(trimesh.util.concatenate([outer, hollow]))
    bowl = meshed(trimesh.creation.icosphere(3, 50).slice_plane((0, 0, 0), (0, 0, -1)), closed=False)
    scene = world(
        part("ball", ball, pose=turned(np.random.default_rng(3), (100, 0, 0))),
        part("bowl", bowl, pose=turned(np.random.default_rng(3), (300, 0, 0))),
        part("box", box((-10, -10, -10), (10, 10, 10))),
    )
    points = np.array([[140, 0, 0], [100, 0, 0], [300, 1, -1], [0, 0, 0], [100, 60, 0]], float)
    # In the wall of the hollow ball; in its hollow; in an open bowl; in a box; outside.
    assert inside(obstacles(scene), points).tolist() == [0, -1, -1, -1, -1]
    assert inside(obstacles(scene, skip=["ball"]), points).tolist() == [-1] * 5


def test_one_more_run_or_clearance_leaves_trees_and_meshes_as_they_are():
    scene = clutter(4)
    before = obstacles(scene)
    after = obstacles(scene, skip=["p1"], extra={"p2": 3.0}, more=[lane()])
    assert after.solids.trees.corners is before.solids.trees.corners
    assert world_rows(scene) is world_rows(scene)
    # A world made anew of the same parts, as one with its runs laid is, keeps the trees of its meshes.
    meshes = [p.mesh for one in scene.parts for s in one.shape.solids.values() for p in s.pieces if p.mesh]
    assert meshes
    again = obstacles(world(*scene.parts))
    np.testing.assert_array_equal(again.solids.trees.corners, before.solids.trees.corners)


def test_a_route_as_long_as_it_is_laid():
    run = lane()
    assert isinstance(run.route, Route)
    assert run.route.radius == 30.0


@steady
@given(seed=st.integers(0, 2**31), square=st.booleans())
def test_the_cells_of_a_world_serve_each_of_its_runs(seed, square):
    # Some asked to come nearer to, some to keep from, and a run laid: the cells made for the world are changed.
    random = np.random.default_rng(seed)
    scene = clutter(seed, count=24, square=square)
    names = [one.name for one in scene.parts]
    extra = {
        name: float(random.choice([0.0, -0.5, -11.9, 25.0]))
        for name in random.choice(names, 10, replace=False)
    }
    lanes = [lane()] if seed % 3 else []
    points = random.uniform(-60, 260, (60, 3))
    _, table, own = least(scene, points, None, lanes)
    table = table - np.array([[extra.get(name.partition(".")[0], 0.0)] for name in own])
    got, _ = distance_at(obstacles(scene, extra=extra, more=lanes), points)
    np.testing.assert_allclose(got, table.min(axis=0), atol=1e-5)
