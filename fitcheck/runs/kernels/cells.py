"""The grid of cells: for each cell the solids that can be the nearest to a point in it.

From a cell's centre to a corner it is rho. A solid that is more than 2 rho farther from the
centre than another is farther from every point of the cell. Each cell is sifted from the
list of the cell of double size that holds it.
"""

from __future__ import annotations

from math import sqrt

import numpy as np

from fitcheck.runs.kernels.solids import EXTRA, Cells, Solids, box_distance, solid_distance
from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Floats, Ints


@native
def sift(
    solids: Solids,
    x: float,
    y: float,
    z: float,
    rho: float,
    given: Ints,
    items: Ints,
    floors: Floats,
    passing: Ints,
    slack: float,
) -> int:
    """Fill items and floors with those of the given solids that count; how many they are.

    Args:
        passing: (n,) 1 for solids that may go: no other is left out for them.
        slack: so much farther than they must be they are still kept, mm.
    """
    best, kept = np.inf, 0
    numbers, trees = solids.numbers, solids.trees
    for i in given:
        found = solid_distance(numbers, trees, i, x, y, z, best + 2.0 * rho + slack)
        if found < best + 2.0 * rho + slack:
            if not passing[i]:
                best = min(best, found)
            kept = inserted(items, floors, kept, i, found - rho)
    while kept > 0 and floors[kept - 1] >= best + rho + slack:
        kept -= 1
    return kept


@native
def adapt(solids: Solids, base: Cells, new_rows: Ints, kept: Ints, fresh: Ints, bounds: Floats) -> Cells:
    """Cells of a world made those of one run: some solids gone, some with another extra, some more.

    Args:
        solids: of the run; their cells are not asked.
        base: of the world without extras, with slack.
        new_rows: (world rows,) of each solid of the world its row among those of the run, -1 if it is gone.
        kept: (world rows,) 1 for those whose extra lies between 0 and -slack: they are in the lists.
        fresh: rows that the lists do not know: laid runs, and what asks for more room.
        bounds: (fresh, 6) low and high corners about them, less what they reach by their extras.
    """
    pitch, shape = base.pitch, base.shape
    rho = sqrt(3.0) / 2.0 * pitch
    numbers, trees = solids.numbers, solids.trees
    starts = np.zeros(len(base.starts), np.int64)
    room_for = len(base.items) + 4 * len(fresh) + 64
    items, floors = np.empty(room_for, np.int64), np.empty(room_for)
    cell, held = 0, 0
    for i in range(shape[0]):
        x = base.low[0] + (i + 0.5) * pitch
        for j in range(shape[1]):
            y = base.low[1] + (j + 0.5) * pitch
            for k in range(shape[2]):
                z = base.low[2] + (k + 0.5) * pitch
                first, last = base.starts[cell], base.starts[cell + 1]
                if held + last - first + len(fresh) > len(items):
                    items = np.concatenate((items, np.empty(len(items) + len(fresh), np.int64)))
                    floors = np.concatenate((floors, np.empty(len(floors) + len(fresh))))
                best, count = np.inf, 0
                for at in range(first, last):
                    row = new_rows[base.items[at]]
                    if row >= 0 and kept[base.items[at]]:
                        floor = base.floors[at] - numbers[row, EXTRA]
                        best = min(best, floor + rho)
                        count = inserted(items[held:], floors[held:], count, row, floor)
                for f in range(len(fresh)):
                    near = box_distance(
                        max(bounds[f, 0] - x, x - bounds[f, 3]),
                        max(bounds[f, 1] - y, y - bounds[f, 4]),
                        max(bounds[f, 2] - z, z - bounds[f, 5]),
                    )
                    if near < best + 2.0 * rho:
                        found = solid_distance(numbers, trees, fresh[f], x, y, z, best + 2.0 * rho)
                        best = min(best, found)
                        count = inserted(items[held:], floors[held:], count, fresh[f], found - rho)
                while count > 0 and floors[held + count - 1] >= best + rho:
                    count -= 1
                held += count
                cell += 1
                starts[cell] = held
    return Cells(base.low, pitch, shape, starts, items[:held].copy(), floors[:held].copy())


@native
def inserted(items: Ints, floors: Floats, count: int, row: int, floor: float) -> int:
    """Put a solid among `count` others by rising floor; how many there are then."""
    at = count
    while at > 0 and floors[at - 1] > floor:
        items[at], floors[at] = items[at - 1], floors[at - 1]
        at -= 1
    items[at], floors[at] = row, floor
    return count + 1


@native
def halve(solids: Solids, shape: tuple[int, int, int], passing: Ints, slack: float) -> Cells:
    """Cells of half the size; the solids' own cells are those to sift from. For the rest see `sift`."""
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
                held += sift(solids, x, y, z, rho, given, items[held:], floors[held:], passing, slack)
                cell += 1
                starts[cell] = held
    return Cells(coarse.low, pitch, shape, starts, items[:held].copy(), floors[:held].copy())
