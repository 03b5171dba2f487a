"""Ways home over a grid: as long as a graph library says, and where they are not followed never too long."""

import numpy as np
import pytest
from run_oracles import body_distances, clutter
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import dijkstra

from fitcheck.runs.field import field
from fitcheck.runs.kernels import search_compiled as compiled
from fitcheck.runs.kernels.search_grid import Grid
from fitcheck.runs.kernels.search_trace import Space
from fitcheck.runs.obstacles import obstacles
from fitcheck.runs.search import EVERYWHERE

BOX = np.array([[-20.0, -10, 0], [220, 200, 190]])
PITCH, LEAST = 12.0, 3.0


def asked(scene, goal, start, detour):
    among, grid = obstacles(scene), field(BOX, 8.0, 60.0)
    space = Space(among.solids, grid.origin, grid.pitch, grid.cap, grid.values, 5.0, 0.5, BOX)
    low = start - PITCH * (np.floor((start - BOX[0]) / PITCH) + 1)
    shape = np.floor((BOX[1] - low) / PITCH).astype(np.int64) + 2
    points = Grid(low, PITCH, shape)
    return points, compiled.ways_home(space, tuple(goal), tuple(start), points, LEAST, detour).values


def by_graph(scene, goal, grid):
    """Shortest ways over the 26 neighbours, by scipy; the points round the goal stand at its straight distance."""
    shape = tuple(int(n) for n in grid.shape)
    index = np.stack(np.meshgrid(*map(np.arange, shape), indexing="ij"), axis=-1).reshape(-1, 3)
    places = grid.low + grid.pitch * index
    free = np.min(list(body_distances(scene, places).values()), axis=0) >= LEAST
    free &= (places >= BOX[0]).all(axis=1) & (places <= BOX[1]).all(axis=1)
    free &= ((index > 0) & (index < np.array(shape) - 1)).all(axis=1)
    first = np.floor((goal - grid.low) / grid.pitch).astype(int)
    seeds = [np.ravel_multi_index(tuple(first + step), shape) for step in np.ndindex(2, 2, 2)]
    free[seeds] = True
    number = np.arange(len(index)).reshape(shape)
    rows, columns, lengths = [], [], []
    for step in np.ndindex(3, 3, 3):
        move = np.array(step) - 1
        if (move == 0).all():
            continue
        here = number[
            tuple(slice(max(0, -m), n - max(0, m)) for m, n in zip(move, shape, strict=True))
        ].ravel()
        there = number[
            tuple(slice(max(0, m), n - max(0, -m)) for m, n in zip(move, shape, strict=True))
        ].ravel()
        both = free[here] & free[there]
        rows.append(here[both])
        columns.append(there[both])
        lengths.append(np.full(both.sum(), grid.pitch * np.linalg.norm(move)))
    # One node more stands for the goal.
    rows += [np.full(8, len(index))]
    columns += [np.array(seeds)]
    lengths += [np.linalg.norm(places[seeds] - goal, axis=1)]
    graph = coo_matrix(
        (np.concatenate(lengths), (np.concatenate(rows), np.concatenate(columns))), (len(index) + 1,) * 2
    )
    return dijkstra(graph.tocsr(), indices=len(index))[:-1].reshape(shape)


@pytest.mark.parametrize("seed", range(2))
def test_as_long_as_a_graph_library_says(seed):
    scene = clutter(seed, square=seed % 2 == 0)
    random = np.random.default_rng(seed)
    goal, start = random.uniform(BOX[0] + 30, BOX[1] - 30, (2, 3))
    grid, whole = asked(scene, goal, start, EVERYWHERE)
    expected = by_graph(scene, goal, grid)
    assert np.isfinite(expected).sum() > 500
    np.testing.assert_allclose(whole, expected, rtol=1e-5)

    _, near = asked(scene, goal, start, (1.0, 30.0))
    known = near[np.isfinite(near)].max()
    assert (near[np.isfinite(near)] < known).any()
    followed = near < known
    np.testing.assert_allclose(near[followed], whole[followed], rtol=1e-5)
    assert (near[~followed] <= whole[~followed] + 1e-3).all()
