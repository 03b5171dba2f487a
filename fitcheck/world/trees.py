"""Pieces as triangles, made once for each content: which of them hang together, do they hit?

The only door to python-fcl 0.7. What it gives that can be trusted is asked for, and
nothing else: `collide` of meshes (free or not), each with a new result object, which tells
contact from interference where an open mesh has no volume. Never its signed distance (it
can hang or abort), its contact depths (wrong by up to a factor of 2.6) or its continuous
collision (misses hits). Nor its own boxes and cylinders, which are wrong in square scenes.
Its distance of meshes is right, and what the tests hold `kernels.descent` against.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from fitcheck.parts.solids import Kind, Mesh
from fitcheck.world.kernels.shells import join_corners
from fitcheck.world.prisms import prism

MESH = int(Kind.MESH)
NAMES = {int(kind): kind.name for kind in Kind}

# What FCL holds takes about 620 bytes a face; this many faces are kept, the oldest are dropped.
FACES_KEPT = 1_000_000
# A mesh of more shells than this may be triangles that share no vertices, only their places.
FEW_SHELLS = 64

BOX_CORNERS = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], float)
# Outward by the right-hand rule.
BOX_FACES = np.array(
    [[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1],
     [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3]],
    np.int32,
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Pose:
    """Where the second of a pair is in the frame of the first: x = rotation @ y + shift."""

    rotation: np.ndarray
    shift: np.ndarray


@dataclass(frozen=True, eq=False)
class Tree:
    """One piece as triangles: a mesh, the twelve of a box, those of a cylinder's prism."""

    key: str
    kind: int
    half: np.ndarray
    vertices: np.ndarray
    faces: np.ndarray
    closed: bool

    @cached_property
    def triangles(self) -> np.ndarray:
        """(n, 3, 3) corners of the triangles, mm."""
        return np.ascontiguousarray(self.vertices[self.faces])

    @cached_property
    def triangle_bounds(self) -> np.ndarray:
        """(2, n, 3) low and high corners of the triangles, mm."""
        return np.array([self.triangles.min(axis=1), self.triangles.max(axis=1)])

    @cached_property
    def bounds(self) -> np.ndarray:
        """(2, 3), mm."""
        return np.array([self.vertices.min(axis=0), self.vertices.max(axis=0)])

    @cached_property
    def objects(self) -> tuple[Any, Any]:
        """The piece as FCL sees it: one that stays, one that is moved. Every one made leaks 32 bytes."""
        import fcl

        shape = _bvh(self.vertices, self.faces)
        return fcl.CollisionObject(shape), fcl.CollisionObject(shape)

    @cached_property
    def shells(self) -> np.ndarray:
        """(s, 6, 3) the outermost points, in six directions, of each connected surface."""
        return np.array([_outermost(self.vertices[shell]) for shell in _shells(self.vertices, self.faces)])


_trees: OrderedDict[str, Tree] = OrderedDict()


def tree_of(kind: int, half: np.ndarray, mesh: Mesh | None) -> Tree:
    """The tree of a piece, made on first use and shared by all pieces of equal content."""
    key = mesh.key if mesh is not None else f"{NAMES[kind]}:{half.tolist()}"
    found = _trees.get(key)
    if found is None:
        found = _trees[key] = _build(key, kind, half, mesh)
        while len(_trees) > 1 and sum(len(tree.faces) for tree in _trees.values()) > FACES_KEPT:
            _trees.popitem(last=False)
    else:
        _trees.move_to_end(key)
    return found


def _build(key: str, kind: int, half: np.ndarray, mesh: Mesh | None) -> Tree:
    closed = True
    if mesh is not None:
        vertices, faces, closed = np.ascontiguousarray(mesh.vertices, float), mesh.faces, mesh.closed
    elif kind == Kind.CYLINDER:
        vertices, faces = prism(float(half[0]), float(half[2]))
    else:
        vertices, faces = BOX_CORNERS * half, BOX_FACES
    return Tree(key, kind, np.array(half, float), vertices, faces, closed)


def hit(first: Tree, second: Tree, pose: Pose) -> bool:
    """Do the surfaces meet? Flush pairs may be said to, and a piece inside a mesh does not."""
    import fcl

    moved = second.objects[1]
    moved.setTransform(fcl.Transform(pose.rotation, pose.shift))
    only_whether = fcl.CollisionRequest(num_max_contacts=1, enable_contact=False)
    return bool(fcl.collide(first.objects[0], moved, only_whether, fcl.CollisionResult()))


class Crowd:
    """Many surfaces that stay, and the question whether one that moves meets any of them.

    Of a surface that lies wholly inside another nothing is said.

    Args:
        placed: trees with the world's rotation (3, 3) and place (3,) of each.
    """

    def __init__(self, placed: Sequence[tuple[Tree, np.ndarray, np.ndarray]]) -> None:
        import fcl

        self._objects = [
            fcl.CollisionObject(_bvh(tree.vertices, tree.faces), fcl.Transform(turn, at))
            for tree, turn, at in placed
        ]
        self._manager = fcl.DynamicAABBTreeCollisionManager()
        self._manager.registerObjects(self._objects)
        self._manager.setup()

    def met_by(self, mover: Any, rotation: np.ndarray, place: np.ndarray) -> bool:
        """Does a `mover` meet any surface where a pose (world_from_mover) puts it?"""
        import fcl

        if not self._objects:
            return False
        mover.setTransform(fcl.Transform(rotation, place))
        data = fcl.CollisionData(fcl.CollisionRequest(), fcl.CollisionResult())
        self._manager.collide(mover, data, fcl.defaultCollisionCallback)
        return bool(data.result.is_collision)


def mover(vertices: np.ndarray, faces: np.ndarray) -> Any:
    """Triangles as one thing that `Crowd.met_by` takes."""
    import fcl

    return fcl.CollisionObject(_bvh(vertices, faces))


def _bvh(vertices: np.ndarray, faces: np.ndarray) -> Any:
    import fcl

    shape = fcl.BVHModel()
    shape.beginModel(len(faces), len(vertices))
    # Lists of faces are read four times faster than arrays.
    shape.addSubModel(vertices, faces.tolist())
    shape.endModel()
    return shape


def _outermost(points: np.ndarray) -> np.ndarray:
    return np.asarray(points[np.concatenate([points.argmin(axis=0), points.argmax(axis=0)])])


def _shells(vertices: np.ndarray, faces: np.ndarray) -> list[np.ndarray]:
    """Vertex indices of each connected surface; those of equal place count as one if many are apart."""
    label = _joined(len(vertices), faces)
    used = np.flatnonzero(np.bincount(faces.reshape(-1), minlength=len(vertices)))
    if (label[used] == used).sum() > FEW_SHELLS:
        _, same = np.unique(vertices, axis=0, return_inverse=True)
        label = _joined(len(vertices), same.reshape(-1)[faces])[same.reshape(-1)]
    groups = label[used]
    order = np.argsort(groups, kind="stable")
    return np.split(used[order], np.flatnonzero(np.diff(groups[order])) + 1)


def _joined(count: int, faces: np.ndarray) -> np.ndarray:
    """(n,) the least vertex that each hangs together with."""
    label = np.arange(count)
    join_corners(np.ascontiguousarray(faces, np.int64), label)
    return label
