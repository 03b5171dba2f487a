"""From a world to a loop's waterway: what is wet in its parts, its runs, and how they are joined."""

from __future__ import annotations

import itertools
import math
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fitcheck.loops.volumes import whole
from fitcheck.loops.waterway import UP, Plumber, Waterway
from fitcheck.parts.features import Wet
from fitcheck.parts.solids import Kind, Piece
from fitcheck.world.wishes import CABLE, LaidRun
from fitcheck.world.world import Part, World

# Two ports are joined when their sealing faces meet within the contact tolerance, mm.
MET = 0.05
# Wall of a tube whose bore is not given, as a share of its outside: 10 in 13, 13 in 16. Common practice.
WALL = 0.11


@dataclass(frozen=True, eq=False)
class Spot:
    """A port, or the end of a run, that something else can be joined to.

    Args:
        name: full name (`pump.inlet`); of a run's end its name and the port there.
        item: the part or run that has it.
        at: (3,) in the world, mm.
        axis: (3,) out of the part.
        tube: takes the end of a tube.
    """

    name: str
    item: str
    at: np.ndarray
    axis: np.ndarray
    tube: bool = False


@dataclass(frozen=True, eq=False)
class Net:
    """What is joined to what among all that is wet.

    Args:
        world: with its runs laid.
        parts: wet parts by full name.
        runs: tubes that got a way, by name.
        unlaid: tubes that got none.
        spots: of each part and run.
        met: the spots joined to each, by name.
    """

    world: World
    parts: dict[str, Part]
    runs: dict[str, LaidRun]
    unlaid: tuple[str, ...]
    spots: dict[str, tuple[Spot, ...]]
    met: dict[str, tuple[str, ...]]

    def item_of(self, spot: str) -> str:
        """The part or run that has a spot."""
        return next(s.item for spots in self.spots.values() for s in spots if s.name == spot)

    def items(self, said: str) -> tuple[str, ...]:
        """The wet parts and runs that a name stands for."""
        if said in self.runs or said in self.parts:
            return (said,)
        return tuple(name for name in self.parts if name.startswith((f"{said}.", f"{said}[")))

    def together(self, seeds: Iterable[str]) -> tuple[str, ...]:
        """All parts and runs that hang together with these, in the order of the scene."""
        owner = {spot.name: spot.item for spots in self.spots.values() for spot in spots}
        seen, queue = set(seeds), list(seeds)
        while queue:
            item = queue.pop()
            for spot in self.spots[item]:
                new = {owner[other] for other in self.met.get(spot.name, ())} - seen
                seen |= new
                queue += new
        return tuple(name for name in self.spots if name in seen)


def net(world: World) -> Net:
    """Find out which wet ports and which ends of tubes meet."""
    parts = {part.name: part for part in world.parts if part.shape.wet}
    tubes = [run for run in world.laid if run.wish.kind != CABLE]
    runs = {run.wish.name: run for run in tubes if run.corners is not None}
    spots = {name: tuple(_ports(part)) for name, part in parts.items()}
    met: dict[str, list[str]] = {}

    def join(a: Spot, b: Spot) -> None:
        met.setdefault(a.name, []).append(b.name)
        met.setdefault(b.name, []).append(a.name)

    for contact in world.contacts:
        if contact.kind == "join" and contact.a in parts and contact.b in parts:
            for mine in spots[contact.a]:
                for theirs in spots[contact.b]:
                    if np.linalg.norm(mine.at - theirs.at) < MET and mine.axis @ theirs.axis < 0:
                        join(mine, theirs)
    for name, run in runs.items():
        ends = []
        for end in (run.wish.start, run.wish.goal):
            spot = Spot(f"{name} at {end.place}", name, end.at, -end.out, tube=True)
            ends.append(spot)
            for theirs in spots.get(end.part, ()):
                if np.linalg.norm(theirs.at - end.at) < MET:
                    join(spot, theirs)
        spots[name] = tuple(ends)
    unlaid = tuple(run.wish.name for run in tubes if run.corners is None)
    return Net(world, parts, runs, unlaid, spots, {name: tuple(others) for name, others in met.items()})


def _ports(part: Part) -> Iterator[Spot]:
    """The ports that coolant reaches, each once."""
    named = dict.fromkeys(port for wet in part.shape.wet.values() for port in wet.ports)
    for name in named:
        port = part.shape.ports[name]
        yield Spot(
            f"{part.name}.{name}", part.name, part.pose.point(port.at), part.pose.direction(port.axis),
            tube=port.link.kind == "tube",
        )  # fmt: skip


@dataclass(frozen=True, eq=False)
class Plumbed:
    """A loop's waterway and what its nodes are.

    Args:
        water: the waterway.
        nodes: node of each spot, and of each mouth under its part's name.
        assumed: runs whose bore was not given.
    """

    water: Waterway
    nodes: dict[str, int]
    assumed: tuple[str, ...]


