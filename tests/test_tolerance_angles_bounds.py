"""Bounds with uncertain angles against the scene itself, placed anew at many values of its measurements."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tolerance_scenes import placed

from fitcheck.checks.demanded import demands_of
from fitcheck.tolerances.between import apart
from fitcheck.tolerances.margins import margins
from fitcheck.tolerances.movement import Movement, movement
from fitcheck.tolerances.worst import OF_DEPTH, TO, worst_of
from fitcheck.world.bodies import bodies
from fitcheck.world.engine import measure

# What the engine promises of boxes and cylinders at this size, and what the sums may lie off, mm.
ROUNDING = 2e-5

tenths = st.integers(-300, 300).map(lambda n: n / 10)
drawn_turns = st.sampled_from([0, 0, 15, 30, 45, 90, -60, 137])
unsure_turns = st.sampled_from([0.2, 0.5, 1, 2, 5])
unsure_lengths = st.sampled_from([0.1, 0.5, 2])


def turned(draw, unsure: bool) -> str:
    """An angle as written, with or without its uncertainty."""
    angle = draw(drawn_turns)
    return f"{angle} ± {draw(unsure_turns)} deg" if unsure else str(angle)


@st.composite
def scenes(draw, kinds=("block", "rod")):
    """A base, turned, with a part on it that is turned on it, beside another part: up to four measurements."""
    chosen = draw(st.sets(st.integers(0, 5), min_size=1, max_size=3))
    if not chosen & {0, 1, 2, 3}:
        chosen = {*chosen, draw(st.integers(0, 3))}
    at = [draw(tenths) for _ in range(3)]
    where = ", ".join(
        f"{x:g} ± {draw(unsure_lengths)} mm" if k == 0 and 4 in chosen else f"{x:g}" for k, x in enumerate(at)
    )
    size = f"20 ± {draw(unsure_lengths)} mm" if 5 in chosen else "20"
    # An edge of what is turned on a turned part, measured to a side of the room, has its kink at a sum of both.
    ways = ["centre: both", "left: 3, front: 2", "left: 3, centre: across"]
    on = draw(st.sampled_from(ways[:1] if {0, 1} <= chosen else ways))
    kind = draw(st.sampled_from(kinds))
    about = draw(st.sampled_from("xyz"))
    return f"""
parts:
  base: {{model: block, with: {{length: 60, width: 40}}, place: {{at: [5, 0, -20], turn: {turned(draw, 0 in chosen)}}}}}
  a: {{model: block, with: {{length: {size}}}, place: {{rest: base, on: base.top_face, {on}, turn: {turned(draw, 1 in chosen)}}}}}
  b: {{model: {kind}, place: {{at: [{where}], turns: [{{about: {about}, by: {turned(draw, 2 in chosen)}}},
      {{about: x, by: {turned(draw, 3 in chosen)}}}]}}}}
"""


def followed(text: str) -> Movement:
    with tempfile.TemporaryDirectory() as folder:
        move = movement(placed(Path(folder), text))
        assert move is not None
        return move


def signed(move: Movement, offsets, pair) -> float:
    """What the engine says of two bodies, with the scene placed anew."""
    assert move.world.elsewhere is not None
    (found,) = measure(bodies(move.world.elsewhere(move.values(np.asarray(offsets, float)))), [pair])
    return -found.depth if found.depth > 0 else found.distance


def some_offsets(move: Movement, count: int):
    """Corners and points in between, of all measurements together."""
    random = np.random.default_rng(1)
    shares = random.uniform(0, 1, (count, len(move.low)))
    shares[::2] = shares[::2].round()
    shares[::5, 0] = 0.5
    return list(move.low + shares * (move.high - move.low))


def hold(text: str, count: int, near: bool = True) -> None:
    """No value is below the bound, what was met is there, and the two are as near as they promise to be."""
    move = followed(text)
    assert not move.doubts.bent and not move.doubts.unbuilt
    names = [body.name for body in move.pieces.all.all]
    ends = [names.index(f"{part}.body") for part in ("base", "a", "b")]
    pairs = [(ends[0], ends[2]), (ends[1], ends[2])]
    rows = np.array([[move.pieces.all.all[k].pieces.start for k in pair] for pair in pairs])
    worst = worst_of(move, rows)
    for at, pair in enumerate(pairs):
        assert worst.met[at] == pytest.approx(signed(move, worst.where[at], pair), abs=ROUNDING)
        for offsets in some_offsets(move, count):
            there = signed(move, offsets, pair)
            assert apart(move, rows[at : at + 1], offsets[None]).signed[0] == pytest.approx(
                there, abs=ROUNDING
            )
            assert there >= worst.bound[at] - ROUNDING
        if near:
            assert worst.met[at] - worst.bound[at] <= TO + OF_DEPTH * max(-worst.met[at], 0.0) + ROUNDING


@settings(max_examples=25, deadline=None)
@given(text=scenes())
def test_no_value_is_below_the_bound_and_it_is_met_to_a_hundredth(text):
    hold(text, 16)


def hold_gaps(text: str, side: str, count: int) -> None:
    """No part travels less far, with the scene placed anew, than is proved."""
    with tempfile.TemporaryDirectory() as folder:
        rule = f"rules: {{gaps: [{{part: b, side: {side}, at_least: 200}}]}}\n"
        world = placed(Path(folder), text + rule)
        move = movement(world)
        assert move is not None
        every = [one for one in margins(move, demands_of(move)) if one.demand.check == "gaps"]
        for margin in every:
            assert margin.demand.ask is not None and world.elsewhere is not None
            for offsets in some_offsets(move, count):
                there = margin.demand.ask(world.elsewhere(move.values(offsets)))
                assert there >= min(margin.bound, 200.0) - ROUNDING or there < 0 >= margin.bound - ROUNDING


@settings(max_examples=12, deadline=None)
@given(text=scenes(), side=st.sampled_from(["left", "rear", "top", "bottom"]))
def test_no_gap_is_shorter_than_its_bound(text, side):
    hold_gaps(text, side, 10)


@pytest.mark.long
@settings(max_examples=150, deadline=None)
@given(text=scenes(), side=st.sampled_from(["left", "right", "front", "rear", "top", "bottom"]))
def test_many_gaps_with_angles(text, side):
    hold_gaps(text, side, 30)


@pytest.mark.long
@settings(max_examples=300, deadline=None)
@given(text=scenes())
def test_many_bounds_with_angles(text):
    hold(text, 60)
