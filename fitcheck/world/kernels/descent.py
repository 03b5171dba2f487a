"""Least distances of meshes and meshes, boxes or cylinders: down trees of boxes, the nearest first.

Larsen, Gottschalk, Lin and Manocha, Fast proximity queries with swept sphere volumes, 1999,
but with boxes along the axes of each mesh: for parts that stand square to each other, as
nearly all do, the bound of two nodes is the exact distance of their boxes. A box or a
cylinder counts as solid, and exact: it has no triangles here.
"""

from __future__ import annotations

from math import sqrt
from typing import NamedTuple

import numpy as np

from fitcheck.world.kernels.bodies import BOX, CYLINDER
from fitcheck.world.kernels.native import bare_entry, native
from fitcheck.world.kernels.tree import DEPTH
from fitcheck.world.kernels.triangle_pairs import Pair, Triangle, nearest_of_triangles
from fitcheck.world.kernels.triangle_solids import nearest_of_solid
from fitcheck.world.kernels.vectors import Floats, Ints, Vector, add, dot, row, sub

# Boxes no farther apart than the best pair less this are not opened, mm: faces that run
# side by side would else be searched through for rounding.
SLACK = 1e-11


class Forest(NamedTuple):
    """Trees of one triangle a leaf, one after the other; rows are counted from the first of all.

    Args:
        corners: (t, 3, 3), boxes: (n, 6), second: (n,) as those of `tree.Tree`.
        triangle: (n,) the first triangle of each node; a leaf's only one.
    """

    corners: Floats
    boxes: Floats
    second: Ints
    triangle: Ints


class Asked(NamedTuple):
    """Pairs (k,) of pieces, those to be asked first coming first.

    Args:
        trees: (k, 2) rows of the trees' roots; -1 for a second that is a box or cylinder.
        kinds: (k,) what the second is, as `bodies` names it; any other number for a mesh.
        halves: (k, 3) its half sizes, rotations: (k, 3, 3) and shifts: (k, 3) its pose, x =
            r @ y + shift in the frame of the first.
        bounds: (k,) lower bounds of their distances, mm.
        owner: (k,) which pairs are asked for the least of together.
    """

    trees: Ints
    kinds: Ints
    halves: Floats
    rotations: Floats
    shifts: Floats
    bounds: Floats
    owner: Ints


class Scratch(NamedTuple):
    """Room for a search: (2 DEPTH + 4, 2) pairs of nodes to open, their (2 DEPTH + 4,) bounds, and |r|."""

    nodes: Ints
    bounds: Floats
    size: Floats


def make_scratch() -> Scratch:
    """New scratch."""
    return Scratch(np.empty((2 * DEPTH + 4, 2), np.int64), np.empty(2 * DEPTH + 4), np.empty((3, 3)))


@native
def out_of(r: Floats, x: Vector) -> Vector:
    """r @ x."""
    return (
        r[0, 0] * x[0] + r[0, 1] * x[1] + r[0, 2] * x[2],
        r[1, 0] * x[0] + r[1, 1] * x[1] + r[1, 2] * x[2],
        r[2, 0] * x[0] + r[2, 1] * x[1] + r[2, 2] * x[2],
    )


@native
def into(r: Floats, x: Vector) -> Vector:
    """r.T @ x."""
    return (
        r[0, 0] * x[0] + r[1, 0] * x[1] + r[2, 0] * x[2],
        r[0, 1] * x[0] + r[1, 1] * x[1] + r[2, 1] * x[2],
        r[0, 2] * x[0] + r[1, 2] * x[1] + r[2, 2] * x[2],
    )


@native
def middle_of(boxes: Floats, k: int) -> Vector:
    """Middle of box k."""
    return (
        0.5 * (boxes[k, 0] + boxes[k, 3]),
        0.5 * (boxes[k, 1] + boxes[k, 4]),
        0.5 * (boxes[k, 2] + boxes[k, 5]),
    )


@native
def half_of(boxes: Floats, k: int) -> Vector:
    """Half sizes of box k."""
    return (
        0.5 * (boxes[k, 3] - boxes[k, 0]),
        0.5 * (boxes[k, 4] - boxes[k, 1]),
        0.5 * (boxes[k, 5] - boxes[k, 2]),
    )


@native
def apart(c: Vector, h: Vector, g: Vector) -> float:
    """Square of the distance of two boxes along the same axes, middles c apart, halves h and g."""
    x = max(abs(c[0]) - h[0] - g[0], 0.0)
    y = max(abs(c[1]) - h[1] - g[1], 0.0)
    z = max(abs(c[2]) - h[2] - g[2], 0.0)
    return x * x + y * y + z * z


