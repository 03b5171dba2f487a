"""Boxes along the world's axes that together cover a piece: what it keeps from being empty.

An outer cover, never less than the solid: a box that clears the cover clears the solid.
Exact for boxes that stand square and, within `BUDGET` boxes, for meshes of square corners.
Cylinders and turned boxes are covered by slabs about `PITCH` thick; cut-outs of thin sheets
count as filled. `core` is the other side of it: boxes that lie wholly inside.
"""

from __future__ import annotations

import heapq
import itertools

import manifold3d
import numpy as np

from fitcheck.parts.solids import Kind, Mesh, Piece
from fitcheck.world.cells import cells
from fitcheck.world.frames import Frame
from fitcheck.world.kernels.slabs import bound_slabs
from fitcheck.world.trees import Pose
from fitcheck.world.volumes import bounds_of, corners_and_faces, moved, solid_of
from fitcheck.world.world import piece_bounds

# Thickness of slabs, mm, and of what is not split further.
PITCH = 5.0
THIN = PITCH / 2
# Most boxes for one mesh that is split; one of more triangles than this goes by cells.
BUDGET, MANY = 48, 10_000
# The bounds of a square cylinder of this radius lie less than a pitch outside it, mm: at the
# corners of its square by (sqrt 2 - 1) r.
SMALL_ROUND = 12.0
# A cylinder is covered through a prism of this many sides drawn about it: too wide by r/180.
SIDES_OF_ROUND = 30
# Entries of a rotation off a whole number by less are the rounding of a quarter turn.
SQUARE = 1e-9
# A cover that wastes less than this share of its volume is not split further.
WASTE = 0.02
# A part of a mesh fills its bounds when what they hold besides is thinner than this, mm;
# parts thinner than `FILM` do so in any case, and are not told.
FULL = 1e-6
FILM = 1e-3
# With this few triangles a mesh is split at planes of its own corners, else in halves.
FEW = 80
PLANES = 6
# Slack when corners are sorted to the sides of a cutting plane, mm.
ON_PLANE = 1e-9
# Bounds of the two sides of a plane are taken this far off it, mm: a wall in it belongs to one.
BESIDE = 1e-6


def cover(piece: Piece, world_from_part: Frame) -> np.ndarray:
    """(n, 2, 3) boxes that cover a placed piece, mm."""
    whole = piece_bounds(piece, world_from_part)
    rotation = world_from_part.rotation @ piece.rotation
    centre = world_from_part.point(piece.centre)
    if (whole[1] - whole[0]).min() <= THIN:
        return whole[None]
    if piece.mesh is not None:
        vertices = piece.mesh.vertices @ rotation.T + centre
        if len(piece.mesh.faces) > MANY:
            return cells(vertices[piece.mesh.faces], piece.mesh.closed, PITCH)
        solid = solid_of(piece.kind, piece.half, piece.mesh)
        if solid is None:
            return _surface_cover(piece.mesh, vertices)
        return np.array([bounds_of(part) for part in _split(moved(solid, Pose(rotation, centre)))])
    square = bool((np.abs(rotation - np.round(rotation)) < SQUARE).all())
    if square and (piece.kind == Kind.BOX or piece.half[0] <= SMALL_ROUND):
        return whole[None]
    points, edges = _prism(piece)
    return _convex_cover(points @ rotation.T + centre, edges, whole)


def core(piece: Piece, world_from_part: Frame) -> np.ndarray:
    """(n, 2, 3) boxes that lie inside a placed piece, mm: what no way of standing can share.

    All of a box that stands square, slabs of an upright or lying cylinder, one box about the
    middle of any other box or cylinder, the full parts of a closed mesh that is not big.
    """
    rotation = world_from_part.rotation @ piece.rotation
    centre = world_from_part.point(piece.centre)
    whole = piece_bounds(piece, world_from_part)
    square = bool((np.abs(rotation - np.round(rotation)) < SQUARE).all())
    if piece.mesh is not None:
        many = len(piece.mesh.faces) > MANY
        solid = None if many else solid_of(piece.kind, piece.half, piece.mesh)
        return np.zeros((0, 2, 3)) if solid is None else _full(_split(moved(solid, Pose(rotation, centre))))
    if piece.kind == Kind.BOX and square:
        return whole[None]
    if piece.kind == Kind.CYLINDER and square:
        return _round_core(piece.half[0], whole, int(np.abs(rotation[:, 2]).argmax()))
    return _middle_box(piece, rotation, centre, whole)[None]


