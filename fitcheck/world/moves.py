"""Straight moves: how far can solids go until they run into something, or are free of it?"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np

from fitcheck.parts.solids import Kind
from fitcheck.world import kernels, pairs, prisms, slides, trees, volumes
from fitcheck.world.bodies import Bodies
from fitcheck.world.couples import relative
from fitcheck.world.kernels.sweep import met_on_the_way
from fitcheck.world.pairs import CONTACT

# Pairs of boxes and cylinders are asked in lots of this many, the nearest first.
LOT = 64
# Turned triangles are kept for meshes of no more faces than this, and so many of them.
FACES_TURNED = 20_000
TURNED_KEPT = 2_000
# Pieces a little in each other are looked at after this step and each twice as far, mm: a move
# straight in is deeper than a contact by then, a slanting one later.
PRESS = 2 * CONTACT
# A touch counts when going on makes it an interference: so far on it is looked for, mm.
ONWARD = 1.0


@dataclass(frozen=True, eq=False)
class Touch:
    """First touch of a move: mm, and the row of the piece that is run into.

    `overlaps` when the two interfere before anything moves: then the way is 0.
    """

    way: float
    row: int | None
    overlaps: bool = False


def first_touch(
    bodies: Bodies, movers: np.ndarray, stayers: np.ndarray, direction: np.ndarray, limit: float
) -> Touch:
    """How far pieces can move along a direction before one runs into a piece that stays.

    Sliding along what is touched and leaving it are free; pressing into it is not.

    Args:
        movers, stayers: rows of pieces.
        direction: (3,) unit.
        limit: mm.
    """
    rows, entry = _swept(bodies, movers, stayers, direction, limit)
    simple = (bodies.kinds[rows] != Kind.MESH).all(axis=1)
    best = _touch_simple(bodies, rows[simple], entry[simple], direction, limit)
    if best.overlaps:
        return best
    last = None
    for (i, j), bound in zip(rows[~simple].tolist(), entry[~simple].tolist(), strict=True):
        if bound > best.way or bound == best.way > 0:
            break
        if interfere(bodies, i, j):
            return Touch(0.0, j, overlaps=True)
        if best.way > 0 and (way := slide(bodies, i, j, direction, best.way)) < best.way:
            best, last = Touch(way, j), i
    if last is None or best.row is None:
        return best
    return Touch(_on_cylinder(bodies, last, best.row, direction, best.way), best.row)


def _touch_simple(
    bodies: Bodies, rows: np.ndarray, entry: np.ndarray, direction: np.ndarray, limit: float
) -> Touch:
    """First touch of pairs of boxes and cylinders, those that may touch first coming first."""
    best = Touch(limit, None)
    for start in range(0, len(rows), LOT):
        if entry[start] > best.way or entry[start] == best.way > 0:
            break
        lot = rows[start : start + LOT]
        ways = kernels.travel_pairs(
            bodies.kinds, bodies.halves, bodies.rotations, bodies.centres, lot, direction, limit, CONTACT,
            least=best.way,
        )  # fmt: skip
        least = int(ways.argmin())
        if ways[least] < 0:
            return Touch(0.0, int(lot[least, 1]), overlaps=True)
        if ways[least] < best.way:
            best = Touch(float(ways[least]), int(lot[least, 1]))
    return best


def _swept(
    bodies: Bodies, movers: np.ndarray, stayers: np.ndarray, direction: np.ndarray, limit: float
) -> tuple[np.ndarray, np.ndarray]:
    """Pairs (k, 2) that may touch on the way, and (k,) mm before which they cannot, nearest first."""
    most = len(movers) * len(stayers)
    met, enters = np.empty((most, 2), np.int64), np.empty(most)
    ends = float(limit), CONTACT
    sides = np.ascontiguousarray(movers, np.int64), np.ascontiguousarray(stayers, np.int64)
    count = met_on_the_way(bodies.bounds, *sides, np.ascontiguousarray(direction), *ends, met, enters)
    # Contacts are let in by CONTACT along the move: up to so much earlier a touch may be.
    bound = np.maximum(enters[:count] - CONTACT * _steepness(direction), 0.0)
    order = np.argsort(bound, kind="stable")
    return met[order], bound[order]


def _steepness(direction: np.ndarray) -> float:
    """The longest way that a depth of 1 across the axes can take along the direction."""
    return float(1 / np.abs(direction[direction != 0]).min())


_interfering: WeakKeyDictionary[Bodies, dict[tuple[int, int], bool]] = WeakKeyDictionary()


def interfere(bodies: Bodies, i: int, j: int) -> bool:
    """Do two pieces, one of them a mesh, interfere where they are? Asked once a pair."""
    if (
        np.minimum(bodies.bounds[i, 1], bodies.bounds[j, 1])
        - np.maximum(bodies.bounds[i, 0], bodies.bounds[j, 0])
        <= CONTACT
    ).any():
        return False
    known = _interfering.setdefault(bodies, {})
    pair = (min(i, j), max(i, j))
    if pair not in known:
        found = pairs.measure_rows(bodies, np.array([pair]), np.zeros(1, int), np.zeros(1))
        known[pair] = found[0].interferes
    return known[pair]


_turned: OrderedDict[tuple[str, bytes], tuple[slides.Faces, slides.Faces]] = OrderedDict()


def _faces(bodies: Bodies, row: int, direction: np.ndarray) -> tuple[slides.Faces, slides.Faces]:
    """Triangles of a piece that look along and against a world direction, turned to it; not shifted."""
    tree = trees.tree_of(int(bodies.kinds[row]), bodies.halves[row], bodies.meshes[row])
    turn = bodies.rotations[row].T @ slides.frame_along(direction)
    name = (tree.key, (np.round(turn, 12) + 0.0).tobytes())
    found = _turned.get(name)
    if found is None:
        ahead, back = slides.split(tree.triangles, turn)
        found = slides.faces(ahead), slides.faces(back)
        if len(ahead) + len(back) <= FACES_TURNED:
            _turned[name] = found
            if len(_turned) > TURNED_KEPT:
                _turned.popitem(last=False)
    return found


def slide(bodies: Bodies, i: int, j: int, direction: np.ndarray, limit: float) -> float:
    """How far piece i can move along a direction before it touches j; inf when it never does.

    For two pieces that do not interfere. A cylinder is its prism here: see `_on_cylinder`.
    """
    ours, theirs = _faces(bodies, i, direction), _faces(bodies, j, direction)
    offset = (bodies.centres[i] - bodies.centres[j]) @ slides.frame_along(direction)
    found = [slides.first_touch(ours[0], offset, theirs[1], limit, CONTACT, CONTACT)]
    if _open(bodies, i) or _open(bodies, j):
        # Whether a face looks out is not sure: every face may be run into, but the first
        # contact itself is judged by the sides as they are.
        every = [(one, other) for one in ours for other in theirs]
        found += [slides.first_touch(one, offset, other, limit, -CONTACT, CONTACT) for one, other in every]
    way = max(min(way for way, _ in found), 0.0)
    crossed = way > 0 and any(crosses for _, crosses in found)
    return 0.0 if crossed and _presses(bodies, i, j, direction, min(way, limit)) else way


def _presses(bodies: Bodies, i: int, j: int, direction: np.ndarray, way: float) -> bool:
    """Does piece i, a little in j already, get deeper than a contact on its way?"""
    step = PRESS
    while step < way:
        if interfere(bodies.shifted([int(bodies.body[i])], step * direction), i, j):
            return True
        step *= 1.25
    return False


def _on_cylinder(bodies: Bodies, i: int, j: int, direction: np.ndarray, way: float) -> float:
    """The way of a mesh and a cylinder, given that of its prism: less by what the facets lose.

    Where the prism touches, the cylinder is in the mesh by no more than the facets' error;
    the triangles near it there are asked when the cylinder itself reaches them.
    """
    kinds = bodies.kinds
    if way == 0.0 or Kind.CYLINDER not in (kinds[i], kinds[j]):
        return way
    rod, other, towards = (i, j, direction) if kinds[i] == Kind.CYLINDER else (j, i, -direction)
    tree = trees.tree_of(int(kinds[other]), bodies.halves[other], bodies.meshes[other])
    turn, at = bodies.rotations[other], bodies.centres[other]
    axis = turn.T @ bodies.rotations[rod][:, 2]
    half = bodies.halves[rod]
    reach = half[0] * np.sqrt(np.clip(1 - axis**2, 0, 1)) + np.abs(axis) * half[2] + CONTACT
    middle = turn.T @ (bodies.centres[rod] + way * towards - at)
    low, high = tree.triangle_bounds
    near = ((low <= middle + reach) & (high >= middle - reach)).all(axis=1)
    corners = tree.triangles[near] @ turn.T + at
    found, _ = kernels.travel_triangles(
        int(kinds[rod]),
        half,
        bodies.rotations[rod],
        bodies.centres[rod],
        corners,
        towards,
        way + ONWARD,
        CONTACT,
    )
    return min(way, found) if found >= 0 else way


def _open(bodies: Bodies, row: int) -> bool:
    mesh = bodies.meshes[row]
    return mesh is not None and not mesh.closed


def way_out(
    bodies: Bodies, movers: np.ndarray, stayers: np.ndarray, direction: np.ndarray, limit: float
) -> float | None:
    """Least move along a direction after which no mover interferes with a stayer.

    Exact for boxes and closed meshes; with cylinders too long by at most 0.01 mm, never too
    short. None when there is none within the limit, or a mesh in the way is open.
    """
    rows, _ = _swept(bodies, movers, stayers, direction, limit)
    together: list[tuple[volumes.Solid, volumes.Solid, np.ndarray]] = []
    error = 0.0
    for i, j in rows.tolist():
        first, second = (
            volumes.solid_of(int(bodies.kinds[k]), bodies.halves[k], bodies.meshes[k]) for k in (j, i)
        )
        if first is None or second is None:
            return None
        moved = volumes.moved(second, relative(bodies, j, i))
        together.append((first, moved, bodies.rotations[j].T @ direction))
        rounds = [k for k in (i, j) if bodies.kinds[k] == Kind.CYLINDER]
        error = max(error, sum(prisms.facet_error(float(bodies.halves[k, 0])) for k in rounds))
    found = volumes.way_out(together, limit)
    return found if not found else found + error
