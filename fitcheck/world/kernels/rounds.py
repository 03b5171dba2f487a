"""Any pair with a cylinder: distance with its certificate, or depth and contact."""

from __future__ import annotations

import numpy as np

from fitcheck.world.kernels.bodies import Bodies, Measure, Scratch, clear, middle
from fitcheck.world.kernels.depth import deepest
from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.nearest import nearest
from fitcheck.world.kernels.vectors import Vector, along, length, scale, sub

# A distance below this that is not proven may hide an overlap: the depth is asked too.
DOUBTFUL = 1e-6
# Below this distance the direction that bounds it gives a truer normal than the points.
NEAR = 1e-7


@native
def measure_convex(bodies: Bodies, i: int, j: int, c: Vector, within: float, scratch: Scratch) -> Measure:
    """Distance, depth, normal, points (from the centre of i) and error of two convex bodies."""
    between = length(c)
    start = scale(c, 1.0 / between) if between > 0.0 else (1.0, 0.0, 0.0)
    p, q, least, normal, met = nearest(bodies, i, j, c, start, within, scratch)
    if least > within:
        nowhere = (np.nan, np.nan, np.nan)
        return least, 0.0, normal, nowhere, nowhere, np.inf
    most = length(sub(q, p))
    if met or (most < DOUBTFUL and least < 0.0):
        depth, out = deepest(bodies, i, j, c, normal, scratch)
        if met or depth > most:
            # Cleared by the depth the bodies touch: the place where is the contact.
            depth = max(depth, 0.0)
            moved = along(c, out, depth)
            p, q, _, _, _ = nearest(bodies, i, j, moved, out, np.inf, scratch)
            here = middle(p, q)
            return 0.0, depth, out, here, along(here, out, -depth), 0.0
    if most > NEAR:
        normal = scale(sub(q, p), 1.0 / most)
    _, along_points = clear(bodies, i, j, c, p, q)
    return most, 0.0, normal, p, q, max(most - max(least, along_points, 0.0), 0.0)
