"""Distances of meshes against every pair of features, another library, and points that prove them.

A distance found is never too small when its two points lie where they are said to; it is
never too large when no oracle knows a nearer pair.
"""

from __future__ import annotations

import itertools

import fcl
import lattice
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_trees import quarter_turned, turned

from fitcheck.parts.solids import Kind
from fitcheck.world import kernels
from fitcheck.world.kernels.crossings import UNSURE, turns_about
from fitcheck.world.kernels.descent import Asked, Forest, make_scratch, nearest_pairs
from fitcheck.world.kernels.tree import DEPTH, build_tree

seeds = st.integers(0, 2**32 - 1)
quick = settings(derandomize=True, deadline=None, max_examples=300)
long = settings(derandomize=True, deadline=None, max_examples=5_000)
HERE = np.eye(3), np.zeros(3)
# What least squares make of a point on a sliver 1e-12 thick.
OFF = 1e-10
CORNERS = [c for n in (1, 2, 3) for c in itertools.combinations(range(3), n)]


# ---- oracles


def feature_distance(one, other):
    """Least distance of two sets of triangles: for each choice of corners of both, least squares.

    The nearest points of two convex hulls are weighted means of some of their corners, free
    of the bounds on the weights: all 49 choices are tried for every pair of triangles.
    """
    t = np.repeat(one, len(other), axis=0)
    s = np.tile(other, (len(one), 1, 1))
    best = np.full(len(t), np.inf)
    one_point = (one == one[:, :1]).all()
    for ours, theirs in itertools.product(CORNERS[:1] if one_point else CORNERS, CORNERS):
        a, b = t[:, ours], s[:, theirs]
        sides = np.concatenate([a[:, 1:] - a[:, :1], b[:, :1] - b[:, 1:]], axis=1)
        weights = np.zeros((len(t), sides.shape[1]))
        if sides.shape[1]:
            back = np.linalg.pinv(np.swapaxes(sides, 1, 2), rcond=1e-13)
            for _ in range(2):
                # Once more for what slivers leave.
                left = b[:, 0] - a[:, 0] - (weights[:, None] @ sides)[:, 0]
                weights = weights + (back @ left[..., None])[..., 0]
        u, v = weights[:, : len(ours) - 1], weights[:, len(ours) - 1 :]
        u, v = (np.clip(np.column_stack([1 - w.sum(axis=1), w]), 0, None) for w in (u, v))
        u, v = (w / np.maximum(w.sum(axis=1, keepdims=True), 1e-300) for w in (u, v))
        gap = (u[..., None] * a).sum(axis=1) - (v[..., None] * b).sum(axis=1)
        best = np.minimum(best, np.linalg.norm(gap, axis=1))
    return float(best.min())


def off_surface(point, triangles):
    """Distance of a point to triangles, by the same choices."""
    return feature_distance(np.repeat(point[None], 3, axis=0)[None], triangles)


def off_solid(kind, half, points):
    """Distances of points (..., 3) to a solid in its own frame."""
    z = np.maximum(np.abs(points[..., 2]) - half[2], 0)
    if kind == Kind.CYLINDER:
        return np.hypot(np.maximum(np.hypot(points[..., 0], points[..., 1]) - half[0], 0), z)
    x, y = (np.maximum(np.abs(points[..., k]) - half[k], 0) for k in range(2))
    return np.sqrt(x**2 + y**2 + z**2)


def solid_distance(kind, half, triangles):
    """Least distance of triangles in a solid's frame: convex in both weights, by golden section."""
    a, b, c = (triangles[:, k] for k in range(3))

    def least(function, high, rounds=36):
        low, ratio = np.zeros(len(a)), (np.sqrt(5) - 1) / 2
        for _ in range(rounds):
            x, y = high - ratio * (high - low), low + ratio * (high - low)
            left = function(x) <= function(y)
            high, low = np.where(left, y, high), np.where(left, low, x)
        return function((low + high) / 2)

    def off(u, v):
        return off_solid(kind, half, a + u[:, None] * (b - a) + v[:, None] * (c - a))

    return float(least(lambda u: least(lambda v: off(u, v), 1 - u), np.ones(len(a))).min())


def fcl_distance(one, other, rotation, shift):
    """python-fcl 0.7 on two sets of triangles: right to 2e-13 for meshes, -1 when they meet."""

    def model(triangles):
        shape = fcl.BVHModel()
        shape.beginModel(len(triangles), 3 * len(triangles))
        shape.addSubModel(triangles.reshape(-1, 3), np.arange(3 * len(triangles)).reshape(-1, 3))
        shape.endModel()
        return shape

    still = fcl.CollisionObject(model(one))
    moved = fcl.CollisionObject(model(other), fcl.Transform(rotation, shift))
    return fcl.distance(still, moved, fcl.DistanceRequest(), fcl.DistanceResult())


