"""A solid cut by a plane: the outline of a sheet, seen along its thickness."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from fitcheck.parts.polygon import circle
from fitcheck.parts.solids import Kind, Piece, Solid

# Segments shorter than this are rounding, mm.
NOTHING = 1e-6
_CORNERS = np.array(
    [[-1, -1, -1], [1, -1, -1], [1, 1, -1], [-1, 1, -1], [-1, -1, 1], [1, -1, 1], [1, 1, 1], [-1, 1, 1]],
    float,
)
_FACES = np.array(
    [[0, 2, 1], [0, 3, 2], [4, 5, 6], [4, 6, 7], [0, 1, 5], [0, 5, 4], [1, 2, 6], [1, 6, 5], [2, 3, 7],
     [2, 7, 6], [3, 0, 4], [3, 4, 7]]
)  # fmt: skip


def axes_of(normal: np.ndarray) -> np.ndarray:
    """(2, 3) unit axes across a normal, right-handed with it, along the frame's own where they can be."""
    first = np.eye(3)[int(np.abs(normal).argmin())]
    first = first - (first @ normal) * normal
    first = first / np.linalg.norm(first)
    return np.array([first, np.cross(normal, first)])


def section(solids: Iterable[Solid], at: np.ndarray, normal: np.ndarray, axes: np.ndarray) -> np.ndarray:
    """The outlines of solids in a plane.

    Args:
        at: (3,) a place in the plane, in the frame of the part.
        normal: (3,) unit.
        axes: (2, 3) of the plane, from its place.

    Returns:
        (n, 2, 2) segments, mm, each with the material on its left; a piece that touches another is not joined
        to it.
    """
    found = [_cut(piece, at, normal, axes) for solid in solids for piece in solid.pieces]
    return np.concatenate([np.zeros((0, 2, 2)), *found])


def _cut(piece: Piece, at: np.ndarray, normal: np.ndarray, axes: np.ndarray) -> np.ndarray:
    corners = _triangles(piece) - at
    high = corners @ normal
    up = high > 0
    crossing = up.any(axis=1) & ~up.all(axis=1)
    corners, high, up = corners[crossing], high[crossing], up[crossing]
    if not len(corners):
        return np.zeros((0, 2, 2))
    # The corner that is alone on its side comes first; its two edges are those that are cut.
    alone = np.where(up.sum(axis=1) == 1, up.argmax(axis=1), (~up).argmax(axis=1))
    order = (alone[:, None] + np.arange(3)) % 3
    rows = np.arange(len(corners))[:, None]
    corners, high = corners[rows, order], high[rows, order]
    ends = []
    for k in (1, 2):
        share = high[:, 0] / (high[:, 0] - high[:, k])
        ends.append(corners[:, 0] + share[:, None] * (corners[:, k] - corners[:, 0]))
    # Outward triangles: seen from above, material lies left of the segment from the rising to the falling
    # edge.
    rising = up[np.arange(len(up)), alone]
    start = np.where(rising[:, None], ends[0], ends[1])
    stop = np.where(rising[:, None], ends[1], ends[0])
    segments = np.stack([start, stop], axis=1) @ axes.T
    return np.asarray(segments[np.linalg.norm(segments[:, 1] - segments[:, 0], axis=1) > NOTHING])


def _triangles(piece: Piece) -> np.ndarray:
    """(m, 3, 3) outward triangles in the frame of the part; a cylinder goes round its own."""
    if piece.mesh is not None:
        corners, faces = piece.mesh.vertices, piece.mesh.faces
    elif piece.kind == Kind.BOX:
        corners, faces = _CORNERS * piece.half, _FACES
    else:
        ring, _ = circle(float(piece.half[0]), outward=True)
        n = len(ring)
        low = np.column_stack([ring, np.full(n, -piece.half[2])])
        corners = np.concatenate([low, low * [1, 1, -1], [[0, 0, -piece.half[2]], [0, 0, piece.half[2]]]])
        k, nxt = np.arange(n), (np.arange(n) + 1) % n
        full = np.full(n, 2 * n)
        faces = np.concatenate(
            [np.column_stack(one) for one in
             ((k, nxt, nxt + n), (k, nxt + n, k + n), (nxt, k, full), (k + n, nxt + n, full + 1))]
        )  # fmt: skip
    return np.asarray((corners @ piece.rotation.T + piece.centre)[faces])


def inside(segments: np.ndarray, points: np.ndarray) -> np.ndarray:
    """(n,) whether points (n, 2) lie within outlines, by the winding number of their segments."""
    a, b = segments[None, :, 0] - points[:, None], segments[None, :, 1] - points[:, None]
    turn = np.arctan2(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0], (a * b).sum(axis=2))
    return np.asarray(np.abs(turn.sum(axis=1)) > np.pi)


def distances(points: np.ndarray, segments: np.ndarray) -> np.ndarray:
    """(n, m) distances of points (n, 2) from segments (m, 2, 2)."""
    start, along = segments[:, 0], segments[:, 1] - segments[:, 0]
    length = np.maximum((along**2).sum(axis=1), NOTHING**2)
    off = points[:, None] - start
    share = np.clip((off * along).sum(axis=2) / length, 0.0, 1.0)
    return np.asarray(np.linalg.norm(off - share[..., None] * along, axis=2))
