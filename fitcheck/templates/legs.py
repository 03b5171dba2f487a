"""A section of constant thickness (an angle, a channel) as legs with bends or corners between them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitcheck.parts.solids import Extrusion
from fitcheck.sheets.bending import bend_allowance, profile

# Two edges of an outline are square or parallel to each other within this, degrees.
SQUARE_DEG = 0.5


@dataclass(frozen=True, eq=False)
class Leg:
    """One flat stretch of a section, in the frame of the part.

    Args:
        one, other: (2, 3) its two faces across the section, from where it starts to where it ends, at the
            section's lower end. Seen along the way, `other` lies to the left.
        turn: by how much the section turns to the next leg, degrees; above 0 to the left, 0 at the last.
    """

    one: np.ndarray
    other: np.ndarray
    turn: float

    @property
    def way(self) -> np.ndarray:
        """(3,) unit, along the leg."""
        along = self.middle[1] - self.middle[0]
        return np.asarray(along / np.linalg.norm(along))

    @property
    def middle(self) -> np.ndarray:
        """(2, 3) its middle line with sharp corners."""
        return np.asarray((self.one + self.other) / 2)

    @property
    def normal(self) -> np.ndarray:
        """(3,) unit, out of the face `one`."""
        across = self.one[0] - self.other[0]
        across = across - (across @ self.way) * self.way
        return np.asarray(across / np.linalg.norm(across))


def legs(extruded: Extrusion) -> tuple[tuple[Leg, ...], float] | None:
    """The legs of a section in order, and its thickness, mm; None where it is no section.

    Raises nothing: an outline of uneven thickness, or a plain bar, is no section.
    """
    along = extruded.along / np.linalg.norm(extruded.along)
    axes = _axes(extruded.corners, along)
    flat = extruded.corners @ axes.T
    found = profile(flat)
    if found is None:
        return None
    nxt = np.roll(flat, -1, axis=0)
    corners = extruded.corners
    if float((flat[:, 0] * nxt[:, 1] - nxt[:, 0] * flat[:, 1]).sum()) < 0:
        corners, flat = corners[::-1], flat[::-1]
    ends = _ends(flat, found.thickness)
    if len(ends) != 2:
        return None
    count = len(flat)
    forward = [(ends[0] + 1 + k) % count for k in range((ends[1] - ends[0] - 1) % count + 1)]
    backward = [(ends[0] - k) % count for k in range(len(forward))]
    if (backward[-1] - 1) % count != ends[1] % count or len(forward) < 3:
        return None
    turns = [
        _turn(flat[a], flat[b], flat[c]) for a, b, c in zip(forward, forward[1:], forward[2:], strict=False)
    ]
    made = [
        Leg(corners[[forward[k], forward[k + 1]]], corners[[backward[k], backward[k + 1]]], turn)
        for k, turn in enumerate([*turns, 0.0])
    ]
    return tuple(made), found.thickness


@dataclass(frozen=True, eq=False)
class Blank:
    """A section unfolded, along one line from its first end to its last.

    Args:
        length: of the blank along the line, mm.
        starts: (n,) where the flat of each leg starts on the line, mm.
        offs: (n,) how far from the leg's own sharp start its flat starts, mm.
        bends: middle of each bend on the line, its angle (above 0 to the left), and how wide it is.
    """

    length: float
    starts: tuple[float, ...]
    offs: tuple[float, ...]
    bends: tuple[tuple[float, float, float], ...]

    def along(self, leg: int, off: float) -> float:
        """Where on the line a place lies that is `off` from the leg's own sharp start, mm."""
        return self.starts[leg] + off - self.offs[leg]


def unfolded(section: tuple[Leg, ...], thickness: float, radius: float, k: float | None) -> Blank:
    """Lay a section out flat: each bend takes off both its legs and gives its allowance.

    On the middle line a bend takes (r + t / 2) tan(A / 2) off either leg (tangent of an arc between two
    lines); in its place comes the length of its neutral fibre (`sheets.bending.bend_allowance`).
    """
    at, before = 0.0, 0.0
    starts, offs, bends = [], [], []
    for leg in section:
        starts.append(at)
        offs.append(before)
        after = (radius + thickness / 2) * float(np.tan(np.radians(abs(leg.turn)) / 2))
        at += float(np.linalg.norm(leg.middle[1] - leg.middle[0])) - before - after
        if leg.turn:
            takes = bend_allowance(abs(leg.turn), radius, thickness, k)
            bends.append((at + takes / 2, leg.turn, takes))
            at += takes
        before = after
    return Blank(at, tuple(starts), tuple(offs), tuple(bends))


def _axes(corners: np.ndarray, along: np.ndarray) -> np.ndarray:
    first = corners[1] - corners[0]
    first = first / np.linalg.norm(first)
    return np.array([first, np.cross(along, first)])


def _ends(flat: np.ndarray, thickness: float) -> list[int]:
    """Edges as short as the sheet is thick, square to both neighbours, which run back along each other."""
    along = np.roll(flat, -1, axis=0) - flat
    lengths = np.linalg.norm(along, axis=1)
    found = []
    for k in range(len(flat)):
        square = all(
            abs(_turned(a, b) - 90) <= SQUARE_DEG
            for a, b in ((along[k - 1], along[k]), (along[k], along[(k + 1) % len(flat)]))
        )
        if square and abs(lengths[k] - thickness) <= 1e-3 * thickness:
            found.append(k)
    return found


def _turn(a: np.ndarray, b: np.ndarray, c: np.ndarray) -> float:
    return _turned(b - a, c - b)


def _turned(a: np.ndarray, b: np.ndarray) -> float:
    """By how much a way turns, degrees; above 0 to the left."""
    return float(np.degrees(np.arctan2(a[0] * b[1] - a[1] * b[0], a @ b)))
