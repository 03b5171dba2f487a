"""Necks: holes of known size in tilted plates, closed walls, tight corners."""

from itertools import pairwise

import numpy as np
import pytest
import shapely
from run_oracles import body_distances, clutter, oblong_hole, plate, round_hole, turned
from scipy.spatial.distance import cdist
from worlds import box, part, rod, world

from fitcheck.runs.kernels import compiled
from fitcheck.runs.necks import FINEST, FLOOR, SLACK, _room, passes, widest
from fitcheck.runs.obstacles import distance_at, obstacles

# Between what was found and what is proved, mm in radius, and how near the demand is met: 0.1 in diameter.
NEAR = 0.051


def behind(pose, reach=70.0):
    """A place before and one behind a plate at this pose, and a room that its 300 mm close off."""
    ends = pose.point(np.array([[10, 15, -reach], [-20, 10, reach]]))
    return (*ends, pose.origin + np.array([[-80.0] * 3, [80.0] * 3]))


# The whole length of a slot is a neck: what does not pass is proved less near, and between rods what does.
ALONG = 1.1


def check(neck, radius, near=NEAR):
    """The bounds hold the true radius between them and are near each other."""
    assert neck.value <= radius + 1e-6
    assert neck.most >= radius - 1e-6
    assert neck.most - neck.value <= near


@pytest.mark.parametrize(
    ("hole", "width", "near"),
    [
        (round_hole(17), 17.0, NEAR),
        (round_hole(30), 30.0, NEAR),
        (shapely.box(-11, -11, 11, 11), 22.0, NEAR),
        pytest.param(oblong_hole(14, 40), 14.0, ALONG, marks=pytest.mark.long),
        (round_hole(24, x=30).union(round_hole(15, x=-30)), 24.0, NEAR),
        pytest.param(shapely.box(-40, -4, 40, 4), 8.0, ALONG, marks=pytest.mark.long),
    ],
)
@pytest.mark.parametrize(("seed", "thickness"), [(0, 0.5), pytest.param(1, 2.0, marks=pytest.mark.long)])
def test_hole_of_known_size(hole, width, near, seed, thickness):
    pose = turned(np.random.default_rng(seed + int(10 * width)), (3, -2, 5))
    neck = widest(obstacles(world(part("plate", plate(thickness, hole), pose=pose))), *behind(pose))
    # A polygon of 512 corners in a circle of 15 mm lacks 0.0003 mm.
    check(neck, width / 2 - 2e-4, near)
    assert neck.names == ("plate.body",)
    own = pose.inverse().point(neck.where)
    # The ball is held in the plate, at a place in the hole as far from its rim as the ball is wide.
    assert abs(own[2]) < thickness / 2 + 3
    rim = hole.boundary.distance(shapely.Point(*own[:2]))
    assert rim >= neck.value - np.sqrt(2) * NEAR
    assert hole.contains(shapely.Point(*own[:2]))


@pytest.mark.parametrize("thickness", [0.5, 2.0])
@pytest.mark.parametrize(
    ("hole", "width"),
    [(round_hole(17), 17.0), (shapely.box(-11, -11, 11, 11), 22.0), (oblong_hole(14, 40), 14.0)],
)
def test_what_passes_a_hole_by_a_hair(hole, width, thickness):
    pose = turned(np.random.default_rng(int(10 * width)), (3, -2, 5))
    among = obstacles(world(part("plate", plate(thickness, hole), pose=pose)))
    start, goal, room = behind(pose)
    assert passes(among, start, goal, width / 2 - 0.1, room)
    assert not passes(among, start, goal, width / 2 + (0.5 if width == 14 else 0.05), room)


@pytest.mark.parametrize("piece", [box((-150, -150, -1), (150, 150, 1)), plate(0.5)], ids=["box", "mesh"])
def test_nothing_passes_a_closed_wall(piece):
    pose = turned(np.random.default_rng(4), (1, 2, 3))
    start, goal, room = behind(pose)
    assert not passes(obstacles(world(part("wall", piece, pose=pose))), start, goal, 8.5, room)


