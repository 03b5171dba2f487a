"""Necks: the widest ball that could be moved between two places, where it would be held, and by what.

No tube or cable with clearance all round that is wider than the ball can go there, however it
is bent. Space is divided into cubes that are halved only where a way is in doubt.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitcheck.runs.certify import TOLERANCE
from fitcheck.runs.kernels import compiled
from fitcheck.runs.kernels.leaves import Leaves
from fitcheck.runs.lines import point_on, polyline
from fitcheck.runs.obstacles import Obstacles, distance_at

# Edge of the cubes at first, mm, how many there may be then, and after halving.
PITCH, MOST_FIRST, MOST = 24.0, 50_000, 1_500_000
# Between the ball found and the one proved too wide, mm, in radius; and the smallest cube for it.
ENOUGH, FINEST = 0.05, 0.02
# A proof that ENOUGH more does not pass leaves them ENOUGH apart, but for rounding, mm.
ROUNDING = 1e-9
# Whether less than this passes, mm in radius, is not proved: walls would have to be gone over
# in cubes as small as this.
FLOOR = 1.5
# Rounds after which what is proved so far is given, and after which it is left open whether one ball passes.
ROUNDS, SETTLING = 80, 160
# As long as the bounds are farther apart than this, mm, their middle is tried.
COARSE = 0.1
# A cube is halved where a way by it lacks the room for so many of its edges more than the best does.
SLACK = 1.9
# Solids that are farther from the middle of the neck than the nearest by this do not make it, mm.
BESIDE = 1.0
MOST_NAMES = 3


@dataclass(frozen=True, eq=False)
class Neck:
    """The narrowest place of the widest way between two places.

    Radii are distances to solids, less their extras.

    Args:
        value: radius of a ball that passes, mm, 0 when none was found; proved.
        most: no larger ball passes, mm; proved.
        where: (3,) middle of the ball in the neck; where a closed wall is crossed when none passes.
        bodies: what is nearest there, the nearest first: indices into the obstacles' names.
        names: the same by name.
        way: (n, 3) corners of a way for the ball; of the best try when none passes.
    """

    value: float
    most: float
    where: np.ndarray
    bodies: tuple[int, ...]
    names: tuple[str, ...]
    way: np.ndarray


@dataclass
class _Bounds:
    """What is known of the widest ball so far."""

    value: float
    most: float
    where: np.ndarray
    way: np.ndarray


def widest(
    obstacles: Obstacles,
    start: np.ndarray,
    goal: np.ndarray,
    region: np.ndarray | None = None,
    floor: float = FLOOR,
    asked: float = 0.0,
) -> Neck:
    """The widest ball that can be moved from start to goal, (3,) mm, inside a region.

    Args:
        region: (2, 3) where its middle must stay; the bounds of the obstacles if none is given.
        floor: smaller balls are not proved to be stopped; `most` is then this, mm.
        asked: whether a ball of this radius passes is settled first, mm; 0 for none.
    """
    ends = np.array([start, goal], float)
    rooms = distance_at(obstacles, ends)[0]
    tight = int(rooms.argmin())
    known = _Bounds(0.0, max(float(rooms[tight]), 0.0), ends[tight], ends)
    if known.most > 0.0:
        _narrow_down(obstacles, _room(obstacles, ends, region), ends, known, floor, asked)
    bodies = _beside(obstacles, known.where)
    return Neck(
        known.value, known.most, known.where, bodies, tuple(obstacles.names[k] for k in bodies), known.way
    )


def passes(
    obstacles: Obstacles, start: np.ndarray, goal: np.ndarray, radius: float, region: np.ndarray | None = None
) -> bool:
    """Whether a ball may pass from start to goal, (3,) mm: if not, that is proved.

    Args:
        radius: of the ball, mm.
        region: (2, 3) where its middle must stay; the bounds of the obstacles if none is given.
    """
    ends = np.array([start, goal], float)
    least = float(distance_at(obstacles, ends)[0].min())
    if least < radius:
        return False
    known = _Bounds(0.0, least, ends[0], ends)
    leaves = _room(obstacles, ends, region)
    count = compiled.plant_leaves(leaves, obstacles.solids, radius + leaves.pitch)
    for _ in range(SETTLING):
        count = _round(obstacles, leaves, count, ends, known, radius)
        if known.value >= radius or count == 0:
            return True
        if known.most <= radius:
            return False
    return True


def _narrow_down(
    obstacles: Obstacles, leaves: Leaves, ends: np.ndarray, known: _Bounds, floor: float, asked: float
) -> None:
    """Raise the value and lower the most until they meet, or enough was tried."""
    count = compiled.plant_leaves(leaves, obstacles.solids, known.most + leaves.pitch)
    settling, rounds = SETTLING, ROUNDS
    while settling and rounds:
        gap = known.most - known.value
        if gap <= ENOUGH + ROUNDING or known.most <= floor or count == 0:
            return
        room = max(known.value + (gap / 2 if gap > COARSE else ENOUGH), floor)
        if known.value < asked < known.most:
            room, settling = asked, settling - 1
        else:
            rounds -= 1
        count = _round(obstacles, leaves, count, ends, known, min(room, known.most))


def _round(
    obstacles: Obstacles, leaves: Leaves, count: int, ends: np.ndarray, known: _Bounds, room: float
) -> int:
    """Ask once whether a ball passes, and halve where that is in doubt.

    Returns:
        How many cubes there are now; 0 when neither a proof nor a way can be had by halving more.
    """
    way = compiled.flood_leaves(leaves, count, ends, room)
    if not len(way):
        known.most = room
        return count
    better = _try(obstacles, compiled.leaf_corners(leaves, way, ends), known)
    if known.value >= room:
        return count
    more = compiled.halve_leaves(leaves, obstacles.solids, count, ends, room, SLACK, FINEST)
    return count if more == count and better else 0 if more == count else more


def _try(obstacles: Obstacles, corners: np.ndarray, known: _Bounds) -> bool:
    """Whether a ball wider than known passes along a polyline; notes it."""
    line = polyline(corners)
    proved, _, along, _ = compiled.trace_solids(obstacles.solids, line, TOLERANCE)
    better = proved > known.value
    if better or known.value == 0.0:
        known.value, known.where, known.way = max(proved, 0.0), point_on(line, along), corners
    return better


def _room(obstacles: Obstacles, ends: np.ndarray, region: np.ndarray | None) -> Leaves:
    """Cubes over a region and two places."""
    low, high = np.asarray(obstacles.bounds if region is None else region, float)
    return _grid(np.minimum(low, ends.min(axis=0)), np.maximum(high, ends.max(axis=0)))


def _grid(low: np.ndarray, high: np.ndarray) -> Leaves:
    """Room for cubes over a region."""
    extent = np.maximum(high - low, 1.0)
    pitch = max(PITCH, float(np.cbrt(extent.prod() / MOST_FIRST)))
    x, y, z = np.ceil(extent / pitch).astype(int).tolist()
    a, b, c = low.tolist()
    d, e, f = (low + extent).tolist()
    return Leaves(
        (a, b, c),
        (d, e, f),
        pitch,
        (x, y, z),
        np.empty(MOST, np.int64),
        np.empty((MOST, 4), np.int64),
        np.empty(MOST),
        np.empty(MOST),
    )


def _beside(obstacles: Obstacles, where: np.ndarray) -> tuple[int, ...]:
    """The bodies that are nearest to a point, and those hardly farther."""
    rooms = np.empty(len(obstacles.body))
    x, y, z = where.tolist()
    compiled.rooms_to(obstacles.solids, x, y, z, rooms)
    found: list[int] = []
    for row in np.argsort(rooms, kind="stable"):
        body = int(obstacles.body[row])
        if rooms[row] > rooms.min() + BESIDE or len(found) == MOST_NAMES:
            break
        if body not in found:
            found.append(body)
    return tuple(found)
