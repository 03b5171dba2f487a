"""Two pieces: how far apart, or how deep in each other?

Boxes and cylinders go to the kernels, meshes to the trees, and to the volumes when
their surfaces meet.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from fitcheck.parts.solids import Kind
from fitcheck.world import kernels, trees, volumes
from fitcheck.world.bodies import Bodies
from fitcheck.world.prisms import facet_error, nearest_in_cylinder
from fitcheck.world.trees import Pose, Tree

# Pieces that press into each other by no more than this only touch, mm: above what single
# precision loses at 700 mm (3e-5) and the facets of round holes (0.005), below any
# tolerance a builder holds.
CONTACT = 0.01
# Oriented boxes that overlap by less hold nothing that overlaps by more, mm: rounding.
FLUSH = 1e-3
# Surfaces nearer than this may be touching ones that a hit test called free, mm.
TOUCHING = 1e-6

MESH, CYLINDER = int(Kind.MESH), int(Kind.CYLINDER)

NOWHERE = np.full(3, np.nan)
NOWHERE.setflags(write=False)

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
class Couple:
    """Two pieces of which at least one is a mesh, in the canonical order and frame.

    `rows` are theirs in `bodies`; `swapped` when the order is not the one asked.
    """

    bodies: Bodies
    rows: tuple[int, int]
    first: Tree
    second: Tree
    pose: Pose
    swapped: bool

    def point(self, in_first: np.ndarray) -> np.ndarray:
        """A point of the first's frame in the world."""
        row = self.rows[0]
        return np.asarray(self.bodies.rotations[row] @ in_first + self.bodies.centres[row])

    def normal(self, to_second: np.ndarray) -> np.ndarray:
        """A direction from the first to the second as a world direction in the order asked."""
        turned = self.bodies.rotations[self.rows[0]] @ to_second
        return np.asarray(-turned if self.swapped else turned)

    @cached_property
    def solids(self) -> tuple[volumes.Solid | None, volumes.Solid | None]:
        """Both as closed solids, the second in the frame of the first; None for open ones."""
        own = self.bodies
        first, second = (volumes.solid_of(int(own.kinds[k]), own.halves[k], own.meshes[k]) for k in self.rows)
        return first, None if second is None else volumes.moved(second, self.pose)

    @cached_property
    def facet_error(self) -> float:
        """What the prisms that stand for cylinders lose, mm."""
        own = self.bodies
        return sum((facet_error(float(own.halves[k, 0])) for k in self.rows if own.kinds[k] == CYLINDER), 0.0)


def couple(bodies: Bodies, i: int, j: int) -> Couple:
    """Pieces i and j as FCL and the volumes are asked about them."""
    # Plain numbers: comparing numpy's with an enum takes longer than asking FCL.
    own, others = int(bodies.kinds[i]), int(bodies.kinds[j])
    a = trees.tree_of(own, bodies.halves[i], bodies.meshes[i])
    b = trees.tree_of(others, bodies.halves[j], bodies.meshes[j])
    swapped = (others != MESH, others, b.key) < (own != MESH, own, a.key)
    if swapped:
        i, j, a, b = j, i, b, a
    return Couple(bodies, (i, j), a, b, relative(bodies, i, j), swapped)


def relative(bodies: Bodies, i: int, j: int) -> Pose:
    """Piece j in the frame of piece i, rounded: equal relations give equal numbers anywhere."""
    back = bodies.rotations[i].T
    return Pose(
        np.round(back @ bodies.rotations[j], 12) + 0.0,
        np.round(back @ (bodies.centres[j] - bodies.centres[i]), 9) + 0.0,
    )


def measure_meshes(bodies: Bodies, i: int, j: int, box_depth: float, box_normal: np.ndarray) -> Measured:
    """A pair of pieces with a mesh.

    `box_depth` and `box_normal` are the answer of the boxes around them: an upper bound
    of the depth.
    """
    pair = couple(bodies, i, j)
    closest = _on_cylinder(pair, trees.nearest(pair.first, pair.second, pair.pose))
    if closest.distance > TOUCHING:
        inside = trees.inside(pair.first, pair.second, pair.pose)
        if not inside:
            return _free(pair, closest, decided=inside is False)
    elif box_depth <= FLUSH:
        # Flush with the box around it: the boxes' normal is the surfaces' own.
        point = pair.point(closest.on_first)
        return Measured(0.0, max(box_depth, 0.0) + 0.0, box_normal, point, point, FLUSH)
    return _touching(pair, closest)


def _free(pair: Couple, closest: trees.Nearest, decided: bool) -> Measured:
    a, b = pair.point(closest.on_first), pair.point(closest.on_second)
    if pair.swapped:
        a, b = b, a
    way = b - a
    return Measured(closest.distance, 0.0, way / np.linalg.norm(way), a, b, pair.facet_error, decided)


def _on_cylinder(pair: Couple, closest: trees.Nearest) -> trees.Nearest:
    """The nearest points with the true cylinder in the place of its prism.

    The distance from the mesh's own nearest point to the cylinder is at least the least
    one, and at most that to the prism: too large by no more than the facets' error.
    """
    row = pair.rows[1]
    if pair.bodies.kinds[row] != CYLINDER or closest.distance == 0.0:
        return closest
    turn, shift = pair.pose.rotation, pair.pose.shift
    in_cylinder = turn.T @ (closest.on_first - shift)
    on_cylinder = nearest_in_cylinder(pair.bodies.halves[row], in_cylinder)
    distance = float(np.linalg.norm(in_cylinder - on_cylinder))
    return trees.Nearest(distance, closest.on_first, turn @ on_cylinder + shift)


def _touching(pair: Couple, closest: trees.Nearest) -> Measured:
    """Surfaces meet, or one piece lies in the other: the volume they share decides."""
    first, second = pair.solids
    if first is None or second is None:
        return _touching_open(pair, closest)
    found = volumes.shortest_way_out(first, second)
    if found is None:
        point = pair.point(closest.on_first)
        return Measured(0.0, 0.0, NOWHERE, point, point, FLUSH + pair.facet_error)
    middle = pair.point(found.middle)
    return Measured(0.0, found.depth, pair.normal(found.direction), middle, middle, pair.facet_error)


def _touching_open(pair: Couple, closest: trees.Nearest) -> Measured:
    """Open meshes have no volume: a contact when a small push frees them, else of unknown depth."""
    point = pair.point(closest.on_first)
    for push in PUSHES:
        pose = replace(pair.pose, shift=pair.pose.shift + CONTACT * push)
        free = not trees.hit(pair.first, pair.second, pose)
        if free and trees.inside(pair.first, pair.second, pose) is False:
            return Measured(0.0, CONTACT, pair.normal(push), point, point, CONTACT)
    return Measured(0.0, np.nan, NOWHERE, point, point, 0.0)
