"""The prism that stands for a cylinder where triangles are needed.

It lies inside the cylinder, its long edges on it: a bolt that just fills a round hole
is then no overlap with the facets of the hole.
"""

from __future__ import annotations

from math import acos, ceil, cos, pi

import numpy as np

# How far the flat sides may lie inside the cylinder, mm: half the contact tolerance.
FACET = 0.005
LEAST_SIDES = 12


def facets(radius: float) -> int:
    """How many sides keep a prism within `FACET` of its cylinder: r (1 - cos(pi / n)).

    A multiple of four, so that the cylinder's outermost lines along its axes are edges.
    """
    if radius <= 2 * FACET:
        return LEAST_SIDES
    return max(LEAST_SIDES, 4 * ceil(pi / acos(1 - FACET / radius) / 4))


def facet_error(radius: float) -> float:
    """How far the sides of the prism lie inside the cylinder, mm."""
    return float(radius * (1 - cos(pi / facets(radius))))


def prism(radius: float, half_length: float) -> tuple[np.ndarray, np.ndarray]:
    """Vertices (n, 3), mm, and outward faces (m, 3) of the prism about z."""
    sides = facets(radius)
    quarter = 2 * pi * np.arange(sides // 4) / sides
    first = np.column_stack([np.cos(quarter), np.sin(quarter)])
    # Quarter turns without rounding: the outermost lines lie exactly on the radius.
    rim = radius * np.concatenate([first, first[:, ::-1] * [-1, 1], -first, first[:, ::-1] * [1, -1]])
    low = np.column_stack([rim, np.full(sides, -half_length)])
    vertices = np.concatenate([low, low * [1, 1, -1], [[0, 0, -half_length], [0, 0, half_length]]])
    a = np.arange(sides)
    b = (a + 1) % sides
    under, over = np.full(sides, 2 * sides), np.full(sides, 2 * sides + 1)
    faces = [(a, b, b + sides), (a, b + sides, a + sides), (under, b, a), (over, a + sides, b + sides)]
    return vertices, np.concatenate([np.column_stack(corners) for corners in faces]).astype(np.int32)


def nearest_in_cylinder(half: np.ndarray, point: np.ndarray) -> np.ndarray:
    """The point of a cylinder, half sizes (radius, radius, half length), nearest to one in its frame."""
    off = float(np.hypot(point[0], point[1]))
    shrink = half[0] / off if off > half[0] else 1.0
    return np.array([point[0] * shrink, point[1] * shrink, min(max(point[2], -half[2]), half[2])])
