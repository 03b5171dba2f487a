"""Round holes in a mesh: rings of narrow flats whose edges run one way, on one cylinder, open at an end.

Exports draw a cylinder as flats between straight lines along its axis. A ring of them that turns all the
way, about material outside it, is a hole. A scan has no such lines: in it nothing is found.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from fitcheck.adopt.surface import FLAT, Surface, joined

# Neighbouring flats of a cylinder turn by less, radians: ten flats and more. Fewer are a polygon, and meant.
SHARPEST = np.radians(36.5)
FEWEST = 10
# Lines along one axis differ by less than this, as directions: rounding on 0.5 mm at 500 mm from the origin.
ASIDE = 2e-3
# Corners lie on the cylinder within this, mm, or this share of its radius: an export's rounding, not its
# facets.
OFF, OFF_SHARE = 0.01, 2e-3
# A rim is level where so much of its length is.
LEVEL = 0.3
# Parts of a turn that must all be covered.
SECTORS = 360


@dataclass(frozen=True)
class RoundHole:
    """A hole as measured.

    Args:
        at: middle of its mouth, mm.
        axis: unit vector out of the material.
        diameter: of the circle through the corners of its facets, mm.
        depth: from the mouth to its end, mm.
        through: open at both ends.
        flattened: how far the middles of its facets lie inside that circle, mm.
    """

    at: tuple[float, float, float]
    axis: tuple[float, float, float]
    diameter: float
    depth: float
    through: bool
    flattened: float


def round_holes(surface: Surface) -> list[RoundHole]:
    """All round holes of a surface, the widest first; ties from low x, y, z on."""
    # The pairs that each triangle is in: three at most.
    beside = np.argsort(surface.pairs.ravel(), kind="stable") // 2
    starts = np.searchsorted(np.sort(surface.pairs.ravel()), np.arange(len(surface.faces) + 1))
    found = []
    for faces, lines in _rings(surface):
        about = np.concatenate([beside[starts[face] : starts[face + 1]] for face in faces])
        pairs, times = np.unique(about, return_counts=True)
        hole = _hole(surface, faces, lines, pairs[times == 1])
        if hole is not None:
            found.append(hole)
    return sorted(found, key=lambda hole: (-round(hole.diameter, 3), np.round(hole.at, 3).tolist()))


def _rings(surface: Surface) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Triangles of flats that are joined over lines of one direction, and the pairs that meet there."""
    bend = np.abs(surface.bends)
    # A hole's flats stand inward to each other.
    smooth = np.flatnonzero((bend >= FLAT) & (bend < SHARPEST) & (surface.bends < 0))
    if not len(smooth):
        return
    one, other = surface.pairs[smooth].T
    line = np.cross(surface.normals[one], surface.normals[other])
    line /= np.linalg.norm(line, axis=1)[:, None]
    # Lines are of one ring where they bound the same flat and run the same way: two grids, the second half
    # a step off, so that none is parted from the next by a step. A way and its opposite are one.
    line *= np.where(line[np.arange(len(line)), np.abs(line).argmax(axis=1)] < 0, -1.0, 1.0)[:, None]
    number = np.tile(np.arange(len(smooth)), 2)
    flats = np.r_[surface.flat[one], surface.flat[other]]
    firsts, seconds = [], []
    for shift in (0.0, 0.5):
        grid = np.floor(np.tile(line, (2, 1)) / ASIDE + shift).astype(np.int64)
        rows = np.column_stack([flats, grid])
        order = np.lexsort(rows.T)
        same = np.all(rows[order[1:]] == rows[order[:-1]], axis=1)
        firsts.append(number[order[:-1][same]])
        seconds.append(number[order[1:][same]])
    group = joined(len(smooth), np.concatenate(firsts), np.concatenate(seconds))
    by_flat = np.argsort(surface.flat, kind="stable")
    starts = np.searchsorted(surface.flat[by_flat], np.arange(surface.flat.max() + 2))
    order = np.argsort(group, kind="stable")
    for lines in np.split(order, np.flatnonzero(np.diff(group[order])) + 1):
        ring = np.unique(np.r_[surface.flat[one[lines]], surface.flat[other[lines]]])
        if len(ring) >= FEWEST:
            yield np.concatenate([by_flat[starts[k] : starts[k + 1]] for k in ring]), smooth[lines]


