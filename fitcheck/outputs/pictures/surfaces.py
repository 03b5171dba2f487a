"""The surface of each solid as triangles, refined only where its colour may change."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fitcheck.outputs.pictures.tessellate import Patch, patch_of
from fitcheck.outputs.pictures.to_piece import distance_to_piece
from fitcheck.parts.solids import Piece, Solid
from fitcheck.world.frames import Frame
from fitcheck.world.world import Part

# Longest edge that a colour is interpolated over, mm: far from, and near, what must not touch.
COARSE, FINE = 12.0, 3.0
# The least distance to a triangle's inside can undercut its corners by 0.577 of the longest edge.
UNDERCUT = 0.58
ROUNDS = 12
# Bends of tubes are cylinders that stand a little proud of each other, mm.
SEAM = 0.5


@dataclass(frozen=True, eq=False)
class Skin:
    """The surface of one solid in the world.

    Args:
        part: index into World.parts.
        solid: the solid.
        patch: triangles and feature edges, world mm.
    """

    part: int
    solid: Solid
    patch: Patch

    @property
    def bounds(self) -> np.ndarray:
        """(2, 3) world bounds, mm."""
        points = self.patch.points
        return np.array([points.min(axis=0), points.max(axis=0)])


def skins(parts: Sequence[Part], sagitta: float = 0.0) -> list[Skin]:
    """One skin a solid that has pieces, part by part in scene order (as `bodies` counts them).

    `sagitta` as for `patch_of`.
    """
    found = []
    for index, part in enumerate(parts):
        for solid in part.shape.solids.values():
            patches = [
                _without_seams(patch_of(piece, sagitta), piece, solid).moved(part.pose)
                for piece in solid.pieces
            ]
            if patches:
                found.append(Skin(index, solid, Patch.joined(patches)))
    return found


def _without_seams(patch: Patch, piece: Piece, solid: Solid) -> Patch:
    """The patch without the edges that lie in or on another piece of its solid: a tube has no rings."""
    edges, bends = np.ones(len(patch.edges), bool), np.ones(len(patch.bends), bool)
    for other in solid.pieces:
        if other is not piece and other.mesh is None:
            placed = Frame(other.rotation, other.centre)
            edges &= distance_to_piece(other, placed, patch.edges.mean(axis=1), np.inf) > SEAM
            bends &= distance_to_piece(other, placed, patch.bends.mean(axis=1), np.inf) > 0
    return replace(
        patch, edges=patch.edges[edges], bends=patch.bends[bends], bend_normals=patch.bend_normals[bends]
    )


@dataclass(frozen=True, eq=False)
class Cloth:
    """All skins as one set of triangles: `owner` is the skin of each point, `values` its distance."""

    points: np.ndarray
    normals: np.ndarray
    triangles: np.ndarray
    owner: np.ndarray
    values: np.ndarray


def cloth(all_skins: Sequence[Skin]) -> Cloth:
    """Join skins; values are infinite until measured."""
    counts = [len(s.patch.points) for s in all_skins]
    starts = np.concatenate([[0], np.cumsum(counts)]).astype(int)
    triangles = [s.patch.triangles + start for s, start in zip(all_skins, starts, strict=False)]
    return Cloth(
        np.concatenate([s.patch.points for s in all_skins]),
        np.concatenate([s.patch.normals for s in all_skins]),
        np.concatenate(triangles),
        np.repeat(np.arange(len(all_skins)), counts),
        np.full(starts[-1], np.inf),
    )


Measure = Callable[[np.ndarray, np.ndarray], np.ndarray]


def refined(plain: Cloth, measure: Measure, demand: float, far: float) -> Cloth:
    """Split edges until each is short, or certainly of one colour; values measured at every point.

    `measure(points, owner)` gives distances, negative inside. It changes by at most 1 mm a mm, so an
    edge whose ends lie far enough off needs no splitting. Splits go by edges: no seams open. An edge
    once left whole stays so: only triangles that were split are looked at again.
    """
    now = replace(plain, values=measure(plain.points, plain.owner))
    measured = np.isfinite(now.values[now.triangles]).all(axis=1)
    done, active = [now.triangles[~measured]], now.triangles[measured]
    for _ in range(ROUNDS):
        edges, of_triangle = triangle_edges(active)
        marked = may_change(now, edges, demand, far)
        touched = marked[of_triangle].any(axis=1)
        done.append(active[~touched])
        if not touched.any():
            active = active[:0]
            break
        middle_of_edge = np.where(marked, len(now.points) + np.cumsum(marked) - 1, -1)
        active = split_triangles(active[touched], middle_of_edge[of_triangle[touched]])
        now = with_middles(now, edges[marked], measure)
    return replace(now, triangles=np.concatenate([*done, active]))


def triangle_edges(triangles: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(k, 2) edges, and (m, 3) which of them are 01, 12 and 20 of each triangle."""
    ends = np.sort(triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2).astype(np.int64), axis=1)
    span = int(ends.max()) + 1 if len(ends) else 1
    keys, of_triangle = np.unique(ends[:, 0] * span + ends[:, 1], return_inverse=True)
    return np.stack([keys // span, keys % span], axis=1), of_triangle.reshape(-1, 3)


def may_change(
    now: Cloth, edges: np.ndarray, demand: float, far: float, coarse: float = COARSE
) -> np.ndarray:
    """(k,) bool: edges (k, 2) longer than `coarse` along which the colour may change, as their ends' values
    allow; where the demand may be crossed, all that are longer than FINE."""
    a, b = edges[:, 0], edges[:, 1]
    length = np.linalg.norm(now.points[a] - now.points[b], axis=1)
    middle = (now.values[a] + now.values[b]) / 2
    low, high = middle - UNDERCUT * length, middle + UNDERCUT * length
    coloured = (low < far) & (high > 0) & (length > coarse)
    critical = (low < demand) & (high > -demand) & (length > FINE)
    return np.asarray(coloured | critical)


def with_middles(now: Cloth, edges: np.ndarray, measure: Measure) -> Cloth:
    """The cloth with the middles of edges (k, 2) as further points, measured."""
    a, b = edges.T
    points = (now.points[a] + now.points[b]) / 2
    normals = now.normals[a] + now.normals[b]
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
    owner = now.owner[a]
    return replace(
        now,
        points=np.concatenate([now.points, points]),
        normals=np.concatenate([now.normals, normals]),
        owner=np.concatenate([now.owner, owner]),
        values=np.concatenate([now.values, measure(points, owner)]),
    )


def split_triangles(triangles: np.ndarray, middles: np.ndarray) -> np.ndarray:
    """Triangles (m, 3) split at the given middles (m, 3) of their edges 01, 12, 20; -1: not split."""
    count = (middles >= 0).sum(axis=1)
    # Turn each so that one split lies on its first edge, two on its first and second.
    first = np.where(count == 1, np.argmax(middles >= 0, axis=1), 0)
    first = np.where(count == 2, (np.argmin(middles >= 0, axis=1) + 1) % 3, first)
    turned = (first[:, None] + np.arange(3)) % 3
    corners = np.take_along_axis(triangles, turned, axis=1)
    inner = np.take_along_axis(middles, turned, axis=1)
    pieces = [triangles[count == 0]]
    a, b, c, ab, _, _ = np.concatenate([corners, inner], axis=1)[count == 1].T
    pieces += [np.stack(t, axis=1) for t in ((a, ab, c), (ab, b, c))]
    a, b, c, ab, bc, _ = np.concatenate([corners, inner], axis=1)[count == 2].T
    pieces += [np.stack(t, axis=1) for t in ((ab, b, bc), (a, ab, bc), (a, bc, c))]
    a, b, c, ab, bc, ca = np.concatenate([corners, inner], axis=1)[count == 3].T
    pieces += [np.stack(t, axis=1) for t in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))]
    return np.concatenate(pieces)
