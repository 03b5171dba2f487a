"""Space as cubes that are halved where it matters: is there a way with so much room?

A cube whose middle is f from the nearest solid holds no point with more room than f plus half
its diagonal r, and none with less than f less that. So a way with room t goes only through cubes
that may have it; and one through cubes that surely have it is a way.

Between walls that face each other there is a sharper bound. With a wall at f to one side of the middle and
one at g straight opposite, a point x at most r from the middle is within sqrt(r^2 + f g) of one of the
two: by Stewart's theorem that is the most that the weighted mean of both squared distances comes to.
"""

from __future__ import annotations

from heapq import heappop, heappush
from math import sqrt
from typing import NamedTuple

import numpy as np

from fitcheck.runs.kernels.solids import Solids, distance
from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Floats, Ints, Vector, along, length, scale

# Half the diagonal of a cube of edge 1.
HALF_DIAGONAL = sqrt(3.0) / 2.0
# The wall next to a cube is looked for from beside its middle, shares of half the diagonal along each axis:
# on the plane between two walls itself neither is the next one.
BESIDE = (0.031, 0.077, -0.055)
# How far to each side, mm, and how near to a wall is on it; steps towards the one opposite.
NUDGE, ON_WALL, STEPS = 1e-4, 1e-6, 8


class Leaves(NamedTuple):
    """Cubes; the first are a grid, the last axis running fastest.

    Args:
        low: low corner of the grid and of the region, mm.
        high: high corner of the region, mm: what of a cube lies beyond it counts for nothing.
        pitch: edge of its cubes, mm.
        shape: number of them along each axis.
        children: (n,) row of the first of eight halves, 0 for a leaf.
        places: (n, 4) how often halved, and where in a grid of that size.
        rooms: (n,) from the middle to the nearest solid, mm.
        mosts: (n,) no point of the cube has more room, mm.
    """

    low: Vector
    high: Vector
    pitch: float
    shape: tuple[int, int, int]
    children: Ints
    places: Ints
    rooms: Floats
    mosts: Floats


@native
def within(leaves: Leaves, p: Vector) -> Vector:
    """The point of the region nearest to p, which is not below it."""
    high = leaves.high
    return min(p[0], high[0]), min(p[1], high[1]), min(p[2], high[2])


@native
def centre(leaves: Leaves, i: int) -> Vector:
    """Middle of cube i, in the region or beyond it."""
    h = edge(leaves, i)
    x, y, z = leaves.low
    return (
        x + (leaves.places[i, 1] + 0.5) * h,
        y + (leaves.places[i, 2] + 0.5) * h,
        z + (leaves.places[i, 3] + 0.5) * h,
    )


@native
def middle(leaves: Leaves, i: int) -> Vector:
    """The point of the region nearest to the middle of cube i.

    No farther from any point of the cube in the region than the middle is: it stands for it.
    """
    return within(leaves, centre(leaves, i))


@native
def edge(leaves: Leaves, i: int) -> float:
    """Edge of cube i, mm."""
    return float(leaves.pitch / (1 << leaves.places[i, 0]))


@native
def measure(leaves: Leaves, solids: Solids, i: int, cap: float) -> None:
    """Fill the room of cube i and the most that it can have; one wholly beyond the region has none."""
    x, y, z = middle(leaves, i)
    p, h = centre(leaves, i), edge(leaves, i) / 2.0
    if p[0] - h >= leaves.high[0] or p[1] - h >= leaves.high[1] or p[2] - h >= leaves.high[2]:
        leaves.rooms[i] = -np.inf
    else:
        leaves.rooms[i] = distance(solids, x, y, z, cap)
    leaves.mosts[i] = leaves.rooms[i] + HALF_DIAGONAL * edge(leaves, i)


@native
def tighten(leaves: Leaves, solids: Solids, i: int) -> None:
    """Lower the most room that cube i can have, if it lies between two walls that face each other."""
    c, r = middle(leaves, i), HALF_DIAGONAL * edge(leaves, i)
    cap = leaves.rooms[i] + 4.0 * r
    x, y, z = c[0] + BESIDE[0] * r, c[1] + BESIDE[1] * r, c[2] + BESIDE[2] * r
    gx = distance(solids, x + NUDGE, y, z, cap) - distance(solids, x - NUDGE, y, z, cap)
    gy = distance(solids, x, y + NUDGE, z, cap) - distance(solids, x, y - NUDGE, z, cap)
    gz = distance(solids, x, y, z + NUDGE, cap) - distance(solids, x, y, z - NUDGE, cap)
    steep = sqrt(gx * gx + gy * gy + gz * gz)
    if steep < NUDGE:
        return
    # The next wall, and from there through the middle to the one opposite. Both need not be met exactly:
    # what is left to a wall counts.
    off = distance(solids, x, y, z, cap) / steep
    wall = (x - off * gx, y - off * gy, z - off * gz)
    left = max(distance(solids, wall[0], wall[1], wall[2], cap), 0.0)
    ahead = (c[0] - wall[0], c[1] - wall[1], c[2] - wall[2])
    f = length(ahead)
    if f <= r:
        return
    ahead = scale(ahead, 1.0 / f)
    g, rest = leaves.rooms[i], cap
    for _ in range(STEPS):
        p = along(c, ahead, g)
        rest = distance(solids, p[0], p[1], p[2], cap)
        if rest < ON_WALL or g > f + 2.0 * r:
            break
        g += rest
    leaves.mosts[i] = min(leaves.mosts[i], sqrt(r * r + f * g) + max(left, rest, 0.0))


