"""Boxes met on the way, and bounds between planes: against sampling in small steps, and clipped polygons."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitcheck.world.kernels.slabs import bound_slabs
from fitcheck.world.kernels.sweep import met_on_the_way

CONTACT = 0.01
STEP = 1 / 64


def overlap_by_more(a: np.ndarray, b: np.ndarray) -> bool:
    """Do two boxes share more than a contact along every axis?"""
    return bool((np.minimum(a[1], b[1]) - np.maximum(a[0], b[0]) > CONTACT).all())


def first_met(a: np.ndarray, b: np.ndarray, way: np.ndarray, limit: float) -> float | None:
    """The first of many small steps at which they overlap."""
    for at in np.arange(0.0, limit, STEP):
        if overlap_by_more(a + at * way, b):
            return float(at)
    return None


WAYS = [[1, 0, 0], [0, -1, 0], [0, 0, 1], [0.6, 0.8, 0], [0, -0.6, 0.8], [2 / 3, -1 / 3, 2 / 3]]


@settings(derandomize=True, deadline=None, max_examples=150)
@given(
    lows=st.lists(st.tuples(*[st.integers(0, 9)] * 3), min_size=2, max_size=4),
    sizes=st.lists(st.tuples(*[st.integers(1, 4)] * 3), min_size=4, max_size=4),
    way=st.sampled_from(WAYS),
)
def test_what_is_met_against_small_steps(lows, sizes, way):
    low = np.array(lows, float)
    boxes = np.stack([low, low + np.array(sizes[: len(low)], float)], axis=1)
    along, limit = np.array(way, float), 12.0
    movers, stayers = np.arange(1), np.arange(1, len(boxes))
    pairs, enters = np.empty((len(stayers), 2), np.int64), np.empty(len(stayers))
    count = met_on_the_way(boxes, movers, stayers, along, limit, CONTACT, pairs, enters)
    found = {tuple(pair): enter for pair, enter in zip(pairs[:count].tolist(), enters[:count], strict=True)}
    for j in stayers.tolist():
        expected = first_met(boxes[0], boxes[j], along, limit)
        if expected is not None:
            # The step at which it is seen is at most one late.
            assert max(found[0, j], 0.0) == pytest.approx(expected, abs=STEP)
            assert max(found[0, j], 0.0) <= expected + 1e-9
        elif (0, j) in found:
            # Met for less than a step, or at the very end.
            here = boxes[0] + max(found[0, j], 0.0) * along
            assert not overlap_by_more(here + 2 * STEP * along, boxes[j]) or found[0, j] > limit - STEP


def test_pairs_come_mover_by_mover():
    boxes = np.array([[[x, 0, 0], [x + 1, 1, 1]] for x in (0.0, 5.0, 2.0, 9.0)])
    pairs, enters = np.empty((4, 2), np.int64), np.empty(4)
    # From x = 0 to 2 and 9, from 5 to 9; what lies behind is not met.
    count = met_on_the_way(
        boxes, np.array([0, 1]), np.array([2, 3]), np.array([1.0, 0, 0]), 20.0, CONTACT, pairs, enters
    )
    assert pairs[:count].tolist() == [[0, 2], [0, 3], [1, 3]]
    assert enters[:count] == pytest.approx([1.01, 8.01, 3.01])


def clipped(polygon: np.ndarray, axis: int, level: float, keep: float) -> np.ndarray:
    """A convex polygon (n, 3) cut at a plane, as Sutherland and Hodgman 1974 do it; keep +1 above, -1 below."""
    out = []
    for a, b in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
        p, q = keep * (a[axis] - level), keep * (b[axis] - level)
        if p >= 0:
            out.append(a)
        if (p > 0 > q) or (p < 0 < q):
            out.append(a + p / (p - q) * (b - a))
    return np.array(out).reshape(-1, 3)


@settings(derandomize=True, deadline=None, max_examples=150)
@given(seed=st.integers(0, 10_000), axis=st.integers(0, 2))
def test_bounds_between_planes_against_clipped_faces(seed, axis):
    random = np.random.default_rng(seed)
    turn, _ = np.linalg.qr(random.normal(size=(3, 3)))
    corners = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)]) * random.uniform(
        1, 9, 3
    )
    points = np.ascontiguousarray(corners @ turn.T)
    faces = [[0, 1, 3, 2], [4, 5, 7, 6], [0, 1, 5, 4], [2, 3, 7, 6], [0, 2, 6, 4], [1, 3, 7, 5]]
    edges = np.array([(f[k], f[(k + 1) % 4]) for f in faces for k in range(4)])
    cuts = np.linspace(points[:, axis].min() - 1, points[:, axis].max() + 1, 8)
    found = np.empty((7, 2, 3))
    bound_slabs(points, edges, axis, cuts[:-1].copy(), cuts[1:].copy(), 1e-9, found)
    for bounds, low, high in zip(found, cuts[:-1], cuts[1:], strict=True):
        shown = np.concatenate([clipped(clipped(points[f], axis, low, 1.0), axis, high, -1.0) for f in faces])
        if len(shown):
            assert bounds == pytest.approx(np.array([shown.min(axis=0), shown.max(axis=0)]), abs=1e-9)
        else:
            assert (bounds[0] > bounds[1]).all()
