"""Overlaps: how much of two closed pieces is in the same place, and the way out of it.

The only door to manifold3d in `world/`. Its booleans are exact to rounding, also for
flush pieces (volume 0 within 2e-11), so they decide what a hit of two surfaces means.
"""

from __future__ import annotations

import os
from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import manifold3d
import numpy as np

from fitcheck.parts.solids import Kind, Mesh
from fitcheck.world import slides
from fitcheck.world.bodies import Bodies
from fitcheck.world.frames import SIDES
from fitcheck.world.kernels.girth import girth
from fitcheck.world.prisms import prism
from fitcheck.world.trees import Pose

# An overlap that is nowhere thicker is rounding, mm: coordinates kept in single precision at
# 700 mm err by 3e-5.
FILM = 1e-4
# An overlap no thicker than this on average, and nowhere thicker than `SLIDING`, may be the
# facets of a bolt in those of its hole, mm: two polygons that miss their circle by 0.005 share
# a ring 0.005 thick. It is a contact if it locks: if no move shorter than `LOCKED` frees it.
SLIVER = 0.006
LOCKED = 0.1
# What is no wider than this across a move slides along, mm: above what facets share (0.005), and
# so far below a contact (0.01) that what is left of a way out is one.
SLIDING = 0.008
# A way out longer than this many steps is bracketed instead of followed.
STEPS = 24
# The first step from there, mm; each further one is twice as long.
STRIDE = 0.5
# How many faces of an overlap are looked up from for its longest chord.
LINES = 500
# Solids of more faces are first cut down to what matters, and so far beyond it, mm.
MANY, MARGIN = 2_000, 1.0
# How exact a bracketed way out is, mm.
EXACT = 1e-3
FACES_KEPT = 1_000_000
# Sides of a ball whose volume the library takes for much to do; it takes 7 ms.
MUCH = 64

Solid: TypeAlias = manifold3d.Manifold

_solids: OrderedDict[str, Solid] = OrderedDict()


@dataclass(frozen=True, eq=False)
class Depth:
    """The shortest way out found, mm; its direction for the second piece; the middle of the overlap.

    All in the frame of the first piece.
    """

    depth: float
    direction: np.ndarray
    middle: np.ndarray


def solid_of(kind: int, half: np.ndarray, mesh: Mesh | None) -> Solid | None:
    """The piece as a closed solid; None when its mesh is open or no solid."""
    if mesh is not None and not mesh.closed:
        return None
    key = mesh.key if mesh is not None else f"{Kind(kind).name}:{half.tolist()}"
    found = _solids.get(key)
    if found is None:
        found = _solids[key] = _build(kind, half, mesh)
        while len(_solids) > 1 and sum(s.num_tri() for s in _solids.values()) > FACES_KEPT:
            _solids.popitem(last=False)
    else:
        _solids.move_to_end(key)
    return None if found.status() != manifold3d.Error.NoError or found.is_empty() else found


def _build(kind: int, half: np.ndarray, mesh: Mesh | None) -> Solid:
    if kind == Kind.BOX:
        return manifold3d.Manifold.cube(tuple(2 * half), True)
    if mesh is None:
        return _solid(*prism(float(half[0]), float(half[2])))
    solid = _solid(mesh.vertices, mesh.faces)
    inside_out = solid.status() == manifold3d.Error.NoError and solid.volume() < 0
    return _solid(mesh.vertices, mesh.faces[:, ::-1]) if inside_out else solid


def _solid(vertices: np.ndarray, faces: np.ndarray) -> Solid:
    # Copies: manifold3d refuses arrays that are read-only.
    soup = manifold3d.Mesh64(np.array(vertices, np.float64, order="C"), np.array(faces, np.uint64, order="C"))
    soup.merge()
    return manifold3d.Manifold(soup)


def moved(solid: Solid, pose: Pose) -> Solid:
    """The solid in the frame that `pose` gives."""
    return solid.transform(np.column_stack([pose.rotation, pose.shift]))


