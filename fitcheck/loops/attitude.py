"""A waterway in one attitude: heights, ways, and where air can come in."""

from __future__ import annotations

import heapq
import math
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import rustworkx as rx

from fitcheck.loops.waterway import Pipe, Waterway

# Heights closer than this are one height, as a number of digits of mm: what is level stays level in spite
# of the rounding of a turn.
DIGITS = 6


@dataclass(frozen=True, eq=False)
class Attitude:
    """Heights along one direction, and the pieces of bore between them.

    Tanks are nodes too, numbered after the others: a way through a tank passes its openings and
    nothing higher, so a tank's own height is minus infinity. `z` is the height of each node's lowest
    corner, where coolant passes first, `tops` that of its highest, where air does. `cuts` are the places,
    (3,) mm, of the nodes where bores were parted; they come after the waterway's own.
    """

    water: Waterway
    up: np.ndarray
    z: np.ndarray
    tops: np.ndarray
    pipes: tuple[Pipe, ...]
    cuts: tuple[np.ndarray, ...] = ()

    @property
    def tank_nodes(self) -> range:
        """Numbers of the tanks as nodes."""
        return range(len(self.z) - len(self.water.tanks), len(self.z))

    @cached_property
    def ways(self) -> list[list[int]]:
        """The neighbours of each node."""
        ways: list[list[int]] = [[] for _ in self.z]
        for pipe in self.pipes:
            ways[pipe.a].append(pipe.b)
            ways[pipe.b].append(pipe.a)
        for node, tank in zip(self.tank_nodes, self.water.tanks, strict=True):
            for opening in tank.openings:
                ways[node].append(opening)
                ways[opening].append(node)
        return ways

    def spill(self, exits: Iterable[int], counting: Iterable[int] | None = None) -> np.ndarray:
        """For each node the least height that must be passed on the way to an exit (inf: no way).

        With `counting` only these nodes and the exits count, and all others are passed at any height.

        Minimax paths, by one search from the exits in rising order (as depressions are filled:
        Barnes, Lehman and Mulla 2014, "Priority-flood").
        """
        exits = tuple(exits)
        z = self.z
        if counting is not None:
            z = np.full(len(z), -math.inf)
            known = [*exits, *counting]
            z[known] = self.z[known]
        least = np.full(len(z), math.inf)
        queue = []
        for node in exits:
            least[node] = z[node]
            queue.append((float(z[node]), node))
        heapq.heapify(queue)
        while queue:
            height, node = heapq.heappop(queue)
            if height > least[node]:
                continue
            for other in self.ways[node]:
                passed = max(height, float(z[other]))
                if passed < least[other]:
                    least[other] = passed
                    heapq.heappush(queue, (passed, other))
        return least

    def aired(self, open_ends: Collection[int]) -> list[frozenset[int]]:
        """Groups of nodes that lie on a way from one open end to another, without going back.

        Only there can air push coolant out. In a tank air and coolant pass each other, so ways may
        meet there: tanks wide open to each other count as a mesh of ways between all their openings.
        """
        graph = self._meshed(self.pipes, range(len(self.water.tanks)), open_ends)
        groups: dict[int, set[int]] = {}
        for edge, group in rx.biconnected_components(graph).items():
            groups.setdefault(group, set()).update(edge)
        air = len(self.z)
        return [frozenset(group - {air}) for group in groups.values() if air in group and len(group) > 2]

    def beyond(
        self, vents: Collection[int], pipes: Collection[Pipe], tanks: Collection[int]
    ) -> dict[tuple[int, int], int]:
        """The end away from the vents of each pair of nodes that all air to one of them must cross.

        Args:
            vents: where air comes in.
            pipes, tanks: those that air passes.
        """
        graph = self._meshed(pipes, tanks, vents)
        air = len(self.z)
        steps = {node: step for step, layer in enumerate(rx.bfs_layers(graph, [air])) for node in layer}
        pairs = [sorted(pair) for pair in rx.bridges(graph) if steps.keys() >= set(pair)]
        return {(a, b): max(a, b, key=steps.__getitem__) for a, b in pairs if b != air}

    def _meshed(self, pipes: Iterable[Pipe], tanks: Iterable[int], open_ends: Iterable[int]) -> rx.PyGraph:
        """The ways of air, with the air outside as the node after the last."""
        graph = rx.PyGraph(multigraph=False)
        graph.add_nodes_from(range(len(self.z) + 1))
        graph.add_edges_from_no_data([(pipe.a, pipe.b) for pipe in pipes])
        chosen = set(tanks)
        for group in self.water.spaces:
            inside = [self.water.tanks[k].openings for k in group if k in chosen]
            openings = tuple(dict.fromkeys(node for some in inside for node in some))
            graph.add_edges_from_no_data([(a, b) for i, a in enumerate(openings) for b in openings[:i]])
        graph.add_edges_from_no_data([(len(self.z), node) for node in open_ends])
        return graph


def attitude(water: Waterway, up: Sequence[float], level: float | None = None) -> Attitude:
    """The waterway with heights along `up` (a unit vector); bores that cross `level` are parted there."""
    direction = np.asarray(up, float)
    z = list(np.round(water.heights(direction), DIGITS))
    tops = list(-np.round(water.heights(-direction), DIGITS))
    level = None if level is None else round(level, DIGITS)
    cuts: list[np.ndarray] = []
    pipes: list[Pipe] = []
    for pipe in water.pipes:
        low, high = sorted((z[pipe.a], z[pipe.b]))
        if level is None or not low < level < high:
            pipes.append(pipe)
            continue
        share = float((level - z[pipe.a]) / (z[pipe.b] - z[pipe.a]))
        z.append(level)
        tops.append(level)
        cuts.append((1 - share) * water.middle(pipe.a) + share * water.middle(pipe.b))
        new = len(z) - 1
        pipes.append(replace(pipe, b=new, length=pipe.length * share))
        pipes.append(replace(pipe, a=new, length=pipe.length * (1 - share)))
    tanks = [-math.inf] * len(water.tanks)
    return Attitude(water, direction, np.array(z + tanks), np.array(tops + tanks), tuple(pipes), tuple(cuts))
