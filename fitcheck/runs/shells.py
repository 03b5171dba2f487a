"""Trees of boxes over the triangles of meshes, for `kernels.trees`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np

from fitcheck.parts.solids import Mesh
from fitcheck.runs.kernels.trees import Trees

# Triangles a leaf holds at most: fewer make the tree large, more are tested in vain.
LEAF = 4


@dataclass(frozen=True, eq=False)
class Shell:
    """The tree of one mesh in its own frame: boxes (m, 6) in heap order, corners (t, 9)."""

    boxes: np.ndarray
    corners: np.ndarray
    leaves: int


_made: WeakKeyDictionary[Mesh, Shell] = WeakKeyDictionary()


def shell(mesh: Mesh) -> Shell:
    """The tree of a mesh, made on first use."""
    found = _made.get(mesh)
    if found is None:
        found = _made[mesh] = _build(np.asarray(mesh.vertices, float)[mesh.faces])
    return found


def _build(triangles: np.ndarray) -> Shell:
    """Split in halves along the longest side of the middles, level by level.

    The last triangle is repeated until all leaves are full.
    """
    depth = max(int(np.ceil(np.log2(len(triangles) / LEAF))), 0)
    each = -(-len(triangles) // 2**depth)
    middles = triangles.mean(axis=1)
    order = np.minimum(np.arange(each * 2**depth), len(triangles) - 1)[None, :]
    for _ in range(depth):
        own = middles[order]
        axis = (own.max(axis=1) - own.min(axis=1)).argmax(axis=1)
        along = np.take_along_axis(own, axis[:, None, None], axis=2)[:, :, 0]
        half = order.shape[1] // 2
        split = np.argpartition(along, half, axis=1)
        order = np.take_along_axis(order, split, axis=1).reshape(-1, half)
    low = triangles.min(axis=1)[order].min(axis=1)
    high = triangles.max(axis=1)[order].max(axis=1)
    levels = [np.hstack([low, high])]
    while len(low) > 1:
        low, high = np.minimum(low[::2], low[1::2]), np.maximum(high[::2], high[1::2])
        levels.append(np.hstack([low, high]))
    chosen = triangles[order.reshape(-1)]
    edges = chosen[:, 1:] - chosen[:, :1]
    corners = np.hstack([chosen[:, 0], edges.reshape(-1, 6)])
    return Shell(np.concatenate(levels[::-1]), np.ascontiguousarray(corners), 2**depth)


def trees(shells: Sequence[Shell]) -> Trees:
    """All shells as one set of arrays, in their order."""
    node, triangle, first = 0, 0, []
    for each in shells:
        first.append([node, triangle, each.leaves, len(each.corners) // each.leaves])
        node, triangle = node + len(each.boxes), triangle + len(each.corners)
    return Trees(
        np.concatenate([np.empty((0, 6)), *(s.boxes for s in shells)]),
        np.concatenate([np.empty((0, 9)), *(s.corners for s in shells)]),
        np.array(first, np.int64).reshape(-1, 4),
        np.empty(64, np.int64),
        np.empty(64),
    )
