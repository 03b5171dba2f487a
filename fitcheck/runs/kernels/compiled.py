"""Entry points: all that is compiled and kept on disk."""

from __future__ import annotations

from fitcheck.runs.kernels import cells, field, trace
from fitcheck.runs.kernels.field import Values
from fitcheck.runs.kernels.solids import Cells, Solids, nearest
from fitcheck.world.kernels.native import entry
from fitcheck.world.kernels.vectors import Floats, Ints


@entry
def halve_cells(solids: Solids, shape: tuple[int, int, int]) -> Cells:
    """Cells of half the size of the solids' own."""
    return cells.halve(solids, shape)


@entry
def nearest_at(solids: Solids, points: Floats, cap: float, distances: Floats, which: Ints) -> None:
    """Fill the least distance (n,) and the row of the nearest solid (n,) of points (n, 3)."""
    for k in range(len(points)):
        distances[k], which[k] = nearest(solids, points[k, 0], points[k, 1], points[k, 2], cap)


@entry
def fill_field(solids: Solids, low: Floats, pitch: float, cap: float, values: Values) -> None:
    """Fill values (i, j, k), the distances at low + pitch (i, j, k), at most `cap`."""
    field.fill(solids, low, pitch, cap, values)


@entry
def trace_solids(solids: Solids, line: Floats, tolerance: float) -> tuple[float, float, float, int]:
    """Proved and found least distance of a line to solids, how far along, and which."""
    return trace.trace(solids, line, tolerance)


@entry
def trace_other(line: Floats, other: Floats, lag: float, tolerance: float) -> tuple[float, float, float]:
    """Proved and found least distance of a line to another or to itself, and how far along."""
    return trace.trace_line(line, other, lag, tolerance)
