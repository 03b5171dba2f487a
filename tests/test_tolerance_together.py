"""Angles together with wanted boxes, and with ranges beside meshes: against the scene placed anew."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from test_tolerance_boxes import of_box
from tolerance_scenes import asked, placed

from fitcheck.checks.demanded import demands_of
from fitcheck.checks.empty_boxes import check_empty_boxes
from fitcheck.checks.interference import check_interference
from fitcheck.checks.wanted_worst import wanted_worst
from fitcheck.finding import Verdict
from fitcheck.tolerances.movement import movement
from fitcheck.tolerances.unmeasured import stretches

# A bar 40 long that turns about its middle in a room 100 x 40; beside it a box 20 x 30 is wanted.
TURNING = """
parts:
  case: {{model: tray, with: {{length: 100}}}}
  bar: {{model: block, with: {{length: 40, width: 4, height: 20}}, place: {{at: [{at}, 0, 2], turn: {turn}}}}}
rules:
  empty_boxes: {{wanted: [{{name: pump, in: case.room, size: [{size}, 30, 20]}}]}}
"""


def test_a_box_beside_a_bar_that_turns_a_little(tmp_path):
    # The bar reaches to 40 / 2 + 4 / 2 from its middle at the most: the room is 50 either way.
    answer = asked(tmp_path, TURNING.format(at="0", turn="0 ± 2 deg", size=20))
    assert of_box(answer).verdict == Verdict.FITS
    assert not [line for line in answer.not_checked if "empty_boxes" in line]


def test_a_box_that_a_bar_turns_into(tmp_path):
    # Across the room it leaves 48 on either side; turned by 30 degrees 20 sin 30 + 2 cos 30 = 11.7 less than 50.
    text = TURNING.replace("height: 20", "height: 48").replace("30, 20]", "39, 48]")
    text = text.format(at="0", turn="90 ± 30 deg", size=40)
    # Beside what stands aslant the check itself leaves open whether a box fits: nothing is claimed either way.
    world = placed(tmp_path, text)
    there = world.elsewhere({world.uncertain[0].name: 120.0})
    assert check_empty_boxes(world).findings[0].verdict == Verdict.FITS
    assert check_empty_boxes(there).findings[0].verdict == Verdict.UNKNOWN
    assert of_box(asked(tmp_path, text)).verdict == Verdict.UNKNOWN


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.integers(-200, 200), st.integers(0, 30), st.integers(0, 180), st.integers(1, 90), st.integers(10, 70)
)
def test_a_box_proved_beside_what_turns_fits_wherever_it_is_asked(at, by, turn, turned, size):
    text = TURNING.format(at=f"{at / 10} ± {by / 10} mm", turn=f"{turn} ± {turned / 10} deg", size=size)
    with tempfile.TemporaryDirectory() as folder:
        world = placed(Path(folder), text)
        move = movement(world)
        random = np.random.default_rng(at + 200)
        for _, found in wanted_worst(move):
            if not found.proved:
                continue
            for offsets in random.uniform(move.low, move.high, (12, len(move.low))):
                there = world.elsewhere(move.values(offsets))
                assert check_empty_boxes(there).findings[0].verdict == Verdict.FITS


# A wedge, which is a mesh, that turns; a block beside it of which nobody measured yet where it stands.
RANGE = """
parts:
  wedge: {{model: wedge, place: {{at: [0, 0, 0], turn: {turn}}}}}
  block: {{model: block, place: {{at: [{low} .. {high} mm, 0, {up}]}}}}
"""


@pytest.mark.long
def test_a_range_beside_a_mesh_that_turns(tmp_path):
    text = RANGE.format(turn="30 ± 3 deg", low=0, high=60, up=0)
    _held(tmp_path, text, 25)
    answer = asked(tmp_path, text)
    (said,) = (f.sentence for f in answer.findings if f.rule.startswith("measurement:block"))
    # The wedge's far edge at x 20 cos 30 + 10 sin 30 = 22.3, and half the block: 27.3 and a little by the angle.
    assert "fits above 27.4 mm, fails below; at the worst end of the others it fits above 27.4 mm" in said


@pytest.mark.long
@settings(max_examples=25, deadline=None)
@given(
    st.integers(0, 359), st.integers(1, 60), st.integers(-30, 20), st.integers(5, 60), st.integers(-12, 16)
)
def test_ranges_beside_meshes_that_turn(turn, turned, low, wide, up):
    text = RANGE.format(turn=f"{turn} ± {turned / 10} deg", low=low, high=low + wide, up=up)
    with tempfile.TemporaryDirectory() as folder:
        _held(Path(folder), text, 25)


def _held(folder, text, samples):
    """Each stretch that is told, as drawn and at the worst end of the angle, against the plain check."""
    world = placed(folder, text)
    move = movement(world)
    demands = demands_of(move)
    (index,) = (k for k, one in enumerate(move.measurements) if not one.measured)
    others = [k for k, one in enumerate(move.measurements) if one.measured]
    random = np.random.default_rng(samples)
    for with_others in (False, True):
        for one in stretches(move, demands, index, with_others):
            if one.fits is None:
                continue
            for value in np.linspace(one.low, one.high, samples)[1:-1]:
                offsets = np.zeros(len(move.low))
                offsets[index] = value - move.measurements[index].nominal
                if with_others:
                    offsets[others] = random.uniform(move.low[others], move.high[others])
                there = world.elsewhere(move.values(offsets))
                fails = any(f.verdict == Verdict.FAILS for f in check_interference(there).findings)
                # At the worst end of the others what fails need not fail at each of their values.
                assert not (one.fits and fails), (value, one)
                assert one.fits or fails or with_others, (value, one)
