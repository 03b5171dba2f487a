"""Pairs of pieces of which one is a mesh, in one order and frame wherever they stand."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from fitcheck.parts.solids import Kind
from fitcheck.world import trees, volumes
from fitcheck.world.bodies import Bodies
from fitcheck.world.prisms import facet_error
from fitcheck.world.trees import Pose, Tree

MESH, CYLINDER = int(Kind.MESH), int(Kind.CYLINDER)


@dataclass(frozen=True, eq=False)
class Couples:
    """Pairs (k, 2) of pieces of which at least one is a mesh, in the canonical order and frame.

    Meshes come first, then what comes first by its content; the first is at the identity, the
    second at its pose relative to it, rounded far below any tolerance. So the same relation
    gives the same bytes wherever it stands in the world.

    Args:
        rows: (k, 2) theirs in `bodies`; `swapped`, (k,), where that is not the order asked.
        trees: of each piece that occurs, and `which`, (k, 2), theirs.
        rotations, shifts: (k, 3, 3) and (k, 3) the second in the frame of the first.
    """

    bodies: Bodies
    rows: np.ndarray
    swapped: np.ndarray
    trees: list[Tree]
    which: np.ndarray
    rotations: np.ndarray
    shifts: np.ndarray

    @staticmethod
    def of(bodies: Bodies, rows: np.ndarray) -> Couples:
        """These pairs."""
        pieces, which = np.unique(rows, return_inverse=True)
        which = which.reshape(-1, 2)
        known = [
            trees.tree_of(kind, bodies.halves[row], bodies.meshes[row])
            for row, kind in zip(pieces.tolist(), bodies.kinds[pieces].tolist(), strict=True)
        ]
        names = [(tree.kind != MESH, tree.kind, tree.key) for tree in known]
        places = {name: place for place, name in enumerate(sorted(set(names)))}
        order = np.array([places[name] for name in names])[which]
        swapped = order[:, 1] < order[:, 0]
        rows = np.where(swapped[:, None], rows[:, ::-1], rows)
        which = np.where(swapped[:, None], which[:, ::-1], which)
        return Couples(bodies, rows, swapped, known, which, *_relative(bodies, rows))

    @staticmethod
    def of_one(bodies: Bodies, rows: np.ndarray) -> Couples:
        """The same, where every row is the same two pieces in other places."""
        first = Couples.of(bodies, rows[:1])
        if first.swapped[0]:
            rows = rows[:, ::-1]
        which = np.broadcast_to(first.which, rows.shape)
        swapped = np.broadcast_to(first.swapped, len(rows))
        return Couples(bodies, rows, swapped, first.trees, which, *_relative(bodies, rows))

    def points(self, in_first: np.ndarray) -> np.ndarray:
        """Points (k, n, 3) of the frames of the firsts in the world."""
        first = self.rows[:, 0]
        turned = np.einsum("kij,knj->kni", self.bodies.rotations[first], in_first)
        return np.asarray(turned + self.bodies.centres[first][:, None])

    def one(self, k: int) -> Couple:
        """One of them."""
        rows, which = self.rows[k].tolist(), self.which[k].tolist()
        pose = Pose(self.rotations[k], self.shifts[k])
        return Couple(
            self.bodies,
            (rows[0], rows[1]),
            self.trees[which[0]],
            self.trees[which[1]],
            pose,
            bool(self.swapped[k]),
        )


def _relative(bodies: Bodies, rows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Second pieces in the frames of the first: rotations and shifts, rounded.

    Equal relations give equal numbers anywhere.
    """
    first, second = rows[:, 0], rows[:, 1]
    back = np.swapaxes(bodies.rotations[first], 1, 2)
    shifts = np.einsum("kij,kj->ki", back, bodies.centres[second] - bodies.centres[first])
    turns = np.round(back @ bodies.rotations[second], 12) + 0.0
    # Square again, which rounding is not quite: a step of Newton's towards the nearest rotation.
    turns = turns @ (1.5 * np.eye(3) - 0.5 * np.swapaxes(turns, 1, 2) @ turns)
    return turns, np.round(shifts, 9) + 0.0


def relative(bodies: Bodies, i: int, j: int) -> Pose:
    """Piece j in the frame of piece i, rounded: equal relations give equal numbers anywhere."""
    rotations, shifts = _relative(bodies, np.array([[i, j]]))
    return Pose(rotations[0], shifts[0])


@dataclass(frozen=True, eq=False)
class Couple:
    """One of `Couples`."""

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

    def own(self, normal: np.ndarray) -> np.ndarray:
        """A world direction in the order asked as one from the first to the second in the first's frame."""
        turned = self.bodies.rotations[self.rows[0]].T @ normal
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
