"""How far is a surface from all that it must not touch? Distances for the colours, not for verdicts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitcheck.checks.names import choose
from fitcheck.outputs.pictures.bands import Bands
from fitcheck.outputs.pictures.surfaces import Skin
from fitcheck.outputs.pictures.to_piece import distance_to_piece
from fitcheck.world.bodies import bodies
from fitcheck.world.contacts import allowed
from fitcheck.world.frames import Frame
from fitcheck.world.world import Part, World


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
        """(n,) least distance, negative inside, of points (n, 3) of skins owner (n,); inf: none is near."""
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
        return np.asarray(np.min(each, axis=0))


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
    """(n, n) bool: pairs of skins that a contact of the scene permits to touch."""
    exempt = np.zeros((len(skins), len(skins)), bool)
    by_part: dict[str, list[int]] = {}
    for index, body in enumerate(bodies(world).all):
        by_part.setdefault(body.part_name, []).append(index)
    for names in {tuple(sorted((c.a, c.b))) for c in world.contacts}:
        for i in by_part.get(names[0], ()):
            for j in by_part.get(names[1], ()):
                exempt[i, j] = exempt[j, i] = (
                    allowed(world, bodies(world).all[i], bodies(world).all[j]) is not None
                )
    return exempt


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
