"""Small vectors as tuples: what every kernel is written in.

Tuples of three floats live in registers once compiled; arrays of three would be
allocated for each pair. These functions are compiled into the entry points of
`compiled.py` and have no cache of their own.
"""

from __future__ import annotations

from math import sqrt

from numba import njit


@njit
def dot(a, b):
    """Scalar product."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@njit
def cross(a, b):
    """Vector product."""
    return (a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0])


@njit
def add(a, b):
    """a + b."""
    return (a[0] + b[0], a[1] + b[1], a[2] + b[2])


@njit
def sub(a, b):
    """a - b."""
    return (a[0] - b[0], a[1] - b[1], a[2] - b[2])


@njit
def scale(a, s):
    """a s."""
    return (a[0] * s, a[1] * s, a[2] * s)


@njit
def along(a, d, s):
    """a + d s."""
    return (a[0] + d[0] * s, a[1] + d[1] * s, a[2] + d[2] * s)


@njit
def length(a):
    """Euclidean length."""
    return sqrt(a[0] * a[0] + a[1] * a[1] + a[2] * a[2])


@njit
def row(array, i):
    """Row i of an (n, 3) array."""
    return (array[i, 0], array[i, 1], array[i, 2])


@njit
def axis(frames, i, k):
    """World direction of axis k of body i: column k of its rotation."""
    return (frames[i, 0, k], frames[i, 1, k], frames[i, 2, k])


@njit
def clamp(x, limit):
    """x held within -limit .. limit."""
    return min(max(x, -limit), limit)
