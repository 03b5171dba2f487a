"""How fans stand to the outside and to each other: in, out, face to face."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from fitcheck.air.fans import Core, Fan, ring
from fitcheck.air.ways import EXHAUST, INTAKE, OFF
from fitcheck.rays.lines import Stops, first_hits, stops
from fitcheck.world.bodies import bodies
from fitcheck.world.world import World

# What a fan does.
IN, OUT, INSIDE = "in", "out", "inside"
# A side of a fan lies at the outside when so much of its ring looks straight out.
LOOKS_OUT = 0.5
# Fans face each other when their axes are opposed by more than this (cosine), so much of the smaller ring
# looks at the other, and the way between them is no longer than so many diameters.
OPPOSED, MEETS, NEAR = 0.9, 0.25, 3.0


@dataclass(frozen=True)
class Facing:
    """Two fans face to face: the side that both turn to the other, and how far apart, mm."""

    one: Fan
    other: Fan
    side: str
    apart: float


def all_but(world: World, *roles: str) -> Stops:
    """What stops air that goes straight on, when it passes solids of these roles."""
    solids = bodies(world)
    passed = np.array(
        [world.parts[body.part].shape.solids[body.solid].role in roles for body in solids.all], bool
    )
    return stops(solids, np.flatnonzero(~passed[solids.body]))


def straight_out(what: Stops, fan: Fan, side: str, far: float) -> float:
    """Share of a fan's ring from which a straight line along its axis leads to the outside, `far` mm on."""
    points, _ = ring(fan)
    way = fan.intake if side == INTAKE else -fan.intake
    start = points + (fan.half + OFF) * way
    return float(first_hits(what, start, start + far * way, only_whether=True).free.mean())


def blows(what: Stops, fan: Fan, bounds: np.ndarray) -> str:
    """Does a fan blow in, out, or only move air inside? By which of its sides looks straight to the outside.

    Where both do (a short case, open at both ends) the side counts that is nearer to the end of all solids.

    Args:
        what: what stops air that goes straight on.
        bounds: (2, 3) of all solids, mm.
    """
    far = float(np.linalg.norm(bounds[1] - bounds[0]))
    looks = {side for side in (INTAKE, EXHAUST) if straight_out(what, fan, side, far) >= LOOKS_OUT}
    if len(looks) == 2:
        ends = np.abs(fan.intake) @ (bounds - fan.middle).T * [-1, 1]
        ahead, behind = ends if fan.intake.sum() < 0 else ends[::-1]
        looks = {INTAKE if ahead < behind else EXHAUST}
    if not looks:
        return INSIDE
    return IN if INTAKE in looks else OUT


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