def test_square_to_the_axes():
    # Boxes on whole numbers about a hole of 20 by 30, 2 mm thick: half of 20 passes.
    walls = [
        box((-150, -150, -1), (-10, 150, 1)), box((10, -150, -1), (150, 150, 1)),
        box((-10, -150, -1), (10, -15, 1)), box((-10, 15, -1), (10, 150, 1)),
    ]  # fmt: skip
    among = obstacles(world(*(part(f"wall{k}", piece) for k, piece in enumerate(walls))))
    neck = widest(among, np.array([0, 0, -70.0]), np.array([0, 0, 70.0]), np.array([[-80.0] * 3, [80.0] * 3]))
    check(neck, 10.0)
    assert {"wall0.body", "wall1.body"} <= set(neck.names)


@pytest.mark.parametrize(
    "piece",
    [box((-150, -150, -1), (150, 150, 1)), pytest.param(plate(0.5), marks=pytest.mark.long)],
    ids=["box", "mesh"],
)
def test_closed_wall(piece):
    pose = turned(np.random.default_rng(4), (1, 2, 3))
    neck = widest(obstacles(world(part("wall", piece, pose=pose))), *behind(pose))
    assert (neck.value, neck.most) == (0.0, FLOOR)
    assert neck.names == ("wall.body",)
    assert abs(pose.inverse().point(neck.where)[2]) <= 1.0 + 1e-6


def test_two_plates_in_a_row():
    first, second = plate(1.0, round_hole(30, x=20)), plate(1.0, round_hole(18, x=-20))
    high = turned(np.random.default_rng(6))
    low = high @ type(high)(np.eye(3), np.array([0, 0, 40.0]))
    scene = world(part("wide", first, pose=high), part("tight", second, pose=low))
    ends = high.point(np.array([[0, 0, -30], [0, 0, 70]]))
    neck = widest(obstacles(scene), *ends, np.array([[-80.0] * 3, [80.0] * 3]))
    check(neck, 9.0 - 2e-4)
    assert neck.names == ("tight.body",)


@pytest.mark.long
def test_between_three_rods():
    # Rods of radius 10 through the corners of a triangle of side 60: the middle is 60 / sqrt 3 from
    # each; a ball between two has 30 - 10. To get in it must pass between two of them: 20.
    corners = (
        60
        / np.sqrt(3)
        * np.array([[np.cos(t), np.sin(t)] for t in (0.1, 0.1 + 2 * np.pi / 3, 0.1 + 4 * np.pi / 3)])
    )
    scene = world(*(part(f"rod{k}", rod((x, y, -200), (x, y, 200), 20)) for k, (x, y) in enumerate(corners)))
    out = -2.5 * corners[0]
    region = np.array([[-110.0, -110, -60], [110, 110, 60]])
    neck = widest(obstacles(scene), np.zeros(3), np.array([*out, 10]), region)
    check(neck, 20.0, ALONG)
    # All three openings are as wide, and round the outside there is more room.
    assert len(neck.names) == 2
    # With 4 mm more asked of one, half of that from the opening beside it, and the other way is wider.
    tight = widest(obstacles(scene, extra={"rod1": 4.0}), np.zeros(3), np.array([*out, 10]), region)
    assert set(tight.names) == {"rod0.body", "rod2.body"}
    check(tight, 20.0, ALONG)


def test_an_end_in_a_tight_place():
    scene = world(part("a", box((-50, -50, 5), (50, 50, 9))), part("b", box((-50, -50, -9), (50, 50, -5))))
    region = np.array([[-100.0] * 3, [100.0] * 3])
    neck = widest(obstacles(scene), np.array([0.0, 0, 1]), np.array([90.0, 0, 0]), region)
    # It starts 4 mm from the upper board.
    check(neck, 4.0)
    np.testing.assert_allclose(neck.where, [0, 0, 1], atol=0.2)
    assert neck.names[0] == "a.body"
    inside = widest(obstacles(scene), np.array([0.0, 0, 7]), np.array([90.0, 0, 0]), region)
    assert (inside.value, inside.most) == (0.0, 0.0)


