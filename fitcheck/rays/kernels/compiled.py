"""Entry points: all that is compiled and kept on disk."""

from __future__ import annotations

from fitcheck.rays.kernels import hits, rooms, section
from fitcheck.rays.kernels.hits import Pieces
from fitcheck.world.kernels.native import bare_entry
from fitcheck.world.kernels.vectors import Floats, Ints


@bare_entry
def first_hits(
    pieces: Pieces, starts: Floats, ends: Floats, any_will_do: bool, shares: Floats, which: Ints
) -> None:
    """Fill how far along its way (n,) each line from `starts` to `ends` (n, 3) is stopped (inf: it is
    not), and the piece (n,) that stops it (-1)."""
    for k in range(len(starts)):
        o = (starts[k, 0], starts[k, 1], starts[k, 2])
        w = (ends[k, 0] - o[0], ends[k, 1] - o[1], ends[k, 2] - o[2])
        shares[k], which[k] = hits.first(pieces, o, w, any_will_do)


@bare_entry
def nearest(pieces: Pieces, points: Floats, cap: float, distances: Floats, which: Ints) -> None:
    """Fill how far points (n, 3) are from the nearest piece (n,), at most `cap`, and which (-1: none)."""
    for k in range(len(points)):
        distances[k], which[k] = rooms.room(pieces, (points[k, 0], points[k, 1], points[k, 2]), cap)


@bare_entry
def free_area(pieces: Pieces, frame: Floats, filled: Ints, todo: Ints, seeds: int) -> float:
    """Area of free space in a plane around seeds, mm2; -1 when it has no end."""
    return section.free_area(pieces, frame, filled, todo, seeds)
