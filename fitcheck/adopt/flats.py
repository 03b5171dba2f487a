"""Flat sides of a mesh: those on its bounds, and large ones inside them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitcheck.adopt.surface import Surface

# A flat is square to an axis within this, as a cosine: a twentieth of a degree.
SQUARE = 1 - 4e-7
# On the bounds within this, mm.
ON_BOUNDS = 0.01
# A side is flat enough to lay a ruler against where so much of its rectangle is flat.
SHARE = 0.05
# A flat inside is worth a remark from this share of the largest side of the bounds on.
INNER_SHARE = 0.1
# The sides of a part, by the direction out of them (`world/frames.py`), as names of faces: the bare words
# are taken.
SIDES = {
    "-x": "left_side", "+x": "right_side", "-y": "front_side",
    "+y": "rear_side", "-z": "bottom_side", "+z": "top_side",
}  # fmt: skip


@dataclass(frozen=True)
class Flat:
    """A flat inside the bounds: its middle (by area), its normal, its area in mm²."""

    at: tuple[float, float, float]
    normal: tuple[float, float, float]
    area: float


def outer_sides(surface: Surface) -> dict[str, float]:
    """Sides with flat area on the bounds: the direction and the share of the rectangle that is flat."""
    low, high = surface.vertices.min(axis=0), surface.vertices.max(axis=0)
    size = high - low
    shares = {}
    for side in SIDES:
        axis, sign = "xyz".index(side[1]), 1.0 if side[0] == "+" else -1.0
        bound = high[axis] if sign > 0 else low[axis]
        there = np.abs(surface.vertices[surface.faces][..., axis] - bound).max(axis=1) <= ON_BOUNDS
        square = sign * surface.normals[:, axis] >= SQUARE
        rectangle = float(np.prod(np.delete(size, axis)))
        share = float(surface.areas[there & square].sum()) / rectangle if rectangle > 0 else 0.0
        if share >= SHARE:
            shares[side] = share
    return shares


def inner_flats(surface: Surface, most: int = 12) -> list[Flat]:
    """The largest flats that do not lie on the bounds, at most so many, the largest first."""
    low, high = surface.vertices.min(axis=0), surface.vertices.max(axis=0)
    size = np.sort(high - low)
    count = int(surface.flat.max()) + 1
    areas = np.bincount(surface.flat, weights=surface.areas, minlength=count)
    found = []
    for flat in np.argsort(-areas, kind="stable")[: 6 + most]:
        if areas[flat] < INNER_SHARE * size[1] * size[2]:
            break
        faces = surface.flat == flat
        weight = surface.areas[faces] / areas[flat]
        normal = weight @ surface.normals[faces]
        normal /= np.linalg.norm(normal)
        middle = weight @ surface.vertices[surface.faces[faces]].mean(axis=1)
        axis = int(np.abs(normal).argmax())
        bound = high[axis] if normal[axis] > 0 else low[axis]
        if abs(normal[axis]) >= SQUARE and abs(middle[axis] - bound) <= ON_BOUNDS:
            continue
        x, y, z = middle.tolist()
        u, v, w = normal.tolist()
        found.append(Flat((x, y, z), (u, v, w), float(areas[flat])))
    return found[:most]
