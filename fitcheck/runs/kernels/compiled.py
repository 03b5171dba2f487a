"""Entry points: all that is compiled and kept on disk."""

from __future__ import annotations

import numpy as np

from fitcheck.runs.kernels import cells, leaves, trace
from fitcheck.runs.kernels.leaves import Leaves
from fitcheck.runs.kernels.solids import Cells, Solids, nearest, solid_distance
from fitcheck.world.kernels.native import entry
from fitcheck.world.kernels.vectors import Floats, Ints, row


@entry
def halve_cells(solids: Solids, shape: tuple[int, int, int], passing: Ints, slack: float) -> Cells:
    """Cells of half the size of the solids' own."""
    return cells.halve(solids, shape, passing, slack)


@entry
def adapt_cells(
    solids: Solids, base: Cells, new_rows: Ints, kept: Ints, fresh: Ints, bounds: Floats
) -> Cells:
    """Cells of a world made those of one run."""
    return cells.adapt(solids, base, new_rows, kept, fresh, bounds)


@entry
def nearest_at(solids: Solids, points: Floats, cap: float, distances: Floats, which: Ints) -> None:
    """Fill the least distance (n,) and the row of the nearest solid (n,) of points (n, 3)."""
    for k in range(len(points)):
        distances[k], which[k] = nearest(solids, points[k, 0], points[k, 1], points[k, 2], cap)


@entry
def trace_solids(solids: Solids, line: Floats, tolerance: float) -> tuple[float, float, float, int]:
    """Proved and found least distance of a line to solids, how far along, and which."""
    return trace.trace(solids, line, tolerance)


@entry
def trace_other(line: Floats, other: Floats, lag: float, tolerance: float) -> tuple[float, float, float]:
    """Proved and found least distance of a line to another or to itself, and how far along."""
    return trace.trace_line(line, other, lag, tolerance)


@entry
def plant_leaves(given: Leaves, solids: Solids, cap: float) -> int:
    """Fill in a grid of cubes; how many."""
    return leaves.plant(given, solids, cap)


@entry
def flood_leaves(given: Leaves, count: int, ends: Floats, room: float) -> Ints:
    """Leaves of a way from one end to the other that may have the room; none when there is none."""
    start, goal = leaves.leaf_of(given, row(ends, 0)), leaves.leaf_of(given, row(ends, 1))
    return leaves.flood(given, count, start, goal, room)


@entry
def leaf_corners(given: Leaves, way: Ints, ends: Floats) -> Floats:
    """Corners (n, 3) of a polyline between the ends inside the leaves of a way."""
    return leaves.corners(given, way, row(ends, 0), row(ends, 1))


@entry
def halve_leaves(
    given: Leaves, solids: Solids, count: int, ends: Floats, room: float, slack: float, finest: float
) -> int:
    """Halve the leaves between two places (2, 3) where the room is in doubt; how many cubes there are now.

    -1 when it is proved that no way has the room.
    """
    start, goal = leaves.leaf_of(given, row(ends, 0)), leaves.leaf_of(given, row(ends, 1))
    return leaves.halve_between(given, solids, count, start, goal, room, slack, finest)


@entry
def rooms_to(solids: Solids, x: float, y: float, z: float, rooms: Floats) -> None:
    """Fill the distance less extra from a point to each solid (n,)."""
    for i in range(len(rooms)):
        rooms[i] = solid_distance(solids.numbers, solids.trees, i, x, y, z, np.inf)
