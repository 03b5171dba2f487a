"""Free travel at the worst end, and other checks tried at the ends."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_runs import fitting, scene
from tolerance_scenes import asked, found, placed

from fitcheck.checks.demanded import demands_of
from fitcheck.checks.gaps import check_gaps
from fitcheck.finding import Verdict
from fitcheck.scene.mistakes import Mistakes
from fitcheck.tolerances.margins import margins
from fitcheck.tolerances.movement import movement

# From the right side of a, at 5, to the left side of b, at 30 - 5: 20 mm; each width takes half of its own deviation.
FACING = """
parameters: {{long: 10 ± 0.6 mm, place: 30 ± 0.5 mm}}
parts:
  a: {{model: block, with: {{length: long}}}}
  b: {{model: block, with: {{length: 10 ± 0.4 mm}}, place: {{at: [place, 0, 0]}}}}
rules:
  gaps: [{{part: a, side: right, at_least: {demand}}}]
  {tolerance}
"""


def test_a_gap_at_the_worst_end_by_hand(tmp_path):
    finding = found(asked(tmp_path, FACING.format(demand=19.5, tolerance="")), "gaps")
    assert finding.verdict == Verdict.TIGHT
    assert finding.measured == pytest.approx(20 - 0.3 - 0.5 - 0.2, abs=1e-9)
    assert finding.details["proved"] == pytest.approx(19.0, abs=1e-9)
    assert finding.sentence == (
        "a can travel 19.0 mm to the right at the worst end (b.length 10.4 mm, long 10.6 mm, place 29.5 mm), "
        "19.5 mm are demanded; as drawn 20.0 mm"
    )
    assert asked(tmp_path, FACING.format(demand=18.99, tolerance="")).findings[0].verdict == Verdict.FITS


def test_what_comes_into_the_way_of_a_part(tmp_path):
    # Beside its way by 1 mm; within its range it stands in the way, 10 mm ahead.
    text = """
parts:
  a: {{model: block}}
  beside: {{model: block, place: {{at: [20, {at} ± 2 mm, 0]}}}}
  wall: {{model: block, with: {{width: 100}}, place: {{at: [60, 0, 0]}}}}
rules: {{gaps: [{{part: a, side: right, at_least: 40}}]}}
"""
    finding = found(asked(tmp_path, text.format(at=21)), "gaps")
    assert (finding.verdict, finding.measured) == (Verdict.TIGHT, pytest.approx(10.0))
    assert asked(tmp_path, text.format(at=23)).findings[0].verdict == Verdict.FITS


def test_what_lies_behind_a_part_is_not_in_its_way(tmp_path):
    text = """
parts:
  a: {model: block}
  behind: {model: block, place: {at: [-11 ± 0.5 mm, 0, 0]}}
  wall: {model: block, place: {at: [60 ± 1 mm, 0, 0]}}
