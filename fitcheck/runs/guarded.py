"""Keep-clear volumes in the way of runs: no run is laid through a hand's room or a fan's air."""

from __future__ import annotations

from dataclasses import replace
from weakref import WeakKeyDictionary

from fitcheck.parts.features import Shape
from fitcheck.parts.solids import Solid
from fitcheck.world.world import Part, World

# Behind the name of a part: its volumes, which count as a part of their own.
VOLUMES = " keep-clear"

_guarded: WeakKeyDictionary[World, World] = WeakKeyDictionary()


def guarded(world: World) -> World:
    """The world with every keep-clear volume as a solid; for laying runs only."""
    found = _guarded.get(world)
    if found is None:
        volumes = tuple(_volumes(part) for part in world.parts if part.shape.keep_clear)
        found = _guarded[world] = replace(world, parts=(*world.parts, *volumes))
    return found


def _volumes(part: Part) -> Part:
    solids = {kept.name: Solid(kept.name, (kept.piece,)) for kept in part.shape.keep_clear.values()}
    return Part(part.name + VOLUMES, part.group + VOLUMES, part.model, part.pose, Shape(solids))


def volumes_of(part: str) -> str:
    """The name under which the volumes of a part stand in the guarded world."""
    return part + VOLUMES


def guarded_parts(world: World) -> tuple[str, ...]:
    """Names of all that stand for volumes."""
    return tuple(part.name for part in world.parts if part.name.endswith(VOLUMES))
