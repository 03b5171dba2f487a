"""Ends in their ports as lengths linear in the measurements: to the port's floor, its wall and its mouth.

A join lays sealing face on sealing face wherever the two parts stand, so joined ends never come apart; but an
end may grow longer or thicker than its port takes, or the port shallower.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial

import numpy as np

from fitcheck.checks.clashes import clashes
from fitcheck.checks.room_lengths import Lengths
from fitcheck.parts.solids import Kind
from fitcheck.tolerances.between import farthest
from fitcheck.tolerances.margins import Demand
from fitcheck.tolerances.movement import STILL, Movement, step_of
from fitcheck.world.bodies import bodies
from fitcheck.world.contacts import allowed
from fitcheck.world.engine import CONTACT
from fitcheck.world.world import World, Zone

# Axes nearer than this are the same.
SAME = 1e-9


def joined_lengths(
    move: Movement, pairs: Sequence[tuple[int, int]], left_out: list[str]
) -> Iterator[Lengths]:
    """Of each pair of bodies, one of them the end of a mated port: the demand, its lengths and slopes.

    What lies wholly in the port's place leaves it by no more than its own outermost points do. Whether what
    the two share does is asked of the check itself.
    """
    missed: set[str] = set()
    for i, j in pairs:
        a, b = (move.pieces.all.all[k] for k in (i, j))
        end = (
            i if any(c.zone and c.a == a.part_name and c.reach == a.solid for c in move.world.contacts) else j
        )
        found = _lengths(move, end, i + j - end)
        if found is None:
            missed.add(f"{a.part_name} ~ {b.part_name}")
            continue
        inner, outer = move.pieces.all.all[end], move.pieces.all.all[i + j - end]
        ask = partial(_spare, names=(a.name, b.name))
        demand = Demand("joined", (a.part_name, b.part_name), (inner.name, outer.name), 0.0, CONTACT, ask=ask)
        count = len(found[0])
        yield demand, *found, np.zeros(count, bool), np.full((count, 2), -1), np.zeros(3)
    if missed:
        listed = ", ".join(sorted(missed)[:4]) + (" …" if len(missed) > 4 else "")
        left_out.append(f"joined ends that move against each other were not followed ({listed})")


def _spare(world: World, names: tuple[str, str]) -> float:
    """How far the check finds an end out of its port, below 0, mm; 0 where it finds none."""
    solids = bodies(world).all
    found = [
        clash.beyond.most
        for clash in clashes(world)
        if clash.beyond is not None and {solids[k].name for k in clash.pair} == set(names)
    ]
    return -max(found, default=0.0)


def _zone(world: World, move: Movement, pair: tuple[int, int]) -> Zone | None:
    both = move.pieces.all.all
    permission = allowed(world, both[pair[0]], both[pair[1]])
    return None if permission is None else permission.zone


def _lengths(move: Movement, end: int, host: int) -> tuple[np.ndarray, np.ndarray] | None:
    """Lengths (p,) mm and slopes (p, k); None where the end does not lie in its port, or not linearly."""
    zone = _zone(move.world, move, (end, host))
    moved = [_zone(world, move, (end, host)) for world in move.moved]
    rows = move.pieces.all.rows([end])
    turns = move.turns(move.pieces.all.rows([end, host])).any()
    if zone is None or turns or move.deforms[rows].any():
        return None
    slopes = np.zeros((len(move.moved), 3))
    at = np.zeros((len(move.moved), 3))
    for k, (there, one) in enumerate(zip(moved, move.measurements, strict=True)):
        if there is None or not np.allclose(there.inward, zone.inward, rtol=0, atol=SAME):
            return None
        step = step_of(one)
        at[k] = (there.at - zone.at) / step
        slopes[k] = (
            at[k] @ zone.inward,
            (there.depth - zone.depth) / step,
            (there.radius - zone.radius) / step,
        )
    out, out_slope = farthest(move, rows, np.tile(zone.inward, (len(rows), 1)))
    back, back_slope = farthest(move, rows, np.tile(-zone.inward, (len(rows), 1)))
    mouth = float(zone.at @ zone.inward)
    side = _side(move, rows, zone, at, slopes[:, 2])
    if side is None:
        return None
    here = np.concatenate([mouth + zone.depth - out, -back - mouth, side[0]])
    slope = np.concatenate([slopes[:, 0] + slopes[:, 1] - out_slope, -back_slope - slopes[:, 0], side[1]])
    return None if here.min() < -CONTACT else (here, slope)


def _side(
    move: Movement, rows: np.ndarray, zone: Zone, at: np.ndarray, widens: np.ndarray
) -> tuple[np.ndarray, np.ndarray] | None:
    """From cylinders along a port's axis to its wall: (p,) mm, (p, k) slopes; None if that is not linear."""
    pieces = move.pieces.all
    across = np.eye(3) - np.outer(zone.inward, zone.inward)
    off = np.linalg.norm((pieces.centres[rows] - zone.at) @ across, axis=1)
    strays = np.abs((move.centres[:, rows] - at[:, None]) @ across).max()
    along = np.abs(pieces.rotations[rows][:, :, 2] @ zone.inward)
    if strays > STILL or (pieces.kinds[rows] != Kind.CYLINDER).any() or along.min() < 1 - SAME:
        return None
    here = zone.radius - off - pieces.halves[rows, 0]
    return here, widens - move.halves[:, rows, 0].T
