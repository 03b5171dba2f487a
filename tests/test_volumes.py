"""Overlap volumes and ways out against counted cubes, closed forms and plane geometry."""

from __future__ import annotations

import os
import subprocess
import sys
from collections import OrderedDict
from pathlib import Path

import lattice
import manifold3d
import numpy as np
import pytest
import worlds
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon
from test_trees import measure, open_block, placed, turned
from worlds import bodies_of

from fitcheck.parts.solids import Kind
from fitcheck.world import engine, kernels, pairs, trees, volumes
from fitcheck.world.contacts import beyond_zone
from fitcheck.world.frames import SIDES, turn_about
from fitcheck.world.prisms import facets
from fitcheck.world.trees import Pose
from fitcheck.world.world import Zone

seeds = st.integers(0, 2**32 - 1)
quick = settings(derandomize=True, deadline=None, max_examples=150)
long = settings(derandomize=True, deadline=None, max_examples=3000)


def cubes_pair(seed, reach=3):
    rng = np.random.default_rng(seed)
    a, b = (lattice.grown(rng, 4, int(rng.integers(1, 16))) for _ in range(2))
    return a, lattice.shifted(b, rng.integers(-reach, reach + 1, 3)), float(rng.choice([1, 5, 20]))


# ---- overlap


@quick
@given(seeds)
def test_volume_and_bounds_of_cubes(seed):
    a, b, edge = cubes_pair(seed)
    found = engine.overlap(bodies_of(lattice.piece(a, edge), lattice.piece(b, edge)), 0, 1)
    both = np.array(sorted(a & b))
    assert found.known
    assert found.volume == pytest.approx(len(both) * edge**3, abs=1e-6)
    if len(both):
        assert found.bounds == pytest.approx(
            np.array([both.min(axis=0), both.max(axis=0) + 1]) * edge, abs=1e-9
        )
    else:
        assert found.bounds is None


@settings(quick, max_examples=50)
@given(seeds)
def test_volume_of_turned_boxes_against_plane_geometry(seed):
    """Boxes turned about z: area of two rectangles in common (shapely) times common height."""
    rng = np.random.default_rng(seed)
    low, high, turn = rng.uniform(-20, 0, 3), rng.uniform(1, 20, 3), rng.uniform(0, 360)
    corners = np.array([[-7, -4], [7, -4], [7, 4], [-7, 4]])
    spin = turn_about(np.array([0.0, 0, 1]), turn)
    area = Polygon(corners @ spin[:2, :2].T).intersection(
        Polygon([low[:2], (high[0], low[1]), high[:2], (low[0], high[1])])
    ).area  # fmt: skip
    height = min(high[2], 3) - max(low[2], -3)
    other = placed(worlds.box([-7, -4, -3], [7, 4, 3]), spin, np.zeros(3))
    found = engine.overlap(bodies_of(worlds.box(low, high), other), 0, 1)
    assert found.volume == pytest.approx(area * height, rel=1e-9, abs=1e-6)


def test_volume_of_a_rod_in_a_box():
    """Half of a rod of 20 x 100: pi 10^2 x 50, less what the facets lose (0.005 of 10 at most twice over)."""
    found = engine.overlap(
        bodies_of(worlds.rod([0, 0, -50], [0, 0, 50], 20), worlds.box([-30, -30, 0], [30, 30, 90])), 0, 1
    )
    assert found.volume == pytest.approx(np.pi * 100 * 50, rel=1e-3)
    assert found.volume < np.pi * 100 * 50
    assert found.bounds == pytest.approx(np.array([[-10, -10, 0], [10, 10, 50]]), abs=1e-9)


def test_pieces_of_one_solid_count_once():
    """Two boxes of one solid share 10 x 10 x 10; the other part holds both."""
    tube = worlds.part("tube", worlds.box([0, 0, 0], [30, 10, 10]))
    second = worlds.box([20, 0, 0], [50, 10, 10])
    solid = next(iter(tube.shape.solids.values()))
    tube.shape.solids["body"] = type(solid)("body", (*solid.pieces, second))
    found = engine.overlap(
        engine.bodies(worlds.world(tube, worlds.part("block", worlds.box([-5] * 3, [60] * 3)))), 0, 1
    )
    assert found.volume == pytest.approx(50 * 10 * 10)