def _hole(surface: Surface, faces: np.ndarray, lines: np.ndarray, rim: np.ndarray) -> RoundHole | None:
    """The hole that a ring of triangles bounds; None where it is none.

    Args:
        surface: the mesh.
        faces: the ring's triangles.
        lines: the pairs at which its flats meet.
        rim: the pairs of which one triangle is of the ring.
    """
    normals, areas = surface.normals[faces], surface.areas[faces]
    # The axis is square to all normals; its greatest component counts up.
    axis = np.linalg.eigh((normals * areas[:, None]).T @ normals)[1][:, 0]
    axis = axis if axis[np.abs(axis).argmax()] > 0 else -axis
    if np.abs(normals @ axis).max() > 5 * ASIDE:
        return None
    across = np.linalg.svd(axis[None])[2][1:]
    # Where flats meet they are on the cylinder; corners that other edges leave on a flat lie within it.
    middle, radius = _circle(surface.vertices[np.unique(shared(surface, lines))] @ across.T)
    sharpest = float(np.abs(surface.bends[lines]).max())
    slack = max(OFF, OFF_SHARE * radius)
    spokes = surface.vertices[surface.faces[faces]] @ across.T - middle
    reach = np.linalg.norm(spokes, axis=2)
    if reach.max() > radius + slack or reach.min() < radius * np.cos(sharpest / 2) - slack:
        return None
    inward = np.einsum("ij,ij->i", normals @ across.T, spokes.mean(axis=1))
    # A sliver whose corners lie in a line has no side.
    if inward[areas > 0].max() >= 0 or not _turns_all_the_way(spokes):
        return None
    ends = _ends(surface, faces, rim, _Frame(axis, across, middle, radius))
    if len(ends) < 2 or not (ends[0][1] or ends[-1][1]):
        return None
    (low, open_low), (high, open_high) = ends[0], ends[-1]
    # Out of a blind hole at its open end; out of a through one where its axis counts up.
    up = open_high
    at = middle @ across + axis * (high if up else low)
    flattened = radius - float(np.abs(np.einsum("ij,ij->i", normals @ across.T, spokes[:, 0])).min())
    way = axis if up else -axis
    return RoundHole(_point(at), _point(way), 2 * radius, high - low, open_low and open_high, flattened)


@dataclass(frozen=True, eq=False)
class _Frame:
    """A cylinder: its axis (3,), two directions square to it (2, 3), its place in them (2,), its radius."""

    axis: np.ndarray
    across: np.ndarray
    middle: np.ndarray
    radius: float


def _ends(surface: Surface, faces: np.ndarray, rim: np.ndarray, frame: _Frame) -> list[tuple[float, bool]]:
    """Where rims that turn all the way cross the axis, from low to high, and whether each is open.

    Open is an end where the surface goes on outside the cylinder; else it has a floor.
    """
    edges = shared(surface, rim)
    one, other = surface.pairs[rim].T
    beyond = np.where(np.isin(one, faces), other, one)
    corners, own = np.unique(edges, return_inverse=True)
    own = own.reshape(-1, 2)
    loop = joined(len(corners), own[:, 0], own[:, 1])[own[:, 0]]
    ends = []
    for number in np.unique(loop):
        here = loop == number
        points = surface.vertices[edges[here]]
        spokes = points @ frame.across.T - frame.middle
        if not _turns_all_the_way(spokes):
            continue
        height, near = _crossing(spokes / frame.radius, points @ frame.axis)
        corners = surface.vertices[surface.faces[beyond[here][near]]] @ frame.across.T - frame.middle
        reach = np.linalg.norm(corners, axis=2).max(axis=1)
        length = np.linalg.norm(points[near, 1] - points[near, 0], axis=1)
        # Triangles about the mouth reach beyond it with a corner; those of a floor or cone do not.
        outside = length @ (reach > frame.radius * (1 + OFF_SHARE) + OFF) > length.sum() / 2
        ends.append((height, bool(outside)))
    return sorted(ends)


