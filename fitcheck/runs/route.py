"""A route: the centre line of a tube or cable, a polyline with rounded corners."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from fitcheck.parts.pieces import NOTHING, frozen
from fitcheck.parts.polygon import SAGITTA
from fitcheck.parts.solids import Solid
from fitcheck.parts.tubes import STRAIGHT_ON, TURNS_BACK, angles_between, bend_take, tube
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.world.frames import Frame

# A straight shorter than this is what rounding left between two bends, mm.
ROUNDING = 1e-9


@dataclass(frozen=True, eq=False)
class Bend:
    """One rounded corner of a route.

    Args:
        corner: which of the route's corners, from 0 at its start.
        at: (3,) the corner itself, where the two straights would meet, mm.
        angle: change of direction, radians.
        start: (3,) where the bend begins, mm.
        end: (3,) where it ends, mm.
    """

    corner: int
    at: np.ndarray
    angle: float
    start: np.ndarray
    end: np.ndarray


@dataclass(frozen=True, eq=False)
class Straight:
    """A straight length between two points (3,), mm, along a unit `way` that holds however short it is."""

    start: np.ndarray
    end: np.ndarray
    way: np.ndarray

    @property
    def length(self) -> float:
        """Length, mm."""
        return float(np.linalg.norm(self.end - self.start))


@dataclass(frozen=True, eq=False)
class Arc:
    """A circular arc: from `start` right-handed about `axis` through `angle`.

    Args:
        centre: (3,) mm.
        start: (3,) mm.
        axis: (3,) unit, square to the arc's plane.
        angle: radians, above 0.
        radius: mm.
    """

    centre: np.ndarray
    start: np.ndarray
    axis: np.ndarray
    angle: float
    radius: float

    @property
    def way(self) -> np.ndarray:
        """(3,) unit direction at the start."""
        return np.cross(self.axis, self.start - self.centre) / self.radius

    @property
    def end(self) -> np.ndarray:
        """(3,) where the arc ends, mm."""
        back = (self.centre - self.start) * (2 * math.sin(self.angle / 2) ** 2)
        return np.asarray(self.start + back + self.way * (self.radius * math.sin(self.angle)))

    @property
    def length(self) -> float:
        """Length, mm."""
        return self.radius * self.angle


@dataclass(frozen=True, eq=False)
class Flat:
    """The straights and arcs of a route as flat arrays, in order, for compiled code.

    At distance t from its start, a piece of curvature c = 1 / R is at
    start + way sin(c t) / c + inward (1 - cos(c t)) / c, a straight (c = 0) at start + way t.

    Args:
        starts: (k, 3) mm.
        ways: (k, 3) unit directions at the starts.
        inwards: (k, 3) unit directions to an arc's centre; zeros for a straight.
        curvatures: (k,) 1/mm; 0 for a straight.
        lengths: (k,) mm.
    """

    starts: np.ndarray
    ways: np.ndarray
    inwards: np.ndarray
    curvatures: np.ndarray
    lengths: np.ndarray


@dataclass(frozen=True, eq=False)
class Route:
    """A centre line: straights from corner to corner, the inner corners rounded with one radius.

    Args:
        corners: (n, 3) start, corners, end, mm; read-only, no point twice in a row.
        radius: of every bend, mm.

    Raises:
        ValueError: fewer than 2 points, a point twice in a row, a leg that turns straight back,
            or no radius. `from_points` takes points as they come.
    """

    corners: np.ndarray
    radius: float

    def __post_init__(self) -> None:
        corners = frozen(np.array(self.corners, float))
        object.__setattr__(self, "corners", corners)
        object.__setattr__(self, "radius", float(self.radius))
        if corners.ndim != 2 or corners.shape[1] != 3 or len(corners) < 2 or not np.all(np.isfinite(corners)):
            raise ValueError(f"a route needs 2 points or more in space, not {corners.shape}")
        if not 0 < self.radius < math.inf:
            raise ValueError(f"the radius {self.radius} is not above 0")
        if np.any(self._lengths < NOTHING):
            raise ValueError("a point of the route stands twice in a row")
        if turns_back(corners):
            raise ValueError("the route turns straight back")

    @cached_property
    def _lengths(self) -> np.ndarray:
        """(n - 1,) from corner to corner, mm."""
        return frozen(np.linalg.norm(np.diff(self.corners, axis=0), axis=1))

    @cached_property
    def ways(self) -> np.ndarray:
        """(n - 1, 3) unit directions of the legs."""
        return frozen(np.diff(self.corners, axis=0) / self._lengths[:, None])

    @cached_property
    def turns(self) -> np.ndarray:
        """(n - 2,) angles at the inner corners, radians."""
        return frozen(angles_between(self.ways))

    @cached_property
    def takes(self) -> np.ndarray:
        """(n,) what the bend at each corner takes of the legs beside it, mm; 0 at both ends."""
        return frozen(np.concatenate([[0.0], bend_take(self.turns, self.radius), [0.0]]))

    @cached_property
    def legs(self) -> np.ndarray:
        """(n - 1,) straight left of each leg, mm; below 0 where its bends take more than there is."""
        return frozen(self._lengths - self.takes[:-1] - self.takes[1:])

    def is_sound(self, least: float = 0.0) -> bool:
        """Whether every leg keeps at least `least` mm of straight, within 1e-6 mm."""
        return bool(np.all(self.legs >= least - NOTHING))

    @cached_property
    def length(self) -> float:
        """Length of the centre line, mm: straights, and R times the angle for each bend."""
        return float(self.legs.sum() + self.radius * self.turns.sum())

    @cached_property
    def bends(self) -> tuple[Bend, ...]:
        """The bends from start to end; a corner that goes straight on is none."""
        return tuple(
            Bend(
                corner=int(k) + 1,
                at=self.corners[k + 1],
                angle=float(self.turns[k]),
                start=frozen(self.corners[k + 1] - self.ways[k] * self.takes[k + 1]),
                end=frozen(self.corners[k + 1] + self.ways[k + 1] * self.takes[k + 1]),
            )
            for k in np.flatnonzero(self.turns > STRAIGHT_ON)
        )

    @cached_property
    def pieces(self) -> tuple[Straight | Arc, ...]:
        """The straights and arcs from start to end, each beginning where the one before ends.

        Raises:
            ValueError: the route is not sound.
        """
        if not self.is_sound():
            raise ValueError("the bends of the route take more than its legs hold")
        pieces: list[Straight | Arc] = []
        bends = {bend.corner: bend for bend in self.bends}
        at = self.corners[0]
        for k, way in enumerate(self.ways):
            bend = bends.get(k + 1)
            end = self.corners[k + 1] if bend is None else bend.start
            if (end - at) @ way > ROUNDING:
                pieces.append(Straight(at, end, way))
            if bend is not None:
                pieces.append(self._arc(bend))
            at = end if bend is None else bend.end
        return tuple(pieces)

    def _arc(self, bend: Bend) -> Arc:
        way, way_out = self.ways[bend.corner - 1], self.ways[bend.corner]
        inward = way_out - way * (way_out @ way)
        # A second time: near a half turn or a straight, little is left of the first.
        inward /= np.linalg.norm(inward)
        inward -= way * (inward @ way)
        inward /= np.linalg.norm(inward)
        centre = frozen(bend.start + inward * self.radius)
        return Arc(centre, bend.start, frozen(np.cross(way, inward)), bend.angle, self.radius)

    @cached_property
    def flat(self) -> Flat:
        """The pieces as flat arrays; raises ValueError as `pieces` does."""
        arcs = [piece if isinstance(piece, Arc) else None for piece in self.pieces]
        straight = np.zeros(3)
        inwards = [straight if arc is None else (arc.centre - arc.start) / arc.radius for arc in arcs]
        return Flat(
            starts=frozen(np.array([piece.start for piece in self.pieces])),
            ways=frozen(np.array([piece.way for piece in self.pieces])),
            inwards=frozen(np.array(inwards)),
            curvatures=frozen(np.array([0.0 if arc is None else 1 / arc.radius for arc in arcs])),
            lengths=frozen(np.array([piece.length for piece in self.pieces])),
        )

    def point(self, along: float | np.ndarray) -> np.ndarray:
        """(..., 3) points at distances (...) from the start along the centre line, mm.

        Below 0 it is the start, beyond the length the end.
        """
        way, inward, ahead, aside, piece = self._place(along)
        starts = self.flat.starts[piece]
        return np.asarray(starts + way * ahead[..., None] + inward * aside[..., None])

    def tangent(self, along: float | np.ndarray) -> np.ndarray:
        """(..., 3) unit directions at distances (...) from the start along the centre line, mm."""
        way, inward, ahead, aside, piece = self._place(along)
        bent = self.flat.curvatures[piece][..., None]
        # With c the curvature: cos(c t) = 1 - c aside, sin(c t) = c ahead.
        return np.asarray(way * (1 - bent * aside[..., None]) + inward * bent * ahead[..., None])

    def _place(self, along: float | np.ndarray) -> tuple[np.ndarray, ...]:
        """Of each distance along: its piece, the piece's directions, and how far along these."""
        flat = self.flat
        ends = np.cumsum(flat.lengths)
        along = np.clip(np.asarray(along, float), 0.0, ends[-1])
        piece = np.minimum(np.searchsorted(ends, along), len(ends) - 1)
        rest = np.clip(along - (ends - flat.lengths)[piece], 0.0, flat.lengths[piece])
        bent = flat.curvatures[piece]
        radius = 1 / np.where(bent > 0, bent, 1.0)
        ahead = np.where(bent > 0, radius * np.sin(rest * bent), rest)
        aside = np.where(bent > 0, 2 * radius * np.sin(rest * bent / 2) ** 2, 0.0)
        return flat.ways[piece], flat.inwards[piece], ahead, aside, piece

    def sample(self, step: float) -> np.ndarray:
        """(m, 3) points from start to end, evenly spaced, at most `step` mm of centre line apart."""
        count = max(1, math.ceil(self.length / step))
        return self.point(np.linspace(0.0, self.length, count + 1))

    def reversed(self) -> Route:
        """The same centre line from its end to its start."""
        return Route(self.corners[::-1], self.radius)

    def moved(self, frame: Frame) -> Route:
        """The route turned and shifted; a mirroring `frame.rotation` is as good."""
        return Route(frame.point(self.corners), self.radius)


