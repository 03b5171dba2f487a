"""Following a motion continuously: where does a moving piece first come too near to one that stays?

In a step of time no point of a piece moves farther than the piece's speed times the step. So from a
distance d, d over the speed is free without a look, and the whole way is proved by going on so;
nothing thin is jumped over.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from fitcheck.motions.moving import Moving
from fitcheck.parts.pieces import moved as placed
from fitcheck.parts.solids import Piece
from fitcheck.world.bodies import bounds_gap, with_probes
from fitcheck.world.engine import measure
from fitcheck.world.frames import IDENTITY, Frame
from fitcheck.world.world import piece_bounds

# What is demanded is proved to this, mm: half of it may be used up where the next step begins.
PROVED = 0.01
# Bounds of what a piece covers are taken at so many places on its way.
PLACES = 16


@dataclass(frozen=True, eq=False)
class Motion:
    """A rigid motion over a time from 0 to 1, of pieces of bodies.

    Args:
        pieces: in world coordinates at the start.
        owners: the body that each belongs to.
        speeds: (n,) the farthest that any point of each moves in the whole time, mm, as long as its path.
        pose: world_from_start at a time.
    """

    pieces: Sequence[Piece]
    owners: Sequence[int]
    speeds: np.ndarray
    pose: Callable[[float], Frame]


@dataclass(frozen=True, eq=False)
class Met:
    """A moving body too near to one that stays: when, and their distance, below 0 by the depth, mm."""

    time: float
    pair: tuple[int, int]
    least: float


def follow(moved: Moving, motion: Motion, keep: float) -> Met | None:
    """The first time that a pair is too near, None if none ever is; proved to `PROVED`.

    Guides may touch, other pairs keep off each other by `keep`; joints and pads are let go.
    """
    pairs = _pairs(moved, motion, keep)
    if not len(pairs):
        return None
    owners = np.array(motion.owners, int)
    demanded = np.array([0.0 if (int(owners[s]), int(j)) in moved.guides else keep for s, j in pairs])
    speeds = np.maximum(motion.speeds[pairs[:, 0]], PROVED)
    times, until, met = np.zeros(len(pairs)), 1.0, None
    while len(going := np.flatnonzero(times < until)):
        # Farther than it can come in all the time left need not be known.
        reach = demanded[going] + (until - times[going]) * speeds[going]
        least = _least(moved, motion, pairs[going], times[going], reach)
        spare = least - demanded[going]
        for k, distance in zip(going[spare < -PROVED / 2], least[spare < -PROVED / 2], strict=True):
            if met is None or times[k] < until:
                until = float(times[k])
                met = Met(until, (int(owners[pairs[k, 0]]), int(pairs[k, 1])), float(distance))
        times[going] += (np.maximum(spare, -PROVED / 2) + PROVED) / speeds[going]
    return met


def _pairs(moved: Moving, motion: Motion, keep: float) -> np.ndarray:
    """(k, 2) a piece and a body that stays, where what the piece covers may come near it."""
    stayers = np.array(moved.stayers, int)
    if not len(stayers) or not motion.pieces:
        return np.zeros((0, 2), int)
    covered = np.array([_covered(motion, s) for s in range(len(motion.pieces))])
    gaps = bounds_gap(covered[:, None], moved.solids.body_bounds[stayers][None])
    found = [
        (s, int(stayers[b]))
        for s, b in np.argwhere(gaps <= keep).tolist()
        if (motion.owners[s], int(stayers[b])) not in moved.excused
    ]
    return np.array(found, int).reshape(-1, 2)


def _covered(motion: Motion, s: int) -> np.ndarray:
    """(2, 3) bounds of all that a piece covers: at several times, and what it can leave them by between."""
    at = [at_time(motion, s, time) for time in np.linspace(0.0, 1.0, PLACES + 1)]
    bounds = np.array([piece_bounds(piece, IDENTITY) for piece in at])
    more = motion.speeds[s] / PLACES / 2
    return np.array([bounds[:, 0].min(axis=0) - more, bounds[:, 1].max(axis=0) + more])


def at_time(motion: Motion, s: int, time: float) -> Piece:
    """A piece where it is at a time."""
    frame = motion.pose(float(time))
    return placed(motion.pieces[s], frame.rotation, frame.origin)


def _least(
    moved: Moving, motion: Motion, pairs: np.ndarray, times: np.ndarray, reach: np.ndarray
) -> np.ndarray:
    """Distance of pairs at their times, below 0 by the depth; only a bound where they are far apart."""
    solids = moved.solids
    turned = [(at_time(motion, s, time),) for s, time in zip(pairs[:, 0].tolist(), times, strict=True)]
    among = with_probes(solids, turned)
    found = measure(among, np.column_stack([len(solids) + np.arange(len(pairs)), pairs[:, 1]]), reach)
    return np.array([one.distance - (np.inf if np.isnan(one.depth) else one.depth) for one in found])
