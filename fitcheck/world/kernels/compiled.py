"""Entry points: all that is compiled and kept on disk.

Only these three functions have a cache: each holds the machine code of all it calls, so
one file is read for each question asked. numba renews a cached function when its own
file changes, but not when a function that it calls does. It names the file after the
function, so each is renamed by a fingerprint of all kernel sources.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numba import njit

from fitcheck.world.kernels.bodies import BOX, CYLINDER, Bodies, radius
from fitcheck.world.kernels.boxes import measure_boxes
from fitcheck.world.kernels.coaxial import backwards, measure_coaxial, mirrored, shared_axis
from fitcheck.world.kernels.rounds import measure_convex
from fitcheck.world.kernels.travel import travel_pair, two_boxes
from fitcheck.world.kernels.vectors import add, length, row, sub
from fitcheck.world.kernels.winding import wind


def fingerprint() -> str:
    """A name that changes with any of the kernel sources."""
    digest = hashlib.sha256()
    for source in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(source.read_bytes())
    return digest.hexdigest()[:12]


SOURCES = fingerprint()


def kept(function: Callable[..., None]) -> Any:
    """Compile at the first call and keep the code on disk, if there is a place to keep it."""
    function.__qualname__ = f"{function.__name__}_{SOURCES}"
    try:
        return njit(cache=True)(function)
    except RuntimeError:
        # No folder of the package or of the user can be written to.
        return njit(function)


def is_kept(entry: Any) -> bool:
    """Whether an entry point is compiled already: in this process, or on disk."""
    folder = entry.stats.cache_path
    if entry.signatures or folder is None:
        return bool(entry.signatures)
    return any(Path(folder).glob(f"*.{entry.py_func.__qualname__}-*.nbi"))


@njit
def measure_pair(bodies, i, j, c, within, turn, hull, weights):
    """Distance, depth, normal, points (from the centre of i) and error of any two bodies."""
    if bodies.kinds[i] == BOX and bodies.kinds[j] == BOX:
        return measure_boxes(bodies, i, j, c, within, turn)
    if bodies.kinds[j] == CYLINDER and bodies.kinds[i] <= CYLINDER:
        k = shared_axis(bodies, i, j)
        if k >= 0:
            return measure_coaxial(bodies, i, j, c, k, within)
    elif bodies.kinds[i] == CYLINDER and bodies.kinds[j] == BOX:
        k = shared_axis(bodies, j, i)
        if k >= 0:
            return mirrored(measure_coaxial(bodies, j, i, backwards(c), k, within), c)
    return measure_convex(bodies, i, j, c, within, hull, weights)


@kept
def measure(kinds, halves, frames, centres, pairs, within, least_only, numbers, vectors):
    """Fill numbers (k, 3: distance, depth, error) and vectors (k, 3, 3: normal, on_a, on_b).

    With least_only each pair need only be measured if it beats all before it.
    """
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
        found = measure_pair(bodies, i, j, c, within, turn, hull, weights)
        distance, depth, normal, p, q, error = found
        numbers[k, 0], numbers[k, 1], numbers[k, 2] = distance, depth, error
        p, q = add(p, row(centres, i)), add(q, row(centres, i))
        for m in range(3):
            vectors[k, 0, m], vectors[k, 1, m], vectors[k, 2, m] = normal[m], p[m], q[m]
        if least_only:
            within = min(within, distance)


@kept
def travel(kinds, halves, frames, centres, pairs, way, limit, tolerance, least_only, travels):
    """Fill travels (k,); with least_only those beyond the least so far may be left inf."""
    bodies = Bodies(kinds, halves, frames)
    turn, hull, weights = np.empty((3, 3)), np.empty((4, 9)), np.empty(4)
    inner = two_boxes()
    d = (way[0], way[1], way[2])
    for k in range(len(pairs)):
        i, j = pairs[k, 0], pairs[k, 1]
        c = sub(row(centres, j), row(centres, i))
        travels[k] = travel_pair(bodies, i, j, c, d, limit, tolerance, hull, weights, inner, turn)
        if least_only:
            limit = min(limit, max(travels[k], 0.0))


@kept
def winding(triangles, points, turns):
    """Fill turns (p,) with the winding number of triangles (m, 3, 3) about points (p, 3)."""
    wind(triangles, points, turns)
