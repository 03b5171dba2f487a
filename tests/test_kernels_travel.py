"""Travel of boxes and cylinders: by hand, by the faces of the set of differences, and by asking again on the way."""

from __future__ import annotations

import kernel_oracles as oracle
import numpy as np
import pytest
from accuracy import WORST
from hypothesis import given, settings
from hypothesis import strategies as st

from fitcheck.world import kernels

seeds = st.integers(0, 2**32 - 1)
quick = settings(derandomize=True, deadline=None, max_examples=300)
long = settings(derandomize=True, deadline=None, max_examples=6000)
NAMES = ("box", "cylinder")
KINDS = ((0, 0), (0, 1), (1, 1))
SOLID = tuple(mode for mode in oracle.MODES if mode != "flat")
TO_X = np.array([[0, 0, 1], [0, 1, 0], [-1, 0, 0.0]])
TO_Y = np.array([[1, 0, 0], [0, 0, 1], [0, -1, 0.0]])
UP = np.eye(3)
RIGHT, REAR, TOP = np.eye(3)
TOLERANCE = kernels.CONTACT


def go(kinds, half_a, turn_a, half_b, turn_b, between, way, limit=1000.0, tolerance=TOLERANCE):
    halves, centres = np.array([half_a, half_b], float), np.array([[0, 0, 0], between], float)
    return kernels.travel_pairs(kinds, halves, [turn_a, turn_b], centres, [[0, 1]], way, limit, tolerance)[0]


def boxes(between, way, **more):
    return go([0, 0], [10, 10, 10], UP, [10, 10, 10], UP, between, way, **more)


def rods(between, way, **more):
    """Cylinders of radius 10 and half length 10, standing."""
    return go([1, 1], [10, 10, 10], UP, [10, 10, 10], UP, between, way, **more)


@pytest.mark.parametrize("ask", [boxes, rods])
@pytest.mark.parametrize(
    ("between", "way", "travel"),
    [
        ([50, 0, 0], RIGHT, 30.0),
        ([50, 0, 0], 7 * RIGHT, 30.0),  # any length of direction
        ([50, 0, 0], -RIGHT, np.inf),
        ([50, 0, 0], REAR, np.inf),
        ([20, 0, 0], RIGHT, 0.0),  # pressed against each other
        ([20, 0, 0], -RIGHT, np.inf),  # leaving a contact
        ([20, 0, 0], REAR, np.inf),  # sliding along it
        ([20.005, 0, 0], RIGHT, 0.005),
        ([19.995, 0, 0], RIGHT, 0.0),  # pressed in within the tolerance
        ([19.995, 0, 0], TOP, np.inf),
        ([19.995, 0, 0], -RIGHT, np.inf),
        ([19.9, 0, 0], RIGHT, -1.0),  # in each other
        ([50, 0, 20], RIGHT, np.inf),  # over the other, flush
        ([50, 0, 19.995], RIGHT, np.inf),  # over it, grazing by 0.005
        ([50, 0, 19.98], RIGHT, 30.0),  # grazing by 0.02
        ([0, 0, 0], RIGHT, -1.0),
    ],
)
def test_by_hand(ask, between, way, travel):
    assert ask(between, way) == pytest.approx(travel, abs=1e-7)


@pytest.mark.parametrize("ask", [boxes, rods])
def test_the_limit(ask):
    assert ask([50, 0, 0], RIGHT, limit=29.0) == np.inf
    assert ask([50, 0, 0], RIGHT, limit=30.0) == np.inf  # arrives, does not press in
    assert ask([50, 0, 0], RIGHT, limit=30.005) == np.inf  # pressed in within the tolerance
    assert ask([50, 0, 0], RIGHT, limit=30.02) == pytest.approx(30, abs=1e-7)


def test_rods_meet_aside():
    # Circles of radius 10 whose axes pass 12 apart meet 16 before (3-4-5 of 20).
    assert rods([50, 12, 3], RIGHT) == pytest.approx(50 - 16, abs=1e-7)
    assert rods([50, 20, 3], RIGHT) == np.inf


def test_crossing_rods_meet():
    # Lying along x and y, radii 20 and 30, axes 100 apart in height.
    travel = go([1, 1], [20, 20, 200], TO_X, [30, 30, 200], TO_Y, [5, 9, 100], TOP)
    assert travel == pytest.approx(50, abs=1e-7)


