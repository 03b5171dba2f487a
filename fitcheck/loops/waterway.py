"""The waterway: bores and tanks that the coolant of a loop stands in, as a graph in space."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from fitcheck.loops.volumes import below, whole
from fitcheck.parts.solids import Piece

UP = (0.0, 0.0, 1.0)
# A bend is taken apart into pieces of at most so much, and at its highest and lowest points. Between
# them heights count as linear: off by R (1 - cos 1.5°), 0.02 mm at a radius of 50.
STEP = math.radians(3)


@dataclass(frozen=True, eq=False)
class Pipe:
    """A straight piece of bore between two nodes.

    Args:
        a, b: numbers of the nodes.
        area: of the bore, mm²; 0 for what holds nothing worth counting.
        length: mm.
        owner: the run or part that it belongs to.
        tube: it is a piece of tube, that can be cut for a tee.
    """

    a: int
    b: int
    area: float
    length: float
    owner: str
    tube: bool = False


@dataclass(frozen=True, eq=False)
class Tank:
    """A space wide enough for air and coolant to pass each other, with one level.

    Args:
        owner: the part that it belongs to.
        pieces: boxes and cylinders, in the world.
        share: how much of their volume is coolant.
        openings: numbers of the nodes where it can be entered.
        unsure: its inside is not known, so that all of it may stay.
    """

    owner: str
    pieces: tuple[Piece, ...]
    share: float
    openings: tuple[int, ...]
    unsure: bool = False

    @property
    def volume(self) -> float:
        """All that it holds, mm³."""
        return self.share * sum(map(whole, self.pieces))

    def below(self, up: np.ndarray, level: float) -> float:
        """What it holds below a level, mm³ (`level` as in `volumes.below`)."""
        if math.isinf(level):
            return self.volume if level > 0 else 0.0
        return self.share * sum(below(piece, up, level) for piece in self.pieces)


@dataclass(frozen=True, eq=False)
class Waterway:
    """All that is wet in a loop.

    Args:
        points: for each node the corners of the opening that it stands for, (k, 3) mm; a node of a
            centre line has one. What passes a node passes its lowest corner first.
        names: name of each node; empty where it is only a point of a centre line.
        pipes: bores between nodes.
        tanks: wide spaces.
    """

    points: tuple[np.ndarray, ...]
    names: tuple[str, ...]
    pipes: tuple[Pipe, ...]
    tanks: tuple[Tank, ...] = ()
    index: dict[str, int] = field(default_factory=dict)

    @property
    def volume(self) -> float:
        """All that it holds, ml."""
        return (sum(p.area * p.length for p in self.pipes) + sum(t.volume for t in self.tanks)) / 1000

    def heights(self, up: Sequence[float] | np.ndarray) -> np.ndarray:
        """(n,) height of each node's lowest corner along `up`, mm."""
        corners, starts = self._corners
        return np.asarray(np.minimum.reduceat(corners @ np.asarray(up, float), starts))

    @cached_property
    def spaces(self) -> tuple[tuple[int, ...], ...]:
        """The tanks that are open to each other over more than a bore, in groups."""
        of = list(range(len(self.tanks)))
        for node, corners in enumerate(self.points):
            if len(corners) > 1:
                there = [k for k, tank in enumerate(self.tanks) if node in tank.openings]
                first = min((of[k] for k in there), default=0)
                joined = {of[k] for k in there}
                of = [first if group in joined else group for group in of]
        return tuple(tuple(k for k, group in enumerate(of) if group == g) for g in sorted(set(of)))

    @cached_property
    def _corners(self) -> tuple[np.ndarray, np.ndarray]:
        """All corners in one array, and where those of each node begin."""
        counts = [len(corners) for corners in self.points]
        return np.concatenate(self.points), np.cumsum([0, *counts[:-1]])

    def middle(self, node: int) -> np.ndarray:
        """(3,) middle of a node's corners, mm."""
        return np.asarray(self.points[node].mean(axis=0))


