"""The headings of a lattice: unit directions, and which are one bend apart."""

from __future__ import annotations

from functools import cache
from itertools import product
from math import gcd

import numpy as np

# A bend of a soft run turns to a neighbouring heading, or by a right angle, radians.
NEIGHBOURS = np.radians(53.0)
RIGHT = np.pi / 2
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


def packed(allowed: np.ndarray) -> np.ndarray:
    """(n, k) columns of the True of each row of (n, m), -1 filled up."""
    most = max(1, int(allowed.sum(axis=1).max()))
    rows = np.full((len(allowed), most), -1, np.int64)
    for i, row in enumerate(allowed):
        found = np.flatnonzero(row)
        rows[i, : len(found)] = found
    return rows
