"""Sweeps: what a piece covers on a straight move, as pieces themselves.

How near a moving solid comes to one that stays is then one question of distance, and nothing thin
is jumped over. Boxes along their own axes and cylinders along or across theirs stay boxes and
cylinders; of everything else the faces that look ahead are carried to the end, those that look back
stay, and the rim between them draws a band.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterable

import numpy as np

from fitcheck.parts.pieces import new_mesh
from fitcheck.parts.solids import Kind, Piece
from fitcheck.world import trees
from fitcheck.world.bodies import Bodies
from fitcheck.world.prisms import facet_error

# Sine and cosine below which a direction counts as across or along an axis.
SQUARE = 1e-12
# A face that leans towards the move by less (cosine) looks neither ahead nor back.
FLAT = 1e-9
# Meshes of which the corners are kept.
WELDED = 500


def pieces_of(bodies: Bodies, rows: Iterable[int]) -> list[Piece]:
    """Rows of bodies as pieces in world coordinates."""
    return [
        Piece(
            Kind(int(bodies.kinds[row])),
            bodies.halves[row],
            bodies.rotations[row],
            bodies.centres[row],
            bodies.meshes[row],
        )
        for row in rows
    ]


def swept(piece: Piece, move: np.ndarray) -> list[Piece]:
    """What a piece covers while it moves by (3,) mm, its start and end included.

    Exact for boxes and meshes, and for cylinders along or across their axis; a cylinder on a slanting
    move is its prism, which lies inside it by the `error` of the mesh.
    """
    way = float(np.linalg.norm(move))
    if way < SQUARE:
        return [piece]
    ahead = move / way
    along = piece.rotation.T @ ahead
    if piece.kind == Kind.BOX and np.sort(np.abs(along))[1] <= SQUARE:
        return [_longer(piece, int(np.abs(along).argmax()), move, way)]
    if piece.kind == Kind.CYLINDER and abs(along[2]) <= SQUARE:
        return [piece, *_across(piece, ahead, move, way)]
    if piece.kind == Kind.CYLINDER and 1 - abs(along[2]) <= SQUARE:
        return [_longer(piece, 2, move, way)]
    return [_drawn(piece, move)]


def _longer(piece: Piece, axis: int, move: np.ndarray, way: float) -> Piece:
    half = np.array(piece.half, float)
    half[axis] += way / 2
    return Piece(piece.kind, half, piece.rotation, piece.centre + move / 2)


def _across(piece: Piece, ahead: np.ndarray, move: np.ndarray, way: float) -> list[Piece]:
    """The block that a lying cylinder leaves behind, and the cylinder at its end."""
    axis = piece.rotation[:, 2]
    frame = np.column_stack([ahead, np.cross(axis, ahead), axis])
    half = np.array([way / 2, piece.half[0], piece.half[2]])
    block = Piece(Kind.BOX, half, frame, piece.centre + move / 2)
    return [block, Piece(Kind.CYLINDER, piece.half, piece.rotation, piece.centre + move)]


def _drawn(piece: Piece, move: np.ndarray) -> Piece:
    """The sweep of triangles: a closed surface that may pass through itself, never short of any side."""
    tree = trees.tree_of(int(piece.kind), piece.half, piece.mesh)
    shift = piece.rotation.T @ move
    corners, faces = _welded(tree)
    count = len(corners)
    if tree.closed:
        a, b, c = np.moveaxis(corners[faces], 1, 0)
        normals = np.cross(b - a, c - a)
        size = np.linalg.norm(normals, axis=1) * np.linalg.norm(shift)
        ahead = normals @ shift > FLAT * size
        surface = [faces[~ahead], faces[ahead] + count, _band(faces[ahead], count)]
    else:
        # No side is known to be inside: all of it at both ends, and what every edge draws.
        surface = [faces, faces + count, _band(faces, count, every=True)]
    error = 0.0 if piece.mesh is None else piece.mesh.error
    if piece.kind == Kind.CYLINDER:
        error = facet_error(float(piece.half[0]))
    drawn = np.concatenate(surface)
    used, index = np.unique(drawn, return_inverse=True)
    points = np.concatenate([corners, corners + shift])[used]
    low, high = points.min(axis=0), points.max(axis=0)
    middle = (low + high) / 2
    mesh = new_mesh(points - middle, index.reshape(-1, 3), tree.closed, error)
    return Piece(Kind.MESH, (high - low) / 2, piece.rotation, piece.rotation @ middle + piece.centre, mesh)


_corners: OrderedDict[str, tuple[np.ndarray, np.ndarray]] = OrderedDict()


def _welded(tree: trees.Tree) -> tuple[np.ndarray, np.ndarray]:
    """Corners (n, 3), each once, and faces (m, 3) of a tree; those of the last few are kept."""
    found = _corners.get(tree.key)
    if found is None:
        corners, index = np.unique(tree.vertices, axis=0, return_inverse=True)
        faces = index.reshape(-1)[tree.faces].astype(np.int64)
        a, b, c = faces.T
        found = _corners[tree.key] = corners, faces[(a != b) & (b != c) & (c != a)]
        if len(_corners) > WELDED:
            _corners.popitem(last=False)
    return found


def _band(faces: np.ndarray, count: int, every: bool = False) -> np.ndarray:
    """(k, 3) two triangles for each edge at the rim of some faces (or for every edge), start to end."""
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    # An edge that another face has the other way round is no rim.
    forward = edges[:, 0] * count + edges[:, 1]
    backward = edges[:, 1] * count + edges[:, 0]
    rim = edges if every else edges[~np.isin(forward, backward)]
    a, b = rim[:, 0], rim[:, 1]
    return np.concatenate([np.column_stack([a, b, b + count]), np.column_stack([a, b + count, a + count])])