rules: {gaps: [{part: a, side: right, at_least: 48}]}
"""
    answer = asked(tmp_path, text)
    assert [one.verdict for one in answer.findings] == [Verdict.FITS]
    (margin,) = (one for one in answer.findings[0].details["margins"] if one["check"] == "gaps")
    assert (margin["drawn"], margin["proved"]) == pytest.approx((50.0, 49.0))


tenths = st.integers(0, 30).map(lambda n: n / 10)


@st.composite
def crowds(draw):
    """A part with three others about its way, boxes and rods, all moved and sized by measurements."""
    lines = [
        f"  a: {{model: block, with: {{length: 20 ± {draw(tenths)} mm, width: 12 ± {draw(tenths)} mm}}}}"
    ]
    for name in ("one", "two", "three"):
        at = [draw(st.integers(*ends)) / 10 for ends in ((250, 700), (-200, 200), (-80, 120))]
        where = ", ".join(f"{x} ± {draw(tenths)} mm" for x in at)
        model, turn = draw(st.sampled_from(["block", "block", "rod"])), draw(st.sampled_from([0, 0, 90, 30]))
        lines.append(f"  {name}: {{model: {model}, place: {{at: [{where}], turn: {turn}}}}}")
    return "parts:\n" + "\n".join(lines) + "\nrules: {gaps: [{part: a, side: right, at_least: 30}]}\n"


@settings(max_examples=60, deadline=None)
@given(text=crowds(), seed=st.integers(0, 99))
def test_no_gap_is_shorter_than_its_bound(text, seed):
    with tempfile.TemporaryDirectory() as folder:
        world = placed(Path(folder), text)
        move = movement(world)
        if move is None:
            return
        every = [m for m in margins(move, demands_of(move), anew=True) if m.demand.check == "gaps"]
        # What stands still in the way is told as drawn.
        (drawn,) = check_gaps(world).findings
        bound = min([30.0 if drawn.measured is None else drawn.measured, *(m.bound for m in every)])
        random = np.random.default_rng(seed)
        for offsets in random.uniform(move.low, move.high, (6, len(move.low))).round(3):
            (finding,) = check_gaps(world.elsewhere(move.values(offsets))).findings
            if finding.measured is not None and finding.measured < 30 and not finding.details["overlaps"]:
                # A contact of 0.01 mm is let pass.
                assert finding.measured >= max(bound, 0.0) - 0.03
        for margin in every:
            if 0 < margin.met < 30:
                (finding,) = check_gaps(world.elsewhere(move.values(margin.where))).findings
                assert finding.measured <= margin.met + 0.03


# Other checks tried at the ends.

SHELF = """
parts:
  a: {model: block, with: {length: 20 ± 0.5 mm}}
  one: {model: block, place: {at: [-20, 0, 0]}}
  other: {model: block, place: {at: [20, 0, 0]}}
rules:
  removal: [{part: a, towards: top, keep: 4.8 mm}]
  tolerance: {tried: [removal]}
"""


def test_a_removal_that_fails_at_an_end(tmp_path):
    """As drawn 5 mm beside it on either side; 0.25 mm less at the upper end of its length."""
    answer = asked(tmp_path, SHELF)
    (finding,) = (one for one in answer.findings if one.rule.startswith("end:removal"))
    assert finding.verdict == Verdict.TIGHT
    assert finding.sentence.startswith(
        "with a.length 20.5 mm a does not come out up: as they stand a.body is 4.75 mm"
    )
    assert "tolerance: removal were tried at the ends, the worst is not proved" in answer.not_checked
    kept = asked(tmp_path, SHELF.replace("4.8", "4.7"))
    assert not any(one.rule.startswith("end:") for one in kept.findings)


def test_without_being_named_it_is_as_drawn(tmp_path):
    answer = asked(tmp_path, SHELF.replace("tried: [removal]", "samples: 2000"))
    assert not any(one.rule.startswith("end:") for one in answer.findings)
    assert "tolerance: removal were asked as drawn only, not at other ends" in answer.not_checked


# A tube drawn straight between two fittings; from its outside, at 6.5, to the block's side at 10 there are 3.5 mm.
BAR = "  bar: {model: block, place: {at: [100, %s mm, -5]}}\n"
TUBE = "tube: {kind: soft tube, bore: 10 mm, outside: 13 mm, bend_radius: 40 mm, clearance: 3 mm, points: [[100, 0, 0]], from: a.tube_end, to: b.tube_end}"


@pytest.mark.parametrize(("by", "fits"), [(1.0, False), (0.4, True)])
def test_a_tube_at_the_ends(tmp_path, by, fits):
    parts = fitting("a", "[0, 0, 0]", "+x") + fitting("b", "[200, 0, 0]", "-x") + BAR % f"20 ± {by}"
    text = scene(parts, TUBE, "rules: {tolerance: {tried: [run]}}\n").partition("\n")[2]
    told = [one for one in asked(tmp_path, text).findings if one.rule.startswith("end:run")]
    assert (told == []) is fits
    if told:
        assert (told[0].measured, told[0].verdict) == (pytest.approx(2.5, abs=0.01), Verdict.TIGHT)


def test_a_check_that_nobody_knows_is_refused(tmp_path):
    with pytest.raises(Mistakes, match="expected"):
        asked(tmp_path, SHELF.replace("[removal]", "[clearance]"))
