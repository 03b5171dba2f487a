"""Meshes: do they hit, how far apart are they, does one lie inside the other?

The only door to python-fcl 0.7. What it gives that can be trusted is asked for, and
nothing else: `collide` (free or not), and the unsigned `distance` of meshes, each with a
new result object. Never its signed distance (it can hang or abort), its contact depths
(wrong by up to a factor of 2.6) or its continuous collision (misses hits). Nor its own
boxes and cylinders: their distance to a mesh is too large in square scenes (a cylinder's
in 0.2 to 1.4 % of them, by up to 5 mm). A box is twelve triangles here, a cylinder a prism.

A pair is always asked in one form: meshes first, then by key, the first at the identity,
the second at its pose relative to the first, rounded far below any tolerance. So the
same relation gives the same bytes wherever it stands in the world.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from functools import cached_property

import fcl
import numpy as np

from fitcheck.parts.solids import Kind, Mesh
from fitcheck.world import kernels
from fitcheck.world.prisms import prism

# A tree takes about 620 bytes a face; this many faces are kept, the oldest are dropped.
FACES_KEPT = 1_000_000
# Winding numbers of closed meshes are whole; how far one may be off to be read so.
WHOLE = 0.1
# Open meshes: a winding number between these leaves open whether a point is inside.
OUTSIDE, INSIDE = 0.25, 0.75

_ALWAYS_NEAREST = fcl.DistanceRequest(enable_nearest_points=True)
_ONLY_WHETHER = fcl.CollisionRequest(num_max_contacts=1, enable_contact=False)
_WHERE = fcl.CollisionRequest(num_max_contacts=1, enable_contact=True)

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
class Nearest:
    """Distance of two free pieces, mm, and the nearest pair of points, in the first's frame."""

    distance: float
    on_first: np.ndarray
    on_second: np.ndarray


@dataclass(frozen=True, eq=False)
class Tree:
    """One piece as FCL sees it; made once for each content, then only moved.

    `first` stays at the identity, `second` is moved: every FCL object made leaks 32 bytes.
    """

    key: str
    vertices: np.ndarray
    faces: np.ndarray
    closed: bool
    first: fcl.CollisionObject
    second: fcl.CollisionObject

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
    def shells(self) -> tuple[np.ndarray, ...]:
        """For each connected surface its outermost points in six directions, (6, 3)."""
        return tuple(_outermost(self.vertices[shell]) for shell in _shells(self.vertices, self.faces))


_trees: OrderedDict[str, Tree] = OrderedDict()


def tree_of(kind: int, half: np.ndarray, mesh: Mesh | None) -> Tree:
    """The tree of a piece, built on first use and shared by all pieces of equal content."""
    key = mesh.key if mesh is not None else f"{Kind(kind).name}:{half.tolist()}"
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
    shape = fcl.BVHModel()
    shape.beginModel(len(faces), len(vertices))
    # Lists of faces are read four times faster than arrays.
    shape.addSubModel(vertices, faces.tolist())
    shape.endModel()
    return Tree(key, vertices, faces, closed, fcl.CollisionObject(shape), fcl.CollisionObject(shape))


def hit(first: Tree, second: Tree, pose: Pose) -> bool:
    """Do the surfaces meet? Flush pairs may be said to, and a piece inside a mesh does not."""
    _move(second, pose)
    return bool(fcl.collide(first.first, second.second, _ONLY_WHETHER, fcl.CollisionResult()))


def nearest(first: Tree, second: Tree, pose: Pose) -> Nearest:
    """Distance and nearest points of two pieces; 0 and a common point when they meet."""
    _move(second, pose)
    result = fcl.DistanceResult()
    distance = float(fcl.distance(first.first, second.second, _ALWAYS_NEAREST, result))
    if distance < 0:
        point = _touching_point(first, second, pose)
        return Nearest(0.0, point, point)
    on_first, on_second = result.nearest_points
    return Nearest(distance, np.asarray(on_first, float), np.asarray(on_second, float))


def _touching_point(first: Tree, second: Tree, pose: Pose) -> np.ndarray:
    """A point near where two hitting surfaces meet."""
    _move(second, pose)
    result = fcl.CollisionResult()
    fcl.collide(first.first, second.second, _WHERE, result)
    if not result.contacts:
        # Distance and hit test differ in the last digit.
        return np.asarray(np.minimum(np.maximum(pose.shift, first.bounds[0]), first.bounds[1]))
    return np.array(result.contacts[0].pos, float)


def _move(tree: Tree, pose: Pose) -> None:
    tree.second.setTransform(fcl.Transform(pose.rotation, pose.shift))


def inside(first: Tree, second: Tree, pose: Pose) -> bool | None:
    """Of two pieces whose surfaces are free: does any shell of one lie in the other?

    None when a mesh is open, or the pieces touch, in a way that leaves it undecided.
    """
    back = Pose(pose.rotation.T, -pose.rotation.T @ pose.shift)
    answers = [_any_inside(first, second.shells, pose), _any_inside(second, first.shells, back)]
    if True in answers:
        return True
    return None if None in answers else False


def _any_inside(around: Tree, shells: tuple[np.ndarray, ...], pose: Pose) -> bool | None:
    undecided = False
    for shell in shells:
        points = shell @ pose.rotation.T + pose.shift
        if (points < around.bounds[0]).any() or (points > around.bounds[1]).any():
            continue
        answer = _point_inside(around, points)
        if answer:
            return True
        undecided |= answer is None
    return None if undecided else False


def _point_inside(around: Tree, points: np.ndarray) -> bool | None:
    """Are these points of one shell inside? The first clear answer counts.

    Winding number as a test for open meshes: Jacobson, Kavan and Sorkine-Hornung 2013.
    """
    for winding in kernels.winding_number(around.triangles, points):
        if around.closed and abs(winding - round(winding)) < WHOLE:
            return bool(round(winding) != 0)
        if not around.closed and not OUTSIDE < winding < INSIDE:
            return bool(winding >= INSIDE)
    return None


def _outermost(points: np.ndarray) -> np.ndarray:
    return np.asarray(points[np.concatenate([points.argmin(axis=0), points.argmax(axis=0)])])


def _shells(vertices: np.ndarray, faces: np.ndarray) -> list[np.ndarray]:
    """Vertex indices of each connected surface; equal corners count as one."""
    _, same = np.unique(vertices, axis=0, return_inverse=True)
    corners = same.reshape(-1)[faces]
    label = np.arange(corners.max() + 1)
    while True:
        least = label[corners].min(axis=1)
        before = label.copy()
        for column in range(3):
            np.minimum.at(label, corners[:, column], least)
        label = label[label]
        if (label == before).all():
            break
    used = np.unique(faces)
    groups = label[same.reshape(-1)[used]]
    used = used[np.argsort(groups, kind="stable")]
    return np.split(used, np.flatnonzero(np.diff(np.sort(groups))) + 1)
