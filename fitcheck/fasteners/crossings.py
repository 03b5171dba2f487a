"""Where straight lines lie inside pieces: what a screw, or a look through a part's thickness, meets."""

from __future__ import annotations

from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np

from fitcheck.parts.solids import Kind, Mesh, Piece, Solid

# Material that ends so near goes on: solids of one part that lie on each other, mm.
JOINT = 0.02
# Lines so near a mesh's bounds are asked all the same, mm.
BESIDE = 0.05
# So many lines are asked of a mesh together.
AT_ONCE = 16
# A mesh is kept as seen along so many ways.
WAYS_KEPT = 8


def through(solids: list[Solid], points: np.ndarray, way: np.ndarray) -> list[list[tuple[float, float]]]:
    """Stretches of material along each line through points (n, 3), joined where they meet, in order."""
    found: list[list[tuple[float, float]]] = [[] for _ in points]
    pieces = [piece for solid in solids for piece in solid.pieces]
    for piece in _near(pieces, points, way):
        for own, stretches in zip(found, crossings(piece, points, way), strict=True):
            own += stretches
    return [joined(own) for own in found]


def _near(pieces: list[Piece], points: np.ndarray, way: np.ndarray) -> list[Piece]:
    """The pieces whose balls about them the lines may meet."""
    if not pieces:
        return []
    middle = points.mean(axis=0)
    spread = float(np.sqrt(((points - middle) ** 2).sum(axis=1).max()))
    off = np.array([piece.centre for piece in pieces]) - middle
    off -= (off @ way)[:, None] * way
    sizes = np.sqrt((np.array([piece.half for piece in pieces]) ** 2).sum(axis=1))
    near = np.sqrt((off**2).sum(axis=1)) <= sizes + spread + BESIDE
    return [piece for piece, close in zip(pieces, near.tolist(), strict=True) if close]


