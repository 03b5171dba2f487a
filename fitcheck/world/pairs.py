"""Two pieces: how far apart, or how deep in each other?

Boxes and cylinders go to the kernels, meshes to the trees, and to the volumes when
their surfaces meet.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass, replace

import numpy as np

from fitcheck.parts.solids import Kind
from fitcheck.world import kernels, trees, volumes
from fitcheck.world.bodies import Bodies
from fitcheck.world.couples import CYLINDER, MESH, Couple, Couples
from fitcheck.world.forest import planted
from fitcheck.world.kernels.descent import Asked, make_scratch, nearest_pairs
from fitcheck.world.nested import inside

# Pieces that press into each other by no more than this only touch, mm: above what single
# precision loses at 700 mm (3e-5) and the facets of round holes (0.005), below any
# tolerance a builder holds.
CONTACT = 0.01
# Oriented boxes that overlap by less hold nothing that overlaps by more, mm: rounding.
FLUSH = 1e-3
# Surfaces nearer than this may be touching ones but for rounding, mm.
TOUCHING = 1e-6
# So much beyond what is asked a distance is still found exactly, mm: poses are rounded to it.
EDGE = 1e-9

# Ways out that are kept, the oldest are dropped.
WAYS_KEPT = 10_000
_ways_out: OrderedDict[tuple[str, str, bytes], volumes.Depth | None] = OrderedDict()

NOWHERE = np.full(3, np.nan)
NOWHERE.setflags(write=False)

# A cylinder that a mesh reaches no deeper into than this is touched by it, mm: facets of round holes, which
# lie up to 0.005 inside their circle.
SKIN = volumes.SLIVER

# Directions towards the faces, edges and corners of a cube, unit.
PUSHES = np.array(
    [[x, y, z] for x in (-1, 0, 1) for y in (-1, 0, 1) for z in (-1, 0, 1) if (x, y, z) != (0, 0, 0)]
) / np.sqrt(
    [[abs(x) + abs(y) + abs(z)] for x in (-1, 0, 1) for y in (-1, 0, 1) for z in (-1, 0, 1) if x or y or z]
)


@dataclass(frozen=True, eq=False)
class Measured:
    """How two bodies lie to each other.

    Args:
        distance: least distance, mm; 0 when they touch or interfere. With `error` inf it
            is only a lower bound: the pair is farther apart than was asked about.
        depth: shortest move found that frees them, mm; 0 when free; nan when they
            interfere but an open mesh leaves the depth unknown.
        normal: (3,) unit, from the first to the second: where the second must go to be
            free; nan beyond reach and where touching pieces give none.
        on_a, on_b: (3,) nearest points; of interfering bodies a place in the overlap.
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

    @property
    def beyond(self) -> bool:
        """Farther apart than was asked about: `distance` is a lower bound."""
        return self.error == np.inf


def at_least(distance: float) -> Measured:
    """A pair beyond reach."""
    return Measured(distance, 0.0, NOWHERE, NOWHERE, NOWHERE, np.inf)


def bounding(bodies: Bodies, rows: np.ndarray, within: float) -> kernels.Measures:
    """Exact answers for pairs (k, 2) of boxes and cylinders; for meshes those of the boxes around them.

    Of a mesh the distance is a lower and the depth an upper bound.
    """
    kinds = np.where(bodies.kinds == MESH, int(Kind.BOX), bodies.kinds)
    return kernels.measure_pairs(kinds, bodies.halves, bodies.rotations, bodies.centres, rows, within)


@dataclass(frozen=True, eq=False)
class Answers:
    """`Measured`, one row each: distance, depth, error, decided (k,), normal, on_a and on_b (k, 3)."""

    distance: np.ndarray
    depth: np.ndarray
    normal: np.ndarray
    on_a: np.ndarray
    on_b: np.ndarray
    error: np.ndarray
    decided: np.ndarray

    def __getitem__(self, k: int) -> Measured:
        numbers = float(self.distance[k]), float(self.depth[k])
        vectors = self.normal[k], self.on_a[k], self.on_b[k]
        return Measured(*numbers, *vectors, float(self.error[k]), bool(self.decided[k]))

    def put(self, k: int, one: Measured) -> None:
        """Write a row."""
        self.distance[k], self.depth[k], self.error[k] = one.distance, one.depth, one.error
        self.normal[k], self.on_a[k], self.on_b[k] = one.normal, one.on_a, one.on_b
        self.decided[k] = one.decided


