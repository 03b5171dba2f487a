"""Small vectors as tuples: what every kernel is written in.

Tuples of three floats live in registers once compiled; arrays of three would be
allocated for each pair. These functions are compiled into the entry points of
`compiled.py`.
"""

from __future__ import annotations

from math import sqrt

import numpy as np
from numpy.typing import NDArray

from fitcheck.world.kernels.native import native

Vector = tuple[float, float, float]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@native
def dot(a: Vector, b: Vector) -> float:
    """Scalar product."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@native
def cross(a: Vector, b: Vector) -> Vector:
    """Vector product."""
    return (a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0])


@native
def add(a: Vector, b: Vector) -> Vector:
    """a + b."""
    return (a[0] + b[0], a[1] + b[1], a[2] + b[2])


@native
def sub(a: Vector, b: Vector) -> Vector:
    """a - b."""
    return (a[0] - b[0], a[1] - b[1], a[2] - b[2])


@native
def scale(a: Vector, s: float) -> Vector:
    """a s."""
    return (a[0] * s, a[1] * s, a[2] * s)


@native
def along(a: Vector, d: Vector, s: float) -> Vector:
    """a + d s."""
    return (a[0] + d[0] * s, a[1] + d[1] * s, a[2] + d[2] * s)


@native
def length(a: Vector) -> float:
    """Euclidean length."""
    return sqrt(a[0] * a[0] + a[1] * a[1] + a[2] * a[2])


@native
def row(array: Floats, i: int) -> Vector:
    """Row i of an (n, 3) array."""
    return (array[i, 0], array[i, 1], array[i, 2])


@native
def axis(frames: Floats, i: int, k: int) -> Vector:
    """World direction of axis k of body i: column k of its rotation."""
    return (frames[i, 0, k], frames[i, 1, k], frames[i, 2, k])


@native
def clamp(x: float, limit: float) -> float:
    """x held within -limit .. limit."""
    return min(max(x, -limit), limit)
