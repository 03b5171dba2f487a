"""The engine's questions about bodies: near, measure, travel, probe, what a move runs into."""

from __future__ import annotations

import coal
import lattice
import numpy as np
import pytest
import worlds
from hypothesis import given, settings
from hypothesis import strategies as st
from test_trees import open_block, placed, quarter_turned, sheet, turned
from worlds import bodies_of

from fitcheck.parts.features import Shape
from fitcheck.parts.solids import Kind, Solid
from fitcheck.world import engine
from fitcheck.world.frames import SIDES, Frame, turn_about
from fitcheck.world.world import Part

seeds = st.integers(0, 2**32 - 1)
quick = settings(derandomize=True, deadline=None, max_examples=150)
long = settings(derandomize=True, deadline=None, max_examples=3000)


def one_part(name, *solids, pose=None):
    """A part with solids of several pieces each."""
    named = {f"s{k}": Solid(f"s{k}", tuple(pieces)) for k, pieces in enumerate(solids)}
    frame = pose or Frame(np.eye(3), np.zeros(3))
    return Part(name, name, "thing", frame, Shape(solids=named))


# ---- bodies


def test_bodies_are_solids_in_the_order_of_the_world():
    tube = one_part("tube", [worlds.box([0, 0, 0], [1, 1, 1]), worlds.box([1, 0, 0], [2, 1, 1])],
                    [worlds.rod([0, 0, 5], [0, 0, 9], 2)],
                    pose=Frame(turn_about(np.array([0.0, 0, 1]), 90), np.array([10.0, 0, 0])))  # fmt: skip
    found = engine.bodies(worlds.world(worlds.part("case", worlds.box([0, 0, 0], [5, 6, 7])), tube))
    assert [b.name for b in found.all] == ["case.body", "tube.s0", "tube.s1"]
    assert [(b.part, b.pieces) for b in found.all] == [(0, slice(0, 1)), (1, slice(1, 3)), (1, slice(3, 4))]
    # Turned by 90: x runs to +y; 0..2 along x becomes 0..2 along y, 0..1 along y becomes -1..0 along x.
    assert found.all[1].bounds == pytest.approx(np.array([[9, 0, 0], [10, 2, 1]]))
    assert found.all[2].bounds == pytest.approx(np.array([[9, -1, 5], [11, 1, 9]]))


def test_bodies_are_made_once_for_a_world():
    world = worlds.world(worlds.part("case", worlds.box([0, 0, 0], [5, 6, 7])))
    assert engine.bodies(world) is engine.bodies(world)


def test_empty_world_and_empty_part():
    none = engine.bodies(worlds.world())
    assert len(none) == 0
    assert engine.near(none, 5.0).shape == (0, 2)
    assert engine.measure(none, [], 5.0) == []
    hollow = engine.bodies(
        worlds.world(one_part("ghost"), worlds.part("a", worlds.box([0, 0, 0], [1, 1, 1])))
    )
    assert [b.name for b in hollow.all] == ["a.body"]


# ---- near


@quick
@given(seeds)
def test_near_is_all_pairs_of_different_parts_within_reach(seed):
    rng = np.random.default_rng(seed)
    parts = []
    for k in range(6):
        lows = rng.integers(0, 40, (2, 3))
        parts.append(worlds.part(f"p{k}", *(worlds.box(low, low + rng.integers(1, 9, 3)) for low in lows)))
    bodies = engine.bodies(worlds.world(*parts))
    reach = float(rng.integers(0, 20))
    expected = []
    for i, a in enumerate(bodies.all):
        for j, b in enumerate(bodies.all):
            gap = max(max(a.bounds[0][k] - b.bounds[1][k], b.bounds[0][k] - a.bounds[1][k]) for k in range(3))
            if i < j and a.part != b.part and gap <= reach:
                expected.append([i, j])
    assert engine.near(bodies, reach).tolist() == expected
    by_pair = np.full((12, 12), reach)
    by_pair[3], by_pair[:, 3] = -1e9, -1e9
    assert engine.near(bodies, by_pair).tolist() == [p for p in expected if 3 not in p]


