"""What pieces and rooms come to over a part of the ranges: boxes that nothing leaves, rooms as they shrink.

All as seen from one row, which stays where it is drawn: a place in a room moves with the room. A square box
reaches on each side as far as that side ever gets. Anything else is covered at its largest, about its
middle, and each box of the cover is widened by how far the middle moves to each side. A mesh that changes its
shape is covered as the solid that holds all its shapes (`held.py`), what an angle turns as it is drawn,
widened by as far as any point of it ever strays.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from fitcheck.parts.solids import Kind, Piece
from fitcheck.tolerances.between import farthest
from fitcheck.tolerances.extremes import SQUARE
from fitcheck.tolerances.held import Held
from fitcheck.tolerances.movement import Movement
from fitcheck.tolerances.turned import strays
from fitcheck.world.covers import cover
from fitcheck.world.frames import IDENTITY

NO_BOXES = np.zeros((0, 2, 3))


@dataclass(eq=False)
class Swept:
    """Covers of rows over parts of the ranges, as seen from the row `seen_from`."""

    move: Movement
    seen_from: int
    held: Held
    known: dict[tuple[int, bytes], np.ndarray] = field(default_factory=dict)

    def walls(self, low: np.ndarray, high: np.ndarray) -> np.ndarray:
        """(2, 3) the box of the row it is seen from, as small as it gets at offsets low to high (k,), mm."""
        _, inner = self._sides(np.array([self.seen_from]), low, high)
        return np.asarray(inner[0])

    def turns(self) -> bool:
        """Whether the row it is seen from turns: then nothing is known of what is in it."""
        return bool(self.move.turns(np.array([self.seen_from])).any())

    def covers(self, rows: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray | None:
        """(n, 2, 3) boxes that rows never leave; None where one changes its shape and is not followed."""
        square = self._square(rows)
        outer, _ = self._sides(rows[square], low, high)
        found = [NO_BOXES, outer]
        for row in rows[~square].tolist():
            boxes = self._cover(row, low, high)
            if boxes is None:
                return None
            found.append(boxes)
        return np.concatenate(found)

    def reach(self, rows: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray:
        """(n, 2, 3) bounds that rows never leave; endless for meshes that change their shape."""
        outer, _ = self._sides(rows, low, high)
        turning = self.move.turns(rows)
        outer[turning] = self._strayed(self.move.pieces.all.bounds[rows[turning]], rows[turning], low, high)
        outer[self.move.deforms[rows]] = np.array([-np.inf, np.inf])[:, None]
        return outer

    def rates(self, rows: np.ndarray) -> np.ndarray:
        """(k,) how far any side of rows moves at most, mm a mm."""
        move = self.move
        if not len(rows):
            return np.zeros(len(move.measurements))
        moved = np.abs(move.centres[:, rows] - move.centres[:, [self.seen_from]])
        found = (moved + np.abs(move.halves[:, rows])).max(axis=(1, 2))
        # What changes a mesh's shape moves its edges, if not its bounds; what turns anything, its corners.
        angles = np.array([one.angle for one in move.measurements], bool) & move.turns(rows).any()
        edges = move.changed_by[:, rows].any(axis=1) | angles
        return np.asarray(np.where(edges, np.maximum(found, 1.0), found))

    def _square(self, rows: np.ndarray) -> np.ndarray:
        pieces = self.move.pieces.all
        turned = np.abs(np.abs(pieces.rotations[rows]).max(axis=2) - 1).max(axis=1)
        return np.asarray((pieces.kinds[rows] == Kind.BOX) & (turned < SQUARE) & ~self.move.turns(rows))

    def _strayed(self, boxes: np.ndarray, rows: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray:
        """Boxes (n, 2, 3) of rows (n,) as drawn, widened by how far the rows stray, and the room goes, mm."""
        key = "strays", self.move.low.tobytes(), self.move.high.tobytes()
        if key not in self.move.kept:
            self.move.kept[key] = strays(self.move)
        own, half = self.move.centres[:, self.seen_from], (high - low) / 2
        far = self.move.kept[key][rows][:, None] + half @ np.abs(own)
        return np.asarray(boxes - (low + high) / 2 @ own + np.stack([-far, far], axis=1))

    def _sides(self, rows: np.ndarray, low: np.ndarray, high: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(n, 2, 3) bounds of rows that they never leave, and that they always fill."""
        outer, inner = np.empty((len(rows), 2, 3)), np.empty((len(rows), 2, 3))
        if not len(rows):
            return outer, inner
        own = self.move.centres[:, self.seen_from]
        for axis in range(3):
            for end, sign in ((0, -1.0), (1, 1.0)):
                normal = np.zeros(3)
                normal[axis] = sign
                out, slope = farthest(self.move, rows, np.tile(normal, (len(rows), 1)))
                slope = slope - own @ normal
                both = slope * low, slope * high
                outer[:, end, axis] = sign * (out + np.maximum(*both).sum(axis=1))
                inner[:, end, axis] = sign * (out + np.minimum(*both).sum(axis=1))
        return outer, inner

    def _cover(self, row: int, low: np.ndarray, high: np.ndarray) -> np.ndarray | None:
        move, middle, half = self.move, (low + high) / 2, (high - low) / 2
        pieces = move.pieces.all
        if move.turns(np.array([row])).any():
            if move.deforms[row]:
                return None
            kind = Kind(int(pieces.kinds[row]))
            drawn = Piece(
                kind, pieces.halves[row], pieces.rotations[row], pieces.centres[row], pieces.meshes[row]
            )
            boxes = cover(drawn, IDENTITY)
            return self._strayed(boxes, np.full(len(boxes), row), low, high)
        own = move.centres[:, row] - move.centres[:, self.seen_from]
        centre = pieces.centres[row] + middle @ own
        if move.changed_by[(low != 0) | (high != 0), row].any():
            piece = self.held.piece(row, low, high, inside=False)
            if piece is None:
                return None
            # It stands where the scene would be placed; here the room stays.
            boxes = cover(piece, IDENTITY) - middle @ move.centres[:, self.seen_from]
        else:
            grown = pieces.halves[row].copy()
            if pieces.kinds[row] != Kind.MESH:
                grown += middle @ move.halves[:, row] + half @ np.abs(move.halves[:, row])
            key = row, grown.tobytes()
            if key not in self.known:
                kind = Kind(int(pieces.kinds[row]))
                piece = Piece(kind, grown, pieces.rotations[row], np.zeros(3), pieces.meshes[row])
                self.known[key] = cover(piece, IDENTITY)
            boxes = self.known[key] + centre
        far = half @ np.abs(own)
        return np.asarray(boxes + np.array([-far, far]))
