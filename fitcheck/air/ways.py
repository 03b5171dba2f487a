"""The ways of the air from fans to the outside, as one graph: rings of blades, radiator cores, free space."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np

from fitcheck.air.fans import Core, Fan, ring
from fitcheck.air.flow import Cut, Flow
from fitcheck.air.grid import Grid, attached, distinct, shares
from fitcheck.rays.lines import first_hits

# Off the face of blades or a core at which lines begin, mm.
OFF = 0.05
# A mouth that takes this share of its ring takes all of it, but for rounding.
FREELY = 0.99
# Sides of a fan.
INTAKE, EXHAUST = "intake", "exhaust"


@dataclass(frozen=True, eq=False)
class Mouth:
    """One side of a fan: where its air comes from, or goes to.

    Args:
        fan: whose.
        side: `INTAKE` or `EXHAUST`.
        nodes: (k,) points of the grid that it opens to.
        areas: (k,) of the ring, as far as it opens to each, mm2.
        passed: by core, the points behind it and the areas that reach them straight through it.
    """

    fan: Fan
    side: str
    nodes: np.ndarray
    areas: np.ndarray
    passed: dict[str, tuple[np.ndarray, np.ndarray]]


@dataclass(frozen=True, eq=False)
class Through:
    """Straight ways through a core from the points before it to those behind it, both ways.

    Args:
        core: which.
        tails, heads: (k,) points of the grid.
        areas: (k,) mm2.
    """

    core: Core
    tails: np.ndarray
    heads: np.ndarray
    areas: np.ndarray


def mouths(grid: Grid, fans: Sequence[Fan], cores: Sequence[Core]) -> list[Mouth]:
    """Both sides of each fan; what of a ring stands against something has no point and is left out.

    Air goes straight on from a ring: out of the fan's own frame, or through the core that it stands at, to
    the next points; where something is in the way, to the points about the ring.
    """
    found = []
    for fan in fans:
        points, area = ring(fan)
        for side, sign in ((INTAKE, 1.0), (EXHAUST, -1.0)):
            way = sign * fan.intake
            start = points + (fan.half + OFF) * way
            node, by = _straight(grid, cores, start, way, fan.depth[side])
            passed = {
                core.name: _summed(node[mine], np.full(int(mine.sum()), area))
                for k, core in enumerate(cores)
                if (mine := (by == k) & (node >= 0)).any()
            }
            lost = np.flatnonzero(node < 0)
            node[lost] = attached(grid, start[lost], np.broadcast_to(way, (len(lost), 3)))
            has = node >= 0
            part = area * shares(grid.gaps, points[has], grid.points[node[has]])
            found.append(Mouth(fan, side, *_summed(node[has], part), passed))
    return found


def _straight(
    grid: Grid, cores: Sequence[Core], start: np.ndarray, way: np.ndarray, depth: float
) -> tuple[np.ndarray, np.ndarray]:
    """(n,) the points that straight lines from a ring (n, 3) lead to, and (n,) through which core.

    At the end of the fan's frame, `depth` mm on, or behind a core near it; -1 where something else is in the
    way, or no core is."""
    far = depth + 2 * grid.pitch
    met = first_hits(grid.stops, start, start + far * way)
    reached = np.where(met.free, far, met.shares * far)
    out = start + depth * way
    ways = np.broadcast_to(way, start.shape).copy()
    good = reached > depth + OFF
    by = np.full(len(start), -1)
    for k, core in enumerate(cores):
        mine = met.rows == core.row
        along = np.sign(way @ core.through) * core.through
        out[mine] = start[mine] + reached[mine, None] * way + (2 * core.half + OFF) * along
        ways[mine] = along
        good |= mine
        by[mine] = k
    node = np.full(len(start), -1)
    node[good] = attached(grid, out[good], ways[good])
    return node, by


def through(grid: Grid, core: Core, share: float = 1.0) -> Through:
    """The straight ways through a core; `share` of it is open."""
    ends = []
    for sign in (-1.0, 1.0):
        way = np.broadcast_to(sign * core.through, core.points.shape)
        start = core.points + (core.half + OFF) * way
        node = attached(grid, start, way)
        ends.append((node, np.where(node >= 0, shares(grid.gaps, start, grid.points[node]), 0.0)))
    (tails, open_tails), (heads, open_heads) = ends
    both = (tails >= 0) & (heads >= 0)
    areas = core.area * share * np.minimum(open_tails, open_heads)[both]
    pairs, areas = _summed(tails[both] * len(grid.points) + heads[both], areas)
    return Through(core, pairs // len(grid.points), pairs % len(grid.points), areas)


def _summed(keys: np.ndarray, areas: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Each key once, and the sum of its areas."""
    single, which = np.unique(keys, return_inverse=True)
    return single, np.bincount(which, areas, len(single)) if len(single) else np.zeros(0)