# ---- measure


def test_least_over_the_pieces_of_a_solid():
    """A bent tube of three boxes: the last is 4 from the wall, the first 30."""
    tube = one_part("tube", [worlds.box([0, 0, 0], [10, 2, 2]), worlds.box([10, 0, 0], [30, 2, 2]),
                             worlds.box([30, 0, 0], [36, 2, 2])])  # fmt: skip
    for wall in (worlds.box([40, -9, -9], [42, 9, 9]), lattice.piece(frozenset({(0, 0, 0)}), 9.0)):
        other = wall if wall.kind == Kind.BOX else placed(wall, np.eye(3), np.array([40.0, 0, 0]))
        bodies = engine.bodies(worlds.world(tube, worlds.part("wall", other)))
        (found,) = engine.measure(bodies, [(0, 1)], 100.0)
        assert found.distance == pytest.approx(4)
        assert found.on_a[0] == pytest.approx(36)
        assert found.on_b[0] == pytest.approx(40)
        assert found.normal == pytest.approx([1, 0, 0])


def test_deepest_piece_decides():
    tube = one_part("tube", [worlds.box([0, 0, 0], [10, 2, 2]), worlds.box([0, 10, 0], [13, 12, 2])])
    bodies = engine.bodies(worlds.world(tube, worlds.part("wall", worlds.box([9, -90, -90], [99, 90, 90]))))
    (found,) = engine.measure(bodies, [(0, 1)], 0.0)
    assert found.depth == pytest.approx(13 - 9)


@quick
@given(seeds)
def test_beyond_what_was_asked_is_a_lower_bound(seed):
    """Never above the true distance, always above what was asked, never called a contact."""
    rng = np.random.default_rng(seed)
    a, b = (lattice.grown(rng, 4, 8) for _ in range(2))
    b = lattice.shifted(b, rng.integers(-9, 10, 3))
    bodies = bodies_of(lattice.piece(a, 10.0), lattice.piece(b, 10.0))
    (found,) = engine.measure(bodies, [(0, 1)], 7.0)
    expected = 10 * lattice.distance(a, b)
    if found.beyond:
        assert 7 < found.distance <= expected + 1e-9
        assert not found.interferes
    elif not found.interferes:
        assert found.distance == pytest.approx(expected, abs=1e-9)
    if expected <= 7:
        assert not found.beyond


def test_each_pair_has_its_own_reach():
    bodies = bodies_of(*(worlds.box([10 * k, 0, 0], [10 * k + 2, 2, 2]) for k in range(3)))
    near, far = engine.measure(bodies, [(0, 1), (0, 2)], np.array([9.0, 9.0]))
    assert (near.distance, near.beyond) == (8, False)
    assert far.beyond
    assert 9 < far.distance <= 18


def test_error_of_the_solids_is_handed_on():
    part = worlds.part("a", worlds.box([0, 0, 0], [1, 1, 1]))
    part.shape.solids["body"] = Solid("body", part.shape.solids["body"].pieces, error=0.25)
    bodies = engine.bodies(worlds.world(part, worlds.part("b", worlds.box([3, 0, 0], [4, 1, 1]))))
    assert engine.measure(bodies, [(0, 1)])[0].error == pytest.approx(0.25, abs=1e-9)


# ---- travel


def check_travel_of_cubes(seed):
    rng = np.random.default_rng(seed)
    a, b, c = (lattice.grown(rng, 4, int(rng.integers(1, 14))) for _ in range(3))
    b, c = (lattice.shifted(other, rng.integers(-6, 7, 3)) for other in (b, c))
    if lattice.shared(a, b) or lattice.shared(a, c):
        return
    edge = float(rng.choice([1, 10, 25]))
    bodies = bodies_of(lattice.piece(a, edge), lattice.piece(b, edge), lattice.piece(c, edge))
    for side, direction in SIDES.items():
        ways = {k: lattice.travel(a, other, direction.astype(int), 20) for k, other in ((1, b), (2, c))}
        blocked = {k: way for k, way in ways.items() if way is not None}
        found = engine.travel(bodies, [0], side, 20 * edge)
        assert not found.overlaps
        if not blocked:
            assert (found.distance, found.against) == (20 * edge, None)
        else:
            assert found.distance == pytest.approx(edge * min(blocked.values()), abs=1e-9)
            assert blocked[found.against] == min(blocked.values())


