"""Fields: exact at their points, and how far off in between."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from run_oracles import body_distances, clutter
from scipy.interpolate import RegularGridInterpolator

from fitcheck.runs.field import BETWEEN, MOST_VALUES, field
from fitcheck.runs.kernels.field import BLOCK, fill, fill_about
from fitcheck.runs.obstacles import distance_at, obstacles

REGION = np.array([[-20.0, -10, 0], [220, 200, 190]])


def filled(among, region, pitch, cap):
    found = field(region, pitch, cap)
    fill(among.solids, found.origin, found.pitch, found.cap, found.values, (0, 0, 0), found.values.shape)
    return found


def grid_points(found):
    axes = [found.origin[k] + found.pitch * np.arange(found.values.shape[k]) for k in range(3)]
    return axes, np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)


@settings(derandomize=True, deadline=None, max_examples=5)
@given(seed=st.integers(0, 2**31), square=st.booleans())
def test_exact_at_its_points(seed, square):
    scene = clutter(seed, count=10, square=square)
    found = filled(obstacles(scene), REGION, 40.0, 25.0)
    _, points = grid_points(found)
    expected = np.min(list(body_distances(scene, points).values()), axis=0)
    np.testing.assert_allclose(found.values.reshape(-1), np.minimum(expected, 25.0), atol=1e-4)


@pytest.mark.parametrize("seed", range(4))
def test_between_its_points_within_what_is_said(seed):
    among = obstacles(clutter(seed, square=seed % 2 == 0), extra={"p1": 4.0, "p2": -4.0})
    found = filled(among, REGION, 7.0, 60.0)
    axes, _ = grid_points(found)
    points = np.random.default_rng(seed).uniform(found.origin, found.end, (20_000, 3))
    between = RegularGridInterpolator(axes, found.values.astype(float))(points)
    exact = np.minimum(distance_at(among, points)[0], 60.0)
    off = np.abs(between - exact).max()
    # Not so wide a bound that nothing could break it: half of it is met.
    assert 0.3 * BETWEEN * found.pitch < off <= BETWEEN * found.pitch + 1e-4


def test_covers_its_region():
    found = field(REGION, 7.0, 60.0)
    np.testing.assert_array_equal(found.origin, REGION[0])
    assert (found.end >= REGION[1]).all()
    assert (found.end - REGION[1] < 7.0).all()
    assert found.values.dtype == np.float32


def test_block_by_block_as_all_at_once():
    among = obstacles(clutter(3))
    whole, lazy = filled(among, REGION, 6.0, 60.0), field(REGION, 6.0, 60.0)
    assert np.isnan(lazy.values).all()
    cells = [tuple(int(n) for n in cell) for cell in np.ndindex(*(n - 1 for n in lazy.values.shape))]
    # The corners of one cell where eight blocks meet, then those of all others in any order.
    at = (BLOCK - 1, 2 * BLOCK - 1, BLOCK - 1)
    fill_about(among.solids, lazy.origin, lazy.pitch, lazy.cap, lazy.values, *at)
    assert np.isfinite(lazy.values).sum() == 8 * BLOCK**3
    for number in np.random.default_rng(5).permutation(len(cells)):
        fill_about(among.solids, lazy.origin, lazy.pitch, lazy.cap, lazy.values, *cells[number])
    np.testing.assert_array_equal(lazy.values, whole.values)


def test_no_larger_than_memory_allows():
    found = field(np.array([[0.0, 0, 0], [1000, 1000, 1000]]), 1.0, 1.0)
    assert 0.9 * MOST_VALUES < found.values.size <= MOST_VALUES
    assert found.pitch == pytest.approx(5.0, abs=0.05)
    assert (found.end >= 1000).all()
