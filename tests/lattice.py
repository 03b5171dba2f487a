"""Shapes of unit cubes and what is exactly true of two of them, by counting cubes.

The oracle of the mesh engine: whole numbers, flush faces and inner corners everywhere,
and no geometry library in it.
"""

from __future__ import annotations

import numpy as np

from fitcheck.parts.pieces import new_mesh
from fitcheck.parts.solids import Kind, Piece

# For each side of a cube (axis, sense) its corners, outward by the right-hand rule.
_SIDES = [
    (0, -1, [[0, 0, 0], [0, 0, 1], [0, 1, 1], [0, 1, 0]]),
    (0, 1, [[1, 0, 0], [1, 1, 0], [1, 1, 1], [1, 0, 1]]),
    (1, -1, [[0, 0, 0], [1, 0, 0], [1, 0, 1], [0, 0, 1]]),
    (1, 1, [[0, 1, 0], [0, 1, 1], [1, 1, 1], [1, 1, 0]]),
    (2, -1, [[0, 0, 0], [0, 1, 0], [1, 1, 0], [1, 0, 0]]),
    (2, 1, [[0, 0, 1], [1, 0, 1], [1, 1, 1], [0, 1, 1]]),
]

Cubes = frozenset[tuple[int, int, int]]


def grown(rng: np.random.Generator, size: int, wanted: int) -> Cubes:
    """A connected shape of cubes that shares no edge or corner without a face: a solid's surface."""
    cubes = {tuple(rng.integers(0, size, 3).tolist())}
    for _ in range(20 * wanted):
        if len(cubes) >= wanted:
            break
        start = sorted(cubes)[rng.integers(len(cubes))]
        step = np.zeros(3, int)
        step[rng.integers(3)] = rng.choice([-1, 1])
        new = tuple((np.array(start) + step).tolist())
        if min(new) >= 0 and max(new) < size and _clean(cubes | {new}):
            cubes.add(new)
    return frozenset(cubes)


def _clean(cubes: set) -> bool:
    """No two cubes meet only along an edge or at a corner."""
    for cube in cubes:
        for dx in (-1, 0, 1):
            for dy in (-1, 0, 1):
                for dz in (-1, 0, 1):
                    step = (dx, dy, dz)
                    if sum(map(abs, step)) < 2:
                        continue
                    other = tuple(a + b for a, b in zip(cube, step, strict=True))
                    if other in cubes and not _linked(cubes, cube, step):
                        return False
    return True


def _linked(cubes: set, cube: tuple, step: tuple) -> bool:
    """Can one get from a cube to a diagonal neighbour through faces, within their common block?"""
    seen, todo = {cube}, [cube]
    while todo:
        at = todo.pop()
        for axis in range(3):
            if step[axis]:
                there = list(at)
                there[axis] = cube[axis] + step[axis] if at[axis] == cube[axis] else cube[axis]
                new = tuple(there)
                if new in cubes and new not in seen:
                    seen.add(new)
                    todo.append(new)
    return tuple(a + b for a, b in zip(cube, step, strict=True)) in seen


def surface(cubes: Cubes, edge: float = 1.0) -> tuple[np.ndarray, np.ndarray]:
    """Vertices and outward faces around cubes of an edge length, mm; vertices shared."""
    corners: dict[tuple, int] = {}
    faces = []
    for cube in sorted(cubes):
        for axis, sense, four in _SIDES:
            beside = list(cube)
            beside[axis] += sense
            if tuple(beside) in cubes:
                continue
            a, b, c, d = (
                corners.setdefault(tuple(np.add(cube, corner).tolist()), len(corners)) for corner in four
            )
            faces += [(a, b, c), (a, c, d)]
    return np.array(list(corners), float) * edge, np.array(faces, np.int32)


def piece(cubes: Cubes, edge: float = 1.0, closed: bool = True) -> Piece:
    """The mesh of cubes as a piece; cube (0, 0, 0) has its low corner at the origin."""
    points, faces = surface(cubes, edge)
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    half = (points.max(axis=0) - points.min(axis=0)) / 2
    return Piece(Kind.MESH, half, np.eye(3), middle, new_mesh(points - middle, faces, closed, 0.0))


def shifted(cubes: Cubes, by: np.ndarray) -> Cubes:
    return frozenset(tuple((np.array(c) + by).tolist()) for c in cubes)


def shared(a: Cubes, b: Cubes) -> int:
    """Volume in common, cubes."""
    return len(a & b)


def distance(a: Cubes, b: Cubes) -> float:
    """Least distance: that of the two nearest cubes."""
    ours, theirs = np.array(sorted(a))[:, None], np.array(sorted(b))[None]
    return float(np.sqrt((np.maximum(np.abs(ours - theirs) - 1, 0) ** 2).sum(axis=2)).min())


def way_out(a: Cubes, b: Cubes, step: np.ndarray) -> int:
    """Least whole move of a along an axis after which it shares nothing with b.

    Cubes overlap for moves strictly between two whole numbers, so the first free move
    of all is a whole one.
    """
    way = 0
    while shared(shifted(a, way * step), b):
        way += 1
    return way


def travel(a: Cubes, b: Cubes, step: np.ndarray, limit: int) -> int | None:
    """How far a gets along an axis before it would share something with b; None if never."""
    for way in range(limit):
        if shared(shifted(a, (way + 1) * step), b):
            return way
    return None
