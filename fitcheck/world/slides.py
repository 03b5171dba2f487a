"""Triangles turned to a move, and the two questions about them: first touch, longest chord.

The answers come from `kernels.sliding`; here the triangles are made ready for it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from fitcheck.world.kernels import sliding


@dataclass(frozen=True, eq=False)
class Faces:
    """Triangles (n, 3, 3) in the frame of a move, by rising low x, and their `extents` (n, 2, 3)."""

    triangles: np.ndarray
    extents: np.ndarray


def split(triangles: np.ndarray, turn: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Triangles turned: those that then look along z, and those that look back.

    Args:
        triangles: (n, 3, 3) corners, outward by the right-hand rule, mm.
        turn: (3, 3); x @ turn is a point in the frame of the move.

    Returns:
        (n, 3, 3) and (m, 3, 3).
    """
    turned = triangles @ turn
    a, b, c = np.moveaxis(turned[..., :2], 1, 0)
    turns = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    # Walls along the move, but for rounding.
    flat = sliding.FLAT * np.square(turned.max(axis=1) - turned.min(axis=1)).sum(axis=1)
    return np.ascontiguousarray(turned[turns > flat]), np.ascontiguousarray(turned[turns < -flat])


def faces(triangles: np.ndarray) -> Faces:
    """Triangles (n, 3, 3) as `first_touch` takes them."""
    around = extents(triangles)
    order = np.argsort(around[:, 0, 0], kind="stable")
    return Faces(np.ascontiguousarray(triangles[order]), np.ascontiguousarray(around[order]))


def extents(triangles: np.ndarray) -> np.ndarray:
    """(n, 2, 3) low and high corners of triangles (n, 3, 3)."""
    return np.stack([triangles.min(axis=1), triangles.max(axis=1)], axis=1)


def first_touch(
    ours: Faces, offset: np.ndarray, theirs: Faces, limit: float, slack: float, least: float
) -> tuple[float, bool]:
    """How far faces that look along +z can move along it before one runs into one that looks back.

    Args:
        offset: (3,) from the frame of ours to that of theirs.
        limit: mm; nothing beyond is looked for.
        slack: mm that one may be past the other and still be just touching it; below zero: that it
            must be short of it.
        least: mm; overlaps narrower than this in projection slide past.

    Returns:
        mm, 0 or below for what touches already, inf when nothing is touched within the limit; and
        whether two are a little in each other from the start, which the move presses in or draws out.
    """
    room = sliding.make_room(len(ours.triangles), len(theirs.triangles))
    pair = ours.triangles, ours.extents, np.ascontiguousarray(offset), theirs.triangles, theirs.extents
    way = float(sliding.first_touch(*pair, float(limit), float(slack), float(least), room))
    return way, bool(room.crossed[0])


def longest_chord(triangles: np.ndarray, direction: np.ndarray, least: float, lines: int) -> float:
    """Longest line along a direction inside a closed surface of triangles (n, 3, 3), mm; never too long.

    Args:
        least: mm; overlaps narrower in projection are passed over.
        lines: from about so many faces at most lines are looked along.
    """
    room = sliding.make_overlap(len(triangles) + 1)
    return float(sliding.longest_chord(triangles, frame_along(direction), float(least), lines, room))


def frame_along(towards: np.ndarray) -> np.ndarray:
    """(3, 3) rotation whose last column is `towards`; x @ it has its z along it."""
    return _frame_along(*towards.tolist())


@lru_cache(maxsize=256)
def _frame_along(x: float, y: float, z: float) -> np.ndarray:
    towards = np.array([x, y, z])
    across = np.cross(np.eye(3)[int(np.abs(towards).argmin())], towards)
    across /= np.linalg.norm(across)
    frame = np.column_stack([across, np.cross(towards, across), towards])
    frame.setflags(write=False)
    return frame


def warm() -> None:
    """Compile everything now, or load it from disk."""
    triangles = np.zeros((1, 3, 3))
    first_touch(faces(triangles), np.zeros(3), faces(triangles), 1.0, 0.0, 0.0)
    longest_chord(triangles, np.array([0.0, 0.0, 1.0]), 0.0, 1)
