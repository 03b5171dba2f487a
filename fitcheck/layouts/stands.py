"""How the bodies of a group of parts lie at each stand of the wheels that the group hangs on.

Two groups that hang on different wheels stand to each other in as many ways as both have stands together;
each way is answered from the rows kept here, by the kernels, many at once, and no layout is worked out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitcheck.parts.solids import Mesh
from fitcheck.world.bodies import Bodies

# Of a body that a stand does not have: nothing comes near it.
NOWHERE = np.array([[np.inf] * 3, [-np.inf] * 3])


@dataclass(frozen=True)
class Named:
    """One solid of one part, and the entry of the scene file that the part comes from."""

    entry: str
    part: str
    solid: str


@dataclass(frozen=True, eq=False)
class Rows:
    """Pieces of one stand, or of all: as `Bodies` has them."""

    kinds: np.ndarray
    halves: np.ndarray
    rotations: np.ndarray
    centres: np.ndarray
    bounds: np.ndarray
    meshes: tuple[Mesh | None, ...]


@dataclass(frozen=True, eq=False)
class Lying:
    """One body at every stand.

    Args:
        bounds: (s, 2, 3) mm; `NOWHERE` where a stand does not have it.
        first, many: (s,) its pieces, as places in the rows of its group.
    """

    bounds: np.ndarray
    first: np.ndarray
    many: np.ndarray


class Stands:
    """The stands of one group.

    Args:
        count: how many it has.
    """

    def __init__(self, count: int) -> None:
        self.count = count
        self._rows: dict[int, Rows] = {}
        self._bodies: dict[int, tuple[tuple[Named, np.ndarray, int], ...]] = {}

    def learn(self, stand: int, solids: Bodies, entries: Sequence[str]) -> None:
        """Keep how the group's bodies lie in a world.

        Args:
            stand: where the group's wheels stand in it.
            entries: (m,) whose each body is; empty for bodies of others.
        """
        if stand in self._rows:
            return
        own = [k for k, entry in enumerate(entries) if entry]
        rows = np.concatenate([np.zeros(0, int), *(_rows_of(solids, k) for k in own)])
        self._rows[stand] = Rows(
            solids.kinds[rows],
            solids.halves[rows],
            solids.rotations[rows],
            solids.centres[rows],
            solids.bounds[rows],
            tuple(solids.meshes[row] for row in rows.tolist()),
        )
        self._bodies[stand] = tuple(
            (
                Named(entries[k], solids.all[k].part_name, solids.all[k].solid),
                solids.body_bounds[k],
                len(_rows_of(solids, k)),
            )
            for k in own
        )

    def gathered(self) -> tuple[Rows, dict[Named, Lying]]:
        """The rows of all stands in one, and where each body's are in it."""
        found: dict[Named, Lying] = {}
        begun = 0
        for stand, told in self._bodies.items():
            for named, bounds, many in told:
                if named not in found:
                    found[named] = Lying(
                        np.tile(NOWHERE, (self.count, 1, 1)),
                        np.zeros(self.count, int),
                        np.zeros(self.count, int),
                    )
                lying = found[named]
                lying.bounds[stand], lying.first[stand], lying.many[stand] = bounds, begun, many
                begun += many
        every = list(self._rows.values())
        return Rows(
            np.concatenate([one.kinds for one in every]),
            np.concatenate([one.halves for one in every]),
            np.concatenate([one.rotations for one in every]),
            np.concatenate([one.centres for one in every]),
            np.concatenate([one.bounds for one in every]),
            tuple(mesh for one in every for mesh in one.meshes),
        ), found


def _rows_of(solids: Bodies, body: int) -> np.ndarray:
    pieces = solids.all[body].pieces
    return np.arange(pieces.start, pieces.stop)
