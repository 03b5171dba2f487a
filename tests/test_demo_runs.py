"""Tubes and cables of the demos: all have a way, checked here by other means; blocked, they say why."""

from io import StringIO
from pathlib import Path

import pytest
from ruamel.yaml import YAML
from run_verifier import faults

import fitcheck
from fitcheck.finding import Verdict
from fitcheck.report import check_world
from fitcheck.runs.lay import laid

SCENES = Path(__file__).resolve().parents[1] / "scenes"


@pytest.mark.parametrize("scene", ["dome_render", "field_cube", "cabinet_wall"])
def test_every_run_of_a_demo_holds_what_it_says(scene):
    world = laid(fitcheck.load(SCENES / f"{scene}.yaml"))
    report = check_world(world, facts=False)
    assert {run["verdict"] for run in report.runs} == {"fits"}
    assert all(run.wish.kind in ("rigid tube", "cable") for run in world.laid) == (scene == "cabinet_wall")
    assert faults(world) == []


def blocked(scene, run, parts="", **changed):
    """What is said of one run of a scene, alone, with more parts and other values."""
    yaml = YAML()
    data = yaml.load((SCENES / f"{scene}.yaml").read_text("utf-8"))
    data["parts"] |= yaml.load(parts) if parts else {}
    data["runs"] = {run: {**data["runs"][run], **changed}}
    del data["loops"]
    # Rules of the workshop name other tubes and cables.
    data["rules"] = {name: rule for name, rule in data["rules"].items() if name in ("clearance", "room")}
    text = StringIO()
    yaml.dump(data, text)
    report = check_world(fitcheck.load(text.getvalue(), name=scene), facts=False)
    (finding,) = [f for f in report.findings if f.check == "run"]
    return finding


def test_dome_with_its_grommet_closed():
    # A blank of 2 mm under the hole in the midplate.
    blank = "blank: {model: flat_panel, with: {width: 60, length: 60, columns: 0, rows: 0}, place: {at: [45, 562, 137]}}"
    said = blocked("dome_render", "down_to_plinth", blank)
    assert said.verdict == Verdict.FAILS
    assert said.details["reason"] == "narrow"
    assert said.details["proved"]
    assert "blank.panel" in said.parts


@pytest.mark.long
def test_cube_with_a_wall_before_the_pump():
    # The pump's outlet looks to the front from y 98: a plate 30 mm before it leaves no room for a bend of 36.
    wall = "wall: {model: flat_panel, with: {width: 120, length: 120, columns: 0, rows: 0}, place: {at: [80, 66, 150], turns: [{about: x, by: 90}]}}"
    said = blocked("field_cube", "pump_to_card", wall)
    assert said.verdict != Verdict.FITS
    assert said.details["reason"] == "bend"


def test_cabinet_with_a_hole_too_small():
    # A plate of 1 mm with a hole of 15 across the straight way from radiator to reservoir, between both stubs:
    # 15 - 2 * 1 mm pass, 14 are wanted.
    plate = (
        "plate: {model: flat_panel, with: {width: 300, length: 300, thickness: 1, columns: 0, rows: 0, "
        "cut_out: round, cut_long: 15}, place: {at: [465, 151.5, 278.5], turns: [{about: y, by: 90}]}}"
    )
    said = blocked("cabinet_wall", "radiator_to_reservoir", plate)
    assert said.verdict == Verdict.FAILS
    assert said.details["reason"] == "narrow"
    assert said.details["proved"]
    assert said.details["widest"] == pytest.approx(13, abs=0.3)
    assert "plate.panel" in said.parts
