"""How far a point is from the nearest solid: exact, and quick enough for a search.

Solids are rows of arrays; a uniform grid of cells holds for each cell those that can be
the nearest to a point in it, the nearest first. A distance that is needed only up to a
cap, or that is at most what a point nearby has, costs little more than the cap.
"""

from __future__ import annotations

from math import sqrt
from typing import NamedTuple

from fitcheck.runs.kernels.trees import Trees, shell_distance
from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Floats, Ints, Vector

# BOX, CYLINDER and MESH are those of `parts.solids.Kind`; a laid run is made of the others.
BOX, CYLINDER, MESH, STRAIGHT, BEND = 0.0, 1.0, 2.0, 3.0, 4.0
# Columns of a solid's numbers: axes of its frame in the world one after the other, centre, half
# sizes, extra, kind, and of a mesh the first node of its tree.
CENTRE, HALF, EXTRA, KIND, ROOT, COLUMNS = 9, 12, 15, 16, 17, 18


class Cells(NamedTuple):
    """Which solids can be the nearest to a point of a cell.

    Args:
        low: low corner of the grid, mm.
        pitch: edge of a cell, mm.
        shape: number of cells along each axis.
        starts: (cells + 1,) first row of each cell in the two lists; the last axis runs fastest.
        items: rows of solids, by rising floor.
        floors: at least this far, extra included, is the solid from every point of the cell.
    """

    low: Vector
    pitch: float
    shape: tuple[int, int, int]
    starts: Ints
    items: Ints
    floors: Floats


class Solids(NamedTuple):
    """Solids as rows, mm. Few arrays: what hands them on costs more than a distance.

    Half sizes are those of a box and a mesh; of a cylinder (radius, radius, half length); of a
    straight (radius, 0, half length), along its third axis; of a bend where it ends along its
    first two axes, and its radius: its first axis points from the bend's centre to its middle,
    the third is square to its plane. The extra is by how much nearer than it is a solid counts.

    Args:
        numbers: (n, COLUMNS) frame, centre, half sizes, extra, kind, first node of a tree.
        trees: triangles of the meshes.
        cells: where to look.
    """

    numbers: Floats
    trees: Trees
    cells: Cells

    @property
    def extras(self) -> Floats:
        """(n,) by how much nearer than it is each solid counts."""
        return self.numbers[:, EXTRA]


@native
def box_distance(x: float, y: float, z: float) -> float:
    """From a point to a box, given by how far it is beyond the box's faces; negative inside."""
    inside = min(max(x, y, z), 0.0)
    x, y, z = max(x, 0.0), max(y, 0.0), max(z, 0.0)
    return inside + sqrt(x * x + y * y + z * z)


@native
def cylinder_distance(across: float, z: float) -> float:
    """From a point to a cylinder, given by how far it is beyond its side and its ends; negative inside."""
    inside = min(max(across, z), 0.0)
    across, z = max(across, 0.0), max(z, 0.0)
    return inside + sqrt(across * across + z * z)


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
def plain_distance(numbers: Floats, i: int, x: float, y: float, z: float) -> float:
    """From a point to solid i, no mesh, less its extra; negative inside."""
    x, y, z = x - numbers[i, CENTRE], y - numbers[i, CENTRE + 1], z - numbers[i, CENTRE + 2]
    u = numbers[i, 0] * x + numbers[i, 1] * y + numbers[i, 2] * z
    v = numbers[i, 3] * x + numbers[i, 4] * y + numbers[i, 5] * z
    w = numbers[i, 6] * x + numbers[i, 7] * y + numbers[i, 8] * z
    a, b, c = numbers[i, HALF], numbers[i, HALF + 1], numbers[i, HALF + 2]
    kind = numbers[i, KIND]
    if kind == BOX:
        found = box_distance(abs(u) - a, abs(v) - b, abs(w) - c)
    elif kind == CYLINDER:
        found = cylinder_distance(sqrt(u * u + v * v) - a, abs(w) - c)
    elif kind == STRAIGHT:
        w = max(abs(w) - c, 0.0)
        found = sqrt(u * u + v * v + w * w) - a
    else:
        found = bend_distance(u, v, w, a, b) - c
    return float(found - numbers[i, EXTRA])


@native
def mesh_distance(numbers: Floats, trees: Trees, i: int, x: float, y: float, z: float, cap: float) -> float:
    """From a point to the shell of mesh i less its extra, at most `cap`."""
    x, y, z = x - numbers[i, CENTRE], y - numbers[i, CENTRE + 1], z - numbers[i, CENTRE + 2]
    u = numbers[i, 0] * x + numbers[i, 1] * y + numbers[i, 2] * z
    v = numbers[i, 3] * x + numbers[i, 4] * y + numbers[i, 5] * z
    w = numbers[i, 6] * x + numbers[i, 7] * y + numbers[i, 8] * z
    extra = numbers[i, EXTRA]
    return float(shell_distance(trees, int(numbers[i, ROOT]), u, v, w, cap + extra) - extra)


@native
def solid_distance(numbers: Floats, trees: Trees, i: int, x: float, y: float, z: float, cap: float) -> float:
    """From a point to solid i less its extra; of a mesh at most `cap`."""
    if numbers[i, KIND] == MESH:
        return mesh_distance(numbers, trees, i, x, y, z, cap)
    return plain_distance(numbers, i, x, y, z)


@native
def cell_of(cells: Cells, x: float, y: float, z: float) -> int:
    """Index of the cell that holds a point, -1 if none does."""
    low, shape, finer = cells.low, cells.shape, 1.0 / cells.pitch
    x, y, z = (x - low[0]) * finer, (y - low[1]) * finer, (z - low[2]) * finer
    if x < 0.0 or y < 0.0 or z < 0.0 or x >= shape[0] or y >= shape[1] or z >= shape[2]:
        return -1
    return (int(x) * shape[1] + int(y)) * shape[2] + int(z)


@native
def nearest(solids: Solids, x: float, y: float, z: float, cap: float) -> tuple[float, int]:
    """Least distance less extra over all solids, at most `cap`, and which (-1 when capped)."""
    cells, numbers = solids.cells, solids.numbers
    best, which = cap, -1
    cell = cell_of(cells, x, y, z)
    if cell < 0:
        for i in range(len(numbers)):
            found = solid_distance(numbers, solids.trees, i, x, y, z, best)
            if found < best:
                best, which = found, i
        return best, which
    for at in range(cells.starts[cell], cells.starts[cell + 1]):
        if cells.floors[at] >= best:
            break
        i = cells.items[at]
        found = solid_distance(numbers, solids.trees, i, x, y, z, best)
        if found < best:
            best, which = found, i
    return best, which


@native
def distance(solids: Solids, x: float, y: float, z: float, cap: float) -> float:
    """Least over all solids of the distance less the solid's extra, at most `cap`, mm.

    Negative inside boxes, cylinders and laid runs; of a mesh only the shell counts.
    """
    return nearest(solids, x, y, z, cap)[0]