def measure_rows(bodies: Bodies, rows: np.ndarray, owner: np.ndarray, reach: np.ndarray) -> Answers:
    """Distance, or depth, of pairs of pieces; only the least of each owner's need be exact.

    Args:
        rows: (k, 2) of pieces.
        owner: (k,) which pairs are asked for the least of together.
        reach: (m,) of each owner, mm; what is farther apart than it comes back with a lower bound.
    """
    around = bounding(bodies, rows, float(reach.max(initial=0.0)))
    decided = np.ones(len(rows), bool)
    found = Answers(
        around.distance, around.depth, around.normal, around.on_a, around.on_b, around.error, decided
    )
    meshed = (bodies.kinds[rows] == MESH).any(axis=1)
    if meshed.any():
        best = reach + EDGE
        np.minimum.at(best, owner[~meshed], around.distance[~meshed])
        asked = np.flatnonzero(meshed)
        asked = asked[np.argsort(around.distance[asked], kind="stable")]
        _measure_meshes(Couples.of(bodies, rows[asked]), asked, owner[asked], best, found)
    return found


def _measure_meshes(
    couples: Couples, asked: np.ndarray, owner: np.ndarray, best: np.ndarray, found: Answers
) -> None:
    """Answer pairs with a mesh, in `found` at the rows `asked`, where the boxes around them are answered.

    Of these the distance is a lower, the depth an upper bound: what lies in a piece lies in
    the box around it.
    """
    box_depth, box_normal = found.depth[asked], found.normal[asked]
    distances, points = nearest(couples, found.distance[asked], owner, best)
    free = distances > TOUCHING
    beyond = np.isnan(points[:, 0, 0])
    in_world = couples.points(points)
    in_world = np.where(couples.swapped[:, None, None], in_world[:, ::-1], in_world)
    way = in_world[:, 1] - in_world[:, 0]
    size = np.sqrt((way * way).sum(axis=1))
    found.distance[asked] = np.where(free, distances, 0.0)
    found.depth[asked] = 0.0
    found.normal[asked] = way / np.where(size > 0, size, 1.0)[:, None]
    found.on_a[asked], found.on_b[asked] = in_world[:, 0], in_world[:, 1]
    found.error[asked] = np.where(beyond, np.inf, 0.0)
    for k in np.flatnonzero(free & (box_depth > 0)).tolist():
        pair = couples.one(k)
        answer = inside(pair.first, pair.second, pair.pose)
        if answer:
            found.put(asked[k], _touching(pair, points[k, 0], float(box_depth[k]), box_normal[k]))
        elif answer is None:
            found.decided[asked[k]] = False
    skin = _only_skin(couples, np.flatnonzero(~free & (box_depth > FLUSH)))
    for k in np.flatnonzero(~free).tolist():
        point = in_world[k, 0]
        if k in skin:
            found.put(asked[k], Measured(0.0, 0.0, NOWHERE, point, point, SKIN))
        elif box_depth[k] <= FLUSH:
            # Flush with the box around it: the boxes' normal is the surfaces' own.
            depth = max(float(box_depth[k]), 0.0) + 0.0
            found.put(asked[k], Measured(0.0, depth, box_normal[k], point, point, FLUSH))
        else:
            found.put(asked[k], _touching(couples.one(k), points[k, 0], float(box_depth[k]), box_normal[k]))


def apart_by(bodies: Bodies, rows: np.ndarray) -> np.ndarray:
    """(k,) distance of pairs (k, 2) of which one is a mesh, mm, without the depth, which takes far longer.

    Returns:
        -inf where they touch or interfere, 0 where they are only flush; nan where an open mesh hides it.
    """
    around = bounding(bodies, rows, np.inf)
    couples = Couples.of(bodies, rows)
    reach = np.full(len(rows), np.inf)
    bounds = np.ascontiguousarray(around.distance)
    distances, _ = nearest(couples, bounds, np.arange(len(rows)), reach)
    deep = around.depth > FLUSH
    found = np.where(distances > TOUCHING, distances, np.where(deep, -np.inf, 0.0))
    for k in np.flatnonzero((distances > TOUCHING) & (around.depth > 0)).tolist():
        pair = couples.one(k)
        answer = inside(pair.first, pair.second, pair.pose)
        found[k] = np.nan if answer is None else -np.inf if answer else found[k]
    return found


