"""The mirror image of a part along one axis of its own frame."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fitcheck.parts.features import (
    Compartment,
    Face,
    Hole,
    KeepClear,
    Opening,
    Port,
    Shape,
    Wet,
)
from fitcheck.parts.pieces import frozen
from fitcheck.parts.solids import Extrusion, Mesh, Piece, Solid

# A mirrored compartment's walls change places along the mirrored axis.
SWAPPED = (
    {"left_wall": "right_wall", "right_wall": "left_wall"},
    {"front_wall": "rear_wall", "rear_wall": "front_wall"},
    {"floor": "ceiling", "ceiling": "floor"},
)


def mirrored(shape: Shape, axis: int | str) -> Shape:
    """The shape with one coordinate negated: every solid and feature keeps its name.

    Args:
        shape: in the part's frame.
        axis: 0, 1, 2 or `x`, `y`, `z`.

    Returns:
        Boxes stay boxes and cylinders cylinders, with proper rotations; meshes keep their faces
        outward. Directions (`normal`, `along`, `axis`, `up`) are mirrored as vectors.
    """
    k = "xyz".index(axis) if isinstance(axis, str) else axis
    sign = np.ones(3)
    sign[k] = -1.0
    return Shape(
        solids={name: _solid(solid, sign) for name, solid in shape.solids.items()},
        faces={name: _face(face, sign) for name, face in shape.faces.items()},
        ports={name: _port(port, sign) for name, port in shape.ports.items()},
        holes={name: _hole(hole, sign) for name, hole in shape.holes.items()},
        openings={name: _opening(opening, sign) for name, opening in shape.openings.items()},
        keep_clear={name: _keep_clear(space, sign) for name, space in shape.keep_clear.items()},
        compartments={name: _compartment(room, sign, k) for name, room in shape.compartments.items()},
        wet={name: _wet(space, sign) for name, space in shape.wet.items()},
        electric=shape.electric,
        bent=shape.bent,
        turned=shape.turned,
    )


def _solid(solid: Solid, sign: np.ndarray) -> Solid:
    blank = None if solid.blank is None else _piece(solid.blank, sign)
    own = solid.extruded
    extruded = None if own is None else Extrusion(_v(own.corners * sign), _v(own.along * sign), own.flat)
    pieces = tuple(_piece(piece, sign) for piece in solid.pieces)
    return replace(solid, pieces=pieces, blank=blank, extruded=extruded)


def _piece(piece: Piece, sign: np.ndarray) -> Piece:
    # M R x = (M R F) (F x) for a flip F of one of the piece's own axes: M R F is proper, and a box
    # or cylinder is its own image under F. Along the axis nearest the mirrored one, square stays square.
    flip = np.ones(3)
    flip[0 if piece.mesh is not None else int(np.argmax(np.abs(piece.rotation.T @ (1 - sign))))] = -1.0
    rotation = sign[:, None] * piece.rotation * flip
    mesh = None if piece.mesh is None else _mesh(piece.mesh, flip)
    return replace(piece, rotation=_v(rotation), centre=_v(piece.centre * sign), mesh=mesh)


def _mesh(mesh: Mesh, flip: np.ndarray) -> Mesh:
    # Flipped twice is the mesh itself: the key says so, and the engine object is shared again.
    key = mesh.key.removesuffix("-mirrored") if mesh.key.endswith("-mirrored") else f"{mesh.key}-mirrored"
    faces = np.ascontiguousarray(mesh.faces[:, ::-1])
    return replace(mesh, vertices=_v(mesh.vertices * flip), faces=frozen(faces), key=key)


def _face(face: Face, sign: np.ndarray) -> Face:
    return replace(
        face,
        centre=_v(face.centre * sign),
        normal=_v(face.normal * sign),
        along=_v(face.along * sign),
    )


def _port(port: Port, sign: np.ndarray) -> Port:
    return replace(port, at=_v(port.at * sign), axis=_v(port.axis * sign), up=_v(port.up * sign))


def _hole(hole: Hole, sign: np.ndarray) -> Hole:
    return replace(hole, at=_v(hole.at * sign), axis=_v(hole.axis * sign))


def _opening(opening: Opening, sign: np.ndarray) -> Opening:
    return replace(opening, at=_v(opening.at * sign), axis=_v(opening.axis * sign), up=_v(opening.up * sign))


def _keep_clear(space: KeepClear, sign: np.ndarray) -> KeepClear:
    return replace(space, piece=_piece(space.piece, sign))


def _compartment(room: Compartment, sign: np.ndarray, k: int) -> Compartment:
    ends = np.sort([room.low * sign, room.high * sign], axis=0)
    walls = {SWAPPED[k].get(wall, wall): solid for wall, solid in room.walls.items()}
    return replace(room, low=_v(ends[0].copy()), high=_v(ends[1].copy()), walls=walls)


def _wet(space: Wet, sign: np.ndarray) -> Wet:
    pump = space.pump
    return replace(
        space,
        piece=None if space.piece is None else _piece(space.piece, sign),
        line=None if space.line is None else _v(space.line * sign),
        meets=tuple((other, _v(corners * sign)) for other, corners in space.meets),
        pump=None if pump is None else replace(pump, way=_v(pump.way * sign)),
    )


def _v(vector: np.ndarray) -> np.ndarray:
    # Plus zero: a negated zero would print as -0.
    return frozen(vector + 0.0)