def joined(bodies: Bodies, rows: slice, at: np.ndarray) -> Solid | None:
    """All pieces of a body as one solid in the world's axes about `at`; None when one is open."""
    solids: list[Solid] = []
    for row in range(rows.start, rows.stop):
        solid = solid_of(int(bodies.kinds[row]), bodies.halves[row], bodies.meshes[row])
        if solid is None:
            return None
        solids.append(moved(solid, Pose(bodies.rotations[row], bodies.centres[row] - at)))
    return solids[0] if len(solids) == 1 else Solid.batch_boolean(solids, manifold3d.OpType.Add)


def use_one_thread() -> None:
    """Have this process share no volume with several threads: for processes that ask beside each other.

    Threads of each would only take processors from the others: half as much work again, for nothing. The
    library asks once how many processors it may use, when it first has much to do.
    """
    if not hasattr(os, "sched_setaffinity"):
        return
    all_of_them = os.sched_getaffinity(0)
    os.sched_setaffinity(0, {min(all_of_them)})
    try:
        ball = Solid.sphere(1.0, MUCH)
        (ball ^ ball.translate((0.5, 0.0, 0.0))).volume()
    finally:
        os.sched_setaffinity(0, all_of_them)


def thickness(overlap: Solid) -> float:
    """Twice the volume over the surface, mm: exact for slabs, a third to half of it for lenses.

    Of a solid that is thick in one place and thin in others an average of both.
    """
    surface = overlap.surface_area()
    return 2 * overlap.volume() / surface if surface > 0 else 0.0


def is_film(overlap: Solid) -> bool:
    """Whether an overlap is nowhere thicker than rounding makes it."""
    return thickness(overlap) <= FILM and _girth(overlap, FILM) <= FILM


def is_sliver(overlap: Solid) -> bool:
    """Whether an overlap is what two polygons about one circle share, or less."""
    return thickness(overlap) <= SLIVER and _girth(overlap, SLIDING) <= SLIDING


def widest_ball(first: Solid, second: Solid, enough: float) -> float:
    """Diameter of a ball that two solids share, mm: they are at least so deep in each other.

    Args:
        enough: no more is looked for above this.

    Returns:
        0 where none is found, or where they share more than `MANY` faces.
    """
    shared = first ^ second
    return 0.0 if shared.num_tri() > MANY else _girth(shared, enough)


def _girth(overlap: Solid, enough: float) -> float:
    """Diameter of the largest ball found in an overlap, mm; no more is looked for above `enough`."""
    if overlap.is_empty():
        return 0.0
    corners, faces = corners_and_faces(overlap)
    return float(girth(np.ascontiguousarray(corners[faces]), float(enough)))


def bounds_of(solid: Solid) -> np.ndarray:
    """(2, 3), mm; of an empty solid the low ends are above the high ones."""
    return np.array(solid.bounding_box()).reshape(2, 3)


def corners_and_faces(solid: Solid) -> tuple[np.ndarray, np.ndarray]:
    """(n, 3) vertices, mm, and (m, 3) faces."""
    mesh = solid.to_mesh64()
    return np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts).astype(np.int64)


def way_out(pairs: Sequence[tuple[Solid, Solid, np.ndarray]], limit: float) -> float | None:
    """Least move of all second solids that frees each from its first, but for slivers.

    A line along the direction, or a ball, that holds c mm of overlap still holds some after
    any shorter move, whatever the shapes. So the longest such chord is a step that passes
    no way out. Beyond `STEPS` steps the way out is bracketed: one that works, not
    always the first.

    Args:
        pairs: (stays, moves, direction (3,) unit), each in a frame of its own.
        limit: mm; None when no way out is found within.
    """
    return _free_after(pairs, limit, _step)


def _free_after(
    pairs: Sequence[tuple[Solid, Solid, np.ndarray]],
    limit: float,
    chord_of: Callable[[Solid, np.ndarray], float],
) -> float | None:
    at = 0.0
    for _ in range(STEPS):
        chord = max((chord_of(_after(pair, at), pair[2]) for pair in pairs), default=0.0)
        if chord == 0.0:
            return at
        at += chord
        if at > limit:
            return None
    return _bracket(pairs, at, limit, chord_of)


