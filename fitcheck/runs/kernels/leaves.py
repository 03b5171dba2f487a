"""Space as cubes that are halved where it matters: is there a way with so much room?

A cube whose middle is f from the nearest solid holds no point with more room than f plus half
its diagonal, and none with less than f less that. So a way with room t goes only through cubes
that may have it; and one through cubes that surely have it is a way.
"""

from __future__ import annotations

from heapq import heappop, heappush
from math import inf, sqrt
from typing import NamedTuple

import numpy as np

from fitcheck.runs.kernels.solids import Solids, distance
from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Floats, Ints, Vector

# Half the diagonal of a cube of edge 1.
HALF_DIAGONAL = sqrt(3.0) / 2.0


class Leaves(NamedTuple):
    """Cubes over a region; the first are a grid, the last axis running fastest.

    Args:
        low, high: corners of the region, mm; the grid starts at the low one and may reach beyond
            the high one.
        pitch: edge of its cubes, mm.
        shape: number of them along each axis.
        children: (n,) row of the first of eight halves, 0 for a leaf.
        places: (n, 4) how often halved, and where in a grid of that size.
        rooms: (n,) from the middle to the nearest solid, mm; -inf beyond the region.
    """

    low: Vector
    high: Vector
    pitch: float
    shape: tuple[int, int, int]
    children: Ints
    places: Ints
    rooms: Floats


@native
def middle(leaves: Leaves, i: int) -> Vector:
    """Middle of cube i."""
    h = edge(leaves, i)
    x, y, z = leaves.low
    return (
        x + (leaves.places[i, 1] + 0.5) * h,
        y + (leaves.places[i, 2] + 0.5) * h,
        z + (leaves.places[i, 3] + 0.5) * h,
    )


@native
def edge(leaves: Leaves, i: int) -> float:
    """Edge of cube i, mm."""
    return float(leaves.pitch / (1 << leaves.places[i, 0]))


@native
def measure(leaves: Leaves, solids: Solids, i: int, cap: float) -> None:
    """Fill the room of cube i."""
    x, y, z = middle(leaves, i)
    half = edge(leaves, i) / 2.0
    if x - half >= leaves.high[0] or y - half >= leaves.high[1] or z - half >= leaves.high[2]:
        leaves.rooms[i] = -inf
    else:
        leaves.rooms[i] = distance(solids, x, y, z, cap)


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
def halve(leaves: Leaves, solids: Solids, i: int, count: int) -> int:
    """Halve leaf i, the new ones from row `count` on; how many cubes there are now."""
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
def may(leaves: Leaves, i: int, room: float) -> int:
    """How leaf i stands to a room: 2 it has it all over, 1 it may somewhere, 0 nowhere."""
    half = HALF_DIAGONAL * edge(leaves, i)
    if leaves.rooms[i] - half >= room:
        return 2
    return 1 if leaves.rooms[i] + half >= room else 0


@native
def flood(leaves: Leaves, start: int, goal: int, room: float, doubts: Ints, parents: Ints) -> int:
    """Go from leaf to touching leaf, and through as few doubtful ones as can be.

    Args:
        doubts: (n,) filled: how many doubtful leaves it takes at least to get to each, itself
            counted; -1 for those not reached, or reached with more than the goal.
        parents: (n,) filled: from where each was reached.

    Returns:
        The doubts of the goal; -1 when it cannot be reached.
    """
    doubts[:] = -1
    now, later = np.empty(len(doubts), np.int64), np.empty(len(doubts), np.int64)
    todo = np.empty(1024, np.int64)
    how = may(leaves, start, room)
    if how == 0:
        return -1
    count, held, waiting = 2 - how, 1, 0
    now[0], doubts[start], parents[start] = start, count, -1
    while held:
        held -= 1
        here = now[held]
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
                if doubts[other] >= 0:
                    continue
                how = may(leaves, other, room)
                if how == 0:
                    continue
                parents[other] = here
                doubts[other] = count + 2 - how
                if how == 2:
                    now[held] = other
                    held += 1
                else:
                    later[waiting] = other
                    waiting += 1
        if held == 0 and doubts[goal] < 0:
            now, later = later, now
            held, waiting, count = waiting, 0, count + 1
    return int(doubts[goal])


