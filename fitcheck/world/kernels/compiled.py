"""Entry points: all that is compiled and kept on disk."""

from __future__ import annotations

import numpy as np

from fitcheck.world.kernels.bodies import BOX, CYLINDER, Bodies, Measure, Scratch, radius
from fitcheck.world.kernels.boxes import measure_boxes
from fitcheck.world.kernels.coaxial import backwards, measure_coaxial, mirrored, shared_axis
from fitcheck.world.kernels.native import bare_entry, native
from fitcheck.world.kernels.rounds import measure_convex
from fitcheck.world.kernels.travel import travel_pair
from fitcheck.world.kernels.vectors import Floats, Ints, Vector, add, length, row, sub
from fitcheck.world.kernels.winding import wind


@native
def measure_pair(bodies: Bodies, i: int, j: int, c: Vector, within: float, scratch: Scratch) -> Measure:
    """Distance, depth, normal, points (from the centre of i) and error of any two bodies."""
    if bodies.kinds[i] == BOX and bodies.kinds[j] == BOX:
        return measure_boxes(bodies, i, j, c, within, scratch.turn)
    if bodies.kinds[j] == CYLINDER and bodies.kinds[i] <= CYLINDER:
        k = shared_axis(bodies, i, j)
        if k >= 0:
            return measure_coaxial(bodies, i, j, c, k, within)
    elif bodies.kinds[i] == CYLINDER and bodies.kinds[j] == BOX:
        k = shared_axis(bodies, j, i)
        if k >= 0:
            return mirrored(measure_coaxial(bodies, j, i, backwards(c), k, within), c)
    return measure_convex(bodies, i, j, c, within, scratch)


@bare_entry
def measure(
    bodies: Bodies,
    centres: Floats,
    pairs: Ints,
    within: float,
    least_only: bool,
    scratch: Scratch,
    numbers: Floats,
    vectors: Floats,
) -> None:
    """Fill numbers (k, 3: distance, depth, error) and vectors (k, 3, 3: normal, on_a, on_b).

    With least_only each pair need only be measured if it beats all before it.
    """
    for k in range(len(pairs)):
        i, j = pairs[k, 0], pairs[k, 1]
        c = sub(row(centres, j), row(centres, i))
        between = length(c) - radius(bodies, i) - radius(bodies, j)
        if between > within:
            numbers[k, 0], numbers[k, 1], numbers[k, 2] = between, 0.0, np.inf
            vectors[k] = np.nan
            continue
        found = measure_pair(bodies, i, j, c, within, scratch)
        distance, depth, normal, p, q, error = found
        numbers[k, 0], numbers[k, 1], numbers[k, 2] = distance, depth, error
        p, q = add(p, row(centres, i)), add(q, row(centres, i))
        for m in range(3):
            vectors[k, 0, m], vectors[k, 1, m], vectors[k, 2, m] = normal[m], p[m], q[m]
        if least_only:
            within = min(within, distance)


@bare_entry
def travel(
    bodies: Bodies,
    centres: Floats,
    pairs: Ints,
    way: Floats,
    limit: float,
    least: float,
    tolerance: float,
    least_only: bool,
    scratch: Scratch,
    travels: Floats,
) -> None:
    """Fill travels (k,); those no shorter than `least`, with least_only than any before, may be left inf."""
    d = (way[0], way[1], way[2])
    for k in range(len(pairs)):
        i, j = pairs[k, 0], pairs[k, 1]
        c = sub(row(centres, j), row(centres, i))
        travels[k] = travel_pair(bodies, i, j, c, d, limit, least, tolerance, scratch)
        if least_only:
            least = min(least, max(travels[k], 0.0))


@bare_entry
def winding(triangles: Floats, points: Floats, turns: Floats) -> None:
    """Fill turns (p,) with the winding number of triangles (m, 3, 3) about points (p, 3)."""
    wind(triangles, points, turns)
