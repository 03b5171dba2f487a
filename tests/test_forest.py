"""What is made of meshes once and kept: trees in one set of arrays, shells."""

from __future__ import annotations

import lattice
import numpy as np
import pytest
import worlds
from test_trees import measure, placed

from fitcheck.parts.solids import Kind
from fitcheck.world import forest, trees

CUBE = frozenset({(0, 0, 0)})


def tree(vertices, faces):
    piece = worlds.mesh(vertices, faces)
    return trees.tree_of(Kind.MESH, piece.half, piece.mesh)


def rows_of(planted, root):
    """All triangles below a root, sorted."""
    todo, found = [int(root)], []
    while todo:
        k = todo.pop()
        second = int(planted.second[k])
        if second:
            todo += [k + 1, second]
            continue
        corners = planted.corners[planted.triangle[k]]
        assert np.array_equal(planted.boxes[k], np.concatenate([corners.min(axis=0), corners.max(axis=0)]))
        found.append(corners.ravel().tolist())
    return sorted(found)


def test_each_tree_of_a_forest_holds_its_own_triangles():
    grown = [lattice.surface(lattice.grown(np.random.default_rng(k), 3, 5), 1.0 + k) for k in range(6)]
    made = [tree(*surface) for surface in grown]
    planted, roots = forest.planted([*made, made[2]])
    assert roots[6] == roots[2]
    for one, root in zip(made, roots[:6], strict=True):
        assert rows_of(planted, root) == sorted(one.triangles.reshape(-1, 9).tolist())


def test_a_full_forest_starts_anew_and_answers_the_same(monkeypatch):
    monkeypatch.setattr(forest, "TRIANGLES_KEPT", 30)
    cubes = [lattice.piece(CUBE, 10.0 + k) for k in range(5)]
    for gap in (3.0, 4.0):
        for k, cube in enumerate(cubes):
            # From the far face of a cube of 10 + k to the near face of one of 10, `gap` on.
            other = placed(cubes[0], np.eye(3), np.array([10.0 + k + gap, 0, 0]))
            assert measure(cube, other).distance == pytest.approx(gap, abs=1e-12)


def test_shells_are_what_hangs_together():
    points, faces = lattice.surface(CUBE)
    one = tree(points, faces)
    two = tree(np.concatenate([points, points + 5]), np.concatenate([faces, faces + len(points)]))
    assert one.shells.shape == (1, 6, 3)
    assert two.shells.shape == (2, 6, 3)
    assert sorted(shell.max() - shell.min() for shell in two.shells) == [1, 1]


def test_triangles_that_share_only_places_hang_together_too():
    """Seventeen cubes in a row: 140 triangles, and no corner in common by its number."""
    points, faces = lattice.surface(frozenset((k, 0, 0) for k in range(17)))
    loose = tree(points[faces].reshape(-1, 3), np.arange(3 * len(faces)).reshape(-1, 3))
    assert len(faces) > trees.FEW_SHELLS
    assert len(loose.shells) == 1
    assert loose.shells[0][:, 0].max() - loose.shells[0][:, 0].min() == 17


def test_big_meshes_are_made_ready_on_loading(monkeypatch):
    monkeypatch.setattr(forest, "BIG", 12)
    small, big = lattice.piece(CUBE, 31.0), lattice.piece(frozenset({(0, 0, 0), (1, 0, 0)}), 31.0)
    forest.prepare(
        worlds.world(
            worlds.part("a", small), worlds.part("b", big), worlds.part("c", worlds.box([0] * 3, [1] * 3))
        )
    )
    assert small.mesh.key not in forest._grounds[0].roots
    assert big.mesh.key in forest._grounds[0].roots
