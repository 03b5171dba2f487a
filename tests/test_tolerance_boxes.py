"""Wanted boxes over all values of the measurements: by hand, and against the scene placed anew."""

from __future__ import annotations

import itertools
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_runs import fitting, scene
from test_tolerance_gaps import BAR, TUBE
from tolerance_scenes import asked, placed, summary

from fitcheck.checks.empty_boxes import check_empty_boxes
from fitcheck.checks.wanted_worst import wanted_worst
from fitcheck.finding import Verdict
from fitcheck.parts.solids import Kind, Piece
from fitcheck.scene.mistakes import Mistakes
from fitcheck.tolerances.movement import movement
from fitcheck.world.engine import bodies, probe

# A room 60 x 40 x 48 on a floor; a block 20 wide stands in it from wall to wall along y, its left side 20 mm from the left wall.
HALL = """
parameters: {{at: 0 ± {by} mm, wide: 20 ± {wider} mm}}
parts:
  case: {{model: tray}}
  a: {{model: block, with: {{length: wide, width: 40, height: 48}}, place: {{at: [at, 0, 2]}}}}
rules:
  empty_boxes: {{wanted: [{{name: pump, in: case.room, size: [{size}, 40, 48]}}]}}
"""


def of_box(answer):
    (one,) = (f for f in answer.findings if f.rule.startswith("empty_boxes.wanted"))
    return one


def test_a_box_that_fits_at_every_value(tmp_path):
    # 20 mm on either side, 0.5 less on both when the block is wider, and 1 more or less by where it stands.
    answer = asked(tmp_path, HALL.format(by=0, wider=1, size=19.5))
    assert of_box(answer).verdict == Verdict.FITS
    assert of_box(answer).sentence == (
        "pump (19.5 × 40.0 × 48.0 mm) fits in case.room at every value of the uncertain lengths"
    )
    assert summary(answer).verdict == Verdict.FITS
    assert not [line for line in answer.not_checked if "empty_boxes" in line]


def test_a_box_that_is_missed_at_some_values(tmp_path):
    answer = asked(tmp_path, HALL.format(by=0, wider=1, size=19.6))
    finding = of_box(answer)
    assert finding.verdict == Verdict.TIGHT
    assert finding.details["at"] == {"wide": 21.0}
    assert finding.measured == pytest.approx(19.5)
    assert finding.sentence == (
        "with wide 21 mm pump (19.6 × 40.0 × 48.0 mm) does not fit in case.room: "
        "its side of 19.6 mm finds 19.5 mm in case.room, 0.1 mm are missing; as drawn it fits"
    )
    assert summary(answer).verdict == Verdict.TIGHT


@pytest.mark.parametrize(("size", "fits"), [(19.5, True), (19.51, False)])
def test_a_place_for_each_part_of_the_values(tmp_path, size, fits):
    # The block strays by 8: on one side there are always 20 - 0.5 or more, but on neither at all values.
    world = placed(tmp_path, HALL.format(by=8, wider=1, size=size))
    ((_, found),) = wanted_worst(movement(world))
    assert found.proved is fits
    assert len(found.places) > 1 or not fits
    if not fits:
        # Only about the middle, and not at the ends of where it stands, it fits on neither side.
        at = movement(world).values(found.where)
        assert abs(at["at"]) <= 0.01 and at["wide"] > 20.9


# A window of 30 x 30 right through a block 40 x 40 x 48.
RING = """model: ring
summary: a block with a window
frame: origin at the middle of the underside
parameters:
  window: {type: length, default: 30 mm, meaning: either way}
solids:
  body: {prism: {along: z, from: 0, to: 48, outline: [[-20, -20], [20, -20], [20, 20], [-20, 20]]}}
openings:
  middle: {at: [0, 0, 48], axis: +z, rectangle: [window, window], cuts: body}
"""


@pytest.mark.parametrize(("by", "verdict"), [(1.9, Verdict.FITS), (2.1, Verdict.TIGHT)])
def test_a_window_that_closes_about_a_box(tmp_path, by, verdict):
    # The bounds of the block do not move, only its shape changes: 30 - 2.1 is less than 28.
    (tmp_path / "own").mkdir()
    (tmp_path / "own" / "ring.yaml").write_text(RING)
    text = f"""
parts:
  case: {{model: tray, with: {{length: 40}}}}
  a: {{model: ring, with: {{window: 30 ± {by} mm}}, place: {{at: [0, 0, 2]}}}}
rules: {{empty_boxes: {{wanted: [{{name: pump, in: case.room, size: [28, 28, 48]}}]}}}}
"""
    assert of_box(asked(tmp_path, text)).verdict == verdict


