"""Free travel of a part as lengths linear in the measurements: from its pieces to each that may stop it."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import numpy as np

from fitcheck.checks.gaps import GapRule, gap, named, partners_of
from fitcheck.checks.room_lengths import SPARE, Lengths
from fitcheck.checks.verdicts import ROUNDING, towards
from fitcheck.tolerances.extremes import beside, held, moves, of_turning, reaches, square
from fitcheck.tolerances.margins import Demand
from fitcheck.tolerances.movement import Movement
from fitcheck.world.bodies import bodies
from fitcheck.world.engine import CONTACT
from fitcheck.world.frames import SIDES
from fitcheck.world.world import World


def gap_lengths(move: Movement, left_out: list[str]) -> Iterator[Lengths]:
    """Of each rule of `gaps` and part it names: the demand, lengths (p,) mm, slopes (p, k), which are sure,
    the pieces of those that turn, and the direction.

    A part travels at least as far as from the far side of the bounds of any piece of it to the near side of
    the bounds of any that may lie in its way at some values of the measurements. It travels at most as far
    as from a box to a box, both square to the axes, that lie in each other's way at all values.
    """
    world = move.world
    solids = bodies(world)
    for index, written in enumerate(world.rules.get("gaps", [])):
        rule = GapRule.model_validate(written)
        for name, moving in named(world, solids, rule.part):
            partners = partners_of(world, solids, moving)
            drawn = gap(solids, moving, rule.side, partners)
            if drawn.overlaps or drawn.free == 0:
                continue  # it fails, or not, as drawn: that is told by its own check
            found = _lengths(move, rule, moving, partners.skip)
            if found is None:
                left_out.append(f"gaps of {name}: a mesh in its way changes its shape")
            elif len(found[0]):
                ask = partial(_travel, at=index, part=name)
                things = (name, towards(rule.side))
                yield (
                    Demand(
                        "gaps", (name, name), things, rule.at_least, ROUNDING, f"gaps[{index + 1}]", ask=ask
                    ),
                    *found,
                    SIDES[rule.side],
                )


def _travel(world: World, at: int, part: str) -> float:
    """What the check measures of one part that a rule names, mm; endless where nothing stops it."""
    solids = bodies(world)
    rule = GapRule.model_validate(world.rules["gaps"][at])
    moving = dict(named(world, solids, rule.part))[part]
    found = gap(solids, moving, rule.side, partners_of(world, solids, moving))
    return np.inf if found.free is None else -1.0 if found.overlaps else found.free


def _lengths(
    move: Movement, rule: GapRule, moving: list[int], skip: tuple[int, ...]
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray] | None:
    """The lengths of one part, none where nothing moves; None where a mesh that counts changes its shape."""
    solids = bodies(move.world)
    own = held(move, solids.rows(moving))
    passed = {*moving, *skip}
    stops = held(move, solids.rows([k for k in range(len(solids)) if k not in passed]))
    first, second = (grid.ravel() for grid in np.meshgrid(own, stops, indexing="ij"))
    direction = SIDES[rule.side]
    ahead_of = reaches(move, first, second, direction)
    here, slope, least = ahead_of.here, ahead_of.slope, ahead_of.least
    # What lies behind a piece at all values, past its own far end, is never met.
    ahead = -reaches(move, second, first, direction).least > CONTACT
    met, always = beside(move, first, second, direction)
    keep = met & ahead & (least <= rule.at_least + SPARE)
    if move.deforms[first[keep]].any() or move.deforms[second[keep]].any():
        return None
    boxes = square(move, first) & square(move, second)
    sure = always & boxes & (least > 0)
    ends = of_turning(move, first, second)
    keep &= moves(move, slope) | ~always | (ends[:, 0] >= 0)
    return here[keep], slope[keep], sure[keep], ends[keep]