@quick
@given(seeds)
def test_travel_of_cubes_sliding_and_leaving_free(seed):
    check_travel_of_cubes(seed)


@pytest.mark.long
@long
@given(seeds)
def test_travel_of_cubes_sliding_and_leaving_free_long(seed):
    check_travel_of_cubes(seed)


def solid_in_coal(piece):
    if piece.kind == Kind.CYLINDER:
        return coal.Cylinder(float(piece.half[0]), float(2 * piece.half[2]))
    return coal.Box(*(2 * piece.half).tolist())


def advance(moving, staying, direction, limit):
    """First touch by safe steps of coal's distance; None when it passes by."""
    ours, theirs = solid_in_coal(moving), solid_in_coal(staying)
    still = coal.Transform3s(staying.rotation, staying.centre)
    way = 0.0
    for _ in range(3000):
        at = coal.Transform3s(moving.rotation, moving.centre + way * direction)
        step = coal.distance(ours, at, theirs, still, coal.DistanceRequest(), coal.DistanceResult())
        if step < 1e-5:
            return way
        way += step
        if way > limit:
            return None
    return way


def as_mesh(piece):
    """The same box as triangles."""
    if piece.kind == Kind.CYLINDER:
        return piece
    points, faces = lattice.surface(frozenset({(0, 0, 0)}))
    mesh = worlds.mesh((2 * points - 1) * piece.half, faces)
    return placed(mesh, piece.rotation, piece.centre)


def check_travel_of_turned_pieces(seed):
    """Boxes, boxes as meshes, and cylinders, in any direction, against another library."""
    rng = np.random.default_rng(seed)
    turn = quarter_turned if seed % 2 else turned
    direction = rng.normal(size=3)
    direction /= np.linalg.norm(direction)

    def thing():
        size = rng.uniform(2, 15)
        rod = rng.random() < 0.5
        piece = (
            worlds.rod([0, 0, -size], [0, 0, size], rng.uniform(4, 20))
            if rod
            else worlds.box([-size] * 3, [size, 5, 7])
        )
        return placed(piece, turn(rng), np.zeros(3))

    one, other = thing(), thing()
    one = placed(one, np.eye(3), -direction * rng.uniform(35, 80) + rng.uniform(-8, 8, 3))
    expected = advance(one, other, direction, 200.0)
    meshes = [(as_mesh(one), other), (one, as_mesh(other)), (as_mesh(one), as_mesh(other)), (one, other)]
    for a, b in meshes:
        found = engine.travel(bodies_of(a, b), [0], direction, 200.0)
        if expected is None or found.against is None:
            # One passes by, the other touches: a graze no deeper than a contact.
            if (expected is None) != (found.against is None):
                assert grazes(one, other, direction)
            continue
        mixed = {a.kind, b.kind} == {Kind.CYLINDER, Kind.MESH}
        if not grazes(one, other, direction):
            # Boxes and meshes to what coal's steps leave; a cylinder's prism may lose a little.
            assert found.distance == pytest.approx(expected, abs=0.01 if mixed else 5e-4)


def grazes(one, other, direction):
    """Is the pair free when the one that stays is moved aside a little?"""
    across = [side - (side @ direction) * direction for side in SIDES.values()]
    for way in across:
        if np.linalg.norm(way) < 0.3:
            continue
        moved = placed(other, np.eye(3), 0.05 * way / np.linalg.norm(way))
        if advance(one, moved, direction, 200.0) is None:
            return True
    return False


@settings(quick, max_examples=40)
@given(seeds)
def test_travel_of_turned_pieces_against_coal(seed):
    check_travel_of_turned_pieces(seed)