def _round_core(radius: float, whole: np.ndarray, along: int) -> np.ndarray:
    """Slabs inscribed in a cylinder along a world axis: as wide as its narrower end."""
    across, other = (k for k in range(3) if k != along)
    # Thin slabs at the rim: what the core leaves out of it is r (1 - cos 6 degrees).
    cuts = radius * np.sin(np.radians(np.linspace(-90, 90, SIDES_OF_ROUND + 1)))
    boxes = []
    for lower, upper in itertools.pairwise(cuts):
        reach = float(np.sqrt(max(radius**2 - max(abs(lower), abs(upper)) ** 2, 0.0)))
        if reach > 0:
            box = whole.copy()
            box[:, across] = whole[:, across].mean() + np.array([lower, upper])
            box[:, other] = whole[:, other].mean() + np.array([-reach, reach])
            boxes.append(box)
    return np.array(boxes)


def _middle_box(piece: Piece, rotation: np.ndarray, centre: np.ndarray, whole: np.ndarray) -> np.ndarray:
    """The largest box shaped like the bounds that fits about the middle of a box or cylinder."""
    corner = (whole[1] - whole[0]) / 2
    signs = np.array([[a, b, c] for a in (-1, 1) for b in (-1, 1) for c in (-1, 1)])
    own = np.abs((signs * corner) @ rotation)
    if piece.kind == Kind.CYLINDER:
        own = np.column_stack([np.hypot(own[:, 0], own[:, 1]), own[:, 2]])
        share = float((piece.half[[0, 2]] / own.max(axis=0)).min())
    else:
        share = float((piece.half / own.max(axis=0)).min())
    return np.array([centre - share * corner, centre + share * corner])


def _prism(piece: Piece) -> tuple[np.ndarray, np.ndarray]:
    """Corners (n, 3) in the piece's frame and edges (m, 2) of a prism about a box or cylinder."""
    half = piece.half
    if piece.kind == Kind.BOX:
        ring = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half[:2]
    else:
        turn = 2 * np.pi * (np.arange(SIDES_OF_ROUND) + 0.5) / SIDES_OF_ROUND
        reach = half[0] / np.cos(np.pi / SIDES_OF_ROUND)
        ring = reach * np.column_stack([np.cos(turn), np.sin(turn)])
    n = len(ring)
    points = np.vstack([np.column_stack([ring, np.full(n, z)]) for z in (-half[2], half[2])])
    k = np.arange(n)
    after = (k + 1) % n
    edges = np.vstack([np.column_stack(pair) for pair in ((k, after), (k + n, after + n), (k, k + n))])
    return points, edges


def _convex_cover(points: np.ndarray, edges: np.ndarray, whole: np.ndarray) -> np.ndarray:
    """Slabs across the axis that wastes least, clipped to the exact bounds."""
    best = whole[None]
    for axis in range(3):
        slabs = _slabs(points, edges, axis, whole)
        slabs = np.stack([np.maximum(slabs[:, 0], whole[0]), np.minimum(slabs[:, 1], whole[1])], axis=1)
        if _volume(slabs) < _volume(best) * (1 - WASTE):
            best = slabs
    return best


def _slabs(points: np.ndarray, edges: np.ndarray, axis: int, whole: np.ndarray) -> np.ndarray:
    """(n, 2, 3) bounds of a convex body between parallel cuts about `PITCH` apart."""
    low, high = whole[:, axis]
    cuts = np.linspace(low, high, max(int(np.ceil((high - low) / PITCH)), 1) + 1)
    slabs = bounds_between(points, edges, axis, cuts[:-1], cuts[1:])
    slabs[:, 0, axis], slabs[:, 1, axis] = cuts[:-1], cuts[1:]
    return slabs


def bounds_between(
    points: np.ndarray, edges: np.ndarray, axis: int, lower: np.ndarray, upper: np.ndarray
) -> np.ndarray:
    """(n, 2, 3) bounds of what edges show between n pairs of planes x[axis] = lower, upper.

    For a closed surface, or a convex body, those of the surface between the planes. Where it
    shows nothing the low ends are above the high ones.
    """
    bounds = np.empty((len(lower), 2, 3))
    planes = np.ascontiguousarray(lower, float), np.ascontiguousarray(upper, float)
    shown = np.ascontiguousarray(points, float), np.ascontiguousarray(edges, np.int64)
    bound_slabs(*shown, axis, *planes, ON_PLANE, bounds)
    return bounds


