"""The tree over triangles: every node holds just what its run of triangles does."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitcheck.world.kernels.tree import DEPTH, build_tree

quick = settings(derandomize=True, deadline=None, max_examples=200)


def check_tree(triangles, leaf):
    """Every triangle in one leaf, every box tight, children in order; the depth of the tree."""
    tree = build_tree(triangles, leaf)
    assert sorted(tree.order.tolist()) == list(range(len(triangles)))
    assert np.array_equal(tree.corners, triangles[tree.order])
    assert all(part.flags.c_contiguous for part in tree)
    held, visited, deepest, todo = np.zeros(len(triangles), int), 0, 0, [(0, 1)]
    while todo:
        node, depth = todo.pop()
        visited, deepest = visited + 1, max(deepest, depth)
        start, stop, second = int(tree.start[node]), int(tree.stop[node]), int(tree.second[node])
        run = tree.corners[start:stop]
        assert np.array_equal(tree.boxes[node, :3], run.min(axis=(0, 1)))
        assert np.array_equal(tree.boxes[node, 3:], run.max(axis=(0, 1)))
        if second == 0:
            assert 0 < len(run) <= leaf
            held[start:stop] += 1
        else:
            assert (tree.start[node + 1], tree.stop[node + 1]) == (start, tree.start[second])
            assert tree.stop[second] == stop
            todo += [(node + 1, depth + 1), (second, depth + 1)]
    assert visited == len(tree.second)
    assert (held == 1).all()
    return deepest


@quick
@given(st.integers(0, 2**32 - 1))
def test_every_node_holds_its_run(seed):
    rng = np.random.default_rng(seed)
    triangles = rng.normal(size=(rng.integers(1, 60), 3, 3))
    if seed % 2:
        # Whole numbers: many middles in the same place.
        triangles = np.round(triangles)
    check_tree(triangles, int(rng.integers(1, 5)))


@pytest.mark.parametrize(
    "triangles",
    [
        np.zeros((100, 3, 3)),
        np.ones((77, 3, 3)),
        np.exp2(-np.arange(900.0))[:, None, None] * np.ones((1, 3, 3)),
    ],
)
def test_no_tree_is_deeper_than_a_search_has_room_for(triangles):
    """All in one place, and each half as far as the last: what a split by place cannot share out."""
    assert check_tree(triangles, 1) <= DEPTH


def test_a_split_parts_two_clusters():
    triangles = np.concatenate([np.random.default_rng(k).random((9, 3, 3)) + 100 * k for k in range(2)])
    tree = build_tree(triangles)
    assert set(tree.order[tree.start[1] : tree.stop[1]].tolist()) == set(range(9))


def test_nothing_has_no_nodes():
    assert len(build_tree(np.zeros((0, 3, 3))).second) == 0
