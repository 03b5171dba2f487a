"""Runs whose ends are so near that they would pass through themselves: proved only where there is no way."""

from __future__ import annotations

import numpy as np
import pytest
from run_problems import OUTSIDE, RADIUS, STUB, asked_in, wish
from scipy.spatial.transform import Rotation
from small_runs import SOFT, fitting, load

from fitcheck.finding import Verdict
from fitcheck.report import check_world
from fitcheck.runs.single import AS_IT_COMES, Way, find_way
from fitcheck.runs.tangled import _astray, tangled


def test_ends_square_to_each_other_too_near_for_any_bend():
    # Straight on for 15 mm from both stubs they meet: a quarter turn of 15 mm, and none of 40.
    ends = fitting("left_end", "[0, 0, 0]", "+x") + fitting("right_end", "[50, 0, 50]", "-z")
    scene = load(ends, f"tube: {{{SOFT}, from: left_end.tube_end, to: right_end.tube_end}}")
    (told,) = [f for f in check_world(scene, facts=False).findings if f.check == "run"]
    assert told.verdict == Verdict.FAILS
    assert "no room to bend between left_end.tube_end and right_end.tube_end" in told.sentence
    assert told.details["largest_bend_radius"] == pytest.approx(15, abs=0.3)
    np.testing.assert_allclose(told.where, [[50, 0, 0]], atol=1.0)


def crossing_at(ahead: float, aside: float) -> bool:
    """Whether it is proved of two ends whose straight lines on pass so far aside of each other, so far ahead."""
    start = ([-ahead - STUB, 0, 0], [1, 0, 0])
    goal = ([0, aside, -ahead - STUB], [0, 0, 1])
    return tangled(wish(start, goal)) is not None


def test_what_each_end_may_go_astray_is_left_to_it():
    # After 10 mm from both: 2 x 4 x 40 (1 - cos(10 / 80)) mm of the 13.
    astray = 2 * 160 * (1 - np.cos(10 / 80))
    assert crossing_at(10, OUTSIDE - astray - 0.01)
    assert not crossing_at(10, OUTSIDE - astray + 0.01 + 2 * 0.5)


@pytest.mark.long
def test_no_line_goes_farther_astray():
    rng = np.random.default_rng(3)
    for _ in range(200):
        step, count = RADIUS * np.pi / 400, 400
        # Curvature at most 1 / R about axes that change as they like, now and then or all the time.
        axes = np.repeat(rng.normal(size=(40, 3)), 10, axis=0)
        way, at, lost = np.array([1.0, 0, 0]), np.zeros(3), []
        for axis in axes:
            square = np.cross(way, axis)
            turn = np.cross(way, square / np.linalg.norm(square)) / RADIUS * step
            turned = Rotation.from_rotvec(turn).apply(way)
            at = at + step * (way + turned) / np.linalg.norm(way + turned)
            way = turned
            lost.append(np.linalg.norm(at - [step * (len(lost) + 1), 0, 0]))
        assert (np.array(lost) <= _astray(step * np.arange(1, count + 1), RADIUS) + 1e-2).all()


def near_ends(count: int, seed: int) -> tuple[int, int]:
    """How many of ends near each other are proved tangled, and how many have a way: never both."""
    rng = np.random.default_rng(seed)
    proved = ways = 0
    for _ in range(count):
        asked = wish((np.zeros(3), [1, 0, 0]), (rng.uniform(-60, 60, 3), rng.normal(size=3)))
        found = isinstance(find_way(asked_in(asked), asked, limits=AS_IT_COMES), Way)
        stuck = tangled(asked) is not None
        assert not (found and stuck)
        proved, ways = proved + stuck, ways + found
    return proved, ways


def test_what_is_proved_has_no_way():
    proved, ways = near_ends(60, seed=6)
    assert proved > 0
    assert ways > 48


@pytest.mark.long
def test_what_is_proved_has_no_way_1000():
    proved, ways = near_ends(1000, seed=7)
    assert proved > 15
    assert ways > 900
