"""What is known of two pieces in some places, and what it proves of them in others.

No distance changes by more than the pieces move against each other; pieces whose surfaces do not meet on the
way stay apart, or one in the other; a ball that both hold keeps them in each other for as long as it is not
moved out of itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitcheck.parts.solids import Kind
from fitcheck.world import trees
from fitcheck.world.bodies import Bodies
from fitcheck.world.forest import planted
from fitcheck.world.kernels.descent import Asked, make_scratch, nearest_pairs
from fitcheck.world.nested import point_inside

# So many places of each pair are remembered.
REMEMBERED = 24
CORNERS = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], float)


@dataclass(eq=False)
class Memory:
    """What is known of one pair of pieces, one row a place: the second in the frame of the first.

    There they are at least `least` and at most `most` apart, mm, and neither lies in the other; or both hold
    a ball of radius `deep`.
    """

    corners: np.ndarray
    turns: np.ndarray
    shifts: np.ndarray
    least: np.ndarray
    most: np.ndarray
    deep: np.ndarray
    count: int = 0

    @staticmethod
    def of(half: np.ndarray) -> Memory:
        """Nothing known yet of a pair whose second has these half sizes."""
        places = np.empty((REMEMBERED, 3, 3)), np.empty((REMEMBERED, 3))
        return Memory(half * CORNERS, *places, *np.empty((3, REMEMBERED)))

    def moved(self, turns: np.ndarray, shifts: np.ndarray) -> np.ndarray:
        """(q, r) how far any point of the second moves at most from each place known, mm.

        A rigid move is affine: the corner of the box around that moves most bounds them all.
        """
        n = self.count
        turned = turns[:, None] - self.turns[None, :n]
        ways = np.einsum("qrij,cj->qrci", turned, self.corners)
        ways += (shifts[:, None] - self.shifts[None, :n])[:, :, None]
        return np.asarray(np.sqrt((ways * ways).sum(axis=-1)).max(axis=-1))

    def add(self, turn: np.ndarray, shift: np.ndarray, least: float, most: float, deep: float = 0.0) -> None:
        """Remember a place, as long as there is room."""
        if self.count < REMEMBERED:
            k = self.count
            self.turns[k], self.shifts[k] = turn, shift
            self.least[k], self.most[k], self.deep[k] = least, most, deep
            self.count += 1


def depth_of(bodies: Bodies, row: int, point: np.ndarray) -> float:
    """Radius of a ball about a point of the world that a piece holds, mm; 0 or less if none is known."""
    at = (point - bodies.centres[row]) @ bodies.rotations[row]
    half, mesh = bodies.halves[row], bodies.meshes[row]
    if mesh is None and bodies.kinds[row] == Kind.CYLINDER:
        return float(min(half[0] - np.hypot(at[0], at[1]), half[2] - abs(at[2])))
    if mesh is None:
        return float((half - np.abs(at)).min())
    tree = trees.tree_of(int(Kind.MESH), half, mesh)
    if not point_inside(tree, at[None]):
        return 0.0
    forest, roots = planted([tree])
    piece = np.array([[roots[0], -1]]), np.zeros(1, np.int64), np.zeros((1, 3)), np.eye(3)[None], at[None]
    distance, points = np.empty(1), np.empty((1, 2, 3))
    asked = Asked(*piece, np.zeros(1), np.zeros(1, np.int64))
    nearest_pairs(forest, asked, np.array([np.inf]), 0.0, make_scratch(), distance, points)
    return float(distance[0])
