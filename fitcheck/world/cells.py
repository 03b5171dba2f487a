"""Cells: a big mesh as boxes of a coarse grid, none of which leaves any of it out."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fitcheck.world.kernels import winding_number

# Cells along the longest side of the mesh.
ALONG = 16


def cells(triangles: np.ndarray, closed: bool, least: float) -> np.ndarray:
    """Boxes of a grid that hold all triangles and, when these are closed, all that is inside.

    A cell is taken when the bounds of a triangle come into it, or when it cannot be reached
    from outside past taken cells and the surface winds round its middle.

    Args:
        triangles: (n, 3, 3) corners, mm.
        closed: a closed surface, outward.
        least: no cell is smaller, mm.

    Returns:
        (k, 2, 3) boxes that do not overlap, mm.
    """
    low, high = triangles.min(axis=(0, 1)), triangles.max(axis=(0, 1))
    pitch = max(least, float((high - low).max()) / ALONG)
    count = np.maximum(np.ceil((high - low) / pitch).astype(int), 1)
    size = (high - low) / count
    taken = _touched(triangles, low, size, count)
    if closed:
        for pocket in _pockets(~taken):
            middle = low + (np.argwhere(pocket)[0] + 0.5) * size
            if winding_number(triangles, middle[None])[0] > 0.5:
                taken |= pocket
    found = [np.array([low + size * first, low + size * last]) for first, last in _merged(taken)]
    return np.array(found).reshape(-1, 2, 3)


def _touched(triangles: np.ndarray, low: np.ndarray, size: np.ndarray, count: np.ndarray) -> np.ndarray:
    """Which cells the bounds of triangles come into, counted by sums over the corners of these."""
    step = np.where(size > 0, size, 1.0)
    first = np.clip(np.floor((triangles.min(axis=1) - low) / step).astype(int), 0, count - 1)
    last = np.clip(np.floor((triangles.max(axis=1) - low) / step).astype(int), 0, count - 1) + 1
    sums = np.zeros(count + 1, int)
    for corner in np.ndindex(2, 2, 2):
        at = np.where(np.array(corner) == 1, last, first)
        np.add.at(sums, tuple(at.T), (-1) ** sum(corner))
    for axis in range(3):
        sums = sums.cumsum(axis=axis)
    return np.asarray(sums[:-1, :-1, :-1] > 0)


def _pockets(free: np.ndarray) -> Iterator[np.ndarray]:
    """Connected groups of free cells that do not reach the border of the grid."""
    label = np.where(free, np.arange(1, free.size + 1).reshape(free.shape), 0)
    # Label 0 is taken, -1 is outside; every free cell takes the least of its neighbours'.
    padded = np.pad(label, 1, constant_values=-1)
    while True:
        before = padded.copy()
        for axis in range(3):
            for shift in (1, -1):
                beside = np.roll(padded, shift, axis)
                better = (padded > 0) & (beside != 0) & (beside < padded)
                padded = np.where(better, beside, padded)
        if (padded == before).all():
            break
    label = padded[1:-1, 1:-1, 1:-1]
    for name in np.unique(label[label > 0]).tolist():
        yield label == name


def _merged(taken: np.ndarray) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Taken cells as boxes of cells (first, one past the last), grown along z, y, then x."""
    left = taken.copy()
    while left.any():
        first = np.argwhere(left)[0]
        last = first + 1
        for axis in (2, 1, 0):
            while last[axis] < left.shape[axis]:
                beyond = [slice(a, b) for a, b in zip(first, last, strict=True)]
                beyond[axis] = slice(last[axis], last[axis] + 1)
                if not left[tuple(beyond)].all():
                    break
                last[axis] += 1
        left[tuple(slice(a, b) for a, b in zip(first, last, strict=True))] = False
        yield first, last
