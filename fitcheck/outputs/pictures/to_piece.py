"""Distance of many points to one piece, fast enough for every point of a picture."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np

from fitcheck.outputs.pictures.draw import polydata, to_numpy, to_vtk
from fitcheck.outputs.pictures.tessellate import Held
from fitcheck.parts.solids import Kind, Piece
from fitcheck.world.frames import Frame


def distance_to_piece(piece: Piece, world_from_piece: Frame, points: np.ndarray, far: float) -> np.ndarray:
    """(n,) distance of world points (n, 3) to a placed piece, negative inside; exact to its facets.

    Points farther than `far` from a mesh's box get the distance to that box, a lower bound.
    """
    local = (points - world_from_piece.origin) @ world_from_piece.rotation
    if piece.kind == Kind.CYLINDER:
        radial = np.hypot(local[:, 0], local[:, 1]) - piece.half[0]
        return _outside(np.stack([radial, np.abs(local[:, 2]) - piece.half[2]], axis=1))
    to_box = _outside(np.abs(local) - piece.half)
    if piece.mesh is None:
        return to_box
    near = to_box < far
    if near.any():
        to_box[near] = _to_mesh(piece, local[near])
    return to_box


def _outside(beyond: np.ndarray) -> np.ndarray:
    # Distance to a box whose faces lie at zero: the outer part's length, else the nearest face inside.
    outer = np.linalg.norm(np.maximum(beyond, 0), axis=1)
    return np.asarray(outer + np.minimum(beyond.max(axis=1), 0))


def _to_mesh(piece: Piece, local: np.ndarray) -> np.ndarray:
    from vtkmodules.vtkCommonCore import vtkDoubleArray

    assert piece.mesh is not None
    found = vtkDoubleArray()
    _implicit(Held(piece.mesh)).FunctionValue(to_vtk(local), found)
    values = to_numpy(found)
    return values if piece.mesh.closed else np.abs(values)


@lru_cache(maxsize=256)
def _implicit(held: Held) -> Any:
    from vtkmodules.vtkFiltersCore import vtkImplicitPolyDataDistance

    distance = vtkImplicitPolyDataDistance()
    distance.SetInput(polydata(np.asarray(held.mesh.vertices, float), np.asarray(held.mesh.faces)))
    return distance