def test_a_rod_rolls_up_to_an_edge():
    # Axis along y at height 10 over the edge of a step 4 high: sqrt(10^2 - 6^2) = 8 before it.
    travel = go([1, 0], [10, 10, 50], TO_Y, [20, 90, 20], UP, [60, 0, -26], RIGHT)
    assert travel == pytest.approx(60 - 20 - 8, abs=1e-7)


def test_a_thin_sheet_is_not_stepped_over():
    assert go([0, 0], [2, 2, 2], UP, [0.25, 300, 300], UP, [400, 0, 0], RIGHT) == pytest.approx(
        397.75, abs=1e-7
    )
    assert go([1, 1], [2, 2, 2], UP, [300, 300, 0.25], TO_X, [400, 0, 0], RIGHT) == pytest.approx(
        397.75, abs=1e-7
    )


def test_sheets_without_thickness_never_press_in():
    assert go([0, 0], [9, 9, 0], UP, [9, 9, 0], UP, [0, 0, 5], TOP) == np.inf
    # Its edge stops a solid box all the same.
    assert go([0, 0], [9, 9, 9], UP, [9, 9, 0], UP, [40, 0, 0], RIGHT) == pytest.approx(22, abs=1e-9)
    assert go([0, 0], [9, 9, 9], UP, [0, 9, 9], UP, [40, 0, 0], RIGHT) == pytest.approx(31, abs=1e-9)


def expected(bodies, i, j, way, limit, **prism):
    """Travel by the faces of the set of differences, and whether rounding might decide otherwise."""
    touch, deeper, until = oracle.hull_travel(bodies, i, j, way, TOLERANCE, **prism)
    close = min(abs(deeper), abs(until - max(deeper, 0)), abs(deeper - limit), abs(until))
    doubtful = np.isfinite(deeper) and close < 1e-6
    if until <= max(deeper, 0) or deeper >= limit:
        return np.inf, doubtful
    return (-1.0 if deeper < 0 else max(touch, 0.0)), doubtful


def ways(seed):
    rng = np.random.default_rng(seed)
    return [*np.eye(3), *-np.eye(3), *(n / np.linalg.norm(n) for n in rng.normal(size=(2, 3)))]


def check_boxes(mode, seed, count):
    bodies = oracle.scene(mode, seed)
    pairs = oracle.pairs_of(bodies, seed, count, 0, 0)
    blocked = 0
    for way in ways(seed):
        found = kernels.travel_pairs(*bodies, pairs, way, 120.0)
        for k, (i, j) in enumerate(pairs):
            travel, doubtful = expected(bodies, i, j, way, 120.0)
            if not doubtful:
                assert found[k] == pytest.approx(travel, abs=max(WORST["box", "box"][2], 1e-8)), (i, j, way)
                blocked += 0 <= travel < np.inf
    return blocked


@pytest.mark.parametrize("mode", SOLID)
def test_boxes_by_the_faces_of_their_differences(mode):
    assert check_boxes(mode, 3, 60) > 5


def check_between_prisms(kinds, mode, seed, count):
    """A prism inside each cylinder meets later, one around it sooner."""
    bodies = oracle.scene(mode, seed)
    pairs = oracle.pairs_of(bodies, seed, count, *kinds)
    decided = 0
    for way in ways(seed)[::3]:
        found = kernels.travel_pairs(*bodies, pairs, way, 120.0)
        for k, (i, j) in enumerate(pairs):
            late, _ = expected(bodies, i, j, way, 120.0, sides=40)
            soon, _ = expected(bodies, i, j, way, 120.0, sides=40, around=True)
            if late == -1 or soon == np.inf:
                assert found[k] == pytest.approx(max(late, soon) if soon == np.inf else -1.0)
            elif late < np.inf and soon >= 0:
                assert soon - 1e-6 <= found[k] <= late + 1e-6
                decided += 1
    return decided


@pytest.mark.parametrize("mode", SOLID)
@pytest.mark.parametrize("kinds", KINDS[1:])
def test_cylinders_between_prisms(kinds, mode):
    assert check_between_prisms(kinds, mode, 4, 12) >= 0


