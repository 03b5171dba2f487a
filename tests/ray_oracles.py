"""Lines against solids, worked out one by one in plain numpy: what the kernels and trees are held against."""

from __future__ import annotations

import numpy as np

from fitcheck.parts.pieces import new_mesh
from fitcheck.parts.solids import Kind, Piece


def hit(piece: Piece, start: np.ndarray, end: np.ndarray) -> float:
    """Share of the way from start to end at which a piece of the world is met; inf when it is not.

    Boxes and cylinders as sets of half spaces (and a quadratic), meshes triangle by triangle, by volumes
    of tetrahedra instead of cross products along the line.
    """
    own_start = (start - piece.centre) @ piece.rotation
    own_end = (end - piece.centre) @ piece.rotation
    way = own_end - own_start
    if piece.mesh is not None:
        corners = np.asarray(piece.mesh.vertices)[piece.mesh.faces]
        return min((_triangle(c, own_start, own_end) for c in corners), default=np.inf)
    low, high = 0.0, 1.0
    planes = [(axis, sign) for axis in range(3) for sign in (1, -1)]
    if piece.kind == Kind.CYLINDER:
        planes = planes[4:]
        a, b = way[:2] @ way[:2], own_start[:2] @ way[:2]
        c = own_start[:2] @ own_start[:2] - piece.half[0] ** 2
        if a == 0:
            if c >= 0:
                return np.inf
        else:
            roots = np.roots([a, 2 * b, c])
            if np.abs(roots.imag).max() > 0:
                return np.inf
            low, high = max(low, roots.real.min()), min(high, roots.real.max())
    for axis, sign in planes:
        # sign x <= half
        over, speed = sign * own_start[axis] - piece.half[axis], sign * way[axis]
        if speed == 0:
            if over >= 0:
                return np.inf
        elif speed < 0:
            low = max(low, -over / speed)
        else:
            high = min(high, -over / speed)
    return low if low < high else np.inf


def _triangle(corners: np.ndarray, start: np.ndarray, end: np.ndarray) -> float:
    a, b, c = corners
    normal = np.cross(b - a, c - a)
    above, below = normal @ (start - a), normal @ (end - a)
    if above * below > 0 or above == below:
        return np.inf
    share = above / (above - below)
    at = start + share * (end - start)
    turns = [normal @ np.cross(q - p, at - p) for p, q in ((a, b), (b, c), (c, a))]
    return share if min(turns) >= 0 else np.inf


def first(pieces: list[Piece], start: np.ndarray, end: np.ndarray) -> tuple[float, int]:
    """The least of `hit` over all pieces, and which; inf and -1."""
    shares = [hit(piece, start, end) for piece in pieces]
    best = int(np.argmin(shares)) if shares else -1
    return (shares[best], best) if shares and np.isfinite(shares[best]) else (np.inf, -1)


def random_piece(rng: np.random.Generator) -> Piece:
    """A box, a cylinder or a ragged mesh of a few triangles, in any pose; now and then square to the axes."""
    turn = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    turn *= np.sign(np.linalg.det(turn))
    if rng.random() < 0.3:
        turn = np.eye(3)
    middle, half = rng.uniform(-40, 40, 3), rng.uniform(1, 20, 3)
    kind = Kind(int(rng.integers(3)))
    if kind == Kind.MESH:
        corners = rng.uniform(-1, 1, (int(rng.integers(1, 30)), 3, 3)) * half
        made = new_mesh(corners.reshape(-1, 3), np.arange(3 * len(corners)).reshape(-1, 3), False, 0.0)
        return Piece(kind, half, turn, middle, made)
    if kind == Kind.CYLINDER:
        half[1] = half[0]
    return Piece(kind, half, turn, middle)
