"""Box against box: least squares, hulls of differences, gaps by hand."""

from __future__ import annotations

import kernel_oracles as oracle
import numpy as np
import pytest
from accuracy import WORST
from hypothesis import given, settings
from hypothesis import strategies as st

from fitcheck.world import kernels

DISTANCE, DEPTH, _ = WORST["box", "box"]
seeds = st.integers(0, 2**32 - 1)
quick = settings(derandomize=True, deadline=None, max_examples=300)
long = settings(derandomize=True, deadline=None, max_examples=6000)


def two(half_a, centre_a, half_b, centre_b, turn_b=None):
    turn = np.eye(3) if turn_b is None else turn_b
    found = kernels.measure_pairs(
        [0, 0],
        np.array([half_a, half_b], float),
        [np.eye(3), turn],
        np.array([centre_a, centre_b], float),
        [[0, 1]],
    )
    return {name: value[0] for name, value in found._asdict().items()}


def test_the_pair_another_library_gets_wrong():
    # FCL 0.7.0 says 20.616. Gaps: 20 - 5 - 5 = 10 along x and z, 0 along y: 10 sqrt(2).
    found = two([5, 5, 5], [0, 0, 0], [5, 10, 5], [-20, 0, 20])
    assert found["distance"] == pytest.approx(14.142135623730951, abs=1e-12)
    assert found["on_a"].tolist() == [-5, 0, 5]
    assert found["on_b"].tolist() == [-15, 0, 15]


def test_a_corner_pointing_at_a_face():
    # A cube of edge 20 stood on its corner: half its diagonal is 10 sqrt(3) below the centre.
    down = np.array([1, 1, 1]) / np.sqrt(3)
    across = np.array([1, -1, 0]) / np.sqrt(2)
    turn = np.array([across, np.cross(down, across), down])
    found = two([50, 50, 5], [0, 0, 0], [10, 10, 10], [3, 4, 30], turn)
    assert found["distance"] == pytest.approx(30 - 5 - 10 * np.sqrt(3), abs=1e-12)
    assert found["normal"] == pytest.approx([0, 0, 1], abs=1e-12)
    assert found["on_a"] == pytest.approx([3, 4, 5], abs=1e-12)


def test_two_crossing_edges():
    # Square bars turned 45 degrees about x and about y: ridges at 10 sqrt(2) face each other.
    c = np.sqrt(0.5)
    about_x = np.array([[1, 0, 0], [0, c, -c], [0, c, c]])
    about_y = np.array([[c, 0, c], [0, 1, 0], [-c, 0, c]])
    found = kernels.measure_pairs(
        [0, 0], [[99, 10, 10], [10, 99, 10]], [about_x, about_y], [[0, 0, 0], [7, 3, 40]], [[0, 1]]
    )
    assert found.distance[0] == pytest.approx(40 - 20 * np.sqrt(2), abs=1e-12)
    assert found.on_a[0] == pytest.approx([7, 0, 10 * np.sqrt(2)], abs=1e-12)


def test_depth_is_the_shortest_way_out():
    # Overlaps 5, 8 and 9 mm along x, y and z: 5 to the right.
    found = two([10, 10, 10], [0, 0, 0], [5, 6, 5], [10, 8, 6])
    assert (found["distance"], found["depth"]) == (0.0, 5.0)
    assert found["normal"].tolist() == [1, 0, 0]
    assert found["on_a"][0] == 10.0
    assert found["on_b"][0] == 5.0


def test_a_box_in_a_box_leaves_by_the_nearest_side():
    # 20 half, 2 half at x = 15: it must go 20 - 15 + 2.
    found = two([20, 20, 20], [0, 0, 0], [2, 2, 2], [15, 1, 0])
    assert found["depth"] == 7.0
    assert found["normal"].tolist() == [1, 0, 0]


@pytest.mark.parametrize("shift", [[20, 0, 0], [20, 20, 0], [20, 20, 20], [0, -20, 3]])
def test_flush_boxes_touch(shift):
    found = two([10, 10, 10], [0, 0, 0], [10, 10, 10], shift)
    assert (found["distance"], found["depth"], found["error"]) == (0, 0, 0)
    assert found["on_a"].tolist() == found["on_b"].tolist()


@pytest.mark.parametrize("mode", oracle.MODES)
def test_distance_is_that_of_least_squares(mode):
    bodies = oracle.scene(mode, 1)
    pairs = oracle.pairs_of(bodies, 2, 120, 0, 0)
    found = kernels.measure_pairs(*bodies, pairs)
    assert (found.error <= DISTANCE).all()
    for k, (i, j) in enumerate(pairs):
        # Least squares ends a hair inside its bounds: a ten-millionth over where they touch.
        assert found.distance[k] == pytest.approx(
            oracle.box_distance(bodies, i, j), abs=1e-8 if found.distance[k] > 1e-3 else 2e-6
        )


