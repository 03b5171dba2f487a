"""Poses of boxes and cylinders to ask about, and other ways to the answers.

Nothing here calls the kernels: supports and memberships are written again in numpy,
hulls and least squares are scipy's.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.optimize import lsq_linear
from scipy.spatial import ConvexHull
from scipy.spatial.transform import Rotation

SQUARE = np.round(Rotation.create_group("O").as_matrix())
MODES = ("random", "square", "mixed", "by 15 degrees", "sliver", "far", "flat", "nested")


class Scene(NamedTuple):
    """n bodies: kinds (n,), halves (n, 3), rotations (n, 3, 3), centres (n, 3)."""

    kinds: np.ndarray
    halves: np.ndarray
    rotations: np.ndarray
    centres: np.ndarray


def turns(rng: np.random.Generator, n: int) -> np.ndarray:
    """Any rotations."""
    return Rotation.random(n, random_state=rng).as_matrix()


def scene(mode: str, seed: int, n: int = 400) -> Scene:
    """Bodies in the manner of a mode; the square ones touch, line up and coincide often."""
    rng = np.random.default_rng([seed, MODES.index(mode)])
    kinds = rng.integers(0, 2, n)
    halves = rng.integers(1, 8, (n, 3)) * 5.0
    rotations = SQUARE[rng.integers(0, 24, n)]
    centres = rng.integers(-6, 7, (n, 3)) * 10.0
    if mode == "random":
        halves = np.exp(rng.uniform(0, np.log(100), (n, 3)))
        rotations, centres = turns(rng, n), rng.uniform(-150, 150, (n, 3))
    elif mode == "mixed":
        rotations[::2] = turns(rng, (n + 1) // 2)
    elif mode == "by 15 degrees":
        about_z = Rotation.from_euler("z", rng.integers(0, 24, (n, 1)) * 15, degrees=True).as_matrix()
        rotations = about_z @ rotations
    elif mode == "sliver":
        halves = rng.choice([0.005, 0.5, 5, 50, 300], (n, 3))
        rotations[::2] = turns(rng, (n + 1) // 2)
        centres = rng.uniform(-200, 200, (n, 3))
    elif mode == "far":
        rotations[::2] = turns(rng, (n + 1) // 2)
        centres += 1e6
    elif mode == "flat":
        halves *= rng.integers(0, 2, (n, 3))
        kinds[:] = 0
        rotations[::2] = turns(rng, (n + 1) // 2)
    elif mode == "nested":
        halves[::2] = halves[::2] * 5 + 60
        rotations[::3] = turns(rng, (n + 2) // 3)
        centres = rng.integers(-3, 4, (n, 3)) * 5.0
    halves[kinds == 1, 1] = halves[kinds == 1, 0]
    return Scene(kinds, halves, rotations, centres)


def pairs_of(bodies: Scene, seed: int, count: int, a: int, b: int) -> np.ndarray:
    """Random pairs (k, 2) of kinds a and b, in either order."""
    rng = np.random.default_rng(seed)
    pairs = rng.integers(0, len(bodies.kinds), (8 * count, 2))
    kinds = np.sort(bodies.kinds[pairs], axis=1)
    wanted = (kinds[:, 0] == a) & (kinds[:, 1] == b) & (pairs[:, 0] != pairs[:, 1])
    return pairs[wanted][:count]


def reach(bodies: Scene, rows: np.ndarray, n: np.ndarray) -> np.ndarray:
    """Support functions of rows (k,) about their centres in directions n (k, 3) or (k, m, 3)."""
    own = np.einsum("k...i,kij->k...j", n, bodies.rotations[rows])
    half = bodies.halves[rows]
    if n.ndim == 3:
        half = half[:, None]
    box = (np.abs(own) * half).sum(axis=-1)
    round_ = np.abs(own[..., 2]) * half[..., 2] + np.hypot(own[..., 0], own[..., 1]) * half[..., 0]
    is_box = bodies.kinds[rows] == 0
    return np.where(is_box if n.ndim == 2 else is_box[:, None], box, round_)


def separations(bodies: Scene, pairs: np.ndarray, n: np.ndarray) -> np.ndarray:
    """Gap of pairs seen along unit n: what separates them, or minus what clears them."""
    between = bodies.centres[pairs[:, 1]] - bodies.centres[pairs[:, 0]]
    offset = np.einsum("k...i,ki->k...", n, between)
    return offset - reach(bodies, pairs[:, 0], n) - reach(bodies, pairs[:, 1], n)


def outside(bodies: Scene, rows: np.ndarray, points: np.ndarray) -> np.ndarray:
    """How far points (k, 3) lie outside bodies rows (k,); 0 in them."""
    own = np.einsum("ki,kij->kj", points - bodies.centres[rows], bodies.rotations[rows])
    half = bodies.halves[rows]
    over = np.maximum(np.abs(own) - half, 0)
    round_over = np.maximum(np.hypot(own[:, 0], own[:, 1]) - half[:, 0], 0)
    is_box = bodies.kinds[rows] == 0
    return np.where(is_box, np.linalg.norm(over, axis=1), np.hypot(round_over, over[:, 2]))


def box_distance(bodies: Scene, i: int, j: int) -> float:
    """Least distance of two boxes: bounded least squares over a point of each."""
    sides = np.hstack([bodies.rotations[i], -bodies.rotations[j]])
    between = bodies.centres[j] - bodies.centres[i]
    # A side of no length has no room between its bounds.
    most = np.maximum(np.r_[bodies.halves[i], bodies.halves[j]], 1e-12)
    found = lsq_linear(sides, between, (-most, most), tol=1e-14)
    return float(np.linalg.norm(sides @ found.x - between))


def corners(bodies: Scene, i: int, sides: int = 48, around: bool = False) -> np.ndarray:
    """Corners of a box, or of the prism in (or around) a cylinder, from the centre."""
    if bodies.kinds[i] == 0:
        unit = np.array(np.meshgrid(*[(-1, 1)] * 3)).reshape(3, -1).T
        return unit * bodies.halves[i] @ bodies.rotations[i].T
    angles = 2 * np.pi * np.arange(sides) / sides
    r = bodies.halves[i, 0] / (np.cos(np.pi / sides) if around else 1)
    rim = np.c_[r * np.cos(angles), r * np.sin(angles)]
    ends = [np.c_[rim, np.full(sides, z * bodies.halves[i, 2])] for z in (-1, 1)]
    return np.vstack(ends) @ bodies.rotations[i].T


def difference_faces(bodies: Scene, i: int, j: int, **prism: int) -> np.ndarray:
    """Faces (f, 4: outward unit normal, offset) of the set of differences, points of j less those of i."""
    a, b = corners(bodies, i, **prism), corners(bodies, j, **prism)
    between = bodies.centres[j] - bodies.centres[i]
    return ConvexHull((b[None] - a[:, None]).reshape(-1, 3) + between).equations


def hull_depth(bodies: Scene, i: int, j: int, **prism: int) -> float:
    """Shortest clearing shift by the hull of all differences; 0 when apart."""
    return max(0.0, -float(difference_faces(bodies, i, j, **prism)[:, 3].max()))


def hull_travel(
    bodies: Scene, i: int, j: int, way: np.ndarray, tolerance: float, **prism: int
) -> tuple[float, float, float]:
    """Travels of i along unit `way` in the hull of differences: touching, deeper from, deeper to."""
    faces = difference_faces(bodies, i, j, **prism)
    # The difference after a travel t is the old one less t way: the origin moves to t way.
    rate, offset = faces[:, :3] @ way, faces[:, 3]
    spans = []
    for deep in (0.0, tolerance):
        if (offset[np.abs(rate) < 1e-12] > -deep).any():
            return np.inf, np.inf, -np.inf
        moves = np.abs(rate) >= 1e-12
        at = -(offset[moves] + deep) / rate[moves]
        spans.append((at[rate[moves] < 0].max(), at[rate[moves] > 0].min()))
    return spans[0][0], spans[1][0], spans[1][1]


def directions(count: int) -> np.ndarray:
    """Evenly spread unit vectors (count, 3): a Fibonacci spiral."""
    k = np.arange(count) + 0.5
    z, angle = 1 - 2 * k / count, np.pi * (1 + 5**0.5) * k
    flat = np.sqrt(1 - z * z)
    return np.c_[flat * np.cos(angle), flat * np.sin(angle), z]


def searched_depth(bodies: Scene, pair: np.ndarray, spread: np.ndarray, seed: int = 0) -> float:
    """Least clearing shift over many directions, the best forty refined at random."""
    rng = np.random.default_rng(seed)
    one = pair[None]
    shift = -separations(bodies, one, spread[None])[0]
    best = np.argsort(shift)[:40]
    n, shift, step = spread[best], shift[best], 0.05
    while step > 1e-8:
        tried = n[:, None] + rng.normal(size=(len(n), 16, 3)) * step
        tried /= np.linalg.norm(tried, axis=2, keepdims=True)
        found = -separations(bodies, one, tried.reshape(1, -1, 3)).reshape(len(n), 16)
        pick = found.argmin(axis=1)
        won = found.min(axis=1) < shift
        n = np.where(won[:, None], tried[np.arange(len(n)), pick], n)
        shift = np.minimum(shift, found.min(axis=1))
        step *= 1.0 if won.mean() > 0.3 else 0.6
        keep = np.argsort(shift)[: max(6, int(len(shift) * 0.85))]
        n, shift = n[keep], shift[keep]
    return float(shift.min())
