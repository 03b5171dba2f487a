"""Which values fit: intervals against closed forms."""

from __future__ import annotations

import itertools
import os
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_layouts import SCENE, written

from fitcheck.layouts.ranges import TO, Asked, intervals, stops

TOP = Path(__file__).resolve().parents[1]
STEP = 1.0


@given(cuts=st.lists(st.floats(1.2, 9), min_size=1, max_size=9), first=st.booleans(), high=st.floats(10, 60))
def test_all_intervals_wider_than_a_step_are_found(cuts, first, high):
    # What holds changes at these places, all farther apart than a step.
    ends = [sum(cuts[: k + 1]) for k in range(len(cuts)) if sum(cuts[: k + 1]) < high]

    def holds(value):
        return (sum(value > end for end in ends) % 2 == 0) == first

    found = list(intervals(lambda v: Asked(holds(v), f"not {v}"), stops(0.0, high, STEP)))
    marks = [0.0, *ends, high]
    wanted = [(a, b) for k, (a, b) in enumerate(itertools.pairwise(marks)) if (k % 2 == 0) == first]
    # A last piece shorter than a step may hold no value asked but its end; then it is one.
    assert len(found) == len(wanted)
    for one, (low, high_end) in zip(found, wanted, strict=True):
        assert holds(one.low)
        assert holds(one.high)
        assert low <= one.low <= low + TO
        assert high_end - TO <= one.high <= high_end
        assert (one.below == "") == (low == 0.0)
        assert (one.above == "") == (high_end == high)


@given(good=st.sets(st.integers(0, 12)))
def test_whole_numbers_are_taken_as_they_are(good):
    found = list(intervals(lambda v: Asked(v in good), stops(0, 12, 1), 0.0))
    assert {v for one in found for v in range(int(one.low), int(one.high) + 1)} == good
    assert all(b.low > a.high + 1 for a, b in itertools.pairwise(found))


def run(*words):
    environment = {**os.environ, "PYTHONPATH": str(TOP)}
    code = "from fitcheck.cli import run; run()"
    return subprocess.run(
        [sys.executable, "-c", code, "range", *map(str, words)],
        capture_output=True, text=True, env=environment, timeout=120, check=False,
    )  # fmt: skip


def test_two_intervals_by_hand(tmp_path):
    # A post of 10 mm at x 80 to 90; the second crate of 30 mm begins at 20 + gap, 2 mm are demanded of both
    # sides: before the post up to gap 80 - 2 - 30 - 20 = 28, behind it from 90 + 2 - 20 = 72.
    post = "  post: {model: crate, with: {width: 10}, place: {at: [80, 0, 0]}}\nrules:"
    scene = (
        SCENE.replace("rules:", post).replace("[0 mm, 60 mm]", "[0 mm, 90 mm]").replace("roof:", "roof_a:")
    )
    written(tmp_path, scene=scene)
    got = run(tmp_path / "scene.yaml", "gap", "--step", "3 mm")
    lines = got.stdout.splitlines()
    ranges = [line.split() for line in lines if line.startswith("gap fits")]
    assert [(float(w[3]), float(w[6])) for w in ranges] == [
        (pytest.approx(2, abs=TO), pytest.approx(28, abs=TO)),
        (pytest.approx(72, abs=TO), pytest.approx(90)),
    ]
    assert "  above: second.body and post.body" in "\n".join(lines)
    assert got.returncode == 0


def test_none_fits(tmp_path):
    written(tmp_path)
    got = run(tmp_path / "scene.yaml", "gap", "--to", "1 mm")
    assert got.returncode == 1
    assert got.stdout.startswith("gap: no value fits")
    assert "first.body and second.body touch" in got.stdout


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("gpa",), "write gap"),
        (("wide",), "give --from"),
        (("gap", "--from", "2 deg"), "not of one kind"),
        (("gap", "--step", "0 mm"), "not above 0"),
        (("gap", "--step", "0.001 mm"), "the limit is"),
        (("gap", "--to", "-5 mm"), "below --from"),
        (("gap", "--to", "5,5 mm"), "5.5"),
    ],
)
def test_wrong_calls_say_why(tmp_path, words, said):
    written(tmp_path)
    got = run(tmp_path / "scene.yaml", *words)
    assert got.returncode == 2
    assert said in got.stderr
    assert "Traceback" not in got.stderr
