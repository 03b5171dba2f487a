"""Where air stays when a loop is filled: draining upside down, with the vents as the drains."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from fitcheck.loops.attitude import Attitude, attitude
from fitcheck.loops.places import Place, lowest_point, places
from fitcheck.loops.waterway import UP, Waterway


@dataclass(frozen=True, eq=False)
class Filled:
    """What stays as air after filling.

    Args:
        air: at most, ml: filled at rest, before the pump moves any of it on.
        total: all that the waterway holds, ml.
        places: where it stays, the largest first.
    """

    air: float
    total: float
    places: tuple[Place, ...]


def fill(water: Waterway, vents: Collection[int], up: Sequence[float] = UP) -> Filled:
    """Fill through the vents, and let out through them what air finds its way out.

    Air stays at a point when every way from it to a vent dips below it. That air is pressed together by
    the coolant above it is left out: less than 1 % for each 100 mm.

    Args:
        water: the empty waterway.
        vents: nodes that are open: the fill port, and any other that lets air out.
        up: unit vector away from the ground.
    """
    down = attitude(water, [-c for c in up])
    spill = down.spill(vents)
    pipes = [_pipe_air(down, spill, k) for k in range(len(down.pipes))]
    tanks = [
        tank.below(down.up, float(spill[node]))
        for node, tank in zip(down.tank_nodes, water.tanks, strict=True)
    ]

    def why(nodes: frozenset[int]) -> str:
        no_way = all(math.isinf(spill[node]) for node in nodes)
        return "no way to a vent" if no_way else "a high point"

    found = places(
        down, [(a, a, a) for a in pipes], [(a, a, a) for a in tanks], why,
        lambda node: bool(down.z[node] < spill[node]),
    )  # fmt: skip
    return Filled((sum(pipes) + sum(tanks)) / 1000, water.volume, found)


def _pipe_air(here: Attitude, spill: np.ndarray, k: int) -> float:
    pipe = here.pipes[k]
    low = min(pipe.a, pipe.b, key=here.z.__getitem__)
    start, end = sorted((float(here.z[pipe.a]), float(here.z[pipe.b])))
    level = min(float(spill[low]), end)
    share = (level - start) / (end - start) if end > start else float(spill[low] > start)
    return pipe.area * pipe.length * min(max(share, 0.0), 1.0)


@dataclass(frozen=True)
class Highest:
    """A fill port's height over all else that is wet, mm (negative: below), and what is highest there."""

    over: float
    owner: str


def highest(water: Waterway, port: int, up: Sequence[float] = UP) -> Highest:
    """Whether a fill port is the highest place of its loop; tanks count to the top of their inside."""
    direction = np.asarray(up, float)
    tops = -water.heights(-direction)
    others = [
        (float(tops[node]), pipe.owner)
        for pipe in water.pipes if pipe.area > 0 for node in (pipe.a, pipe.b) if node != port
    ] + [
        (-float(lowest_point(piece, -direction) @ -direction), tank.owner)
        for tank in water.tanks for piece in tank.pieces
    ]  # fmt: skip
    top, owner = max(others, default=(float(tops[port]), ""))
    return Highest(float(tops[port]) - top, owner)
