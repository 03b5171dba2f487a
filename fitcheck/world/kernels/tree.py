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

# Bins along an axis in which a split is looked for; runs of more triangles than MANY are
# split along the best of all three axes, others along the longest, and those of no more than
# FEW in halves.
BINS, MANY, FEW = 12, 512, 4
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
        bounds: (t, 6) of the triangles, in the order they are brought into.
        counts, bins: (BINS,) triangles in each bin along an axis, (BINS + 1, 6) their bounds, and
            last those of what is gathered from an end.
        after: (BINS,) cost of all from a bin on.
        todo: (DEPTH + 2, 4) runs still to become nodes: from, to, depth, and the node whose
            second child it is, or -1.
    """

    bounds: Floats
    counts: Ints
    bins: Floats
    after: Floats
    todo: Ints


def make_scratch(triangles: int) -> Scratch:
    """New scratch."""
    bins = np.empty(BINS, np.int64), np.empty((BINS + 1, 6)), np.empty(BINS)
    return Scratch(np.empty((triangles, 6)), *bins, np.empty((DEPTH + 2, 4), np.int64))


@native
def bound(corners: Floats, bounds: Floats) -> None:
    """Fill (t, 6) bounds of triangles."""
    for k in range(len(corners)):
        for m in range(3):
            a, b, c = corners[k, 0, m], corners[k, 1, m], corners[k, 2, m]
            bounds[k, m] = min(a, b, c)
            bounds[k, m + 3] = max(a, b, c)


@native
def hold(boxes: Floats, k: int, others: Floats, j: int) -> None:
    """Make box k hold box j of others."""
    for m in range(3):
        if others[j, m] < boxes[k, m]:
            boxes[k, m] = others[j, m]
        if others[j, m + 3] > boxes[k, m + 3]:
            boxes[k, m + 3] = others[j, m + 3]


@native
def clear(boxes: Floats, k: int) -> None:
    """Make box k hold nothing."""
    for m in range(3):
        boxes[k, m], boxes[k, m + 3] = np.inf, -np.inf


@native
def surface(boxes: Floats, k: int) -> float:
    """Half the surface of box k."""
    x, y, z = boxes[k, 3] - boxes[k, 0], boxes[k, 4] - boxes[k, 1], boxes[k, 5] - boxes[k, 2]
    return float(x * y + y * z + z * x)


@native
def swap(bounds: Floats, order: Ints, i: int, j: int) -> None:
    """Change the places of two triangles."""
    order[i], order[j] = order[j], order[i]
    for m in range(6):
        bounds[i, m], bounds[j, m] = bounds[j, m], bounds[i, m]


@native
def spread(bounds: Floats, first: int, last: int, m: int) -> tuple[float, float]:
    """Least of twice the middles of a run along axis m, and how far they spread."""
    least, most = np.inf, -np.inf
    for k in range(first, last):
        middle = bounds[k, m] + bounds[k, m + 3]
        if middle < least:
            least = middle
        if middle > most:
            most = middle
    return least, most - least


@native
def bin_of(bounds: Floats, k: int, m: int, low: float, wide: float) -> int:
    """The bin along axis m that a triangle's middle is in."""
    return min(int((bounds[k, m] + bounds[k, m + 3] - low) / wide * BINS), BINS - 1)


@native
def best_split(room: Scratch, first: int, last: int, m: int, low: float, wide: float) -> tuple[float, int]:
    """Least surface times triangles of a run split along axis m, and the bin before which it is."""
    bounds, counts, bins, after, _ = room
    for b in range(BINS):
        counts[b] = 0
        clear(bins, b)
    for k in range(first, last):
        b = bin_of(bounds, k, m, low, wide)
        counts[b] += 1
        hold(bins, b, bounds, k)
    clear(bins, BINS)
    held = 0
    for b in range(BINS - 1, 0, -1):
        hold(bins, BINS, bins, b)
        held += counts[b]
        after[b] = surface(bins, BINS) * held if held else np.inf
    clear(bins, BINS)
    held = 0
    least, place = np.inf, 0
    for b in range(1, BINS):
        hold(bins, BINS, bins, b - 1)
        held += counts[b - 1]
        if held and surface(bins, BINS) * held + after[b] < least:
            least, place = surface(bins, BINS) * held + after[b], b
    return least, place


@native
def by_middles(bounds: Floats, order: Ints, first: int, last: int, m: int) -> None:
    """Sort a short run by the middles along axis m."""
    for i in range(first + 1, last):
        j = i
        while j > first and bounds[j, m] + bounds[j, m + 3] < bounds[j - 1, m] + bounds[j - 1, m + 3]:
            swap(bounds, order, j - 1, j)
            j -= 1


@native
def parted(room: Scratch, order: Ints, first: int, last: int) -> int:
    """Bring a run into an order in which it can be split, and how many come before the split."""
    bounds = room.bounds
    x, y, z = spread(bounds, first, last, 0), spread(bounds, first, last, 1), spread(bounds, first, last, 2)
    wide = max(x[1], y[1], z[1])
    longest = 0 if x[1] == wide else 1 if y[1] == wide else 2
    if last - first <= FEW:
        by_middles(bounds, order, first, last, longest)
        return (last - first) // 2
    least, axis, place = np.inf, -1, 0
    for m in range(3):
        low, wide = x if m == 0 else y if m == 1 else z
        if wide > 1e-290 and (m == longest or last - first > MANY):
            cost, b = best_split(room, first, last, m, low, wide)
            if cost < least:
                least, axis, place = cost, m, b
    if axis < 0:
        return (last - first) // 2
    low, wide = x if axis == 0 else y if axis == 1 else z
    i, j = first, last - 1
    while i <= j:
        if bin_of(bounds, i, axis, low, wide) < place:
            i += 1
        else:
            swap(bounds, order, i, j)
            j -= 1
    return i - first


@bare_entry
def grow(
    corners: Floats,
    order: Ints,
    boxes: Floats,
    second: Ints,
    start: Ints,
    stop: Ints,
    leaf: int,
    room: Scratch,
) -> int:
    """Fill the arrays of a `Tree` with room for 2 t - 1 nodes; how many it has."""
    todo = room.todo
    bound(corners, room.bounds)
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
        if last - first <= leaf:
            continue
        many = (last - first) // 2 if depth >= HALVE else parted(room, order, first, last)
        # The first child last: it is taken next.
        todo[waiting, 0], todo[waiting, 1] = first + many, last
        todo[waiting + 1, 0], todo[waiting + 1, 1] = first, first + many
        todo[waiting, 2] = todo[waiting + 1, 2] = depth + 1
        todo[waiting, 3], todo[waiting + 1, 3] = node, -1
        waiting += 2
    # A node's children come after it.
    for node in range(nodes - 1, -1, -1):
        clear(boxes, node)
        if second[node]:
            hold(boxes, node, boxes, node + 1)
            hold(boxes, node, boxes, second[node])
        else:
            for k in range(start[node], stop[node]):
                hold(boxes, node, room.bounds, k)
    return nodes