def plumb(
    found: Net, items: Sequence[str], opened: Collection[str] = (),
    volumes: Mapping[str, float] | None = None, ups: Iterable[Sequence[float]] = (UP,),
) -> Plumbed:  # fmt: skip
    """The waterway of these parts and runs.

    Args:
        found: what is joined to what.
        items: as `Net.together` gives them.
        opened: free ports that are opened; other free ports of wide spaces are plugged and hold nothing.
        volumes: what parts hold, ml, by full name, in place of what their models say.
        ups: attitudes in which heights will be asked.
    """
    pipes = _Fitter(found, set(opened), volumes or {}, ups)
    for name in items:
        if name in found.parts:
            pipes.part(found.parts[name])
    for name in items:
        if name in found.runs:
            pipes.run(found.runs[name])
    return Plumbed(pipes.plumber.waterway(), pipes.nodes, tuple(pipes.assumed))


class _Fitter:
    """Puts parts and runs into one waterway; joined spots are one node."""

    def __init__(
        self, found: Net, opened: set[str], volumes: Mapping[str, float], ups: Iterable[Sequence[float]]
    ) -> None:
        self.found, self.opened, self.volumes = found, opened, volumes
        self.plumber = Plumber(ups)
        self.nodes: dict[str, int] = {}
        self.assumed: list[str] = []

    def spot(self, spot: Spot) -> int:
        """The node of a spot, the same as that of what it is joined to."""
        for other in (spot.name, *self.found.met.get(spot.name, ())):
            if other in self.nodes:
                self.nodes[spot.name] = self.nodes[other]
        if spot.name not in self.nodes:
            self.nodes[spot.name] = self.plumber.node(spot.at, spot.name)
        return self.nodes[spot.name]

    def part(self, part: Part) -> None:
        spots = {spot.name: spot for spot in self.found.spots[part.name]}
        share = self._scale(part)
        openings: dict[str, list[int]] = {name: [] for name in part.shape.wet}
        for wet in part.shape.wet.values():
            ports = [spots[f"{part.name}.{port}"] for port in wet.ports]
            if wet.piece is None:
                self._channel(part, wet, ports, share)
                continue
            piece = placed(part, wet.piece)
            openings[wet.name] += [self._way_in(spot, piece, wet, part.name) for spot in ports]
            for other, corners in wet.meets:
                between = self.plumber.node(part.pose.point(corners))
                openings[wet.name].append(between)
                openings[other].append(between)
        for wet in part.shape.wet.values():
            if wet.piece is not None:
                piece = placed(part, wet.piece)
                self.plumber.tank(part.name, [piece], openings[wet.name], wet.share * share, wet.unsure)

    def _scale(self, part: Part) -> float:
        """What the part's given volume is of what its model says."""
        given = self.volumes.get(part.name)
        if given is None:
            return 1.0
        said = model_volume(part)
        return given / said if said else 1.0

    def _way_in(self, spot: Spot, piece: Piece, wet: Wet, owner: str) -> int:
        """The node where a port's bore enters a wide space: the space's nearest point."""
        node = self.spot(spot)
        at = _nearest(piece, spot.at)
        if np.linalg.norm(at - spot.at) < MET:
            return node
        entry = self.plumber.node(at)
        used = spot.name in self.found.met or spot.name in self.opened
        self.plumber.pipe(node, entry, _area(wet.bore) if used else 0.0, owner)
        return entry

    def _channel(self, part: Part, wet: Wet, ports: list[Spot], share: float) -> None:
        assert wet.line is not None
        corners = part.pose.point(wet.line)
        start = self.spot(ports[0])
        if wet.mouth:
            end = self.nodes[part.name] = self.plumber.node(corners[-1], part.name)
        else:
            end = self.spot(ports[1])
        # A fitting's corners are sharp.
        nodes = [start, *(self.plumber.node(corner) for corner in corners[1:-1]), end]
        for a, b in itertools.pairwise(nodes):
            self.plumber.pipe(a, b, _area(wet.bore) * share, part.name)

    def run(self, run: LaidRun) -> None:
        assert run.corners is not None
        bore = bore_of(run)
        if not run.wish.bore:
            self.assumed.append(run.wish.name)
        a, b = (self.spot(spot) for spot in self.found.spots[run.wish.name])
        self.plumber.line(a, b, run.corners, run.radius, _area(bore), run.wish.name)


def bore_of(run: LaidRun) -> float:
    """The bore of a tube, mm; by its outside where it is not given."""
    return run.wish.bore or run.wish.outside * (1 - 2 * WALL)


def model_volume(part: Part) -> float:
    """What a part holds by its model, ml: its spaces and channels, without the ways in from its ports."""
    total = 0.0
    for wet in part.shape.wet.values():
        if wet.piece is not None:
            total += wet.share * whole(wet.piece)
        elif wet.line is not None:
            total += _area(wet.bore) * float(np.linalg.norm(np.diff(wet.line, axis=0), axis=1).sum())
    return total / 1000


def _area(bore: float) -> float:
    return math.pi * bore * bore / 4


def placed(part: Part, piece: Piece) -> Piece:
    return replace(piece, rotation=part.pose.rotation @ piece.rotation, centre=part.pose.point(piece.centre))


def _nearest(piece: Piece, at: np.ndarray) -> np.ndarray:
    """The point of a box or cylinder nearest to a place."""
    own = piece.rotation.T @ (at - piece.centre)
    inside = np.clip(own, -piece.half, piece.half)
    if piece.kind == Kind.CYLINDER:
        reach = float(np.linalg.norm(own[:2]))
        inside[:2] = own[:2] * min(1.0, float(piece.half[0]) / reach) if reach > 0 else 0.0
    return np.asarray(piece.rotation @ inside + piece.centre)
