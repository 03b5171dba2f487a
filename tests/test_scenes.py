"""The demo scenes and the README's own scene: what they say, in millimetres worked out by hand."""

import re
from pathlib import Path

import pytest

import fitcheck
from fitcheck.finding import Verdict

TOP = Path(__file__).resolve().parents[1]
SCENES = TOP / "scenes"


def by_id(report, start):
    return next(f for f in report.findings if f.id.startswith(start))


def test_four_fans_fit_with_room_for_the_drain():
    report = fitcheck.check(SCENES / "dome_render.yaml")
    assert report.verdict == Verdict.FITS
    room = by_id(report, "room:")
    # Plinth 636 deep (640 less two sheets of 2). Setback 14, far tank 14, four fans of 120, near
    # tank 25, boss 2: the radiator ends 535 behind the front sheet, so 101 are left behind it.
    assert room.measured == pytest.approx(636 - (14 + 14 + 4 * 120 + 25 + 2), abs=1e-6)
    assert room.required == 60


def test_five_fans_stick_out_for_the_right_reason():
    report = fitcheck.check(SCENES / "dome_render.yaml", {"fan_row": 5})
    assert report.verdict == Verdict.FAILS
    first = report.findings[0]
    # One fan of 120 more than the 101 that were left: 19 out at the rear, and all else follows.
    assert (first.check, first.parts[0]) == ("containment", "plinth_radiator")
    assert first.measured == pytest.approx(120 - 101, abs=1e-6)
    assert "rear" in first.sentence
    assert all(f.follows == first.id for f in report.findings[1:] if f.verdict == Verdict.FAILS)


def test_the_drain_needs_its_room():
    report = fitcheck.check(SCENES / "dome_render.yaml", {"setback": "58 mm"})
    # 101 less 44 more of setback: 57, three short of 60.
    assert by_id(report, "room:").verdict == Verdict.FAILS
    assert by_id(report, "room:").measured == pytest.approx(57, abs=1e-6)


@pytest.mark.parametrize("scene", sorted(SCENES.glob("*.yaml")), ids=lambda p: p.stem)
def test_every_demo_scene_fits(scene):
    assert fitcheck.check(scene).verdict in (Verdict.FITS, Verdict.TIGHT)


def test_the_readmes_scene_runs():
    text = re.search(r"```yaml\n(.*?)```", (TOP / "README.md").read_text(), re.S).group(1)
    report = fitcheck.check(text, name="README")
    assert by_id(report, "room:").measured > 60


def test_leaving_out_facts_changes_no_finding():
    world = fitcheck.load(SCENES / "dome_render.yaml", {"fan_row": 5})
    assert fitcheck.check_world(world, facts=False).findings == fitcheck.check_world(world).findings
