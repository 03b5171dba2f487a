"""Worlds of clutter for runs, and distances in them by other libraries than fitcheck's own.

Boxes and cylinders by coal (a ball of radius 0 against its own shapes), how deep a point lies in
them by arithmetic; triangles by trimesh's closest points; runs by dense points and scipy's tree.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any

import coal
import numpy as np
import shapely
import trimesh
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation
from worlds import box, part, rod, world

from fitcheck.parts.pieces import new_mesh
from fitcheck.parts.solids import Kind, Piece
from fitcheck.runs.rows import Laid
from fitcheck.world.frames import Frame
from fitcheck.world.world import Part, World

# Points on a run stand this far apart, mm: from d away that is too far by less than step^2 / 8 d.
STEP = 0.02


def meshed(made: trimesh.Trimesh, closed: bool | None = None) -> Piece:
    """A mesh of another library as a piece at the same place."""
    low, high = made.bounds
    middle = (low + high) / 2
    tight = made.is_watertight if closed is None else closed
    return Piece(
        Kind.MESH, (high - low) / 2, np.eye(3), middle,
        new_mesh(made.vertices - middle, made.faces.astype(np.int32), tight, 0.0),
    )  # fmt: skip


def plate(thickness: float, *holes: shapely.Geometry, size: float = 300.0) -> Piece:
    """A square sheet about the origin, square to z, with holes (polygons in its plane)."""
    half = size / 2
    outline = shapely.box(-half, -half, half, half).difference(shapely.union_all(holes))
    made = trimesh.creation.extrude_polygon(outline, thickness)
    return meshed(made.apply_translation([0, 0, -thickness / 2]))


def round_hole(diameter: float, x: float = 0.0, y: float = 0.0, sides: int = 512) -> shapely.Geometry:
    """A disc with its corners on the circle: too small by r (1 - cos(pi / sides)), 0.0004 mm at r 20."""
    return shapely.Point(x, y).buffer(diameter / 2, quad_segs=sides // 4)


def oblong_hole(width: float, length: float, x: float = 0.0, y: float = 0.0) -> shapely.Geometry:
    """A slot with round ends, along x."""
    half = (length - width) / 2
    return shapely.LineString([(x - half, y), (x + half, y)]).buffer(width / 2, quad_segs=128)


def turned(rng: np.random.Generator, at: Any = (0, 0, 0)) -> Frame:
    """A random turn about a place."""
    return Frame(Rotation.random(rng=rng).as_matrix(), np.array(at, float))


def quarter(rng: np.random.Generator, at: Any = (0, 0, 0)) -> Frame:
    """One of the 24 turns that keep the axes square."""
    return Frame(np.round(Rotation.create_group("O").as_matrix()[rng.integers(24)]), np.array(at, float))


def clutter(seed: int, count: int = 16, square: bool = False, size: float = 200.0) -> World:
    """Boxes, rods, closed and open meshes; on square places and sizes, or anywhere and tilted."""
    rng = np.random.default_rng(seed)
    parts = []
    for k in range(count):
        at, half = rng.uniform(0, size, 3), rng.uniform(1, 30, 3)
        pose = turned(rng, at)
        if square:
            at, half = np.round(at, -1), np.maximum(np.round(half, -1), 10)
            pose = quarter(rng, at)
        parts.append(part(f"p{k}", _piece(k % 5, half), pose=pose))
    return world(*parts)


def _piece(kind: int, half: np.ndarray) -> Piece:
    if kind == 0:
        return box(-half, half)
    if kind == 1:
        return rod((0, 0, -half[2]), (0, 0, half[2]), 2 * half[0])
    if kind == 2:
        return meshed(trimesh.creation.torus(half.max() + 5, half.min(), 16, 8))
    if kind == 3:
        return meshed(trimesh.creation.icosphere(2, half[0]).slice_plane((0, 0, 0), (0, 0, 1)), closed=False)
    return plate(0.5, round_hole(half[0], sides=16), size=2 * half[1] + 40)


def piece_distance(piece: Piece, pose: Frame, points: np.ndarray) -> np.ndarray:
    """(n,) from points to one placed piece, mm; negative inside boxes and cylinders."""
    own = pose @ Frame(piece.rotation, piece.centre)
    if piece.mesh is not None:
        shell = trimesh.Trimesh(own.point(piece.mesh.vertices), piece.mesh.faces, process=False)
        return np.asarray(trimesh.proximity.closest_point(shell, points)[1])
    inside = own.inverse().point(points)
    half = piece.half
    if piece.kind == Kind.BOX:
        shape = coal.Box(*(2 * half))
        depth = (half - np.abs(inside)).min(axis=1)
    else:
        shape = coal.Cylinder(float(half[0]), float(2 * half[2]))
        depth = np.minimum(half[0] - np.hypot(*inside[:, :2].T), half[2] - np.abs(inside[:, 2]))
    apart = np.array([_coal_distance(shape, own, point) for point in points])
    return np.where(depth > 0, -depth, apart)


def _coal_distance(shape: coal.CollisionGeometry, own: Frame, point: np.ndarray) -> float:
    request, result = coal.DistanceRequest(), coal.DistanceResult()
    request.enable_signed_distance = False
    at = coal.Transform3s(own.rotation, own.origin)
    ball = coal.Transform3s(np.eye(3), point)
    return max(coal.distance(shape, at, coal.Sphere(0.0), ball, request, result), 0.0)


def laid_distance(run: Laid, points: np.ndarray) -> np.ndarray:
    """(n,) from points to a laid run's surface, too large by at most STEP^2 / 8 over the way to its middle."""
    return np.asarray(_tree(run).query(points)[0] - run.radius)


@cache
def _tree(run: Laid) -> cKDTree:
    return cKDTree(run.route.sample(STEP))


def body_distances(scene: World, points: np.ndarray, runs: Sequence[Laid] = ()) -> dict[str, np.ndarray]:
    """Of each solid `part.solid` and each run by name, (n,) how far points (n, 3) are from it."""
    found = {
        f"{one.name}.{solid.name}": np.min(
            [piece_distance(p, one.pose, points) for p in solid.pieces], axis=0
        )
        for one in scene.parts
        for solid in one.shape.solids.values()
    }
    return found | {run.name: laid_distance(run, points) for run in runs}


def placed(one: Part, pose: Frame) -> Part:
    """The same part elsewhere."""
    return Part(one.name, one.group, one.model, pose @ one.pose, one.shape)
