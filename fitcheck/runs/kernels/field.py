"""Exact distances on a grid of points: all at once, or block by block as a search asks for them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fitcheck.runs.kernels.solids import Solids, cell_of, solid_distance
from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Floats

Values = NDArray[np.float32]
# Points along each edge of a block.
BLOCK = 8


@native
def fill(
    solids: Solids,
    low: Floats,
    pitch: float,
    cap: float,
    values: Values,
    first: tuple[int, int, int],
    last: tuple[int, int, int],
) -> None:
    """Fill values (i, j, k) from first to before last, at low + pitch (i, j, k), at most `cap`.

    As `solids.nearest`, written out: here the arrays are taken from the solids only once,
    which makes it four times as fast.
    """
    numbers, trees, cells = solids.numbers, solids.trees, solids.cells
    starts, items, floors = cells.starts, cells.items, cells.floors
    for i in range(first[0], last[0]):
        x = low[0] + i * pitch
        for j in range(first[1], last[1]):
            y = low[1] + j * pitch
            best = np.inf
            for k in range(first[2], last[2]):
                z = low[2] + k * pitch
                # No point is farther from the solids than its neighbour by more than a pitch.
                best = min(cap, best + pitch * 1.000001)
                cell = cell_of(cells, x, y, z)
                begin, end = (starts[cell], starts[cell + 1]) if cell >= 0 else (0, len(numbers))
                for at in range(begin, end):
                    if cell >= 0 and floors[at] >= best:
                        break
                    m = items[at] if cell >= 0 else at
                    best = min(best, solid_distance(numbers, trees, m, x, y, z, best))
                values[i, j, k] = best


@native
def fill_about(
    solids: Solids, low: Floats, pitch: float, cap: float, values: Values, i: int, j: int, k: int
) -> None:
    """Fill the blocks that hold the corners of the grid's cell (i, j, k), as far as they are empty."""
    ni, nj, nk = values.shape
    for bi in range(i // BLOCK, (i + 1) // BLOCK + 1):
        for bj in range(j // BLOCK, (j + 1) // BLOCK + 1):
            for bk in range(k // BLOCK, (k + 1) // BLOCK + 1):
                first = (bi * BLOCK, bj * BLOCK, bk * BLOCK)
                last = (min(first[0] + BLOCK, ni), min(first[1] + BLOCK, nj), min(first[2] + BLOCK, nk))
                if np.isnan(values[first]):
                    fill(solids, low, pitch, cap, values, first, last)
