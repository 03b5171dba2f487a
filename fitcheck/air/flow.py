"""The greatest flow through a graph, and its least cut: the door to ortools."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

# Areas are whole numbers of this to the solver, mm2.
UNIT = 0.01
# Stands for no limit, in units: far above any case, far below what the solver can add up.
BOUNDLESS = 10**12


class NoFlow(Exception):
    """The library that works out flows is not installed."""


@dataclass(frozen=True, eq=False)
class Cut:
    """A greatest flow.

    Args:
        area: of the least cut, mm2.
        taken: (k,) of each source's arc how much of it flows, mm2.
        before: (n,) which points lie before the cut.
    """

    area: float
    taken: np.ndarray
    before: np.ndarray


class Flow:
    """A graph of ways that air can take, asked again and again with other sources.

    Args:
        count: of points.
        tails, heads, areas: (m,) ways that can be passed either way, and their areas, mm2.
        arcs: (tails, heads, areas) of ways that can be passed one way only.
        sinks: (k,) points where the air is where it wants to be.
        sources: (s,) points that sources are at; several may be at one.

    Raises:
        NoFlow: ortools is not installed.
    """

    def __init__(
        self,
        count: int,
        ways: tuple[np.ndarray, np.ndarray, np.ndarray],
        arcs: tuple[np.ndarray, np.ndarray, np.ndarray],
        sinks: np.ndarray,
        sources: np.ndarray,
    ) -> None:
        try:
            from ortools.graph.python import max_flow
        except ImportError as missing:
            raise NoFlow("ortools is not installed") from missing
        self._count = count
        self._solver: Any = max_flow.SimpleMaxFlow()
        tails, heads, areas = ways
        ends = (
            np.concatenate([tails, heads, arcs[0], sinks]),
            np.concatenate([heads, tails, arcs[1], np.full(len(sinks), count + 1)]),
            np.concatenate([_units(areas), _units(areas), _units(arcs[2]), np.full(len(sinks), BOUNDLESS)]),
        )
        self._solver.add_arcs_with_capacity(*ends)
        nothing = np.zeros(len(sources), np.int64)
        self._sources = self._solver.add_arcs_with_capacity(np.full(len(sources), count), sources, nothing)

    def cut(self, areas: np.ndarray) -> Cut:
        """The least cut between sources of these areas (s,), mm2, and the sinks; the one nearest to them."""
        self._solver.set_arcs_capacity(self._sources, _units(areas))
        status = self._solver.solve(self._count, self._count + 1)
        if status != self._solver.OPTIMAL:
            raise ArithmeticError(f"no greatest flow: {status}")
        before = np.zeros(self._count + 2, bool)
        before[self._solver.get_source_side_min_cut()] = True
        taken = self._solver.flows(self._sources) * UNIT
        return Cut(float(self._solver.optimal_flow() * UNIT), taken, before[: self._count])


def _units(areas: np.ndarray) -> np.ndarray:
    return np.asarray(np.rint(np.asarray(areas) / UNIT), np.int64)
