"""Straight out: how far a part gets along a direction, what stops it, how near it comes to anything."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitcheck.motions.moving import Moving, Pair
from fitcheck.motions.silhouettes import least_shift, silhouette
from fitcheck.motions.sweeps import pieces_of, swept
from fitcheck.world import moves
from fitcheck.world.bodies import Bodies, bounds_gap, with_probes
from fitcheck.world.engine import Measured, measure
from fitcheck.world.frames import SIDES
from fitcheck.world.slides import frame_along

# A joint is drawn along its axis when the move lies along it to this (cosine).
ALONG = 1 - 1e-6
# A pad stops what presses on it where the move leads into it by more than this (cosine).
FACES = 0.5
# The place where a part comes too near is found to this, mm.
EXACT = 1e-3
# Rounding of sums of written lengths, mm: a distance of 1.999999 keeps 2.
ROUNDING = 1e-5
# The least distance on the way is told up to this beyond what is demanded, mm.
TOLD = 5.0
# Which of several bodies touches is asked so much farther than where one does, mm.
ASKED_ON = 1.0
# A part is drawn off by so much more than just frees it, mm.
SPARE = 0.02


@dataclass(frozen=True, eq=False)
class Stop:
    """What ends a move.

    Args:
        way: mm (degrees of a swing) that the part gets.
        pair: (mover, stayer) that are in each other's way.
        reason: touches (it is run into), near (it comes too near), joined (it is plugged or screwed to
            something that stays), pressed (it leans on something soft), overlaps (they interfere as they
            stand).
        distance: for near: how far apart the two are there, mm.
    """

    way: float
    pair: Pair
    reason: str
    distance: float = 0.0


@dataclass(frozen=True, eq=False)
class Way:
    """How a move went.

    Args:
        way: mm or degrees it gets, at most what was asked.
        stop: what ends it; None where it goes all the way.
        nearest: least distance on the way to what is no guide, mm; inf beyond what was looked for.
        pair: (mover, stayer) that come so near; None where nothing does.
        at: (3,) the nearest point of the stayer.
    """

    way: float
    stop: Stop | None
    nearest: float = np.inf
    pair: Pair | None = None
    at: np.ndarray | None = None


def free_after(moved: Moving, direction: np.ndarray) -> float:
    """mm along a direction after which the part has passed all that stays."""
    if not moved.stayers or not moved.movers:
        return 0.0
    front, rear = _ends(moved.solids, moved.stayers, direction), _ends(moved.solids, moved.movers, direction)
    return max(front[1] - rear[0], 0.0)


def _ends(solids: Bodies, chosen: Sequence[int], direction: np.ndarray) -> tuple[float, float]:
    """Least and largest coordinate of the bounds of bodies along a direction."""
    bounds = solids.body_bounds[list(chosen)]
    middle, half = bounds.mean(axis=1) @ direction, (bounds[:, 1] - bounds[:, 0]) / 2 @ np.abs(direction)
    return float((middle - half).min()), float((middle + half).max())


def straight(
    moved: Moving, direction: np.ndarray, limit: float, keep: float = 0.0, told: float = TOLD
) -> Way:
    """Move a part along a direction, continuously.

    Guides, and what it rests on, may touch all the way; it must not press into them. From everything
    else it keeps `keep`. What is joined to it comes off only along the joint's axis.

    Args:
        direction: (3,) unit.
        limit: mm.
        keep: mm.
        told: the least distance on the way is looked for up to this beyond `keep`, mm; 0 saves time.
    """
    held = _held(moved, direction)
    if held is not None:
        return Way(0.0, held)
    stop = _first_touch(moved, direction, limit)
    way = limit if stop is None else stop.way
    if keep == told == 0:
        return Way(way, stop)
    nearest = _nearest(moved, direction, way, max(keep, 0.0) + told)
    if keep > 0:
        near = _too_near(moved, direction, way, keep, nearest)
        if near is not None:
            stop, way = near, near.way
            # What is near on a shorter way was near on the longer one.
            nearest = _on_the_way(moved, np.array(list(nearest)), way * direction, keep + told)
    if not nearest:
        return Way(way, stop)
    pair, least = min(nearest.items(), key=lambda item: item[1].distance)
    return Way(way, stop, least.distance, pair, least.on_b)


def _held(moved: Moving, direction: np.ndarray) -> Stop | None:
    for joint in moved.joints:
        if float(joint.leaves @ direction) < ALONG:
            return Stop(0.0, joint.pair, "joined")
    for pad in moved.pads:
        if float(pad.normal @ direction) > FACES:
            return Stop(0.0, pad.pair, "pressed")
    return None


def _first_touch(moved: Moving, direction: np.ndarray, limit: float) -> Stop | None:
    """What is run into first; pairs that are joined or pressed together leave each other freely."""
    excused: dict[int, set[int]] = {}
    for mover, stayer in sorted(moved.excused):
        excused.setdefault(mover, set()).add(stayer)
    lots: list[tuple[list[int], set[int]]] = [([k], left) for k, left in excused.items()]
    if plain := [k for k in moved.movers if k not in excused]:
        lots.insert(0, (plain, set()))
    best = None
    for movers, left in lots:
        rows = moved.solids.rows(movers)
        others = moved.solids.rows([k for k in moved.stayers if k not in left])
        way = limit if best is None else best.way
        touch = moves.first_touch(moved.solids, rows, others, direction, way)
        if touch.row is not None and (best is None or touch.way < best.way or touch.overlaps):
            stayer = int(moved.solids.body[touch.row])
            reason = "overlaps" if touch.overlaps else "touches"
            best = Stop(touch.way, (_which(moved, movers, stayer, direction, touch), stayer), reason)
            if touch.way == 0:
                return best
    return best


def _which(
    moved: Moving, movers: Sequence[int], stayer: int, direction: np.ndarray, touch: moves.Touch
) -> int:
    """The moving body that runs into a body that stays."""
    if len(movers) == 1:
        return movers[0]
    rows = moved.solids.rows([stayer])
    # A touch at the very end of a move is no touch: each is asked a little farther than all were.
    limit = touch.way + ASKED_ON
    ways = [
        (found.way, k)
        for k in movers
        if (found := moves.first_touch(moved.solids, moved.solids.rows([k]), rows, direction, limit)).row
        is not None
    ]
    return min(ways, default=(0.0, movers[0]))[1]


def _kept_pairs(moved: Moving, direction: np.ndarray, way: float, reach: float) -> np.ndarray:
    """(k, 2) pairs that keep off each other, whose sweeps come within reach by their bounds."""
    movers, stayers = np.array(moved.movers, int), np.array(moved.stayers, int)
    bounds = moved.solids.body_bounds[movers]
    ends = np.stack([bounds, bounds + way * direction])
    around = np.stack([ends[:, :, 0].min(axis=0), ends[:, :, 1].max(axis=0)], axis=1)
    close = bounds_gap(around[:, None], moved.solids.body_bounds[stayers][None]) <= reach
    free = moved.guides | moved.excused
    pairs = [(int(movers[a]), int(stayers[b])) for a, b in np.argwhere(close)]
    return np.array([pair for pair in pairs if pair not in free], int).reshape(-1, 2)


def _nearest(moved: Moving, direction: np.ndarray, way: float, reach: float) -> dict[Pair, Measured]:
    """How near pairs come on the way, as far as they come within reach."""
    return _on_the_way(moved, _kept_pairs(moved, direction, way, reach), way * direction, reach)


def _on_the_way(moved: Moving, pairs: np.ndarray, move: np.ndarray, reach: float) -> dict[Pair, Measured]:
    if not len(pairs):
        return {}
    solids = moved.solids
    movers = np.array(sorted(set(pairs[:, 0].tolist())))
    probes = [
        [one for piece in pieces_of(solids, solids.rows([k])) for one in swept(piece, move)]
        for k in movers.tolist()
    ]
    among = with_probes(solids, probes)
    asked = pairs.copy()
    asked[:, 0] = len(solids) + np.searchsorted(movers, pairs[:, 0])
    found = measure(among, asked, reach)
    return {(int(i), int(j)): one for (i, j), one in zip(pairs, found, strict=True) if not one.beyond}


def _too_near(
    moved: Moving, direction: np.ndarray, way: float, keep: float, nearest: dict[Pair, Measured]
) -> Stop | None:
    """Where the first pair comes nearer than `keep`: the sweep only ever comes nearer, so it is halved."""
    first = None
    for pair in (pair for pair, one in nearest.items() if one.distance < keep - ROUNDING):
        low, high = 0.0, way if first is None else first.way
        asked = np.array([pair])

        def least(at: float, asked: np.ndarray = asked) -> float:
            found = _on_the_way(moved, asked, at * direction, keep)
            return min((one.distance for one in found.values()), default=keep)

        if least(high) >= keep - ROUNDING:
            continue
        if (start := least(0.0)) < keep - ROUNDING:
            return Stop(0.0, pair, "near", start)
        while high - low > EXACT:
            middle = (low + high) / 2
            low, high = (low, middle) if least(middle) < keep - ROUNDING else (middle, high)
        first = Stop(low, pair, "near", keep)
    return first


def in_the_way(moved: Moving, pair: Pair, direction: np.ndarray, side: str) -> float | None:
    """How far a mover would have to be shifted to a side to pass a body that stops it, mm.

    Both as they are seen along the move. None where a mesh is open, or the side lies along the move.
    """
    if abs(float(SIDES[side] @ direction)) > 1e-6:
        return None
    frame = frame_along(direction)
    mover, stayer = (silhouette(moved.solids, k, frame) for k in pair)
    if mover is None or stayer is None:
        return None
    return least_shift(mover, stayer, (SIDES[side] @ frame)[:2])
