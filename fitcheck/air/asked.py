"""All that is known of the air in a world, worked out once: fans, openings, ways out, gaps back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitcheck.air.fans import BLADE, CORE, Core, Fan, Gap, cores, fans, gaps
from fitcheck.air.flow import Cut
from fitcheck.air.grid import Grid, grid, region_of, stopping
from fitcheck.air.necks import Neck, measured
from fitcheck.air.recirculation import fans_at, way_back
from fitcheck.air.standing import Facing, all_but, blows, facing
from fitcheck.air.ways import EXHAUST, FREELY, INTAKE, Mouth, Ways, mouths, through, ways
from fitcheck.world.world import World

# Points of the grid at most, and how many lie across the smallest fan at the least.
MOST, ACROSS = 60_000, 10.0


@dataclass(frozen=True)
class Settings:
    """What a scene says of its air.

    Args:
        closed: sides of the world on which the machine stands against something.
        grilles: (opening or core, share that is open) of what is not all open.
        pitch: of the grid, mm; None where it is chosen.
    """

    closed: tuple[str, ...] = ()
    grilles: tuple[tuple[str, float], ...] = ()
    pitch: float | None = None


@dataclass(frozen=True, eq=False)
class Standing:
    """What needs no grid: fans, openings, and how the fans stand."""

    fans: tuple[Fan, ...]
    cores: tuple[Core, ...]
    gaps: tuple[Gap, ...]
    blows: dict[str, str]
    facing: tuple[Facing, ...]


@dataclass(frozen=True, eq=False)
class Shared:
    """Fans that take from each other: which, on which side, their common neck."""

    fans: tuple[Fan, ...]
    side: str
    neck: Neck


@dataclass(frozen=True, eq=False)
class Back:
    """A way back beside a core: which, the fans at it, the neck; None where there is no way."""

    core: Core
    fans: tuple[Fan, ...]
    neck: Neck | None


@dataclass(frozen=True, eq=False)
class Aired:
    """The ways of the air.

    Args:
        necks: by fan and side, the narrowest cross-section on the way between it and the outside.
        shared: fans that take from each other.
        back: ways back beside cores.
        pitch: of the grid, mm.
    """

    necks: dict[tuple[str, str], Neck]
    shared: tuple[Shared, ...]
    back: tuple[Back, ...]
    pitch: float


def standing(world: World, settings: Settings) -> Standing:
    """Fans, openings and how they stand."""
    all_fans = tuple(fans(world))
    # A fan that looks at another one does not look out.
    straight, between = all_but(world, CORE), all_but(world, CORE, BLADE)
    region, _ = region_of(world, settings.closed)
    return Standing(
        all_fans,
        tuple(cores(world)),
        tuple(gaps(world, {fan.name for fan in all_fans}, dict(settings.grilles))),
        {fan.name: blows(straight, fan, region) for fan in all_fans},
        tuple(facing(between, all_fans)),
    )


def aired(world: World, found: Standing, settings: Settings) -> Aired:
    """The ways of the air.

    Raises:
        NoFlow: ortools is not installed.
    """
    region, opened = region_of(world, settings.closed)
    pitch = settings.pitch or _pitch(region, found.fans)
    grilles = tuple(gap for gap in found.gaps if gap.share < 1.0)
    space = grid(world, region, opened, pitch, stopping(world), grilles)
    all_mouths = mouths(space, found.fans, found.cores)
    shares = dict(settings.grilles)
    all_through = [through(space, core, shares.get(core.name, 1.0)) for core in found.cores]
    necks: dict[tuple[str, str], Neck] = {}
    shared: list[Shared] = []
    for side in (INTAKE, EXHAUST):
        graph = ways(space, all_mouths, all_through, side)
        own, common = _one_side(graph, found.gaps)
        necks |= {(fan, side): one for fan, one in own.items()}
        shared += common
    back = tuple(_backs(space, found, all_mouths))
    return Aired(necks, tuple(shared), back, pitch)


def _pitch(region: np.ndarray, all_fans: Sequence[Fan]) -> float:
    volume = float((region[1] - region[0]).prod())
    return max(float(np.cbrt(volume / MOST)), min(2 * fan.outer for fan in all_fans) / ACROSS)


def _one_side(graph: Ways, all_gaps: Sequence[Gap]) -> tuple[dict[str, Neck], list[Shared]]:
    """The necks of each fan by itself, and of those that take from each other.

    All at once first: who has all of its ring then has it by itself as well.
    """
    together = graph.cut()
    own = {}
    for k, mouth in enumerate(graph.mouths):
        swept = mouth.fan.swept
        if together.taken[k] >= FREELY * swept:
            own[mouth.fan.name] = Neck(swept, (), swept, swept)
        elif not len(mouth.nodes):
            own[mouth.fan.name] = Neck(0.0, (), 0.0, 0.0)
    shared = []
    for group in together.groups:
        for k, cut in graph.alone(group):
            own[graph.mouths[k].fan.name] = measured(
                graph.grid, cut, all_gaps, [graph.mouths[k]], graph.cores
            )
        if len(group.members) > 1:
            members = [graph.mouths[k] for k in group.members]
            cut = Cut(together.cut.area, together.cut.taken, group.before)
            common = measured(graph.grid, cut, all_gaps, members, graph.cores)
            single = sum(min(own[mouth.fan.name].area, mouth.fan.swept) for mouth in members)
            if common.area < FREELY * single:
                shared.append(Shared(tuple(mouth.fan for mouth in members), members[0].side, common))
    # A ring that stands partly against something takes what is left of it.
    for mouth in graph.mouths:
        if mouth.fan.name not in own:
            own[mouth.fan.name] = Neck(float(mouth.areas.sum()), (), float(mouth.areas.sum()), 0.0)
    return own, shared


def _backs(space: Grid, found: Standing, all_mouths: Sequence[Mouth]) -> list[Back]:
    made = []
    for core in found.cores:
        sides = fans_at(space, core, found.fans)
        if sides:
            there = tuple(fan for fan in found.fans if fan.name in sides)
            made.append(Back(core, there, way_back(space, core, all_mouths, sides, found.gaps)))
    return made
