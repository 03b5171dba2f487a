"""The way home: how far it is to a goal from anywhere, for a centre line that may bend at will.

Shortest ways over the 26 neighbours of a grid whose points keep the relaxed distance. Points
wait in buckets as wide as the shortest step, so that those of one bucket cannot shorten each
other (Dial 1969).
"""

from __future__ import annotations

from math import floor, sqrt
from typing import NamedTuple

import numpy as np

from fitcheck.runs.kernels.search_trace import Shorts, Singles, Space, keeps
from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Floats, Ints, Vector

# A way over 26 neighbours is at most this times as long as the straight.
STAIRS = 1.1281
UNSEEN, OPEN, SHUT = 0, 1, 2


class Home(NamedTuple):
    """Lengths of the shortest ways to a goal.

    Args:
        low: (3,) first point of the grid, mm.
        pitch: mm.
        values: (nx, ny, nz) float32, mm; inf where there is no way.
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
def ways_home(space: Space, goal: Vector, low: Floats, pitch: float, shape: Ints, least: float) -> Home:
    """Lengths of the shortest ways to the goal over points that keep `least` from the solids."""
    nx, ny, nz = shape[0], shape[1], shape[2]
    count = nx * ny * nz
    values = np.full(count, np.inf, np.float32)
    state = np.zeros(count, np.uint8)
    settled = np.zeros(count, np.bool_)
    after, before = np.empty(count, np.int32), np.empty(count, np.int32)
    heads = np.full(4, -1, np.int32)
    wide = pitch * 0.999
    gi, gj, gk = (
        floor((goal[0] - low[0]) / pitch),
        floor((goal[1] - low[1]) / pitch),
        floor((goal[2] - low[2]) / pitch),
    )
    for i in range(max(gi, 0), min(gi + 2, nx)):
        for j in range(max(gj, 0), min(gj + 2, ny)):
            for k in range(max(gk, 0), min(gk + 2, nz)):
                node = (i * ny + j) * nz + k
                x, y, z = (
                    low[0] + i * pitch - goal[0],
                    low[1] + j * pitch - goal[1],
                    low[2] + k * pitch - goal[2],
                )
                values[node] = np.float32(sqrt(x * x + y * y + z * z))
                state[node] = OPEN
                hook(node, int(values[node] / wide) % 4, heads, after, before)
    bucket, idle = 0, 0
    while idle < 4:
        slot = bucket % 4
        idle += 1
        while heads[slot] >= 0:
            node = heads[slot]
            unhook(node, slot, heads, after, before)
            settled[node] = True
            idle = 0
            k = node % nz
            j = (node // nz) % ny
            i = node // (ny * nz)
            for di in range(max(i - 1, 0), min(i + 2, nx)):
                for dj in range(max(j - 1, 0), min(j + 2, ny)):
                    for dk in range(max(k - 1, 0), min(k + 2, nz)):
                        other = (di * ny + dj) * nz + dk
                        if settled[other] or state[other] == SHUT:
                            continue
                        if state[other] == UNSEEN:
                            at = (low[0] + di * pitch, low[1] + dj * pitch, low[2] + dk * pitch)
                            state[other] = OPEN if keeps(space, at, least) else SHUT
                            if state[other] == SHUT:
                                continue
                        steps = abs(di - i) + abs(dj - j) + abs(dk - k)
                        found = np.float32(values[node] + np.float32(pitch * sqrt(steps)))
                        if found < values[other]:
                            if values[other] < np.inf:
                                unhook(other, int(values[other] / wide) % 4, heads, after, before)
                            values[other] = found
                            hook(other, int(found / wide) % 4, heads, after, before)
        bucket += 1
    return Home(low, pitch, values.reshape((nx, ny, nz)))


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
