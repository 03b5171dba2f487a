"""What a scene asks of its loops, made ready: the way round, the waterway, the places that open."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from fitcheck.loops.circuit import Circuit, circuit
from fitcheck.loops.plumbing import Net, Plumbed, net, plumb
from fitcheck.loops.waterway import UP
from fitcheck.scene.loop_entries import LoopEntry
from fitcheck.world.frames import SIDES
from fitcheck.world.world import World

T = TypeVar("T")


@dataclass(frozen=True)
class Attitude:
    """How the machine stands: what is said of it (empty: upright), and the way up."""

    said: str
    up: tuple[float, float, float]


@dataclass(frozen=True)
class Opening:
    """A place that is opened: as written, and the spot or mouth that it stands for; or why there is none."""

    said: str
    spot: str
    wrong: str = ""


@dataclass(frozen=True, eq=False)
class Asked:
    """One loop.

    Args:
        name: in the scene.
        entry: what is asked.
        net: what is joined to what.
        around: the way round.
        items: all that hangs together with the loop, branches too.
        plumbed: its waterway.
        drains, vents, fill: what is opened; `fill` is None where no vent is named.
        attitudes: upright, then as tipped.
    """

    name: str
    entry: LoopEntry
    net: Net
    around: Circuit
    items: tuple[str, ...]
    plumbed: Plumbed
    drains: tuple[Opening, ...]
    vents: tuple[Opening, ...]
    fill: Opening | None
    attitudes: tuple[Attitude, ...]

    def nodes(self, openings: Sequence[Opening]) -> list[int]:
        """Nodes of the openings that there are."""
        return [self.plumbed.nodes[one.spot] for one in openings if not one.wrong]

    def line(self, world: World) -> int | None:
        """Line of the loop in the scene file, where it is known."""
        return world.lines.get(f"loops.{self.name}")


def asked(world: World) -> tuple[Asked, ...]:
    """Every loop of the world, in scene order."""
    if not world.loops:
        return ()
    found = net(world)
    return tuple(_one(found, name, entry) for name, entry in world.loops.items())


def _one(found: Net, name: str, entry: LoopEntry) -> Asked:
    seeds = [item for said in entry.order for item in found.items(said)]
    items = found.together(seeds)
    drains = tuple(_opening(found, items, said) for said in entry.drain)
    vents = tuple(_opening(found, items, said) for said in entry.vent)
    fill = vents[0] if vents else None
    if entry.fill is not None:
        fill = _opening(found, items, entry.fill)
    opened = {one.spot for one in (*drains, *vents, *([fill] if fill else [])) if not one.wrong}
    attitudes = (Attitude("", UP), *(tipped(tilt.to, tilt.by) for tilt in entry.tilts))
    plumbed = plumb(
        found, items, opened, by_part(found, entry.volumes), [attitude.up for attitude in attitudes]
    )
    return Asked(
        name, entry, found, circuit(found, entry.order), items, plumbed, drains, vents, fill, attitudes
    )


def tipped(side: str, by: float) -> Attitude:
    """The way up in a machine whose side goes down by so many degrees."""
    turned = math.cos(math.radians(by)) * np.array(UP) - math.sin(math.radians(by)) * SIDES[side]
    x, y, z = (float(c) for c in turned)
    to = f"to the {side}"
    return Attitude(f"tipped {by:g}° {to}", (x, y, z))


def by_part(found: Net, given: Mapping[str, T]) -> dict[str, T]:
    """Figures given by name, by the full name of the one wet part that each stands for."""
    return {items[0]: value for said, value in given.items() if len(items := found.items(said)) == 1}


def _opening(found: Net, items: Sequence[str], said: str) -> Opening:
    """The spot or mouth that a written place stands for."""
    spots = {spot.name: spot for item in items for spot in found.spots[item] if item in found.parts}
    if said in spots:
        met = found.met.get(said, ())
        if met:
            return Opening(said, "", f"{said} is joined to {met[0]}: it cannot be opened")
        return Opening(said, said)
    named = [item for item in found.items(said) if item in found.parts]
    if not named:
        return Opening(said, "", f"{said} is no wet part and no port that coolant reaches")
    inside = [item for item in named if item in items]
    if not inside:
        return Opening(said, "", f"{said} is not joined to the loop")
    free = list(_free_places(found, inside))
    if len(free) == 1:
        return Opening(said, free[0])
    listed = (
        f"has {len(free)} places to open: name one of {', '.join(free)}" if free else "has no place to open"
    )
    return Opening(said, "", f"{said} {listed}")


def _free_places(found: Net, items: Sequence[str]) -> Iterator[str]:
    """Mouths, or else free ports, of these parts."""
    mouths = [item for item in items if any(wet.mouth for wet in found.parts[item].shape.wet.values())]
    if mouths:
        yield from mouths
        return
    for item in items:
        yield from (spot.name for spot in found.spots[item] if spot.name not in found.met)