def _crossing(spokes: np.ndarray, heights: np.ndarray) -> tuple[float, np.ndarray]:
    """Where the plane of a rim crosses the axis, from its edges: ends (n, 2, 2) and their heights (n, 2).

    Where another hole cuts into the rim it leaves its plane: a rim that is level over a good part of its
    length counts as that, and a tilted one by the half of its length that lies nearest to a plane.

    Returns:
        The height, and which edges lie in the plane.
    """
    length = np.hypot(np.linalg.norm(np.diff(spokes, axis=1)[:, 0], axis=1), np.ptp(heights, axis=1))
    level = np.ptp(heights, axis=1) < OFF
    if length[level].sum() > LEVEL * length.sum():
        high = heights.mean(axis=1)
        order = np.flatnonzero(level)[np.argsort(high[level])]
        height = float(high[order[np.searchsorted(np.cumsum(length[order]), length[order].sum() / 2)]])
        return height, level & (np.abs(high - height) < OFF)
    rows = np.concatenate([np.ones((*spokes.shape[:2], 1)), spokes], axis=2)
    near = np.ones(len(spokes), bool)
    for _ in range(6):
        weight = np.repeat(np.sqrt(length[near]), 2)
        flat = rows[near].reshape(-1, 3)
        plane = np.linalg.lstsq(flat * weight[:, None], heights[near].ravel() * weight, rcond=None)[0]
        off = np.abs(rows @ plane - heights).max(axis=1)
        order = np.argsort(off)
        near = off <= off[order[np.searchsorted(np.cumsum(length[order]), length.sum() / 2)]]
    return float(plane[0]), near


def shared(surface: Surface, pairs: np.ndarray) -> np.ndarray:
    """(k, 2) the corners that the two triangles of each pair share."""
    one, other = surface.faces[surface.pairs[pairs, 0]], surface.faces[surface.pairs[pairs, 1]]
    common = np.any(one[:, :, None] == other[:, None, :], axis=2)
    return np.asarray(one[common].reshape(-1, 2))


def _circle(points: np.ndarray) -> tuple[np.ndarray, float]:
    """Middle and radius of the circle nearest to points (n, 2).

    Algebraic least squares: I. Kåsa, IEEE Transactions on Instrumentation and Measurement 25(1), 1976; from
    memory. Exact for points on a circle.
    """
    about = points.mean(axis=0)
    own = points - about
    rows = np.column_stack([2 * own, np.ones(len(own))])
    solved = np.linalg.lstsq(rows, (own**2).sum(axis=1), rcond=None)[0]
    return solved[:2] + about, float(np.sqrt(max(solved[2] + solved[:2] @ solved[:2], 0.0)))


def _turns_all_the_way(spokes: np.ndarray) -> bool:
    """Whether triangles or edges (n, k, 2) seen from the axis cover the whole turn."""
    angles = np.unwrap(np.arctan2(spokes[..., 1], spokes[..., 0]), axis=1)
    low = np.floor(angles.min(axis=1) / (2 * np.pi) * SECTORS).astype(int)
    high = np.ceil(angles.max(axis=1) / (2 * np.pi) * SECTORS).astype(int)
    # Arcs as ups and downs along the turn, wound once.
    change = np.zeros(3 * SECTORS + 1)
    np.add.at(change, low + SECTORS, 1)
    np.add.at(change, high + SECTORS, -1)
    covered = np.cumsum(change)[: 3 * SECTORS].reshape(3, SECTORS).sum(axis=0)
    return bool((covered > 0).all())


def _point(values: np.ndarray) -> tuple[float, float, float]:
    x, y, z = (float(value) for value in values)
    return x, y, z