def test_where_tubes_may_take_the_place_it_is_as_drawn(tmp_path):
    parts = fitting("a", "[0, 0, 0]", "+x") + fitting("b", "[200, 0, 0]", "-x") + BAR % "20 ± 1"
    rules = "rules: {empty_boxes: {wanted: [{name: pump, size: [1, 1, 1]}]}}\n"
    answer = asked(tmp_path, scene(parts, TUBE, rules).partition("\n")[2])
    assert "tolerance: empty_boxes, run were asked as drawn only, not at other ends" in answer.not_checked


tenths = st.integers(0, 30).map(lambda n: n / 10)


@st.composite
def halls(draw):
    """A room with three things about, sized and placed by measurements, and a wanted box that may just fit."""
    lines = [
        f"  case: {{model: tray, with: {{length: {draw(st.integers(500, 700)) / 10} ± {draw(tenths)} mm}}}}"
    ]
    for name in ("one", "two", "three"):
        kind = draw(st.sampled_from(["block", "block", "rod", "wedge", "plate"]))
        at = [draw(st.integers(*ends)) / 10 for ends in ((-300, 300), (-200, 200), (20, 300))]
        where = ", ".join(
            f"{x} ± {w} mm" if (w := draw(tenths)) and draw(st.booleans()) else f"{x}" for x in at
        )
        size = {"block": "length", "rod": "diameter", "wedge": "length", "plate": "thick"}[kind]
        grows = f"{draw(st.integers(40, 150)) / 10} ± {draw(tenths)} mm"
        lines.append(
            f"  {name}: {{model: {kind}, with: {{{size}: {grows}}}, "
            f"place: {{at: [{where}], turn: {draw(st.sampled_from([0, 0, 90, 30]))}}}}}"
        )
    size = [draw(st.integers(*ends)) for ends in ((20, 50), (15, 38), (15, 45))]
    return (
        "parts:\n"
        + "\n".join(lines)
        + f"\nrules: {{empty_boxes: {{count: 0, wanted: [{{name: w, in: case.room, size: {size}}}]}}}}\n"
    )


def hold(text: str, seed: int, count: int) -> str:
    """What was told of a wanted box against the scene placed anew; what that was."""
    with tempfile.TemporaryDirectory() as folder:
        world = placed(Path(folder), text)
    move = movement(world)
    every = list(wanted_worst(move)) if move else []
    if not every:
        return "nothing to tell"
    ((_, found),) = every
    if found.failing is not None:
        (there,) = check_empty_boxes(world.elsewhere(move.values(found.where))).findings
        assert there.verdict == Verdict.FAILS
        return "missed"
    random = np.random.default_rng(seed)
    corners = list(itertools.islice(itertools.product(*zip(move.low, move.high, strict=True)), 4096))
    picked = [
        np.array(corners[k]) for k in random.choice(len(corners), min(count, len(corners)), replace=False)
    ]
    for offsets in [*picked, *random.uniform(move.low, move.high, (count, len(move.low)))]:
        try:
            there = world.elsewhere(move.values(offsets))
        except Mistakes:
            continue
        (finding,) = check_empty_boxes(there).findings
        assert finding.verdict != Verdict.FAILS or not found.proved, (offsets, finding)
        for place in found.places:
            moving = np.abs(place.high - place.low) > 0
            if ((offsets >= place.low - 1e-9) & (offsets <= place.high + 1e-9))[moving].all():
                # The place itself, asked of the engine: nothing reaches into it, and it lies in the room.
                room = there.compartments[place.room].bounds
                box = place.box + room.mean(axis=0) - world.compartments[place.room].bounds.mean(axis=0)
                assert (box[0] >= room[0] - 1e-6).all() and (box[1] <= room[1] + 1e-6).all()
                piece = Piece(Kind.BOX, (box[1] - box[0]) / 2, np.eye(3), box.mean(axis=0))
                assert not probe(bodies(there), piece).hits, (offsets, place)
    return "proved" if found.proved else "open"


@settings(max_examples=8, deadline=None, derandomize=True)
@given(text=halls(), seed=st.integers(0, 99))
def test_what_is_proved_of_boxes_holds(text, seed):
    hold(text, seed, 3)


@pytest.mark.long
@settings(max_examples=400, deadline=None)
@given(text=halls(), seed=st.integers(0, 999))
def test_much_that_is_proved_of_boxes_holds(text, seed):
    hold(text, seed, 20)
