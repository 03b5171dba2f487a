"""Exact distances on a grid of points."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fitcheck.runs.kernels.solids import Solids, cell_of, solid_distance
from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Floats

Values = NDArray[np.float32]


@native
def fill(solids: Solids, low: Floats, pitch: float, cap: float, values: Values) -> None:
    """Fill values (i, j, k) at low + pitch (i, j, k), at most `cap`.

    As `solids.nearest`, written out: here the arrays are taken from the solids only once,
    which makes it four times as fast.
    """
    numbers, trees, cells = solids.numbers, solids.trees, solids.cells
    starts, items, floors = cells.starts, cells.items, cells.floors
    ni, nj, nk = values.shape
    for i in range(ni):
        x = low[0] + i * pitch
        for j in range(nj):
            y = low[1] + j * pitch
            best = np.inf
            for k in range(nk):
                z = low[2] + k * pitch
                # No point is farther from the solids than its neighbour by more than a pitch.
                best = min(cap, best + pitch * 1.000001)
                cell = cell_of(cells, x, y, z)
                first, last = (starts[cell], starts[cell + 1]) if cell >= 0 else (0, len(numbers))
                for at in range(first, last):
                    if cell >= 0 and floors[at] >= best:
                        break
                    m = items[at] if cell >= 0 else at
                    best = min(best, solid_distance(numbers, trees, m, x, y, z, best))
                values[i, j, k] = best
