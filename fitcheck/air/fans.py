"""Fans, openings and radiator cores of a world, as the air meets them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import pi

import numpy as np

from fitcheck.parts.features import Opening
from fitcheck.parts.solids import Kind, Piece
from fitcheck.world.bodies import bodies
from fitcheck.world.frames import IDENTITY
from fitcheck.world.world import Part, World, piece_bounds

# What a model calls the space that blades sweep, and what air passes straight through.
BLADE, CORE = "blade", "core"
# Axes are the same when they differ by less than this (sine), and this far to the side, mm.
ALONG, ASIDE = 1e-3, 0.1
# Squares of an opening or a core, and rings of blades, are asked at points about so far apart, mm.
FINE = 6.0


@dataclass(frozen=True, eq=False)
class Fan:
    """A fan: the ring that its blades sweep.

    Args:
        name: of its part.
        middle: (3,) of the ring, mm.
        intake: (3,) unit vector to where the air comes from.
        outer, hub: radii of the ring, mm.
        half: half the thickness of the blades as drawn, mm.
        depth: by side (`intake`, `exhaust`), from the blades to the end of the fan, mm.
    """

    name: str
    middle: np.ndarray
    intake: np.ndarray
    outer: float
    hub: float
    half: float
    depth: dict[str, float]

    @property
    def swept(self) -> float:
        """Area of the ring, mm2."""
        return pi * (self.outer**2 - self.hub**2)


@dataclass(frozen=True, eq=False)
class Core:
    """What air passes straight through: a radiator's core.

    Args:
        name: of its body.
        middle: (3,) mm.
        through: (3,) unit vector along its least size.
        half: half that size, mm.
        points: (n, 3) spread over its middle plane.
        area: what each point stands for, mm2.
        row: of the world's bodies.
    """

    name: str
    middle: np.ndarray
    through: np.ndarray
    half: float
    points: np.ndarray
    area: float
    row: int


@dataclass(frozen=True, eq=False)
class Gap:
    """An opening in the world, and how much of it is open.

    Args:
        name: `case.floor_air`.
        at: (3,) its middle in the face of its sheet, mm.
        axis, up: (3,) out of the material, and along its first size.
        opening: its shape and sizes.
        share: of its area that is open; less than 1 behind a grille.
    """

    name: str
    at: np.ndarray
    axis: np.ndarray
    up: np.ndarray
    opening: Opening
    share: float = 1.0

    @property
    def area(self) -> float:
        """Of the opening without its grille, mm2."""
        long, wide = self.opening.size
        if self.opening.shape == "round":
            return pi * long**2 / 4
        if self.opening.shape == "slot":
            return (long - wide) * wide + pi * wide**2 / 4
        return long * wide

    @property
    def radius(self) -> float:
        """Of the ball about its middle that holds it, mm."""
        return float(np.hypot(*self.opening.size)) / 2

    def holds(self, points: np.ndarray, beyond: float = 0.0) -> np.ndarray:
        """(n,) whether points (n, 3), seen along the axis, lie in the outline or within `beyond` of it."""
        along = np.abs((points - self.at) @ self.up)
        across = np.abs((points - self.at) @ np.cross(self.axis, self.up))
        long, wide = (size / 2 for size in self.opening.size)
        if self.opening.shape == "round":
            return np.asarray(np.hypot(along, across) <= long + beyond)
        if self.opening.shape == "slot":
            ahead = np.maximum(along - (long - wide), 0.0)
            return np.asarray(np.hypot(ahead, across) <= wide + beyond)
        return np.asarray((along <= long + beyond) & (across <= wide + beyond))


def fans(world: World) -> list[Fan]:
    """All fans: parts with a cylinder of the role `blade` and an opening about it.

    The opening's axis points to where the air comes from. What stands on the same axis and is narrower
    is the hub.
    """
    return [found for part in world.parts for found in _fans_of(part)]


def _fans_of(part: Part) -> Iterator[Fan]:
    rounds = [
        (solid.role, piece)
        for solid in part.shape.solids.values()
        for piece in solid.pieces
        if piece.kind == Kind.CYLINDER
    ]
    for role, piece in rounds:
        if role != BLADE:
            continue
        mouth = next((o for o in part.shape.openings.values() if _same_axis(piece, o.at, o.axis)), None)
        if mouth is None:
            continue
        outer = float(piece.half[0])
        hubs = [
            float(other.half[0])
            for kind, other in rounds
            if kind != BLADE
            and other.half[0] < outer
            and _same_axis(piece, other.centre, other.rotation[:, 2])
        ]
        turn = part.pose.rotation
        yield Fan(
            part.name, part.pose.point(piece.centre), turn @ mouth.axis, outer, max(hubs, default=0.0),
            float(piece.half[2]), _depths(part, piece, mouth.axis),
        )  # fmt: skip


def _depths(part: Part, blades: Piece, axis: np.ndarray) -> dict[str, float]:
    """From the blades to the end of the fan's solids, towards the intake and away from it, mm."""
    boxes = np.array([piece_bounds(p, IDENTITY) for s in part.shape.solids.values() for p in s.pieces])
    ends = np.array([boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)]) - blades.centre
    # Of a box along the part's axes the end along a slanting axis would be too far; fans are drawn square.
    reach = [float(max(ends[0] @ way, ends[1] @ way)) for way in (axis, -axis)]
    return {
        side: max(far - float(blades.half[2]), 0.0)
        for side, far in zip(("intake", "exhaust"), reach, strict=True)
    }


