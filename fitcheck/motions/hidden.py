"""What an open mesh hides: does one body lie in another as they stand?

A body that stands free of an open mesh may lie in what the mesh stands for, or beside it. It is asked
where they stand: on its way a body that keeps off the mesh's surface passes only through the holes of
it, and those count as open.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable

import numpy as np

from fitcheck.motions.moving import Pair
from fitcheck.world import kernels
from fitcheck.world.bodies import Bodies
from fitcheck.world.engine import measure
from fitcheck.world.nested import OUTSIDE


def hidden(solids: Bodies, pairs: Iterable[Pair]) -> tuple[Pair, ...]:
    """Pairs of bodies of which an open mesh leaves open whether one lies in the other."""
    opened = np.zeros(len(solids), bool)
    opened[solids.body[_open_rows(solids)]] = True
    if not opened.any():
        return ()
    asked = np.array(list(pairs), int).reshape(-1, 2)
    asked = asked[opened[asked].any(axis=1)]
    low, high = solids.body_bounds[:, 0], solids.body_bounds[:, 1]
    i, j = asked.T
    asked = asked[((low[i] < high[j]) & (low[j] < high[i])).all(axis=1)]
    found = measure(solids, asked, 0.0) if len(asked) else ()
    return tuple((int(i), int(j)) for (i, j), one in zip(asked, found, strict=True) if not one.decided)


def hides_point(solids: Bodies, at: np.ndarray, left_out: Collection[int]) -> int | None:
    """A body whose open mesh leaves open whether a point (3,) lies in it; None where none does.

    By the winding number (Jacobson, Kavan and Sorkine-Hornung 2013), as for bodies.
    """
    for row in _open_rows(solids):
        mesh, body = solids.meshes[row], int(solids.body[row])
        low, high = solids.bounds[row]
        if mesh is None or body in left_out or not ((at > low) & (at < high)).all():
            continue
        corners = mesh.vertices @ solids.rotations[row].T + solids.centres[row]
        if float(kernels.winding_number(np.ascontiguousarray(corners[mesh.faces]), at[None])[0]) > OUTSIDE:
            return body
    return None


def not_told(solids: Bodies, pair: Pair) -> str:
    """What is not decided, in words."""
    one, other = (solids.all[k].name for k in pair)
    return f"whether {one} and {other} lie in each other is not decided: a mesh of theirs is not closed"


def _open_rows(solids: Bodies) -> list[int]:
    return [row for row, mesh in enumerate(solids.meshes) if mesh is not None and not mesh.closed]