@pytest.mark.parametrize(("seed", "room"), [(0, 7.05), (1, 7.2), (2, 7.5)])
def test_no_cube_has_more_room_than_is_said(seed, room):
    """Between the walls of a slot of 14 mm too, where more is said than a cube's middle and size would."""
    pose = turned(np.random.default_rng(seed), (3, -2, 5))
    among = obstacles(world(part("plate", plate(2.0, oblong_hole(14, 40)), pose=pose)))
    start, goal, region = behind(pose)
    ends = np.array([start, goal])
    leaves = _room(among, ends, region)
    count = compiled.plant_leaves(leaves, among.solids, np.inf)
    for _ in range(12):
        count = compiled.halve_leaves(leaves, among.solids, count, ends, room, SLACK, FINEST)
    (kept,) = np.nonzero((leaves.children[:count] == 0) & np.isfinite(leaves.rooms[:count]))
    edges = leaves.pitch / 2.0 ** leaves.places[kept, 0]
    middles = np.array(leaves.low) + (leaves.places[kept, 1:] + 0.5) * edges[:, None]
    sharper = leaves.mosts[kept] < leaves.rooms[kept] + np.sqrt(3) / 2 * edges - 1e-9
    assert sharper.sum() > 10
    rng = np.random.default_rng(seed)
    for _ in range(20):
        points = middles + rng.uniform(-0.5, 0.5, middles.shape) * edges[:, None]
        in_it = (points <= leaves.high).all(axis=1)
        rooms = distance_at(among, points)[0]
        assert (rooms - leaves.mosts[kept])[in_it].max() <= 1e-9


@pytest.mark.parametrize("seed", range(3))
def test_in_clutter(seed):
    """The way found has the room said, and no way over a fine grid has more than is proved."""
    scene = clutter(seed, count=14, size=120.0)
    among = obstacles(scene)
    region = np.array([[-10.0] * 3, [130.0] * 3])
    spots = np.random.default_rng(seed).uniform(0, 120, (400, 3))
    rooms = distance_at(among, spots)[0]
    start, goal = spots[np.argsort(-rooms)[[0, 40]]]
    neck = widest(among, start, goal, region)
    assert neck.most - neck.value <= NEAR
    way = dense(neck.way)
    np.testing.assert_allclose(way[[0, -1]], [start, goal])
    least = np.min(list(body_distances(scene, way).values()), axis=0)
    assert least.min() >= neck.value - 1e-4
    assert cdist(way, neck.where[None]).min() < 1.0
    assert grid_way(among, start, goal, region, 3.0) <= neck.most + 1e-6


def dense(corners, step=1.0):
    """(n, 3) points along a polyline."""
    parts = [np.linspace(a, b, int(np.linalg.norm(b - a) / step) + 2) for a, b in pairwise(corners)]
    return np.concatenate(parts)


def grid_way(among, start, goal, region, pitch):
    """A lower bound by other means: the best spanning tree over a grid, less what an edge can lose."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    axes = [np.arange(region[0, k] + pitch / 2, region[1, k], pitch) for k in range(3)]
    points = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    shape = points.shape[:3]
    rooms = distance_at(among, points.reshape(-1, 3))[0].reshape(shape)
    number = np.arange(rooms.size).reshape(shape)
    ends = [
        np.ravel_multi_index(np.floor((end - region[0]) / pitch).astype(int), shape) for end in (start, goal)
    ]
    rows, columns = [], []
    for axis in range(3):
        a, b = np.moveaxis(number, axis, 0)[:-1].ravel(), np.moveaxis(number, axis, 0)[1:].ravel()
        rows.append(a)
        columns.append(b)
    a, b = np.concatenate(rows), np.concatenate(columns)
    least = np.minimum(rooms.ravel()[a], rooms.ravel()[b])
    low, high = 0.0, 60.0
    while high - low > 0.01:
        room = (low + high) / 2
        kept = least >= room
        graph = coo_array((np.ones(kept.sum()), (a[kept], b[kept])), shape=(rooms.size,) * 2)
        label = connected_components(graph, directed=False)[1]
        joined = label[ends[0]] == label[ends[1]] and rooms.ravel()[ends].min() >= room
        low, high = (room, high) if joined else (low, room)
    return low - pitch / 2
