"""Points spread evenly over the surface of solids, each with its share of the area."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from fitcheck.parts.solids import Kind
from fitcheck.world.bodies import Bodies

# Fractions of a sequence that fills a square evenly whatever run of it is taken: powers of the root of
# x^3 = x + 1 (Roberts, The unreasonable effectiveness of quasirandom sequences, 2018).
ROOT = 1.324717957244746
STEPS = np.array([1 / ROOT, 1 / ROOT**2])
# A point stands so far off its surface, mm: clear of rounding, far below any gap that lets light through.
LIFT = 0.05
# A point of one piece counts as inside another when it lies so deep in it, mm.
BURIED = 1e-6


@dataclass(frozen=True, eq=False)
class Spread:
    """Points on a surface.

    Args:
        points: (n, 3) world, a little off the surface, mm.
        normals: (n, 3) out of the solid.
        area: what each point stands for, mm2.
    """

    points: np.ndarray
    normals: np.ndarray
    area: float

    def __len__(self) -> int:
        return len(self.points)


@dataclass(frozen=True, eq=False)
class _Patches:
    """Surfaces that are a square when laid flat: corner or middle, two directions, the kind of the square.

    A flat patch is `at + u along + v across`, a triangle its half; a disc is `at + r (cos, sin)`, the side
    of a cylinder `at + (cos, sin) + v up`.
    """

    kinds: np.ndarray
    at: np.ndarray
    along: np.ndarray
    across: np.ndarray
    up: np.ndarray
    areas: np.ndarray


FLAT, TRIANGLE, DISC, ROUND = range(4)
_Made = tuple[int, np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]


def spread(solids: Bodies, rows: np.ndarray, count: int) -> Spread:
    """Points spread evenly by area over the outside of these pieces of a world.

    What lies inside another of the pieces is no surface: it is left out.

    Args:
        rows: (n,) pieces, rows of the arrays of `Bodies`.
        count: of points, before those inside are left out.
    """
    patches = _patches(solids, rows)
    area = float(patches.areas.sum())
    if area <= 0.0 or count < 1:
        return Spread(np.empty((0, 3)), np.empty((0, 3)), 0.0)
    ends = np.cumsum(patches.areas)
    of = np.searchsorted(ends, (np.arange(count) + 0.5) * (area / count)).clip(0, len(ends) - 1)
    square = (0.5 + np.arange(1, count + 1)[:, None] * STEPS) % 1.0
    points, normals = _laid(patches, of, square[:, 0], square[:, 1])
    points = points + LIFT * normals
    outside = ~_inside(solids, rows, points)
    return Spread(points[outside], normals[outside], area / count)


def _laid(patches: _Patches, of: np.ndarray, u: np.ndarray, v: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Points and normals (n, 3) at (u, v) of the unit square of the patches named."""
    kinds, at = patches.kinds[of], patches.at[of]
    along, across, up = patches.along[of], patches.across[of], patches.up[of]
    turn = 2 * np.pi * u
    beyond = (kinds == TRIANGLE) & (u + v > 1)
    u, v = np.where(beyond, 1 - u, u), np.where(beyond, 1 - v, v)
    bent = (kinds == DISC) | (kinds == ROUND)
    out = np.where(kinds == DISC, np.sqrt(v), 1.0)
    first = np.where(bent, out * np.cos(turn), u)
    second = np.where(bent, out * np.sin(turn), v)
    third = np.where(kinds == ROUND, v, 0.0)
    points = at + first[:, None] * along + second[:, None] * across + third[:, None] * up
    normals = np.cross(along, across)
    side = first[:, None] * along + second[:, None] * across
    normals = np.where((kinds == ROUND)[:, None], side, normals)
    return points, normals / np.linalg.norm(normals, axis=1)[:, None]


def _patches(solids: Bodies, rows: np.ndarray) -> _Patches:
    found = [made for row in np.asarray(rows, int).tolist() for made in _of_piece(solids, row)]
    kinds = np.concatenate([np.full(len(made[0]), kind) for kind, *made in found] or [np.zeros(0, int)])
    at, along, across, up = (
        np.concatenate([made[k] for made in found] or [np.zeros((0, 3))]) for k in (1, 2, 3, 4)
    )
    areas = np.concatenate([made[5] for made in found] or [np.zeros(0)])
    return _Patches(kinds.astype(int), at, along, across, up, areas)


def _of_piece(solids: Bodies, row: int) -> Iterator[_Made]:
    """(kind, at, along, across, up, areas) of the patches of one piece, in the world."""
    turn, centre, half = solids.rotations[row], solids.centres[row], solids.halves[row]
    mesh = solids.meshes[row]
    if mesh is not None:
        corners = (np.asarray(mesh.vertices, float) @ turn.T + centre)[mesh.faces]
        along, across = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
        areas = np.linalg.norm(np.cross(along, across), axis=1) / 2
        real = areas > 0
        nothing = np.zeros((int(real.sum()), 3))
        yield TRIANGLE, corners[real, 0], along[real], across[real], nothing, areas[real]
        return
    x, y, z = (turn[:, k] * half[k] for k in range(3))
    if solids.kinds[row] == Kind.BOX:
        sides = [(x, y, z), (y, z, x), (z, x, y)]
        # Out of the face at +out the two directions turn right-handed, out of the other one left-handed.
        at = [centre + sign * out - a - b for out, a, b in sides for sign in (1, -1)]
        along = [2 * (a if sign > 0 else b) for _, a, b in sides for sign in (1, -1)]
        across = [2 * (b if sign > 0 else a) for _, a, b in sides for sign in (1, -1)]
        areas = np.linalg.norm(np.cross(along, across), axis=1)
        yield FLAT, np.array(at), np.array(along), np.array(across), np.zeros((6, 3)), areas
        return
    radius, long = half[0], 2 * half[2]
    disc = np.full(2, np.pi * radius**2)
    yield DISC, np.array([centre + z, centre - z]), np.array([x, y]), np.array([y, x]), np.zeros((2, 3)), disc
    yield ROUND, (centre - z)[None], x[None], y[None], 2 * z[None], np.array([2 * np.pi * radius * long])


def _inside(solids: Bodies, rows: np.ndarray, points: np.ndarray) -> np.ndarray:
    """(n,) whether points (n, 3) lie in one of the pieces that are boxes or cylinders."""
    found = np.zeros(len(points), bool)
    low, high = points.min(axis=0), points.max(axis=0)
    for row in np.asarray(rows, int).tolist():
        bounds = solids.bounds[row]
        if solids.kinds[row] == Kind.MESH or (bounds[0] > high).any() or (bounds[1] < low).any():
            continue
        near = np.flatnonzero(((points > bounds[0]) & (points < bounds[1])).all(axis=1))
        own = (points[near] - solids.centres[row]) @ solids.rotations[row]
        half = solids.halves[row] - BURIED
        if solids.kinds[row] == Kind.BOX:
            found[near] |= (np.abs(own) < half).all(axis=1)
        else:
            found[near] |= (np.hypot(own[:, 0], own[:, 1]) < half[0]) & (np.abs(own[:, 2]) < half[2])
    return found
