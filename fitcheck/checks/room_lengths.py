"""Room beside a part as lengths linear in the measurements: from each piece of it to each that stops it."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import numpy as np

from fitcheck.checks.names import choose
from fitcheck.checks.room import ACROSS, RoomRule, Sweep, bodies_of, ready, room_of
from fitcheck.checks.verdicts import ROUNDING, side_of
from fitcheck.parts.solids import Kind
from fitcheck.tolerances.between import farthest
from fitcheck.tolerances.extremes import beside, held, least, moves, of_turning, square
from fitcheck.tolerances.margins import Demand
from fitcheck.tolerances.movement import STILL, Movement
from fitcheck.tolerances.turned import spans, strays
from fitcheck.world.bodies import bodies
from fitcheck.world.frames import SIDES
from fitcheck.world.world import World

# Pieces are followed whose room may come as near as this to the demand, mm.
SPARE = 2.0

Lengths = tuple[Demand, np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]


def room_lengths(move: Movement, left_out: list[str]) -> Iterator[Lengths]:
    """Of each rule of `room`: the demand, its lengths (p,) mm, their slopes (p, k), and which surely count;
    the pieces of those that turn (p, 2), and the direction.

    The room is at least the shortest way from the outermost of the part's pieces to the near side of
    the bounds of any piece that may lie in the way at some values of the measurements. It is at most
    that to a box across the axes that lies in the way at all of them.
    """
    world = move.world
    for index, written in enumerate(world.rules.get("room", []), 1):
        rule = RoomRule.model_validate(written)
        if rule.for_ is None and (rule.width is None or rule.height is None):
            continue
        what = f"for {rule.for_}" if rule.for_ else "of the stated size"
        where = f"{side_of(rule.side)} {rule.of}"
        found = _lengths(move, rule)
        if found is None:
            left_out.append(f"room {what} {where}: a mesh in its way changes its shape")
        elif len(found[0]):
            parts = (rule.for_, rule.of) if rule.for_ else (rule.of, rule.of)
            ask = partial(_measured, at=index - 1)
            name = f"room[{index}]"
            yield (
                Demand("room", parts, (what, where), rule.at_least, ROUNDING, name, ask=ask),
                *found,
                SIDES[rule.side],
            )


def _measured(world: World, at: int) -> float:
    """What the check measures of one rule; endless where nothing stops it."""
    measured = room_of(world, at)
    return np.inf if measured is None else measured


def _lengths(move: Movement, rule: RoomRule) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray] | None:
    """The lengths of one rule, none where nothing moves; None where a mesh that counts changes its shape."""
    world = move.world
    solids = bodies(world)
    of = choose(world, rule.of)
    thing = None if rule.for_ is None else choose(world, rule.for_)
    sweep = ready(world, solids, rule, of, thing)
    own = bodies_of(solids, of if thing is None else thing)
    from_rows, stop_rows, own_rows = (
        held(move, solids.rows(chosen))
        for chosen in (
            bodies_of(solids, of),
            [k for k in range(len(solids)) if k not in sweep.passed],
            own,
        )
    )
    direction = SIDES[sweep.side]
    if thing is not None and (rule.width is None or rule.height is None):
        in_way, always = _of_thing(move, sweep, own_rows, stop_rows)
    else:
        in_way, always = _of_size(move, sweep, own_rows, stop_rows)
    out, out_slope = farthest(move, from_rows, np.tile(direction, (len(from_rows), 1)))
    end, end_slope = farthest(move, stop_rows, np.tile(direction, (len(stop_rows), 1)))
    near, near_slope = farthest(move, stop_rows, np.tile(-direction, (len(stop_rows), 1)))
    # What turns is nowhere farther from where it is drawn than it strays.
    astray = strays(move) if move.turning is not None else np.zeros(len(move.deforms))
    own_turns, stop_turns = move.turns(from_rows), move.turns(stop_rows)
    first_out = np.where(own_turns, out - astray[from_rows], out + least(move, out_slope))
    last_end = np.where(stop_turns, end + astray[stop_rows], end - least(move, -end_slope))
    in_way &= last_end > float(first_out.max()) + STILL
    if move.deforms[np.concatenate([from_rows, own_rows, stop_rows[in_way]])].any():
        return None
    # Each piece of the part to each that may stop it.
    here = -near[None, in_way] - out[:, None]
    slope = -near_slope[None, in_way] - out_slope[:, None]
    sure = np.broadcast_to(always[in_way], here.shape).ravel()
    here, slope = here.ravel(), slope.reshape(here.size, len(move.low))
    first = np.repeat(from_rows, int(in_way.sum()))
    second = np.tile(stop_rows[in_way], len(from_rows))
    ends = of_turning(move, first, second)
    turns = ends[:, 0] >= 0
    shortest = here + least(move, slope)
    if turns.any():
        found = spans(move, ends[turns], direction)
        here[turns], slope[turns], shortest[turns] = found.here, found.slope, found.least
        sure = sure & ~turns
    keep = (shortest <= rule.at_least + SPARE) & (moves(move, slope) | ~sure)
    return here[keep], slope[keep], sure[keep], ends[keep]


def _of_thing(
    move: Movement, sweep: Sweep, own: np.ndarray, stops: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """(n,) which stops may lie in the way of a thing's silhouettes at some values, which surely at all."""
    first, second = (grid.ravel() for grid in np.meshgrid(own, stops, indexing="ij"))
    shape = len(own), len(stops)
    some, always = (one.reshape(shape) for one in beside(move, first, second, SIDES[sweep.side]))
    boxes = np.array([section.kind == Kind.BOX for section in sweep.sections]) & ~move.turns(own)
    surely = (always & boxes[:, None]).any(axis=0) & square(move, stops)
    return np.asarray(some.any(axis=0)), np.asarray(surely)


