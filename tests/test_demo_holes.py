"""Holes, screws and sheets of the demo scenes: what they come to, and single changes that each are found."""

from __future__ import annotations

from pathlib import Path

import pytest

import fitcheck
from fitcheck.checks.edges import check_edges
from fitcheck.checks.fastening import check_fastening
from fitcheck.finding import Verdict

SCENES = Path(__file__).resolve().parents[1] / "scenes"
DEMOS = ("dome_render", "field_cube", "cabinet_wall")


def asked(demo, *changes):
    """The faults that both checks find in a demo with some of its text replaced; runs are not laid."""
    text = (SCENES / f"{demo}.yaml").read_text()
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    world = fitcheck.load(text, name=demo)
    answers = check_fastening(world), check_edges(world)
    return [f for answer in answers for f in answer.findings if f.verdict != Verdict.FITS], answers


@pytest.mark.parametrize("demo", DEMOS)
def test_the_demos_fit(demo):
    faults, _ = asked(demo)
    assert faults == []


def test_screws_of_the_dome_by_hand():
    _, (fastening, _) = asked("dome_render")
    # 4 fans below and 3 above, 4 screws each: 25 of fan, 4.5 (1.5 d, brass) of 5: M3 x 30 on a washer. Board: nine
    # of 1/4 in, supply four. Drives: two on either side, one side with 0.5 of air. Rear fan: 27, a nut: M4 x 35.
    bought = {(row["screw"], row["washers"]): row["count"] for row in fastening.facts["screws"]}
    assert bought == {
        ("M3 × 30 cap", 1): 28, ("6-32 × 6.35 cap", 0): 13, ("6-32 × 4.76 cap", 1): 4, ("6-32 × 4.76 cap", 0): 4,
        ("M4 × 35 cap", 0): 4,
    }  # fmt: skip


CHANGES = [
    ("dome_render", "model: fan\n    place: {rest: back", "model: fan\n    with: {hole_pitch: 104 mm}\n    place: {rest: back", "fastening", "rear_fan.screws on case.rear_fan_screws: 3 of 4 holes too far off"),
    ("dome_render", "{of: plinth_radiator, is: brass}", "{of: plinth_radiator, is: aluminium}", "fastening", "only"),
    ("dome_render", "at_least: 15 mm", "at_least: 41 mm", "edges", "rim around case.window_opening: 40.0 mm to an edge"),
    ("dome_render", "with: {bays: 3}", "with: {bays: 3, sheet: 3 mm}", "fastening", "it ends 0.2 mm before the bottom of drive[1].side_screws[2][1], and may be 0.3 mm too long"),
    ("dome_render", "with: {form: atx, heatsink_height: 8 mm}", "with: {form: atx, heatsink_height: 8 mm, thickness: 2.5}", None, ""),
    ("field_cube", "{fans: fans, fan_size: 140 mm,", "{fans: fans, fan_size: 140 mm, fan_depth: 26 mm,", "fastening", "M3"),
    ("field_cube", "match: {mine: \"bottom_screws[1][1]\", theirs: \"case.drive_screws[i][1][1]\"}, lift: 3}", "left: 9.2 + (i - 1) * 78, front: 60, lift: 3}", "fastening", "sleeve"),
    ("field_cube", "case.roof_air, at_least: 20 mm", "case.roof_air, at_least: 27 mm", "edges", "rim around case.roof_air: 26.0 mm"),
    ("cabinet_wall", "rear_wall, left: 36, bottom: 92", "rear_wall, left: -5, bottom: 92", "edges", "drive_plate overhangs case.back_panel"),
    ("cabinet_wall", "rest: rear_face, on: case.supply_seat, turn: 180, centre: both}", "rest: rear_face, on: case.supply_seat, turn: 180, front: 12, centre: across}", "fastening", "supply.screw on case.supply_hole: 4 of 4"),
]  # fmt: skip


@pytest.mark.parametrize(("demo", "old", "new", "check", "said"), CHANGES)
def test_single_changes_of_the_demos(demo, old, new, check, said):
    faults, _ = asked(demo, (old, new))
    assert {f.check for f in faults} == ({check} if check else set())
    assert said == "" or any(said in f.sentence for f in faults)
