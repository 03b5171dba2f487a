"""Exact distance, depth and travel of boxes, cylinders and triangles, compiled by numba.

Inside, a question is a file: `boxes` and `coaxial` have closed forms, `nearest` finds the
distance of any convex pair with a certificate, `depth` the shortest clearing move,
`travel` the way to a contact, `winding` what is inside; `compiled` holds their entry points.
Meshes have their own: `tree` and `descent` for distances, `crossings` for what is inside,
`sliding` for moves, `shells` for what hangs together.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fitcheck.world.kernels import compiled
from fitcheck.world.kernels.bodies import TRIANGLE, Bodies, make_scratch
from fitcheck.world.kernels.descent import nearest_pairs
from fitcheck.world.kernels.native import is_kept
from fitcheck.world.kernels.tree import grow

__all__ = [
    "Measures",
    "Nearest",
    "is_compiled",
    "measure_pairs",
    "measure_triangles",
    "travel_pairs",
    "travel_triangles",
    "warm",
    "winding_number",
]

Floats = NDArray[np.float64]
# Two pieces pressed into each other by no more than this only touch, mm (`pairs.CONTACT`).
CONTACT = 0.01


class Measures(NamedTuple):
    """What `measure_pairs` found, one row a pair.

    Args:
        distance: (k,) least distance, 0 when touching or overlapping. Above `within` it
            may be a lower bound only; `error` is then inf and the points are nan.
        depth: (k,) shortest shift in any direction that frees them, 0 when apart.
        normal: (k, 3) unit, from the first to the second: shifting the second by depth
            along it frees them.
        on_a, on_b: (k, 3) nearest points; of overlapping bodies the ends of the shift
            that frees them, on_a the contact then made.
        error: (k,) by how much distance may be too large: upper less lower bound.
    """

    distance: Floats
    depth: Floats
    normal: Floats
    on_a: Floats
    on_b: Floats
    error: Floats


class Nearest(NamedTuple):
    """The triangle of a soup that counts: the deepest in the body, else the nearest.

    As a row of `Measures`, with the row of the triangle, -1 if none is within reach.
    """

    distance: float
    depth: float
    normal: Floats
    on_a: Floats
    on_b: Floats
    triangle: int


def measure_pairs(
    kinds: ArrayLike,
    halves: ArrayLike,
    rotations: ArrayLike,
    centres: ArrayLike,
    pairs: ArrayLike,
    within: float = np.inf,
) -> Measures:
    """Distance and depth of pairs of boxes and cylinders.

    Distances are certified: half of a proof each way, see `bodies.clear`. Depth is exact
    for boxes (15 axes) and the least of all families of directions for cylinders.

    Args:
        kinds: (n,) `Kind.BOX` or `Kind.CYLINDER`.
        halves: (n, 3) mm; a cylinder's are (radius, radius, half length). 0 is allowed.
        rotations: (n, 3, 3) world_from_piece.
        centres: (n, 3) mm.
        pairs: (k, 2) rows to measure, first and second.
        within: pairs proven to be farther apart than this are not measured further.
    """
    return _measure(_ints(kinds), halves, rotations, centres, pairs, within, False)


def travel_pairs(
    kinds: ArrayLike,
    halves: ArrayLike,
    rotations: ArrayLike,
    centres: ArrayLike,
    pairs: ArrayLike,
    direction: ArrayLike,
    limit: float,
    tolerance: float = CONTACT,
    least: float | None = None,
) -> Floats:
    """How far the first of each pair can move straight on before it presses into the second.

    Sliding along a contact and leaving one are free. Arrays as for `measure_pairs`.

    Args:
        direction: (3,) of the move, of any length.
        limit: travel of interest, mm.
        tolerance: depth that is still a contact, mm.
        least: travels no shorter than this, or than one before them, may be given as inf;
            None when all are wanted.

    Returns:
        (k,) travel at which they first touch, if going on makes them deeper than the
        tolerance: 0 when pressed against each other already; inf when free up to the
        limit; -1 when deeper than the tolerance already.
    """
    scene = _ints(kinds), halves, rotations, centres, pairs
    return _travel(*scene, direction, (limit, tolerance), least)


def measure_triangles(
    kind: int,
    half: ArrayLike,
    rotation: ArrayLike,
    centre: ArrayLike,
    triangles: ArrayLike,
    within: float = np.inf,
) -> Nearest:
    """The deepest triangle in a box or cylinder, or the nearest to it when none overlaps.

    A triangle counts as a convex body of its own: its depth is the shortest shift that
    brings this triangle out, not the whole mesh.

    Args:
        kind, half, rotation, centre: of the body, as a row for `measure_pairs`.
        triangles: (m, 3, 3) corners, mm.
        within: triangles farther than this do not count.
    """
    scene = _soup(kind, half, rotation, centre, triangles)
    found = _measure(*scene, within, True)
    reached = found.distance <= within
    if not reached.any():
        nowhere = np.full(3, np.nan)
        return Nearest(np.inf, 0.0, nowhere, nowhere, nowhere, -1)
    order = np.where(reached, found.distance - found.depth, np.inf)
    k = int(order.argmin())
    return Nearest(
        float(found.distance[k]), float(found.depth[k]), found.normal[k], found.on_a[k], found.on_b[k], k
    )


def travel_triangles(
    kind: int,
    half: ArrayLike,
    rotation: ArrayLike,
    centre: ArrayLike,
    triangles: ArrayLike,
    direction: ArrayLike,
    limit: float,
    tolerance: float = CONTACT,
    least: float = np.inf,
) -> tuple[float, int]:
    """How far a box or cylinder can move before it presses into one of many triangles.

    Args:
        least: only a shorter travel is of interest, mm.

    Returns:
        Travel as of `travel_pairs`, and the index of the triangle that stops it (-1: none).
    """
    scene = _soup(kind, half, rotation, centre, triangles)
    found = _travel(*scene, direction, (limit, tolerance), least)
    if not len(found) or np.isinf(found).all():
        return np.inf, -1
    k = int(found.argmin())
    return float(found[k]), k


def winding_number(triangles: ArrayLike, points: ArrayLike) -> Floats:
    """How often the surface of triangles (m, 3, 3) winds about points (p, 3).

    Sum of the solid angles over 4 pi: 1 inside a closed outward surface, 0 outside, in
    between where it has holes; -1 inside when it is inside out.

    Returns:
        (p,) float64.
    """
    at = _floats(points).reshape(-1, 3)
    turns = np.empty(len(at))
    compiled.winding(_floats(triangles).reshape(-1, 3, 3), at, turns)
    return turns


def is_compiled() -> bool:
    """Whether the first questions are answered at once; else they wait for the compiler."""
    return all(is_kept(one) for one in (compiled.measure, compiled.travel, nearest_pairs, grow))


def warm() -> None:
    """Compile everything now, or load it from disk."""
    scene = (np.zeros(2), np.ones((2, 3)), np.array([np.eye(3)] * 2), np.zeros((2, 3)), [[0, 1]])
    measure_pairs(*scene)
    travel_pairs(*scene, (1.0, 0.0, 0.0), 1.0)
    winding_number(np.zeros((1, 3, 3)), np.ones((1, 3)))


def _measure(
    kinds: NDArray[np.int64],
    halves: ArrayLike,
    frames: ArrayLike,
    centres: ArrayLike,
    pairs: ArrayLike,
    within: float,
    least_only: bool,
) -> Measures:
    chosen = _ints(pairs).reshape(-1, 2)
    numbers = np.empty((len(chosen), 3))
    vectors = np.empty((len(chosen), 3, 3))
    bodies = Bodies(kinds, _floats(halves), _floats(frames))
    scratch = make_scratch()
    compiled.measure(bodies, _floats(centres), chosen, float(within), least_only, scratch, numbers, vectors)
    return Measures(numbers[:, 0], numbers[:, 1], vectors[:, 0], vectors[:, 1], vectors[:, 2], numbers[:, 2])


def _travel(
    kinds: NDArray[np.int64],
    halves: ArrayLike,
    frames: ArrayLike,
    centres: ArrayLike,
    pairs: ArrayLike,
    direction: ArrayLike,
    ends: tuple[float, float],
    least: float | None,
) -> Floats:
    chosen = _ints(pairs).reshape(-1, 2)
    way = np.array(direction, float)
    travels = np.empty(len(chosen))
    way /= np.linalg.norm(way)
    bodies = Bodies(kinds, _floats(halves), _floats(frames))
    limit, tolerance = map(float, ends)
    known, least_only = (np.inf, False) if least is None else (float(least), True)
    scene = bodies, _floats(centres), chosen, way
    compiled.travel(*scene, limit, known, tolerance, least_only, make_scratch(), travels)
    return travels


def _soup(
    kind: int, half: ArrayLike, rotation: ArrayLike, centre: ArrayLike, triangles: ArrayLike
) -> tuple[NDArray[np.int64], Floats, Floats, Floats, NDArray[np.int64]]:
    """The body as row 0, a triangle each row after it, and a pair for each triangle."""
    corners = _floats(triangles).reshape(-1, 3, 3)
    middles = corners.mean(axis=1)
    count = len(corners)
    kinds = np.full(count + 1, TRIANGLE)
    kinds[0] = kind
    halves = np.zeros((count + 1, 3))
    halves[0] = half
    frames = np.concatenate([_floats(rotation)[None], corners - middles[:, None]])
    centres = np.concatenate([_floats(centre)[None], middles])
    pairs = np.column_stack([np.zeros(count, np.int64), np.arange(1, count + 1)])
    return kinds.astype(np.int64), halves, frames, centres, pairs


def _floats(values: ArrayLike) -> Floats:
    return np.ascontiguousarray(values, dtype=np.float64)


def _ints(values: ArrayLike) -> NDArray[np.int64]:
    return np.ascontiguousarray(values, dtype=np.int64)
