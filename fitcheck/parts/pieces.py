"""Boxes, cylinders and triangles as pieces in the frame of their part."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from fitcheck.parts.solids import Kind, Mesh, Piece
from fitcheck.scene.mistakes import ValueMistake

# Below this a length is nothing, mm: the outlines' arithmetic works on a grid of 1e-8.
NOTHING = 1e-6


def box_piece(low: np.ndarray, high: np.ndarray) -> Piece:
    """A box along the part's axes between two corners, mm.

    Raises:
        ValueMistake: `low` is not below `high` along some axis.
    """
    for name, lower, upper in zip("xyz", low, high, strict=True):
        if upper - lower < NOTHING:
            problem = f"low is {lower:g} and high is {upper:g} along {name}: the box has no size there"
            raise ValueMistake(problem, "swap them" if upper < lower else "")
    return Piece(Kind.BOX, frozen((high - low) / 2), frozen(np.eye(3)), frozen((low + high) / 2))


def cylinder_piece(start: np.ndarray, end: np.ndarray, diameter: float) -> Piece:
    """A cylinder between the middles of its two ends, mm.

    Raises:
        ValueMistake: the ends are the same point, or no diameter.
    """
    length = float(np.linalg.norm(end - start))
    if length < NOTHING:
        raise ValueMistake("from and to are the same point", "")
    if diameter < NOTHING:
        raise ValueMistake(f"diameter {diameter:g} is not above 0", "")
    rotation = frozen(square_frame((end - start) / length))
    half = np.array([diameter / 2, diameter / 2, length / 2])
    return Piece(Kind.CYLINDER, frozen(half), rotation, frozen((start + end) / 2))


def mesh_piece(vertices: np.ndarray, faces: np.ndarray, error: float) -> Piece:
    """Closed triangles in the part's frame as a piece, the mesh about the middle of its bounds."""
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    centre = (low + high) / 2
    mesh = new_mesh(vertices - centre, faces, closed=True, error=error)
    return Piece(Kind.MESH, frozen((high - low) / 2), frozen(np.eye(3)), frozen(centre), mesh)


def new_mesh(
    vertices: np.ndarray, faces: np.ndarray, closed: bool, error: float, repairs: tuple[str, ...] = ()
) -> Mesh:
    """A mesh with read-only arrays, keyed by their content."""
    points = frozen(np.ascontiguousarray(vertices, dtype=np.float64))
    corners = frozen(np.ascontiguousarray(faces, dtype=np.int32))
    key = hashlib.blake2b(points.tobytes() + corners.tobytes(), digest_size=16).hexdigest()
    return Mesh(points, corners, closed, error, key, repairs)


def moved(piece: Piece, rotation: np.ndarray, origin: np.ndarray) -> Piece:
    """The piece turned by `rotation` (3, 3) about the frame's origin, then shifted by `origin`."""
    return replace(
        piece,
        rotation=frozen(rotation @ piece.rotation),
        centre=frozen(rotation @ piece.centre + origin),
    )


def bounds(pieces: Iterable[Piece]) -> np.ndarray:
    """(2, 3) exact bounds of pieces in the frame of their part, mm."""
    lows, highs = [], []
    for piece in pieces:
        if piece.mesh is not None:
            corners = piece.mesh.vertices @ piece.rotation.T
            lows.append(corners.min(axis=0) + piece.centre)
            highs.append(corners.max(axis=0) + piece.centre)
            continue
        if piece.kind == Kind.BOX:
            reach = np.abs(piece.rotation) @ piece.half
        else:
            # A disc of radius r with axis a reaches r sqrt(1 - a_k^2) along axis k.
            axis = piece.rotation[:, 2]
            reach = piece.half[0] * np.sqrt(np.clip(1 - axis**2, 0, 1)) + np.abs(axis) * piece.half[2]
        lows.append(piece.centre - reach)
        highs.append(piece.centre + reach)
    return np.array([np.min(lows, axis=0), np.max(highs, axis=0)])


def square_frame(axis: np.ndarray) -> np.ndarray:
    """A rotation (3, 3) whose z is the unit vector `axis`; square to the frame where that is."""
    across = np.zeros(3)
    across[(int(np.argmax(np.abs(axis))) + 1) % 3] = 1.0
    across = across - axis * (axis @ across)
    across /= np.linalg.norm(across)
    return np.stack([across, np.cross(axis, across), axis], axis=1)


def frozen(array: np.ndarray) -> np.ndarray:
    """The same array, read-only from now on."""
    array.flags.writeable = False
    return array
