"""The headings of a lattice: unit directions, and which are one bend apart."""

from __future__ import annotations

from functools import cache
from itertools import product
from math import gcd

import numpy as np

# A bend of a soft run turns to a neighbouring heading, or by a right angle, radians.
NEIGHBOURS = np.radians(53.0)
RIGHT = np.pi / 2
# A bend of any angle turns a lattice's heading by at most this, radians.
WIDEST = np.radians(120.0)
# Directions of one frame beyond which no more are made of them.
FAMILY = 60
# Headings this close are the same, radians.
SAME = 1e-9


@cache
def cube(size: int) -> np.ndarray:
    """(n, 3) unit directions of the coprime triples within -size..size: 26, 98, 290 for 1, 2, 3."""
    reach = range(-size, size + 1)
    found = [t for t in product(reach, reach, reach) if gcd(*t) == 1]
    directions = np.array(found, float)
    return np.asarray(directions / np.linalg.norm(directions, axis=1)[:, None])


def with_start(headings: np.ndarray, start: np.ndarray) -> np.ndarray:
    """The headings (n + 1, 3) with that of a start as the last."""
    return np.concatenate([headings, np.asarray(start, float)[None]])


def soft_turns(headings: np.ndarray, most: float = NEIGHBOURS) -> np.ndarray:
    """Rows (n, k) of the headings one bend apart: by up to `most`, or by a right angle; -1 filled up.

    The last heading is that of a start: no bend ends in it unless it is one of the others.
    """
    angles = np.arccos(np.clip(headings @ headings.T, -1.0, 1.0))
    allowed = (angles > 1e-6) & ((angles <= most) | (np.abs(angles - RIGHT) < 1e-6))
    allowed[:, -1] = False
    # From a heading of its own a start turns by somewhat more, so that it finds as many.
    allowed[-1] = (angles[-1] > 1e-6) & (angles[-1] <= most + np.radians(12.0)) | (
        np.abs(angles[-1] - RIGHT) < np.radians(6.0)
    )
    allowed[-1, -1] = False
    return packed(allowed)


def frame_of(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """(3, 3) columns: a unit direction, what of a second is square to it, and the third."""
    for side in (second, *np.eye(3)[np.argsort(np.abs(first))]):
        square = side - first * (side @ first)
        if np.linalg.norm(square) > 1e-3:
            break
    square /= np.linalg.norm(square)
    return np.column_stack([first, square, np.cross(first, square)])


def rigid_headings(start: np.ndarray, goal: np.ndarray, angles: tuple[float, ...] | None) -> np.ndarray:
    """Unit directions (n, 3) a rigid run may take, that of its start the last.

    Those that bends of the allowed angles (degrees; None: any) reach from the axes of three
    frames: the world's, that of the start and that of the goal; and what is square to
    an end and to an axis of the world, which leads from a turned port to the world's axes.
    """
    family = cube(1) if angles is None else _family(tuple(np.radians(sorted(angles))))
    frames = [np.eye(3), frame_of(start, goal), frame_of(goal, start)]
    found = [family @ frame.T for frame in frames]
    links = [np.cross(end, other) for end in (start, goal) for other in (*np.eye(3), start, goal)]
    found.append(
        np.array(
            [s * v / np.linalg.norm(v) for v in links if np.linalg.norm(v) > 1e-3 for s in (1, -1)]
        ).reshape(-1, 3)
    )
    return with_start(_distinct(np.concatenate(found)), start)


@cache
def _family(angles: tuple[float, ...]) -> np.ndarray:
    """(n, 3) directions: the axes, and these turned once or twice about axes by the angles."""
    axes = np.concatenate([np.eye(3), -np.eye(3)])
    found = axes
    for _ in range(2):
        made = [found]
        for angle in angles:
            for axis in np.eye(3):
                for turn in (angle, -angle):
                    along = (found @ axis)[:, None] * axis
                    made.append(along + (found - along) * np.cos(turn) + np.cross(axis, found) * np.sin(turn))
        found = _distinct(np.concatenate(made))
        if len(found) > FAMILY:
            break
    return found


def _distinct(directions: np.ndarray) -> np.ndarray:
    """The directions (n, 3) without those that stand there before."""
    kept: list[np.ndarray] = []
    for direction in directions:
        if all(direction @ other < 1 - 1e-12 for other in kept):
            kept.append(direction)
    return np.array(kept)


def rigid_turns(headings: np.ndarray, angles: tuple[float, ...] | None) -> np.ndarray:
    """Rows (n, k) of the headings one bend of an allowed angle away (degrees; None: up to 120)."""
    apart = np.arccos(np.clip(headings @ headings.T, -1.0, 1.0))
    if angles is None:
        allowed = (apart > 1e-3) & (apart <= WIDEST + 1e-6)
    else:
        allowed = np.any([np.abs(apart - np.radians(a)) < 1e-6 for a in angles], axis=0)
    allowed[:, -1] = False
    return packed(allowed)


def packed(allowed: np.ndarray) -> np.ndarray:
    """(n, k) columns of the True of each row of (n, m), -1 filled up."""
    most = max(1, int(allowed.sum(axis=1).max()))
    rows = np.full((len(allowed), most), -1, np.int64)
    for i, row in enumerate(allowed):
        found = np.flatnonzero(row)
        rows[i, : len(found)] = found
    return rows
