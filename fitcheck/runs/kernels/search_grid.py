"""The way home: how far it is to a goal from anywhere, for a centre line that may bend at will.

Shortest ways over the 26 neighbours of a grid whose points keep the relaxed distance. Points
wait in buckets as wide as the shortest step, so that those of one bucket cannot shorten each
other (Dial 1969).
"""

from __future__ import annotations

from math import floor, sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fitcheck.runs.kernels.search_trace import Shorts, Singles, Space, keeps
from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Floats, Ints, Vector

Bytes = NDArray[np.uint8]
# A way over 26 neighbours is at most this times as long as the straight.
STAIRS = 1.1281
UNSEEN, OPEN, SHUT = 0, 1, 2


class Grid(NamedTuple):
    """Points to go over: the first at low (3,) mm, pitch mm apart, shape (3,) of them along the axes."""

    low: Floats
    pitch: float
    shape: Ints


class Home(NamedTuple):
    """Lengths of the shortest ways to a goal.

    Args:
        low: (3,) first point of the grid, mm.
        pitch: mm.
        values: (nx, ny, nz) float32, mm; inf where there is no way; the least it can be where it was
            not followed.
    """

    low: Floats
    pitch: float
    values: Singles


@native
def unhook(node: int, bucket: int, heads: Shorts, after: Shorts, before: Shorts) -> None:
    """Take a point out of its bucket."""
    if before[node] >= 0:
        after[before[node]] = after[node]
    else:
        heads[bucket] = after[node]
    if after[node] >= 0:
        before[after[node]] = before[node]


@native
def hook(node: int, bucket: int, heads: Shorts, after: Shorts, before: Shorts) -> None:
    """Put a point into a bucket."""
    after[node], before[node] = heads[bucket], -1
    if heads[bucket] >= 0:
        before[heads[bucket]] = node
    heads[bucket] = node


@native
def seed(goal: Vector, low: Floats, pitch: float, shape: Ints, values: Singles, state: Bytes) -> None:
    """Open the points round the goal and fill their distance to it, however near the solids they are."""
    i0 = floor((goal[0] - low[0]) / pitch)
    j0 = floor((goal[1] - low[1]) / pitch)
    k0 = floor((goal[2] - low[2]) / pitch)
    for i in range(max(i0, 1), min(i0 + 2, shape[0] - 1)):
        for j in range(max(j0, 1), min(j0 + 2, shape[1] - 1)):
            for k in range(max(k0, 1), min(k0 + 2, shape[2] - 1)):
                node = (i * shape[1] + j) * shape[2] + k
                x, y, z = (
                    low[0] + i * pitch - goal[0],
                    low[1] + j * pitch - goal[1],
                    low[2] + k * pitch - goal[2],
                )
                values[node] = np.float32(sqrt(x * x + y * y + z * z))
                state[node] = OPEN


@native
def bordered(shape: Ints) -> Bytes:
    """States of all points (n,): those of the border are shut, so that no neighbour is ever missing."""
    state = np.full((shape[0], shape[1], shape[2]), SHUT, np.uint8)
    state[1:-1, 1:-1, 1:-1] = UNSEEN
    return state.reshape(-1)


@native
def neighbours(pitch: float, shape: Ints) -> tuple[Ints, Singles]:
    """Steps in the flat row of points to the 26 neighbours, and their lengths, mm."""
    steps, lengths = np.empty(26, np.int64), np.empty(26, np.float32)
    found = 0
    for i in range(-1, 2):
        for j in range(-1, 2):
            for k in range(-1, 2):
                if i != 0 or j != 0 or k != 0:
                    steps[found] = (i * shape[1] + j) * shape[2] + k
                    lengths[found] = pitch * sqrt(i * i + j * j + k * k)
                    found += 1
    return steps, lengths


@native
def ways_home(
    space: Space, goal: Vector, start: Vector, grid: Grid, least: float, detour: tuple[float, float]
) -> Home:
    """Lengths of the shortest ways to the goal over points that keep `least` from the solids.

    Args:
        start: on a point of the grid. Once it is reached, ways are followed until they are detour[0] times
            as long as that from it, and detour[1] mm more: what is farther off a search seldom asks.
    """
    low, pitch, shape = grid
    ny, nz = shape[1], shape[2]
    count = shape[0] * ny * nz
    values, state = np.full(count, np.inf, np.float32), bordered(shape)
    after, before = np.empty(count, np.int32), np.empty(count, np.int32)
    heads = np.full(4, -1, np.int32)
    wide = pitch * 0.999
    steps, lengths = neighbours(pitch, shape)
    seed(goal, low, pitch, shape, values, state)
    for node in range(count):
        if values[node] < np.inf:
            hook(node, int(values[node] / wide) % 4, heads, after, before)
    asked = (round((start[0] - low[0]) / pitch) * ny + round((start[1] - low[1]) / pitch)) * nz
    asked += round((start[2] - low[2]) / pitch)
    bucket, idle, far = 0, 0, np.inf
    while idle < 4 and bucket * wide <= far:
        slot = bucket % 4
        idle += 1
        while heads[slot] >= 0:
            node = heads[slot]
            unhook(node, slot, heads, after, before)
            state[node] = SHUT
            idle = 0
            if node == asked:
                far = values[node] * detour[0] + detour[1]
            for way in range(26):
                other = node + steps[way]
                if state[other] == SHUT:
                    continue
                found = values[node] + lengths[way]
                if found >= values[other]:
                    continue
                if state[other] == UNSEEN:
                    i, j, k = other // (ny * nz), (other // nz) % ny, other % nz
                    state[other] = SHUT
                    if not keeps(space, (low[0] + i * pitch, low[1] + j * pitch, low[2] + k * pitch), least):
                        continue
                    state[other] = OPEN
                else:
                    unhook(other, int(values[other] / wide) % 4, heads, after, before)
                values[other] = found
                hook(other, int(found / wide) % 4, heads, after, before)
        bucket += 1
    known = bucket * wide
    if idle < 4:
        for node in range(count):
            if state[node] != SHUT:
                values[node] = known
    return Home(low, pitch, values.reshape((shape[0], shape[1], shape[2])))


@native
def way_home(home: Home, p: Vector) -> float:
    """About the shortest way from a point to the goal, mm: not above it but for the grid's pitch."""
    values, h = home.values, home.pitch
    x, y, z = (p[0] - home.low[0]) / h, (p[1] - home.low[1]) / h, (p[2] - home.low[2]) / h
    i, j, k = floor(x), floor(y), floor(z)
    nx, ny, nz = values.shape
    best = np.inf
    for di in range(max(i, 0), min(i + 2, nx)):
        for dj in range(max(j, 0), min(j + 2, ny)):
            for dk in range(max(k, 0), min(k + 2, nz)):
                found = values[di, dj, dk]
                if found < np.inf:
                    off = h * sqrt((x - di) ** 2 + (y - dj) ** 2 + (z - dk) ** 2)
                    best = min(best, max(found / STAIRS - off, 0.0))
    return best
