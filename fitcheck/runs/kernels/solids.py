"""How far a point is from the nearest solid: exact, and quick enough for a search.

Solids are rows of arrays; a uniform grid of cells holds for each cell those that can be
the nearest to a point in it, the nearest first. A distance that is needed only up to a
cap, or that is at most what a point nearby has, costs little more than the cap.
"""

from __future__ import annotations

from math import sqrt
from typing import NamedTuple

import numpy as np

from fitcheck.runs.kernels.trees import Trees, shell_distance
from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Floats, Ints

# BOX, CYLINDER and MESH are those of `parts.solids.Kind`; a laid run is made of the others.
BOX, CYLINDER, MESH, STRAIGHT, BEND = 0, 1, 2, 3, 4


class Cells(NamedTuple):
    """Which solids can be the nearest to a point of a cell.

    Args:
        low: (3,) low corner of the grid, mm.
        pitch: edge of a cell, mm.
        shape: (3,) number of cells.
        starts: (cells + 1,) first row of each cell in the two lists; the last axis runs fastest.
        items: rows of solids, by rising floor.
        floors: at least this far, extra included, is the solid from every point of the cell.
    """

    low: Floats
    pitch: float
    shape: Ints
    starts: Ints
    items: Ints
    floors: Floats


class Solids(NamedTuple):
    """Solids as rows, mm.

    Args:
        kinds: (n,) BOX, CYLINDER, MESH, STRAIGHT or BEND.
        halves: (n, 3) of a box and a mesh half sizes; of a cylinder (radius, radius, half
            length); of a straight (radius, 0, half length), along its third axis; of a bend
            where it ends along its first two axes, and its radius: the first axis points
            from its centre to its middle, the third is square to its plane.
        frames: (n, 3, 3) world_from_solid.
        centres: (n, 3).
        balls: (n,) radius of a ball about the centre that holds the solid.
        extras: (n,) by how much nearer than it is the solid counts.
        roots: (n,) first node of a mesh, -1 of all else.
        trees: triangles of the meshes.
        cells: where to look.
    """

    kinds: Ints
    halves: Floats
    frames: Floats
    centres: Floats
    balls: Floats
    extras: Floats
    roots: Ints
    trees: Trees
    cells: Cells


@native
def box_distance(x: float, y: float, z: float, halves: Floats, i: int) -> float:
    """From a point in the frame of box i; negative inside."""
    x, y, z = abs(x) - halves[i, 0], abs(y) - halves[i, 1], abs(z) - halves[i, 2]
    inside = min(max(x, y, z), 0.0)
    x, y, z = max(x, 0.0), max(y, 0.0), max(z, 0.0)
    return float(inside + sqrt(x * x + y * y + z * z))


@native
def cylinder_distance(x: float, y: float, z: float, halves: Floats, i: int) -> float:
    """From a point in the frame of cylinder i; negative inside."""
    across, z = sqrt(x * x + y * y) - halves[i, 0], abs(z) - halves[i, 2]
    inside = min(max(across, z), 0.0)
    across, z = max(across, 0.0), max(z, 0.0)
    return float(inside + sqrt(across * across + z * z))


@native
def bend_distance(x: float, y: float, z: float, ex: float, ey: float) -> float:
    """From a point in the frame of an arc to the arc, which ends at (ex, ey) and (ex, -ey)."""
    y = abs(y)
    if y * ex <= x * ey:
        across = sqrt(x * x + y * y) - sqrt(ex * ex + ey * ey)
        return sqrt(across * across + z * z)
    x, y = x - ex, y - ey
    return sqrt(x * x + y * y + z * z)


@native
def solid_distance(solids: Solids, i: int, x: float, y: float, z: float, cap: float) -> float:
    """From a point to solid i less its extra, at most `cap`; negative inside all but meshes."""
    frames, halves, extra = solids.frames, solids.halves, solids.extras[i]
    dx, dy, dz = x - solids.centres[i, 0], y - solids.centres[i, 1], z - solids.centres[i, 2]
    most = cap + extra + solids.balls[i]
    if most < 0.0 or dx * dx + dy * dy + dz * dz >= most * most:
        return cap
    u = frames[i, 0, 0] * dx + frames[i, 1, 0] * dy + frames[i, 2, 0] * dz
    v = frames[i, 0, 1] * dx + frames[i, 1, 1] * dy + frames[i, 2, 1] * dz
    w = frames[i, 0, 2] * dx + frames[i, 1, 2] * dy + frames[i, 2, 2] * dz
    kind = solids.kinds[i]
    if kind == BOX:
        found = box_distance(u, v, w, halves, i)
    elif kind == CYLINDER:
        found = cylinder_distance(u, v, w, halves, i)
    elif kind == MESH:
        found = shell_distance(solids.trees, solids.roots[i], u, v, w, cap + extra)
    elif kind == STRAIGHT:
        w = max(abs(w) - halves[i, 2], 0.0)
        found = sqrt(u * u + v * v + w * w) - halves[i, 0]
    else:
        found = bend_distance(u, v, w, halves[i, 0], halves[i, 1]) - halves[i, 2]
    return float(min(found - extra, cap))


@native
def cell_of(cells: Cells, x: float, y: float, z: float) -> int:
    """Index of the cell that holds a point, -1 if none does."""
    i = int(np.floor((x - cells.low[0]) / cells.pitch))
    j = int(np.floor((y - cells.low[1]) / cells.pitch))
    k = int(np.floor((z - cells.low[2]) / cells.pitch))
    shape = cells.shape
    if i < 0 or j < 0 or k < 0 or i >= shape[0] or j >= shape[1] or k >= shape[2]:
        return -1
    return int((i * shape[1] + j) * shape[2] + k)


@native
def nearest(solids: Solids, x: float, y: float, z: float, cap: float) -> tuple[float, int]:
    """Least distance less extra over all solids, at most `cap`, and which (-1 when capped)."""
    cells = solids.cells
    best, which = cap, -1
    cell = cell_of(cells, x, y, z)
    if cell < 0:
        for i in range(len(solids.kinds)):
            found = solid_distance(solids, i, x, y, z, best)
            if found < best:
                best, which = found, i
        return best, which
    for at in range(cells.starts[cell], cells.starts[cell + 1]):
        if cells.floors[at] >= best:
            break
        i = cells.items[at]
        found = solid_distance(solids, i, x, y, z, best)
        if found < best:
            best, which = found, i
    return best, which


@native
def distance(solids: Solids, x: float, y: float, z: float, cap: float) -> float:
    """Least over all solids of the distance less the solid's extra, at most `cap`, mm.

    Negative inside boxes, cylinders and laid runs; of a mesh only the shell counts.
    """
    return nearest(solids, x, y, z, cap)[0]
