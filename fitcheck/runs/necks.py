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
PITCH, MOST_FIRST, MOST = 16.0, 100_000, 1_500_000
# Between the ball found and the one proved too wide, mm, in radius; and the smallest cube for it.
ENOUGH, FINEST = 0.05, 0.01
# Whether less than this passes, mm in radius, is not proved: walls would have to be gone over
# in cubes as small as this.
FLOOR = 1.5
# Rounds after which what is proved so far is given.
ROUNDS = 400
# While the bounds are farther apart than this, mm, their middle is tried.
COARSE = 3.0
# Points of a way are this far apart, mm, when it is moved to where there is more room.
SPACING = 2.0
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
) -> Neck:
    """The widest ball that can be moved from start to goal, (3,) mm, inside a region.

    Args:
        region: (2, 3) where its middle must stay; the bounds of the obstacles if none is given.
        floor: smaller balls are not proved to be stopped; `most` is then this, mm.
    """
    ends = np.array([start, goal], float)
    rooms = distance_at(obstacles, ends)[0]
    tight = int(rooms.argmin())
    known = _Bounds(0.0, max(float(rooms[tight]), 0.0), ends[tight], ends)
    if known.most > 0.0:
        low, high = np.asarray(obstacles.bounds if region is None else region, float)
        leaves = _grid(np.minimum(low, ends.min(axis=0)), np.maximum(high, ends.max(axis=0)))
        _narrow_down(obstacles, leaves, ends, known, floor)
    bodies = _beside(obstacles, known.where)
    return Neck(
        known.value, known.most, known.where, bodies, tuple(obstacles.names[k] for k in bodies), known.way
    )


def _narrow_down(
    obstacles: Obstacles, leaves: Leaves, ends: np.ndarray, known: _Bounds, floor: float
) -> None:
    """Raise the value and lower the most until they meet, or enough was tried."""
    solids = obstacles.solids
    count = compiled.plant_leaves(leaves, solids, known.most + leaves.pitch)
    for _ in range(ROUNDS):
        gap = known.most - known.value
        if gap <= ENOUGH or known.most <= floor:
            return
        way = compiled.best_leaves(leaves, count, ends, known.value)
        if len(way):
            _note(
                obstacles,
                np.array([leaves.low, leaves.high]),
                compiled.leaf_corners(leaves, way, ends),
                known,
            )
            gap = known.most - known.value
        room = max(known.value + (gap / 2 if gap > COARSE else 0.9 * ENOUGH), floor)
        doubts, found = compiled.flood_leaves(leaves, count, ends, room, FINEST)
        if doubts < 0:
            known.most = room
        elif doubts > 0:
            if len(found) == 0 or count + 8 * len(found) > len(leaves.rooms):
                return
            if known.value == 0.0:
                known.where = _middle(leaves, found[len(found) // 2])
            count = compiled.halve_leaves(leaves, solids, count, found)


def _note(obstacles: Obstacles, region: np.ndarray, corners: np.ndarray, known: _Bounds) -> None:
    """Measure how wide a ball passes along a polyline, moved to where there is more room."""
    points = _spaced(corners, SPACING)
    compiled.widen_line(obstacles.solids, points, region, known.most, SPACING, FINEST)
    line = polyline(points)
    proved, _, along, _ = compiled.trace_solids(obstacles.solids, line, TOLERANCE)
    if proved > known.value:
        known.value, known.where, known.way = proved, point_on(line, along), points


def _spaced(corners: np.ndarray, most: float) -> np.ndarray:
    """The corners (n, 3) of a polyline with points put in between, no farther apart than `most`."""
    counts = np.maximum(np.ceil(np.linalg.norm(np.diff(corners, axis=0), axis=1) / most).astype(int), 1)
    legs = np.repeat(np.arange(len(counts)), counts)
    share = np.concatenate([np.arange(n) / n for n in counts])[:, None]
    return np.concatenate([corners[legs] * (1 - share) + corners[legs + 1] * share, corners[-1:]])


def _middle(leaves: Leaves, i: int) -> np.ndarray:
    """(3,) middle of a cube."""
    halved, *place = leaves.places[i].tolist()
    return np.asarray(np.array(leaves.low) + (np.array(place) + 0.5) * leaves.pitch / 2**halved)


def _grid(low: np.ndarray, high: np.ndarray) -> Leaves:
    """Room for cubes over a region."""
    extent = np.maximum(high - low, 1.0)
    pitch = max(PITCH, float(np.cbrt(extent.prod() / MOST_FIRST)))
    x, y, z = np.ceil(extent / pitch).astype(int).tolist()
    a, b, c = low.tolist()
    d, e, f = (low + extent).tolist()
    return Leaves(
        (a, b, c), (d, e, f), pitch, (x, y, z),
        np.empty(MOST, np.int64), np.empty((MOST, 4), np.int64), np.empty(MOST),
    )  # fmt: skip


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
