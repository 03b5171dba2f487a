"""How large a plane cross-section of free space is: filled square by square from where it is known free."""

from __future__ import annotations

from fitcheck.rays.kernels.hits import Pieces, first
from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Floats, Ints, Vector

# Columns of a frame: middle of the plane, its two directions, edge of a square, squares to each side.
ALONG, ACROSS, PITCH, REACH = 3, 6, 9, 10


@native
def place(frame: Floats, i: int, j: int) -> Vector:
    """The middle of square (i, j), counted from the plane's corner."""
    s, t = (i - frame[REACH]) * frame[PITCH], (j - frame[REACH]) * frame[PITCH]
    return (
        frame[0] + s * frame[ALONG] + t * frame[ACROSS],
        frame[1] + s * frame[ALONG + 1] + t * frame[ACROSS + 1],
        frame[2] + s * frame[ALONG + 2] + t * frame[ACROSS + 2],
    )


@native
def free_area(pieces: Pieces, frame: Floats, filled: Ints, todo: Ints, seeds: int) -> float:
    """Area of free space in a plane that hangs together with the seeds, mm2; -1 when it has no end.

    Along both directions of the plane the lengths of free line through the middles of the squares are
    exact; their areas are averaged. The squares reached are marked 1 in `filled`.

    Args:
        frame: middle (3), along (3), across (3), edge of a square, squares to each side of the middle.
        filled: (2 n + 1, 2 n + 1) 0; the seeds 1.
        todo: at least as many as there are squares: the seeds first, each i (2 n + 1) + j.
        seeds: how many.
    """
    side = len(filled)
    pitch = frame[PITCH]
    waiting = seeds
    total = 0.0
    while waiting:
        waiting -= 1
        i, j = todo[waiting] // side, todo[waiting] % side
        if i == 0 or j == 0 or i == side - 1 or j == side - 1:
            return -1.0
        o = place(frame, i, j)
        for k in range(4):
            step = 1 if k % 2 == 0 else -1
            ni, nj = (i + step, j) if k < 2 else (i, j + step)
            p = place(frame, ni, nj)
            t, which = first(pieces, o, (p[0] - o[0], p[1] - o[1], p[2] - o[2]), False)
            if which >= 0:
                total += t
                continue
            total += 0.5
            if filled[ni, nj] == 0:
                filled[ni, nj] = 1
                todo[waiting] = ni * side + nj
                waiting += 1
    # Each square's lengths along one direction, and along the other: twice the area.
    return float(total * pitch * pitch / 2.0)