def _after(pair: tuple[Solid, Solid, np.ndarray], way: float) -> Solid:
    stays, moves, direction = pair
    return stays ^ moves.translate(tuple(way * direction))


def _bracket(
    pairs: Sequence[tuple[Solid, Solid, np.ndarray]],
    low: float,
    limit: float,
    chord_of: Callable[[Solid, np.ndarray], float],
) -> float | None:
    def free(at: float) -> bool:
        return all(chord_of(_after(pair, at), pair[2]) == 0.0 for pair in pairs)

    step = STRIDE
    while not free(low + step):
        low, step = low + step, 2 * step
        if low + step > limit:
            return None
    high = low + step
    while high - low > EXACT:
        middle = (low + high) / 2
        low, high = (low, middle) if free(middle) else (middle, high)
    return high


def _chord(overlap: Solid, direction: np.ndarray, least: float = FILM) -> float:
    """Longest line of overlap along a direction, mm, where it is wider than `least`; 0 in a film."""
    if is_film(overlap):
        return 0.0
    corners, faces = corners_and_faces(overlap)
    return max(slides.longest_chord(corners[faces], direction, least, LINES), FILM)


def _step(overlap: Solid, direction: np.ndarray) -> float:
    """The same without the long lines of slivers, which slide along."""
    wide = _chord(overlap, direction, SLIDING)
    if wide == 0.0 or wide > LOCKED:
        return wide
    chord = _chord(overlap, direction)
    if chord <= LOCKED:
        return chord
    if wide > FILM:
        return wide
    return 0.0 if is_sliver(overlap) else _girth(overlap, np.inf)


def shortest_way_out(first: Solid, second: Solid, known: tuple[float, np.ndarray]) -> Depth | None:
    """Depth: how far the second must move to be free of the first; None when they only touch.

    Tried are, for each piece of the overlap, the thinnest principal direction of its
    corners, both ways, and the six sides of the first's frame.

    Args:
        known: a way out, mm, and its direction (3,) unit: that of the boxes around them.
    """
    first, second = _cropped(first, second, known[0]), _cropped(second, first, known[0])
    overlap = first ^ second
    if is_film(overlap):
        return None
    tried = [*SIDES.values()]
    for piece in overlap.decompose():
        if not is_film(piece):
            tried += _thinnest(corners_and_faces(piece)[0])
    sliver = is_sliver(overlap)
    best, way = (LOCKED, None) if sliver and known[0] > LOCKED else known
    chord_of = _chord if sliver else _step
    chords = [chord_of(overlap, direction) for direction in tried]
    for chord, direction in sorted(zip(chords, tried, strict=True), key=lambda pair: pair[0]):
        if chord >= best:
            break
        out = _free_after([(first, second, direction)], best, chord_of)
        if out is not None and out < best:
            best, way = out, direction
    return None if way is None else Depth(float(best), way, bounds_of(overlap).mean(axis=0))


def _cropped(solid: Solid, other: Solid, reach: float) -> Solid:
    """What of a solid of many faces another can come to by a move no longer than a reach, mm."""
    if solid.num_tri() <= MANY:
        return solid
    low, high = bounds_of(other) + np.array([[-1.0], [1.0]]) * (reach + MARGIN)
    cut = solid ^ manifold3d.Manifold.cube(tuple(high - low)).translate(tuple(low))
    # Asked now: else it would be cut again for all that is made of it.
    cut.status()
    return cut


def _thinnest(corners: np.ndarray) -> list[np.ndarray]:
    spread = corners - corners.mean(axis=0)
    axes = np.linalg.svd(spread, full_matrices=False)[2]
    extents = np.ptp(spread @ axes.T, axis=0)
    thin = axes[extents.argmin()]
    return [thin, -thin]