def test_open_mesh_has_no_volume():
    found = engine.overlap(bodies_of(open_block([0]), worlds.box([2, 2, 2], [4, 4, 4])), 0, 1)
    assert not found.known
    assert np.isnan(found.volume)


def test_inside_out_mesh_is_turned():
    points, faces = lattice.surface(frozenset({(0, 0, 0)}), 10.0)
    found = engine.overlap(
        bodies_of(worlds.mesh(points, faces[:, ::-1]), worlds.box([5, 0, 0], [20, 10, 10])), 0, 1
    )
    assert found.volume == pytest.approx(500)


# ---- depth


@pytest.mark.parametrize("depth", [0.011, 0.05, 1.0, 3.0])
@pytest.mark.parametrize("edge", [1.0, 10.0])
def test_depth_of_a_slab_of_overlap(depth, edge):
    """An L-shaped bracket, a block flush with its floor and pressed into its wall."""
    bracket = lattice.piece(frozenset({(0, 0, 0), (1, 0, 0), (2, 0, 0), (0, 0, 1), (0, 0, 2)}), edge)
    block = worlds.box([edge - depth * edge / 10, 0, edge], [2 * edge, edge, 2 * edge])
    found = measure(bracket, block)
    expected = depth * edge / 10
    if expected <= engine.CONTACT:
        assert not found.interferes
    else:
        assert found.depth == pytest.approx(expected, abs=1e-6)
        assert found.normal == pytest.approx([1, 0, 0], abs=1e-9)


def check_depth_frees(seed):
    """Moved by the depth along the normal the pair only touches: a true way out, and no shorter by axes."""
    a, b, edge = cubes_pair(seed, reach=2)
    rng = np.random.default_rng(seed)
    turn = turned(rng) if seed % 2 else np.eye(3)
    one, other = lattice.piece(a, edge), placed(lattice.piece(b, edge), turn, np.zeros(3))
    found = measure(one, other)
    if not found.interferes:
        return
    after = measure(one, placed(other, np.eye(3), found.depth * found.normal))
    assert not after.interferes
    if not seed % 2:
        by_axes = min(lattice.way_out(b, a, side.astype(int)) for side in SIDES.values())
        assert found.depth <= by_axes * edge + 1e-6


@settings(quick, max_examples=60)
@given(seeds)
def test_depth_is_a_true_way_out(seed):
    check_depth_frees(seed)


def test_a_relation_is_asked_once_wherever_it_stands():
    """The same two, moved together: the volumes are not asked again, and points and normal move along."""
    one = lattice.piece(frozenset({(0, 0, 0), (1, 0, 0), (0, 1, 0)}), 7.0)
    other = placed(one, np.eye(3), np.array([3.0, 4.0, 5.0]))
    here = measure(one, other)
    turn = turn_about(np.array([0.0, 0, 1]), 90)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(volumes, "shortest_way_out", None)
        there = measure(placed(one, turn, np.full(3, 50.0)), placed(other, turn, np.full(3, 50.0)))
    assert here.depth == there.depth > 0
    assert there.normal == pytest.approx(turn @ here.normal, abs=1e-12)
    assert there.on_a == pytest.approx(turn @ here.on_a + 50, abs=1e-9)


@settings(quick, max_examples=40)
@given(seeds)
def test_solids_of_many_faces_are_cut_down_without_a_trace(seed):
    """The same pair, with every solid counted as one of many faces: the same depth."""
    a, b, edge = cubes_pair(seed, reach=2)
    turn = turned(np.random.default_rng(seed)) if seed % 2 else np.eye(3)
    one, other = lattice.piece(a, edge), placed(lattice.piece(b, edge), turn, np.zeros(3))
    whole = measure(one, other)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(volumes, "MANY", 0)
        patch.setattr(pairs, "_ways_out", OrderedDict())
        cut = measure(one, other)
    assert cut.interferes == whole.interferes
    assert cut.depth == pytest.approx(whole.depth, abs=1e-9)


