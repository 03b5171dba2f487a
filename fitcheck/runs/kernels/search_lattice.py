"""The search: poses on a lattice of cells and headings, best first.

Each state of cell and heading keeps the true place of the first best pose found in it
(hybrid A*, Dolgov et al. 2010). Moves: straight on by a cell, or a bend to another heading
and the least straight after it. From many states closings are tried that end the search at once.
"""

from __future__ import annotations

from math import acos, floor
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fitcheck.runs.kernels.search_close import Closing, Rules, close
from fitcheck.runs.kernels.search_grid import Home, way_home
from fitcheck.runs.kernels.search_trace import (
    Shorts,
    Singles,
    Space,
    clear_arc,
    clear_way,
    half_tangent,
    inside,
)
from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Floats, Ints, Vector, along, dot, row

# A closing is tried from each state nearer to the goal than so many radii, else from every so many.
NEAR, SELDOM = 4.0, 8


class Lattice(NamedTuple):
    """Cells and headings.

    Args:
        low: (3,) low corner of the cells, mm.
        cell: edge of a cell, and the straight move, mm.
        shape: (3,) number of cells.
        heads: (n, 3) unit headings, the last that of the start.
        turns: (n, k) rows of the headings one bend away, -1 filled up.
    """

    low: Floats
    cell: float
    shape: Ints
    heads: Floats
    turns: Ints


class Tree(NamedTuple):
    """What a search found.

    Args:
        places: (m, 3) of all poses made, mm.
        head: (m,) their headings.
        parents: (m,) -1 for the start.
        costs: (m,) from the start: length and what bends cost, mm.
        order: (e,) the poses that were expanded, in order.
        last, target: the pose and the target of the cheapest closing; -1 if there is none.
        closing: that closing; its cost is that of the whole way.
        exhausted: nothing was left to expand.
    """

    places: Floats
    head: NDArray[np.int16]
    parents: Shorts
    costs: Singles
    order: Shorts
    last: int
    target: int
    closing: Closing
    exhausted: bool


@native
def push(keys: Singles, items: Shorts, size: int, key: np.float32, item: int) -> int:
    """Put an item into a binary heap; its new size."""
    at = size
    while at > 0:
        up = (at - 1) // 2
        if keys[up] <= key:
            break
        keys[at], items[at] = keys[up], items[up]
        at = up
    keys[at], items[at] = key, item
    return size + 1


@native
def pop(keys: Singles, items: Shorts, size: int) -> int:
    """Take the least item off the root of a binary heap; its new size."""
    size -= 1
    key, item, at = keys[size], items[size], 0
    while True:
        down = 2 * at + 1
        if down >= size:
            break
        if down + 1 < size and keys[down + 1] < keys[down]:
            down += 1
        if keys[down] >= key:
            break
        keys[at], items[at] = keys[down], items[down]
        at = down
    keys[at], items[at] = key, item
    return size


@native
def state_of(lattice: Lattice, p: Vector, head: int) -> int:
    """Row of the state of a pose, -1 outside the cells."""
    i = floor((p[0] - lattice.low[0]) / lattice.cell)
    j = floor((p[1] - lattice.low[1]) / lattice.cell)
    k = floor((p[2] - lattice.low[2]) / lattice.cell)
    shape = lattice.shape
    if i < 0 or j < 0 or k < 0 or i >= shape[0] or j >= shape[1] or k >= shape[2]:
        return -1
    return int(((i * shape[1] + j) * shape[2] + k) * len(lattice.heads) + head)


@native
def banned(bans: Floats, p: Vector) -> bool:
    """Whether a place is in one of the balls."""
    for i in range(len(bans)):
        x, y, z = p[0] - bans[i, 0], p[1] - bans[i, 1], p[2] - bans[i, 2]
        if x * x + y * y + z * z < bans[i, 3] * bans[i, 3]:
            return True
    return False


