"""The sheets of a part: their cut-outs, their edges and bends, each in the plane of the sheet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitcheck.fasteners.bores import OUTSIDE, WIDEST_SLOT, material, thickness
from fitcheck.fasteners.crossings import JOINT, through
from fitcheck.parts.features import Hole, Opening, Shape
from fitcheck.parts.solids import Solid
from fitcheck.sheets.cutouts import Cut, edges_of_none
from fitcheck.sheets.sections import axes_of, section
from fitcheck.world.world import Part, World

# Thicker than this is plate, a frame or a moulding: the rules of sheet do not hold, mm (common practice).
THICKEST = 6.0
# How far inside an edge it is asked whether the material goes on out of the sheet, as a share of its
# thickness.
INSIDE = 0.3
# Heights and thicknesses that differ by less are one, mm.
SAME = 0.05


@dataclass(frozen=True, eq=False)
class Sheet:
    """One flat stretch of a solid with holes or cut-outs.

    Args:
        part, solid: whose it is.
        thickness: mm.
        at: (3,) a place in its middle plane, in the frame of the part; `axes` (2, 3) of that plane.
        normal: (3,) unit.
        cuts: its holes and cut-outs.
        edges: (n, 2, 2) its free edges.
        bends: (m, 2, 2) edges at which it goes on into another leg.
        legs: (m,) how thick that leg is there, mm.
    """

    part: str
    solid: str
    thickness: float
    at: np.ndarray
    axes: np.ndarray
    normal: np.ndarray
    cuts: tuple[Cut, ...]
    edges: np.ndarray
    bends: np.ndarray
    legs: np.ndarray

    def place(self, flat: np.ndarray) -> np.ndarray:
        """(3,) of a place (2,) in its plane, in the frame of the part."""
        return np.asarray(self.at + flat @ self.axes)


def sheets(world: World, part: Part) -> tuple[Sheet, ...]:
    """All sheets of a part that have holes or cut-outs, in the order of its model."""
    return world.answers.of(("sheets", part.serial), lambda: _sheets(part.name, part.shape))


def _sheets(part: str, shape: Shape) -> tuple[Sheet, ...]:
    groups: list[tuple[str, np.ndarray, np.ndarray, float, list[Hole | Opening]]] = []
    both: list[Hole | Opening] = [*shape.holes.values(), *shape.openings.values()]
    for one in both:
        if one.cuts not in shape.solids:
            continue
        thick = _thickness(shape, one)
        if not 0 < thick <= THICKEST:
            continue
        normal = one.axis if one.axis[int(np.abs(one.axis).argmax())] > 0 else -one.axis
        middle = one.at - one.axis * thick / 2
        for solid, along, at, own, found in groups:
            level = abs(float((middle - at) @ along)) < SAME
            if solid == one.cuts and level and abs(own - thick) < SAME and float(along @ normal) > 1 - 1e-9:
                found.append(one)
                break
        else:
            groups.append((one.cuts, normal, middle, thick, [one]))
    return tuple(
        _sheet(part, shape.solids[solid], normal, middle, thick, cut)
        for solid, normal, middle, thick, cut in groups
    )


def _thickness(shape: Shape, one: Hole | Opening) -> float:
    if isinstance(one, Hole):
        return material(shape, one.at, one.axis, one.diameter, one.cuts)[1]
    # Just outside the middles of its four sides.
    across = np.cross(one.axis, one.up)
    long, wide = one.size[0] / 2 + OUTSIDE, one.size[1] / 2 + OUTSIDE
    places = one.at + np.array([long * one.up, -long * one.up, wide * across, -wide * across])
    return thickness(shape.solids[one.cuts], places, -one.axis)


def _sheet(
    part: str, solid: Solid, normal: np.ndarray, at: np.ndarray, thick: float, holes: list[Hole | Opening]
) -> Sheet:
    axes = axes_of(normal)
    cuts = tuple(_cut(one, at, axes) for one in holes)
    segments = edges_of_none(section([solid], at, normal, axes), cuts)
    legs = np.array([_leg(solid, at, axes, normal, thick, segment) for segment in segments])
    bent = legs > 0
    return Sheet(
        part, solid.name, thick, at, axes, normal, cuts, segments[~bent], segments[bent], legs[bent]
    )  # fmt: skip


def _cut(one: Hole | Opening, at: np.ndarray, axes: np.ndarray) -> Cut:
    middle = axes @ (one.at - at)
    if isinstance(one, Hole):
        return Cut(one.name, middle[None], one.diameter / 2, True)
    if one.shape == "round":
        return Cut(one.name, middle[None], one.size[0] / 2, False)
    up = axes @ one.up
    long, wide = one.size[0] / 2, one.size[1] / 2
    if one.shape == "slot":
        # Seen across its middle line a slot is as far from everything as two circles and what lies between.
        ends = (long - wide) * up
        return Cut(one.name, np.array([middle - ends, middle + ends]), wide, one.size[1] <= WIDEST_SLOT)
    aside = wide * np.array([-up[1], up[0]])
    corners = np.array([long * up + aside, -long * up + aside, -long * up - aside, long * up - aside])
    return Cut(one.name, middle + corners, 0.0, False)


def _leg(
    solid: Solid, at: np.ndarray, axes: np.ndarray, normal: np.ndarray, thick: float, segment: np.ndarray
) -> float:  # fmt: skip
    """Thickness of another leg that stands up from an edge, mm, or 0 where the edge is free."""
    along = segment[1] - segment[0]
    left = np.array([-along[1], along[0]]) / np.linalg.norm(along)
    place = at + (segment.mean(axis=0) + INSIDE * thick * left) @ axes
    low, high = _stretch(solid, place, normal)
    if high - low <= thick + SAME:
        return 0.0
    # Above the sheet's face the leg alone is met: from its outside, in the edge, to its inside.
    side = 1.0 if high > thick / 2 + SAME else -1.0
    inward = left @ axes
    above = place + side * normal * (thick / 2 + min(SAME, (high - low - thick) / 2))
    near, far = _stretch(solid, above, inward)
    # At the side of a bend the other leg goes on as far as the sheet itself: that edge is free.
    is_leg = near <= 0 <= far < _stretch(solid, place, inward)[1] - SAME
    return INSIDE * thick + far if is_leg else 0.0


def _stretch(solid: Solid, place: np.ndarray, way: np.ndarray) -> tuple[float, float]:
    """How far a solid goes on from a place both ways, mm."""
    found = through([solid], place[None], way)[0]
    return next(((low, high) for low, high in found if low - JOINT <= 0 <= high + JOINT), (0.0, 0.0))
