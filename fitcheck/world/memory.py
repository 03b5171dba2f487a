"""What is known of two pieces in some places, and what it proves of them in others.

No distance changes by more than the pieces move against each other; pieces whose surfaces do not meet on the
way stay apart, or one in the other; and as deep as one lies in the other, less what they move.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitcheck.parts.solids import Kind
from fitcheck.world.forest import planted
from fitcheck.world.kernels.crossings import UNSURE, turns_about
from fitcheck.world.kernels.descent import Asked, make_scratch, nearest_pairs
from fitcheck.world.kernels.tree import DEPTH
from fitcheck.world.trees import Pose, Tree

# So many places of each pair are remembered.
REMEMBERED = 48
# So many vertices are looked at, those deepest in the box around the other piece.
LOOKED_AT = 48
CORNERS = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], float)


@dataclass(eq=False)
class Memory:
    """What is known of one pair of pieces, one row a place: the second in the frame of the first.

    There they are at least `least` and at most `most` apart, mm, and neither lies in the other; or one has to
    be moved by `deep` at least before they are free.
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
        if (turns[:1] == turns).all() and (turns[:1] == self.turns[:n]).all():
            ways = shifts[:, None] - self.shifts[None, :n]
            return np.asarray(np.sqrt((ways * ways).sum(axis=-1)))
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


def surely_deep(first: Tree, second: Tree, pose: Pose) -> float:
    """How far, mm, two pieces must be moved at least until they are free, by their vertices; 0 if not known.

    A vertex of one that lies in the other, with a ball of this radius about it, does not come out by less.
    """
    if not (first.closed and second.closed):
        return 0.0
    found = (
        [_held(first, second.vertices @ pose.rotation.T + pose.shift)] if second.kind != Kind.CYLINDER else []
    )
    return max([0.0, *found, _held(second, (first.vertices - pose.shift) @ pose.rotation)])


def _held(piece: Tree, points: np.ndarray) -> float:
    """The largest ball about any of points (n, 3) that a piece holds, both in its frame: its radius, mm."""
    low, high = piece.bounds
    from_box = np.minimum(points - low, high - points).min(axis=1)
    chosen = np.argsort(-from_box)[:LOOKED_AT]
    points = points[chosen[from_box[chosen] > 0]]
    if not len(points):
        return 0.0
    if piece.kind == Kind.BOX:
        return float((piece.half - np.abs(points)).min(axis=1).max())
    if piece.kind == Kind.CYLINDER:
        across = piece.half[0] - np.hypot(points[:, 0], points[:, 1])
        return float(np.minimum(across, piece.half[2] - np.abs(points[:, 2])).max())
    forest, roots = planted([piece])
    turns = np.empty(len(points), np.int64)
    turns_about(forest, np.repeat(roots, len(points)), points, np.empty(DEPTH + 2, np.int64), turns)
    points = points[(turns != UNSURE) & (turns != 0)]
    if not len(points):
        return 0.0
    count = len(points)
    squares = np.broadcast_to(np.eye(3), (count, 3, 3)).copy()
    trees = np.column_stack([np.repeat(roots, count), np.full(count, -1)])
    owners = np.arange(count)
    asked = Asked(
        trees, np.zeros(count, np.int64), np.zeros((count, 3)), squares, points, np.zeros(count), owners
    )
    distances, places = np.empty(count), np.empty((count, 2, 3))
    nearest_pairs(forest, asked, np.full(count, np.inf), 0.0, make_scratch(), distances, places)
    return float(distances.max())