@native
def plant(leaves: Leaves, solids: Solids, cap: float) -> int:
    """Fill in the grid; how many cubes it has."""
    count = 0
    for i in range(leaves.shape[0]):
        for j in range(leaves.shape[1]):
            for k in range(leaves.shape[2]):
                places = leaves.places[count]
                places[0], places[1], places[2], places[3] = 0, i, j, k
                leaves.children[count] = 0
                measure(leaves, solids, count, cap)
                count += 1
    return count


@native
def halve(leaves: Leaves, solids: Solids, i: int, count: int, room: float) -> int:
    """Halve leaf i, the new ones from row `count` on, in doubt of a room; how many cubes there are now."""
    leaves.children[i] = count
    cap = leaves.rooms[i] + edge(leaves, i)
    for child in range(8):
        places = leaves.places[count]
        places[0] = leaves.places[i, 0] + 1
        places[1] = 2 * leaves.places[i, 1] + (child >> 2)
        places[2] = 2 * leaves.places[i, 2] + (child >> 1 & 1)
        places[3] = 2 * leaves.places[i, 3] + (child & 1)
        leaves.children[count] = 0
        measure(leaves, solids, count, cap)
        half = HALF_DIAGONAL * edge(leaves, count)
        if 2.0 * half < leaves.rooms[count] < room + half and leaves.mosts[count] >= room:
            tighten(leaves, solids, count)
        count += 1
    return count


@native
def cube_at(leaves: Leaves, level: int, i: int, j: int, k: int) -> int:
    """The cube at a place of the grid halved `level` times, or the leaf that holds it; -1 outside."""
    x, y, z = i >> level, j >> level, k >> level
    shape = leaves.shape
    if x < 0 or y < 0 or z < 0 or x >= shape[0] or y >= shape[1] or z >= shape[2]:
        return -1
    found = (x * shape[1] + y) * shape[2] + z
    for finer in range(level - 1, -1, -1):
        first = leaves.children[found]
        if first == 0:
            break
        found = first + 4 * (i >> finer & 1) + 2 * (j >> finer & 1) + (k >> finer & 1)
    return int(found)


@native
def leaf_of(leaves: Leaves, p: Vector) -> int:
    """The leaf that holds a point; that of the grid's nearest point when it is outside."""
    level = 20
    h = leaves.pitch / (1 << level)
    i = min(max(int((p[0] - leaves.low[0]) / h), 0), (leaves.shape[0] << level) - 1)
    j = min(max(int((p[1] - leaves.low[1]) / h), 0), (leaves.shape[1] << level) - 1)
    k = min(max(int((p[2] - leaves.low[2]) / h), 0), (leaves.shape[2] << level) - 1)
    return cube_at(leaves, level, i, j, k)


@native
def fits_side(child: int, i: int, j: int, k: int) -> bool:
    """Whether a child of a neighbour in direction (i, j, k) touches where we come from."""
    a, b, c = child >> 2, child >> 1 & 1, child & 1
    return (i == 0 or a == (i < 0)) and (j == 0 or b == (j < 0)) and (k == 0 or c == (k < 0))


@native
def flood(leaves: Leaves, count: int, start: int, goal: int, room: float) -> Ints:
    """Leaves from start to goal, each touching the next, that may all have the room; empty if there are none.

    Those that surely have it are taken as they come, the others only then, and the best first.
    """
    parents = np.full(count, -1, np.int64)
    sure, todo = np.empty(count, np.int64), np.empty(1024, np.int64)
    held = 0
    maybe = [(0.0, start)]
    parents[start] = start
    if leaves.mosts[start] < room:
        return np.empty(0, np.int64)
    while held or maybe:
        if held:
            held -= 1
            here = sure[held]
        else:
            here = heappop(maybe)[1]
        if here == goal:
            break
        level, x, y, z = leaves.places[here]
        for side in range(27):
            i, j, k = side // 9 - 1, side // 3 % 3 - 1, side % 3 - 1
            todo[0] = cube_at(leaves, level, x + i, y + j, z + k)
            left = 1 if todo[0] >= 0 else 0
            while left:
                left -= 1
                other = todo[left]
                first = leaves.children[other]
                if first:
                    for child in range(8):
                        if fits_side(child, i, j, k):
                            todo[left] = first + child
                            left += 1
                    continue
                if parents[other] >= 0:
                    continue
                if leaves.mosts[other] < room:
                    continue
                half = HALF_DIAGONAL * edge(leaves, other)
                parents[other] = here
                if leaves.rooms[other] - half >= room:
                    sure[held] = other
                    held += 1
                else:
                    heappush(maybe, (half - leaves.rooms[other], other))
    return walked(parents, goal)