def _volumes(boxes: np.ndarray) -> np.ndarray:
    side = boxes[:, 1] - boxes[:, 0]
    return np.asarray(side[:, 0] * side[:, 1] * side[:, 2])


def _volume(boxes: np.ndarray) -> float:
    return float(_volumes(boxes).sum())


def _split(solid: manifold3d.Manifold) -> list[manifold3d.Manifold]:
    """Parts of a closed solid, split where their bounds waste most."""
    parts = [(-_waste(solid), 0, solid)]
    done: list[manifold3d.Manifold] = []
    made = 1
    while parts:
        waste, _, part = heapq.heappop(parts)
        box = bounds_of(part)
        small = (box[1] - box[0] <= PITCH).sum() >= 2 or (box[1] - box[0]).min() <= THIN
        if small or -waste <= WASTE * _volume(box[None]) or len(parts) + len(done) + 1 >= BUDGET:
            done.append(part)
            continue
        for half in part.split_by_plane(*_plane(part, box)):
            # A plane through a flat side may leave a film of it.
            if not half.is_empty() and np.ptp(bounds_of(half), axis=0).min() > ON_PLANE:
                heapq.heappush(parts, (-_waste(half), made, half))
                made += 1
    return done


def _full(parts: list[manifold3d.Manifold]) -> np.ndarray:
    """Bounds of those parts that fill them."""
    full = [bounds_of(part) for part in parts if _waste(part) <= FULL * part.surface_area()]
    boxes = np.array(full).reshape(-1, 2, 3)
    return np.asarray(boxes[(boxes[:, 1] - boxes[:, 0]).min(axis=1) > FILM])


def _waste(solid: manifold3d.Manifold) -> float:
    """How much more the bounds hold than the solid, mm3."""
    return _volume(bounds_of(solid)[None]) - float(solid.volume())


def _plane(part: manifold3d.Manifold, box: np.ndarray) -> tuple[tuple[float, ...], float]:
    """Where to split: at a plane of corners when there are few, else across the longest side."""
    longest = int((box[1] - box[0]).argmax())
    best = (np.inf, longest, float(box[:, longest].mean()))
    if part.num_tri() <= FEW:
        corners, faces = corners_and_faces(part)
        edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
        for axis in range(3):
            # Corners of one plane differ by rounding; it is cut at one of them, or a film stays behind.
            _, first = np.unique(np.round(corners[:, axis] / BESIDE), return_index=True)
            planes = corners[first, axis]
            planes = planes[(planes > box[0, axis] + FILM) & (planes < box[1, axis] - FILM)]
            planes = planes[:: max(1, -(-len(planes) // PLANES))]
            if not len(planes):
                continue
            below, above = np.full(len(planes), box[0, axis]), np.full(len(planes), box[1, axis])
            left = _volumes(bounds_between(corners, edges, axis, below, planes - BESIDE))
            left += _volumes(bounds_between(corners, edges, axis, planes + BESIDE, above))
            k = int(left.argmin())
            if left[k] < best[0] - ON_PLANE:
                best = (float(left[k]), axis, float(planes[k]))
    return tuple(np.eye(3)[best[1]]), best[2]


def _surface_cover(mesh: Mesh, vertices: np.ndarray) -> np.ndarray:
    """Bounds of groups of triangles of an open mesh, the largest group's bounds split first."""
    corners = vertices[mesh.faces]
    boxes = np.stack([corners.min(axis=1), corners.max(axis=1)], axis=1)
    groups = [_group(boxes, 0)]
    done: list[np.ndarray] = []
    made = 1
    while groups:
        _, _, box, members = heapq.heappop(groups)
        small = (box[1] - box[0] <= PITCH).sum() >= 2 or (box[1] - box[0]).min() <= THIN
        if small or len(groups) + len(done) + 1 >= BUDGET:
            done.append(box)
            continue
        axis = int((box[1] - box[0]).argmax())
        at = float(box[:, axis].mean())
        for low, high in ((-np.inf, at), (at, np.inf)):
            half = members[(members[:, 1, axis] >= low) & (members[:, 0, axis] <= high)].copy()
            half[:, :, axis] = np.clip(half[:, :, axis], low, high)
            if len(half):
                heapq.heappush(groups, _group(half, made))
                made += 1
    return np.array(done)


def _group(boxes: np.ndarray, number: int) -> tuple[float, int, np.ndarray, np.ndarray]:
    box = np.array([boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)])
    return -_volume(box[None]), number, box, boxes
