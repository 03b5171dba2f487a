"""Clearances of all surfaces on a fixed grid, where only what changed since is measured again."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from itertools import count

import numpy as np

from fitcheck.outputs.page.shapes import SAGITTA, Drawn
from fitcheck.outputs.pictures.bands import Bands
from fitcheck.outputs.pictures.field import concerns
from fitcheck.outputs.pictures.surfaces import Skin, skins, split_triangles, triangle_edges
from fitcheck.outputs.pictures.tessellate import Patch
from fitcheck.outputs.pictures.to_piece import distance_to_piece
from fitcheck.parts.features import Shape
from fitcheck.parts.solids import Solid
from fitcheck.world.bodies import bodies, bounds_gap
from fitcheck.world.frames import IDENTITY, Frame
from fitcheck.world.kept import Kept
from fitcheck.world.world import Part, World

# Longest edge that a colour is interpolated over while things move, mm; then the page's own follow.
GRID = 32.0
# Two parts stand to each other as before, where no figure of their relative pose differs by more.
SAME_PLACE = 7  # decimals


@dataclass(frozen=True, eq=False)
class Form:
    """The surface of a solid in its part's frame, on the grid; `key` is that of no other."""

    key: int
    solid: Solid
    patch: Patch


@dataclass(frozen=True, eq=False)
class Near:
    """Distances (k,) of the points `at` (k,) of one form to another solid; all others are out of reach."""

    key: int
    at: np.ndarray
    distance: np.ndarray


@dataclass(frozen=True, eq=False)
class Coloured:
    """A solid of the world with its values; equal `values_key`, equal values."""

    form: Form
    drawn: Drawn
    values_key: int


class Colours:
    """Forms and distances of the worlds of one scene, kept from one to the next."""

    def __init__(self) -> None:
        self._forms, self._pairs, self._values = Kept(), Kept(), Kept()
        self._number = count(1)

    def of(self, world: World, bands: Bands) -> list[Coloured]:
        """All solids of a world, part by part in scene order, as `bodies` counts them."""
        box = bodies(world).body_bounds
        near = bounds_gap(box[:, None], box[None, :]) < bands.reach
        about = concerns(world, bands, near)
        near &= about.counts
        owners = [
            (index, part, self._form(solid))
            for index, part in enumerate(world.parts)
            for solid in part.shape.solids.values()
            if solid.pieces
        ]
        found = []
        for k, (index, part, form) in enumerate(owners):
            others = [
                (self._pair(part, form, owners[j][1], owners[j][2], bands.reach), float(about.asked[k, j]))
                for j in np.flatnonzero(near[k])
            ]
            key, values = self._coloured(form, others, bands)
            drawn = Drawn(Skin(index, form.solid, form.patch), form.patch, values)
            found.append(Coloured(form, drawn, key))
        return found

    def _form(self, solid: Solid) -> Form:
        # The solid is held by its form, so its identity stays its own.
        return self._forms.of(id(solid), lambda: Form(next(self._number), solid, on_grid(solid)))

    def _pair(self, part: Part, form: Form, other: Part, target: Form, reach: float) -> Near:
        """Distances from a form to another solid; the same again where they stand to each other as before."""
        serials: Hashable = ("serials", part.serial, form.key, other.serial, target.key, reach)
        known = self._pairs.get(serials)
        if known is None:
            to_target = other.pose.inverse() @ part.pose
            place = np.round(np.concatenate([to_target.rotation.ravel(), to_target.origin]), SAME_PLACE) + 0.0
            known = self._pairs.of(
                (form.key, target.key, place.tobytes(), reach),
                lambda: self._measured(form, target, to_target, reach),
            )
            self._pairs.put(serials, known)
        return known  # type: ignore[no-any-return]

    def _measured(self, form: Form, target: Form, target_from_form: Frame, reach: float) -> Near:
        points = target_from_form.point(form.patch.points)
        corners = target.patch.points
        low, high = corners.min(axis=0) - reach, corners.max(axis=0) + reach
        at = np.flatnonzero(((points >= low) & (points <= high)).all(axis=1))
        distance = np.full(len(at), np.inf)
        for piece in target.solid.pieces if len(at) else ():
            frame = Frame(piece.rotation, piece.centre)
            distance = np.minimum(distance, distance_to_piece(piece, frame, points[at], reach))
        return Near(next(self._number), at, distance)

    def _coloured(
        self, form: Form, others: Sequence[tuple[Near, float]], bands: Bands
    ) -> tuple[int, np.ndarray]:
        key = (form.key, tuple((near.key, asked) for near, asked in others), bands)
        return self._values.of(key, lambda: (next(self._number), _least(form, others, bands)))


def _least(form: Form, others: Sequence[tuple[Near, float]], bands: Bands) -> np.ndarray:
    values = np.full(len(form.patch.points), np.inf)
    for near, asked in others:
        scaled = bands.scaled(near.distance, np.full(len(near.at), asked))
        values[near.at] = np.minimum(values[near.at], scaled)
    return values


def on_grid(solid: Solid) -> Patch:
    """A solid's surface in its part's frame, all edges split until none is longer than the grid."""
    alone = Part("", "", "", IDENTITY, Shape({solid.name: solid}))
    patch = skins([alone], SAGITTA)[0].patch
    points, normals, triangles = patch.points, patch.normals, patch.triangles
    while True:
        edges, of_triangle = triangle_edges(triangles)
        a, b = edges.T
        long = np.linalg.norm(points[a] - points[b], axis=1) > GRID
        if not long.any():
            return Patch(points, normals, triangles, patch.edges, patch.bends, patch.bend_normals)
        middle = np.where(long, len(points) + np.cumsum(long) - 1, -1)
        triangles = split_triangles(triangles, middle[of_triangle])
        between = normals[a[long]] + normals[b[long]]
        between /= np.maximum(np.linalg.norm(between, axis=1, keepdims=True), 1e-12)
        points = np.concatenate([points, (points[a[long]] + points[b[long]]) / 2])
        normals = np.concatenate([normals, between])
