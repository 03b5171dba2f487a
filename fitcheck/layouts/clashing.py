"""Two parts of a layout that interfere, and which of all those comes first."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fitcheck.checks.clashes import clashes
from fitcheck.layouts.read import Layouts
from fitcheck.world.bodies import bodies
from fitcheck.world.node import base
from fitcheck.world.world import World


@dataclass(frozen=True)
class Pair:
    """Two parts that interfere, and the entries they belong to."""

    names: tuple[str, str]
    entries: tuple[str, str]
    order: tuple[Any, ...]


def clashing_pairs(world: World, layouts: Layouts) -> list[Pair]:
    """Each two parts that surely interfere, in an order that is the same in all layouts."""
    places = places_of(layouts)
    solids = bodies(world)
    found = {}
    for clash in clashes(world):
        if clash.decided:
            ends = [solids.all[k] for k in clash.pair]
            names, entries = (ends[0].part_name, ends[1].part_name), (ends[0].group, ends[1].group)
            found[names] = pair_of(names, entries, places)
    return sorted(found.values(), key=lambda pair: pair.order)


def places_of(layouts: Layouts) -> dict[str, int]:
    """Where each entry is written in the scene file, those of alternatives after them."""
    written = list(layouts.scene.data.get("parts") or ())
    for options in layouts.file.alternatives.values():
        written += [name for option in options.values() for name in option.parts]
    return {name: at for at, name in reversed(list(enumerate(written)))}


def pair_of(names: tuple[str, str], entries: tuple[str, str], places: Mapping[str, int]) -> Pair:
    """Two parts with their place in the order of all pairs."""
    ends = zip(names, entries, strict=True)
    return Pair(names, entries, tuple((places[base(entry)], numbered_name(name)) for name, entry in ends))


def numbered_name(name: str) -> tuple[tuple[str, int], ...]:
    """A name by whose order `fan[2]` comes before `fan[10]`."""
    return tuple((text, int(number or 0)) for text, number in re.findall(r"([^\[\]]+)(?:\[(\d+)\])?", name))