def _of_size(
    move: Movement, sweep: Sweep, own: np.ndarray, stops: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """(n,) the same of a section of stated size.

    Across the sweep no edge of the section moves farther than some edge of the bounds of what it is the
    section of; nothing moves where the scene says the place.
    """
    axis = int(np.abs(SIDES[sweep.side]).argmax())
    across = list(ACROSS[axis])
    outer, inner = _extents(move, own)
    drawn = np.mean([outer, inner], axis=0)
    strays = np.abs(np.array([outer - drawn, inner - drawn])).max(axis=(0, 1, 2))
    reach, least = _extents(move, stops)
    boxes = square(move, stops)
    some, surely = np.zeros(len(stops), bool), np.zeros(len(stops), bool)
    for section in sweep.sections:
        low, high = section.centre - section.half, section.centre + section.half
        some |= _overlap(low - strays, high + strays, reach)[:, across].all(axis=1)
        if section.kind == Kind.BOX:
            surely |= boxes & _overlap(low + strays, high - strays, least)[:, across].all(axis=1)
    return some, surely


def _overlap(low: np.ndarray, high: np.ndarray, bounds: np.ndarray) -> np.ndarray:
    """(n, 3) do low to high (3,) and bounds (n, 2, 3) overlap along each axis?"""
    return np.asarray((low < bounds[:, 1] - STILL) & (high > bounds[:, 0] + STILL))


def _extents(move: Movement, rows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(n, 2, 3) bounds of rows: those that hold them at all values, and those that they always hold."""
    outer, inner = np.empty((len(rows), 2, 3)), np.empty((len(rows), 2, 3))
    turns = move.turns(rows)
    astray = strays(move)[rows] if turns.any() else np.zeros(len(rows))
    for axis in range(3):
        for row, sign in ((0, -1.0), (1, 1.0)):
            normal = np.zeros(3)
            normal[axis] = sign
            out, slope = farthest(move, rows, np.tile(normal, (len(rows), 1)))
            outer[:, row, axis] = sign * (out - least(move, -slope))
            inner[:, row, axis] = sign * (out + least(move, slope))
            if turns.any():
                outer[turns, row, axis] = sign * (out + astray)[turns]
                inner[turns, row, axis] = sign * (out - astray)[turns]
    return outer, inner