def check_gaps(seed):
    """Boxes square to the world: the distance is the norm of the gaps, the depth the least overlap."""
    rng = np.random.default_rng(seed)
    half = rng.integers(0, 6, (2, 3)) * 5.0
    centre = rng.integers(-4, 5, (2, 3)) * 10.0
    turns = oracle.SQUARE[rng.integers(0, 24, 2)]
    found = kernels.measure_pairs([0, 0], half, turns, centre, [[0, 1]])
    world_half = np.einsum("kij,kj->ki", np.abs(turns), half)
    gaps = np.abs(centre[1] - centre[0]) - world_half.sum(axis=0)
    assert found.distance[0] == pytest.approx(np.linalg.norm(np.maximum(gaps, 0)), abs=1e-12)
    assert found.depth[0] == pytest.approx(max(0, -gaps.max()), abs=1e-12)


@given(seeds)
@quick
def test_square_boxes_by_their_gaps(seed):
    check_gaps(seed)


@pytest.mark.parametrize("mode", ["random", "square", "mixed", "by 15 degrees", "nested", "sliver"])
def test_depth_is_that_of_the_hull_of_differences(mode):
    bodies = oracle.scene(mode, 3)
    pairs = oracle.pairs_of(bodies, 4, 3000, 0, 0)
    found = kernels.measure_pairs(*bodies, pairs)
    deep = np.flatnonzero(found.depth > 0)[:60]
    assert len(deep) > 20
    for k in deep:
        # The hull joins faces within its own rounding: 1e-12 of the size.
        assert found.depth[k] == pytest.approx(oracle.hull_depth(bodies, *pairs[k]), abs=max(DEPTH, 1e-8))


def check_proof(mode, seed, count):
    """Points in their boxes, bounds that meet, and a normal that clears: a proof for every pair."""
    bodies = oracle.scene(mode, seed)
    pairs = oracle.pairs_of(bodies, seed, count, 0, 0)
    found = kernels.measure_pairs(*bodies, pairs)
    assert oracle.outside(bodies, pairs[:, 0], found.on_a).max() < 1e-9
    assert oracle.outside(bodies, pairs[:, 1], found.on_b).max() < 1e-9
    apart = np.linalg.norm(found.on_b - found.on_a, axis=1)
    assert apart == pytest.approx(found.distance + found.depth, abs=1e-9)
    assert np.linalg.norm(found.normal, axis=1) == pytest.approx(1, abs=1e-12)
    gap = oracle.separations(bodies, pairs, found.normal)
    far = found.distance > 1e-6
    assert gap[far] == pytest.approx(found.distance[far], abs=1e-6)
    met = found.distance == 0
    assert gap[met] == pytest.approx(-found.depth[met], abs=DEPTH)
    return len(pairs)


@pytest.mark.parametrize("mode", oracle.MODES)
def test_every_answer_carries_its_proof(mode):
    assert check_proof(mode, 5, 2000) > 500


@given(seeds)
@settings(derandomize=True, deadline=None, max_examples=100)
def test_depth_and_distance_do_not_jump(seed):
    """Moving a box by s changes distance less depth by s at most: nothing is missed between."""
    rng = np.random.default_rng(seed)
    bodies = oracle.scene("by 15 degrees", seed, 4)
    way = rng.normal(size=3)
    way *= 0.5 / np.linalg.norm(way)
    steps = np.arange(60)[:, None] * way
    half = np.vstack([bodies.halves[:1], np.repeat(bodies.halves[1:2], 60, axis=0)])
    turn = np.vstack([bodies.rotations[:1], np.repeat(bodies.rotations[1:2], 60, axis=0)])
    centre = np.vstack([bodies.centres[:1], bodies.centres[1:2] + steps])
    row = np.arange(1, 61)
    found = kernels.measure_pairs(np.zeros(61), half, turn, centre, np.c_[0 * row, row])
    assert np.abs(np.diff(found.distance - found.depth)).max() <= 0.5 + 1e-9


@pytest.mark.parametrize("mode", ["random", "square", "mixed"])
def test_beyond_the_reach_asked_the_distance_is_a_bound(mode):
    bodies = oracle.scene(mode, 6)
    pairs = oracle.pairs_of(bodies, 7, 2000, 0, 0)
    full = kernels.measure_pairs(*bodies, pairs)
    near = kernels.measure_pairs(*bodies, pairs, 20.0)
    cut = near.error == np.inf
    assert cut.any()
    assert (near.distance[cut] > 20).all()
    assert (near.distance[cut] <= full.distance[cut] + 1e-9).all()
    assert (near.distance[~cut] == full.distance[~cut]).all()
    assert (full.distance[near.distance <= 20] <= 20).all()


def test_same_bytes_in_any_company():
    bodies = oracle.scene("mixed", 8)
    pairs = oracle.pairs_of(bodies, 9, 300, 0, 1)
    whole = kernels.measure_pairs(*bodies, pairs)
    alone = [kernels.measure_pairs(*bodies, pairs[k : k + 1]) for k in range(len(pairs))]
    for name in whole._fields:
        one_by_one = np.concatenate([getattr(found, name) for found in alone])
        assert getattr(whole, name).tobytes() == one_by_one.tobytes()


@pytest.mark.long
@given(seeds)
@long
def test_square_boxes_by_their_gaps_long(seed):
    check_gaps(seed)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("mode", oracle.MODES)
def test_every_answer_carries_its_proof_long(mode, seed):
    assert check_proof(mode, 100 + seed, 20000) > 500
