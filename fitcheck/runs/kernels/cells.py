"""The grid of cells: for each cell the solids that can be the nearest to a point in it.

From a cell's centre to a corner it is rho. A solid that is more than 2 rho farther from the
centre than another is farther from every point of the cell. Each cell is sifted from the
list of the cell of double size that holds it.
"""

from __future__ import annotations

from math import sqrt

import numpy as np

from fitcheck.runs.kernels.solids import Cells, Solids, solid_distance
from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Floats, Ints


@native
def sift(
    solids: Solids, x: float, y: float, z: float, rho: float, given: Ints, items: Ints, floors: Floats
) -> int:
    """Fill items and floors with those of the given solids that count; how many they are."""
    best, kept = np.inf, 0
    numbers, trees = solids.numbers, solids.trees
    for i in given:
        found = solid_distance(numbers, trees, i, x, y, z, best + 2.0 * rho)
        if found < best + 2.0 * rho:
            best = min(best, found)
            at = kept
            while at > 0 and floors[at - 1] > found - rho:
                items[at], floors[at] = items[at - 1], floors[at - 1]
                at -= 1
            items[at], floors[at] = i, found - rho
            kept += 1
    while kept > 0 and floors[kept - 1] >= best + rho:
        kept -= 1
    return kept


@native
def halve(solids: Solids, shape: tuple[int, int, int]) -> Cells:
    """Cells of half the size; the solids' own cells are those to sift from."""
    coarse = solids.cells
    pitch = coarse.pitch / 2.0
    rho = sqrt(3.0) / 2.0 * pitch
    most = 0
    for cell in range(len(coarse.starts) - 1):
        most = max(most, coarse.starts[cell + 1] - coarse.starts[cell])
    starts = np.zeros(shape[0] * shape[1] * shape[2] + 1, np.int64)
    items, floors = np.empty(len(coarse.items) * 4 + most, np.int64), np.empty(len(coarse.items) * 4 + most)
    cell, held = 0, 0
    for i in range(shape[0]):
        x = coarse.low[0] + (i + 0.5) * pitch
        for j in range(shape[1]):
            y = coarse.low[1] + (j + 0.5) * pitch
            for k in range(shape[2]):
                z = coarse.low[2] + (k + 0.5) * pitch
                if held + most > len(items):
                    items = np.concatenate((items, np.empty(len(items), np.int64)))
                    floors = np.concatenate((floors, np.empty(len(floors))))
                above = (i // 2 * coarse.shape[1] + j // 2) * coarse.shape[2] + k // 2
                given = coarse.items[coarse.starts[above] : coarse.starts[above + 1]]
                held += sift(solids, x, y, z, rho, given, items[held:], floors[held:])
                cell += 1
                starts[cell] = held
    return Cells(coarse.low, pitch, shape, starts, items[:held].copy(), floors[:held].copy())