@native
def grow(
    space: Space,
    lattice: Lattice,
    rules: Rules,
    home: Home,
    starts: Floats,
    targets: Floats,
    bans: Floats,
    weight: float,
    most: int,
    after: int,
) -> Tree:
    """Search from starts, whose heading is the lattice's last, to any of the targets.

    Args:
        starts: (s, 4) place, and the length gone up to it.
        targets: (m, 8) place, direction of arrival, length still to come from there, least straight
            before it.
        bans: (b, 4) balls, centre and radius, that no pose may stand in, mm.
        weight: of the way home against the way come.
        most: expansions.
        after: expansions after the first way found.
    """
    # Longer than a function should be: each part of the loop writes to most of a dozen arrays and counters,
    # and handing these on in every step costs more than the step.
    heads, turns, radius, rest = lattice.heads, lattice.turns, rules.radius, rules.straight
    count = len(heads)
    room_for = min(most * (turns.shape[1] + 1), 40_000 * 27) + len(starts) + 1
    places, head = np.empty((room_for, 3)), np.empty(room_for, np.int16)
    parents, costs = np.empty(room_for, np.int32), np.empty(room_for, np.float32)
    keys, items = np.empty(room_for, np.float32), np.empty(room_for, np.int32)
    order = np.empty(most, np.int32)
    table = np.full(lattice.shape[0] * lattice.shape[1] * lattice.shape[2] * count, np.inf, np.float32)
    arcs = np.zeros(turns.shape)
    for i in range(count):
        for k in range(turns.shape[1]):
            if turns[i, k] >= 0:
                arcs[i, k] = radius * acos(min(max(dot(row(heads, i), row(heads, turns[i, k])), -1.0), 1.0))
    made, size, expanded = 0, 0, 0
    best, last, target = Closing(np.inf, 0, (0.0, 0.0, 0.0), (0.0, 0.0, 0.0)), -1, -1
    for i in range(len(starts)):
        p = (starts[i, 0], starts[i, 1], starts[i, 2])
        places[made, 0], places[made, 1], places[made, 2] = p
        head[made], parents[made], costs[made] = count - 1, -1, starts[i, 3]
        size = push(keys, items, size, np.float32(starts[i, 3] + weight * way_home(home, p)), made)
        made += 1
    ends = most
    while size > 0 and expanded < ends:
        key, node = keys[0], items[0]
        size = pop(keys, items, size)
        p, h, cost = row(places, node), int(head[node]), costs[node]
        state = state_of(lattice, p, h)
        if state < 0 or (cost > table[state] and parents[node] >= 0):
            continue
        if key >= best.cost or made + turns.shape[1] + 1 >= room_for:
            break
        order[expanded] = node
        expanded += 1
        d = row(heads, h)
        away = way_home(home, p)
        if expanded % SELDOM == 1 or away < NEAR * radius:
            for m in range(len(targets)):
                q, t = (
                    (targets[m, 0], targets[m, 1], targets[m, 2]),
                    (targets[m, 3], targets[m, 4], targets[m, 5]),
                )
                gone = cost + targets[m, 6]
                found = close(space, rules, p, d, q, t, targets[m, 7], best.cost - gone)
                if found.cost < np.inf:
                    if last < 0:
                        ends = min(most, expanded + after)
                    best = Closing(found.cost + gone, found.bends, found.first, found.second)
                    last, target = node, m
        for k in range(-1, turns.shape[1]):
            if k < 0:
                other, took = h, lattice.cell
                q = along(p, d, took)
            else:
                other = turns[h, k]
                if other < 0:
                    break
                u, took = row(heads, other), arcs[h, k] + rest + rules.cost
                a = radius * half_tangent(dot(d, u))
                bent = along(along(p, d, a), u, a)
                q = along(bent, u, rest)
            if not inside(space, q) or banned(bans, q):
                continue
            reached = np.float32(cost + np.float32(took))
            state = state_of(lattice, q, other)
            if state < 0 or reached >= table[state]:
                continue
            left = way_home(home, q)
            if left == np.inf or reached + left >= best.cost:
                continue
            if k < 0:
                if clear_way(space, p, d, took) < took:
                    continue
            elif not clear_arc(space, p, d, u, radius) or clear_way(space, bent, u, rest) < rest:
                continue
            table[state] = reached
            places[made, 0], places[made, 1], places[made, 2] = q
            head[made], parents[made], costs[made] = other, node, reached
            size = push(keys, items, size, np.float32(reached + np.float32(weight * left)), made)
            made += 1
    return Tree(
        places[:made].copy(),
        head[:made].copy(),
        parents[:made].copy(),
        costs[:made].copy(),
        order[:expanded].copy(),
        last,
        target,
        best,
        size == 0,
    )
