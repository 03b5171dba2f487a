"""How fans stand to the outside and to each other: in, out, face to face."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from fitcheck.air.fans import BLADE, CORE, Core, Fan, ring
from fitcheck.air.ways import EXHAUST, INTAKE, OFF
from fitcheck.rays.lines import Stops, first_hits, stops
from fitcheck.world.bodies import bodies
from fitcheck.world.world import World

# What a fan does.
IN, OUT, INSIDE = "in", "out", "inside"
# A side of a fan lies at the outside when so much of its ring looks straight out.
LOOKS_OUT = 0.5
# Fans face each other when their axes are opposed by more than this (cosine), so much of the smaller ring looks
# at the other, and the way between them is no longer than so many diameters.
OPPOSED, MEETS, NEAR = 0.9, 0.25, 3.0


@dataclass(frozen=True)
class Facing:
    """Two fans face to face: the side that both turn to the other, and how far apart, mm."""

    one: Fan
    other: Fan
    side: str
    apart: float


def clear_of_air(world: World) -> Stops:
    """What air does not pass straight through: all but blades and cores."""
    solids = bodies(world)
    passed = np.array(
        [world.parts[body.part].shape.solids[body.solid].role in (BLADE, CORE) for body in solids.all], bool
    )
    return stops(solids, np.flatnonzero(~passed[solids.body]))


def straight_out(what: Stops, fan: Fan, side: str, far: float) -> float:
    """Share of a fan's ring from which a straight line along its axis leads to the outside, `far` mm on."""
    points, _ = ring(fan)
    way = fan.intake if side == INTAKE else -fan.intake
    start = points + (fan.half + OFF) * way
    return float(first_hits(what, start, start + far * way, only_whether=True).free.mean())


def blows(what: Stops, fan: Fan, far: float) -> str:
    """Does a fan blow in, out, or only move air inside? By which of its sides looks straight to the outside."""
    intake, exhaust = (straight_out(what, fan, side, far) for side in (INTAKE, EXHAUST))
    if (intake >= LOOKS_OUT) == (exhaust >= LOOKS_OUT):
        return INSIDE
    return IN if intake >= LOOKS_OUT else OUT


def facing(what: Stops, fans: Sequence[Fan]) -> Iterator[Facing]:
    """Pairs of fans that blow at each other, or draw against each other, with nothing but cores between."""
    for at, one in enumerate(fans):
        for other in fans[at + 1 :]:
            between = other.middle - one.middle
            apart = float(abs(between @ one.intake))
            if one.intake @ other.intake > -OPPOSED or apart > NEAR * 2 * max(one.outer, other.outer):
                continue
            side = INTAKE if between @ one.intake > 0 else EXHAUST
            small, large = sorted((one, other), key=lambda fan: fan.outer)
            if _looks_at(what, small, large, side) >= MEETS:
                yield Facing(one, other, side, apart - one.half - other.half)


def _looks_at(what: Stops, fan: Fan, other: Fan, side: str) -> float:
    """Share of a fan's ring from which a line along its axis meets the disc of the other."""
    points, _ = ring(fan)
    way = fan.intake if side == INTAKE else -fan.intake
    far = (other.middle - fan.middle) @ way - other.half - OFF
    if far <= fan.half + OFF:
        return 0.0
    start, end = points + (fan.half + OFF) * way, points + far * way
    aside = np.linalg.norm(np.cross(end - other.middle, other.intake), axis=1)
    meets = aside <= other.outer
    meets[meets] = first_hits(what, start[meets], end[meets], only_whether=True).free
    return float(meets.mean())


def on_core(what: Stops, fan: Fan, core: Core, reach: float) -> str:
    """The side of a fan that stands at a core, no farther than `reach`, mm; empty when none does."""
    for side, sign in ((INTAKE, 1.0), (EXHAUST, -1.0)):
        way = sign * fan.intake
        points, _ = ring(fan)
        start = points + (fan.half + OFF) * way
        if float((first_hits(what, start, start + reach * way).rows == core.row).mean()) >= LOOKS_OUT:
            return side
    return ""
