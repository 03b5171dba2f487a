"""Holes as a screw meets them: a line through a part, how much of its material lies along it, which thread.

A model names a hole at its mouth; how thick the part is there is asked of its solids. So a hole that is drawn
(cut through a sheet) and one that is only named (in a fan's frame, a board, a radiator) are the same here.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

import numpy as np

from fitcheck.fasteners.crossings import crossings, through
from fitcheck.parts.features import Shape
from fitcheck.parts.solids import Solid
from fitcheck.world.frames import Frame
from fitcheck.world.world import Part, World

# How far outside a hole's edge its part is asked for material, mm; and the directions it is asked in.
OUTSIDE = 0.2
AROUND = 12
# A mouth lies so near the surface it is in, mm: cut-outs and facets are drawn as exactly as that.
AT_MOUTH = 0.05
# An opening that is a slot up to this width takes a screw (M6 coarse, ISO 273); a wider one is for air or
# cables.
WIDEST_SLOT = 7.0
# Two holes of one part on one line this near are one, mm.
SAME = 0.01

_INDEX = re.compile(r"\[[^\]]*\]")


@dataclass(frozen=True, eq=False)
class Bore:
    """One hole of one part, in the world.

    Args:
        part: full name.
        solid: the solid whose material it goes through; empty where there is none at its mouth.
        names: of the holes of the model that it is (a hole through a fan has one at either end).
        at: (3,) its middle at the first mouth.
        axis: (3,) unit, out of the material there.
        deep: from the first mouth along -axis to where it ends: the other side, or its bottom, mm.
        through: it comes out on the other side.
        diameter: mm; of a slot its width.
        thread: tapped into it, or empty.
        long: (3,) half of how much longer than wide a slot is, along its way; zero for a round hole.
        inside: at its bottom lies what a screw must not enter: fins and channels with coolant.
    """

    part: str
    solid: str
    names: tuple[str, ...]
    at: np.ndarray
    axis: np.ndarray
    deep: float
    through: bool
    diameter: float
    thread: str
    long: np.ndarray
    inside: bool = False

    @property
    def end(self) -> np.ndarray:
        """(3,) its middle where it ends."""
        return np.asarray(self.at - self.axis * self.deep)

    @property
    def name(self) -> str:
        """Full name of the hole at its first mouth."""
        return f"{self.part}.{self.names[0]}"

    def name_at(self, place: np.ndarray) -> str:
        """Full name of the hole at the mouth that is nearer to a place (3,)."""
        far = np.linalg.norm(self.end - place) < np.linalg.norm(self.at - place)
        return f"{self.part}.{self.names[-1 if far else 0]}"


def family(name: str) -> str:
    """What a hole's name has in common with its like: without its indices, and a last letter of its own.

    >>> family("fan_screws[1][2]"), family("supply_hole_a"), family("tapped")
    ('fan_screws', 'supply_hole', 'tapped')
    """
    return re.sub(r"_[a-z]$", "", _INDEX.sub("", name))


def bores(world: World, part: Part) -> tuple[Bore, ...]:
    """All holes of a part in the world, in the order of its model; those on one line through it are one."""
    return world.answers.of(("bores", part.serial), lambda: _bores(part))


def _bores(part: Part) -> tuple[Bore, ...]:
    named = _named(part.shape, part.name, part.pose)
    through = [k for k, bore in enumerate(named) if bore.through]
    starts = np.array([named[k].at for k in through]).reshape(-1, 3)
    ends = np.array([named[k].end for k in through]).reshape(-1, 3)
    found = dict(enumerate(named))
    for at, k in enumerate(through):
        # What is the mouth of one through hole is the end of the other: they are one.
        off = np.maximum(
            np.abs(starts[:at] - ends[at]).max(axis=1, initial=0.0),
            np.abs(ends[:at] - starts[at]).max(axis=1, initial=0.0),
        )
        twins = np.flatnonzero(off < SAME)
        first = next((through[j] for j in twins.tolist() if through[j] in found), None)
        if first is not None:
            found[first] = replace(found[first], names=(*found[first].names, *found.pop(k).names))
    return tuple(found.values())


def _named(shape: Shape, part: str, pose: Frame) -> list[Bore]:
    found = []
    for hole in shape.holes.values():
        solid, thick = material(shape, hole.at, hole.axis, hole.diameter, hole.cuts)
        deep = thick if hole.depth is None else min(hole.depth, thick) if thick else hole.depth
        through = hole.depth is None or (thick > 0 and hole.depth >= thick - SAME)
        bottom = hole.at - hole.axis * (deep + AT_MOUTH)
        found.append(
            Bore(
                part, solid, (hole.name,), pose.point(hole.at), pose.direction(hole.axis), deep, through,
                hole.diameter, hole.thread, np.zeros(3), not through and _wet(shape, bottom),
            )
        )  # fmt: skip
    for gap in shape.openings.values():
        if gap.shape != "slot" or gap.size[1] > WIDEST_SLOT:
            continue
        solid, thick = material(shape, gap.at, gap.axis, gap.size[1], gap.cuts, gap.up, gap.size[0])
        found.append(
            Bore(
                part, solid, (gap.name,), pose.point(gap.at), pose.direction(gap.axis), thick, True,
                gap.size[1], "", pose.direction(gap.up) * (gap.size[0] - gap.size[1]) / 2,
            )
        )  # fmt: skip
    return found


def _wet(shape: Shape, place: np.ndarray) -> bool:
    """Lies a place (3,) of a part in its core, or where coolant is?"""
    pieces = [wet.piece for wet in shape.wet.values() if wet.piece is not None]
    pieces += [piece for solid in shape.solids.values() if solid.role == "core" for piece in solid.pieces]
    for piece in pieces:
        inside = crossings(piece, place[None], np.array([0.0, 0.0, 1.0]))
        if any(low <= 0 <= high for low, high in inside[0]):
            return True
    return False


def material(
    shape: Shape, at: np.ndarray, axis: np.ndarray, diameter: float, cuts: str = "",
    up: np.ndarray | None = None, long: float = 0.0,
) -> tuple[str, float]:  # fmt: skip
    """The solid that a hole's mouth is in, and how thick the part is there, mm.

    Asked along lines just outside the hole's edge, all around: those that begin in material at the mouth
    tell, and the thinnest of them counts (beside a bend or a rib the part is thicker on one side). No
    material: ("", 0).
    """
    lines = at + _ring(axis, diameter / 2 + OUTSIDE, up, max(long - diameter, 0.0) / 2)
    solids = [shape.solids[cuts]] if cuts in shape.solids else list(shape.solids.values())
    deepest, found = 0.0, ""
    for solid in solids:
        own = _at_mouth(through([solid], lines, -axis))
        if own and min(own) > deepest:
            deepest, found = min(own), solid.name
    if not found or found == cuts:
        return found, deepest
    # A hole that is cut ends with its sheet; one that is only named goes on through what lies behind.
    return found, min(_at_mouth(through(solids, lines, -axis)))


def thickness(solid: Solid, places: np.ndarray, way: np.ndarray) -> float:
    """How thick a solid is from its surface on: the least at places (n, 3) that lie on it, else 0, mm."""
    return min(_at_mouth(through([solid], places, way)), default=0.0)


def covers(part: Part, place: np.ndarray, way: np.ndarray, radius: float, apart: float) -> bool:
    """Has a part material, within `apart` along a way, all over a disc about a place, all in the world?"""
    if bool(
        np.any((place < part.bounds[0] - apart - AT_MOUTH) | (place > part.bounds[1] + apart + AT_MOUTH))
    ):
        return False
    lines = (place + _ring(way, radius, None, 0.0) - part.pose.origin) @ part.pose.rotation
    stretches = through(list(part.shape.solids.values()), lines, way @ part.pose.rotation)
    return all(any(low <= apart + AT_MOUTH and high > AT_MOUTH for low, high in own) for own in stretches)


def _ring(axis: np.ndarray, radius: float, up: np.ndarray | None, half_long: float) -> np.ndarray:
    """(n, 3) places around a hole's middle."""
    if up is None:
        up = np.cross(axis, np.eye(3)[int(np.abs(axis).argmin())])
        up = up / np.linalg.norm(up)
    across = np.cross(axis, up)
    angles = (np.arange(AROUND) + 0.5) * 2 * np.pi / AROUND
    ring = radius * (np.cos(angles)[:, None] * up + np.sin(angles)[:, None] * across)
    return np.asarray(ring + np.sign(np.cos(angles))[:, None] * half_long * up)


def _at_mouth(lines: list[list[tuple[float, float]]]) -> list[float]:
    """How far the material goes on, of each line that begins in it within the mouth."""
    return [high for own in lines for low, high in own if abs(low) <= AT_MOUTH and high > AT_MOUTH]
