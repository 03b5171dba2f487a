"""Which pieces are deeper in each other than a contact: the verdict alone, far cheaper than how deep."""

from __future__ import annotations

import numpy as np

from fitcheck.world.bodies import Bodies
from fitcheck.world.couples import MESH, Couples
from fitcheck.world.memory import surely_deep
from fitcheck.world.nested import inside
from fitcheck.world.pairs import CONTACT, FLUSH, TOUCHING, bounding, measure_rows, nearest

# A proof of depth is kept off its own rounding, mm.
ROUNDING = 1e-7


def interfering(bodies: Bodies, rows: np.ndarray) -> np.ndarray:
    """Whether pairs of pieces interfere, as `Measured.interferes` of each alone.

    Args:
        rows: (k, 2) of pieces.

    Returns:
        (k,) bool; not where an open mesh leaves it undecided.
    """
    if not len(rows):
        return np.zeros(0, bool)
    around = bounding(bodies, rows, 0.0)
    meshed = (bodies.kinds[rows] == MESH).any(axis=1)
    found = np.asarray(~(around.depth <= CONTACT) & ~meshed)
    # What lies in a piece lies in the box around it: no deeper.
    asked = np.flatnonzero(meshed & (around.depth > FLUSH))
    if len(asked):
        found[asked] = _meshes(bodies, rows[asked])
    return found


def _meshes(bodies: Bodies, rows: np.ndarray) -> np.ndarray:
    """(k,) of pairs with a mesh; two that stand to each other as two before do are not asked again."""
    couples = Couples.of(bodies, rows)
    keys = np.array([tree.key for tree in couples.trees])
    kind = np.unique(keys[couples.which], axis=0, return_inverse=True)[1].reshape(len(rows))
    relation = np.column_stack([kind, couples.rotations.reshape(-1, 9), couples.shifts])
    _, first, again = np.unique(relation, axis=0, return_index=True, return_inverse=True)
    count = len(first)
    distances, _ = nearest(couples, np.zeros(count), np.arange(count), np.zeros(count), first)
    found = np.array(
        [
            _deep(bodies, rows, couples, k, free)
            for k, free in zip(first.tolist(), (distances > TOUCHING).tolist(), strict=True)
        ],
        bool,
    )
    return np.asarray(found[again.reshape(-1)])


def _deep(bodies: Bodies, rows: np.ndarray, couples: Couples, k: int, free: bool) -> bool:
    one = couples.one(k)
    if free and not inside(one.first, one.second, one.pose):
        return False
    if surely_deep(one.first, one.second, one.pose) > CONTACT + ROUNDING:
        return True
    depth = measure_rows(bodies, rows[[k]], np.zeros(1, int), np.zeros(1)).depth[0]
    return not depth <= CONTACT