@pytest.mark.long
@settings(long, max_examples=1000)
@given(seeds)
def test_travel_of_turned_pieces_against_coal_long(seed):
    check_travel_of_turned_pieces(seed)


@pytest.mark.parametrize("kind", ["box", "mesh"])
def test_a_thin_sheet_stops_a_long_move(kind):
    """4 mm over 500 mm against 0.5 mm of sheet: sampling would step over it."""
    thing = worlds.box([20, 20, 300], [24, 24, 304])
    bodies = bodies_of(as_mesh(thing) if kind == "mesh" else thing, sheet(thickness=0.5))
    found = engine.travel(bodies, [0], "bottom", 600.0)
    assert (found.distance, found.against) == (pytest.approx(300), 1)


@pytest.mark.parametrize(("diameter", "stops"), [(19.9, False), (20.0, False), (20.2, True)])
def test_a_rod_goes_through_a_hole_that_takes_it(diameter, stops):
    bodies = bodies_of(worlds.rod([0, 0, 10], [0, 0, 90], diameter), sheet(hole=20.0))
    found = engine.travel(bodies, [0], "bottom", 500.0)
    assert (found.against is not None) == stops
    assert found.distance == pytest.approx(10 if stops else 500)


def test_all_solids_of_a_part_move_together_and_not_against_each_other():
    two = worlds.part("a", worlds.box([0, 0, 0], [5, 5, 5]), worlds.box([6, 0, 0], [9, 5, 5]))
    b = worlds.part("b", worlds.box([20, 0, 0], [25, 5, 5]))
    c = worlds.part("c", worlds.box([30, 0, 0], [35, 5, 5]))
    bodies = engine.bodies(worlds.world(two, b, c))
    found = engine.travel(bodies, [0, 1], "right", 100.0)
    assert (found.distance, found.against) == (pytest.approx(11), 2)
    found = engine.travel(bodies, [0, 1], "right", 100.0, skip=[2])
    assert (found.distance, found.against) == (pytest.approx(21), 3)
    assert engine.travel(bodies, [0, 1], "left", 100.0).against is None


@pytest.mark.parametrize("mesh", [False, True])
def test_what_interferes_before_the_move_is_named_and_the_way_is_nothing(mesh):
    thing = worlds.box([0, 0, 0], [10, 10, 10])
    bodies = bodies_of(as_mesh(thing) if mesh else thing, worlds.box([9, 2, 2], [20, 4, 4]),
                       worlds.box([-4, 0, 0], [0, 10, 10]))  # fmt: skip
    for side in SIDES:
        found = engine.travel(bodies, [0], side, 50.0)
        assert (found.distance, found.against, found.overlaps) == (0, 1, True)
    # Flush with the other and nothing in the way: 0 into it, free along it and away.
    assert engine.travel(bodies, [0], "left", 50.0, skip=[1]).distance == 0
    for side in ("right", "front", "rear", "top", "bottom"):
        assert engine.travel(bodies, [0], side, 50.0, skip=[1]).against is None


def test_open_mesh_slides_leaves_and_is_stopped():
    """A block of 10 with a triangle missing, flush on a table, a wall 3 beside it."""
    bodies = bodies_of(
        open_block([0]), worlds.box([-50, -50, -2], [50, 50, 0]), worlds.box([13, -50, 0], [15, 50, 50])
    )
    assert engine.travel(bodies, [0], "top", 100.0).against is None
    assert engine.travel(bodies, [0], "rear", 100.0).against is None
    assert engine.travel(bodies, [0], "bottom", 100.0).distance == pytest.approx(0)
    found = engine.travel(bodies, [0], "right", 100.0)
    assert (found.distance, found.against) == (pytest.approx(3), 2)


# ---- what a move runs into


