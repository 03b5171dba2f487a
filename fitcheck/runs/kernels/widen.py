"""A way moved to where it has more room, point by point."""

from __future__ import annotations

from math import cos, pi, sin

from fitcheck.runs.kernels.solids import Solids, distance
from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Floats, Vector, along, cross, dot, length, row, scale, sub

# Directions that are tried across the way, and how often all points are gone over at most.
DIRECTIONS, ROUNDS = 12, 120


@native
def across(way: Vector) -> tuple[Vector, Vector]:
    """Two unit directions square to a way and to each other."""
    x, y, z = abs(way[0]), abs(way[1]), abs(way[2])
    a = (1.0, 0.0, 0.0)
    if y <= x and y <= z:
        a = (0.0, 1.0, 0.0)
    elif z <= x:
        a = (0.0, 0.0, 1.0)
    u = cross(way, a)
    u = scale(u, 1.0 / length(u))
    v = cross(way, u)
    return u, scale(v, 1.0 / length(v))


@native
def held(p: Vector, box: Floats) -> Vector:
    """The point of a box (2, 3) that is nearest to p."""
    return (
        min(max(p[0], box[0, 0]), box[1, 0]),
        min(max(p[1], box[0, 1]), box[1, 1]),
        min(max(p[2], box[0, 2]), box[1, 2]),
    )


@native
def widen(solids: Solids, points: Floats, box: Floats, cap: float, step: float, finest: float) -> None:
    """Move points (n, 3) across their line, up the distance to the solids, but not out of a box (2, 3).

    A search without slopes: where two solids are equally near there is none. Points with a room
    of `cap` stay, and the two ends. The step is halved when nothing moves, until it is below `finest`.
    """
    for _ in range(ROUNDS):
        if step < finest:
            break
        moved = False
        for i in range(1, len(points) - 1):
            p = row(points, i)
            best = distance(solids, p[0], p[1], p[2], cap)
            way = sub(row(points, i + 1), row(points, i - 1))
            if best >= cap or dot(way, way) == 0.0:
                continue
            u, v = across(way)
            for k in range(DIRECTIONS):
                turn = 2.0 * pi * k / DIRECTIONS
                q = along(along(p, u, step * cos(turn)), v, step * sin(turn))
                q = held(q, box)
                found = distance(solids, q[0], q[1], q[2], cap)
                if found > best:
                    best, moved = found, True
                    points[i, 0], points[i, 1], points[i, 2] = q
        if not moved:
            step /= 2.0
