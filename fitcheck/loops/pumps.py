"""Whether pumps are flooded from their reservoir, and turned as they may be; which metals meet."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitcheck.loops.places import lowest_point
from fitcheck.loops.plumbing import Net, placed
from fitcheck.loops.waterway import UP

# A shaft counts as level within half a right angle, and as upright beyond it.
LEVEL = math.sin(math.radians(45))
# Metals that corrode aluminium when the same coolant wets both. Galvanic series: common practice.
NOBLER = ("copper", "brass", "bronze", "nickel", "silver", "steel", "stainless steel")
ALUMINIUM = ("aluminium", "aluminum")


@dataclass(frozen=True)
class PumpStand:
    """How a pump stands.

    Args:
        item: the part.
        inlet: height of its inlet over the coolant's least level, mm; None without a reservoir.
        reservoir: the reservoir meant.
        points: which way its shaft points: up, level or down.
        may_point: which ways it may.
        at: its inlet.
    """

    item: str
    inlet: float | None
    reservoir: str
    points: str
    may_point: tuple[str, ...]
    at: tuple[float, float, float]


def pumps(found: Net, items: Sequence[str], least_level: float) -> tuple[PumpStand, ...]:
    """All pumps among these parts; the nearest reservoir whose floor is highest counts for each."""
    levels = reservoirs(found, items, least_level)
    made = []
    for item in items:
        if item not in found.parts:
            continue
        part = found.parts[item]
        for wet in part.shape.wet.values():
            if wet.pump is None:
                continue
            spot = next(s for s in found.spots[item] if s.name == f"{item}.{wet.flow[0]}")
            lift = float(part.pose.direction(wet.pump.way) @ np.array(UP))
            points = "level" if abs(lift) < LEVEL else "up" if lift > 0 else "down"
            own = item if item in levels else max(levels, key=lambda name: levels[name], default="")
            inlet = float(spot.at[2]) - levels[own] if own else None
            x, y, z = (float(c) for c in spot.at)
            made.append(PumpStand(item, inlet, own, points, wet.pump.may_point, (x, y, z)))
    return tuple(made)


def reservoirs(found: Net, items: Sequence[str], least_level: float) -> dict[str, float]:
    """The coolant's least height in each reservoir, mm: so much above the floor of its inside."""
    made: dict[str, float] = {}
    for item in items:
        for wet in found.parts[item].shape.wet.values() if item in found.parts else ():
            if wet.air and wet.piece is not None:
                floor = float(lowest_point(placed(found.parts[item], wet.piece), np.array(UP))[2])
                made[item] = floor + least_level
    return made


@dataclass(frozen=True)
class Metals:
    """Which metals the coolant touches, with the parts; `clash` when aluminium meets a nobler one."""

    parts: dict[str, tuple[str, ...]]
    clash: bool


def metals(found: Net, items: Sequence[str], given: dict[str, str]) -> Metals:
    """The metals among these parts; `given` by full name goes before what models say."""
    parts: dict[str, list[str]] = {}
    for item in items:
        if item not in found.parts:
            continue
        said = [given[item]] if item in given else [w.metal for w in found.parts[item].shape.wet.values()]
        for metal in dict.fromkeys(m.strip().lower() for m in said if m and m != "plastic"):
            parts.setdefault(metal, []).append(item)
    light = any(metal in ALUMINIUM for metal in parts)
    clash = light and any(metal in NOBLER for metal in parts)
    return Metals({metal: tuple(names) for metal, names in parts.items()}, clash)