@pytest.mark.long
@long
@given(seeds)
def test_depth_is_a_true_way_out_long(seed):
    check_depth_frees(seed)


@settings(quick, max_examples=80)
@given(seeds)
def test_depth_of_turned_boxes_of_triangles(seed):
    """Exact shortest way of two boxes (15 axes) is never beaten, and nearly reached where it is shallow."""
    rng = np.random.default_rng(seed)
    ours, theirs, turn = rng.uniform(5, 20, 3), rng.uniform(5, 20, 3), turned(rng)
    away = rng.normal(size=3)
    away *= rng.uniform(5, 25) / np.linalg.norm(away)
    exact = kernels.measure_pairs(
        [0, 0], np.array([ours, theirs]), np.array([np.eye(3), turn]), np.array([np.zeros(3), away]), [(0, 1)]
    )
    mesh = worlds.mesh(trees.BOX_CORNERS * ours, trees.BOX_FACES)
    found = measure(mesh, placed(worlds.box(-theirs, theirs), turn, away))
    if exact.depth[0] <= engine.CONTACT:
        assert found.depth <= engine.CONTACT or found.depth == pytest.approx(exact.depth[0], abs=1e-6)
        return
    assert found.depth >= exact.depth[0] - 1e-6
    assert found.depth <= 2.5 * exact.depth[0]


# ---- films, slivers, and what is thick beside them


def solid(*added, without=()):
    """A mesh of boxes (low, high) united, less others."""

    def boxes(several):
        cubes = [
            manifold3d.Manifold.cube(tuple(np.subtract(high, low).astype(float))).translate(low)
            for low, high in several
        ]
        return manifold3d.Manifold.batch_boolean(cubes, manifold3d.OpType.Add)

    whole = boxes(added) - boxes(without) if without else boxes(added)
    found = whole.to_mesh64()
    return worlds.mesh(np.asarray(found.vert_properties)[:, :3], np.asarray(found.tri_verts).astype(int))


PLATE = ((0, 0, 0), (300, 300, 10))


@pytest.mark.parametrize("film", [0.0, 1e-5, 3e-5])
@pytest.mark.parametrize("edge", [0.5, 1.0])
def test_a_pin_in_a_plate_is_not_lost_in_the_film_about_it(film, edge):
    """A large plate on another, flush or deeper by rounding, with a pin 1 mm into it at x, y 100."""
    upper = solid(((0, 0, 10 - film), (300, 300, 20)), ((100, 100, 9), (100 + edge, 100 + edge, 15)))
    for one, other in ((solid(PLATE), upper), (upper, solid(PLATE))):
        bodies = bodies_of(one, other)
        (found,) = engine.measure(bodies, [(0, 1)])
        assert found.depth == pytest.approx(1.0, abs=1e-6)
        assert abs(found.normal @ [0, 0, 1]) == pytest.approx(1.0)
        assert engine.overlap(bodies, 0, 1).volume == pytest.approx(edge**2 + film * 300**2, rel=0.01)
        assert engine.travel(bodies, [1], "top", 50.0).overlaps
    # The pin leaves the plate after 100 + edge to the left, 300 - 100 to the right, 1 upwards.
    ways = engine.side_moves(bodies, [0], [1], 1000.0)
    for side, way in (("left", 100 + edge), ("right", 200), ("top", 1), ("bottom", 20)):
        assert ways[side] == pytest.approx(way, abs=1e-3)


def test_film_alone_is_a_contact():
    for film in (0.0, 1e-5, 3e-5):
        bodies = bodies_of(
            solid(PLATE), solid(((0, 0, 10 - film), (300, 300, 20)), ((9, 9, 12), (20, 20, 40)))
        )
        (found,) = engine.measure(bodies, [(0, 1)])
        assert not found.interferes
        assert engine.overlap(bodies, 0, 1).volume == 0
        assert set(engine.side_moves(bodies, [1], [0], 1000.0).values()) == {0}


