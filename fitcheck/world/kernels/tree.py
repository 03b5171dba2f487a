"""A tree of boxes over triangles: built once for a mesh, asked by every search in it.

Split where the boxes of both sides, by surface times number of triangles, are least: the
surface area heuristic of Goldsmith and Salmon, Automatic creation of object hierarchies
for ray tracing, IEEE CG&A 7, 1987, over equal bins (Wald, On fast construction of SAH-based
bounding volume hierarchies, 2007).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from fitcheck.world.kernels.native import bare_entry, native
from fitcheck.world.kernels.vectors import Floats, Ints

# Bins along each axis in which a split is looked for.
BINS = 12
# From this depth on runs are halved whatever their place, so that no tree of fewer than
# 2^40 triangles is deeper than DEPTH: a search's stack of that many rows never runs over.
HALVE, DEPTH = 56, 96


class Tree(NamedTuple):
    """Nodes (n) in the order of a walk, the first child always the next row; row 0 holds all.

    A node's triangles are the rows start..stop-1 of `corners`. Each array is contiguous.

    Args:
        corners: (t, 3, 3) corners of the triangles, sorted by leaf.
        order: (t,) which of the triangles given each one is.
        boxes: (n, 6) low x, y, z, then high x, y, z of what a node holds.
        second: (n,) row of the second child; 0 for a leaf.
        start, stop: (n,) run of a node's triangles.
    """

    corners: Floats
    order: Ints
    boxes: Floats
    second: Ints
    start: Ints
    stop: Ints


def build_tree(triangles: Floats, leaf: int = 1) -> Tree:
    """The tree of triangles (t, 3, 3); no node of `leaf` triangles or fewer is split.

    No triangles, no nodes.
    """
    corners = np.ascontiguousarray(triangles, dtype=np.float64).reshape(-1, 3, 3)
    count = len(corners)
    most = max(2 * count - 1, 0)
    tree = Tree(
        np.empty((count, 3, 3)),
        np.arange(count, dtype=np.int64),
        np.empty((most, 6)),
        np.zeros(most, np.int64),
        np.zeros(most, np.int64),
        np.zeros(most, np.int64),
    )
    if count:
        made = tree.order, tree.boxes, tree.second, tree.start, tree.stop
        nodes = grow(corners, *made, max(leaf, 1), make_scratch(count))
        np.take(corners, tree.order, axis=0, out=tree.corners)
        if nodes < most:
            second, start, stop = (rows[:nodes].copy() for rows in (tree.second, tree.start, tree.stop))
            return Tree(tree.corners, tree.order, tree.boxes[:nodes].copy(), second, start, stop)
    return tree


class Scratch(NamedTuple):
    """Room to build a tree in.

    Args:
        bounds: (t, 6) of the triangles.
        counts: (3, BINS) triangles in each bin along each axis, `bins` (3, BINS, 6) their bounds.
        after, box, low, scale: (BINS,), (6,), (3,), (3,).
        todo: (DEPTH + 2, 4) runs still to become nodes: from, to, depth, and the node whose
            second child it is, or -1.
    """

    bounds: Floats
    counts: Ints
    bins: Floats
    after: Floats
    box: Floats
    low: Floats
    scale: Floats
    todo: Ints


def make_scratch(triangles: int) -> Scratch:
    """New scratch."""
    return Scratch(
        np.empty((triangles, 6)),
        np.empty((3, BINS), np.int64),
        np.empty((3, BINS, 6)),
        np.empty(BINS),
        np.empty(6),
        np.empty(3),
        np.empty(3),
        np.empty((DEPTH + 2, 4), np.int64),
    )


@native
def bound(corners: Floats, bounds: Floats) -> None:
    """Fill (t, 6) bounds of triangles."""
    for k in range(len(corners)):
        for m in range(3):
            a, b, c = corners[k, 0, m], corners[k, 1, m], corners[k, 2, m]
            bounds[k, m] = min(a, b, c)
            bounds[k, m + 3] = max(a, b, c)


@native
def widen(box: Floats, other: Floats) -> None:
    """Make a box (6,) hold another."""
    for m in range(3):
        box[m] = min(box[m], other[m])
        box[m + 3] = max(box[m + 3], other[m + 3])


@native
def empty(box: Floats) -> None:
    """Make a box (6,) hold nothing."""
    box[:3] = np.inf
    box[3:] = -np.inf


@native
def surface(box: Floats) -> float:
    """Half the surface of a box (6,)."""
    x, y, z = box[3] - box[0], box[4] - box[1], box[5] - box[2]
    return float(x * y + y * z + z * x)


@native
def fill_bins(bounds: Floats, run: Ints, low: Floats, scale: Floats, counts: Ints, boxes: Floats) -> None:
    """Count the triangles of a run, and bound them, by the bin of their middle along each axis."""
    counts[:] = 0
    boxes[:, :, :3] = np.inf
    boxes[:, :, 3:] = -np.inf
    for k in run:
        for m in range(3):
            middle = bounds[k, m] + bounds[k, m + 3]
            b = min(int((middle - low[m]) * scale[m]), BINS - 1)
            counts[m, b] += 1
            widen(boxes[m, b], bounds[k])


@native
def best_split(counts: Ints, boxes: Floats, after: Floats, box: Floats) -> tuple[int, int]:
    """Axis and bin before which to split: least surface times triangles; (-1, 0) for none."""
    axis, place = -1, 0
    least = np.inf
    for m in range(3):
        empty(box)
        held = 0
        for b in range(BINS - 1, 0, -1):
            widen(box, boxes[m, b])
            held += counts[m, b]
            after[b] = surface(box) * held if held else np.inf
        empty(box)
        held = 0
        for b in range(1, BINS):
            widen(box, boxes[m, b - 1])
            held += counts[m, b - 1]
            if held and after[b] < np.inf:
                cost = surface(box) * held + after[b]
                if cost < least:
                    least, axis, place = cost, m, b
    return axis, place


@native
def parted(bounds: Floats, run: Ints, m: int, low: float, scale: float, place: int) -> int:
    """Move the triangles of the bins before `place` to the front of a run; how many they are."""
    left, right = 0, len(run) - 1
    while left <= right:
        k = run[left]
        if min(int((bounds[k, m] + bounds[k, m + 3] - low) * scale), BINS - 1) < place:
            left += 1
        else:
            run[left], run[right] = run[right], k
            right -= 1
    return left


@native
def middles(bounds: Floats, run: Ints, low: Floats, scale: Floats) -> None:
    """Fill low and scale (3,) so that (twice a middle - low) * scale is its bin."""
    for m in range(3):
        least, most = np.inf, -np.inf
        for k in run:
            middle = bounds[k, m] + bounds[k, m + 3]
            least, most = min(least, middle), max(most, middle)
        low[m] = least
        scale[m] = BINS / (most - least) if most - least > 1e-290 else 0.0


@bare_entry
def grow(
    corners: Floats,
    order: Ints,
    boxes: Floats,
    second: Ints,
    start: Ints,
    stop: Ints,
    leaf: int,
    scratch: Scratch,
) -> int:
    """Fill the arrays of a `Tree` with room for 2 t - 1 nodes; how many it has."""
    bounds, low, scale, todo = scratch.bounds, scratch.low, scratch.scale, scratch.todo
    bound(corners, bounds)
    todo[0, 0], todo[0, 1], todo[0, 2], todo[0, 3] = 0, len(order), 0, -1
    waiting, nodes = 1, 0
    while waiting:
        waiting -= 1
        first, last, depth, parent = todo[waiting, 0], todo[waiting, 1], todo[waiting, 2], todo[waiting, 3]
        node = nodes
        nodes += 1
        if parent >= 0:
            second[parent] = node
        start[node], stop[node], second[node] = first, last, 0
        run = order[first:last]
        empty(boxes[node])
        for k in run:
            widen(boxes[node], bounds[k])
        if last - first <= leaf:
            continue
        axis, place = -1, 0
        if depth < HALVE:
            middles(bounds, run, low, scale)
            fill_bins(bounds, run, low, scale, scratch.counts, scratch.bins)
            axis, place = best_split(scratch.counts, scratch.bins, scratch.after, scratch.box)
        many = (last - first) // 2
        if axis >= 0:
            many = parted(bounds, run, axis, low[axis], scale[axis], place)
        for side in range(2):
            # The first child last: it is taken next.
            todo[waiting, 0] = first + many if side == 0 else first
            todo[waiting, 1] = last if side == 0 else first + many
            todo[waiting, 2] = depth + 1
            todo[waiting, 3] = node if side == 0 else -1
            waiting += 1
    return nodes
