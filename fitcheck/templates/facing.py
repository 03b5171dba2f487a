"""Which face of a sheet a template shows, which way is up on it, and what its edges are called in the case.

A mirrored template is the classic mistake, so nothing is left to chance: a panel of a case is seen from
outside, anything else from the side that most of its holes are entered from.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from fitcheck.world.frames import OPPOSITE, SIDES
from fitcheck.world.world import Part, World

SEEN = {
    "left": "from the left",
    "right": "from the right",
    "front": "from the front",
    "rear": "from the rear",
    "bottom": "from below",
    "top": "from above",
}
# Where holes do not tell, the face is seen from the first of these that it can be.
PREFERRED = ("top", "front", "left", "right", "rear", "bottom")
# A normal within this cosine of a side of the world is that side; else the sheet leans.
SQUARE = 1 - 1e-6
# An edge runs along the page or up it within this sine.
SQUARE_EDGE = 1e-4
# Compartments and faces end at a panel's face as exactly as this, mm.
FLUSH = 0.05


@dataclass(frozen=True, eq=False)
class Seen:
    """How a flat face lies on the page.

    Args:
        normal: (3,) out of the face towards the reader, in the world.
        right, up: (3,) the page's axes in the world.
        face, upwards: in words.
        edges: what lies at the page's left, bottom, right and top.
    """

    normal: np.ndarray
    right: np.ndarray
    up: np.ndarray
    face: str
    upwards: str
    edges: tuple[str, str, str, str]

    def flat(self, points: np.ndarray) -> np.ndarray:
        """(..., 2) places on the page, before the datum is taken off, of places (..., 3) in the world."""
        return np.stack([points @ self.right, points @ self.up], axis=-1)


def side_of(direction: np.ndarray) -> tuple[str, bool]:
    """The side of the world that a unit direction (3,) points to most, and whether it does so squarely."""
    side = max(SIDES, key=lambda one: float(SIDES[one] @ direction))
    return side, float(SIDES[side] @ direction) > SQUARE


def outward(
    world: World, part: Part, middle: np.ndarray, normal: np.ndarray, axes: Sequence[np.ndarray]
) -> tuple[np.ndarray, bool]:
    """The normal (3,) of the face that is shown, and whether it is the outside of a case.

    Args:
        middle: (3,) in the world, of the sheet.
        normal: (3,) either way, in the world.
        axes: in the world, out of the material, of the holes and cut-outs: whence they are entered.
    """
    rooms = [room.bounds for room in world.compartments.values() if room.part == part.name]
    if rooms:
        beyond = [_reach(room, normal) for room in rooms]
        here = float(middle @ normal)
        if all(high <= here + FLUSH for _, high in beyond):
            return normal, True
        if all(low >= here - FLUSH for low, _ in beyond):
            return -normal, True
    entered = sum(int(np.sign(round(float(axis @ normal), 6))) for axis in axes)
    if entered:
        return (normal if entered > 0 else -normal), False
    one, other = side_of(normal)[0], side_of(-normal)[0]
    return (normal if PREFERRED.index(one) < PREFERRED.index(other) else -normal), False


def seen(
    part: Part, normal: np.ndarray, outside: bool, place: np.ndarray, solid: str, edges: np.ndarray
) -> Seen:
    """How a face lies on the page: up as it stands in the case, or its rear up where it lies flat.

    Seen from below the front is up, so that left stays left. Where no edge of the part runs along the page
    so, its longest does, so that there is one to measure from where the part is turned.

    Args:
        normal: (3,) out of the face, in the world.
        outside: of a case.
        place: (3,) on the face, in the world.
        solid: whose face it is: a face that the model names there is named.
        edges: (n, 3) its edges, in the world.
    """
    side, square = side_of(normal)
    above = {"top": SIDES["rear"], "bottom": SIDES["front"]}.get(side, SIDES["top"])
    up = above - (above @ normal) * normal
    up = up / np.linalg.norm(up)
    lengths = np.linalg.norm(edges, axis=1)
    aside = np.abs(edges @ up) / lengths
    if not np.any((aside < SQUARE_EDGE) | (aside > 1 - SQUARE_EDGE**2 / 2)):
        along = edges[int(lengths.round(6).argmax())] / lengths.max()
        turned = (along, -along, np.cross(normal, along), -np.cross(normal, along))
        up = max(turned, key=lambda way: float(way @ up))
    right = np.cross(up, normal)
    face = "outside face" if outside else f"face to the {side}"
    named = _model_face(part, normal, place, solid)
    said = f"{face}{f' ({named})' if named else ''}, seen {SEEN[side]}{'' if square else ', leaning'}"
    beside, upwards = _names(right, up)
    return Seen(normal, right, up, said, upwards, (OPPOSITE[beside], OPPOSITE[upwards], beside, upwards))


def _names(right: np.ndarray, up: np.ndarray) -> tuple[str, str]:
    """The sides of the world at the page's right and top: never both along one axis, however it is turned."""
    pairs = ((a, b) for a in SIDES for b in SIDES if b not in (a, OPPOSITE[a]))
    return max(pairs, key=lambda pair: round(float(SIDES[pair[0]] @ right + SIDES[pair[1]] @ up), 9))


def _reach(bounds: np.ndarray, way: np.ndarray) -> tuple[float, float]:
    """How far a box (2, 3) reaches along a direction: least and greatest."""
    ends = bounds * way
    return float(ends.min(axis=0).sum()), float(ends.max(axis=0).sum())


def _model_face(part: Part, normal: np.ndarray, place: np.ndarray, solid: str) -> str:
    """The name of the model's own face that lies there, or empty."""
    faces: Iterable[tuple[str, np.ndarray, np.ndarray]] = (
        (name, part.pose.direction(face.normal), part.pose.point(face.centre))
        for name, face in part.shape.faces.items()
        if solid in face.owners
    )
    return next(
        (
            name
            for name, way, centre in faces
            if float(way @ normal) > SQUARE and abs(float((centre - place) @ normal)) < FLUSH
        ),
        "",
    )
