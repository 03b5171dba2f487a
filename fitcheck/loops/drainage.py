"""What drains and what stays: the range that a drain and a vent leave behind, and where.

Three answers, from the same graph:

most
    Coolant leaves by gravity alone. Every point stays full whose height is below its spill: the least
    height that must be passed on the way to an open drain. What no air can come into stays full too.
least
    A perfect siphon: the air follows the coolant from the vents towards the drain, through lows and
    over crests, and stops only where it would have to go below the drain.
likely
    In a bore wider than `SIPHON` the air breaks through at each low, and the coolant of the rising leg
    falls back; in a narrower one it is pushed out.

Heights are those of the bores' centre lines. Films, foam and what clings in fins are not counted.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from fitcheck.loops.attitude import DIGITS, attitude
from fitcheck.loops.places import Place, places
from fitcheck.loops.waterway import UP, Pipe, Waterway

# A bubble rises through standing water in a bore above 1.84 sqrt(sigma / (rho g)): Bretherton 1961;
# with 72 mN/m at 25 °C that is 5.0 mm.
SIPHON = 5.0


@dataclass(frozen=True, eq=False)
class Drained:
    """What stays after draining, ml.

    Args:
        most, least, likely: as in the module's words.
        total: all that the waterway holds.
        places: where it stays, the largest first.
        vented: whether any air can come in at all.
    """

    most: float
    least: float
    likely: float
    total: float
    places: tuple[Place, ...]
    vented: bool


def drain(
    water: Waterway, drains: Collection[int], vents: Collection[int], up: Sequence[float] = UP
) -> Drained:
    """Open the drains and the vents, and let run out what runs out.

    Args:
        water: the full waterway.
        drains: nodes where coolant leaves.
        vents: nodes where air comes in.
        up: unit vector away from the ground, in the world's axes: turned for a tilted machine.
    """
    case = _Case(water, tuple(drains), tuple(vents), up)
    found = places(case.here, case.stays, case.tank_stays, case.why, case.holding)
    total = water.volume
    most, least, likely = (
        (sum(s[k] for s in case.stays) + sum(s[k] for s in case.tank_stays)) / 1000 for k in range(3)
    )
    return Drained(most, least, likely, total, found, bool(case.groups))


def most_left(
    water: Waterway, drains: Collection[int], vents: Collection[int], up: Sequence[float] = UP
) -> float:
    """The `most` of `drain` alone, ml: a fifth of the work."""
    case = _Case(water, tuple(drains), tuple(vents), up)
    pipes = sum(case.most_of(pipe) for pipe in case.here.pipes)
    return (pipes + sum(case.most_of_tank(k) for k in range(len(water.tanks)))) / 1000


class _Case:
    """One draining: the attitude parted at the drain's height, and what air does in it."""

    def __init__(
        self, water: Waterway, drains: tuple[int, ...], vents: tuple[int, ...], up: Sequence[float]
    ) -> None:
        heights = np.round(water.heights(up), DIGITS)
        # The siphon runs to the lowest drain.
        self.foot = min((float(heights[node]) for node in drains), default=math.inf)
        self.here = attitude(water, up, self.foot if drains else None)
        self.drains, self.vents = drains, vents
        self.spill = self.here.spill(drains)
        self.groups = self.here.aired({*drains, *vents}) if vents else []

    def holding(self, node: int) -> bool:
        """Whether coolant stands at a node."""
        return bool(self.here.z[node] < self.spill[node]) or not any(node in group for group in self.groups)

    @cached_property
    def levels(self) -> list[float]:
        """How far a siphon draws each tank down: to the openings of its own space, never below a drain.

        What lies beyond is full of coolant while it draws, and is passed at any height.
        """
        here, water = self.here, self.here.water
        levels = [math.inf] * len(water.tanks)
        for space in water.spaces:
            drawn = here.spill(self.drains, {node for k in space for node in water.tanks[k].openings})
            for k in space:
                levels[k] = float(drawn[here.tank_nodes[k]])
        return levels

    def _together(self, a: int, b: int) -> bool:
        return any(a in group and b in group for group in self.groups)

    @cached_property
    def _aired_tanks(self) -> frozenset[int]:
        """Tanks that air comes into: two of the openings of their space lie on a way between open ends."""
        tanks = self.here.water.tanks
        found: list[int] = []
        for space in self.here.water.spaces:
            openings = {node for k in space for node in tanks[k].openings}
            if any(len(openings & group) > 1 for group in self.groups):
                found += space
        return frozenset(found)

    def _tank_aired(self, k: int) -> bool:
        return k in self._aired_tanks

    @cached_property
    def reached(self) -> frozenset[int]:
        """Nodes (tanks too) that the air of a perfect siphon reaches; those at its foot without going on."""
        here = self.here
        queue = [node for node in self.vents if here.z[node] > self.foot]
        seen = set(queue)
        first_tank = here.tank_nodes.start
        while queue:
            node = queue.pop()
            for other in here.ways[node]:
                if other in seen or not self._passes(node, other, first_tank):
                    continue
                seen.add(other)
                if other >= first_tank or here.tops[other] > self.foot:
                    queue.append(other)
        return frozenset(seen)

    def _passes(self, node: int, other: int, first_tank: int) -> bool:
        here = self.here
        if other >= first_tank:
            return self._tank_aired(other - first_tank)
        if node >= first_tank:
            return bool(here.tops[other] >= self.levels[node - first_tank])
        return bool(here.tops[other] >= self.foot) and self._together(node, other)

    def _swept(self, pipe: Pipe) -> bool:
        """Whether a perfect siphon empties this piece of bore."""
        ends = (pipe.a, pipe.b)
        return (
            all(end in self.reached and self.here.z[end] >= self.foot for end in ends)
            and any(self.here.z[end] > self.foot for end in ends)
            and self._together(*ends)
        )

    @cached_property
    def _far_ends(self) -> dict[tuple[int, int], int]:
        here, first = self.here, self.here.tank_nodes.start
        pipes = [pipe for pipe in here.pipes if self._swept(pipe)]
        tanks = [node - first for node in here.tank_nodes if node in self.reached]
        return here.beyond([v for v in self.vents if v in self.reached], pipes, tanks)

    def _falls_back(self, pipe: Pipe) -> bool:
        """Whether all air comes up this piece of bore, and breaks through instead of pushing."""
        if 2 * math.sqrt(pipe.area / math.pi) < SIPHON:
            return False
        far = self._far_ends.get((min(pipe.a, pipe.b), max(pipe.a, pipe.b)))
        if far is None:
            return False
        return bool(self.here.z[far] > self.here.z[pipe.a if far == pipe.b else pipe.b])

    @cached_property
    def stays(self) -> list[tuple[float, float, float]]:
        """Most, least and likely of each piece of bore, mm³."""
        return [self._pipe_stays(pipe) for pipe in self.here.pipes]

    def _pipe_stays(self, pipe: Pipe) -> tuple[float, float, float]:
        most, pooled = self.most_of(pipe), self._pooled(pipe)
        if not self._together(pipe.a, pipe.b):
            return most, pooled, most
        if not self._swept(pipe):
            return pooled, pooled, pooled
        return pooled, 0.0, pooled if self._falls_back(pipe) else 0.0

    def most_of(self, pipe: Pipe) -> float:
        """The most that can stay in a piece of bore, mm³."""
        return self._pooled(pipe) if self._together(pipe.a, pipe.b) else pipe.area * pipe.length

    def _pooled(self, pipe: Pipe) -> float:
        """What stands in a piece of bore below its spill, mm³."""
        start, end = float(self.here.z[pipe.a]), float(self.here.z[pipe.b])
        spill = float(self.spill[pipe.a if start <= end else pipe.b])
        start, end = min(start, end), max(start, end)
        share = (min(spill, end) - start) / (end - start) if end > start else float(spill > start)
        return pipe.area * pipe.length * min(max(share, 0.0), 1.0)

    @cached_property
    def tank_stays(self) -> list[tuple[float, float, float]]:
        """Most, least and likely of each tank, mm³."""
        found = []
        for k, (node, tank) in enumerate(zip(self.here.tank_nodes, self.here.water.tanks, strict=True)):
            spill = float(self.spill[node])
            level = min(self.levels[k], spill) if node in self.reached else spill
            least = tank.below(self.here.up, level)
            found.append((self.most_of_tank(k), least, least if self._tank_aired(k) else tank.volume))
        return found

    def most_of_tank(self, k: int) -> float:
        """The most that can stay in a tank, mm³."""
        tank = self.here.water.tanks[k]
        if tank.unsure or not self._tank_aired(k):
            return tank.volume
        return tank.below(self.here.up, float(self.spill[self.here.tank_nodes[k]]))

    def why(self, nodes: frozenset[int]) -> str:
        """Why coolant stays at a place."""
        first = self.here.tank_nodes.start
        if all(math.isinf(self.spill[node]) for node in nodes):
            return "no way to a drain"
        tanks = [node - first for node in nodes if node >= first]
        bores = [node for node in nodes if node < first]
        aired = any(node in group for group in self.groups for node in bores)
        if not aired and not any(self._tank_aired(k) for k in tanks):
            return "no air comes in"
        if tanks and all(self.here.water.tanks[k].unsure for k in tanks) and self._dry(nodes):
            return "its inside is not known"
        if max(float(self.spill[node]) for node in nodes) <= self.foot:
            return "below the drain"
        return "a low point"

    def _dry(self, nodes: frozenset[int]) -> bool:
        """Whether these tanks would drain if their shape were as drawn."""
        first = self.here.tank_nodes.start
        return all(
            self.here.water.tanks[node - first].below(self.here.up, float(self.spill[node])) < 1e-6
            for node in nodes if node >= first
        )  # fmt: skip
