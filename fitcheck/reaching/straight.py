"""Straight in: does a ball get to a place along a line? Asked first, for it takes a moment only."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from fitcheck.rays.lines import Stops, nearest, stops
from fitcheck.world.bodies import bodies
from fitcheck.world.frames import SIDES
from fitcheck.world.world import World

# A ball stands off the place that it touches by so much, mm: rounding.
OFF = 0.05
# Straight ways are proved to this, mm.
TOLERANCE = 0.01


@dataclass(frozen=True, eq=False)
class Reach:
    """Whether something gets to a place.

    Args:
        gets: it does, proved.
        most: a diameter that gets there, mm: what was asked, else the largest that was found.
        where: (3,) the narrowest place, or where it is stopped.
        by: names of the solids there.
        sure: where it does not: whether that is proved.
    """

    gets: bool
    most: float
    where: np.ndarray
    by: tuple[str, ...]
    sure: bool = True


def straight_in(
    world: World,
    spots: Sequence[tuple[np.ndarray, np.ndarray]],
    diameter: float,
    left_out: Collection[str],
    shut: Collection[str],
) -> bool:
    """Does a ball get to one of some places straight, from an open side or along the way the place looks?

    Args:
        spots: of each place (3,) the point that is touched, and the way (3,) unit that its surface looks.
        left_out: names of parts and solids that do not count.
        shut: sides of the world that a floor or a wall closes.
    """
    solids, out_of_it = bodies(world), set(left_out)
    counts = [
        k for k, body in enumerate(solids.all) if not out_of_it & {body.name, body.part_name, body.group}
    ]
    if not counts:
        return True
    what = stops(solids, solids.rows(counts))
    bounds = solids.body_bounds[counts]
    around = np.array([bounds[:, 0].min(axis=0), bounds[:, 1].max(axis=0)])
    straight = [towards for side, towards in SIDES.items() if side not in shut]
    return any(
        _comes_in(what, around, at + (diameter / 2 + OFF) * out, towards, diameter, shut)
        for at, out in spots
        for towards in (out, *straight)
    )


def _comes_in(
    what: Stops,
    bounds: np.ndarray,
    start: np.ndarray,
    towards: np.ndarray,
    diameter: float,
    shut: Collection[str],
) -> bool:
    """Does a ball come straight in, against a direction, from beyond the bounds (2, 3) of everything?

    Halves of the way are halved again until a ball about each middle is clear as a whole, or one is not.
    """
    radius = diameter / 2
    reach = np.where(towards > 0, bounds[1] + radius - start, bounds[0] - radius - start)
    ways = np.array([reach[k] / towards[k] if abs(towards[k]) > 1e-9 else np.inf for k in range(3)])
    way = float(np.maximum(ways, 0.0).min())
    end = start + way * towards
    for side in shut:
        # A floor or a wall stands at the bounds of everything.
        axis, outer = int(np.abs(SIDES[side]).argmax()), int(SIDES[side].sum() > 0)
        beyond = (np.array([start[axis], end[axis]]) - bounds[outer, axis]) * SIDES[side].sum()
        if float(beyond.max()) > -radius:
            return False
    middles, half = np.array([way / 2]), way / 2
    while len(middles):
        room, _ = nearest(what, start + middles[:, None] * towards, radius + half + 1.0)
        if (room < radius - TOLERANCE).any():
            return False
        middles = middles[room < radius - TOLERANCE + half]
        half /= 2
        middles = np.concatenate([middles - half, middles + half])
    return True
