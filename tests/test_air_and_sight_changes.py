"""Single changes to the demo scenes, each of which breaks one rule about air or sight, and no other rule.

Where one cause must break two rules (no window hides all that should be seen through it) both are named. The
other checks have tables of their own.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

import fitcheck
from fitcheck.checks.sight import check_sight
from fitcheck.checks.ventilation import check_ventilation
from fitcheck.finding import Verdict
from fitcheck.report import check_world
from fitcheck.runs.lay import laid

pytest.importorskip("ortools")
SCENES = Path(__file__).resolve().parents[1] / "scenes"
DOME, CUBE, CABINET = "dome_render", "field_cube", "cabinet_wall"

# Scene, what is written, what is written instead, check, rule, parts (the first of them).
CHANGES = [
    # A floor opening of 80 for 470: two of the four fans blow onto the floor.
    (DOME, "width: 310, height: 660}", "width: 310, height: 660, floor_air_length: 100}", "ventilation", "ventilation.exhaust", "plinth_fans.fan[1]"),
    # Stands flat on the floor, by feet of 5 for 20: the plinth's fans blow against it.
    (DOME, "model: foot, place", "model: foot, with: {height: 5}, place", "ventilation", "ventilation.exhaust|ventilation.together.exhaust", "plinth_fans.fan[1]"),
    # The rear fan turned round: it blows in.
    (DOME, "{fan: rear_fan, at_least: 0.8, blows: out}", "{fan: rear_fan, at_least: 0.8, blows: in}", "ventilation", "ventilation.fans[1].blows", "rear_fan"),
    # A grille of a third before the roof radiator.
    (DOME, "closed: [bottom]", "closed: [bottom], grilles: [{opening: case.roof_air, open: 0.3}]", "ventilation", "ventilation.exhaust", "roof_radiator.fan[1]"),
    # A quarter of the fans is to blow in.
    (DOME, "closed: [bottom]", "closed: [bottom], blown_in_at_least: 0.25", "ventilation", "ventilation.blown_in_at_least", "plinth_fans.fan[1]"),
    # What shares the hall's openings is to have half of its blades' area.
    (DOME, "together: 0.3", "together: 0.5", "ventilation", "ventilation.together.intake", "roof_radiator.fan[1]"),
    # The board is to be hidden, too; it stands right behind the window.
    (DOME, '{part: "drive*"}]', '{part: "drive*"}, {part: board}]', "sight", "sight.hidden[3]", "board"),
    # No window: nothing of reservoir and block is seen.
    (DOME, "width: 310, height: 660}", "width: 310, height: 660, window: none}", "sight", "sight.shown[1]|sight.shown[2]", "reservoir"),
    (DOME, "{part: processor_block, at_least: 0.1}", "{part: processor_block, at_least: 0.3}", "sight", "sight.shown[2]", "processor_block"),
    (CUBE, "closed: [bottom]", "closed: [bottom], grilles: [{opening: case.roof_air, open: 0.3}]", "ventilation", "ventilation.exhaust", "radiator.fan[1]"),
    (CUBE, "{part: fill_port, at_least: 0.1}", "{part: fill_port, at_least: 0.4}", "sight", "sight.shown[1]", "fill_port"),
    (CABINET, "blows: inside", "blows: out", "ventilation", "ventilation.fans[1].blows", "radiator.fan[1]"),
    (CABINET, "closed: [rear]", "closed: [rear], recirculation_at_most: 0.2", "ventilation", "ventilation.recirculation_at_most", "radiator.radiator"),
    # From the left the glass front shows nothing.
    (CABINET, "low: [0, -2000, 300], high: [620, -900, 900]", "at: [-1500, 90, 400]", "sight", "sight.shown[1]|sight.shown[2]", "reservoir"),
]  # fmt: skip


@cache
def plain(scene: str):
    """The other checks' findings of a scene that fail: none."""
    return {
        f.id
        for f in check_world(fitcheck.load(SCENES / f"{scene}.yaml"), facts=False).findings
        if f.verdict == Verdict.FAILS
    }


@pytest.mark.long
@pytest.mark.parametrize("scene", [DOME, CUBE, CABINET])
def test_the_demo_scenes_meet_their_rules(scene):
    assert plain(scene) == set()


@pytest.mark.long
@pytest.mark.parametrize("change", CHANGES, ids=lambda c: f"{c[0]}-{c[2][:40]}")
def test_a_single_change_breaks_its_rule_only(change):
    scene, written, instead, check, rule, part = change
    text = (SCENES / f"{scene}.yaml").read_text()
    assert text.count(written) >= 1
    if "window: none" in instead:
        # Rules of access, order and sheets name the glass and its opening, which are then not there.
        text = text.replace(", case.window_glass", "").replace("case.window_opening", "case.roof_air")
    world = laid(fitcheck.load(text.replace(written, instead), name=str(SCENES / f"{scene}.yaml")))
    found = [*check_ventilation(world).findings, *check_sight(world).findings]
    failing = [f for f in found if f.verdict == Verdict.FAILS]
    assert failing, [f.sentence for f in found if f.verdict != Verdict.FITS]
    # One rule is broken; more than one part may break it.
    assert {(f.check, f.rule) for f in failing} == {(check, one) for one in rule.split("|")}
    assert any(part in f.parts for f in failing)
