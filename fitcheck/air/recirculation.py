"""Recirculation: by how wide a gap air that has passed a radiator gets back before it in the case."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from fitcheck.air.fans import Core, Fan, Gap
from fitcheck.air.flow import Flow
from fitcheck.air.grid import Grid, attached, distinct
from fitcheck.air.necks import Neck, measured
from fitcheck.air.standing import on_core
from fitcheck.air.ways import EXHAUST, INTAKE, OFF, Mouth

# A fan that stands no farther from a core than this share of its diameter blows through it.
AT_CORE = 0.5


def fans_at(grid: Grid, core: Core, fans: Sequence[Fan]) -> dict[str, str]:
    """By name of each fan at a core, the side that it turns to it."""
    found = {fan.name: on_core(grid.stops, fan, core, AT_CORE * 2 * fan.outer) for fan in fans}
    return {name: side for name, side in found.items() if side}


def way_back(
    grid: Grid, core: Core, mouths: Sequence[Mouth], sides: dict[str, str], gaps: Sequence[Gap]
) -> Neck | None:
    """The narrowest cross-section of the ways back beside a core; None when a side of it opens to nothing.

    From where the air has left the core and its fans to where it comes from, by free space inside the
    outside's bounds only.

    Args:
        sides: as `fans_at` gives them.
    """
    used = [mouth for mouth in mouths if mouth.fan.name in sides and mouth.side != sides[mouth.fan.name]]
    push = next((m for m in used if m.side == INTAKE), None)
    pull = next((m for m in used if m.side == EXHAUST), None)
    fan = (push or pull or used[0]).fan
    # Air goes through the core against the axis to the intake.
    way = -np.sign(core.through @ fan.intake) * core.through
    after = [m.nodes for m in used if m.side == EXHAUST] if pull else [_face(grid, core, way)]
    before = [m.nodes for m in used if m.side == INTAKE] if push else [_face(grid, core, -way)]
    hot, cold = distinct(np.concatenate(after)), distinct(np.concatenate(before))
    taken = grid.outside.copy()
    taken[cold] = True
    hot = hot[~taken[hot]]
    cold = cold[~grid.outside[cold]]
    if not len(hot) or not len(cold):
        return None
    inside = ~(grid.outside[grid.tails] | grid.outside[grid.heads])
    ways = grid.tails[inside], grid.heads[inside], grid.areas[inside]
    none = np.zeros(0, int)
    flow = Flow(len(grid.points), ways, (none, none, none), cold, hot)
    cut = flow.cut(np.full(len(hot), SOURCE * grid.pitch**2))
    cut.before[grid.outside] = False
    kept = _without_outside(grid, inside)
    return measured(kept, cut, gaps)


# A point of the side that the air leaves gives so much air at most, in squares of the pitch: no limit.
SOURCE = 100.0


def _face(grid: Grid, core: Core, way: np.ndarray) -> np.ndarray:
    start = core.points + (core.half + OFF) * way
    node = attached(grid, start, np.broadcast_to(way, start.shape))
    return np.asarray(node[node >= 0])


def _without_outside(grid: Grid, inside: np.ndarray) -> Grid:
    return replace(grid, tails=grid.tails[inside], heads=grid.heads[inside], areas=grid.areas[inside])
