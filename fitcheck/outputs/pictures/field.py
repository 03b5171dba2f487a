"""How far is a surface from all that it must not touch? Distances for the colours, not for verdicts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from fitcheck.checks.names import choose
from fitcheck.outputs.pictures.bands import Bands
from fitcheck.outputs.pictures.surfaces import Skin
from fitcheck.outputs.pictures.tessellate import Held
from fitcheck.parts.solids import Kind, Piece
from fitcheck.world.frames import Frame
from fitcheck.world.world import Contact, Part, World


@dataclass(frozen=True, eq=False)
class Field:
    """Distance to the other parts, for points of known owners.

    `targets` are the skins' solids placed; `owners[j]` are the skins whose distance to skin j counts;
    `demand` (n, n) is what the rules ask of each pair of skins, mm.
    """

    skins: Sequence[Skin]
    parts: Sequence[Part]
    owners: Sequence[np.ndarray]
    demand: np.ndarray
    bands: Bands

    @property
    def parts_of(self) -> np.ndarray:
        """(n,) the part of each skin."""
        return np.array([s.part for s in self.skins])

    def __call__(self, points: np.ndarray, owner: np.ndarray) -> np.ndarray:
        """(n,) least distance, negative inside, of points (n, 3) of skins owner (n,); inf where none is near."""
        values = np.full(len(points), np.inf)
        order = np.argsort(owner, kind="stable")
        starts = np.searchsorted(owner[order], np.arange(len(self.skins) + 1))
        for j, owners in enumerate(self.owners):
            rows = [order[starts[i] : starts[i + 1]] for i in owners if starts[i + 1] > starts[i]]
            if not rows:
                continue
            at = np.concatenate(rows)
            target = self.skins[j]
            found = self._to_solid(target, points[at])
            asked = self.demand[owner[at], j]
            values[at] = np.minimum(values[at], self.bands.scaled(found, asked))
        return values

    def _to_solid(self, target: Skin, points: np.ndarray) -> np.ndarray:
        pose = self.parts[target.part].pose
        each = [
            distance_to_piece(piece, pose @ Frame(piece.rotation, piece.centre), points, self.bands.far)
            for piece in target.solid.pieces
        ]
        return np.min(each, axis=0)


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
    from vtkmodules.util.numpy_support import numpy_to_vtk, vtk_to_numpy
    from vtkmodules.vtkCommonCore import vtkDoubleArray

    assert piece.mesh is not None
    found = vtkDoubleArray()
    _implicit(Held(piece.mesh)).FunctionValue(numpy_to_vtk(np.ascontiguousarray(local)), found)
    values = np.array(vtk_to_numpy(found))
    return values if piece.mesh.closed else np.abs(values)


@lru_cache(maxsize=256)
def _implicit(held: Held) -> Any:
    from vtkmodules.vtkFiltersCore import vtkImplicitPolyDataDistance

    from fitcheck.outputs.pictures.draw import polydata

    distance = vtkImplicitPolyDataDistance()
    distance.SetInput(polydata(np.asarray(held.mesh.vertices, float), np.asarray(held.mesh.faces)))
    return distance


def field_of(world: World, skins: Sequence[Skin], bands: Bands) -> Field:
    """The field of a world: who is near whom, and is not meant to touch."""
    bounds = np.array([s.bounds for s in skins])
    gap = np.maximum(bounds[:, None, 0] - bounds[None, :, 1], bounds[None, :, 0] - bounds[:, None, 1])
    near = np.linalg.norm(np.maximum(gap, 0), axis=2) < bands.reach
    part = np.array([s.part for s in skins])
    counts = near & (part[:, None] != part[None, :]) & ~meant_to_touch(world, skins)
    return Field(
        skins,
        world.parts,
        [np.flatnonzero(column) for column in counts.T],
        demands(world, skins, bands),
        bands,
    )


def meant_to_touch(world: World, skins: Sequence[Skin]) -> np.ndarray:
    """(n, n) bool: pairs of skins that a contact of the scene exempts."""
    exempt = np.zeros((len(skins), len(skins)), bool)
    for contact in world.contacts:
        a, b = _concerned(world, skins, contact)
        exempt[np.ix_(a, b)] = True
        exempt[np.ix_(b, a)] = True
    return exempt


def _concerned(world: World, skins: Sequence[Skin], contact: Contact) -> tuple[np.ndarray, np.ndarray]:
    solids_a = {*contact.solids_a, contact.reach} if contact.solids_a else set()
    of_a = [_of(world, s, contact.a, solids_a) for s in skins]
    of_b = [_of(world, s, contact.b, set(contact.solids_b)) for s in skins]
    return np.flatnonzero(of_a), np.flatnonzero(of_b)


def _of(world: World, skin: Skin, part: str, solids: set[str]) -> bool:
    return world.parts[skin.part].name == part and (not solids or skin.solid.name in solids)


def demands(world: World, skins: Sequence[Skin], bands: Bands) -> np.ndarray:
    """(n, n) clearance demanded of each pair of skins, mm: the default, or its own rule's."""
    asked = np.full((len(skins), len(skins)), bands.demand)
    for pair in bands.pairs:
        sides = []
        for pattern in (pair.between, pair.other):
            named = choose(world, pattern)
            sides.append(np.flatnonzero([named.holds(world.parts[s.part].name, s.solid.name) for s in skins]))
        asked[np.ix_(sides[0], sides[1])] = pair.at_least
        asked[np.ix_(sides[1], sides[0])] = pair.at_least
    return asked