def _same_axis(piece: Piece, at: np.ndarray, axis: np.ndarray) -> bool:
    own = piece.rotation[:, 2]
    aside = np.cross(at - piece.centre, own)
    return bool(np.linalg.norm(np.cross(own, axis)) < ALONG and np.linalg.norm(aside) < ASIDE)


def cores(world: World) -> list[Core]:
    """All boxes of the role `core`."""
    solids = bodies(world)
    found = []
    for body in solids.all:
        if world.parts[body.part].shape.solids[body.solid].role != CORE:
            continue
        for row in range(body.pieces.start, body.pieces.stop):
            if solids.kinds[row] == Kind.BOX:
                found.append(
                    _core(body.name, row, solids.rotations[row], solids.centres[row], solids.halves[row])
                )
    return found


def _core(name: str, row: int, turn: np.ndarray, middle: np.ndarray, half: np.ndarray) -> Core:
    thin = int(half.argmin())
    one, other = (k for k in range(3) if k != thin)
    counts = [max(int(np.ceil(2 * half[k] / FINE)), 1) for k in (one, other)]
    first, second = (
        ((np.arange(n) + 0.5) / n * 2 - 1) * half[k] for n, k in zip(counts, (one, other), strict=True)
    )
    s, t = (grid.ravel() for grid in np.meshgrid(first, second, indexing="ij"))
    points = middle + s[:, None] * turn[:, one] + t[:, None] * turn[:, other]
    area = 4 * float(half[one] * half[other]) / len(points)
    return Core(name, middle, turn[:, thin], float(half[thin]), points, area, row)


def gaps(world: World, without: set[str], shares: dict[str, float]) -> list[Gap]:
    """All openings that are cut through something, those of the parts named left out.

    Args:
        shares: by name, of what stands behind a grille, the share that is open.
    """
    found = []
    for part in world.parts:
        for opening in part.shape.openings.values():
            if opening.cuts and part.name not in without:
                name = f"{part.name}.{opening.name}"
                at, turn = part.pose.point(opening.at), part.pose.rotation
                found.append(
                    Gap(name, at, turn @ opening.axis, turn @ opening.up, opening, shares.get(name, 1.0))
                )
    return found


def ring(fan: Fan) -> tuple[np.ndarray, float]:
    """Points (n, 3) spread evenly over the middle of a fan's ring, and what each stands for, mm2."""
    count = max(int(np.ceil(fan.swept / FINE**2)), 24)
    # Sunflower seeds: each point stands for the same area (Vogel, A better way to construct the sunflower
    # head, 1979).
    share = (np.arange(count) + 0.5) / count
    radius = np.sqrt(fan.hub**2 + share * (fan.outer**2 - fan.hub**2))
    turn = np.arange(count) * pi * (3 - 5**0.5)
    side = np.cross(fan.intake, np.eye(3)[int(np.abs(fan.intake).argmin())])
    side /= np.linalg.norm(side)
    other = np.cross(fan.intake, side)
    points = fan.middle + (radius * np.cos(turn))[:, None] * side + (radius * np.sin(turn))[:, None] * other
    return points, fan.swept / count
