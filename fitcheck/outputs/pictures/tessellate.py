"""Boxes, cylinders and meshes as triangles with normals and the edges that a draughtsman would draw."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from fitcheck.parts.solids import Kind, Mesh, Piece
from fitcheck.world.frames import Frame

# Two faces that meet at more than this angle have an edge to draw; common practice.
FEATURE_ANGLE_DEG = 30.0
CYLINDER_SIDES, FEWEST_SIDES = 48, 12
NO_LINES = np.zeros((0, 2, 3))


@dataclass(frozen=True)
class Held:
    """Carries a mesh into a cache, which compares keys only."""

    mesh: Mesh

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Held) and other.mesh.key == self.mesh.key

    def __hash__(self) -> int:
        return hash(self.mesh.key)


@dataclass(frozen=True, eq=False)
class Patch:
    """A surface as triangles, with the lines that may be drawn on it.

    Args:
        points, normals: (n, 3).
        triangles: (m, 3) into points.
        edges: (k, 2, 3) creases and borders, always drawn.
        bends: (b, 2, 3) edges between facets of one round surface, drawn where it turns out of sight:
            where the facets' `bend_normals` (b, 2, 3) look to either side of the viewer's direction.
    """

    points: np.ndarray
    normals: np.ndarray
    triangles: np.ndarray
    edges: np.ndarray
    bends: np.ndarray
    bend_normals: np.ndarray

    def moved(self, frame: Frame) -> Patch:
        """The same surface, placed."""
        return Patch(
            frame.point(self.points),
            frame.direction(self.normals),
            self.triangles,
            frame.point(self.edges),
            frame.point(self.bends),
            frame.direction(self.bend_normals),
        )

    def lines_seen(self, towards: np.ndarray) -> np.ndarray:
        """(k, 2, 3) creases, borders and outlines as seen from a direction."""
        sides = self.bend_normals @ towards
        return np.concatenate([self.edges, self.bends[(sides[:, 0] > 0) != (sides[:, 1] > 0)]])

    @staticmethod
    def joined(patches: Sequence[Patch]) -> Patch:
        """Several surfaces as one."""
        starts = np.concatenate([[0], np.cumsum([len(p.points) for p in patches])]).astype(int)
        return Patch(
            np.concatenate([p.points for p in patches]),
            np.concatenate([p.normals for p in patches]),
            np.concatenate([p.triangles + s for p, s in zip(patches, starts, strict=False)]),
            np.concatenate([p.edges for p in patches]),
            np.concatenate([p.bends for p in patches]),
            np.concatenate([p.bend_normals for p in patches]),
        )


def patch_of(piece: Piece, sagitta: float = 0.0) -> Patch:
    """A piece's surface in the frame of its part.

    Args:
        piece: box, cylinder or mesh.
        sagitta: how far a facet of a cylinder may lie inside it, mm; 0: CYLINDER_SIDES facets for any.
    """
    if piece.mesh is not None:
        plain = _mesh(Held(piece.mesh))
    elif piece.kind == Kind.BOX:
        plain = _box(*map(float, piece.half))
    else:
        radius = float(piece.half[0])
        plain = _cylinder(radius, float(piece.half[2]), sides(radius, sagitta))
    return plain.moved(Frame(piece.rotation, piece.centre))


@lru_cache(maxsize=1024)
def _box(x: float, y: float, z: float) -> Patch:
    half = np.array([x, y, z])
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], float)
    points: list[np.ndarray] = []
    normals, triangles = [], []
    for axis in range(3):
        for sign in (-1.0, 1.0):
            u, v = (axis + 1) % 3, (axis + 2) % 3
            face = np.zeros((4, 3))
            face[:, axis] = sign
            face[:, u], face[:, v] = corners[:, 0], corners[:, 1]
            start = 4 * len(points)
            order = [[0, 1, 2], [0, 2, 3]] if sign > 0 else [[0, 2, 1], [0, 3, 2]]
            triangles.append(np.array(order) + start)
            points.append(face * half)
            normals.append(np.tile(np.eye(3)[axis] * sign, (4, 1)))
    signs = np.array([[a, b, c] for a in (-1, 1) for b in (-1, 1) for c in (-1, 1)], float)
    pairs = [(i, j) for i in range(8) for j in range(i) if np.abs(signs[i] - signs[j]).sum() == 2]
    edges = np.array([[signs[i], signs[j]] for i, j in pairs]) * half
    return Patch(
        np.concatenate(points), np.concatenate(normals), np.concatenate(triangles), edges, NO_LINES, NO_LINES
    )


def sides(radius: float, sagitta: float) -> int:
    """How many facets keep within a sagitta of a round surface: from FEWEST_SIDES to CYLINDER_SIDES."""
    if sagitta <= 0:
        return CYLINDER_SIDES
    needed = np.pi / np.arccos(max(1 - sagitta / radius, 0.0))
    return int(np.clip(4 * np.ceil(needed / 4), FEWEST_SIDES, CYLINDER_SIDES))


@lru_cache(maxsize=1024)
def _cylinder(radius: float, half: float, n: int) -> Patch:
    angle = np.arange(n) * 2 * np.pi / n
    ring = np.stack([np.cos(angle), np.sin(angle), np.zeros(n)], axis=1)
    low, high = ring * radius - [0, 0, half], ring * radius + [0, 0, half]
    middle = np.array([[0, 0, -half], [0, 0, half]])
    points = np.concatenate([low, high, low, high, middle])
    down, up = np.tile([0, 0, -1.0], (n, 1)), np.tile([0, 0, 1.0], (n, 1))
    normals = np.concatenate([ring, ring, down, up, [[0, 0, -1.0], [0, 0, 1.0]]])
    i, j = np.arange(n), (np.arange(n) + 1) % n
    sides = [np.stack([i, j, j + n], 1), np.stack([i, j + n, i + n], 1)]
    caps = [
        np.stack([j + 2 * n, i + 2 * n, np.full(n, 4 * n)], 1),
        np.stack([i + 3 * n, j + 3 * n, np.full(n, 4 * n + 1)], 1),
    ]
    edges = np.concatenate([np.stack([low[i], low[j]], 1), np.stack([high[i], high[j]], 1)])
    middle_out = np.stack([np.cos(angle + np.pi / n), np.sin(angle + np.pi / n), np.zeros(n)], axis=1)
    around = np.stack([np.roll(middle_out, 1, axis=0), middle_out], axis=1)
    return Patch(points, normals, np.concatenate(sides + caps), edges, np.stack([low, high], axis=1), around)


@lru_cache(maxsize=256)
def _mesh(held: Held) -> Patch:
    vertices, faces = np.asarray(held.mesh.vertices, float), np.asarray(held.mesh.faces)
    corners = vertices[faces]
    flat = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    unit = flat / np.maximum(np.linalg.norm(flat, axis=1, keepdims=True), 1e-12)
    edges, sharp_corner, bends, bend_normals = _lines(vertices, faces, unit)
    # Corners on a sharp edge take their face's own normal; the others the mean of the faces around.
    around = np.zeros_like(vertices)
    for k in range(3):
        np.add.at(around, faces[:, k], flat)
    around /= np.maximum(np.linalg.norm(around, axis=1, keepdims=True), 1e-12)
    sharp = sharp_corner[faces]
    own = np.repeat(unit[:, None, :], 3, axis=1)
    normals = np.where(sharp[..., None], own, around[faces])
    # One point for each distinct (vertex, normal), so that splits of shared edges stay shared.
    rows = np.concatenate([faces.reshape(-1, 1), np.round(normals.reshape(-1, 3), 3)], axis=1)
    _, first, triangles = np.unique(rows, axis=0, return_index=True, return_inverse=True)
    points, normals = corners.reshape(-1, 3)[first], normals.reshape(-1, 3)[first]
    return Patch(points, normals, triangles.reshape(-1, 3), edges, bends, bend_normals)


def _lines(vertices: np.ndarray, faces: np.ndarray, unit: np.ndarray) -> tuple[np.ndarray, ...]:
    """Creases and borders (k, 2, 3); (n,) bool vertices on them; the other edges; their facets' normals."""
    ends = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2).astype(np.int64), axis=1)
    order = np.lexsort((ends[:, 1], ends[:, 0]))
    sorted_ends, face_of = ends[order], order // 3
    first = np.flatnonzero(np.r_[True, (np.diff(sorted_ends, axis=0) != 0).any(axis=1)])
    count = np.diff(np.r_[first, len(order)])
    one, two = unit[face_of[first]], unit[face_of[np.minimum(first + 1, len(order) - 1)]]
    flat = (count == 2) & ((one * two).sum(axis=1) > np.cos(np.radians(FEATURE_ANGLE_DEG)))
    a, b = sorted_ends[first].T
    on_edge = np.zeros(len(vertices), bool)
    on_edge[a[~flat]] = on_edge[b[~flat]] = True
    both = np.stack([vertices[a], vertices[b]], axis=1)
    return both[~flat], on_edge, both[flat], np.stack([one, two], axis=1)[flat]
