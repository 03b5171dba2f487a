"""Obstacles: all that stands in the way of a run, and how far a point is from it."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from weakref import WeakKeyDictionary

import numpy as np

from fitcheck.runs.guarded import VOLUMES
from fitcheck.runs.kernels import compiled
from fitcheck.runs.kernels.solids import EXTRA, Cells, Solids
from fitcheck.runs.rows import Laid, laid_rows, world_rows
from fitcheck.world import kernels
from fitcheck.world.bodies import Bodies, bodies
from fitcheck.world.world import World

# Edge of a cell of the grid of candidates, mm, of a search and of a single look, and how many cells there
# may be.
CELL, COARSE, MOST_CELLS = 32.0, 96.0, 60_000
# By how much a run may come nearer to a solid than to others, for the cells of its world to serve it, mm.
SLACK = 12.0
# So few solids are asked one by one.
FEW = 12
# How far round the solids the grid reaches, mm; beyond it every solid is asked.
MARGIN = 40.0


@dataclass(frozen=True, eq=False)
class Obstacles:
    """Solids in the way of one run.

    Args:
        solids: for the kernels.
        body: (n,) whose each row of solids is, an index into `names`.
        names: of all bodies of the world in their order (`case.floor`), then of laid runs.
        bounds: (2, 3) of all solids, mm; zeros when there are none.
        world: they stand in.
    """

    solids: Solids
    body: np.ndarray
    names: tuple[str, ...]
    bounds: np.ndarray
    world: World

    @cached_property
    def closed(self) -> tuple[tuple[int, np.ndarray], ...]:
        """Of each closed mesh its body and its triangles (k, 3, 3) in the world."""
        own = bodies(self.world)
        left = set(self.body.tolist())
        return tuple(_closed_meshes(own, left))


def obstacles(
    world: World,
    skip: Collection[str] = (),
    extra: Mapping[str, float] | None = None,
    more: Sequence[Laid] = (),
    cell: float = CELL,
) -> Obstacles:
    """All solids of the world but those skipped, and laid runs.

    Args:
        skip: names of bodies (`case.floor`), parts (`case`), groups of parts, or laid runs.
        extra: by such names, how much more clearance a body asks, mm; below 0 it may be come
            nearer to, or pressed into. The name of a body goes before that of its part, that
            of a part before that of its group.
        more: laid runs.
        cell: edge of the cells by which the nearest is found, mm: many questions pay for small ones.
    """
    base = world_rows(world)
    runs = [run for run in more if run.name not in skip]
    laid = laid_rows(runs, len(base.names))
    kept = np.flatnonzero([not any(name in skip for name in names) for names in base.names])
    rows = np.flatnonzero(np.isin(base.body, kept))
    body = np.concatenate([base.body[rows], laid.body])
    wanted = extra or {}
    names = [*base.names, *((run.name,) for run in runs)]
    extras = np.array([next((wanted[name] for name in own if name in wanted), 0.0) for own in names], float)
    bounds = np.concatenate([base.bounds[rows], laid.bounds])
    whole = np.zeros((2, 3))
    if len(bounds):
        whole = np.array([bounds[:, 0].min(axis=0), bounds[:, 1].max(axis=0)])
    numbers = np.concatenate([base.numbers[rows], laid.numbers])
    numbers[:, EXTRA] = extras[body]
    solids = Solids(numbers, base.trees, _one_cell(whole, len(body), cell))
    volumes_only = all(name.endswith(VOLUMES) for name in skip)
    if cell == CELL and len(rows) > FEW and extras.min() >= -SLACK and volumes_only:
        solids = solids._replace(cells=_adapted(world, solids, rows, bounds))
    else:
        solids = _with_cells(solids, whole, cell)
    return Obstacles(solids, body, tuple(own[0] for own in names), whole, world)


def distance_at(
    obstacles: Obstacles, points: np.ndarray, cap: float = np.inf
) -> tuple[np.ndarray, np.ndarray]:
    """Least distance less extra from points (n, 3), and to which body.

    Exact; negative inside boxes, cylinders and laid runs, of a mesh only the shell counts.

    Returns:
        (n,) mm, at most `cap`; (n,) index into `obstacles.names`, -1 beyond the cap.
    """
    at = np.ascontiguousarray(points, float).reshape(-1, 3)
    distances, rows = np.empty(len(at)), np.empty(len(at), np.int64)
    compiled.nearest_at(obstacles.solids, at, float(cap), distances, rows)
    return distances, np.where(rows < 0, -1, np.append(obstacles.body, -1)[rows])


def inside(obstacles: Obstacles, points: np.ndarray) -> np.ndarray:
    """Which closed mesh holds each of the points (n, 3).

    By the winding number (Jacobson, Kavan and Sorkine-Hornung 2013). An open mesh holds
    nothing: it counts as a shell.

    Returns:
        (n,) index into `obstacles.names`, -1 where no closed mesh holds the point.
    """
    at = np.asarray(points, float).reshape(-1, 3)
    found = np.full(len(at), -1)
    for body, triangles in obstacles.closed:
        low, high = triangles.min(axis=(0, 1)), triangles.max(axis=(0, 1))
        near = np.flatnonzero(((at > low) & (at < high)).all(axis=1) & (found < 0))
        if len(near):
            turns = kernels.winding_number(triangles, at[near])
            found[near[np.abs(turns) > 0.5]] = body
    return found


_cells: WeakKeyDictionary[World, Cells] = WeakKeyDictionary()


def _world_cells(world: World) -> Cells:
    """Cells of all solids of a world, made on first use; volumes may go, extras may change by `SLACK`."""
    found = _cells.get(world)
    if found is None:
        base = world_rows(world)
        whole = np.array([base.bounds[:, 0].min(axis=0), base.bounds[:, 1].max(axis=0)])
        solids = Solids(base.numbers, base.trees, _one_cell(whole, len(base.body), CELL))
        passing = np.array([names[1].endswith(VOLUMES) for names in base.names], np.int64)
        found = _with_cells(solids, whole, CELL, passing[base.body], SLACK).cells
        _cells[world] = found
    return found


def _adapted(world: World, solids: Solids, rows: np.ndarray, bounds: np.ndarray) -> Cells:
    """The world's cells for one run's solids; of these the first are its `rows`, the others laid runs.

    Args:
        bounds: (n, 2, 3) of the solids, mm.
    """
    base = _world_cells(world)
    extras = solids.extras
    known = extras[: len(rows)] <= 0.0
    new_rows = np.full(len(world_rows(world).body), -1)
    new_rows[rows] = np.arange(len(rows))
    kept = np.zeros(len(new_rows), np.int64)
    kept[rows[known]] = 1
    fresh = np.concatenate([np.flatnonzero(~known), np.arange(len(rows), len(extras))])
    about = bounds[fresh] + extras[fresh, None, None] * np.array([[-1.0], [1.0]])
    return compiled.adapt_cells(
        solids, base, new_rows, kept, fresh, np.ascontiguousarray(about.reshape(-1, 6))
    )


def _with_cells(
    solids: Solids, bounds: np.ndarray, cell: float, passing: np.ndarray | None = None, slack: float = 0.0
) -> Solids:
    """The solids with their grid: one cell that holds all, then halved and halved."""
    free = np.zeros(len(solids.numbers), np.int64) if passing is None else passing
    if len(solids.numbers) <= FEW:
        return solids
    extent = bounds[1] - bounds[0] + 2 * MARGIN
    wanted = max(cell, float(np.cbrt(extent.prod() / MOST_CELLS)))
    times = int(np.ceil(np.log2(extent.max() / wanted)))
    for halving in range(1, times + 1):
        x, y, z = np.ceil(extent / (wanted * 2 ** (times - halving))).astype(int).tolist()
        solids = solids._replace(cells=compiled.halve_cells(solids, (x, y, z), free, slack))
    return solids


def _one_cell(bounds: np.ndarray, count: int, cell: float) -> Cells:
    """A cell that holds all, a power of two times as large as those wanted."""
    extent = bounds[1] - bounds[0] + 2 * MARGIN
    wanted = max(cell, float(np.cbrt(extent.prod() / MOST_CELLS)))
    pitch = wanted * 2 ** int(np.ceil(np.log2(extent.max() / wanted)))
    starts = np.array([0, count])
    x, y, z = (bounds[0] - MARGIN).tolist()
    return Cells((x, y, z), pitch, (1, 1, 1), starts, np.arange(count), np.full(count, -np.inf))


def _closed_meshes(own: Bodies, left: Collection[int]) -> Iterator[tuple[int, np.ndarray]]:
    for row, mesh in enumerate(own.meshes):
        if mesh is not None and mesh.closed and own.body[row] in left:
            corners = mesh.vertices @ own.rotations[row].T + own.centres[row]
            yield int(own.body[row]), np.ascontiguousarray(corners[mesh.faces])
