"""Winding number of triangles about points: 1 inside a closed outward surface, 0 outside.

Solid angle of a triangle: van Oosterom and Strackee, The solid angle of a plane triangle,
IEEE Trans. Biomedical Engineering 30, 1983.
"""

from __future__ import annotations

from math import atan2, pi

from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Floats, Vector, cross, dot, length, row, sub


@native
def solid_angle(a: Vector, b: Vector, c: Vector) -> float:
    """Signed solid angle of a triangle seen from the origin, positive from inside."""
    la, lb, lc = length(a), length(b), length(c)
    below = la * lb * lc + dot(a, b) * lc + dot(b, c) * la + dot(c, a) * lb
    return 2.0 * atan2(dot(a, cross(b, c)), below)


@native
def wind(triangles: Floats, points: Floats, turns: Floats) -> None:
    """Fill turns (p,) with the winding number of triangles (m, 3, 3) about points (p, 3)."""
    for k in range(len(points)):
        at = row(points, k)
        total = 0.0
        for m in range(len(triangles)):
            corners = triangles[m]
            total += solid_angle(sub(row(corners, 0), at), sub(row(corners, 1), at), sub(row(corners, 2), at))
        turns[k] = total / (4.0 * pi)
