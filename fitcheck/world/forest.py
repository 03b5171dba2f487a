"""The trees of boxes of all meshes asked about, in one set of arrays: any pairs in one call.

A tree is built when its mesh is first asked about, and added after the last; pieces of
equal content share one. When more is held than is worth it, all start anew.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fitcheck.world.kernels.descent import Forest
from fitcheck.world.kernels.tree import build_tree
from fitcheck.world.trees import Tree, tree_of
from fitcheck.world.world import World

# About 200 bytes each.
TRIANGLES_KEPT = 1_000_000
# Meshes of more triangles are made ready on loading: a tree takes 0.5 us for each.
BIG = 20_000


class _Ground:
    """Room for trees, and where each one's root is."""

    def __init__(self) -> None:
        self.roots: dict[str, int] = {}
        self.triangles = self.nodes = 0
        self.held = Forest(
            np.empty((0, 3, 3)), np.empty((0, 6)), np.empty(0, np.int64), np.empty(0, np.int64)
        )

    def plant(self, key: str, corners: np.ndarray) -> None:
        """Add a tree after the last."""
        tree = build_tree(corners)
        nodes = slice(self.nodes, self.nodes + len(tree.second))
        triangles = slice(self.triangles, self.triangles + len(tree.corners))
        self.held = Forest(
            *(_with_room(rows, triangles.stop if k == 0 else nodes.stop) for k, rows in enumerate(self.held))
        )
        self.held.corners[triangles] = tree.corners
        self.held.boxes[nodes] = tree.boxes
        self.held.second[nodes] = np.where(tree.second > 0, tree.second + nodes.start, 0)
        self.held.triangle[nodes] = tree.start + triangles.start
        self.roots[key] = nodes.start
        self.triangles, self.nodes = triangles.stop, nodes.stop


def _with_room(rows: np.ndarray, wanted: int) -> np.ndarray:
    """The same rows and room for more: half as many again, so that none is moved often."""
    if wanted <= len(rows):
        return rows
    grown = np.empty((max(wanted, len(rows) * 3 // 2), *rows.shape[1:]), rows.dtype)
    grown[: len(rows)] = rows
    return grown


_grounds = [_Ground()]


def planted(trees: Sequence[Tree]) -> tuple[Forest, np.ndarray]:
    """A forest that holds these trees, and the row of each one's root."""
    ground = _grounds[0]
    wanted = {tree.key: tree for tree in trees}
    new = sum(len(tree.faces) for key, tree in wanted.items() if key not in ground.roots)
    if new and ground.triangles + new > TRIANGLES_KEPT:
        ground = _grounds[0] = _Ground()
    for key, tree in wanted.items():
        if key not in ground.roots:
            ground.plant(key, tree.triangles)
    return ground.held, np.array([ground.roots[tree.key] for tree in trees], np.int64)


def prepare(world: World) -> None:
    """Build, while a world is loaded, what the first question about its big meshes would wait for."""
    pieces = (piece for part in world.parts for solid in part.shape.solids.values() for piece in solid.pieces)
    big = [piece for piece in pieces if piece.mesh is not None and len(piece.mesh.faces) > BIG]
    trees = [tree_of(int(piece.kind), piece.half, piece.mesh) for piece in big]
    planted(trees)
    for tree in trees:
        _ = tree.shells