def joined(stretches: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Stretches in order, those that meet as one."""
    whole: list[tuple[float, float]] = []
    for low, high in sorted(stretches):
        if whole and low <= whole[-1][1] + JOINT:
            whole[-1] = whole[-1][0], max(whole[-1][1], high)
        else:
            whole.append((low, high))
    return whole


def crossings(piece: Piece, points: np.ndarray, way: np.ndarray) -> list[list[tuple[float, float]]]:
    """Where lines lie inside a piece, all in one frame.

    Args:
        points: (n, 3) a place on each line, mm.
        way: (3,) unit, the same for all.

    Returns:
        For each line its stretches inside, (from, to) in mm along `way` from its place.
    """
    own = (points - piece.centre) @ piece.rotation
    along = way @ piece.rotation
    if piece.kind == Kind.MESH:
        assert piece.mesh is not None
        found: list[list[tuple[float, float]]] = [[] for _ in own]
        # Most lines miss most meshes: their bounds tell, a little wider for what runs along a face.
        spans = _slabs(own, along, piece.half + BESIDE)
        met = np.flatnonzero(spans[:, 1] > spans[:, 0])
        if len(met):
            inside = _mesh_crossings(piece.mesh, own[met], along)
            for k, stretches in zip(met.tolist(), inside, strict=True):
                found[k] = stretches
        return found
    spans = _slabs(own, along, piece.half if piece.kind == Kind.BOX else piece.half * [np.inf, np.inf, 1.0])
    if piece.kind == Kind.CYLINDER:
        spans = _meet(spans, _round(own, along, float(piece.half[0])))
    return [[(float(low), float(high))] if high > low else [] for low, high in spans]


def _slabs(own: np.ndarray, along: np.ndarray, half: np.ndarray) -> np.ndarray:
    """(n, 2) stretch of each line between the planes of a box; empty ones end before they begin."""
    spans = np.tile([-np.inf, np.inf], (len(own), 1))
    for k in range(3):
        if not np.isfinite(half[k]):
            continue
        if abs(along[k]) < 1e-12:
            spans[np.abs(own[:, k]) >= half[k]] = [np.inf, -np.inf]
        else:
            ends = np.sort((np.array([-half[k], half[k]]) - own[:, k, None]) / along[k], axis=1)
            spans = _meet(spans, ends)
    return spans


def _round(own: np.ndarray, along: np.ndarray, radius: float) -> np.ndarray:
    """(n, 2) stretch of each line within a radius of the z axis."""
    a = float(along[:2] @ along[:2])
    b = own[:, :2] @ along[:2]
    c = (own[:, :2] ** 2).sum(axis=1) - radius**2
    if a < 1e-18:
        return np.where((c < 0)[:, None], [-np.inf, np.inf], [np.inf, -np.inf])
    root = b**2 - a * c
    half = np.sqrt(np.maximum(root, 0.0))
    return np.where((root > 0)[:, None], np.column_stack([-b - half, -b + half]) / a, [np.inf, -np.inf])


def _meet(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    return np.column_stack([np.maximum(one[:, 0], other[:, 0]), np.minimum(one[:, 1], other[:, 1])])


@dataclass(frozen=True, eq=False)
class _Shadow:
    """Triangles (m, 3, 3) seen along a way: axes (2, 3) across it, and least and greatest (2, m) in these."""

    corners: np.ndarray
    axes: np.ndarray
    low: np.ndarray
    high: np.ndarray


_shadows: WeakKeyDictionary[Mesh, dict[bytes, _Shadow]] = WeakKeyDictionary()


def _shadow(mesh: Mesh, along: np.ndarray) -> _Shadow:
    """A mesh seen along a way, kept: a panel is asked once for each of its holes."""
    known = _shadows.setdefault(mesh, {})
    key = along.tobytes()
    if key not in known:
        if len(known) >= WAYS_KEPT:
            known.clear()
        corners = mesh.vertices[mesh.faces]
        first = _cross(along, np.eye(3)[int(np.abs(along).argmin())])
        first = first / np.linalg.norm(first)
        axes = np.array([first, _cross(along, first)])
        flat = corners @ axes.T
        low, high = (np.ascontiguousarray(ends.T) for ends in (flat.min(axis=1), flat.max(axis=1)))
        known[key] = _Shadow(corners, axes, low, high)
    return known[key]


def _mesh_crossings(mesh: Mesh, own: np.ndarray, along: np.ndarray) -> list[list[tuple[float, float]]]:
    """The same of a mesh: where a line goes in and comes out, by Möller and Trumbore (1997)."""
    shadow = _shadow(mesh, along)
    flat = own @ shadow.axes.T
    low, high = flat.min(axis=0) - 1e-6, flat.max(axis=0) + 1e-6
    near = np.flatnonzero((shadow.low[0] <= high[0]) & (shadow.high[0] >= low[0]))
    near = near[(shadow.low[1, near] <= high[1]) & (shadow.high[1, near] >= low[1])]
    corners = shadow.corners[near]
    edge, other = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    cross = _cross(along, other)
    size = (edge * cross).sum(axis=1)
    facing = np.abs(size) > 1e-12
    corners, edge, other, cross, size = (array[facing] for array in (corners, edge, other, cross, size))
    # The three products of the method, each with what does not hang on the line worked out once.
    aside, normal = _cross(edge, along), _cross(edge, other)
    found = []
    for start in range(0, len(own), AT_ONCE):
        off = own[start : start + AT_ONCE, None] - corners[:, 0]
        u = np.einsum("lfk,fk->lf", off, cross) / size
        v = np.einsum("lfk,fk->lf", off, aside) / size
        ways = np.einsum("lfk,fk->lf", off, normal) / size
        hit = (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1 + 1e-9)
        found += [_stretches(way[met], size[met] > 0) for way, met in zip(ways, hit, strict=True)]
    return found


def _cross(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Cross products (n, 3); numpy's own takes ten times as long over a few hundred."""
    x, y, z = a[..., 0], a[..., 1], a[..., 2]
    u, v, w = b[..., 0], b[..., 1], b[..., 2]
    return np.stack([y * w - z * v, z * u - x * w, x * v - y * u], axis=-1)


def _stretches(ways: np.ndarray, entering: np.ndarray) -> list[tuple[float, float]]:
    """Stretches between going in and coming out; a line through an edge crosses it twice the same way."""
    found: list[tuple[float, float]] = []
    start: float | None = None
    for k in np.lexsort((entering, ways)).tolist():
        if entering[k] and start is None:
            start = float(ways[k])
        elif not entering[k] and start is not None and (not found or ways[k] > start):
            found.append((start, float(ways[k])))
            start = None
    return found
