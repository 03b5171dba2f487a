"""Compiled shots against the proved shortest way, and against a library's root finder."""

import math

import numpy as np
import pytest
from scipy.optimize import fsolve

from fitcheck.runs.bounds import directed_bound, lower_bound
from fitcheck.runs.kernels.shots import shot
from fitcheck.runs.route import Route

HERE, AHEAD = (0.0, 0.0, 0.0), (1.0, 0.0, 0.0)
# The longest arc that a shot takes, acos(-0.97), and what may stand on either side of it.
LONGEST = math.acos(-0.97)


def poses(rng, far):
    """A goal `far` radii away, and directions of travel, all anyhow."""
    d, t, v = rng.normal(size=(3, 3))
    return d * far / np.linalg.norm(d), t / np.linalg.norm(t), v / np.linalg.norm(v)


def corners(d, t, v, a, b):
    points = [np.zeros(3), t * a, d - v * b, d]
    return np.array([p for k, p in enumerate(points) if k in (0, 3) or (a, b)[k - 1] > 1e-6])


@pytest.mark.parametrize("far", [1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 6.0, 12.0])
def test_every_shot_that_there_is_is_found(far):
    """Any arc-straight-arc without an arc above a half turn is the shortest: so a shot is it, or none."""
    rng = np.random.default_rng(int(far * 10))
    radius, found = 40.0, 0
    for _ in range(60):
        d, t, v = poses(rng, far)
        length, a, b, u = shot(HERE, tuple(t), tuple(d * radius), tuple(v), radius)
        _, way = directed_bound(np.zeros(3), t, d * radius, v, radius)
        if way is None or max(way.angles) > LONGEST:
            assert length == math.inf
            continue
        assert length == pytest.approx(way.length * radius, abs=1e-6)
        route = Route(corners(d * radius, t, v, a, b), radius)
        assert route.is_sound() and route.length == pytest.approx(length, abs=1e-6)
        assert route.tangent(0) == pytest.approx(t, abs=1e-7)
        found += 1
    assert found > (30 if far >= 4 else 0 if far > 1.9 else -1)


def test_shots_meet_the_roots_that_a_library_finds():
    """Corners p + a t and q - b v; the straight between them turns by A and B with a = tan(A/2), b = tan(B/2)."""
    rng = np.random.default_rng(1)
    met = 0
    for _ in range(60):
        d, t, v = poses(rng, 5.0)

        def gap(ab, d=d, t=t, v=v):
            u = d - ab[0] * t - ab[1] * v
            u = u / np.linalg.norm(u)
            # tan(A/2) = sin A / (1 + cos A), free of its pole.
            return [
                ab[0] * (1 + u @ t) - np.linalg.norm(np.cross(u, t)),
                ab[1] * (1 + u @ v) - np.linalg.norm(np.cross(u, v)),
            ]

        length, a, b, _ = shot(HERE, tuple(t), tuple(d), tuple(v), 1.0)
        if length == math.inf or max(a, b) > 4:
            continue
        (fa, fb), _, solved, _ = fsolve(gap, [a * 1.1 + 0.02, b * 0.9 + 0.01], full_output=True, xtol=1e-12)
        if solved == 1:
            assert (a, b) == pytest.approx((fa, fb), abs=1e-6)
            met += 1
    assert met > 20


@pytest.mark.parametrize(
    ("goal", "arrival", "length"),
    [
        ((200.0, 0.0, 0.0), (1.0, 0.0, 0.0), 200),
        ((50.0, 50.0, 0.0), (0.0, 1.0, 0.0), 25 * math.pi),  # a quarter, nothing straight
        ((200.0, 100.0, 0.0), (0.0, 1.0, 0.0), math.hypot(150, 50) + 25 * math.pi),  # Dubins' LSL by hand
        ((200.0, 60.0, 0.0), (1.0, 0.0, 0.0), math.sqrt(200**2 + 40**2 - 100**2) + 31.5028),  # LSR by hand
        ((0.0, 60.0, 0.0), (-1.0, 0.0, 0.0), math.inf),  # narrower than a half turn
        ((-200.0, 0.0, 0.0), (1.0, 0.0, 0.0), math.inf),  # right behind
        ((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), math.inf),
    ],
)
def test_worked_shots(goal, arrival, length):
    assert shot(HERE, AHEAD, goal, arrival, 50.0)[0] == pytest.approx(length, abs=1e-3)


def test_no_shot_is_below_the_bound():
    rng = np.random.default_rng(2)
    for far in (0.5, 1.0, 2.0, 3.0):
        for _ in range(20):
            d, t, v = poses(rng, far)
            length, *_ = shot(HERE, tuple(t), tuple(d), tuple(v), 1.0)
            assert length >= lower_bound(np.zeros(3), t, d, v, 1.0) - 1e-9
