"""Spaces: a compartment with what stands in it, as boxes that are surely empty or surely filled."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from fitcheck.checks.largest_boxes import THIN
from fitcheck.checks.verdicts import point
from fitcheck.parts.solids import Kind, Piece
from fitcheck.world.bodies import Bodies
from fitcheck.world.covers import core, cover
from fitcheck.world.engine import sweep_probe
from fitcheck.world.frames import SIDES, Frame
from fitcheck.world.world import Room, World

# A face is not grown by less, mm.
WORTH = 1e-6


@dataclass(frozen=True, eq=False)
class Covers:
    """Boxes about and inside each piece of a world, worked out when first asked for."""

    world: World
    solids: Bodies
    known: dict[tuple[object, ...], np.ndarray] = field(default_factory=dict)

    @cached_property
    def pieces(self) -> tuple[tuple[Piece, Frame], ...]:
        """The rows of `solids`, as pieces and where their parts stand."""
        return tuple(
            (piece, part.pose)
            for part in self.world.parts
            for solid in part.shape.solids.values()
            for piece in solid.pieces
        )

    @cached_property
    def reserved(self) -> np.ndarray:
        """(n, 2, 3) covers of all keep-clear volumes."""
        volumes = [
            cover(kept.piece, part.pose)
            for part in self.world.parts
            for kept in part.shape.keep_clear.values()
        ]
        return np.concatenate([np.zeros((0, 2, 3)), *volumes])

    def within(self, bounds: np.ndarray, inside: bool) -> np.ndarray:
        """(n, 2, 3) covers, or cores, of all pieces that reach into some bounds."""
        low, high = bounds
        boxes = self.solids.bounds
        reach = (boxes[:, 0] < high - THIN).all(axis=1) & (boxes[:, 1] > low + THIN).all(axis=1)
        found = [self._of(row, inside) for row in np.flatnonzero(reach).tolist()]
        return np.concatenate([np.zeros((0, 2, 3)), *found])

    def _of(self, row: int, inside: bool) -> np.ndarray:
        """Of one piece; equal pieces that stand alike differ by a shift only."""
        piece, pose = self.pieces[row]
        rotation, centre = self.solids.rotations[row], self.solids.centres[row]
        content = piece.half.tobytes() if piece.mesh is None else piece.mesh.key
        name = (inside, int(piece.kind), content, (np.round(rotation, 12) + 0.0).tobytes())
        if name not in self.known:
            boxes = core(piece, pose) if inside else cover(piece, pose)
            self.known[name] = boxes - centre
        return np.asarray(self.known[name] + centre)


@dataclass(frozen=True, eq=False)
class Space:
    """A compartment, what stands in it, and both sides of the doubt about round things."""

    room: Room
    solids: Bodies
    boxes: Covers

    @cached_property
    def covers(self) -> np.ndarray:
        """(n, 2, 3): nothing stands outside these."""
        return self.boxes.within(self.room.bounds, inside=False)

    @cached_property
    def cores(self) -> np.ndarray:
        """(n, 2, 3): all of these is filled."""
        return self.boxes.within(self.room.bounds, inside=True)

    def grown(self, box: np.ndarray, sides: tuple[str, ...] = tuple(SIDES)) -> np.ndarray:
        """The box with each face moved out until it touches a solid or the wall."""
        for side in sides:
            axis = int(np.abs(SIDES[side]).argmax())
            end = 1 if SIDES[side][axis] > 0 else 0
            left = abs(float(self.room.bounds[end, axis] - box[end, axis]))
            if left > WORTH:
                free = sweep_probe(self.solids, _piece(box), side, left).distance
                box = box.copy()
                box[end, axis] += SIDES[side][axis] * min(free, left)
        return box


def _piece(box: np.ndarray) -> Piece:
    return Piece(Kind.BOX, (box[1] - box[0]) / 2, np.eye(3), box.mean(axis=0))


def described(box: np.ndarray) -> dict[str, Any]:
    """Size, corners (mm) and volume (mm3) of a box (2, 3), as plain data."""
    size = box[1] - box[0]
    return {
        "size": point(size),
        "low": point(box[0]),
        "high": point(box[1]),
        "volume": round(float(np.prod(size)), 3),
    }
