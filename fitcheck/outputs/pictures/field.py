"""How far is a surface from all that it must not touch? Distances for the colours, not for verdicts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from fitcheck.checks.clashes import clashes
from fitcheck.checks.names import choose
from fitcheck.outputs.pictures.bands import Bands
from fitcheck.outputs.pictures.surfaces import Skin
from fitcheck.outputs.pictures.to_piece import distance_to_piece
from fitcheck.world.bodies import bodies, bounds_gap
from fitcheck.world.contacts import allowed
from fitcheck.world.frames import Frame
from fitcheck.world.world import Part, World


@dataclass(frozen=True, eq=False)
class Field:
    """Distance to the other parts, for points of known owners.

    `skins` are the solids, in the order of `bodies`; `owners[j]` are those whose distance to solid j counts.
    """

    skins: Sequence[Skin]
    parts: Sequence[Part]
    owners: Sequence[np.ndarray]
    about: Concerns
    bands: Bands

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
            asked = self.about.asked[owner[at], j]
            values[at] = np.minimum(values[at], self.bands.scaled(found, asked))
        return values

    def within_own(self, points: np.ndarray, owner: np.ndarray) -> np.ndarray:
        """(n,) how deep points (n, 3) lie in a piece of their own solid, mm; 0 on its skin."""
        deep = np.zeros(len(points))
        for i in np.unique(owner):
            if len(self.skins[i].solid.pieces) > 1:
                at = owner == i
                deep[at] = np.maximum(-self._to_solid(self.skins[i], points[at]), 0)
        return deep

    def _to_solid(self, target: Skin, points: np.ndarray) -> np.ndarray:
        pose = self.parts[target.part].pose
        each = [
            distance_to_piece(piece, pose @ Frame(piece.rotation, piece.centre), points, self.bands.reach)
            for piece in target.solid.pieces
        ]
        return np.asarray(np.min(each, axis=0))


@dataclass(frozen=True, eq=False)
class Concerns:
    """Which pairs of skins the colours are about, as the checks see it.

    Args:
        counts: (n, n) bool, distances between them are shown: neither permitted to touch, nor of one
            assembly (its model's business), nor ignored by the rule; or they clash.
        clash: (n, n) bool, they are deeper in each other than the scene permits.
        asked: (n, n) clearance demanded, mm.
    """

    counts: np.ndarray
    clash: np.ndarray
    asked: np.ndarray


def concerns(world: World, bands: Bands, near: np.ndarray) -> Concerns:
    """What `interference` and `clearance` ask of each pair of solids that is `near` (n, n) bool.

    Of the others it is not asked whether they may touch: there are a hundred times as many.
    """
    all_bodies = bodies(world).all
    size = (len(all_bodies), len(all_bodies))
    clash, touching, ignored = np.zeros(size, bool), np.zeros(size, bool), np.zeros(size, bool)
    for found in clashes(world):
        if found.decided:
            _mark(clash, [found.pair[0]], [found.pair[1]], True)
    of_part: dict[str, list[int]] = {}
    for index, body in enumerate(all_bodies):
        of_part.setdefault(body.part_name, []).append(index)
    for a, b in {(contact.a, contact.b) for contact in world.contacts}:
        for i, j in product(of_part.get(a, ()), of_part.get(b, ())):
            if near[i, j]:
                touching[i, j] = touching[j, i] = allowed(world, all_bodies[i], all_bodies[j]) is not None
    for said in bands.ignored:
        _mark(ignored, _named(world, said[0]), _named(world, said[1]), True)
    group = np.unique([body.group for body in all_bodies], return_inverse=True)[1]
    inside = group[:, None] == group[None, :]
    asked = np.full(size, bands.demand)
    for pair in bands.pairs:
        ours, theirs = _named(world, pair.between), _named(world, pair.other)
        _mark(asked, ours, theirs, pair.at_least)
        _mark(inside, ours, theirs, False)
        _mark(ignored, ours, theirs, False)
    part = bodies(world).body_parts
    counts = (part[:, None] != part[None, :]) & ~touching & ~inside & ~ignored
    return Concerns(counts | clash, clash, asked)


def _named(world: World, said: str) -> list[int]:
    named = choose(world, said)
    return [k for k, body in enumerate(bodies(world).all) if named.holds(body.part_name, body.solid)]


def _mark(table: np.ndarray, a: Sequence[int], b: Sequence[int], value: float) -> None:
    table[np.ix_(a, b)] = value
    table[np.ix_(b, a)] = value


def field_of(world: World, skins: Sequence[Skin], bands: Bands) -> Field:
    """The field of a world: who is near whom, and is not meant to touch."""
    bounds = bodies(world).body_bounds
    near = bounds_gap(bounds[:, None], bounds[None, :]) < bands.reach
    about = concerns(world, bands, near)
    owners = [np.flatnonzero(column) for column in (near & about.counts).T]
    return Field(skins, world.parts, owners, about, bands)