def turns_back(corners: np.ndarray) -> bool:
    """Whether a polyline (n, 3) turns straight back at a corner: no arc does that."""
    legs = np.diff(corners, axis=0)
    ways = legs / np.linalg.norm(legs, axis=1)[:, None]
    return bool(np.any(angles_between(ways) > math.pi - TURNS_BACK))


def from_points(points: np.ndarray, radius: float) -> Route:
    """A route through points (n, 3) as corners, without double points and corners that go straight on.

    Raises:
        ValueMistake: fewer than two points left, or a leg that turns straight back.
    """
    points = np.asarray(points, float)
    kept = list(points[:1])
    for point in points[1:]:
        if np.linalg.norm(point - kept[-1]) >= NOTHING:
            kept.append(point)
    # Start and end stay to the last bit, whatever stands close beside them.
    while len(kept) > 1 and np.linalg.norm(points[-1] - kept[-1]) < NOTHING:
        kept.pop()
    kept.append(points[-1])
    if len(kept) < 2 or np.linalg.norm(kept[1] - kept[0]) < NOTHING:
        raise ValueMistake("a path needs at least 2 points apart, not 1", "")
    corners = np.array(kept)
    legs = np.diff(corners, axis=0)
    turns = angles_between(legs / np.linalg.norm(legs, axis=1)[:, None])
    back = np.flatnonzero(turns > math.pi - TURNS_BACK)
    if len(back):
        raise ValueMistake(f"the path turns straight back at point {back[0] + 2}", "add a point beside it")
    return Route(corners[np.concatenate([[True], turns > STRAIGHT_ON, [True]])], radius)


def joined(first: Route, second: Route) -> Route:
    """Two routes of one radius as one; `second` begins where `first` ends."""
    if first.radius != second.radius:
        raise ValueError(f"routes of radius {first.radius:g} and {second.radius:g} are not one route")
    return from_points(np.concatenate([first.corners, second.corners]), first.radius)


def tube_solid(route: Route, name: str, outside: float, sagitta: float = SAGITTA) -> Solid:
    """A tube of an outside diameter, mm, laid along a route, as a solid in world coordinates.

    Its bends are rows of cylinders that lie at most `sagitta` mm outside the true tube.

    Raises:
        ValueMistake: the route is not sound, or its radius is below half the outside.
    """
    pieces, error = tube(route.corners, outside, route.radius, sagitta)
    return Solid(name, pieces, role="tube", error=error)