def nearest(
    couples: Couples,
    bounds: np.ndarray,
    owner: np.ndarray,
    reach: np.ndarray,
    chosen: np.ndarray | None = None,
    halves: np.ndarray | None = None,
) -> tuple[np.ndarray, np.ndarray]:
    """Distances (k,) and nearest points (k, 2, 3) in the frames of the firsts.

    Args:
        bounds: (k,) lower bounds, those to be asked first coming first, mm.
        owner: (k,) which pairs are asked for the least of together.
        reach: (m,) of each owner, mm: narrowed to the least found. What is farther comes back with
            a lower bound and nan.
        chosen: (k,) which of the couples; all if not given.
        halves: of all couples' seconds, where they are asked with other half sizes, mm.
    """
    meshes = [k for k, tree in enumerate(couples.trees) if tree.kind == MESH]
    forest, planted_at = planted([couples.trees[k] for k in meshes])
    roots = np.full(len(couples.trees), -1)
    roots[meshes] = planted_at
    those = np.arange(len(couples.rows)) if chosen is None else chosen
    second = couples.rows[those, 1]
    own = couples.bodies
    asked = Asked(
        roots[couples.which[those]],
        own.kinds[second],
        own.halves[second] if halves is None else halves[those],
        couples.rotations[those],
        couples.shifts[those],
        bounds,
        owner,
    )
    distances, points = np.empty(len(second)), np.empty((len(second), 2, 3))
    nearest_pairs(forest, asked, reach, TOUCHING, make_scratch(), distances, points)
    return distances, points


def _only_skin(couples: Couples, chosen: np.ndarray) -> set[int]:
    """Which of these pairs only touch: their second, a cylinder, is free of the mesh when a skin smaller.

    Proved in microseconds, where their volumes take milliseconds: a clamp round a tube.
    """
    halves = couples.bodies.halves[couples.rows[:, 1]] - SKIN
    kinds = couples.bodies.kinds[couples.rows[:, 1]]
    chosen = chosen[(kinds[chosen] == CYLINDER) & (halves[chosen] > 0).all(axis=1)]
    if not len(chosen):
        return set()
    reach = np.full(len(chosen), 2 * SKIN)
    distances, _ = nearest(couples, np.zeros(len(chosen)), np.arange(len(chosen)), reach, chosen, halves)
    found = set()
    for k, distance in zip(chosen.tolist(), distances.tolist(), strict=True):
        if distance > TOUCHING:
            pair = couples.one(k)
            smaller = trees.tree_of(int(kinds[k]), halves[k], None)
            if inside(pair.first, smaller, pair.pose) is False:
                found.add(k)
    return found


def _touching(pair: Couple, touch: np.ndarray, box_depth: float, box_normal: np.ndarray) -> Measured:
    """Surfaces meet, at a point of the first's frame, or one lies in the other: what they share decides."""
    first, second = pair.solids
    if first is None or second is None:
        return _touching_open(pair, touch)
    found = _way_out(pair, first, second, box_depth, box_normal)
    if found is None:
        point = pair.point(touch)
        return Measured(0.0, 0.0, NOWHERE, point, point, FLUSH + pair.facet_error)
    middle = pair.point(found.middle)
    return Measured(0.0, found.depth, pair.normal(found.direction), middle, middle, pair.facet_error)


def _way_out(
    pair: Couple, first: volumes.Solid, second: volumes.Solid, box_depth: float, box_normal: np.ndarray
) -> volumes.Depth | None:
    """The shortest way out, asked once for each relation: several checks ask the same pairs."""
    relation = (pair.first.key, pair.second.key, pair.pose.rotation.tobytes() + pair.pose.shift.tobytes())
    if relation not in _ways_out:
        # Rounded as poses are: where they stand in the world must not show in the last digits.
        known = round(box_depth, 9), np.round(pair.own(box_normal), 12) + 0.0
        _ways_out[relation] = volumes.shortest_way_out(first, second, known)
        if len(_ways_out) > WAYS_KEPT:
            _ways_out.popitem(last=False)
    return _ways_out[relation]


def _touching_open(pair: Couple, touch: np.ndarray) -> Measured:
    """Open meshes have no volume: a contact when a small push frees them, else of unknown depth."""
    point = pair.point(touch)
    for push in PUSHES:
        pose = replace(pair.pose, shift=pair.pose.shift + CONTACT * push)
        free = not trees.hit(pair.first, pair.second, pose)
        if free and inside(pair.first, pair.second, pose) is False:
            return Measured(0.0, CONTACT, pair.normal(push), point, point, CONTACT)
    return Measured(0.0, np.nan, NOWHERE, point, point, 0.0)