class Plumber:
    """Puts a waterway together, node by node."""

    def __init__(self, ups: Iterable[Sequence[float]] = (UP,)) -> None:
        self.ups = [np.asarray(up, float) for up in ups]
        self.points: list[np.ndarray] = []
        self.names: list[str] = []
        self.pipes: list[Pipe] = []
        self.tanks: list[Tank] = []
        self.index: dict[str, int] = {}

    def node(self, at: Sequence[float] | np.ndarray, name: str = "") -> int:
        """A node at a point (3,), or at an opening given by its corners (k, 3); a name is kept once."""
        if name and name in self.index:
            return self.index[name]
        self.points.append(np.atleast_2d(np.asarray(at, float)))
        self.names.append(name)
        if name:
            self.index[name] = len(self.names) - 1
        return len(self.names) - 1

    def pipe(
        self, a: int, b: int, area: float, owner: str, length: float | None = None, tube: bool = False
    ) -> None:
        """A straight bore between two nodes."""
        if length is None:
            length = float(np.linalg.norm(self.points[b].mean(axis=0) - self.points[a].mean(axis=0)))
        self.pipes.append(Pipe(a, b, area, length, owner, tube))

    def line(
        self, a: int, b: int, corners: np.ndarray, radius: float, area: float, owner: str
    ) -> tuple[int, ...]:
        """A run from node a to node b along a centre line whose inner corners are rounded.

        Args:
            a, b: the nodes at its ends.
            corners: (n, 3) from the place of a to that of b, mm.
            radius: of the bends' centre line, mm.
            area: of the bore, mm².
            owner: the run.

        Returns:
            All nodes along it, a and b included.
        """
        nodes = [a]
        pieces = centre_line(corners, radius, self.ups)
        for point, length in pieces[:-1]:
            nodes.append(self.node(point))
            self.pipe(nodes[-2], nodes[-1], area, owner, length, tube=True)
        nodes.append(b)
        self.pipe(nodes[-2], b, area, owner, pieces[-1][1], tube=True)
        return tuple(nodes)

    def tank(
        self, owner: str, pieces: Sequence[Piece], openings: Sequence[int],
        share: float = 1.0, unsure: bool = False,
    ) -> None:  # fmt: skip
        """A wide space with its openings."""
        self.tanks.append(Tank(owner, tuple(pieces), share, tuple(dict.fromkeys(openings)), unsure))

    def waterway(self) -> Waterway:
        """What was put together."""
        return Waterway(
            tuple(self.points), tuple(self.names), tuple(self.pipes), tuple(self.tanks), dict(self.index)
        )


def centre_line(
    corners: np.ndarray, radius: float, ups: Sequence[np.ndarray]
) -> list[tuple[np.ndarray, float]]:
    """The centre line as short pieces of monotone height: where each ends, and how long it is.

    A corner of angle a takes R tan(a / 2) of both its legs, and the arc is R a long.

    Args:
        corners: (n, 3), n >= 2, mm.
        radius: of the bends, mm.
        ups: directions in which heights will be asked: bends are parted at their extremes along each.
    """
    found: list[tuple[np.ndarray, float]] = []
    at = np.asarray(corners[0], float)
    for before, corner, after in zip(corners[:-2], corners[1:-1], corners[2:], strict=True):
        inward, outward = _unit(corner - before), _unit(after - corner)
        angle = math.atan2(float(np.linalg.norm(np.cross(inward, outward))), float(inward @ outward))
        if angle < 1e-9:
            continue
        take = radius * math.tan(angle / 2)
        start = corner - take * inward
        found.append((start, float(np.linalg.norm(start - at))))
        aside = _unit(outward - (outward @ inward) * inward)
        turned = 0.0
        for turn in _parted(angle, inward, aside, ups):
            at = start + radius * (math.sin(turn) * inward + (1 - math.cos(turn)) * aside)
            found.append((at, radius * (turn - turned)))
            turned = turn
    last = np.asarray(corners[-1], float)
    found.append((last, float(np.linalg.norm(last - at))))
    return found


def _parted(angle: float, inward: np.ndarray, aside: np.ndarray, ups: Sequence[np.ndarray]) -> list[float]:
    """The angles at which a bend is taken apart, its end included."""
    count = math.ceil(angle / STEP)
    turns = {angle * k / count for k in range(1, count + 1)}
    for up in ups:
        # Height along the arc: R (sin t (inward·up) + (1 - cos t)(aside·up)); its slope is nothing where
        # tan t = -(inward·up) / (aside·up).
        level = math.atan2(-float(inward @ up), float(aside @ up)) % math.pi
        if 1e-9 < level < angle - 1e-9:
            turns.add(level)
    return sorted(turns)


def _unit(vector: np.ndarray) -> np.ndarray:
    return np.asarray(vector / np.linalg.norm(vector))