def block_with_a_hole(radius, deep):
    """40 x 40 x 80 with a round hole from its top, facets a little other than a rod's."""
    hole = manifold3d.Manifold.cylinder(deep, radius, radius, facets(radius) + 1).translate((0, 0, 80 - deep))
    cube = manifold3d.Manifold.cube((40.0, 40.0, 80.0)).translate((-20, -20, 0))
    found = (cube - hole).to_mesh64()
    return worlds.mesh(np.asarray(found.vert_properties)[:, :3], np.asarray(found.tri_verts).astype(int))


@pytest.mark.parametrize(("radius", "deep"), [(1.5, 60), (4, 50), (8, 20)])
@pytest.mark.parametrize("over", [0.0, 0.03, 0.1, 0.2, 1.0])
def test_a_rod_that_fills_its_hole_may_be_too_long_for_it(radius, deep, over):
    """Its side shares a sliver with the facets of the hole; what counts is how far it goes too deep."""
    rod = worlds.rod([0, 0, 80 - deep - over], [0, 0, 100], 2 * radius)
    for pieces in ((block_with_a_hole(radius, deep), rod), (rod, block_with_a_hole(radius, deep))):
        (found,) = engine.measure(bodies_of(*pieces), [(0, 1)])
        assert found.interferes == (over > 0)
        assert found.depth == pytest.approx(over, abs=1e-6)
    ways = engine.side_moves(bodies_of(*pieces), [0], [1], 1000.0)
    assert over <= ways["top"] <= over + 0.01
    # Out through the wall: its radius and half of 40 mm.
    assert min(ways[side] for side in ("left", "right", "front", "rear")) == pytest.approx(
        20 + radius, abs=0.01
    )


def test_a_thread_too_long_for_its_bore_sticks_out_of_the_zone():
    """The bore takes 50, the rod goes 50.1 in: 0.1 past the end, though its side is a sliver."""
    zone = Zone(np.array([0.0, 0, 80]), np.array([0.0, 0, -1]), 4.05, 50.0)
    bodies = bodies_of(block_with_a_hole(4, 50), worlds.rod([0, 0, 29.9], [0, 0, 100], 8))
    for i, j in ((0, 1), (1, 0)):
        beyond = beyond_zone(bodies, i, j, zone)
        assert (beyond.end, beyond.side, beyond.mouth) == pytest.approx((0.1, 0, 0), abs=1e-6)


# ---- ways out


@quick
@given(seeds)
def test_way_out_of_cubes(seed):
    """The first free move along each side, whatever inner corners and channels there are."""
    a, b, edge = cubes_pair(seed)
    found = engine.side_moves(bodies_of(lattice.piece(a, edge), lattice.piece(b, edge)), [0], [1], 1000.0)
    for side, direction in SIDES.items():
        assert found[side] == pytest.approx(edge * lattice.way_out(a, b, direction.astype(int)), abs=1e-6)


def test_way_out_stops_in_the_first_gap():
    """A comb: teeth of 1 with gaps of 2; a block of 1 in the first tooth moves 1, not past all."""
    comb = lattice.piece(
        frozenset({(x, 0, z) for x in (0, 3, 6) for z in (1, 2)} | {(x, 0, 0) for x in range(7)}), 10.0
    )
    block = worlds.box([0, 0, 15], [10, 10, 25])
    found = engine.side_moves(bodies_of(block, comb), [0], [1], 1000.0)
    assert found["right"] == pytest.approx(10)
    assert found["left"] == pytest.approx(10)
    assert found["top"] == pytest.approx(15)
    assert found["bottom"] == pytest.approx(25)


