"""What each check demands, at the worst end: interference, clearance, keep-clear, containment, room."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tolerance_scenes import asked, found, placed, summary

from fitcheck.checks.demanded import demands_of
from fitcheck.checks.room import check_room
from fitcheck.finding import Verdict
from fitcheck.tolerances.margins import margins
from fitcheck.tolerances.movement import movement


def test_an_overlap_at_the_worst_end(tmp_path):
    text = """
parameters: {place: 10.2 ± 0.5 mm}
parts: {a: {model: block}, b: {model: block, place: {at: [place, 0, 0]}}}
"""
    finding = found(asked(tmp_path, text), "interference")
    assert finding.verdict == Verdict.TIGHT
    assert finding.measured == pytest.approx(-0.3)
    assert finding.parts == ("a", "b")
    assert finding.sentence == (
        "a.body and b.body overlap 0.3 mm deep at the worst end (place 9.7 mm); as drawn they are 0.2 mm apart"
    )


def test_flush_parts_that_are_meant_to_touch_may(tmp_path):
    text = """
parameters: {tall: 10 ± 0.5 mm}
parts:
  a: {model: block, with: {height: tall}}
  b: {model: block, place: {rest: base, on: a.top_face, centre: both}}
"""
    answer = asked(tmp_path, text)
    assert [f.verdict for f in answer.findings] == [Verdict.FITS]


def test_a_pad_gives_as_far_as_it_says(tmp_path):
    text = """
parameters: {{pad: 10 ± {by} mm}}
parts: {{a: {{model: block, with: {{height: pad}}}}, roof: {{model: block, place: {{at: [0, 0, 10]}}}}}}
touches: [{{between: a, and: roof, gives: 0.4 mm}}]
"""
    assert asked(tmp_path, text.format(by=0.4)).findings[0].verdict == Verdict.FITS
    finding = found(asked(tmp_path, text.format(by=0.5)), "interference")
    assert (finding.verdict, finding.required) == (Verdict.TIGHT, -0.4)
    assert finding.measured == pytest.approx(-0.5)


def test_a_part_sticks_out_at_the_worst_end(tmp_path):
    text = """
parameters: {floor: 60 ± 0.4 mm, wide: 59.5 ± 0.3 mm}
parts:
  case: {model: tray, with: {length: floor_wide}}
  a: {model: block, with: {length: wide}, place: {rest: base, on: case.room.floor, centre: both}, inside: case.room}
"""
    finding = found(asked(tmp_path, text.replace("floor: 60", "floor_wide: 60")), "containment")
    # (60 - 59.5) / 2 a side, less (0.4 + 0.3) / 2.
    assert finding.measured == pytest.approx(0.25 - 0.35)
    assert finding.sentence.startswith("a sticks 0.1 mm out of case.room at the worst end")
    assert finding.details["at"] == {"floor_wide": 59.6, "wide": 59.8}


def test_a_room_ends_earlier_at_the_worst_end(tmp_path):
    finding = found(asked(tmp_path, ROOM.format(demand=44)), "room")
    # 60 - 5 - 10 as drawn; the wall 1 mm nearer, half of the 0.5 mm that the block is longer.
    assert finding.measured == pytest.approx(45 - 1 - 0.25)
    assert finding.sentence == (
        "room for drain at the right of a: 43.8 mm at the worst end (at_wall 59 mm, long 20.5 mm), "
        "44.0 mm are demanded; as drawn 45.0 mm"
    )


def test_probability_of_a_room(tmp_path):
    # 45 + u + v with u within ± 1 and v within ± 0.25 is below 44 in the corner of the rectangle: 0.25^2 / 2 of 1 mm2... a
    # triangle with legs 0.25 in u and 0.25 in v over an area of 2 x 0.5.
    told = summary(asked(tmp_path, ROOM.format(demand=44) + "  tolerance: {samples: 20000}\n")).details[
        "probability"
    ]
    exact = 1 - 0.25**2 / 2 / (2 * 0.5)
    assert abs(told["share"] - exact) < 4 * np.sqrt(exact * (1 - exact) / 20000)


ROOM = """
parameters: {{long: 20 ± 0.5 mm, at_wall: 60 ± 1 mm}}
parts:
  a: {{model: block, with: {{length: long}}}}
  drain: {{model: block, with: {{width: 10}}, place: {{rest: base, on: a.top_face, centre: both}}}}
  wall: {{model: block, with: {{length: 10, width: 100, height: 50}}, place: {{at: [at_wall, 0, 0]}}}}
rules:
  room: [{{for: drain, side: right, of: a, at_least: {demand}}}]
"""


def test_what_comes_into_the_way_of_a_room(tmp_path):
    # The block beside the drain's way comes into it when it is moved by more than 1 mm.
    text = """