def test_hits_after_names_what_is_newly_run_into():
    bodies = bodies_of(
        worlds.box([0, 0, 0], [10, 10, 10]), worlds.box([15, 0, 0], [20, 10, 10]),
        placed(lattice.piece(frozenset({(0, 0, 0)}), 10.0), np.eye(3), np.array([0, 0, 12.0])),
    )  # fmt: skip
    assert engine.hits_after(bodies, [0], "right", 4.0) == ()
    assert engine.hits_after(bodies, [0], "right", 5.0) == ()  # flush
    assert engine.hits_after(bodies, [0], "right", 6.0) == (1,)
    assert engine.hits_after(bodies, [0], "top", 2.5) == (2,)
    assert engine.hits_after(bodies, [0], "right", 6.0, ignore=[1]) == ()
    assert engine.hits_after(bodies, [0], "right", 0.0) == ()


# ---- probes


def cube(low, size):
    return worlds.box(low, np.add(low, size))


def test_probe_tells_the_nearest_and_what_it_hits():
    bodies = bodies_of(
        cube([0, 0, 0], 10),
        placed(lattice.piece(frozenset({(0, 0, 0)}), 10.0), np.eye(3), np.array([30.0, 0, 0])),
    )
    found = engine.probe(bodies, cube([14, 2, 2], 5), 50.0)
    assert (found.distance, found.nearest, found.hits) == (pytest.approx(4), 0, ())
    found = engine.probe(bodies, cube([14, 2, 2], 5), 50.0, ignore=[0])
    assert (found.distance, found.nearest) == (pytest.approx(11), 1)
    found = engine.probe(bodies, cube([9, 2, 2], 25))
    assert (found.distance, found.hits) == (0, (0, 1))
    assert engine.probe(bodies, cube([14, 2, 2], 5), 1.0).nearest is None
    # Flush is no hit; a rod may be asked too.
    assert engine.probe(bodies, cube([10, 0, 0], 20)).hits == ()
    assert engine.probe(bodies, worlds.rod([15, 5, 5], [40, 5, 5], 4)).hits == (1,)


def test_sweep_probe_stops_at_the_first_body():
    bodies = bodies_of(cube([0, 0, 0], 10), cube([30, 0, 0], 10))
    found = engine.sweep_probe(bodies, cube([15, 2, 2], 5), "right", 100.0)
    assert (found.distance, found.against) == (pytest.approx(10), 1)
    assert engine.sweep_probe(bodies, cube([15, 2, 2], 5), "right", 8.0).against is None
    assert engine.sweep_probe(bodies, cube([15, 2, 2], 5), "right", 100.0, ignore=[1]).against is None
    assert len(bodies) == 2


def test_probe_in_an_empty_world():
    none = engine.bodies(worlds.world())
    assert engine.probe(none, cube([0, 0, 0], 1), 5.0).nearest is None
    assert engine.sweep_probe(none, cube([0, 0, 0], 1), "left", 5.0).distance == 5


@pytest.mark.parametrize("pressed", [0.0, 0.002, 0.0059, 0.0061, 0.009, 0.02, 0.5])
@pytest.mark.parametrize("around", [False, True])
def test_a_mesh_pressed_into_a_cylinder(pressed, around):
    # Depth by hand: a flat face pressed in by so much is free after as much. A cylinder within the mesh is not.
    rod = worlds.rod([0, 0, 0], [0, 0, 50], 40)
    low, high = ([20 - pressed, -30, -5], [60, 30, 55]) if not around else ([-40, -40, -5], [40, 40, 55])
    corners, faces = lattice.surface(frozenset({(0, 0, 0)}), 1.0)
    unit = (corners - corners.min(axis=0)) / np.ptp(corners, axis=0)
    block = worlds.mesh(np.array(low) + unit * (np.array(high) - low), faces)
    (found,) = engine.measure(bodies_of(rod, block), [(0, 1)])
    if around:
        assert found.interferes
        assert found.depth == pytest.approx(55, abs=0.01)
        return
    assert found.distance == 0
    assert found.depth == pytest.approx(pressed, abs=found.error + 1e-9)
    assert found.error <= 0.007
    assert found.interferes == (pressed > engine.CONTACT)
