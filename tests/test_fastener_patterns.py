"""Patterns of holes: which belong together, and the move that lays one on the other, against scipy and brute force."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize
from scipy.spatial.transform import Rotation

from fitcheck.fasteners.bores import Bore, family
from fitcheck.fasteners.patterns import NEAR, facing, patterns
from fitcheck.fasteners.rigid import best_move, easiest_move
from fitcheck.fasteners.straight import excess

UP = np.array([0.0, 0.0, 1.0])
NO = np.zeros(3)


def bore(part, x, y, top, deep, diameter=4.5, thread="", through=True, axis=UP, name="hole"):
    at = np.array([x, y, top], float)
    return Bore(part, "body", (name,), at, np.array(axis, float), deep, through, diameter, thread, NO)


def plate(part, points, top=2.0, deep=2.0, **keys):
    return patterns(
        [bore(part, x, y, top, deep, name=f"hole[{k}]", **keys) for k, (x, y) in enumerate(points, 1)]
    )


FAN = [(x, y) for x in (-52.5, 52.5) for y in (-52.5, 52.5)]


def moved(points, shift, degrees=0.0):
    turn = Rotation.from_euler("z", degrees, degrees=True).as_matrix()[:2, :2]
    return [tuple(turn @ np.array(p) + shift) for p in points]


def face(mine, theirs, **keys):
    """Theirs is tapped into what lies below mine."""
    (one,) = plate("upper", mine)
    (other,) = plate("lower", theirs, top=0.0, deep=8.0, diameter=3.3, thread="M4", through=False)
    return facing(one, other, **keys)


@pytest.mark.parametrize(("shift", "degrees"), [((0, 0), 0), ((0.4, -0.2), 0), ((8, 3), 0), ((-3, 5), 1.5)])
def test_a_shifted_and_turned_fan_still_finds_its_partners(shift, degrees):
    found = face(moved(FAN, shift, degrees), FAN)
    assert found.pairs == ((0, 0), (1, 1), (2, 2), (3, 3))
    # What moves it back is what it was moved by.
    assert np.degrees(found.move.turn) == pytest.approx(-degrees, abs=1e-9)
    assert found.move.shift == pytest.approx(-np.array(shift), abs=1e-9)
    assert found.move.worst == pytest.approx(0, abs=1e-9)


def test_a_wrong_pitch_is_seen_as_one():
    # 105 on 124.5: each hole (124.5 - 105) / 2 = 9.75 off in both directions.
    other = [(x / 52.5 * 62.25, y / 52.5 * 62.25) for x, y in FAN]
    found = face(FAN, other)
    assert len(found.pairs) == 4
    assert np.linalg.norm(found.offsets, axis=1) == pytest.approx(9.75 * np.sqrt(2))


def test_one_fan_among_the_holes_of_a_row():
    row = [(x + 120 * k, y) for k in range(4) for x, y in FAN]
    found = face(moved(FAN, (241.0, 0.0)), row)
    assert found.pairs == ((0, 8), (1, 9), (2, 10), (3, 11))
    assert found.offsets == pytest.approx(np.tile([-1.0, 0, 0], (4, 1)))


def test_a_missing_hole_does_not_hide_the_others():
    assert face(moved(FAN, (2.0, 0.0)), FAN[:3]).pairs == ((0, 0), (1, 1), (2, 2))


def test_what_does_not_meet_does_not_face():
    (upper,) = plate("upper", FAN)
    below = {"deep": 8.0, "diameter": 3.3, "thread": "M4", "through": False}
    (apart,) = plate("lower", FAN, top=-1.5, **below)
    (closed,) = plate("lower", FAN, top=-8.0, axis=-UP, **below)
    (across,) = plate("lower", FAN[:1], top=0.0, axis=[1, 0, 0], **below)
    assert facing(upper, apart) is None
    assert facing(upper, closed) is None
    assert facing(upper, across) is None
    assert facing(upper, apart, apart=2.0).apart == pytest.approx(1.5)


def test_unlike_holes_are_patterns_of_their_own():
    holes = [bore("p", x, 0, 2, 2, d) for x, d in ((0, 4.5), (10, 4.5), (20, 3.4))]
    assert [len(one.bores) for one in patterns(holes)] == [2, 1]
    assert family("supply_hole_a") == family("supply_hole_d") == "supply_hole"


points = st.tuples(st.integers(-80, 80), st.integers(-80, 80))
small = st.floats(-1.0, 1.0)


@settings(derandomize=True, deadline=None, max_examples=200)
@given(
    spots=st.lists(points, min_size=2, max_size=5, unique=True), shift=st.tuples(points, small, small),
    order=st.randoms(use_true_random=False),
)  # fmt: skip
def test_pairs_are_those_of_brute_force(spots, shift, order):
    """All ways to pair are tried: the right one leaves the least after the best shift, and it is what is found."""
    far = np.array(shift[0]) / 8
    assume(np.linalg.norm(far) + 1.5 < 28)
    theirs = np.array(spots, float)
    apart = min(np.linalg.norm(a - b) for k, a in enumerate(theirs) for b in theirs[:k])
    assume(apart > 2 * NEAR + 1)
    mine = theirs + far + np.array(shift[1:])
    shuffled = list(range(len(mine)))
    order.shuffle(shuffled)
    found = face([tuple(mine[k]) for k in shuffled], [tuple(one) for one in theirs])

    def left(way):
        off = theirs[list(way)] - mine[shuffled]
        return np.linalg.norm(off - off.mean(axis=0), axis=1).max(), float(np.linalg.norm(off.mean(axis=0)))

    best = min(permutations(range(len(theirs))), key=lambda way: (round(left(way)[0], 6), left(way)[1]))
    rivals = [way for way in permutations(range(len(theirs))) if way != best and left(way)[0] <= NEAR]
    assume(not rivals)
    assert tuple(j for _, j in found.pairs) == best


plays = st.lists(st.integers(0, 20).map(lambda n: n / 20), min_size=2, max_size=8)


@settings(derandomize=True, deadline=None, max_examples=12)
@given(plays=plays, seed=st.integers(0, 10_000), degrees=st.floats(-3, 3), noise=st.floats(0, 1.5))
def test_moves_against_scipy(plays, seed, degrees, noise):
    random = np.random.default_rng(seed)
    mine = random.uniform(-60, 60, (len(plays), 2))
    theirs = np.array(moved(mine, random.uniform(-5, 5, 2), degrees)) + random.uniform(
        -noise, noise, mine.shape
    )
    found = best_move(mine, theirs)
    a, b = mine - mine.mean(axis=0), theirs - theirs.mean(axis=0)
    if len(plays) > 2:
        # Kabsch in space; with two holes it would not know how to turn about the line through them.
        flat = np.zeros((len(mine), 1))
        turn, _ = Rotation.align_vectors(np.hstack([b, flat]), np.hstack([a, flat]))
        oracle = turn.as_matrix()[:2, :2]
        assert found.moved(mine) == pytest.approx(a @ oracle.T + theirs.mean(axis=0), abs=1e-6)
    assert found.shift == pytest.approx(theirs.mean(axis=0) - mine.mean(axis=0))

    easiest = easiest_move(mine, theirs, np.array(plays))
    off = np.linalg.norm(easiest.moved(mine) - theirs, axis=1) - plays
    assert off.max() == pytest.approx(easiest.worst, abs=1e-9)

    def excess(x):
        cos, sin = np.cos(x[2] / 60), np.sin(x[2] / 60)
        there = a @ np.array([[cos, sin], [-sin, cos]]) + mine.mean(axis=0) + x[:2]
        return np.linalg.norm(there - theirs, axis=1) - plays

    # From the answer and from the move of least squares scipy finds nothing that is better.
    for move in (easiest, found):
        at = [*move.shift, move.turn * 60]
        best = minimize(
            lambda x: x[3], [*at, float(excess(at).max())], method="SLSQP", options={"maxiter": 300, "ftol": 1e-13},
            constraints={"type": "ineq", "fun": lambda x: x[3] - excess(x)},
        )  # fmt: skip
        assert easiest.worst <= float(excess(best.x).max()) + 1e-5


@settings(derandomize=True, deadline=None, max_examples=35)
@given(
    spots=st.lists(st.tuples(st.floats(-1, 1), st.floats(-1, 1)), min_size=2, max_size=5), seed=st.integers(0, 9999),
    slotted=st.booleans(),
)  # fmt: skip
def test_one_straight_screw_against_a_grid(spots, seed, slotted):
    """The axis that is least beyond any hole's play; one hole may be a slot."""
    random = np.random.default_rng(seed)
    plays = random.uniform(0, 0.6, len(spots))
    holes = [bore(f"p{k}", x, y, 2.0 * k, 2.0) for k, (x, y) in enumerate(spots)]
    if slotted:
        holes[0] = replace(holes[0], long=np.array([*(random.uniform(-1, 1, 2)), 0.0]))
    ours = excess(holes, plays, UP)

    # All places of a grid: an offset changes by no more than the place does, so the least is at most half a
    # cell's diagonal below the best of them.
    step = 0.04
    x = np.arange(-2.0, 2.0 + step, step)
    places = shapely.points(*np.meshgrid(x, x))
    lines = [shapely.LineString([(one.at - one.long)[:2], (one.at + one.long)[:2]]) for one in holes]
    off = [
        shapely.distance(places, line if one.long.any() else shapely.Point(one.at[:2]))
        for one, line in zip(holes, lines, strict=True)
    ]
    best = float(np.max(np.array(off) - plays[:, None, None], axis=0).min())
    assert best - step / np.sqrt(2) <= ours <= best + 1e-9
    assert excess(holes, plays, UP, holes[0] if not slotted else None) >= ours - 1e-9
