"""Many placements of a few bodies among others: which pairs are near, and which interfere."""

from __future__ import annotations

from math import sqrt

from fitcheck.world.kernels.bodies import BOX, CYLINDER, Bodies, Scratch
from fitcheck.world.kernels.boxes import measure_boxes
from fitcheck.world.kernels.compiled import measure_pair
from fitcheck.world.kernels.native import bare_entry, native
from fitcheck.world.kernels.vectors import Floats, Ints, row, sub


@native
def put(bodies: Bodies, centres: Floats, bounds: Floats, own: Bodies, own_centres: Floats, k: int,
        turn: Floats, shift: Floats) -> None:  # fmt: skip
    """Place body k of `own` by a rigid move, in the rows k of `bodies`, `centres` and `bounds`."""
    for m in range(3):
        middle = shift[m]
        for n in range(3):
            middle += turn[m, n] * own_centres[k, n]
            total = 0.0
            for p in range(3):
                total += turn[m, p] * own.frames[k, p, n]
            bodies.frames[k, m, n] = total
        centres[k, m] = middle
    for m in range(3):
        if own.kinds[k] == CYLINDER:
            axis = bodies.frames[k, m, 2]
            out = own.halves[k, 0] * sqrt(max(1.0 - axis * axis, 0.0)) + abs(axis) * own.halves[k, 2]
        else:
            out = 0.0
            for n in range(3):
                out += abs(bodies.frames[k, m, n]) * own.halves[k, n]
        bounds[k, 0, m] = centres[k, m] - out
        bounds[k, 1, m] = centres[k, m] + out


@native
def apart(bounds: Floats, i: int, j: int, reach: float) -> bool:
    """Whether the bounds of two bodies are farther apart than reach along one axis of the world."""
    for m in range(3):
        if bounds[i, 0, m] - bounds[j, 1, m] > reach or bounds[j, 0, m] - bounds[i, 1, m] > reach:
            return True
    return False


@native
def between(bodies: Bodies, boxes: Bodies, centres: Floats, i: int, j: int, meshed: int, reach: float,
            scratch: Scratch) -> tuple[float, float]:  # fmt: skip
    """Distance and depth of two pieces; with a mesh those of the boxes around them."""
    c = sub(row(centres, j), row(centres, i))
    if meshed == 0:
        distance, depth, _, _, _, _ = measure_pair(bodies, i, j, c, reach, scratch)
    elif boxes.kinds[i] == BOX and boxes.kinds[j] == BOX:
        distance, depth, _, _, _, _ = measure_boxes(boxes, i, j, c, reach, scratch.turn)
    else:
        distance, depth, _, _, _, _ = measure_pair(boxes, i, j, c, reach, scratch)
    return distance, depth


@bare_entry
def survey(
    bodies: Bodies,
    centres: Floats,
    bounds: Floats,
    boxes: Bodies,
    own: Bodies,
    own_centres: Floats,
    movers: Ints,
    groups: Ints,
    pairs: Ints,
    meshed: Ints,
    turns: Floats,
    shifts: Floats,
    reach: float,
    contact: float,
    flush: float,
    first_only: int,
    scratch: Scratch,
    clashing: Ints,
    found: Ints,
    numbers: Floats,
) -> int:
    """Ask pairs of bodies in many placements.

    Args:
        bodies, centres, bounds: all pieces; the rows of movers are overwritten.
        boxes: the same arrays, but meshes as the boxes around them.
        own, own_centres: all pieces as they stand before they are moved.
        movers: (m,) rows that move, and `groups`, (m,), with which move.
        pairs: (p, 2) rows to ask; those of two meshes or one, `meshed`, (p,), last.
        turns, shifts: (l, g, 3, 3) and (l, g, 3) of each group in each placement.
        reach: pairs farther apart are of no interest, mm.
        contact, flush: depth up to which pieces only touch; up to which boxes around meshes do, mm.
        first_only: stop a placement at its first interference.
        clashing: (l,) set to 1 where a pair of boxes or cylinders interferes.
        found: (most, 2) placement and pair of what is near, and `numbers`, (most, 2), its distance and
            depth. With a mesh these are of the boxes around.

    Returns:
        How many were found.
    """
    count = 0
    for placement in range(len(turns)):
        for m in range(len(movers)):
            put(bodies, centres, bounds, own, own_centres, movers[m], turns[placement, groups[m]],
                shifts[placement, groups[m]])  # fmt: skip
        clashing[placement] = 0
        for p in range(len(pairs)):
            i, j = pairs[p, 0], pairs[p, 1]
            if apart(bounds, i, j, reach):
                continue
            distance, depth = between(bodies, boxes, centres, i, j, meshed[p], reach, scratch)
            if meshed[p] == 0 and depth > contact:
                clashing[placement] = 1
                if first_only == 1:
                    break
            if distance > reach or (reach == 0.0 and (meshed[p] == 0 or depth <= flush)):
                continue
            found[count, 0], found[count, 1] = placement, p
            numbers[count, 0], numbers[count, 1] = distance, depth
            count += 1
    return count
