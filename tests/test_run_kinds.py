"""Flat cables, openings to choose from, and rigid tubes: each laid as its kind can be, and verified."""

from __future__ import annotations

import math

import pytest
from run_verifier import faults
from small_runs import fitting, load

from fitcheck.finding import Verdict
from fitcheck.report import check_world
from fitcheck.runs.lay import laid


def plug(name: str, at: str, by: int, values: str = "form: fan 4-way") -> str:
    """A plug whose wires leave along x (90) or back (-90)."""
    return f"  {name}: {{model: plug, with: {{{values}}}, place: {{at: {at}, turns: [{{about: y, by: {by}}}]}}}}\n"


def wall(name: str, at: str, cut: str) -> str:
    """A sheet of 2 mm square to x, with a cut-out."""
    values = f"width: 160, length: 160, columns: 0, rows: 0, {cut}"
    return f"  {name}: {{model: flat_panel, with: {{{values}}}, place: {{at: {at}, turns: [{{about: y, by: 90}}]}}}}\n"


# Two plugs that look at each other, and a cable between them.
PLUGS = plug("a", "[0, 0, 0]", 90) + plug("b", "[240, 0, 0]", -90)


def cable(size: str, through: str = "", **more: str) -> str:
    keys = "".join(f", {key}: {value}" for key, value in more.items())
    return (
        f"cable: {{kind: cable, {size}, bend_radius: 20 mm, from: a.wires_end, to: b.wires_end, "
        f"through: [{through}]{keys}}}"
    )


def told(parts: str, runs: str):
    """The report, the laid world, and what is said of its only run; verified."""
    world = laid(load(parts, runs))
    assert faults(world) == []
    report = check_world(world, facts=False)
    (finding,) = [f for f in report.findings if f.check == "run"]
    return report, finding


@pytest.mark.parametrize("opening", ["slot", "rectangle"])
def test_a_flat_cable_lies_flat_in_its_opening(opening):
    cut = f"cut_out: {opening}, cut_long: 40, cut_wide: 6"
    report, finding = told(
        PLUGS + wall("wall", "[120, 0, 0]", cut), cable("flat: [30, 4]", f"wall.{opening}_cut")
    )
    assert finding.verdict == Verdict.FITS
    # 6 mm for 4: 1 mm on both sides, play 0.5.
    assert finding.measured == pytest.approx(1.0, abs=0.02)
    assert finding.required == pytest.approx(0.5)
    # As a solid it is a round one; no other check may take that for an overlap.
    assert report.verdict == Verdict.FITS


@pytest.mark.parametrize(
    ("cut", "place", "widest"),
    [
        # A slot of 20 with round ends of 3: 5 mm thick with its play, it is sqrt(3^2 - 2.5^2) into each end.
        ("cut_out: slot, cut_long: 20, cut_wide: 6", "slot_cut", 14 + 2 * math.sqrt(2.75) - 1),
        ("cut_out: rectangle, cut_long: 20, cut_wide: 5", "rectangle_cut", 20 - 1),
        # By its diagonal: 5 mm thick with its play in a circle of 12.
        ("cut_out: round, cut_long: 12", "round_cut", math.sqrt(12**2 - 5**2) - 1),
        # Too thick.
        ("cut_out: slot, cut_long: 40, cut_wide: 4.9", "slot_cut", 3.9),
    ],
)
def test_a_flat_cable_too_wide_or_thick_for_its_opening(cut, place, widest):
    _, finding = told(PLUGS + wall("wall", "[120, 0, 0]", cut), cable("flat: [30, 4]", f"wall.{place}"))
    assert finding.verdict == Verdict.FAILS
    assert (finding.details["reason"], finding.details["proved"]) == ("narrow", True)
    assert finding.details["widest"] == pytest.approx(widest, abs=0.06)


def test_drawn_through_an_opening_too_small_for_it():
    parts = PLUGS + wall("wall", "[120, 0, 0]", "cut_out: slot, cut_long: 20, cut_wide: 6")
    world = load(parts, cable("flat: [30, 4]", "wall.slot_cut", points="[]"))
    (finding,) = [f for f in check_world(world, facts=False).findings if f.check == "run"]
    assert finding.verdict == Verdict.FAILS
    assert "wall.slot_cut (slot 20 x 6 mm) does not take it" in finding.sentence


def test_the_plug_that_passes_goes_first():
    # 6 mm take a flat cable of 4 and the plug of 5, not the plug of 9.
    parts = plug("a", "[0, 0, 0]", 90, "form: fan 4-way, width: 9") + plug("b", "[240, 0, 0]", -90)
    parts += wall("wall", "[120, 0, 0]", "cut_out: slot, cut_long: 60, cut_wide: 6")
    _, finding = told(parts, cable("flat: [20, 4]", "wall.slot_cut"))
    assert finding.verdict == Verdict.FITS
    assert "the plug for b goes through wall.slot_cut first" in finding.sentence


def test_of_several_openings_the_one_that_takes_it():
    parts = PLUGS + wall("wall", "[120, 0, 0]", "cut_out: round, cut_long: 6")
    parts += wall("further", "[120, 165, 0]", "cut_out: round, cut_long: 30")
    _, finding = told(parts, cable("outside: 8 mm", "[wall.round_cut, further.round_cut]"))
    assert finding.verdict == Verdict.FITS
    assert finding.details["through"] == ("further.round_cut",)


def test_from_an_opening_not_taken_it_keeps_its_clearance():
    # A sheet 3.5 mm beside the straight way has a hole that it might take too: that is no reason to come near.
    low = "width: 160, length: 160, columns: 0, rows: 0, cut_out: round, cut_long: 40, cut_x: 60, cut_y: 60"
    parts = PLUGS + wall("wall", "[120, 0, 0]", "cut_out: round, cut_long: 60")
    parts += f"  low: {{model: flat_panel, with: {{{low}}}, place: {{at: [120, 0, -7.5]}}}}\n"
    _, finding = told(parts, cable("outside: 8 mm", "[low.round_cut, wall.round_cut]", clearance="5 mm"))
    assert finding.verdict == Verdict.FITS
    assert finding.details["through"] == ("wall.round_cut",)
    assert finding.measured >= 5 or finding.parts[1] == "wall.panel"


@pytest.mark.parametrize(("angles", "most"), [("[90]", 3), ("[45, 90]", 3), ("any", 2)])
def test_a_rigid_tube_bends_only_as_it_may(angles, most):
    # Over the corner and up: two bends if they may have any angle, else three (the verifier asks which).
    ends = fitting("left_end", "[0, 0, 0]", "+x", 16) + fitting("right_end", "[240, 90, 60]", "+y", 16)
    _, finding = told(
        ends,
        f"tube: {{kind: rigid tube, bore: 12 mm, outside: 16 mm, bend_radius: 32 mm, angles: {angles}, "
        "from: left_end.tube_end, to: right_end.tube_end}",
    )
    assert finding.verdict == Verdict.FITS
    assert finding.details["bends"] <= most
