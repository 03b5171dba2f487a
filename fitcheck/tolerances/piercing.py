"""How surely do two surfaces run through each other? For meshes that are open, and so have no inside.

An edge that goes through a triangle still does after a move t of either, |t| <= s, if both its ends lie
farther than s from the triangle's plane, and the place where it goes through farther from the triangle's
edges than s (1 + |along the plane| / |across it|): it moves by t, and along the edge by what t has across.
"""

from __future__ import annotations

import numpy as np

from fitcheck.world.bodies import Bodies
from fitcheck.world.trees import tree_of

# Edges times triangles that are looked at, at most, and at once.
MOST, BATCH = 4_000_000, 200_000
# An edge along a plane never goes through it: its slope against it is above this.
STEEP = 1e-6


def pierces_by(two: Bodies) -> float:
    """How far two pieces may be moved with their surfaces still in each other, mm; 0 if unknown."""
    first, second = (_triangles(two, row) for row in (0, 1))
    shared = np.array([
        np.maximum(first.min(axis=(0, 1)), second.min(axis=(0, 1))),
        np.minimum(first.max(axis=(0, 1)), second.max(axis=(0, 1))),
    ])  # fmt: skip
    first, second = (_within(one, shared) for one in (first, second))
    if not len(first) or not len(second) or 3 * len(first) * len(second) > MOST:
        return 0.0
    return max(_edges_through(first, second), _edges_through(second, first))


def _triangles(two: Bodies, row: int) -> np.ndarray:
    """(n, 3, 3) corners in the world; of a cylinder those of a prism inside it."""
    tree = tree_of(int(two.kinds[row]), two.halves[row], two.meshes[row])
    return np.asarray(tree.triangles @ two.rotations[row].T + two.centres[row])


def _within(triangles: np.ndarray, bounds: np.ndarray) -> np.ndarray:
    low, high = triangles.min(axis=1), triangles.max(axis=1)
    return np.asarray(triangles[((low <= bounds[1]) & (high >= bounds[0])).all(axis=1)])


def _edges_through(edged: np.ndarray, triangles: np.ndarray) -> float:
    starts = edged.reshape(-1, 3)
    ends = np.roll(edged, -1, axis=1).reshape(-1, 3)
    each = max(BATCH // len(triangles), 1)
    return max(
        float(_through(starts[k : k + each], ends[k : k + each], triangles).max())
        for k in range(0, len(starts), each)
    )


def _through(p: np.ndarray, q: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """(e, t) how far edges p q (e, 3) may be moved and still go through triangles (t, 3, 3), mm."""
    a = triangles[:, 0]
    normal = np.cross(triangles[:, 1] - a, triangles[:, 2] - a)
    size = np.linalg.norm(normal, axis=1)
    normal = normal / np.maximum(size, 1e-300)[:, None]
    height_p, height_q = (point @ normal.T - (a * normal).sum(axis=1) for point in (p, q))
    ends = np.where(height_p * height_q < 0, np.minimum(np.abs(height_p), np.abs(height_q)), 0.0)
    way = q - p
    across = way @ normal.T
    steep = np.abs(across) > STEEP
    share = np.where(steep, -height_p / np.where(steep, across, 1.0), 0.0)
    at = p[:, None] + share[..., None] * way[:, None]
    side = np.full(at.shape[:2], np.inf)
    for k in range(3):
        corner, edge = triangles[:, k], triangles[:, (k + 1) % 3] - triangles[:, k]
        inward = np.cross(normal, edge)
        inward = inward / np.maximum(np.linalg.norm(inward, axis=1), 1e-300)[:, None]
        side = np.minimum(side, np.einsum("etd,td->et", at, inward) - (corner * inward).sum(axis=1))
    flat = np.sqrt(np.maximum((way**2).sum(axis=1)[:, None] - across**2, 0.0))
    side = side / (1 + flat / np.where(steep, np.abs(across), 1.0))
    return np.where(steep & (size > 0), np.maximum(np.minimum(ends, side), 0.0), 0.0)
