"""What the edges of a solid show between parallel planes."""

from __future__ import annotations

import numpy as np

from fitcheck.world.kernels.native import bare_entry
from fitcheck.world.kernels.vectors import Floats, Ints


@bare_entry
def bound_slabs(
    points: Floats, edges: Ints, axis: int, lower: Floats, upper: Floats, on_plane: float, bounds: Floats
) -> None:
    """Fill bounds (n, 2, 3) of what edges show between n pairs of planes x[axis] = lower, upper.

    What an edge shows there is the edge with its ends clamped to the planes. Where nothing
    shows the low ends are inf and the high ones -inf.

    Args:
        points: (p, 3), mm.
        edges: (m, 2) rows of points.
        lower, upper: (n,) mm.
        on_plane: mm; ends so near to a plane count as on it.
    """
    for s in range(len(lower)):
        for k in range(3):
            bounds[s, 0, k], bounds[s, 1, k] = np.inf, -np.inf
        for e in range(len(edges)):
            i, j = edges[e, 0], edges[e, 1]
            a, b = points[i, axis], points[j, axis]
            if min(a, b) > upper[s] + on_plane or max(a, b) < lower[s] - on_plane:
                continue
            first, last = 0.0, 1.0
            if abs(b - a) > on_plane:
                first = min(max((lower[s] - a) / (b - a), 0.0), 1.0)
                last = min(max((upper[s] - a) / (b - a), 0.0), 1.0)
            for k in range(3):
                along = points[j, k] - points[i, k]
                x, y = points[i, k] + first * along, points[i, k] + last * along
                bounds[s, 0, k] = min(bounds[s, 0, k], x, y)
                bounds[s, 1, k] = max(bounds[s, 1, k], x, y)