# ---- triangles to try


def soup(rng, kind):
    """A few triangles: whole numbers (flush, crossing, without area), turned, slivers, nearly parallel."""
    count = int(rng.integers(1, 5))
    if kind == "whole":
        return rng.integers(-3, 4, (count, 3, 3)).astype(float) * float(rng.choice([1, 10, 0.1]))
    found = rng.normal(size=(count, 3, 3)) * 10.0 ** rng.integers(-1, 3)
    if kind == "slivers":
        weight = rng.random((count, 1))
        thin = 10.0 ** rng.integers(-12, -2)
        found[:, 2] = found[:, 0] * weight + found[:, 1] * (1 - weight) + thin * rng.normal(size=(count, 3))
    return found


def pair_of_soups(seed):
    rng = np.random.default_rng(seed)
    kind = ("whole", "turned", "slivers", "beside", "whole apart")[seed % 5]
    if kind == "beside":
        # The same triangles again, beside themselves by 1e-9 to 1, and turned by as little.
        one = soup(rng, ("whole", "turned", "slivers")[int(rng.integers(3))])
        small = np.eye(3) + 10.0 ** rng.integers(-14, -5) * rng.normal(size=(3, 3))
        off = rng.integers(-1, 2, 3) if seed % 2 else rng.normal(size=3)
        return one, one @ small + 10.0 ** rng.integers(-9, 1) * off
    one, other = soup(rng, kind.split()[0]), soup(rng, kind.split()[0])
    if kind == "whole apart":
        other = other + rng.integers(-9, 10, 3)
    return one, other


def forest_of(*meshes):
    """The trees of meshes, and the rows of their roots."""
    corners, boxes, second, triangle, roots = [], [], [], [], []
    nodes = triangles = 0
    for mesh in meshes:
        tree = build_tree(mesh)
        roots.append(nodes)
        corners.append(tree.corners)
        boxes.append(tree.boxes)
        second.append(np.where(tree.second > 0, tree.second + nodes, 0))
        triangle.append(tree.start + triangles)
        nodes, triangles = nodes + len(tree.second), triangles + len(mesh)
    return Forest(*(np.concatenate(rows) for rows in (corners, boxes, second, triangle))), np.array(roots)


def search(forest, roots, kind, half, rotation, shift, within, enough):
    asked = Asked(
        np.array([roots]),
        np.array([int(kind)]),
        np.array([half], float),
        np.array([rotation], float),
        np.array([shift], float),
        np.zeros(1),
        np.zeros(1, int),
    )
    distance, points = np.empty(1), np.empty((1, 2, 3))
    nearest_pairs(forest, asked, np.array([float(within)]), enough, make_scratch(), distance, points)
    return float(distance[0]), points[0, 0], points[0, 1]


def ask(one, other, rotation=HERE[0], shift=HERE[1], within=np.inf, enough=0.0):
    """Distance, point of the first, point of the second, in the first's frame."""
    forest, roots = forest_of(one, other)
    return search(forest, roots, Kind.MESH, np.zeros(3), rotation, shift, within, enough)


def ask_solid(mesh, kind, half, rotation=HERE[0], shift=HERE[1], within=np.inf):
    forest, (root,) = forest_of(mesh)
    return search(forest, [root, -1], kind, half, rotation, shift, within, 0.0)


def turns(mesh, point):
    """How often a mesh winds about a point; None when it is not sure."""
    forest, roots = forest_of(mesh)
    found = np.empty(1, int)
    turns_about(forest, roots, point[None], np.empty(DEPTH + 2, int), found)
    return None if found[0] == UNSURE else int(found[0])


# ---- mesh and mesh


def check_triangles(seed):
    one, other = pair_of_soups(seed)
    size = max(np.abs(one).max(), np.abs(other).max(), 1.0)
    distance, p, q = ask(one, other)
    assert distance <= feature_distance(one, other) + 1e-11 * size
    assert np.linalg.norm(q - p) == pytest.approx(distance, abs=1e-14 * size)
    assert off_surface(p, one) < OFF * size
    assert off_surface(q, other) < OFF * size
    again, p, q = ask(other, one)
    assert again == pytest.approx(distance, abs=1e-11 * size)


@quick
@given(seeds)
def test_few_triangles_against_all_choices_of_corners(seed):
    check_triangles(seed)


@pytest.mark.long
@long
@given(seeds)
def test_few_triangles_against_all_choices_of_corners_long(seed):
    check_triangles(seed)


