"""Entry points: all that is compiled and kept on disk.

Only these functions have a cache: each holds the machine code of all it calls, so one
file is read for each question asked. numba renews a cached function when its own file
changes, not when a function that it calls does: `renew` sees to that.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from fitcheck.world.kernels.bodies import BOX, Bodies, radius
from fitcheck.world.kernels.boxes import measure_boxes
from fitcheck.world.kernels.rounds import measure_convex
from fitcheck.world.kernels.vectors import add, length, row, sub


@njit(cache=True)
def measure(kinds, halves, frames, centres, pairs, within, numbers, vectors):
    """Fill numbers (k, 3: distance, depth, error) and vectors (k, 3, 3: normal, on_a, on_b)."""
    bodies = Bodies(kinds, halves, frames)
    turn, hull, weights = np.empty((3, 3)), np.empty((4, 9)), np.empty(4)
    for k in range(len(pairs)):
        i, j = pairs[k, 0], pairs[k, 1]
        c = sub(row(centres, j), row(centres, i))
        between = length(c) - radius(bodies, i) - radius(bodies, j)
        if between > within:
            numbers[k, 0], numbers[k, 1], numbers[k, 2] = between, 0.0, np.inf
            vectors[k] = np.nan
            continue
        if kinds[i] == BOX and kinds[j] == BOX:
            found = measure_boxes(bodies, i, j, c, within, turn)
        else:
            found = measure_convex(bodies, i, j, c, within, hull, weights)
        distance, depth, normal, p, q, error = found
        numbers[k, 0], numbers[k, 1], numbers[k, 2] = distance, depth, error
        p, q = add(p, row(centres, i)), add(q, row(centres, i))
        for m in range(3):
            vectors[k, 0, m], vectors[k, 1, m], vectors[k, 2, m] = normal[m], p[m], q[m]