@native
def triangle_at(forest: Forest, node: int) -> Triangle:
    """The triangle of a leaf."""
    t = forest.corners
    k = forest.triangle[node]
    return (
        (t[k, 0, 0], t[k, 0, 1], t[k, 0, 2]),
        (t[k, 1, 0], t[k, 1, 1], t[k, 1, 2]),
        (t[k, 2, 0], t[k, 2, 1], t[k, 2, 2]),
    )


@native
def limit_of(best: float) -> float:
    """Square from which boxes are left unopened when `best` is the square of the best distance."""
    root = max(sqrt(best) - SLACK, 0.0)
    return root * root


@native
def is_square(size: Floats) -> bool:
    """Whether every axis of one lies along an axis of the other, by the sizes of a rotation."""
    for k in range(3):
        for m in range(3):
            if size[k, m] > 0.0 and size[k, m] != 1.0:
                return False
    return True


@native
def nodes_apart(
    boxes: Floats, i: int, j: int, r: Floats, size: Floats, shift: Vector, square: bool
) -> tuple[float, float]:
    """Squares of a lower bound of the distance of what two nodes hold, and of that of their middles."""
    h, g = half_of(boxes, i), half_of(boxes, j)
    w = sub(add(out_of(r, middle_of(boxes, j)), shift), middle_of(boxes, i))
    bound = apart(w, h, out_of(size, g))
    if not square:
        bound = max(bound, apart(into(r, w), into(size, h), g))
    return bound, dot(w, w)


@native
def wider(boxes: Floats, i: int, j: int) -> bool:
    """Whether box i is no smaller across than box j."""
    x, y, z = boxes[i, 3] - boxes[i, 0], boxes[i, 4] - boxes[i, 1], boxes[i, 5] - boxes[i, 2]
    u, v, w = boxes[j, 3] - boxes[j, 0], boxes[j, 4] - boxes[j, 1], boxes[j, 5] - boxes[j, 2]
    return bool(x * x + y * y + z * z >= u * u + v * v + w * w)


@native
def between_trees(
    forest: Forest,
    one: int,
    other: int,
    r: Floats,
    shift: Vector,
    within: float,
    enough: float,
    room: Scratch,
) -> tuple[Pair, bool]:
    """Square of the distance of two meshes and their nearest points; whether any are within reach.

    When none is, the square is that of a lower bound.
    """
    nodes, bounds, size = room
    for k in range(3):
        for m in range(3):
            size[k, m] = abs(r[k, m])
    square = is_square(size)
    boxes, second = forest.boxes, forest.second
    nodes[0, 0], nodes[0, 1] = one, other
    bounds[0], _ = nodes_apart(boxes, one, other, r, size, shift, square)
    waiting = 1
    best = (within * within, shift, shift)
    limit, beyond, found = best[0], np.inf, False
    while waiting:
        waiting -= 1
        i, j, bound = nodes[waiting, 0], nodes[waiting, 1], bounds[waiting]
        if bound > limit or (found and bound == limit):
            beyond = min(beyond, bound)
            continue
        if second[i] == 0 and second[j] == 0:
            x, y, z = triangle_at(forest, j)
            t = add(out_of(r, x), shift), add(out_of(r, y), shift), add(out_of(r, z), shift)
            pair = nearest_of_triangles(triangle_at(forest, i), t)
            beyond = min(beyond, pair[0])
            if pair[0] < best[0] or (not found and pair[0] == best[0]):
                best, found, limit = pair, True, limit_of(pair[0])
                if pair[0] <= enough * enough:
                    break
            continue
        if second[j] == 0 or (second[i] != 0 and wider(boxes, i, j)):
            k, m, n, o = i + 1, j, second[i], j
        else:
            k, m, n, o = i, j + 1, i, second[j]
        near, here = nodes_apart(boxes, k, m, r, size, shift, square)
        far, there = nodes_apart(boxes, n, o, r, size, shift, square)
        # Flush faces: boxes all as near, those that cover each other most first.
        if far < near or (far == near and there < here):
            k, m, n, o, near, far = n, o, k, m, far, near
        nodes[waiting, 0], nodes[waiting, 1], bounds[waiting] = n, o, far
        nodes[waiting + 1, 0], nodes[waiting + 1, 1], bounds[waiting + 1] = k, m, near
        waiting += 2
    return (best[0] if found else beyond, best[1], best[2]), found