def lathe(rng):
    """A closed surface turned about z: up to 1,000 triangles, its rings 5 apart."""
    sides, rings = 4 * int(rng.integers(1, 12)), int(rng.integers(1, 12))
    around = np.exp(2j * np.pi * np.arange(sides) / sides)
    rim = rng.integers(1, 5, rings + 1)[:, None] * 5 * around
    high = np.repeat(5.0 * np.arange(rings + 1), sides)
    points = np.column_stack([rim.real.ravel(), rim.imag.ravel(), high])
    points = np.vstack([points, [[0, 0, 0], [0, 0, 5.0 * rings]]])
    a = np.arange(rings * sides).reshape(rings, sides)
    b = np.roll(a, -1, axis=1)
    walls = [(a, b, b + sides), (a, b + sides, a + sides)]
    caps = [
        (b[0], a[0], np.full(sides, len(points) - 2)),
        (a[-1] + sides, b[-1] + sides, np.full(sides, len(points) - 1)),
    ]
    return points[np.concatenate([np.stack(three, axis=-1).reshape(-1, 3) for three in walls + caps])]


def check_meshes(seed):
    """Up to 1,000 triangles each, square or turned, beside, flush and through each other."""
    rng = np.random.default_rng(seed)
    one, other = lathe(rng), lathe(rng)
    if seed % 3 == 0:
        points, faces = lattice.surface(lattice.grown(rng, 3, int(rng.integers(1, 8))))
        one = 5 * points[faces]
    square = seed % 2 == 0
    turn = np.round(quarter_turned(rng)) + 0.0 if square else turned(rng)
    shift = rng.integers(-12, 13, 3) * 5.0 if square else rng.uniform(-60, 60, 3)
    distance, p, q = ask(one, other, turn, shift)
    expected = fcl_distance(one, other, turn, shift)
    assert distance == pytest.approx(max(expected, 0.0), abs=1e-11)
    assert np.linalg.norm(q - p) == pytest.approx(distance, abs=1e-12)
    within = float(rng.uniform(0, 40))
    bound, p, q = ask(one, other, turn, shift, within)
    if distance <= within:
        assert bound == pytest.approx(distance, abs=1e-11)
    else:
        assert within < bound <= distance + 1e-11
        assert np.isnan(p).all()
    near, p, q = ask(one, other, turn, shift, enough=7.0)
    assert distance <= near + 1e-12
    assert near <= max(7.0, distance + 1e-11)


@quick
@given(seeds)
def test_meshes_against_another_library(seed):
    check_meshes(seed)


@pytest.mark.long
@long
@given(seeds)
def test_meshes_against_another_library_long(seed):
    check_meshes(seed)


@pytest.mark.parametrize("gap", [0.0, 1e-9, 1e-6, 1e-3])
@pytest.mark.parametrize("far", [0.0, 1000.0])
def test_flush_faces_and_faces_a_trace_apart(gap, far):
    """Two cubes of 10 mm; a metre away a double holds 1e-13."""
    points, faces = lattice.surface(frozenset({(0, 0, 0)}), 10.0)
    cube = points[faces]
    for axis in range(3):
        shift = np.eye(3)[axis] * (10.0 + gap)
        distance, _, _ = ask(cube + far, cube + far, HERE[0], shift)
        assert distance == pytest.approx(gap, abs=4e-13)
        distance, _, _ = ask_solid(cube + far, Kind.BOX, [5, 5, 5], HERE[0], shift + far + 5)
        assert distance == pytest.approx(gap, abs=4e-13)


# ---- mesh and solid


def solid_case(seed):
    rng = np.random.default_rng(seed)
    kind = Kind.BOX if seed % 2 else Kind.CYLINDER
    square = seed % 3 > 0
    half = rng.integers(1, 5, 3) / 2 * (1 if square else rng.uniform(0.2, 3))
    if kind == Kind.CYLINDER:
        half[1] = half[0]
    mesh = soup(rng, ("whole", "turned", "slivers")[int(rng.integers(3))])
    turn = np.round(quarter_turned(rng)) + 0.0 if square else turned(rng)
    shift = rng.integers(-5, 6, 3).astype(float) if square else rng.normal(size=3) * 5
    return mesh, kind, half, turn, shift, rng


def check_solid(seed):
    mesh, kind, half, turn, shift, rng = solid_case(seed)
    size = max(np.abs(mesh).max(), np.abs(shift).max(), 1.0)
    distance, p, q = ask_solid(mesh, kind, half, turn, shift)
    expected = solid_distance(kind, half, (mesh - shift) @ turn)
    # Where they touch, golden section finds the distance no better than the place.
    assert distance <= expected + 1e-12 * size
    assert np.linalg.norm(q - p) == pytest.approx(distance, abs=1e-12 * size)
    assert off_surface(p, mesh) < OFF * size
    assert off_solid(kind, half, (q - shift) @ turn) < 1e-12 * size
    within = float(rng.uniform(0, 6))
    bound, _, _ = ask_solid(mesh, kind, half, turn, shift, within)
    if distance <= within:
        assert bound == pytest.approx(distance, abs=1e-11)
    else:
        assert within < bound <= distance + 1e-11


