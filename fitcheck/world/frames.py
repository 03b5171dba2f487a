"""Frames and sides: rigid moves named result first, and the six sides of the world."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

# World axes, right-handed, mm: +x right (seen from the front), +y to the rear, +z up.
SIDES: dict[str, np.ndarray] = {
    "left": np.array([-1.0, 0.0, 0.0]),
    "right": np.array([1.0, 0.0, 0.0]),
    "front": np.array([0.0, -1.0, 0.0]),
    "rear": np.array([0.0, 1.0, 0.0]),
    "bottom": np.array([0.0, 0.0, -1.0]),
    "top": np.array([0.0, 0.0, 1.0]),
}
OPPOSITE = {
    "left": "right",
    "right": "left",
    "front": "rear",
    "rear": "front",
    "bottom": "top",
    "top": "bottom",
}


@dataclass(frozen=True, eq=False)
class Frame:
    """A rigid move `a_from_b`: x_in_a = rotation @ x_in_b + origin."""

    rotation: np.ndarray
    origin: np.ndarray

    def __matmul__(self, inner: Frame) -> Frame:
        """a_from_b @ b_from_c = a_from_c."""
        return Frame(self.rotation @ inner.rotation, self.rotation @ inner.origin + self.origin)

    def point(self, points: np.ndarray) -> np.ndarray:
        """Points (..., 3) in b, given in a."""
        return np.asarray(points @ self.rotation.T + self.origin)

    def direction(self, directions: np.ndarray) -> np.ndarray:
        """Directions (..., 3) in b, given in a."""
        return np.asarray(directions @ self.rotation.T)

    def inverse(self) -> Frame:
        """b_from_a."""
        return Frame(self.rotation.T, -self.rotation.T @ self.origin)


IDENTITY = Frame(np.eye(3), np.zeros(3))


def turn_about(axis: np.ndarray, degrees: float) -> np.ndarray:
    """Rotation (3, 3) about a unit axis, right-handed; exact at quarter turns."""
    quarter, rest = divmod(float(degrees), 90.0)
    if rest == 0.0:
        cos, sin = ((1, 0), (0, 1), (-1, 0), (0, -1))[int(quarter) % 4]
    else:
        cos, sin = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    x, y, z = axis
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]], float)
    return np.asarray(cos * np.eye(3) + sin * cross + (1 - cos) * np.outer(axis, axis))


def point(at: np.ndarray) -> tuple[float, float, float]:
    """A place (3,) as plain numbers, rounded to a millionth of a mm."""
    x, y, z = (round(float(value), 6) + 0.0 for value in at)
    return x, y, z
