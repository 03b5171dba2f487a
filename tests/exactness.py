"""How far the engine's answers lie from independent ones, at worst, for each pair of kinds of solids.

`python tests/exactness.py` (or with pairs, such as `mesh,mesh`) asks 8,000 seeded poses of each pair, some
ten minutes in all, and prints the worst errors with the poses they were found in: what the README's table
quotes. `test_exactness.py` asks again, and fails where an error is larger than what the README says.

Nothing here calls a kernel. Distances of what has flat sides: all pairs of triangles. With cylinders: the points
must lie in their bodies, which bounds the distance from above, and a direction is searched that separates by
most, which bounds it from below; triangles to cylinders by golden sections, too. Depths of what has flat sides: the
hull of all differences; with cylinders no direction searched clears sooner. Meshes of cubes are counted.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

import kernel_oracles as oracle
import lattice
import numpy as np
import worlds
from scipy.spatial import ConvexHull
from test_trees import all_pairs

from fitcheck.parts.pieces import new_mesh
from fitcheck.parts.solids import Kind, Piece
from fitcheck.world import engine
from fitcheck.world.frames import SIDES

PAIRS = (
    ("box", "box"), ("box", "cylinder"), ("cylinder", "cylinder"),
    ("mesh", "mesh"), ("mesh", "box"), ("mesh", "cylinder"),
)  # fmt: skip
# Bodies without thickness have no depth to be asked for; flush: whole numbers, side to side.
MODES = (*(mode for mode in oracle.MODES if mode != "flat"), "flush")
# Corners of the prisms that stand for meshes.
SIDES_OF_PRISM = 8
# Deeper than this the hull and the search are asked for depths, mm.
MET = 1e-6
ROUNDS = 75
# How many pairs of each manner are asked in full, and how many of them are worked out together.
FULL, TOGETHER = 1000, 50
# What of a mesh is nowhere thicker counts as touching, mm: needles thinner than a contact.
NEEDLE = 0.01


@dataclass
class Worst:
    """The worst of several errors, where it was found, and how many there were."""

    error: float = 0.0
    case: str = "none"
    asked: int = 0

    def add(self, error: float, case: str) -> None:
        self.asked += 1
        if not error <= self.error:
            self.error, self.case = float(error), case


@dataclass
class Row:
    """What was found of one pair of kinds, mm.

    Args:
        distance, depth: too large or too small; of meshes `depth` is how deep they still are when moved so far.
        longer: how many times the shortest way out the way out is, of convex ones.
    """

    distance: Worst = field(default_factory=Worst)
    depth: Worst = field(default_factory=Worst)
    longer: Worst = field(default_factory=lambda: Worst(1.0))
    touching: int = 0


class Cast(NamedTuple):
    """Bodies of a manner, as one kind or another, and pairs of them."""

    scene: oracle.Scene
    pairs: np.ndarray
    found: list[engine.Measured]


def hull_triangles(scene: oracle.Scene, i: int) -> np.ndarray:
    """Triangles (n, 3, 3) of a box, or of the prism in a cylinder, outward, from its centre, in its own axes."""
    own = oracle.corners(scene, i, SIDES_OF_PRISM) @ scene.rotations[i]
    hull = ConvexHull(own)
    triangles = own[hull.simplices]
    normals = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    inward = (normals * hull.equations[:, :3]).sum(axis=1) < 0
    triangles[inward] = triangles[inward][:, ::-1]
    return triangles


def piece(scene: oracle.Scene, i: int, kind: str) -> Piece:
    """A body of a scene as the engine is given it."""
    if kind != "mesh":
        assert Kind(int(scene.kinds[i])) == Kind[kind.upper()]
        return Piece(Kind[kind.upper()], scene.halves[i], scene.rotations[i], scene.centres[i], None)
    corners = hull_triangles(scene, i).reshape(-1, 3)
    points, faces = np.unique(corners, axis=0, return_inverse=True)
    mesh = new_mesh(points, faces.reshape(-1, 3).astype(np.int32), True, 0.0)
    return Piece(Kind.MESH, np.ptp(points, axis=0) / 2, scene.rotations[i], scene.centres[i], mesh)


def cast(kinds: tuple[str, str], mode: str, seed: int, count: int) -> Cast:
    """Pairs of kinds in a manner, and what the engine says of them."""
    scene = oracle.scene("square" if mode == "flush" else mode, seed, 200)
    numbers = {"box": (0,), "cylinder": (1,), "mesh": (0, 1)}
    rng = np.random.default_rng(seed)
    # Drawn for the full count: the first of them are the same however many are asked.
    pairs = np.stack([rng.choice(np.flatnonzero(np.isin(scene.kinds, numbers[k])), FULL) for k in kinds], 1)
    sides = np.eye(3)[rng.integers(0, 3, FULL)] * rng.choice([-1.0, 1.0], (FULL, 1))
    flip = (rng.random(FULL) < 0.5) & (kinds[0] != kinds[1])
    pairs, sides, flip = (rows[:count][(pairs[:, 0] != pairs[:, 1])[:count]] for rows in (pairs, sides, flip))
    if mode == "flush":
        scene, pairs = flush(scene, pairs, sides)
    first, second = (np.unique(pairs[:, k]) for k in (0, 1))
    among = worlds.bodies_of(
        *(piece(scene, i, kinds[0]) for i in first), *(piece(scene, i, kinds[1]) for i in second)
    )
    rows = np.stack(
        [np.searchsorted(first, pairs[:, 0]), len(first) + np.searchsorted(second, pairs[:, 1])], 1
    )
    found = engine.measure(among, np.where(flip[:, None], rows[:, ::-1], rows))
    # All answers as if the first of the kinds was asked first.
    found = [turned_about(one) if other else one for one, other in zip(found, flip, strict=True)]
    return Cast(scene, pairs, found)


def flush(scene: oracle.Scene, pairs: np.ndarray, side: np.ndarray) -> tuple[oracle.Scene, np.ndarray]:
    """Pairs of their own, the second of each moved to a side (k, 3) until its bounds touch those of the first."""
    own = oracle.Scene(*(rows[pairs.ravel()] for rows in scene))
    pairs = np.arange(2 * len(pairs)).reshape(-1, 2)
    gap = oracle.separations(own, pairs, side)
    own.centres[pairs[:, 1]] -= np.round(gap, 9)[:, None] * side
    return own, pairs


def turned_about(one: engine.Measured) -> engine.Measured:
    return type(one)(one.distance, one.depth, -one.normal, one.on_b, one.on_a, one.error, one.decided)


# ---- supports of bodies, each as it was given


class Seen(NamedTuple):
    """Pairs as supports: corners (k, c, 3) of what has flat sides, nan where a cylinder is."""

    scene: oracle.Scene
    pairs: np.ndarray
    between: np.ndarray
    corners: tuple[np.ndarray | None, np.ndarray | None]


def seen(kinds: tuple[str, str], scene: oracle.Scene, pairs: np.ndarray) -> Seen:
    """These pairs; the corners of boxes and prisms from their centres."""

    def corners(side: int) -> np.ndarray | None:
        if kinds[side] == "cylinder":
            return None
        made = [oracle.corners(scene, i, SIDES_OF_PRISM) for i in pairs[:, side].tolist()]
        most = max(len(one) for one in made)
        return np.array([np.resize(one, (most, 3)) for one in made])

    between = scene.centres[pairs[:, 1]] - scene.centres[pairs[:, 0]]
    return Seen(scene, pairs, between, (corners(0), corners(1)))


def separations(view: Seen, n: np.ndarray) -> np.ndarray:
    """Gap (k, m) of pairs along unit n (k, m, 3): what separates them, or minus what clears them."""

    def reach(side: int, way: np.ndarray) -> np.ndarray:
        corners = view.corners[side]
        if corners is None:
            return oracle.reach(view.scene, view.pairs[:, side], way)
        return np.einsum("kci,kmi->kmc", corners, way).max(axis=2)

    return np.einsum("kmi,ki->km", n, view.between) - reach(0, n) - reach(1, -n)


def best_separation(view: Seen, hints: np.ndarray, seed: int = 0) -> np.ndarray:
    """The most (k,) that any direction found separates pairs by.

    Many directions, the axes and their products, and the hints (k, 3), the best eight refined at random: near and
    far, and in the planes across the axes, where supports have their edges.
    """
    rng = np.random.default_rng(seed)
    axes = np.concatenate(
        [view.scene.rotations[view.pairs[:, side]].swapaxes(1, 2) for side in (0, 1)], axis=1
    )
    across = np.cross(axes[:, :3, None], axes[:, None, 3:]).reshape(len(axes), 9, 3)
    middle = view.between / np.maximum(np.linalg.norm(view.between, axis=1, keepdims=True), 1e-300)
    exact = np.concatenate([axes, across, middle[:, None], hints[:, None]], axis=1)
    size = np.linalg.norm(exact, axis=2, keepdims=True)
    exact = np.where(size > 1e-9, exact / np.maximum(size, 1e-300), [0.0, 0.0, 1.0])
    exact = np.concatenate([exact, -exact], axis=1)
    spread = np.broadcast_to(oracle.directions(1500), (len(axes), 1500, 3))
    n = np.concatenate([exact, spread], axis=1)
    gap = separations(view, n)
    best = np.argsort(-gap, axis=1)[:, :8]
    n, gap = np.take_along_axis(n, best[..., None], 1), np.take_along_axis(gap, best, 1)
    step = np.full(len(n), 0.03)
    for _ in range(130):
        tried = n[:, :, None] + rng.normal(size=(*n.shape[:2], 12, 3)) * step[:, None, None, None]
        # Half of them in a plane across one of the axes.
        axis = axes[np.arange(len(n))[:, None, None], rng.integers(0, 6, (*n.shape[:2], 6))]
        flat = tried[:, :, :6] - (tried[:, :, :6] * axis).sum(-1, keepdims=True) * axis
        tried = np.concatenate([tried[:, :, :6], flat, tried[:, :, 6:]], axis=2)
        tried = (tried / np.maximum(np.linalg.norm(tried, axis=3, keepdims=True), 1e-300)).reshape(
            len(n), -1, 3
        )
        n, gap = np.concatenate([n, tried], axis=1), np.concatenate([gap, separations(view, tried)], axis=1)
        best, before = np.argsort(-gap, axis=1, kind="stable")[:, :8], gap[:, :8].max(axis=1)
        n, gap = np.take_along_axis(n, best[..., None], 1), np.take_along_axis(gap, best, 1)
        step *= np.where(gap[:, 0] > before, 1.0, 0.7)
        step[step < 1e-14] = 1e-6
    return gap[:, 0]


# ---- convex pairs


def cylinder_distances(scene: oracle.Scene, pairs: np.ndarray, triangles: list[np.ndarray]) -> np.ndarray:
    """Distances (k,) of triangles, of the first about its centre, to the second, a cylinder.

    Convex in both weights of a point of a triangle: two golden sections, one in the other, for all at once.
    """
    at = scene.centres[pairs[:, 1]] - scene.centres[pairs[:, 0]]
    own = [(t - s) @ scene.rotations[j] for t, s, j in zip(triangles, at, pairs[:, 1], strict=True)]
    many = np.array([len(one) for one in own])
    a, b, c = np.concatenate(own).swapaxes(0, 1)
    half = np.repeat(scene.halves[pairs[:, 1]], many, axis=0)

    def off(u: np.ndarray, v: np.ndarray) -> np.ndarray:
        p = a + u[:, None] * (b - a) + v[:, None] * (c - a)
        side = np.maximum(np.hypot(p[:, 0], p[:, 1]) - half[:, 0], 0)
        return np.hypot(side, np.maximum(np.abs(p[:, 2]) - half[:, 2], 0))

    def least(function, high: np.ndarray) -> np.ndarray:
        low, ratio = np.zeros(len(a)), (np.sqrt(5) - 1) / 2
        x, y = high - ratio * (high - low), low + ratio * (high - low)
        at_x, at_y = function(x), function(y)
        for _ in range(ROUNDS):
            left = at_x <= at_y
            low, high = np.where(left, low, x), np.where(left, y, high)
            new = np.where(left, high - ratio * (high - low), low + ratio * (high - low))
            at_new = function(new)
            x, y = np.where(left, new, y), np.where(left, x, new)
            at_x, at_y = np.where(left, at_new, at_y), np.where(left, at_x, at_new)
        return np.minimum(at_x, at_y)

    found = least(lambda u: least(lambda v: off(u, v), 1 - u), np.ones(len(a)))
    return np.minimum.reduceat(found, np.cumsum(many) - many)


def flat_distances(scene: oracle.Scene, pairs: np.ndarray) -> np.ndarray:
    """Distances (k,) of convex pairs with flat sides that do not overlap: all pairs of triangles."""

    def triangles(i: int, j: int) -> np.ndarray:
        # About the first's centre: far from the origin nothing is lost.
        return hull_triangles(scene, j) @ scene.rotations[j].T + (scene.centres[j] - scene.centres[i])

    return np.array([all_pairs(triangles(i, i), triangles(i, j)) for i, j in pairs.tolist()])


def measure_convex(kinds: tuple[str, str], mode: str, seed: int, count: int, row: Row) -> None:
    """Add the errors of convex pairs in a manner; meshes are boxes and prisms of triangles."""
    made = cast(kinds, mode, seed, count)
    for start in range(0, len(made.pairs), TOGETHER):
        part = slice(start, start + TOGETHER)
        _add_convex(kinds, Cast(made.scene, made.pairs[part], made.found[part]), f"{mode} {seed}", row)


def _add_convex(kinds: tuple[str, str], made: Cast, what: str, row: Row) -> None:
    scene, pairs, found = made
    view = seen(kinds, scene, pairs)
    normals = np.nan_to_num(np.array([one.normal for one in found]))
    gap = best_separation(view, normals)
    distance, depth = (np.array([getattr(one, name) for one in found]) for name in ("distance", "depth"))
    cases = [f"{what}: bodies {i} and {j}" for i, j in pairs.tolist()]
    row.touching += int((np.abs(gap) < MET).sum())
    round_, apart = "cylinder" in kinds, gap > MET
    error = np.abs(distance - np.maximum(gap, 0))
    if not round_ and apart.any():
        error[apart] = np.abs(distance[apart] - flat_distances(scene, pairs[apart]))
    elif "mesh" not in kinds and apart.any():
        ends = [np.array([getattr(one, name) for one in found]) for name in ("on_a", "on_b")]
        above = np.linalg.norm(ends[1] - ends[0], axis=1)
        above += sum(oracle.outside(scene, pairs[:, side], ends[side]) for side in (0, 1))
        error[apart] = np.maximum(error, above - distance)[apart]
    if "cylinder" in kinds and kinds[0] != "cylinder" and apart.any():
        own = [hull_triangles(scene, i) @ scene.rotations[i].T for i in pairs[apart, 0].tolist()]
        # Golden sections stop early at slivers, the search at edges: one of the two must agree.
        near = np.abs(distance[apart] - cylinder_distances(scene, pairs[apart], own))
        error[apart] = np.minimum(near, error[apart])
    for k, case in enumerate(cases):
        row.distance.add(error[k], case)
    deep = np.flatnonzero(gap < -MET)
    if "mesh" in kinds:
        # What two sheets share is such a needle, too.
        thin = (scene.halves[pairs] <= NEEDLE / 2).sum(axis=(1, 2)) > 1
        deep = deep[~thin[deep]]
    if not len(deep):
        return
    if "mesh" in kinds:
        _add_ways_out(view, deep, gap, found, cases, row)
        return
    # The way told is one: along its normal it clears; and none that is known is shorter.
    told = -separations(view, normals[:, None])[:, 0]
    for k in deep.tolist():
        least = oracle.hull_depth(scene, *pairs[k]) if not round_ else min(-gap[k], told[k])
        row.depth.add(max(abs(depth[k] - least), told[k] - depth[k]), cases[k])


def _add_ways_out(
    view: Seen, deep: np.ndarray, gap: np.ndarray, found: list[engine.Measured], cases: list[str], row: Row
) -> None:
    """Depths with a mesh: is the way told one, and how much longer is it than the shortest?"""
    pressed = np.array([k for k in deep.tolist() if found[k].interferes], int)
    for k in set(deep.tolist()) - set(pressed.tolist()):
        row.depth.add(-gap[k], cases[k])
    if not len(pressed):
        return
    n = np.array([found[k].normal for k in pressed])
    depth = np.array([found[k].depth for k in pressed])
    corners = tuple(None if c is None else c[pressed] for c in view.corners)
    moved = Seen(view.scene, view.pairs[pressed], view.between[pressed] + depth[:, None] * n, corners)
    left = -best_separation(moved, n)
    for at, k in enumerate(pressed.tolist()):
        row.depth.add(max(left[at], 0.0), cases[k])
        if -gap[k] > 0.1:
            row.longer.add(depth[at] / -gap[k], cases[k])


# ---- meshes with inner corners, of whole cubes


def block(low: np.ndarray, high: np.ndarray) -> lattice.Cubes:
    """All cubes between two corners."""
    return frozenset(tuple((np.array(at) + low).tolist()) for at in np.ndindex(*(high - low).tolist()))


def left_over(a: lattice.Cubes, b: lattice.Cubes, edge: float, moved: np.ndarray) -> float:
    """How deep cubes b, moved by (3,) mm, still lie in cubes a: exactly, cube by cube, mm."""
    ours, theirs = np.array(sorted(a))[:, None] * edge, np.array(sorted(b))[None] * edge + moved
    return float(max((edge - np.abs(ours - theirs)).min(axis=2).max(), 0.0))


def measure_cubes(kinds: tuple[str, str], seed: int, count: int, row: Row) -> None:
    """Add the errors of meshes of cubes, flush, nested and apart, to others or to boxes of cubes."""
    for k in range(count):
        rng = np.random.default_rng([seed, k])
        edge = float(rng.choice([1, 5, 10, 25]))
        a, b = (lattice.grown(rng, 4, int(rng.integers(1, 14))) for _ in range(2))
        b = lattice.shifted(b, rng.integers(-6, 7, 3))
        other = lattice.piece(b, edge)
        if kinds[1] == "box":
            low = rng.integers(-6, 7, 3)
            high = low + rng.integers(1, 5, 3)
            b, other = block(low, high), worlds.box(edge * low, edge * high)
        (one,) = engine.measure(worlds.bodies_of(lattice.piece(a, edge), other), [(0, 1)])
        case = f"cubes {seed}, {k}"
        apart = lattice.distance(a, b) * edge
        row.touching += apart == 0 and not lattice.shared(a, b)
        row.distance.add(abs(one.distance - apart), case)
        if lattice.shared(a, b):
            row.depth.add(left_over(a, b, edge, one.depth * one.normal), case)
            by_axes = edge * min(lattice.way_out(b, a, side.astype(int)) for side in SIDES.values())
            # No longer than the best of the six sides, which need not be the shortest of all.
            row.depth.add(max(one.depth - by_axes, 0.0), case)
        elif apart == 0:
            row.depth.add(max(one.depth - engine.CONTACT, 0.0), case)


def measure_pair(kinds: tuple[str, str], count: int, seed: int = 1) -> Row:
    """The worst errors of a pair of kinds: `count` pairs in each manner."""
    row = Row()
    for mode in MODES:
        measure_convex(kinds, mode, seed, count, row)
    if "mesh" in kinds and "cylinder" not in kinds:
        measure_cubes(kinds, seed, count, row)
    return row


def told(kinds: tuple[str, str], row: Row) -> Iterator[str]:
    """Lines about a row."""
    yield f"{kinds[0]}, {kinds[1]}: {row.distance.asked} pairs, {row.touching} of them touching"
    yield f"  distance {row.distance.error:.1e} mm ({row.distance.case})"
    yield f"  depth    {row.depth.error:.1e} mm of {row.depth.asked} ({row.depth.case})"
    if row.longer.asked:
        yield f"  {row.longer.error:.2f} times the shortest way out of {row.longer.asked} ({row.longer.case})"


if __name__ == "__main__":
    wanted = [pair for pair in PAIRS if not sys.argv[1:] or ",".join(pair) in sys.argv[1:]]
    for pair in wanted:
        print("\n".join(told(pair, measure_pair(pair, FULL))), flush=True)
