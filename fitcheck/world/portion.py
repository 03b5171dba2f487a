"""Some placements asked together: which pairs are near by their boxes, and where their pieces stand."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from fitcheck.world.bodies import Bodies
from fitcheck.world.couples import Couples
from fitcheck.world.pairs import CONTACT


class Near(NamedTuple):
    """Pairs of bodies near each other, one row each, in the order of the placements.

    Args:
        placement: (m,) number of the placement.
        bodies: (m, 2) indices, the lower first.
        distance: (m,) mm, 0 where they touch or interfere.
        interferes: (m,) whether they are deeper in each other than a contact.
    """

    placement: np.ndarray
    bodies: np.ndarray
    distance: np.ndarray
    interferes: np.ndarray


@dataclass(frozen=True, eq=False)
class Portion:
    """Some placements asked together, and what the kernel found."""

    bodies: Bodies
    group_of: np.ndarray
    numbers: np.ndarray
    pairs: np.ndarray
    is_meshed: np.ndarray
    clashing: np.ndarray
    found: np.ndarray
    figures: np.ndarray
    turns: np.ndarray
    shifts: np.ndarray

    def plain(self) -> Near:
        """Pairs without a mesh, answered."""
        rows = self.is_meshed[self.found[:, 1]] == 0
        placement, which = self.found[rows].T
        distance, depth = self.figures[rows].T
        return Near(self.numbers[placement], self.bodies_of(which), distance, depth > CONTACT)

    def meshed(self) -> Iterator[tuple[np.ndarray, int, np.ndarray]]:
        """For each pair with a mesh the placements (q,) to ask it in, and lower bounds of the distance."""
        rows = np.flatnonzero(self.is_meshed[self.found[:, 1]] == 1)
        rows = rows[np.argsort(self.found[rows, 1], kind="stable")]
        which = self.found[rows, 1]
        for group in np.split(rows, np.flatnonzero(np.diff(which)) + 1):
            if len(group):
                yield self.found[group, 0], int(self.found[group[0], 1]), self.figures[group, 0]

    def placed(self, row: int, chosen: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Rotations (q, 3, 3) and centres (q, 3) of a piece in these placements."""
        bodies = self.bodies
        group = self.group_of[bodies.body[row]]
        turn, centre = bodies.rotations[row], bodies.centres[row]
        if group < 0:
            return np.broadcast_to(turn, (len(chosen), 3, 3)), np.broadcast_to(centre, (len(chosen), 3))
        turns = self.turns[chosen, group]
        return turns @ turn, turns @ centre + self.shifts[chosen, group]

    def couples(self, which: int, chosen: np.ndarray) -> Couples:
        """One pair of pieces in these placements, as rows 2 q and 2 q + 1 of bodies of its own."""
        bodies = self.two_of(which, chosen)
        rows = np.arange(2 * len(chosen)).reshape(-1, 2)
        return Couples.of_one(bodies, rows)

    def two_of(self, which: int, chosen: np.ndarray) -> Bodies:
        """Only the two pieces of one pair, one after the other, for each of these placements."""
        own = self.bodies
        pair = self.pairs[which].tolist()
        rotations, centres = np.empty((2 * len(chosen), 3, 3)), np.empty((2 * len(chosen), 3))
        for k, row in enumerate(pair):
            rotations[k::2], centres[k::2] = self.placed(row, chosen)
        rows = np.tile(pair, len(chosen))
        return Bodies(
            kinds=own.kinds[rows],
            halves=own.halves[rows],
            rotations=rotations,
            centres=centres,
            bounds=np.empty((0, 2, 3)),
            body=rows,
            meshes=tuple(own.meshes[row] for row in pair) * len(chosen),
            all=(),
            body_bounds=np.empty((0, 2, 3)),
            body_parts=np.empty(0, int),
            serials=np.empty(0, int),
            answers=None,
        )

    def bodies_of(self, which: int | np.ndarray) -> np.ndarray:
        """The bodies, the lower first, of the pieces of a pair or of pairs."""
        return np.sort(self.bodies.body[self.pairs[which]], axis=-1)