parameters: {{aside: {aside} ± 2 mm}}
parts:
  a: {{model: block}}
  drain: {{model: block, with: {{width: 10}}, place: {{rest: base, on: a.top_face, centre: both}}}}
  block: {{model: block, with: {{width: 10, height: 50}}, place: {{at: [30, aside, 0]}}}}
  wall: {{model: block, with: {{length: 10, width: 100, height: 50}}, place: {{at: [60, 0, 0]}}}}
rules:
  room: [{{for: drain, side: right, of: a, at_least: 40}}]
"""
    finding = found(asked(tmp_path, text.format(aside=11)), "room")
    assert (finding.verdict, finding.measured) == (Verdict.TIGHT, pytest.approx(20))
    assert asked(tmp_path, text.format(aside=13)).findings[0].verdict == Verdict.FITS


def test_a_keep_clear_volume_that_is_reached_at_the_worst_end(tmp_path):
    models = tmp_path / "own"
    models.mkdir()
    (models / "knob.yaml").write_text(
        """model: knob
summary: a knob with room for a hand
frame: origin at the middle of the underside
parameters: {}
solids:
  body: {box: {low: [-5, -5, 0], high: [5, 5, 10]}}
keep_clear:
  hand: {box: {low: [-20, -20, 10], high: [20, 20, 40]}, why: room to turn it}
"""
    )
    text = """
parameters: {{place: 25.5 ± {by} mm}}
parts: {{a: {{model: knob}}, b: {{model: block, place: {{at: [place, 0, 20]}}}}}}
"""
    finding = found(asked(tmp_path, text.format(by=0.7)), "keep_clear")
    assert finding.measured == pytest.approx(-0.2)
    assert (
        finding.sentence
        == "b.body reaches 0.2 mm into a.hand at the worst end (place 24.8 mm); as drawn it is clear"
    )
    assert asked(tmp_path, text.format(by=0.5)).findings[0].verdict == Verdict.FITS


tenths = st.integers(0, 30).map(lambda n: n / 10)


@st.composite
def rooms(draw):
    """A part with a thing on it, and three blocks about the thing's way, all moved and sized by measurements."""
    lines = []
    for name in ("one", "two", "three"):
        at = [
            draw(st.integers(250, 700)) / 10,
            draw(st.integers(-200, 200)) / 10,
            draw(st.integers(-50, 250)) / 10,
        ]
        where = ", ".join(f"{x} ± {draw(tenths)} mm" for x in at)
        turn = draw(st.sampled_from([0, 0, 90, 30]))
        lines.append(f"  {name}: {{model: block, place: {{at: [{where}], turn: {turn}}}}}")
    lines.append(f"  a: {{model: block, with: {{length: 20 ± {draw(tenths)} mm}}}}")
    lines.append(
        f"  drain: {{model: block, with: {{width: 12 ± {draw(tenths)} mm}}, "
        "place: {rest: base, on: a.top_face, centre: both}}"
    )
    return (
        "parts:\n" + "\n".join(lines) + "\nrules:\n  room: [{for: drain, side: right, of: a, at_least: 30}]\n"
    )


@settings(max_examples=60, deadline=None)
@given(text=rooms(), seed=st.integers(0, 99))
def test_no_room_is_shorter_than_its_bound(text, seed):
    with tempfile.TemporaryDirectory() as folder:
        world = placed(Path(folder), text)
        move = movement(world)
        if move is None:
            return
        every = [m for m in margins(move, demands_of(move), anew=True) if m.demand.check == "room"]
        # Where nothing that moves bears on it, it stays as drawn.
        (drawn,) = check_room(world).findings
        bound = min((m.bound for m in every), default=30.0 if drawn.measured is None else drawn.measured)
        random = np.random.default_rng(seed)
        for offsets in random.uniform(move.low, move.high, (6, len(move.low))).round(3):
            (finding,) = check_room(world.elsewhere(move.values(offsets))).findings
            if finding.measured is not None and finding.measured < 30:
                assert finding.measured >= max(bound, 0.0) - 1e-4
        for margin in every:
            if margin.met < 30:
                (finding,) = check_room(world.elsewhere(move.values(margin.where))).findings
                assert finding.measured <= max(margin.met, 0.0) + 0.03


def test_what_grows_off_the_floor_it_stands_on_is_not_stopped_by_that_floor(tmp_path):
    """The floor touches the thing's way from below, at every height of it; the wall stands 29 to 31 mm off."""
    text = """
parts:
  case: {model: tray, with: {length: 200}}
  a: {model: block, with: {height: 10 ± 0.5 mm}, place: {rest: base, on: case.room.floor, centre: both}}
  wall: {model: block, place: {at: [40 ± 1 mm, 0, 2]}}
rules: {room: [{for: a, side: right, of: a, at_least: 28}]}
"""
    answer = asked(tmp_path, text)
    assert [one.verdict for one in answer.findings] == [Verdict.FITS]
    assert answer.findings[0].measured == pytest.approx(1.0)
