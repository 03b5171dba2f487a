"""Lines through a world: how far each gets, and what stops it; how far places are from all that does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np

from fitcheck.parts.solids import Mesh
from fitcheck.rays.kernels import compiled
from fitcheck.rays.kernels.hits import CENTRE, COLUMNS, HALF, KIND, ROOT, Pieces
from fitcheck.world.bodies import Bodies
from fitcheck.world.kernels.tree import DEPTH, Tree, build_tree

# Pieces and triangles a leaf of a tree holds at most.
LEAF = 2


@dataclass(frozen=True, eq=False)
class Stops:
    """The pieces that stop lines.

    Args:
        pieces: for the kernels.
        rows: (n,) which row of the world's `Bodies` each is.
    """

    pieces: Pieces
    rows: np.ndarray


@dataclass(frozen=True, eq=False)
class Met:
    """What lines met.

    Args:
        shares: (n,) how far along its way each was stopped, 0 to 1; inf when it was not.
        rows: (n,) row of the world's `Bodies` that stopped it, -1 when nothing did.
    """

    shares: np.ndarray
    rows: np.ndarray

    @property
    def free(self) -> np.ndarray:
        """(n,) which lines got through."""
        return np.asarray(self.rows < 0)


def stops(solids: Bodies, rows: np.ndarray) -> Stops:
    """What stops lines: these rows (n,) of the bodies of a world."""
    bounds = solids.bounds[rows]
    corners = np.stack([bounds[:, 0], bounds[:, 1], bounds[:, 0]], axis=1)
    upper = build_tree(corners, LEAF)
    order = np.asarray(rows, np.int64)[upper.order]
    boxes, links, triangles, roots = _trees(upper, [solids.meshes[row] for row in order.tolist()])
    numbers = np.zeros((len(order), COLUMNS))
    numbers[:, :CENTRE] = solids.rotations[order].transpose(0, 2, 1).reshape(-1, 9)
    numbers[:, CENTRE:HALF] = solids.centres[order]
    numbers[:, HALF:KIND] = solids.halves[order]
    numbers[:, KIND] = solids.kinds[order]
    numbers[:, ROOT] = roots
    return Stops(Pieces(numbers, boxes, links, triangles, np.zeros((2, DEPTH + 2), np.int64)), order)


def first_hits(what: Stops, starts: np.ndarray, ends: np.ndarray, only_whether: bool = False) -> Met:
    """How far lines from starts (n, 3) to ends (n, 3) get.

    A line that starts in a box or cylinder gets nowhere; of a mesh only the shell stops it.

    Args:
        only_whether: it is asked only whether a line gets through: where it is stopped, and by what, may
            then be any place and piece on it.
    """
    begin, end = (np.ascontiguousarray(points, float).reshape(-1, 3) for points in (starts, ends))
    shares, which = np.empty(len(begin)), np.empty(len(begin), np.int64)
    compiled.first_hits(what.pieces, begin, end, only_whether, shares, which)
    return Met(shares, np.where(which < 0, -1, np.append(what.rows, -1)[which]))


def nearest(what: Stops, points: np.ndarray, cap: float) -> tuple[np.ndarray, np.ndarray]:
    """Least distance from points (n, 3), and from which piece.

    Negative inside boxes and cylinders; of a mesh only the shell counts.

    Returns:
        (n,) mm, at most `cap`; (n,) row of the world's `Bodies`, -1 beyond the cap.
    """
    at = np.ascontiguousarray(points, float).reshape(-1, 3)
    distances, which = np.empty(len(at)), np.empty(len(at), np.int64)
    compiled.nearest(what.pieces, at, float(cap), distances, which)
    return distances, np.where(which < 0, -1, np.append(what.rows, -1)[which])


_of_mesh: WeakKeyDictionary[Mesh, Tree] = WeakKeyDictionary()


def _tree(mesh: Mesh) -> Tree:
    found = _of_mesh.get(mesh)
    if found is None:
        found = _of_mesh[mesh] = build_tree(np.asarray(mesh.vertices, float)[mesh.faces], LEAF)
    return found


def _trees(
    upper: Tree, meshes: Sequence[Mesh | None]
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Nodes' boxes (m, 6) and links (m, 3), triangles (t, 9), and first node of each piece (n,), -1: none."""
    boxes, corners = [upper.boxes], [np.empty((0, 9))]
    links = [np.column_stack([upper.second, upper.start, upper.stop])]
    nodes, triangles, roots = len(upper.boxes), 0, np.full(len(meshes), -1.0)
    planted: dict[str, int] = {}
    for at, mesh in enumerate(meshes):
        if mesh is None:
            continue
        if mesh.key not in planted:
            tree = _tree(mesh)
            planted[mesh.key] = nodes
            second = np.where(tree.second > 0, tree.second + nodes, 0)
            links.append(np.column_stack([second, tree.start + triangles, tree.stop + triangles]))
            boxes.append(tree.boxes)
            edges = tree.corners[:, 1:] - tree.corners[:, :1]
            corners.append(np.hstack([tree.corners[:, 0], edges.reshape(-1, 6)]))
            nodes, triangles = nodes + len(tree.boxes), triangles + len(tree.corners)
        roots[at] = planted[mesh.key]
    return np.concatenate(boxes), np.concatenate(links), np.concatenate(corners), roots
