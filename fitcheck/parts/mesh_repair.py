"""Mends of a mesh from a file: only those that make it better, each said in a plain sentence."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np

from fitcheck.parts.mesh_bodies import bodies_apart, edges, neighbours, shells
from fitcheck.parts.outline import is_solid, united

# Corners nearer than this are one if that closes the mesh, mm: STL's rounding at 700 mm is 3e-5.
SAME_CORNER = 1e-4
# A hole of three edges is a lost triangle. A larger one is closed up to this many edges, this
# share of the surface and this far from flat (share of its width): beyond, it may be meant.
HOLE_EDGES = 64
HOLE_AREA = 0.01
HOLE_BULGE = 0.05
# Closing all holes may change the volume by this share: one of a box's twelve triangles is 8 %.
HOLE_VOLUME = 0.15
# More holes than this are a scan's, not an export's mistake.
HOLES = 100
# Shells of one file that are compared with each other.
SHELLS = 200


@dataclass
class _Work:
    """The mesh as mended so far."""

    vertices: np.ndarray
    faces: np.ndarray
    said: list[str]

    def volume(self) -> float:
        """Signed volume about the middle of the corners, mm³ (of an open mesh: an estimate)."""
        return volume(self.vertices, self.faces)


def mended(
    vertices: np.ndarray, faces: np.ndarray, soup: bool
) -> tuple[np.ndarray, np.ndarray, bool, tuple[str, ...]]:
    """Merge corners, drop what is no triangle, turn faces outward, close small holes.

    Args:
        vertices: (n, 3) mm, finite.
        faces: (m, 3), indices in range.
        soup: merging corners that are exactly alike is no repair.

    Returns:
        Vertices, faces, whether the mesh is closed and outward, and what was mended or cannot be.
    """
    work = _Work(vertices, faces, [])
    _merge_alike(work, soup)
    _drop_flat(work)
    left = _open_edges(work.faces)
    for mend in (_merge_near, _drop_doubles, _turn_alike, _close_holes):
        if left:
            left = mend(work, left)
    if left:
        work.said.append(
            f"not closed: {left:,} open edges; distances hold, but inside and depth cannot be told"
        )
        return work.vertices, work.faces, False, tuple(work.said)
    work.vertices, work.faces = bodies_apart(work.vertices, work.faces)
    before = _Work(work.vertices, work.faces, list(work.said))
    _turn_outward(work)
    solid = is_solid(work.vertices, work.faces)
    if not solid and work.faces is not before.faces:
        # Turned or joined it is no solid either: then as the file has it.
        work = before
        work.said.append("turning its shells made no solid of it and was undone")
    if not solid:
        work.said.append("its surface touches or crosses itself; inside and depth cannot be told")
    return work.vertices, work.faces, solid, tuple(work.said)


def _open_edges(faces: np.ndarray) -> int:
    """How many edges are not passed as often one way as the other (0: closed and alike)."""
    key, way = edges(faces)
    _, index = np.unique(key, return_inverse=True)
    return int(np.count_nonzero(np.bincount(index, weights=way)))


def _tetrahedra(vertices: np.ndarray, faces: np.ndarray) -> np.ndarray:
    a, b, c = (vertices[faces[:, k]] - vertices.mean(axis=0) for k in range(3))
    return np.asarray(np.einsum("ij,ij->i", a, np.cross(b, c)) / 6)


def _merged(vertices: np.ndarray, faces: np.ndarray, keys: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """One corner for all whose rows of `keys` are alike: the first written."""
    order = np.lexsort(keys.T)
    new = np.ones(len(keys), bool)
    new[1:] = np.any(keys[order[1:]] != keys[order[:-1]], axis=1)
    group = np.empty(len(keys), np.int64)
    group[order] = np.cumsum(new) - 1
    # Within a group lexsort keeps the order written, so the first of each is the earliest.
    first = order[new]
    rank = np.empty(len(first), np.int64)
    by_place = np.argsort(first)
    rank[by_place] = np.arange(len(first))
    return vertices[first[by_place]], rank[group][faces]


def _merge_alike(work: _Work, soup: bool) -> None:
    used = np.zeros(len(work.vertices), bool)
    used[work.faces] = True
    if not used.all():
        renumbered = np.cumsum(used) - 1
        work.vertices, work.faces = work.vertices[used], renumbered[work.faces]
    before = len(work.vertices)
    # Plus zero: -0.0 and 0.0 are the same place.
    vertices, faces = _merged(work.vertices, work.faces, work.vertices + 0.0)
    if len(vertices) < before:
        if not soup:
            work.said.append(f"{before - len(vertices):,} corners written more than once were merged")
        work.vertices, work.faces = vertices, faces


def _drop_flat(work: _Work) -> None:
    """Drop triangles with two corners in one place: they have no area and no use."""
    a, b, c = work.faces.T
    good = (a != b) & (b != c) & (c != a)
    if not good.all():
        work.said.append(f"{np.count_nonzero(~good):,} triangles without area were dropped")
        work.faces = work.faces[good]


def _merge_near(work: _Work, left: int) -> int:
    """Merge corners that differ by rounding, if fewer edges are open then."""
    # A grid parts near corners that its lines run between; a second one, half a step off, does not.
    for shift in (0.0, 0.5):
        keys = np.floor(work.vertices / SAME_CORNER + shift)
        vertices, faces = _merged(work.vertices, work.faces, keys)
        a, b, c = faces.T
        faces = faces[(a != b) & (b != c) & (c != a)]
        now = _open_edges(faces)
        if now < left and len(faces):
            count = len(work.vertices) - len(vertices)
            work.said.append(f"{count:,} corners less than {SAME_CORNER:g} mm apart were merged")
            work.vertices, work.faces, left = vertices, faces, now
        if not left:
            break
    return left


def _drop_doubles(work: _Work, left: int) -> int:
    """Drop triangles written twice, if fewer edges are open then."""
    _, first = np.unique(np.sort(work.faces, axis=1), axis=0, return_index=True)
    if len(first) == len(work.faces):
        return left
    faces = work.faces[np.sort(first)]
    now = _open_edges(faces)
    if now < left:
        work.said.append(f"{len(work.faces) - len(faces):,} triangles written twice were dropped")
        work.faces, left = faces, now
    return left


def _turn_alike(work: _Work, left: int) -> int:
    """Turn faces so that neighbours run alike, shell by shell, as most of its faces do."""
    one, other, clash = neighbours(work.faces)
    if not clash.any():
        return left
    around: list[list[tuple[int, bool]]] = [[] for _ in range(len(work.faces))]
    for a, b, odd in zip(one.tolist(), other.tolist(), clash.tolist(), strict=True):
        around[a].append((b, odd))
        around[b].append((a, odd))
    turn = np.full(len(work.faces), -1, np.int8)
    for seed in range(len(work.faces)):
        if turn[seed] >= 0:
            continue
        turn[seed] = 0
        shell, queue = [seed], deque([seed])
        while queue:
            face = queue.popleft()
            for neighbour, odd in around[face]:
                if turn[neighbour] < 0:
                    turn[neighbour] = turn[face] ^ odd
                    shell.append(neighbour)
                    queue.append(neighbour)
        if 2 * np.count_nonzero(turn[shell]) > len(shell):
            turn[shell] ^= 1
    faces = _turned(work.faces, turn == 1)
    now = _open_edges(faces)
    if now < left:
        before = work.volume()
        work.faces, left = faces, now
        count = np.count_nonzero(turn)
        work.said.append(
            f"{count:,} faces ran the wrong way and were turned ({change(before, work.volume())})"
        )
    return left


def _turned(faces: np.ndarray, which: np.ndarray) -> np.ndarray:
    turned = faces.copy()
    turned[which] = faces[which][:, ::-1]
    return turned


def _close_holes(work: _Work, left: int) -> int:
    """Close lost triangles and small flat holes, if the mesh is closed then and much the same."""
    loops = _hole_loops(work.faces)
    if not loops or len(loops) > HOLES:
        return left
    a, b, c = (work.vertices[work.faces[:, k]] for k in range(3))
    largest = HOLE_AREA * float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2)
    vertices, faces = [work.vertices], [work.faces]
    count = len(work.vertices)
    for loop in loops:
        if len(loop) == 3:
            faces.append(loop[None, ::-1])
        elif _is_small_and_flat(work.vertices[loop], largest):
            # A fan about a new corner in the middle.
            vertices.append(work.vertices[loop].mean(axis=0, keepdims=True))
            faces.append(np.stack([np.roll(loop, -1), loop, np.full(len(loop), count)], axis=1))
            count += 1
        else:
            return left
    filled = _Work(np.concatenate(vertices), np.concatenate(faces), [])
    before, after = work.volume(), filled.volume()
    now = _open_edges(filled.faces)
    if now or abs(abs(after) - abs(before)) > HOLE_VOLUME * abs(after):
        return left
    rims = sum(map(len, loops))
    holes = "1 hole" if len(loops) == 1 else f"{len(loops)} holes"
    work.said.append(f"{holes} of {rims} edges closed ({change(before, after)})")
    work.vertices, work.faces = filled.vertices, filled.faces
    return now


def _is_small_and_flat(points: np.ndarray, largest: float) -> bool:
    """Whether the hole with these corners (n, 3) may be closed by a fan about its middle."""
    spokes = points - points.mean(axis=0)
    normals = np.cross(np.roll(spokes, -1, axis=0), spokes)
    normal = normals.sum(axis=0)
    twice_area = float(np.linalg.norm(normal))
    if len(points) > HOLE_EDGES or twice_area > 2 * largest or twice_area == 0.0:
        return False
    width = float(np.linalg.norm(spokes, axis=1).max())
    bulge = float(np.abs(spokes @ normal).max()) / twice_area
    return bulge <= HOLE_BULGE * width and bool(np.min(normals @ normal) > 0)


def _hole_loops(faces: np.ndarray) -> list[np.ndarray]:
    """Corners round each hole, the way its neighbours pass them; none if they cannot be told apart."""
    key, way = edges(faces)
    _, index, counts = np.unique(key, return_inverse=True, return_counts=True)
    single = counts[index] == 1
    if np.count_nonzero(np.bincount(index, weights=way)) != np.count_nonzero(single):
        return []
    start = faces.ravel()[single]
    end = np.roll(faces, -1, axis=1).ravel()[single]
    if len(np.unique(start)) != len(start) or len(np.unique(end)) != len(end):
        return []
    after = dict(zip(start.tolist(), end.tolist(), strict=True))
    loops = []
    while after:
        corner = min(after)
        loop = []
        while corner in after:
            loop.append(corner)
            corner = after.pop(corner)
        if corner != loop[0] or len(loop) < 3:
            return []
        loops.append(np.array(loop))
    return loops


def _turn_outward(work: _Work) -> None:
    """Turn shells outward, but for those that are cavities of another; join solids that overlap."""
    before = work.volume()
    shell = shells(work.faces)
    volumes = np.bincount(shell, weights=_tetrahedra(work.vertices, work.faces))
    if len(volumes) > SHELLS:
        # Too many to compare with each other: all as the file has them, or all turned.
        if volumes.sum() < 0:
            work.faces = work.faces[:, ::-1]
            work.said.append(f"the mesh was inside out and was turned ({change(before, work.volume())})")
        return
    depth = _depths(work, shell, len(volumes))
    wrong = (volumes < 0) & (depth % 2 == 0)
    if volumes.sum() < 0 and np.all((volumes < 0) == (depth % 2 == 0)):
        # Inside out as a whole: its cavities too.
        wrong = np.ones(len(volumes), bool)
    if wrong.any():
        work.faces = _turned(work.faces, wrong[shell])
        which = (
            "the mesh was"
            if len(volumes) == 1
            else f"{np.count_nonzero(wrong)} of {len(volumes)} shells were"
        )
        work.said.append(f"{which} inside out and turned ({change(before, work.volume())})")
        volumes = np.where(wrong, -volumes, volumes)
    if len(volumes) > 1 and np.all(volumes > 0):
        joined = united(work.vertices, work.faces)
        if joined is not None:
            before = work.volume()
            work.vertices, work.faces = joined
            work.said.append(f"solids that overlap in the file were joined ({change(before, work.volume())})")


def _depths(work: _Work, shell: np.ndarray, count: int) -> np.ndarray:
    """How many other shells each shell lies in."""
    depth = np.zeros(count, int)
    if count == 1:
        return depth
    corners = [work.vertices[np.unique(work.faces[shell == k])] for k in range(count)]
    low = np.array([c.min(axis=0) for c in corners])
    high = np.array([c.max(axis=0) for c in corners])
    for inner in range(count):
        holds = np.all((low <= low[inner]) & (high >= high[inner]), axis=1)
        holds[inner] = False
        for outer in np.flatnonzero(holds):
            faces = work.faces[shell == outer]
            depth[inner] += abs(_winding(work.vertices, faces, corners[inner][0])) > 0.5
    return depth


def _winding(vertices: np.ndarray, faces: np.ndarray, point: np.ndarray) -> float:
    """Winding number of a closed surface about a point.

    Solid angle of a triangle: A. Van Oosterom and J. Strackee, IEEE Transactions on Biomedical
    Engineering 30(2), 1983, equation 8.
    """
    a, b, c = (vertices[faces[:, k]] - point for k in range(3))
    la, lb, lc = (np.linalg.norm(v, axis=1) for v in (a, b, c))
    top = np.einsum("ij,ij->i", a, np.cross(b, c))
    bottom = (
        la * lb * lc
        + np.einsum("ij,ij->i", a, b) * lc
        + np.einsum("ij,ij->i", b, c) * la
        + np.einsum("ij,ij->i", c, a) * lb
    )
    return float(np.arctan2(top, bottom).sum() / (2 * np.pi))


def volume(vertices: np.ndarray, faces: np.ndarray) -> float:
    """Signed volume about the middle of the corners, mm³ (of an open mesh: an estimate)."""
    return float(_tetrahedra(vertices, faces).sum())


def change(before: float, after: float) -> str:
    """A change of volume in words."""
    return f"volume {before:,.6g} → {after:,.6g} mm³"