@settings(quick, max_examples=75)
@given(seeds)
def test_solids_against_golden_sections(seed):
    check_solid(seed)


@pytest.mark.long
@long
@given(seeds)
def test_solids_against_golden_sections_long(seed):
    check_solid(seed)


@pytest.mark.parametrize("kind", [Kind.BOX, Kind.CYLINDER])
def test_a_mesh_inside_a_solid_has_no_distance_and_a_plane_through_it_neither(kind):
    points, faces = lattice.surface(frozenset({(0, 0, 0)}), 1.0)
    assert ask_solid(points[faces], kind, [3, 3, 3])[0] == 0
    assert ask_solid(np.array([[[-90, -90, 0.5], [90, -90, 0.5], [0, 90, 0.5]]]), kind, [3, 3, 3])[0] == 0


def test_a_long_edge_past_a_cylinder():
    """Square to its axis and 2 above it, the cylinder 1.5 thick: 0.5; past its end, by a right angle."""
    edge = np.array([[[-700, 2, 0], [700, 2, 0], [0, 500, 1e-3]]], float)
    assert ask_solid(edge, Kind.CYLINDER, [1.5, 1.5, 4])[0] == pytest.approx(0.5, abs=1e-12)
    past = np.array([[[4.5, -300, 8], [4.5, 300, 8], [300, 0, 8]]], float)
    # Beside the rim by 4.5 - 1.5, above it by 8 - 4.
    assert ask_solid(past, Kind.CYLINDER, [1.5, 1.5, 4])[0] == pytest.approx(5.0, abs=1e-12)


# ---- inside


def check_inside(seed):
    """Points off the surface, many over its edges and corners, against the sum of solid angles."""
    rng = np.random.default_rng(seed)
    points, faces = lattice.surface(lattice.grown(rng, 3, int(rng.integers(1, 8))))
    turn = np.eye(3) if seed % 2 else turned(rng)
    mesh = points[faces] @ turn.T
    asked = rng.integers(-1, 9, 3) / 2 + rng.choice([0.0, 1e-5, 0.25], 3) * rng.choice([-1, 1], 3)
    asked = turn @ asked
    winding = kernels.winding_number(mesh, asked[None])[0]
    on_surface = off_surface(asked, mesh) < 1e-9
    found = turns(mesh, asked)
    if on_surface:
        assert found is None
    else:
        assert found == pytest.approx(winding, abs=1e-6)


@quick
@given(seeds)
def test_turns_against_solid_angles(seed):
    check_inside(seed)


@pytest.mark.long
@long
@given(seeds)
def test_turns_against_solid_angles_long(seed):
    check_inside(seed)


def test_turns_of_a_hollow_of_two_in_one_and_of_inside_out():
    """0 in a hole, 2 where two surfaces wind about, -1 in a cube inside out."""
    points, faces = lattice.surface(frozenset({(0, 0, 0)}))
    large, small = 9 * (points - 0.5)[faces], (points - 0.5)[faces]
    middle = np.array([0.1, 0.2, 0.3])
    assert turns(np.concatenate([large, small[:, ::-1]]), middle) == 0
    assert turns(np.concatenate([large, small]), middle) == 2
    assert turns(small[:, ::-1], middle) == -1


# ---- many at once


@quick
@given(seeds)
def test_an_owner_gets_its_least_and_bounds_of_the_rest(seed):
    """Five meshes about one, each of an owner alone or together: the same as one by one."""
    rng = np.random.default_rng(seed)
    meshes = [lathe(rng) for _ in range(5)]
    shifts = rng.integers(-15, 16, (5, 3)) * 5.0
    forest, roots = forest_of(*meshes)
    owner = rng.integers(0, 2, 5)
    alone = np.array(
        [ask(meshes[0], mesh, shift=shift)[0] for mesh, shift in zip(meshes, shifts, strict=True)]
    )
    asked = Asked(
        np.column_stack([np.full(5, roots[0]), roots]), np.full(5, int(Kind.MESH)), np.zeros((5, 3)),
        np.array([np.eye(3)] * 5), shifts, np.zeros(5), owner,
    )  # fmt: skip
    distances, points = np.empty(5), np.empty((5, 2, 3))
    reach = np.full(2, 40.0)
    nearest_pairs(forest, asked, reach, 0.0, make_scratch(), distances, points)
    for own in set(owner.tolist()):
        least = alone[owner == own].min()
        assert reach[own] == pytest.approx(min(least, 40.0), abs=1e-11)
        assert (distances[owner == own] <= alone[owner == own] + 1e-11).all()
        assert distances[owner == own].min() == pytest.approx(least, abs=1e-11) or least > 40
