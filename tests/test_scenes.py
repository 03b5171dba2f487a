"""The demo scenes and the README's own scene: what they say, in millimetres worked out by hand."""

import re
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

import fitcheck
from fitcheck.finding import Verdict
from fitcheck.world import engine

TOP = Path(__file__).resolve().parents[1]
SCENES = TOP / "scenes"
named = pytest.mark.parametrize(
    "scene",
    [p for p in sorted(SCENES.glob("*.yaml")) if not p.stem.endswith("_layouts")],
    ids=lambda p: p.stem,
)


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


@named
def test_every_demo_scene_fits(scene):
    assert fitcheck.check(scene).verdict in (Verdict.FITS, Verdict.TIGHT)


def test_the_readmes_scene_runs():
    text = re.search(r"```yaml\n(.*?)```", (TOP / "README.md").read_text(), re.S).group(1)
    report = fitcheck.check(text, name="README")
    assert by_id(report, "room:").measured > 60


@pytest.mark.long
def test_leaving_out_facts_changes_no_finding():
    world = fitcheck.load(SCENES / "dome_render.yaml", {"fan_row": 5})
    assert fitcheck.check_world(world, facts=False).findings == fitcheck.check_world(world).findings


# Nearer than this two parts touch, mm: the contact tolerance.
TOUCH = 0.011


@named
def test_nothing_hangs_in_the_air(scene):
    world = fitcheck.load(scene)
    held = engine.bodies(world)
    pairs = engine.near(held, TOUCH)
    touching = np.array([m.distance <= TOUCH for m in engine.measure(held, pairs)])
    owner = np.array([body.part for body in held.all])
    known = {next(i for i, part in enumerate(world.parts) if part.name == "case")}
    while more := {int(b) for a, b in _both(owner[pairs[touching]]) if a in known} - known:
        known |= more
    # Every part is reached from the case from touch to touch.
    assert {world.parts[i].name for i in set(owner.tolist()) - known} == set()


def _both(pairs):
    return np.vstack([pairs, pairs[:, ::-1]])


def ports(world, kind):
    """Full name, place, axis and gender of all ports of one kind in the world."""
    return [
        (f"{part.name}.{name}", part.pose.point(port.at), part.pose.direction(port.axis), port.link)
        for part in world.parts
        for name, port in part.shape.ports.items()
        if port.link.kind == kind
    ]


# G1/4 ports that stay plugged; the radiators of the kit come with no others.
PLUGGED: dict[str, set[str]] = {"dome_render": set(), "field_cube": set(), "cabinet_wall": set()}


@named
def test_every_water_port_is_taken(scene):
    found = ports(fitcheck.load(scene), "thread")
    male = [(at, axis) for _, at, axis, link in found if link.gender == "male"]
    free = {
        name
        for name, at, axis, link in found
        if link.gender == "female"
        and link.size == "G1/4"
        and not any(np.allclose(at, p, atol=1e-6) and np.allclose(axis, -u) for p, u in male)
    }
    assert free == PLUGGED[scene.stem]


@named
def test_cables_have_plugs_at_both_ends(scene):
    world = fitcheck.load(scene)
    forms = Counter(part.values["form"] for part in world.parts if part.model == "plug")
    drives = sum(part.model.startswith("drive_") and part.model != "drive_bay_column" for part in world.parts)
    # Supply to board twice, supply to each card, supply to each drive, drive to board, pumps and fans to the board.
    assert (forms["power 24-way"], forms["power 8-way"]) == (2, 2)
    assert forms["card power"] == 2 * sum(part.model == "card" for part in world.parts)
    assert forms["drive power"] == forms["serial power"] == drives == 2
    assert forms["serial data"] == 2 * drives
    assert forms["fan 4-way"] % 2 == 0
    pumps = [n for n, *_ in ports(world, "plug") if n.endswith("pump.power")]
    assert forms["fan 4-way"] // 2 > len(pumps)


@pytest.mark.parametrize(
    ("scene", "drain", "fill", "wet"),
    [
        ("dome_render", "drain", "fill_port[1]", ("plinth_", "card_", "pump", "reservoir")),
        ("dome_render", "loop_b_drain", "fill_port[2]", ("loop_b_", "block_", "roof_")),
        ("field_cube", "drain", "fill_port", ("pump", "card_", "block_", "radiator_", "tee")),
        ("cabinet_wall", "drain", "fill_port", ("pump", "card_", "block_", "radiator_", "reservoir", "tee")),
    ],
)
def test_drains_lie_lowest_and_filling_ports_highest(scene, drain, fill, wet):
    world = fitcheck.load(SCENES / f"{scene}.yaml")
    heights = {name: at[2] for kind in ("tube", "thread") for name, at, *_ in ports(world, kind)}
    others = [z for name, z in heights.items() if name.startswith(wet)]
    assert len(others) > 8
    assert heights[f"{drain}.inlet"] <= min(others) + 1e-6
    assert heights[f"{fill}.outlet"] > max(others)


@pytest.mark.parametrize(("scene", "outlet", "inlet"), [
    ("dome_render", "reservoir.outlet", "pump.inlet"),
    ("cabinet_wall", "reservoir.outlet", "pump.inlet"),
])  # fmt: skip
def test_pumps_are_fed_from_straight_above(scene, outlet, inlet):
    found = {name: at for name, at, *_ in ports(fitcheck.load(SCENES / f"{scene}.yaml"), "thread")}
    assert found[outlet][:2] == pytest.approx(found[inlet][:2], abs=1e-6)
    # Two fittings of up to 20 and a tube with 15 straight at either end.
    assert found[outlet][2] - found[inlet][2] > 20 + 20 + 2 * 15 - 4


def test_the_cabinets_supply_has_its_mains_inlet_in_the_opening():
    world = fitcheck.load(SCENES / "cabinet_wall.yaml")
    case, supply = world.by_name["case"], world.by_name["supply"]
    hole = case.shape.openings["mains_opening"]
    tall, wide = hole.size
    low, high = (supply.pose.point(p) for p in ([-60, 0, 30], [-32, 1.5, 50]))
    off = np.abs(np.array([low, high]) - hole.at)[:, 1:]
    # 63 of 126 and 31 of 62 to either side of the middle; 60 and 13 of it are taken by the inlet.
    assert off.max(axis=0) == pytest.approx([60, 13])
    assert (wide / 2, tall / 2) == (63, 31)