@native
def walked(parents: Ints, goal: int) -> Ints:
    """The way to the goal, from its start on; empty when it was not reached."""
    at, steps = goal, 0
    while parents[at] >= 0:
        steps += 1
        if parents[at] == at:
            break
        at = parents[at]
    way = np.empty(steps, np.int64)
    at = goal
    for step in range(steps - 1, -1, -1):
        way[step] = at
        at = parents[at]
    return way


@native
def spread(leaves: Leaves, count: int, start: int, goal: int, room: float) -> Floats:
    """How much of each leaf's best way from start may lack the room, mm (count,); inf where none leads.

    Of a leaf that surely has the room nothing counts, of another its edge; its own is included. Leaves
    that are farther than the goal are left out.
    """
    costs = np.full(count, np.inf)
    sure, todo = np.empty(count, np.int64), np.empty(1024, np.int64)
    half = HALF_DIAGONAL * edge(leaves, start)
    if leaves.mosts[start] < room:
        return costs
    costs[start] = 0.0 if leaves.rooms[start] - half >= room else edge(leaves, start)
    maybe = [(costs[start], start)]
    held = 0
    while held or maybe:
        if held:
            held -= 1
            here = sure[held]
        else:
            cost, here = heappop(maybe)
            if cost > costs[here]:
                continue
            if cost > costs[goal]:
                break
        level, x, y, z = leaves.places[here]
        for side in range(27):
            i, j, k = side // 9 - 1, side // 3 % 3 - 1, side % 3 - 1
            todo[0] = cube_at(leaves, level, x + i, y + j, z + k)
            left = 1 if todo[0] >= 0 else 0
            while left:
                left -= 1
                other = todo[left]
                first = leaves.children[other]
                if first:
                    for child in range(8):
                        if fits_side(child, i, j, k):
                            todo[left] = first + child
                            left += 1
                    continue
                h = edge(leaves, other)
                half = HALF_DIAGONAL * h
                if leaves.mosts[other] < room:
                    continue
                if leaves.rooms[other] - half >= room:
                    if costs[here] < costs[other]:
                        costs[other] = costs[here]
                        sure[held] = other
                        held += 1
                elif costs[here] + h < costs[other]:
                    costs[other] = costs[here] + h
                    heappush(maybe, (costs[other], other))
    return costs


@native
def halve_between(
    leaves: Leaves,
    solids: Solids,
    count: int,
    start: int,
    goal: int,
    room: float,
    slack: float,
    finest: float,
) -> int:
    """Halve all leaves that stand between the two ends: those on a way that lacks hardly more than the best.

    Args:
        slack: how many of its own edges such a way may lack more than the best, its own one included.

    Returns:
        How many cubes there are now; as many as before when none may be halved; -1 when no way is left.
    """
    out = spread(leaves, count, start, goal, room)
    if out[goal] == np.inf:
        return -1
    back = spread(leaves, count, goal, start, room)
    now = count
    for i in range(count):
        if leaves.children[i] or out[i] == np.inf or back[i] == np.inf:
            continue
        h = edge(leaves, i)
        if h <= finest or leaves.rooms[i] - HALF_DIAGONAL * h >= room or now + 8 > len(leaves.rooms):
            continue
        # A leaf in a dead end is come to and left again: twice its own edge more than the best way.
        if out[i] + back[i] < out[goal] + slack * h:
            now = halve(leaves, solids, i, now, room)
    return now


@native
def corners(leaves: Leaves, way: Ints, p: Vector, q: Vector) -> Floats:
    """A polyline (n, 3) from p to q that stays within the leaves of a way.

    From leaf to leaf it goes through the middle of what they share.
    """
    line = np.empty((2 * len(way) + 1, 3))
    line[0, 0], line[0, 1], line[0, 2] = p
    for step in range(len(way)):
        line[2 * step + 1, 0], line[2 * step + 1, 1], line[2 * step + 1, 2] = middle(leaves, way[step])
        m, h = centre(leaves, way[step]), edge(leaves, way[step]) / 2.0
        if step + 1 == len(way):
            line[2 * step + 2, 0], line[2 * step + 2, 1], line[2 * step + 2, 2] = q
            continue
        n, g = centre(leaves, way[step + 1]), edge(leaves, way[step + 1]) / 2.0
        for axis in range(3):
            least = max(m[axis] - h, n[axis] - g)
            most = min(m[axis] + h, n[axis] + g, leaves.high[axis])
            line[2 * step + 2, axis] = (least + most) / 2.0
    return line
