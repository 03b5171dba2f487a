"""One question for any two solids: how far apart, or how deep in each other?

Pieces of different kinds go to different judges: boxes and cylinders to the kernels,
meshes to the trees and, when their surfaces meet, to the volumes. A check sees none of
this: it asks about bodies, the solids of the world.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitcheck.parts.solids import Kind
from fitcheck.world import kernels, trees, volumes
from fitcheck.world.bodies import Bodies, Body, bodies, bounds_gap, near
from fitcheck.world.trees import Pose, Tree

__all__ = ["CONTACT", "Bodies", "Body", "Measured", "bodies", "measure", "near"]

# Pieces that press into each other by no more than this only touch, mm: above what single
# precision loses at 700 mm (3e-5) and the facets of round holes (0.005), below any
# tolerance a builder holds.
CONTACT = 0.01
# Oriented boxes that overlap by less hold nothing that overlaps by more, mm: rounding.
FLUSH = 1e-3
# Surfaces nearer than this may be touching ones that a hit test called free, mm.
TOUCHING = 1e-6


@dataclass(frozen=True, eq=False)
class Measured:
    """How two bodies lie to each other.

    Args:
        distance: least distance, mm; 0 when they touch or interfere. With `error` inf it
            is only a lower bound: the pair is farther apart than was asked about.
        depth: shortest move found that frees them, mm; 0 when free; nan when they
            interfere but an open mesh leaves the depth unknown.
        normal: (3,) unit, from the first to the second; nan beyond reach.
        on_a, on_b: (3,) nearest points; of interfering bodies the middle of the overlap.
        error: how far distance or depth may be off, mm.
        decided: false when an open mesh leaves open whether one lies inside the other.
    """

    distance: float
    depth: float
    normal: np.ndarray
    on_a: np.ndarray
    on_b: np.ndarray
    error: float
    decided: bool = True

    @property
    def interferes(self) -> bool:
        """Deeper in each other than a contact."""
        return not self.depth <= CONTACT


def measure(
    bodies: Bodies, pairs: np.ndarray | Sequence[tuple[int, int]], within: float | np.ndarray = np.inf
) -> list[Measured]:
    """Least distance, or depth, of pairs of bodies.

    Args:
        pairs: (k, 2) body indices.
        within: mm, for all or (k,); farther pairs come back with a lower bound.

    Returns:
        One for each pair, in order.
    """
    asked = np.asarray(pairs, int).reshape(-1, 2)
    reach = np.broadcast_to(np.asarray(within, float), len(asked))
    rows, owner = _piece_pairs(bodies, asked)
    gaps = bounds_gap(bodies.bounds[rows[:, 0]], bodies.bounds[rows[:, 1]])
    least = np.full(len(asked), np.inf)
    np.minimum.at(least, owner, gaps)
    # The one nearest by bounds is always asked, so that a far pair has its lower bound.
    keep = gaps <= reach[owner]
    found: list[list[Measured]] = [[] for _ in asked]
    for index, measured in zip(
        owner[keep].tolist(), measure_pieces(bodies, rows[keep], reach[owner[keep]]), strict=True
    ):
        found[index].append(measured)
    return [
        _with_error(_least(several, least[k]), bodies.all[i].error + bodies.all[j].error)
        for k, ((i, j), several) in enumerate(zip(asked.tolist(), found, strict=True))
    ]


def _piece_pairs(bodies: Bodies, asked: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """All (q, 2) pairs of pieces of the asked pairs of bodies, and (q,) whose they are."""
    rows, owner = [], []
    for index, (i, j) in enumerate(asked.tolist()):
        a, b = bodies.all[i].pieces, bodies.all[j].pieces
        for first in range(a.start, a.stop):
            for second in range(b.start, b.stop):
                rows.append((first, second))
                owner.append(index)
    return np.array(rows, int).reshape(-1, 2), np.array(owner, int)


def _least(several: list[Measured], beyond: float) -> Measured:
    """The worst of all pairs of pieces: the deepest, else an undecided one, else the nearest."""
    if not several:
        nowhere = np.full(3, np.nan)
        return Measured(beyond, 0.0, nowhere, nowhere, nowhere, np.inf)
    worst = min(several, key=lambda m: (-m.depth if m.depth == m.depth else -np.inf, m.distance))
    if worst.interferes or all(m.decided for m in several):
        return worst
    return Measured(
        worst.distance, worst.depth, worst.normal, worst.on_a, worst.on_b, worst.error, decided=False
    )


def _with_error(measured: Measured, error: float) -> Measured:
    if error == 0.0:
        return measured
    return Measured(
        measured.distance, measured.depth, measured.normal, measured.on_a, measured.on_b,
        measured.error + error, measured.decided,
    )  # fmt: skip


def measure_pieces(bodies: Bodies, rows: np.ndarray, within: np.ndarray) -> list[Measured]:
    """Distance or depth of pairs of pieces, (k, 2) rows; `within` (k,) mm."""
    if len(rows) == 0:
        return []
    meshed = (bodies.kinds[rows] == Kind.MESH).any(axis=1)
    # A mesh stands in as the box around it: a lower bound of its distance, an upper one
    # of its depth.
    kinds = np.where(bodies.kinds == Kind.MESH, int(Kind.BOX), bodies.kinds)
    reach = float(within.max())
    bound = kernels.measure_pairs(kinds, bodies.halves, bodies.rotations, bodies.centres, rows, reach)
    found = []
    for k, (i, j) in enumerate(rows.tolist()):
        simple = Measured(
            float(bound.distance[k]), float(bound.depth[k]), bound.normal[k], bound.on_a[k], bound.on_b[k],
            float(bound.error[k]),
        )  # fmt: skip
        if not meshed[k]:
            found.append(simple)
        elif simple.distance > within[k]:
            found.append(Measured(simple.distance, 0.0, *[np.full(3, np.nan)] * 3, np.inf))
        else:
            found.append(_measure_meshes(bodies, i, j, simple))
    return found


@dataclass(frozen=True, eq=False)
class _Couple:
    """Two pieces in the canonical order and frame; `swapped` when the second asked is first."""

    rows: tuple[int, int]
    first: Tree
    second: Tree
    pose: Pose
    swapped: bool


def _couple(bodies: Bodies, i: int, j: int) -> _Couple:
    a = trees.tree_of(bodies.kinds[i], bodies.halves[i], bodies.meshes[i])
    b = trees.tree_of(bodies.kinds[j], bodies.halves[j], bodies.meshes[j])
    # Meshes, then boxes, then cylinders: FCL wants triangles first.
    order = [(bodies.kinds[k] != Kind.MESH, bodies.kinds[k], t.key) for k, t in ((i, a), (j, b))]
    swapped = order[1] < order[0]
    if swapped:
        i, j, a, b = j, i, b, a
    back = bodies.rotations[i].T
    # Rounded to a billionth: equal relations give equal numbers anywhere in the world.
    pose = Pose(
        np.round(back @ bodies.rotations[j], 12) + 0.0,
        np.round(back @ (bodies.centres[j] - bodies.centres[i]), 9) + 0.0,
    )
    return _Couple((i, j), a, b, pose, swapped)


def _measure_meshes(bodies: Bodies, i: int, j: int, around: Measured) -> Measured:
    """A pair with a mesh; `around` is the answer of the boxes around them."""
    pair = _couple(bodies, i, j)
    closest = trees.nearest(pair.first, pair.second, pair.pose)
    if closest.distance > TOUCHING:
        within = trees.inside(pair.first, pair.second, pair.pose)
        if not within:
            return _free(bodies, pair, closest, decided=within is False)
    elif around.depth <= FLUSH:
        # Flush with the box around it: the boxes' normal is the surfaces' own.
        point = _world_point(bodies, pair, closest.on_first)
        return Measured(0.0, max(around.depth, 0.0), around.normal, point, point, FLUSH)
    return _touching(bodies, pair, closest)


def _world_point(bodies: Bodies, pair: _Couple, point: np.ndarray) -> np.ndarray:
    first = pair.rows[0]
    return np.asarray(bodies.rotations[first] @ point + bodies.centres[first])


def _free(bodies: Bodies, pair: _Couple, closest: trees.Nearest, decided: bool) -> Measured:
    on_first = _world_point(bodies, pair, closest.on_first)
    on_second = _world_point(bodies, pair, closest.on_second)
    a, b = (on_second, on_first) if pair.swapped else (on_first, on_second)
    return Measured(closest.distance, 0.0, (b - a) / np.linalg.norm(b - a), a, b, 0.0, decided)


def _touching(bodies: Bodies, pair: _Couple, closest: trees.Nearest) -> Measured:
    """Surfaces meet, or one piece lies in the other: the volume they share decides."""
    first, second = (volumes.solid_of(bodies.kinds[k], bodies.halves[k], bodies.meshes[k]) for k in pair.rows)
    if first is None or second is None:
        return _touching_open(bodies, pair, closest)
    found = volumes.shortest_way_out(first, volumes.moved(second, pair.pose))
    error = sum(
        volumes.facet_error(bodies.halves[k, 0]) for k in pair.rows if bodies.kinds[k] == Kind.CYLINDER
    )
    sign = -1.0 if pair.swapped else 1.0
    if found is None:
        point = _world_point(bodies, pair, closest.on_first)
        return Measured(0.0, 0.0, np.full(3, np.nan), point, point, FLUSH + error)
    middle = _world_point(bodies, pair, found.middle)
    normal = sign * (bodies.rotations[pair.rows[0]] @ found.direction)
    return Measured(0.0, found.depth, normal, middle, middle, error)


def _touching_open(bodies: Bodies, pair: _Couple, closest: trees.Nearest) -> Measured:
    """Open meshes have no volume: a contact when a small push frees them, else of unknown depth."""
    point = _world_point(bodies, pair, closest.on_first)
    nowhere = np.full(3, np.nan)
    for push in PUSHES:
        pose = Pose(pair.pose.rotation, pair.pose.shift + CONTACT * push)
        if (
            not trees.hit(pair.first, pair.second, pose)
            and trees.inside(pair.first, pair.second, pose) is False
        ):
            way = (-1.0 if pair.swapped else 1.0) * (bodies.rotations[pair.rows[0]] @ push)
            return Measured(0.0, CONTACT, way, point, point, CONTACT)
    return Measured(0.0, np.nan, nowhere, point, point, 0.0)


# Directions towards the faces, edges and corners of a cube, unit.
PUSHES = np.array(
    [[x, y, z] for x in (-1, 0, 1) for y in (-1, 0, 1) for z in (-1, 0, 1) if (x, y, z) != (0, 0, 0)]
)
PUSHES = PUSHES / np.linalg.norm(PUSHES, axis=1, keepdims=True)
