"""The flow solver's door, and the grid's graph, against other solvers and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import csr_array
from scipy.sparse.csgraph import maximum_flow
from worlds import box, part, world

from fitcheck.air.grid import WEIGHTS, grid, stopping

pytest.importorskip("ortools")
from fitcheck.air.flow import UNIT, Flow

NONE = np.zeros(0, int)


@settings(derandomize=True, deadline=None, max_examples=60)
@given(seed=st.integers(0, 10**6))
def test_as_another_solver(seed):
    rng = np.random.default_rng(seed)
    count, many = int(rng.integers(4, 20)), int(rng.integers(5, 60))
    tails, heads = rng.integers(0, count, (2, many))
    areas = rng.integers(1, 50, many).astype(float)
    apart = tails != heads
    ways = tails[apart], heads[apart], areas[apart]
    arcs = tuple(values[: len(values) // 3] for values in ways)
    sources, sinks = np.array([0, 1]), np.array([count - 1])
    taken = rng.integers(1, 80, 2).astype(float)
    cut = Flow(count, ways, arcs, sinks, sources).cut(taken)
    table = np.zeros((count + 2, count + 2), int)
    for a, b, size in zip(*ways, strict=True):
        table[a, b] += int(size)
        table[b, a] += int(size)
    for a, b, size in zip(*arcs, strict=True):
        table[a, b] += int(size)
    for node, size in zip(sources, taken, strict=True):
        table[count, node] += int(size)
    table[count - 1, count + 1] = 10**6
    assert cut.area == pytest.approx(
        maximum_flow(csr_array(table.astype(np.int32)), count, count + 1).flow_value
    )
    assert cut.taken.sum() == pytest.approx(cut.area)
    # What lies before the cut bounds it.
    side = np.append(cut.before, [True, False])
    assert table[np.ix_(side, ~side)].sum() == pytest.approx(cut.area)
    assert UNIT <= 0.01


def free_grid(pitch, *parts):
    scene = world(part("far", box([400, 400, 400], [401, 401, 401])), *parts)
    return grid(scene, np.array([[0, 0, 0], [120, 120, 120.0]]), np.zeros((2, 3)), pitch, stopping(scene), ())


def test_a_plane_across_free_space_has_its_area():
    """How much area of graph a plane of any tilt cuts: within 4.5 % away from rims."""
    found = free_grid(6.0)
    rng = np.random.default_rng(1)
    worst = 0.0
    for _ in range(200):
        normal = rng.normal(size=3)
        normal /= np.linalg.norm(normal)
        away = (found.points - 60.0) @ normal
        both = (found.points[found.tails] + found.points[found.heads]) / 2
        # Only what crosses the plane within 40 mm of its middle: an inner disc, no rim.
        near = np.linalg.norm(both - 60.0, axis=1) < 48
        crossing = ((away[found.tails] > 0) != (away[found.heads] > 0)) & near
        # By the points where the ways cross the plane.
        part_ = away[found.tails] / np.where(crossing, away[found.tails] - away[found.heads], 1.0)
        at = found.points[found.tails] + part_[:, None] * (
            found.points[found.heads] - found.points[found.tails]
        )
        inside = crossing & (np.linalg.norm(at - 60.0, axis=1) < 40)
        worst = max(worst, abs(found.areas[inside].sum() / (np.pi * 40**2) - 1))
    # 4.5 % of the weights, and what a disc of 40 mm on a grid of 6 leaves to chance.
    assert worst < 0.075


def test_the_weights_are_those_of_their_error():
    rng = np.random.default_rng(2)
    normals = rng.normal(size=(4000, 3))
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    normals = np.concatenate([normals, np.eye(3), [[1, 1, 0] / np.sqrt(2)], [[1, 1, 1] / np.sqrt(3)]])
    from fitcheck.air.grid import NEIGHBOURS

    ways = np.array(NEIGHBOURS, float)
    weights = np.array([WEIGHTS[int(np.abs(way).sum()) - 1] for way in NEIGHBOURS])
    # A unit of area with normal n is crossed by |n . d| lines of way d.
    area = np.abs(normals @ ways.T) @ weights
    assert np.abs(area - 1).max() == pytest.approx(0.045, abs=0.001)


@pytest.mark.parametrize("gap", [9, 15, 31])
@pytest.mark.parametrize("pitch", [6.0, 8.0, 11.0])
def test_a_channel_has_the_section_it_has(gap, pitch):
    """Between two plates, wherever the grid's planes are to them: rather less than more."""
    shares = []
    for start in np.linspace(40, 40 + pitch, 9):
        low = part("low", box([-50, -50, 0], [200, 200, start]))
        high = part("high", box([-50, -50, start + gap], [200, 200, 160]))
        found = free_grid(pitch, low, high)
        ends = found.points[:, 0]
        ways = found.tails, found.heads, found.areas
        sinks, sources = np.flatnonzero(ends > 105), np.flatnonzero(ends < 15)
        cut = Flow(len(ends), ways, (NONE, NONE, NONE.astype(float)), sinks, sources)
        rows = len(np.unique(np.rint((found.points[:, 1] - found.low[1]) / pitch)))
        shares.append(cut.cut(np.full(len(sources), 1e6)).area / (gap * rows * pitch))
    # A cell is seen by two of its places along each axis: to a quarter of a pitch at either wall.
    assert np.abs(np.array(shares) - 0.955).max() < 0.5 * pitch / gap + 0.02
    assert 0.75 < np.mean(shares) < 1.0
