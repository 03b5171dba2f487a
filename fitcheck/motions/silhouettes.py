"""Silhouettes: what two bodies look like along a move, and how far one must be shifted to pass the other.

A flat triangle that is shifted along a direction overlaps another one over one interval of shifts: of
two convex outlines there is none unless they overlap on every axis across one of their edges (the
separating axis theorem). The shift is the first place that no interval covers.
"""

from __future__ import annotations

from collections import OrderedDict

import manifold3d
import numpy as np

from fitcheck.world import volumes
from fitcheck.world.bodies import Bodies
from fitcheck.world.engine import CONTACT
from fitcheck.world.trees import Pose

# Pairs of triangles that are worked on at once.
LOT = 200_000
# Silhouettes that are kept.
KEPT = 300


_seen: OrderedDict[tuple[int, bytes], np.ndarray | None] = OrderedDict()


def silhouette(solids: Bodies, body: int, frame: np.ndarray) -> np.ndarray | None:
    """A body seen along z of a frame (3, 3): triangles (n, 3, 2) in its x, y; None where a mesh is open.

    Kept for the last few bodies, wherever they are shifted to.
    """
    at = solids.centres[solids.all[body].pieces.start]
    key = int(solids.serials[body]), frame.tobytes()
    if key not in _seen:
        _seen[key] = _outline(solids, body, frame, at)
        if len(_seen) > KEPT:
            _seen.popitem(last=False)
    found = _seen[key]
    return None if found is None else found + (at @ frame)[:2]


def _outline(solids: Bodies, body: int, frame: np.ndarray, at: np.ndarray) -> np.ndarray | None:
    """The same about the middle of the body's first piece."""
    solid = volumes.joined(solids, solids.all[body].pieces, at)
    if solid is None:
        return None
    outline = volumes.moved(solid, Pose(frame.T, np.zeros(3))).project().to_polygons()
    if not outline:
        return np.zeros((0, 3, 2))
    points = np.concatenate(outline)
    return np.asarray(points[np.asarray(manifold3d.triangulate(outline))])


def least_shift(mover: np.ndarray, stayer: np.ndarray, direction: np.ndarray) -> float:
    """How far triangles (n, 3, 2) must go along a unit direction (2,) until they overlap none of (m, 3, 2).

    Overlaps that last no longer than a contact do not count. Exact, but for slits no wider than two contacts.
    """
    # What one triangle of the mover has to pass lies ahead of it and beside no other way.
    across = np.array([-direction[1], direction[0]])
    low, high = (mover @ across).min(axis=1), (mover @ across).max(axis=1)
    below, above = (stayer @ across).min(axis=1), (stayer @ across).max(axis=1)
    ahead = (stayer @ direction).max(axis=1)[None] > (mover @ direction).min(axis=1)[:, None] + CONTACT
    beside = (above[None] > low[:, None] + CONTACT) & (high[:, None] > below[None] + CONTACT)
    pairs = np.argwhere(ahead & beside)
    intervals = [
        _overlapping(mover[lot[:, 0]], stayer[lot[:, 1]], direction)
        for lot in np.array_split(pairs, max(len(pairs) // LOT, 1))
    ]
    found = np.concatenate(intervals)
    found = found[found[:, 1] - found[:, 0] > CONTACT]
    shift = 0.0
    for enter, leave in found[np.argsort(found[:, 0], kind="stable")].tolist():
        if enter > shift - CONTACT:
            break
        shift = max(shift, leave)
    return shift


def _overlapping(first: np.ndarray, second: np.ndarray, direction: np.ndarray) -> np.ndarray:
    """(k, 2) from where to where the first of each pair of triangles, shifted, overlaps the second."""
    enter, leave = np.full(len(first), -np.inf), np.full(len(first), np.inf)
    for triangles in (first, second):
        for a, b in ((0, 1), (1, 2), (2, 0)):
            edge = triangles[:, b] - triangles[:, a]
            length = np.linalg.norm(edge, axis=1, keepdims=True)
            normal = np.column_stack([-edge[:, 1], edge[:, 0]]) / np.where(length > 0, length, 1.0)
            one = np.einsum("kij,kj->ki", first, normal)
            other = np.einsum("kij,kj->ki", second, normal)
            speed = normal @ direction
            before = other.min(axis=1) - one.max(axis=1)
            after = other.max(axis=1) - one.min(axis=1)
            still = np.abs(speed) < 1e-12
            apart = still & ((before >= -CONTACT) | (after <= CONTACT))
            divisor = np.where(still, 1.0, speed)
            ends = np.sort(np.column_stack([before / divisor, after / divisor]), axis=1)
            enter = np.where(still, np.where(apart, np.inf, enter), np.maximum(enter, ends[:, 0]))
            leave = np.where(still, leave, np.minimum(leave, ends[:, 1]))
    return np.column_stack([enter, np.maximum(leave, enter)])
