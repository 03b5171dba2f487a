"""One question for any two solids of a world: how far apart, how deep, how far to go?

All that checks ask of geometry. Bodies are named by their index in `bodies(world).all`;
what they are made of stays behind this door.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fitcheck.parts.solids import Piece
from fitcheck.world import moves, pairs, volumes
from fitcheck.world.bodies import Bodies, Body, bodies, bounds_gap, near, with_probe
from fitcheck.world.frames import IDENTITY, SIDES
from fitcheck.world.pairs import CONTACT, Measured
from fitcheck.world.world import piece_bounds

__all__ = [
    "CONTACT", "Bodies", "Body", "Measured", "Overlap", "Probe", "Travel", "bodies", "hits_after",
    "measure", "near", "overlap", "probe", "side_moves", "sweep_probe", "travel",
]  # fmt: skip

Pairs = np.ndarray | Sequence[tuple[int, int]]


@dataclass(frozen=True, eq=False)
class Overlap:
    """What two bodies share: volume, mm3, and its (2, 3) bounds, mm, None when they share nothing.

    Not `known` when a mesh of theirs is open: it has no volume.
    """

    volume: float
    bounds: np.ndarray | None
    known: bool


@dataclass(frozen=True, eq=False)
class Travel:
    """Free way of a move, mm, and the index of the body that ends it, None when nothing does.

    `overlaps`: that body interferes before anything moves, and the way is 0.
    """

    distance: float
    against: int | None
    overlaps: bool = False


@dataclass(frozen=True, eq=False)
class Probe:
    """A free-standing piece among the bodies: the nearest one, and those it interferes with.

    `distance` mm, inf and `nearest` None when nothing is within what was asked.
    """

    distance: float
    nearest: int | None
    hits: tuple[int, ...]


def measure(bodies: Bodies, asked: Pairs, within: float | np.ndarray = np.inf) -> list[Measured]:
    """Least distance, or depth, of pairs of bodies.

    The depth is that of the deepest pair of pieces, exact for two boxes or cylinders;
    with a mesh it is the shortest way out found, a true one.

    Args:
        asked: (k, 2) body indices.
        within: mm, for all or (k,); farther pairs come back with a lower bound.

    Returns:
        One for each pair, in order.
    """
    chosen = np.asarray(asked, int).reshape(-1, 2)
    reach = np.broadcast_to(np.asarray(within, float), len(chosen))
    if bodies.answers is None:
        return _measured(bodies, chosen, reach)
    keys = list(zip(*bodies.serials[chosen].T.tolist(), reach.tolist(), strict=True))
    found = list(map(bodies.answers.get, keys))
    new = [k for k, known in enumerate(found) if known is None]
    for k, one in zip(new, _measured(bodies, chosen[new], reach[new]), strict=True):
        found[k] = one
        bodies.answers.put(keys[k], one)
    return found


def _measured(bodies: Bodies, chosen: np.ndarray, reach: np.ndarray) -> list[Measured]:
    """As `measure`; each answer is the same whatever else is asked with it."""
    rows, owner = _piece_pairs(bodies, chosen)
    gaps = bounds_gap(bodies.bounds[rows[:, 0]], bodies.bounds[rows[:, 1]])
    far = np.full(len(chosen), np.inf)
    np.minimum.at(far, owner, gaps)
    keep = gaps <= reach[owner]
    rows, owner = rows[keep], owner[keep]
    answered: dict[int, Measured] = {}
    if len(rows):
        errors = np.array([body.error for body in bodies.all])[chosen].sum(axis=1)
        found = pairs.measure_rows(bodies, rows, owner, reach)
        found.error[:] += errors[owner]
        answered = {
            own: found[k]
            for own, k in zip(*_worst(found, owner), strict=True)
            if found.distance[k] <= reach[own] + pairs.EDGE or not found.decided[k]
        }
    return [answered.get(k) or pairs.at_least(beyond) for k, beyond in enumerate(far.tolist())]


def _piece_pairs(bodies: Bodies, chosen: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """All (q, 2) pairs of pieces of pairs of bodies, and (q,) whose they are."""
    starts = np.array([body.pieces.start for body in bodies.all], int)
    counts = np.array([body.pieces.stop for body in bodies.all], int) - starts
    a, b = chosen[:, 0], chosen[:, 1]
    many = counts[a] * counts[b]
    owner = np.repeat(np.arange(len(chosen)), many)
    place = np.arange(len(owner)) - np.repeat(np.cumsum(many) - many, many)
    first = starts[a][owner] + place // counts[b][owner]
    second = starts[b][owner] + place % counts[b][owner]
    return np.column_stack([first, second]), owner


def _worst(found: pairs.Answers, owner: np.ndarray) -> tuple[list[int], list[int]]:
    """Owners of pairs of pieces, and the pair that tells of each: the deepest, else the nearest.

    Undecided if any of them is, unless they interfere.
    """
    depth = np.where(np.isnan(found.depth), np.inf, found.depth)
    order = np.lexsort((found.distance, -depth, owner))
    owners, first = np.unique(owner[order], return_index=True)
    chosen = order[first]
    undecided = np.zeros(owners[-1] + 1, bool)
    undecided[owner[~found.decided]] = True
    found.decided[chosen] &= ~undecided[owners] | (depth[chosen] > CONTACT)
    return owners.tolist(), chosen.tolist()


def overlap(bodies: Bodies, i: int, j: int) -> Overlap:
    """Volume that two bodies share, and its bounds; exact but for the facets of cylinders."""
    at = bodies.centres[bodies.all[i].pieces.start]
    first, second = (volumes.joined(bodies, bodies.all[k].pieces, at) for k in (i, j))
    if first is None or second is None:
        return Overlap(np.nan, None, known=False)
    shared = first ^ second
    if volumes.is_film(shared):
        return Overlap(0.0, None, known=True)
    return Overlap(float(shared.volume()), volumes.bounds_of(shared) + at, known=True)


def travel(
    bodies: Bodies,
    moving: Collection[int],
    side: str | np.ndarray,
    limit: float,
    skip: Collection[int] = (),
) -> Travel:
    """How far bodies, moved together, get towards a side before one touches another body.

    Sliding along what they touch and leaving it are free. Exact for boxes and closed
    meshes; where a mesh meets a cylinder late by at most 0.01 mm.

    Args:
        moving: body indices.
        side: name of a side, or (3,) unit.
        limit: mm.
        skip: further bodies to leave out.
    """
    movers = bodies.rows(moving)
    stayers = bodies.rows(set(range(len(bodies))) - {*moving, *skip})
    touch = moves.first_touch(bodies, movers, stayers, _direction(side), limit)
    return _as_travel(bodies, touch)


def _as_travel(bodies: Bodies, touch: moves.Touch) -> Travel:
    against = None if touch.row is None else int(bodies.body[touch.row])
    return Travel(touch.way, against, touch.overlaps)


def _direction(side: str | np.ndarray) -> np.ndarray:
    return SIDES[side] if isinstance(side, str) else np.asarray(side, float)


def side_moves(
    bodies: Bodies, moving: Collection[int], others: Collection[int], limit: float
) -> dict[str, float]:
    """For each of the six sides the least move of all `moving` that frees them from all `others`.

    Sides without one within the limit are left out; all are when a mesh in the way is
    open. Never too short; with cylinders too long by at most 0.01 mm.
    """
    movers, stayers = bodies.rows(moving), bodies.rows(others)
    found = {
        side: moves.way_out(bodies, movers, stayers, direction, limit) for side, direction in SIDES.items()
    }
    return {side: way for side, way in found.items() if way is not None}


def hits_after(
    bodies: Bodies, moving: Collection[int], side: str | np.ndarray, way: float, ignore: Collection[int] = ()
) -> tuple[int, ...]:
    """Bodies that the moving ones would interfere with after a move, in order."""
    after = bodies.shifted(moving, way * _direction(side))
    left_out = {*moving, *ignore}
    others = [k for k in range(len(bodies)) if k not in left_out]
    return _interfering(after, moving, others)


def _interfering(bodies: Bodies, some: Iterable[int], others: Sequence[int]) -> tuple[int, ...]:
    ours = np.array(sorted(some), int)
    theirs = np.asarray(others, int)
    gaps = bounds_gap(bodies.body_bounds[ours][:, None], bodies.body_bounds[theirs][None])
    a, b = np.nonzero(gaps <= 0.0)
    asked = np.column_stack([ours[a], theirs[b]])
    hit = {int(asked[k, 1]) for k, m in enumerate(measure(bodies, asked, 0.0)) if m.interferes}
    return tuple(sorted(hit))


def probe(bodies: Bodies, piece: Piece, within: float = 0.0, ignore: Collection[int] = ()) -> Probe:
    """What a free-standing piece, placed in the world, comes near and interferes with."""
    among = with_probe(bodies, piece)
    own = len(bodies)
    left_out = set(ignore)
    others = np.array([k for k in range(own) if k not in left_out], int)
    close = others[bounds_gap(among.body_bounds[own], among.body_bounds[others]) <= within]
    found = measure(among, np.column_stack([np.full(len(close), own), close]), within)
    hits = tuple(int(k) for k, m in zip(close, found, strict=True) if m.interferes)
    reached = [(m.distance, int(k)) for k, m in zip(close, found, strict=True) if not m.beyond]
    distance, nearest = min(reached, default=(np.inf, None))
    return Probe(distance, nearest, hits)


def sweep_probe(
    bodies: Bodies, piece: Piece, direction: str | np.ndarray, limit: float, ignore: Collection[int] = ()
) -> Travel:
    """How far a free-standing piece gets along a direction before it touches a body."""
    towards = _direction(direction)
    bounds = piece_bounds(piece, IDENTITY)
    ends = np.array([bounds, bounds + limit * towards])
    swept = np.array([ends[:, 0].min(axis=0), ends[:, 1].max(axis=0)])
    close = bounds_gap(swept, bodies.body_bounds) <= CONTACT
    close[list(ignore)] = False
    met = np.flatnonzero(close)

    def swept_on() -> Travel:
        among = with_probe(bodies, piece)
        return travel(among, [len(bodies)], towards, limit, np.flatnonzero(~close).tolist())

    if bodies.answers is None or piece.mesh is not None:
        return swept_on()
    figures = (array.tobytes() for array in (piece.half, piece.rotation, piece.centre, towards))
    key = "sweep", int(piece.kind), limit, *figures, *bodies.serials[met].tolist()
    found, against = bodies.answers.of(key, lambda: _by_serial(bodies, swept_on()))
    return found if against is None else replace(found, against=int(met[bodies.serials[met] == against][0]))


def _by_serial(bodies: Bodies, found: Travel) -> tuple[Travel, int | None]:
    return found, None if found.against is None else int(bodies.serials[found.against])