@dataclass(frozen=True, eq=False)
class Ways:
    """The graph of one side of all fans.

    Args:
        grid: free space.
        mouths: of that side.
        cores: ways through them.
        arcs: (tails, heads, areas) of the ways through fans, which go one way only.
    """

    grid: Grid
    mouths: tuple[Mouth, ...]
    cores: tuple[Through, ...]
    arcs: tuple[np.ndarray, np.ndarray, np.ndarray]

    @cached_property
    def both(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(tails, heads, areas) of the ways that can be passed either way: free space and cores."""
        grid = self.grid
        tails = np.concatenate([grid.tails, *(core.tails for core in self.cores)])
        heads = np.concatenate([grid.heads, *(core.heads for core in self.cores)])
        return tails, heads, np.concatenate([grid.areas, *(core.areas for core in self.cores)])

    def cut(self) -> Together:
        """The least cut between all mouths at once and the outside."""
        sources = np.concatenate([np.zeros(0, int), *(mouth.nodes for mouth in self.mouths)])
        areas = np.concatenate([np.zeros(0), *(mouth.areas for mouth in self.mouths)])
        outside = np.flatnonzero(self.grid.outside)
        flow = Flow(len(self.grid.points), self.both, self.arcs, outside, sources)
        cut = flow.cut(areas)
        ends = np.cumsum([0, *(len(mouth.nodes) for mouth in self.mouths)])
        taken = [float(cut.taken[a:b].sum()) for a, b in pairwise(ends)]
        return Together(cut, tuple(taken), tuple(self._groups(cut, taken)))

    def _groups(self, cut: Cut, taken: Sequence[float]) -> Iterator[Group]:
        label = _pieces(cut.before, self.grid, self.cores)
        of: dict[int, list[int]] = {}
        for k, mouth in enumerate(self.mouths):
            held = mouth.nodes[cut.before[mouth.nodes]]
            if taken[k] < FREELY * mouth.areas.sum() and len(held):
                of.setdefault(int(label[held].min()), []).append(k)
        for members in of.values():
            held = np.concatenate([self.mouths[k].nodes for k in members])
            chosen = np.zeros(len(label), bool)
            chosen[label[held[cut.before[held]]]] = True
            yield Group(tuple(members), cut.before & chosen[label])

    def alone(self, group: Group) -> Iterator[tuple[int, Cut]]:
        """The least cut of each mouth of a group when no other blows.

        What the common cut lets through is known to find its way to the outside; so all behind it is the
        outside, and only what lies before it is asked again.
        """
        number = np.where(group.before, np.cumsum(group.before) - 1, int(group.before.sum()))
        count = int(group.before.sum())
        inner = [self._inner(ends, number, count) for ends in (self.both, self.arcs)]
        mouths = [self.mouths[k] for k in group.members]
        sources = np.concatenate([number[mouth.nodes] for mouth in mouths])
        flow = Flow(count + 1, inner[0], inner[1], np.array([count]), sources)
        for k in group.members:
            areas = [mouth.areas * (mouth is self.mouths[k]) for mouth in mouths]
            found = flow.cut(np.concatenate(areas))
            before = np.append(found.before[:count], False)[number]
            yield k, Cut(found.area, found.taken, before)

    def _inner(
        self, ends: tuple[np.ndarray, np.ndarray, np.ndarray], number: np.ndarray, count: int
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        tails, heads, areas = number[ends[0]], number[ends[1]], ends[2]
        kept = (tails < count) | (heads < count)
        return tails[kept], heads[kept], areas[kept]


@dataclass(frozen=True, eq=False)
class Group:
    """Mouths that lie before the same piece of a cut: what they take, they take from each other.

    Args:
        members: numbers of the mouths.
        before: (n,) points of the grid before their piece of the cut.
    """

    members: tuple[int, ...]
    before: np.ndarray


@dataclass(frozen=True, eq=False)
class Together:
    """All mouths at once.

    Args:
        cut: the least cut.
        taken: by mouth, how much flows, mm2.
        groups: those that do not get all they could take.
    """

    cut: Cut
    taken: tuple[float, ...]
    groups: tuple[Group, ...]


def _pieces(before: np.ndarray, grid: Grid, cores: Sequence[Through]) -> np.ndarray:
    """(n,) the least number of a point that each point before a cut hangs together with."""
    tails = np.concatenate([grid.tails, *(core.tails for core in cores)])
    heads = np.concatenate([grid.heads, *(core.heads for core in cores)])
    inside = before[tails] & before[heads]
    tails, heads = tails[inside], heads[inside]
    label = np.arange(len(before))
    while True:
        least = np.minimum(label[tails], label[heads])
        new = label.copy()
        np.minimum.at(new, label[tails], least)
        np.minimum.at(new, label[heads], least)
        new = new[new]
        if (new == label).all():
            return label
        label = new


def ways(grid: Grid, all_mouths: Sequence[Mouth], cores: Sequence[Through], side: str) -> Ways:
    """The ways between one side of all fans and the outside.

    They pass through other fans only as these blow: with the air that leaves a fan, against that which comes.
    """
    mine = tuple(mouth for mouth in all_mouths if mouth.side == side)
    return Ways(grid, mine, tuple(_left(core, mine) for core in cores), _fan_arcs(all_mouths, side))


def _left(core: Through, all_mouths: Sequence[Mouth]) -> Through:
    """What of a core is left for air that comes to it otherwise than straight from a ring before it."""
    areas = core.areas.copy()
    for mouth in all_mouths:
        for node, taken in zip(*mouth.passed.get(core.core.name, ((), ())), strict=True):
            there = (core.tails == node) | (core.heads == node)
            has = float(areas[there].sum())
            areas[there] *= max(1 - taken / has, 0.0) if has > 0 else 1.0
    return Through(core.core, core.tails, core.heads, areas)


def _fan_arcs(all_mouths: Sequence[Mouth], side: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Arcs through the fans: from where each is entered to where it is left, as large as either side opens.

    The points of both sides are matched in the order of the grid, each taking what the other still has.
    """
    tails, heads, areas = [], [], []
    for at in range(0, len(all_mouths), 2):
        intake, exhaust = all_mouths[at], all_mouths[at + 1]
        enter, leave = (intake, exhaust) if side == EXHAUST else (exhaust, intake)
        a, b = np.cumsum(enter.areas), np.cumsum(leave.areas)
        if not len(a) or not len(b):
            continue
        steps = distinct(np.concatenate([a, b]))
        steps = steps[steps <= min(a[-1], b[-1]) + 1e-9]
        sizes = np.diff(np.concatenate([[0.0], steps]))
        middles = steps - sizes / 2
        tails.append(enter.nodes[np.searchsorted(a, middles).clip(0, len(a) - 1)])
        heads.append(leave.nodes[np.searchsorted(b, middles).clip(0, len(b) - 1)])
        areas.append(sizes)
    if not tails:
        return np.zeros(0, int), np.zeros(0, int), np.zeros(0)
    return np.concatenate(tails), np.concatenate(heads), np.concatenate(areas)
