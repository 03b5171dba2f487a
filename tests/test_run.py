"""Runs: ways that were found or drawn, by arithmetic; what is said where there is none."""

from __future__ import annotations

import json
import math
from dataclasses import fields

import jsonschema
import numpy as np
import pytest
from small_runs import SOFT, fitting, load

from fitcheck.finding import Verdict
from fitcheck.outputs.json import report_data, report_json, result_schema
from fitcheck.outputs.run_list import cut_list_file, run_list
from fitcheck.report import check_world
from fitcheck.runs.guarded import guarded
from fitcheck.runs.lay import laid
from fitcheck.runs.remembered import remember, remembered
from fitcheck.runs.together import lay_all
from fitcheck.scene.mistakes import Mistakes

# Two fittings that look at each other along x, their mouths 200 mm apart.
FACING = fitting("left_end", "[0, 0, 0]", "+x") + fitting("right_end", "[240, 0, 0]", "-x")
TUBE = f"tube: {{{SOFT}, from: left_end.tube_end, to: right_end.tube_end}}"


# A wall across the way, 2 mm thick, and a chamber of six walls round the left end: its only way out is a hole
# in that wall, if there is one.
def chamber(values=""):
    def panel(name, at, turn, more=""):
        values = f"width: 164, length: 164, columns: 0, rows: 0{more}"
        return f"  {name}: {{model: flat_panel, with: {{{values}}}, place: {{at: {at}{turn}}}}}\n"

    up, side = ", turns: [{about: y, by: 90}]", ", turns: [{about: x, by: 90}]"
    return (
        panel("wall", "[101, 0, 0]", up, values) + panel("behind", "[-60, 0, 0]", up)
        + panel("plate_a", "[20, 0, -80]", "") + panel("plate_b", "[20, 0, 82]", "")
        + panel("plate_c", "[20, -80, 0]", side) + panel("plate_d", "[20, 82, 0]", side)
    )  # fmt: skip


def told(world, name="tube"):
    (finding,) = [
        f for f in check_world(world, facts=False).findings if f.check == "run" and f.parts[0] == name
    ]
    return finding


def test_straight_on():
    world = laid(load(FACING, TUBE))
    (run,) = world.laid
    assert run.length == pytest.approx(200, abs=1e-6)
    assert run.bound == pytest.approx(200, abs=1e-6)
    assert run.bends == 0
    finding = told(world)
    assert finding.verdict == Verdict.FITS
    assert finding.details["length"] == pytest.approx(200)
    assert finding.rule == "runs.tube"
    assert finding.rule_line == 6


def test_a_placeholder_radius_is_said_in_every_finding():
    world = load(FACING, TUBE.replace("bend_radius: 40 mm, ", ""))
    # 13 over a wall of 1.5: thin, 4.5 diameters.
    assert "its bend radius of 58.5 mm is a placeholder by size" in told(world).sentence
    assert told(world).details["bend_radius_assumed"] is True
    assert "placeholder" not in told(load(FACING, TUBE)).sentence


def test_a_laid_run_is_a_solid_like_any_other():
    # A bar 10 mm beside the tube's surface: 6.5 + 10 from its axis.
    bar = "  bar: {model: flat_panel, with: {width: 40, length: 30, columns: 0, rows: 0}, place: {at: [120, 31.5, 0]}}\n"
    rules = "rules:\n  clearance: {pairs: [{between: tube, and: bar, at_least: 10.5 mm}]}\n"
    report = check_world(load(FACING + bar, TUBE, rules), facts=False)
    (finding,) = [f for f in report.findings if f.check == "clearance"]
    assert finding.verdict == Verdict.FAILS
    assert finding.measured == pytest.approx(10.0, abs=1e-6)


def drawn(*points):
    return TUBE.replace("}", f", points: {[list(p) for p in points]}}}")


def test_drawn_by_hand_is_only_checked():
    # Up 60 and over: four right angles, R 40. Legs 60 - 40, 60 - ... are too short for two bends of 40.
    world = load(FACING, drawn((60, 0, 0), (60, 0, 100), (180, 0, 100), (180, 0, 0)))
    (run,) = laid(world).laid
    # Straights 0, 20, 40, 20, 0 and four quarter circles of R 40.
    assert run.length == pytest.approx(0 + 20 + 40 + 20 + 0 + 4 * math.pi / 2 * 40)
    finding = told(world)
    assert finding.verdict == Verdict.FAILS
    assert "it is straight for 0.0 mm at left_end.tube_end, 15 mm are due" in finding.sentence


def test_drawn_with_room_for_its_stubs_fits():
    world = load(FACING, drawn((80, 0, 0), (80, 0, 90), (160, 0, 90), (160, 0, 0)))
    finding = told(world)
    # 80 mm between the two upper corners is just 2 R: nothing straight is left, and that is allowed.
    assert finding.verdict == Verdict.FITS
    assert finding.details["length"] == pytest.approx(20 + 10 + 0 + 10 + 20 + 4 * math.pi / 2 * 40)


