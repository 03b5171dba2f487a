"""Where a leaking joint would drip to."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from fitcheck.loops.plumbing import Net, Spot
from fitcheck.parts.solids import Kind, Piece
from fitcheck.world.bodies import bodies
from fitcheck.world.engine import sweep_probe

# A drop falls from anywhere under the joint: a disc as wide as the collar of a common fitting, mm.
FOOTPRINT = 22.0
# Half the thickness of the disc that falls, mm.
THIN = 0.05


@dataclass(frozen=True)
class Drip:
    """A joint, and the first thing below it: its part, how far below, mm, and whether it is electric."""

    joint: str
    at: tuple[float, float, float]
    onto: str
    below: float
    electric: bool


def drips(found: Net, items: Sequence[str]) -> tuple[Drip, ...]:
    """Where each joint of a loop would drip to: the first thing straight below that is not the loop itself.

    Joints over nothing are left out.
    """
    world = found.world
    solids = bodies(world)
    own = [k for k, body in enumerate(solids.all) if body.part_name in items]
    low = float(solids.body_bounds[:, 0, 2].min())
    made = []
    for name, spot in joints(found, items):
        piece = Piece(Kind.CYLINDER, np.array([FOOTPRINT / 2, FOOTPRINT / 2, THIN]), np.eye(3), spot.at)
        travel = sweep_probe(solids, piece, "bottom", float(spot.at[2]) - low + 1, own)
        if travel.against is None:
            continue
        body = solids.all[travel.against]
        x, y, z = (float(c) for c in spot.at)
        electric = world.by_name[body.part_name].shape.electric
        made.append(Drip(name, (x, y, z), body.part_name, travel.distance, electric))
    return tuple(made)


def joints(found: Net, items: Sequence[str]) -> Iterator[tuple[str, Spot]]:
    """Each pair of spots that meet, once, under the name of the part's own port."""
    seen: set[str] = set()
    for item in items:
        for spot in found.spots[item]:
            if spot.name in seen or spot.name not in found.met:
                continue
            seen |= {spot.name, *found.met[spot.name]}
            yield spot.name, spot