@native
def solid_apart(
    boxes: Floats, i: int, kind: int, half: Vector, r: Floats, size: Floats, shift: Vector, around: Vector
) -> float:
    """Square of a lower bound of the distance of what a node holds to a solid in its box `around`."""
    h = half_of(boxes, i)
    w = sub(middle_of(boxes, i), shift)
    bound = apart(w, h, around)
    y, g = into(r, w), into(size, h)
    if kind == BOX:
        return max(bound, apart(y, g, half))
    x, v = max(abs(y[0]) - g[0], 0.0), max(abs(y[1]) - g[1], 0.0)
    off, z = max(sqrt(x * x + v * v) - half[0], 0.0), max(abs(y[2]) - g[2] - half[2], 0.0)
    return max(bound, off * off + z * z)


@native
def to_solid(
    forest: Forest,
    tree: int,
    kind: int,
    half: Vector,
    r: Floats,
    shift: Vector,
    within: float,
    enough: float,
    room: Scratch,
) -> tuple[Pair, bool]:
    """As `between_trees`, for a solid box or cylinder in the place of the second mesh."""
    nodes, bounds, size = room
    for k in range(3):
        for m in range(3):
            size[k, m] = abs(r[k, m])
    around = out_of(size, half)
    if kind == CYLINDER:
        around = (
            half[0] * sqrt(r[0, 0] * r[0, 0] + r[0, 1] * r[0, 1]) + half[2] * size[0, 2],
            half[0] * sqrt(r[1, 0] * r[1, 0] + r[1, 1] * r[1, 1]) + half[2] * size[1, 2],
            half[0] * sqrt(r[2, 0] * r[2, 0] + r[2, 1] * r[2, 1]) + half[2] * size[2, 2],
        )
    boxes, second = forest.boxes, forest.second
    nodes[0, 0], bounds[0] = tree, solid_apart(boxes, tree, kind, half, r, size, shift, around)
    waiting = 1
    best = (within * within, shift, shift)
    limit, beyond, found = best[0], np.inf, False
    while waiting:
        waiting -= 1
        i, bound = nodes[waiting, 0], bounds[waiting]
        if bound > limit or (found and bound == limit):
            beyond = min(beyond, bound)
            continue
        if second[i] == 0:
            x, y, z = triangle_at(forest, i)
            pair = nearest_of_solid(
                kind, half, (into(r, sub(x, shift)), into(r, sub(y, shift)), into(r, sub(z, shift)))
            )
            beyond = min(beyond, pair[0])
            if pair[0] < best[0] or (not found and pair[0] == best[0]):
                best = (pair[0], add(out_of(r, pair[1]), shift), add(out_of(r, pair[2]), shift))
                found, limit = True, limit_of(pair[0])
                if pair[0] <= enough * enough:
                    break
            continue
        k, n = i + 1, second[i]
        near = solid_apart(boxes, k, kind, half, r, size, shift, around)
        far = solid_apart(boxes, n, kind, half, r, size, shift, around)
        if far < near:
            k, n, near, far = n, k, far, near
        nodes[waiting, 0], bounds[waiting] = n, far
        nodes[waiting + 1, 0], bounds[waiting + 1] = k, near
        waiting += 2
    return (best[0] if found else beyond, best[1], best[2]), found


@bare_entry
def nearest_pairs(
    forest: Forest,
    asked: Asked,
    reach: Floats,
    enough: float,
    room: Scratch,
    distances: Floats,
    points: Floats,
) -> None:
    """Least distances of pairs, each no farther than is needed to tell the least of its owner.

    Args:
        reach: (m,) of each owner, mm: narrowed to the least distance found, not below `enough`.
        enough: mm; the first points found that are no farther apart will do.
        distances: (k,) filled, mm; a lower bound when it is beyond reach.
        points: (k, 2, 3) filled with the nearest points in the frame of the first; nan when beyond reach.
    """
    for k in range(len(asked.owner)):
        own = asked.owner[k]
        within = max(reach[own], enough)
        distances[k] = asked.bounds[k]
        for m in range(3):
            points[k, 0, m] = points[k, 1, m] = np.nan
        if asked.bounds[k] > within:
            continue
        r, shift, half = asked.rotations[k], row(asked.shifts, k), row(asked.halves, k)
        one, other = asked.trees[k, 0], asked.trees[k, 1]
        if other >= 0:
            pair, found = between_trees(forest, one, other, r, shift, within, enough, room)
        else:
            pair, found = to_solid(forest, one, asked.kinds[k], half, r, shift, within, enough, room)
        distances[k] = sqrt(pair[0])
        if found:
            reach[own] = min(within, max(distances[k], enough))
            for m in range(3):
                points[k, 0, m], points[k, 1, m] = pair[1][m], pair[2][m]