def test_drawn_too_tight():
    finding = told(load(FACING, drawn((80, 0, 0), (80, 0, 60), (160, 0, 60), (160, 0, 0))))
    assert finding.verdict == Verdict.FAILS
    assert "bends of 40 mm need 20.0 mm more between corners 1 and 2" in finding.sentence


def test_drawn_through_a_part():
    bar = "  bar: {model: flat_panel, with: {width: 40, length: 30, columns: 0, rows: 0}, place: {at: [120, 0, 1]}}\n"
    finding = told(load(FACING + bar, drawn((120, 0, 0))))
    assert finding.verdict == Verdict.FAILS
    assert finding.parts == ("tube", "bar.panel")
    # The axis lies in the middle of the sheet, 2 mm thick: 1 mm below its surface, and 6.5 to the tube's own.
    assert finding.measured == pytest.approx(-7.5, abs=0.011)


def test_length_at_hand():
    # 200 mm between the mouths and 12 mm in each fitting.
    enough = told(load(FACING, TUBE.replace("}", ", length: 224 mm}")))
    assert enough.verdict == Verdict.FITS
    short = told(load(FACING, TUBE.replace("}", ", length: 223 mm}")))
    assert short.verdict == Verdict.FAILS
    assert "224.0 mm are needed, 223 mm are at hand" in short.sentence


def test_pulled_out_while_connected():
    def pulled(towards, length=""):
        return told(
            load(
                FACING,
                TUBE.replace("}", f"{length}, pull: {{part: right_end, towards: {towards}, by: 100 mm}}}}"),
            )
        )

    # 200 mm between the mouths, 100 more, and 12 mm in each fitting: all on one line.
    short = pulled("right", ", length: 323 mm")
    assert short.verdict == Verdict.FAILS
    assert "right_end pulled 100 mm to the right, 324.0 mm are needed, 323 mm are at hand" in short.sentence
    assert pulled("right", ", length: 324 mm").verdict == Verdict.FITS
    # Pulled up, the straight line between the mouths is 223.6; from 324 on it follows along.
    assert pulled("top", ", length: 240 mm").verdict == Verdict.FAILS
    between = pulled("top", ", length: 320 mm")
    assert between.verdict == Verdict.UNKNOWN
    assert "may not reach: from 324 mm on it follows along" in between.sentence
    assert pulled("top", ", length: 325 mm").verdict == Verdict.FITS
    assert "324 mm are needed at the least, 324 mm follow along" in pulled("right").sentence


def test_a_closed_wall_is_proved_to_stop_it():
    finding = told(load(FACING + chamber(), TUBE))
    assert finding.verdict == Verdict.FAILS
    assert finding.details["reason"] == "narrow"
    assert finding.details["proved"] is True
    assert finding.details["widest"] == 0.0


def test_a_hole_too_small_by_a_tenth():
    # Outside 13 and play 0.5 on both sides: 14 mm pass, 13.9 do not.
    def through(hole):
        wall = chamber(f", cut_out: round, cut_long: {hole}")
        return told(load(FACING + wall, TUBE.replace("}", ", through: [wall.round_cut]}")))

    assert through(14.2).verdict == Verdict.FITS
    small = through(13.9)
    assert small.verdict == Verdict.FAILS
    assert small.details["reason"] == "narrow"
    assert small.details["widest"] == pytest.approx(12.9)
    assert "wall.round_cut (round, 13.9 mm)" in small.sentence


def test_the_widest_that_passes_a_hole_nobody_named():
    # A hole of 15 mm leaves 15 - 2 * 2 = 11 mm at a clearance of 2 on both sides.
    finding = told(load(FACING + chamber(", cut_out: round, cut_long: 15"), TUBE))
    assert finding.verdict == Verdict.FAILS
    assert finding.details["proved"] is True
    assert finding.details["widest"] == pytest.approx(11, abs=0.3)
    assert finding.details["largest_outside"] == pytest.approx(11, abs=0.5)
    assert finding.parts == ("tube", "wall.panel")
    assert (finding.measured, finding.required) == (finding.details["widest"], 13)
    assert "too narrow in wall.panel" in finding.sentence


@pytest.mark.long
def test_one_run_without_a_way_does_not_stop_the_others():
    others = fitting("low", "[0, 0, -300]", "+x") + fitting("high", "[100, 0, -300]", "-x")
    runs = TUBE + f"\nshort: {{{SOFT}, from: low.tube_end, to: high.tube_end}}"
    world = load(FACING + chamber() + others, runs)
    assert told(world).verdict == Verdict.FAILS
    assert told(world, "short").verdict == Verdict.FITS


CROSSING = FACING + fitting("front_end", "[120, -120, 0]", "+y") + fitting("rear_end", "[120, 120, 0]", "-y")
BOTH = [TUBE, f"across: {{{SOFT}, from: front_end.tube_end, to: rear_end.tube_end}}"]