def check_on_the_way(kinds, mode, seed, count):
    """Distances asked along the way: free before the travel found, touching there, deeper after."""
    bodies = oracle.scene(mode, seed)
    pairs = oracle.pairs_of(bodies, seed, count, *kinds)
    steps = np.linspace(0, 200, 201)
    stopped = 0
    for way in ways(seed)[1::3]:
        found = kernels.travel_pairs(*bodies, pairs, way, 200.0)
        for k, (i, j) in enumerate(pairs):
            signed = asked(bodies, i, j, way, steps)
            if found[k] == -1:
                assert signed[0] < -TOLERANCE
            elif np.isinf(found[k]):
                assert signed.min() >= -TOLERANCE - 1e-6
            else:
                stopped += 1
                before = signed[steps < found[k]]
                assert (before > -1e-6).all()
                at = asked(bodies, i, j, way, np.array([found[k]]))[0]
                assert -TOLERANCE - 1e-6 <= at <= WORST[NAMES[kinds[0]], NAMES[kinds[1]]][2]
                assert found[k] == 0 or at >= -1e-6
    return stopped


def asked(bodies, i, j, way, steps):
    """Distance less depth of i and j after each travel of i."""
    n = len(steps)
    rows = np.r_[np.full(n, i), j]
    centres = bodies.centres[rows]
    centres[:n] += steps[:, None] * way
    found = kernels.measure_pairs(
        bodies.kinds[rows],
        bodies.halves[rows],
        bodies.rotations[rows],
        centres,
        np.c_[np.arange(n), np.full(n, n)],
    )
    return found.distance - found.depth


@pytest.mark.parametrize("kinds", KINDS)
def test_free_before_and_touching_there(kinds):
    # Nested pairs start in each other, so only all scenes together must hold some that stop.
    assert sum(check_on_the_way(kinds, mode, 6, 25) for mode in SOLID) > 0


def check_chain(seed):
    """Going part of the way first leaves the rest of it; the other way back is free."""
    bodies = oracle.scene("by 15 degrees", seed, 2)
    way = ways(seed)[seed % 8]
    ask = (bodies.kinds, bodies.halves, bodies.rotations)
    whole = kernels.travel_pairs(*ask, bodies.centres, [[0, 1]], way, 500.0)[0]
    if not 1 < whole < np.inf:
        return
    centres = bodies.centres.copy()
    centres[0] += way * whole / 2
    assert kernels.travel_pairs(*ask, centres, [[0, 1]], way, 500.0)[0] == pytest.approx(whole / 2, abs=1e-6)
    # The other body comes towards it just as far.
    assert kernels.travel_pairs(*ask, bodies.centres, [[1, 0]], -way, 500.0)[0] == pytest.approx(
        whole, abs=1e-6
    )
    centres[0] += way * whole / 2
    assert kernels.travel_pairs(*ask, centres, [[0, 1]], -way, 500.0)[0] == np.inf


@given(seeds)
@quick
def test_half_way_leaves_half(seed):
    check_chain(seed)


@pytest.mark.long
@given(seeds)
@long
def test_half_way_leaves_half_long(seed):
    check_chain(seed)


@pytest.mark.long
@pytest.mark.parametrize("mode", SOLID)
def test_boxes_by_the_faces_of_their_differences_long(mode):
    assert check_boxes(mode, 13, 2000) > 5


@pytest.mark.long
@pytest.mark.parametrize("mode", SOLID)
@pytest.mark.parametrize("kinds", KINDS[1:])
def test_cylinders_between_prisms_long(kinds, mode):
    assert check_between_prisms(kinds, mode, 14, 150) > 0


@pytest.mark.long
@pytest.mark.parametrize("mode", SOLID)
@pytest.mark.parametrize("kinds", KINDS)
def test_free_before_and_touching_there_long(kinds, mode):
    assert check_on_the_way(kinds, mode, 16, 1500) > 0


@pytest.mark.parametrize("mode", SOLID)
@pytest.mark.parametrize("kinds", KINDS)
def test_asked_for_the_least_only_the_least_and_all_overlaps_stay(kinds, mode):
    bodies = oracle.scene(mode, 6)
    pairs = np.array(oracle.pairs_of(bodies, 6, 40, *kinds))
    met = 0
    for way in ways(6):
        whole = kernels.travel_pairs(*bodies, pairs, way, 120.0)
        for least in (np.inf, 40.0, 0.0):
            some = kernels.travel_pairs(*bodies, pairs, way, 120.0, least=least)
            kept = np.isfinite(some)
            assert some[kept] == pytest.approx(whole[kept], abs=1e-9)
            assert (kept | (whole != -1)).all()
            if whole.min() < least:
                assert some.min() == pytest.approx(whole.min(), abs=1e-9)
                met += 1
            # What is left out is no shorter than what was asked for or found before it.
            known = np.minimum.accumulate(np.append(least, np.maximum(some, 0.0)))[:-1]
            assert (whole[~kept] >= known[~kept] - 1e-7).all()
    assert met > 5