@native
def best_way(leaves: Leaves, start: int, goal: int, least: float, parents: Ints) -> bool:
    """Go from middle to middle of touching leaves, always on to that with the most room.

    Args:
        least: leaves whose middle has no more room are not entered, ends excepted.
        parents: (n,) filled: from where each was reached.

    Returns:
        Whether the goal was reached.
    """
    seen = np.zeros(len(parents), np.bool_)
    todo = np.empty(1024, np.int64)
    heap = [(0.0, start)]
    seen[start] = True
    parents[start] = -1
    while len(heap):
        here = heappop(heap)[1]
        if here == goal:
            return True
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
                elif not seen[other] and (leaves.rooms[other] > least or other == goal):
                    seen[other] = True
                    parents[other] = here
                    heappush(heap, (-leaves.rooms[other], other))
    return False


@native
def walked(parents: Ints, goal: int) -> Ints:
    """The way on which a flood reached the goal, from its start on."""
    at, steps = goal, 0
    while at >= 0:
        steps += 1
        at = parents[at]
    way = np.empty(steps, np.int64)
    at = goal
    for step in range(steps - 1, -1, -1):
        way[step] = at
        at = parents[at]
    return way


@native
def doubtful(leaves: Leaves, here: Ints, there: Ints, total: int, room: float, finest: float) -> Ints:
    """Doubtful leaves of which every way with the fewest doubts takes one; empty when none can be halved.

    All leaves that are the n-th doubt of such a way, for that n by which the most room is the
    least: where it is soonest shown that there is no way.

    Args:
        here, there: (n,) doubts from the start and from the goal; `total` from one to the other.
    """
    most, many = np.full(total + 1, -np.inf), np.zeros(total + 1, np.int64)
    for i in range(len(here)):
        if here[i] > 0 and there[i] > 0 and here[i] + there[i] == total + 1 and may(leaves, i, room) == 1:
            h = edge(leaves, i)
            upper = leaves.rooms[i] + HALF_DIAGONAL * h if h > finest else np.inf
            most[here[i]] = max(most[here[i]], upper)
            many[here[i]] += 1
    best = -1
    for n in range(1, total + 1):
        if many[n] and most[n] < np.inf and (best < 0 or most[n] < most[best]):
            best = n
    if best < 0:
        return np.empty(0, np.int64)
    found, held = np.empty(many[best], np.int64), 0
    for i in range(len(here)):
        if here[i] == best and there[i] > 0 and here[i] + there[i] == total + 1 and may(leaves, i, room) == 1:
            found[held] = i
            held += 1
    return found


@native
def corners(leaves: Leaves, way: Ints, p: Vector, q: Vector) -> Floats:
    """A polyline (n, 3) from p to q that stays within the leaves of a way, and in the region.

    From leaf to leaf it goes through the middle of what they share.
    """
    line = np.empty((2 * len(way) + 1, 3))
    line[0, 0], line[0, 1], line[0, 2] = p
    for step in range(len(way)):
        m = middle(leaves, way[step])
        h = edge(leaves, way[step]) / 2.0
        for axis in range(3):
            line[2 * step + 1, axis] = min(m[axis], leaves.high[axis])
        if step + 1 == len(way):
            line[2 * step + 2, 0], line[2 * step + 2, 1], line[2 * step + 2, 2] = q
            continue
        n, g = middle(leaves, way[step + 1]), edge(leaves, way[step + 1]) / 2.0
        for axis in range(3):
            least = max(m[axis] - h, n[axis] - g)
            most = min(m[axis] + h, n[axis] + g, leaves.high[axis])
            line[2 * step + 2, axis] = (least + most) / 2.0
    return line