def test_two_runs_that_would_cross_go_round_each_other_in_any_order():
    found = []
    for order in (BOTH, BOTH[::-1]):
        world = laid(load(CROSSING, "\n".join(order)))
        by_name = {run.name: run for run in world.laid}
        assert all(run.corners is not None for run in world.laid)
        found.append([by_name[name].corners for name in ("tube", "across")])
        report = check_world(world, facts=False)
        assert report.verdict == Verdict.FITS
        assert not [f for f in report.findings if f.check == "interference"]
    for one, other in zip(*found, strict=True):
        assert np.array_equal(one, other)


def test_each_search_is_told_before_it_begins():
    # The drawn one has its way at once. The longer of the others goes second; it is stopped, so it is
    # asked again alone, and then why.
    ends = fitting("low", "[0, 0, -300]", "+x") + fitting("high", "[100, 0, -300]", "-x")
    ends += fitting("a", "[0, 0, -400]", "+x") + fitting("b", "[240, 0, -400]", "-x")
    runs = TUBE + f"\nshort: {{{SOFT}, from: low.tube_end, to: high.tube_end}}"
    runs += f"\nby_hand: {{{SOFT}, from: a.tube_end, to: b.tube_end, points: []}}"
    said = []
    world = load(FACING + chamber() + ends, runs)
    found = lay_all(world, lambda number, name: said.append((number, name)))
    assert said == [(2, "short"), (3, "tube"), (3, "tube"), (3, "tube")]
    assert [run.corners is not None for run in found] == [False, True, True]


def test_report_holds_the_runs():
    report = check_world(load(FACING, TUBE), facts=False)
    jsonschema.validate(report_data(report), result_schema())
    (run,) = json.loads(report_json(report))["runs"]
    assert (run["name"], run["kind"], run["verdict"], run["length"]) == ("tube", "soft tube", "fits", 200.0)
    assert run["centre_line"] == [[20.0, 0.0, 0.0], [220.0, 0.0, 0.0]]


@pytest.mark.long
def test_the_radius_that_would_do_before_a_plate():
    # A plate 38 mm before the left mouth: after 15 mm straight a quarter turn must keep 6.5 + 2 from it, 14.5 are left.
    plate = (
        "  plate: {model: flat_panel, with: {width: 60, length: 60, columns: 0, rows: 0}, "
        "place: {at: [60, 0, 0], turns: [{about: y, by: 90}]}}\n"
    )
    report = check_world(load(FACING + plate, TUBE), facts=False)
    (finding,) = [f for f in report.findings if f.check == "run"]
    assert (finding.details["reason"], finding.details["proved"]) == ("bend", False)
    assert finding.details["largest_bend_radius"] == pytest.approx(14.5, abs=0.6)
    (run,) = report_data(report)["runs"]
    assert (run["verdict"], run["least_distance"]) == ("unknown", None)


def test_lists():
    world = laid(load(FACING, TUBE))
    report = check_world(world, facts=False)
    first = run_list(world.laid, report.findings).splitlines()
    assert first[0].split() == ["run", "kind", "outside", "length", "cut", "bends", "verdict"]
    assert first[1].split() == ["tube", "soft", "tube", "13", "200.0", "224.0", "0", "fits"]
    lines = cut_list_file(world.laid).decode("utf-8-sig").splitlines()
    assert lines[1] == "tube,soft tube,13.00,10.00,224.00,0"


def test_same_scene_same_ways_searched_or_remembered():
    world = guarded(load(CROSSING, "\n".join(BOTH)))
    searched = [lay_all(world) for _ in range(2)]
    remember(world, searched[0])
    again = remembered(guarded(load(CROSSING, "\n".join(BOTH))))
    for one, other, third in zip(*searched, again, strict=True):
        assert np.array_equal(one.corners, other.corners)
        for field in fields(one):
            if field.name == "corners":
                assert np.array_equal(one.corners, third.corners)
            elif field.name != "wish":
                assert getattr(one, field.name) == getattr(third, field.name)


def test_another_scene_is_not_remembered():
    world = guarded(load(CROSSING, "\n".join(BOTH)))
    remember(world, lay_all(world))
    assert remembered(world) is not None
    wider = "\n".join(BOTH).replace("clearance: 2 mm", "clearance: 2.5 mm")
    assert remembered(guarded(load(CROSSING, wider))) is None
    moved = CROSSING.replace("[120, 120, 0]", "[120, 120, 1e-6]")
    assert remembered(guarded(load(moved, "\n".join(BOTH)))) is None


def test_what_was_kept_of_a_run_without_a_way():
    world = guarded(load(FACING + chamber(", cut_out: round, cut_long: 15"), TUBE))
    (run,) = lay_all(world)
    remember(world, (run,))
    (again,) = remembered(world)
    assert again.no_way == run.no_way
    assert again.where == run.where
    assert again.corners is None


@pytest.mark.parametrize("through", ["[wal.round_cut]", "[[wal.round_cut]]"])
def test_a_wrong_name_in_a_list_is_said_once_and_of_the_key_of_the_list(through):
    with pytest.raises(Mistakes) as caught:
        load(FACING, TUBE.replace("}", f", through: {through}}}"))
    (mistake,) = caught.value.items
    assert (mistake.subject, mistake.problem) == ("through", "there is no `wal` here")
