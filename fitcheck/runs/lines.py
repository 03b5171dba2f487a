"""Centre lines as the rows that `kernels.trace` walks along."""

from __future__ import annotations

import numpy as np

from fitcheck.runs.kernels.trace import BEGIN, COLUMNS, CURVATURE, INWARD, LENGTH, WAY
from fitcheck.runs.route import Route


def route_line(route: Route) -> np.ndarray:
    """(n, COLUMNS) the straights and bends of a sound route."""
    flat = route.flat
    line = np.empty((len(flat.lengths), COLUMNS))
    line[:, :WAY] = flat.starts
    line[:, WAY:INWARD] = flat.ways
    line[:, INWARD:CURVATURE] = flat.inwards
    line[:, CURVATURE] = flat.curvatures
    line[:, LENGTH] = flat.lengths
    line[:, BEGIN] = np.cumsum(flat.lengths) - flat.lengths
    return line


def polyline(corners: np.ndarray) -> np.ndarray:
    """(n, COLUMNS) the straights from corner to corner (m, 3), no matter how sharp; none of no length."""
    legs = np.diff(corners, axis=0)
    lengths = np.linalg.norm(legs, axis=1)
    kept = lengths > 0.0
    line = np.zeros((int(kept.sum()), COLUMNS))
    line[:, :WAY] = corners[:-1][kept]
    line[:, WAY:INWARD] = legs[kept] / lengths[kept, None]
    line[:, LENGTH] = lengths[kept]
    line[:, BEGIN] = np.cumsum(lengths[kept]) - lengths[kept]
    return line


def point_on(line: np.ndarray, along: float) -> np.ndarray:
    """(3,) the point of a polyline so far along it, mm."""
    k = max(int(np.searchsorted(line[:, BEGIN], along, side="right")) - 1, 0)
    return np.asarray(line[k, :WAY] + (along - line[k, BEGIN]) * line[k, WAY:INWARD])