def test_way_out_of_several_solids_together():
    """Two blocks of one part in one wall, 3 and 7 deep: the deeper decides."""
    part = worlds.part("fan", worlds.box([-10, 0, 0], [3, 5, 5]), worlds.box([-10, 10, 0], [7, 15, 5]))
    wall = worlds.part("wall", worlds.box([0, -50, -50], [2, 50, 50]))
    found = engine.side_moves(engine.bodies(worlds.world(part, wall)), [0, 1], [2], 60.0)
    assert found["left"] == pytest.approx(7)
    assert found["right"] == pytest.approx(12)
    assert found["rear"] == pytest.approx(50)
    assert found["bottom"] == pytest.approx(55)
    assert "front" not in found  # 15 + 50 is beyond the limit


def test_way_out_with_a_rod_is_never_too_short():
    """A rod of 20 across, 4 into a wall: 4 to 4.01."""
    found = engine.side_moves(
        bodies_of(worlds.rod([0, 0, -50], [0, 0, 50], 20), worlds.box([6, -90, -90], [8, 90, 90])),
        [0],
        [1],
        50.0,
    )
    assert 4.0 <= found["left"] <= 4.01
    assert 18.0 - 2 <= found["right"] <= 18.01


def test_way_out_beyond_the_limit_or_of_an_open_mesh_is_left_out():
    block, wall = worlds.box([0, 0, 0], [3, 3, 3]), worlds.box([2, -50, -50], [4, 50, 50])
    assert set(engine.side_moves(bodies_of(block, wall), [0], [1], 5.0)) == {"left", "right"}
    assert engine.side_moves(bodies_of(block, open_block([0])), [0], [1], 50.0) == {}


def check_way_out_turned(seed):
    """Turned meshes: free at the way out, not free just before it."""
    rng = np.random.default_rng(seed)
    cubes = [lattice.grown(rng, 3, int(rng.integers(1, 8))) for _ in range(2)]
    one = placed(lattice.piece(cubes[0], 10.0), turned(rng), np.zeros(3))
    other = placed(lattice.piece(cubes[1], 10.0), turned(rng), rng.uniform(-10, 10, 3))
    bodies = bodies_of(one, other)
    before = engine.overlap(bodies, 0, 1)
    for side, way in engine.side_moves(bodies, [0], [1], 1000.0).items():
        if way == 0:
            assert before.volume < 1e-2
            continue
        at = engine.overlap(bodies.shifted([0], way * SIDES[side]), 0, 1)
        just_before = engine.overlap(bodies.shifted([0], (way - 0.05) * SIDES[side]), 0, 1)
        assert at.volume < 1e-2
        assert just_before.volume > at.volume


@settings(quick, max_examples=40)
@given(seeds)
def test_way_out_of_turned_meshes(seed):
    check_way_out_turned(seed)


@pytest.mark.long
@long
@given(seeds)
def test_way_out_of_turned_meshes_long(seed):
    check_way_out_turned(seed)


def test_solids_are_made_once():
    half = np.array([3.0, 3.0, 8.0])
    assert volumes.solid_of(Kind.CYLINDER, half, None) is volumes.solid_of(Kind.CYLINDER, half.copy(), None)
    solid = volumes.solid_of(Kind.BOX, half, None)
    away = volumes.moved(solid, Pose(turn_about(np.array([0.0, 1, 0]), 90), np.array([10.0, 0, 0])))
    assert volumes.bounds_of(away) == pytest.approx(np.array([[2, -3, -3], [18, 3, 3]]))


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="no count of threads here")
@pytest.mark.parametrize("alone", [True, False])
def test_processes_beside_each_other_share_volumes_with_no_threads(alone):
    """What is much for the library to do takes threads of its own where it may, and none where it may not."""
    code = f"""
import os
from fitcheck.world.volumes import Solid, use_one_thread
before = len(os.listdir("/proc/self/task"))
{"use_one_thread()" if alone else ""}
one, other = Solid.sphere(10.0, 256), Solid.sphere(9.0, 200)
for k in range(6):
    (one ^ other.translate((3.0 + k / 10, 0.0, 0.0))).volume()
print(len(os.listdir("/proc/self/task")) - before, len(os.sched_getaffinity(0)))
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    more, processors = map(int, done.stdout.split())
    assert processors == len(os.sched_getaffinity(0))
    assert (more == 0) == (alone or processors == 1)
