"""Swinging on a hinge: how far a door, a panel or a window opens before it runs into anything.

Bodies are cut into slices at distances from the axis that double, for what lies beside the hinge
hardly moves, and stays near its frame all the way.
"""

from __future__ import annotations

from collections.abc import Iterator

import manifold3d
import numpy as np

from fitcheck.motions.following import Motion, follow
from fitcheck.motions.moving import Moving
from fitcheck.motions.straight import Stop, Way
from fitcheck.motions.sweeps import pieces_of
from fitcheck.parts.pieces import new_mesh
from fitcheck.parts.solids import Kind, Piece
from fitcheck.world import volumes
from fitcheck.world.frames import Frame, turn_about
from fitcheck.world.trees import Pose

# The slice beside the axis, mm; each further one reaches twice as far out.
INNERMOST = 2.0


def swing(moved: Moving, at: np.ndarray, axis: np.ndarray, degrees: float, keep: float = 0.0) -> Way:
    """Turn a part about an axis, continuously.

    Guides, and what it rests on, may touch all the way, proved to 0.01 mm; from everything else it
    keeps `keep`. What is joined to it, or pressed against it, is let go: it is not known which way a
    joint gives.

    Args:
        at: (3,) a point of the axis, mm.
        axis: (3,) unit; the turn is counter-clockwise seen from its tip.
        degrees: how far; below 0 the other way round.
        keep: mm.

    Returns:
        Ways in degrees. The least distance on the way is not told: what is proved is that none is below
        `keep`.
    """
    turn = axis * np.sign(degrees)
    pieces: list[Piece] = []
    owners: list[int] = []
    for k in moved.movers:
        for piece in pieces_of(moved.solids, moved.solids.rows([k])):
            sliced = list(_sliced(piece, at, axis))
            pieces += sliced
            owners += [k] * len(sliced)
    # The path of a point is its distance from the axis times the turn.
    speeds = np.array([_reach(piece, at, axis) for piece in pieces]) * abs(np.radians(degrees))

    def pose(time: float) -> Frame:
        rotation = turn_about(turn, time * abs(degrees))
        return Frame(rotation, at - rotation @ at)

    met = follow(moved, Motion(pieces, owners, speeds, pose), keep)
    if met is None:
        return Way(abs(degrees), None)
    reason = "near" if met.least > 0 else "touches" if met.time > 0 else "overlaps"
    return Way(met.time * abs(degrees), Stop(met.time * abs(degrees), met.pair, reason, met.least))


def _reach(piece: Piece, at: np.ndarray, axis: np.ndarray) -> float:
    """The farthest that any point of a piece lies from an axis, mm; of a cylinder a bound."""
    if piece.mesh is not None:
        points, more = piece.mesh.vertices, 0.0
    elif piece.kind == Kind.BOX:
        points, more = box_corners() * piece.half, 0.0
    else:
        points, more = np.array([[0, 0, -1.0], [0, 0, 1.0]]) * piece.half[2], float(piece.half[0])
    off = points @ piece.rotation.T + piece.centre - at
    return float(np.linalg.norm(off - np.outer(off @ axis, axis), axis=1).max()) + more


def box_corners() -> np.ndarray:
    """(8, 3) signs of the corners of a box."""
    return np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], float)


def _sliced(piece: Piece, at: np.ndarray, axis: np.ndarray) -> Iterator[Piece]:
    """A piece cut at planes along the axis, at distances from it that double.

    The planes are square to the way from the axis to the middle of the piece. A piece near or about the
    axis on both sides, a cylinder, and an open mesh stay whole.
    """
    off = piece.centre - at
    away = off - (off @ axis) * axis
    size = float(np.linalg.norm(away))
    reach = _reach(piece, at, axis)
    solid = None if piece.kind == Kind.CYLINDER else volumes.solid_of(int(piece.kind), piece.half, piece.mesh)
    if solid is None or size < INNERMOST or reach < 2 * INNERMOST:
        yield piece
        return
    away /= size
    placed = volumes.moved(solid, Pose(piece.rotation, off))
    error = 0.0 if piece.mesh is None else piece.mesh.error
    cut = INNERMOST
    while cut < reach:
        # The first of the two halves lies on the far side of the plane.
        placed, near = placed.split_by_plane(tuple(away), cut)
        yield from _as_piece(near, at, error)
        cut *= 2
    yield from _as_piece(placed, at, error)


def _as_piece(solid: manifold3d.Manifold, at: np.ndarray, error: float) -> Iterator[Piece]:
    if solid.is_empty() or volumes.is_film(solid):
        return
    corners, faces = volumes.corners_and_faces(solid)
    low, high = corners.min(axis=0), corners.max(axis=0)
    middle = (low + high) / 2
    mesh = new_mesh(corners - middle, faces, True, error)
    yield Piece(Kind.MESH, (high - low) / 2, np.eye(3), middle + at, mesh)
