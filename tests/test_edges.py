"""Distances in sheets by hand, overhang, angles, blanks; and single changes that each break one rule only."""

from __future__ import annotations

import bench_scene as bench
import pytest
from bench_scene import failing, found, load, scene

import fitcheck
from fitcheck.checks.edges import check_edges
from fitcheck.finding import Verdict
from fitcheck.scene.mistakes import Mistakes

PANEL = "parts:\n  panel: {{model: flat_panel, with: {{{with_}}}}}\nrules: {{edges: {{{rule}}}}}\n"


def panel(with_, rule=""):
    return check_edges(fitcheck.load(PANEL.format(with_=with_, rule=rule), name="panel"))


@pytest.mark.parametrize(
    ("pitch", "verdict", "measured"),
    [
        # 60 wide, two columns of 4.5: the middle lies (60 - pitch) / 2 from the edge, 1.2 * 4.5 = 5.4 are wanted.
        (49.2, Verdict.FITS, 5.4), (49.3, Verdict.FAILS, 5.35), (40, Verdict.FITS, 10.0),
    ],
)  # fmt: skip
def test_holes_from_an_edge(pitch, verdict, measured):
    answer = panel(f"width: 60, length: 60, columns: 2, rows: 1, column_pitch: {pitch}, thickness: 2")
    (finding,) = answer.findings
    assert (finding.verdict, finding.required) == (verdict, pytest.approx(5.4))
    assert finding.measured == pytest.approx(measured, abs=1e-6)
    assert finding.details["source"].startswith("EN 1993-1-8")


def test_the_margin_is_tight():
    answer = panel("width: 60, length: 60, columns: 2, rows: 1, column_pitch: 49", "margin: 0.2 mm")
    assert [f.verdict for f in answer.findings] == [Verdict.TIGHT]  # 5.5 of 5.4 and 0.2


@pytest.mark.parametrize(
    ("pitch", "verdict"),
    [(9.9, Verdict.FITS), (9.8, Verdict.FAILS)],  # 2.2 * 4.5 = 9.9
)
def test_holes_from_each_other(pitch, verdict):
    answer = panel(f"width: 100, length: 60, columns: 5, rows: 1, column_pitch: {pitch}")
    assert [f.verdict for f in answer.findings] == [verdict]
    if verdict == Verdict.FAILS:
        assert answer.findings[0].measured == pytest.approx(9.8)
        assert answer.findings[0].id == "edges:panel.panel#pitch:edges"
        # Four neighbours in a row of five.
        assert answer.findings[0].sentence.endswith("so it is at 4 places of this sheet")


@pytest.mark.parametrize(
    ("cut", "kind", "measured", "wanted"),
    [
        # Corner holes (80, 50) from the middle of 200 x 140; a round cut of 170: 94.34 - 85 = 9.34, which is enough;
        # its rim to the long edges (140 - 136) / 2 = 2 of 4.
        ("cut_out: round, cut_long: 136", "rim", 2.0, 4.0),
        # A slot of 168 x 60: its end's middle at 54, 26 and 50 from the hole: 56.36 - 30 = 26.4; to the edge 16.
        # A rectangle of 152 x 92 ends at (76, 46): 4 and 4 from the hole's middle: 5.657; 5.4 are wanted: fits.
        ("cut_out: rectangle, cut_long: 153, cut_wide: 93", "edge", (3.5**2 + 3.5**2) ** 0.5, 5.4),
        ("cut_out: slot, cut_long: 194, cut_wide: 20", "rim", 3.0, 4.0),
    ],
)
def test_cut_outs_by_hand(cut, kind, measured, wanted):
    answer = panel(f"width: 200, length: 140, column_pitch: 160, row_pitch: 100, thickness: 2, {cut}")
    (finding,) = answer.findings
    assert finding.id == f"edges:panel.panel#{kind}:edges"
    assert (finding.measured, finding.required) == (pytest.approx(measured, abs=1e-6), pytest.approx(wanted))


def test_rims_demanded_by_name():
    with_ = "width: 200, length: 140, column_pitch: 160, row_pitch: 100, cut_out: rectangle, cut_long: 120, cut_wide: 60"
    # To the long edges (140 - 60) / 2 = 40, to the short ones 40, to the hole's edge (80, 50) - (60, 30): 28.28 - 2.25.
    for least, verdict in ((26.0, Verdict.FITS), (26.1, Verdict.FAILS)):
        answer = panel(with_, f"rims: [{{of: panel.rectangle_cut, at_least: {least}}}]")
        finding = found(answer, "rims[1]")
        assert (finding.verdict, finding.measured) == (verdict, pytest.approx(800**0.5 - 2.25))
    whole = found(panel(with_, "rims: [{of: panel, at_least: 20}]"), "rims[1]")
    assert "panel.rectangle_cut" in whole.sentence


def test_a_notch_is_no_rim():
    answer = panel(
        "width: 200, length: 140, cut_out: rectangle, cut_long: 60, cut_wide: 40, cut_y: 50, columns: 0"
    )
    # Its upper side lies in the sheet's edge.
    assert [f.verdict for f in answer.findings if "rim:" in f.id] == []


def test_a_hole_that_runs_out_of_its_sheet():
    (finding,) = panel("width: 60, length: 60, columns: 2, rows: 1, column_pitch: 54").findings
    assert finding.verdict == Verdict.FAILS
    assert finding.measured == pytest.approx(3.0)


BRACKET = "parts:\n  bracket: {{model: corner_bracket, with: {{{with_}}}}}\nrules: {{edges: {{{rule}}}}}\n"


def bracket(with_, rule=""):
    return check_edges(fitcheck.load(BRACKET.format(with_=with_, rule=rule), name="bracket"))


def test_holes_from_a_bend():
    # Leg 17: hole's middle at 9.5, its edge at 7.25, the other leg 2, radius 2: 3.25 to the tangent; 2 * 2 + 2 wanted.
    answer = bracket("leg_y: 17", "folded: [{of: bracket, radius: 2}]")
    finding = found(answer, "bend:")
    assert (finding.measured, finding.required) == (pytest.approx(3.25), pytest.approx(6))
    # Not folded it is an extruded section, which has no bends: nothing is asked but of its edges.
    assert [f.verdict for f in bracket("leg_y: 15, hole: 3").findings] == [Verdict.FITS]


@pytest.mark.parametrize(
    ("keys", "verdict", "said"),
    [
        # 25 + 25 by DIN 6935 with r 2, t 2: 50 - 3.837 = 46.16.
        ("radius: 2", Verdict.FITS, "blank 46.2 × 30.0 mm for 1 bend (K 0.33)"),
        ("radius: 2, k: 0.5", Verdict.FITS, "(K 0.50)"),
        ("radius: 1, material: aluminium", Verdict.FAILS, "aluminium of 2.0 mm wants 3.0 mm"),
    ],
)
def test_blanks(keys, verdict, said):
    finding = found(bracket("width: 30", f"folded: [{{of: bracket, {keys}}}]"), "folded[1]")
    assert finding.verdict == verdict
    assert said in finding.sentence


def test_facts_of_a_blank():
    answer = bracket("width: 30", "folded: [{of: bracket, radius: 2}]")
    (row,) = answer.facts["blanks"]
    assert (row["length"], row["width"]) == (pytest.approx(46.162610, abs=1e-6), pytest.approx(30))
    assert row["allowances"] == pytest.approx((4.162610,), abs=1e-6)
    assert row["deductions"] == pytest.approx((3.837390,), abs=1e-6)


def test_a_flange_too_short_for_the_brake():
    # 12 long: 4 * 2 + 5 = 13 are wanted.
    finding = found(bracket("leg_y: 12, hole: 2.5", "folded: [{of: bracket, radius: 5}]"), "folded[1]")
    assert (finding.verdict, finding.measured, finding.required) == (Verdict.FAILS, pytest.approx(12), 13)


def test_what_is_not_folded_is_unknown():
    finding = found(panel("width: 60", "folded: [{of: panel, radius: 2}]"), "folded[1]")
    assert finding.verdict == Verdict.UNKNOWN


ANGLE = """
parts:
  base: {{model: flat_panel, with: {{width: 200, length: 100, thickness: 2, columns: 0}}}}
  wall: {{model: flat_panel, with: {{width: 200, length: 80, thickness: 2, columns: 0}}, place: {{at: [0, {wall}, 40], turns: [{{about: x, by: 90}}]}}}}
  angle: {{model: angle_section, with: {{length: 120}}, place: {{rest: underside, on: base.upper_face, turn: 180, right: {right}, rear: {rear}}}}}
rules: {{edges: {{found: no, angles: [{{angle: angle, between: base, and: wall, covers: {covers}}}]}}}}
"""


@pytest.mark.parametrize(
    ("wall", "right", "rear", "covers", "verdicts", "said"),
    [
        # The wall's front face stands where the angle's back is: 50 from the middle of the base.
        (50, 40, 0, 20, ("fits", "fits"), "its leg lies on 20.0 mm of it"),
        (51.5, 40, 0, 0, ("fits", "fails"), "it ends 1.5 mm short of it"),
        (50, -30, 0, 0, ("fails", "fails"), "it overhangs its edge by 30.0 mm"),
        (50, 40, 0, 21, ("fails", "fails"), "its leg lies on 20.0 mm of it, 21.0 mm are demanded"),
    ],
)
def test_two_sheets_joined_by_an_angle(wall, right, rear, covers, verdicts, said):
    world = fitcheck.load(ANGLE.format(wall=wall, right=right, rear=rear, covers=covers), name="angle")
    legs = [f for f in check_edges(world).findings if "angles[1]" in f.id]
    assert [str(f.verdict) for f in legs] == list(verdicts)
    assert any(said in f.sentence for f in legs)


def test_the_bench_keeps_its_distances():
    answer = check_edges(load())
    assert {f.verdict for f in answer.findings} == {Verdict.FITS}
    # A hole of the plate to the round cut-out: 52.5 * sqrt(2) - 57 = 17.25; to the edges 47.5 and 27.5.
    plate = found(answer, "edges:plate#edges")
    assert "4 holes and 1 cut-out" in plate.sentence


# One change each, and the one check that must find a fault. Worked out by hand from the bench's scene.
CHANGES = {
    "fan 0.9 aside: 0.2 + 0.65 of play": (("upper_face, centre: both}", "upper_face, left: 40.9, front: 20}"), "fastening"),
    "fan 0.8 aside: each pair has play, one straight screw has not": (("upper_face, centre: both}", "upper_face, left: 40.8, front: 20}"), "fastening"),
    "pitch 105.5: 0.25 off with 0.2 of play": (("column_pitch: 105,", "column_pitch: 105.5,"), "fastening"),
    "holes 2.9: no M3": (("hole: 3.4", "hole: 2.9"), "fastening"),
    "plate of 3: M3 x 30 holds 2.0 of 3.0, 35 goes 2.0 too deep": (("thickness: 1,", "thickness: 3,"), "fastening"),
    "screws of 35": (("is: steel}]", "is: steel}], joints: [{between: fan, and: plate, length: 35 mm}]"), "fastening"),
    "a fan with a pitch of 100: 3.5 off": (("{model: fan,", "{model: fan, with: {hole_pitch: 100},"), "fastening"),
    "a thick gasket": (("is: steel}]", "is: steel}], joints: [{between: fan, and: plate, gasket: 2.6}]"), "fastening"),
    "a leg of 12: 5.0 of 5.4 to its edge": (("corner_bracket,", "corner_bracket, with: {leg_y: 12},"), "edges"),
    "cut-out of 145: 1.75 of 4.08 to the holes": (("cut_long: 114", "cut_long: 145"), "edges"),
    "cut-out of 158: 1.0 of rim": (("cut_long: 114", "cut_long: 158"), "edges"),
    "bracket 3 over the edge": (("right: 6,", "right: -3,"), "edges"),
    "radius 8: the holes too near the bend": (("radius: 2 mm", "radius: 8 mm"), "edges"),
    "bracket's holes too near its ends": (("corner_bracket,", "corner_bracket, with: {hole_pitch: 24},"), "edges"),
    "bracket 5 into the fan": (("right: 6,", "right: 20,"), "interference"),
    "nothing": (("title: bench", "title: bench again"), None),
}  # fmt: skip


@pytest.mark.parametrize("what", CHANGES)
def test_single_changes_break_one_rule_each(what):
    change, broken = CHANGES[what]
    assert failing(load(change)) == ({broken} if broken else set())


@pytest.mark.parametrize("change", [bench.shifted, bench.turned, bench.mirrored_world, bench.permuted])
@pytest.mark.parametrize(
    "text", [(), (("right: 6,", "right: -3,"),), (("column_pitch: 105,", "column_pitch: 194,"),)]
)
def test_the_same_in_a_mirror_elsewhere_and_in_another_order(change, text):
    def verdicts(one):
        return sorted(
            (tuple(sorted(f.parts)), f.rule, str(f.verdict), round(f.measured or 0, 6)) for f in check_edges(one).findings
        )  # fmt: skip

    assert verdicts(change(load(*text))) == verdicts(load(*text))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("of: bracket, radius", "of: braket, radius", "write bracket"),
        ("radius: 2 mm}]", "radius: 2 mm}], edge: -1", "write 0 to leave it out"),
        (
            "radius: 2 mm}]",
            "radius: 2 mm}], rims: [{of: plate.round_ct, at_least: 2}]",
            "write plate.round_cut",
        ),
        ("radius: 2 mm}]", "radius: 2 mm}], overhangs: [{part: bracket, on: plat}]", "write plate"),
        ("radius: 2 mm", "radius: -2 mm", "write 0 for a sharp bend"),
    ],
)
def test_mistakes_in_the_rule_stand_at_their_place(old, new, said):
    with pytest.raises(Mistakes) as wrong:
        fitcheck.load(scene((old, new)), name="bench")
    (item,) = wrong.value.items
    assert item.mark.line == 9
    assert said in str(item)


def test_without_the_rule_nothing_is_asked():
    world = fitcheck.load("parts:\n  panel: {model: flat_panel, with: {column_pitch: 195}}\n", name="bare")
    assert check_edges(world) == type(check_edges(world))()


@pytest.mark.parametrize(
    ("right", "rule", "verdict", "out"),
    [
        (-3, "overhangs: [{part: bracket, on: plate, at_most: 3}]", Verdict.FITS, 3.0),
        (-3.2, "overhangs: [{part: bracket, on: plate.panel, at_most: 3}]", Verdict.FAILS, 3.2),
        (6, "overhangs: [{part: bracket, on: plate}]", Verdict.FITS, 0.0),
    ],
)
def test_overhangs_named_by_hand(right, rule, verdict, out):
    answer = check_edges(
        load(("right: 6,", f"right: {right},"), ("radius: 2 mm}]", f"radius: 2 mm}}], {rule}"))
    )
    (finding,) = [f for f in answer.findings if "overhang" in f.id]
    assert (finding.rule, finding.verdict) == ("overhang:edges.overhangs[1]", verdict)
    assert finding.measured == pytest.approx(out)


def test_what_does_not_lie_on_a_panel_is_unknown():
    rule = "radius: 2 mm}], found: no, overhangs: [{part: radiator, on: plate}, {part: bracket, on: plate}]"
    answer = check_edges(
        load(("right: 6, centre: across}", "right: 6, centre: across, lift: 4}"), ("radius: 2 mm}]", rule))
    )
    assert [f.verdict for f in answer.findings if "overhang" in f.id][-1] == Verdict.UNKNOWN


def test_only_the_parts_that_are_named():
    answer = check_edges(load(("edges: {", "edges: {of: [bracket], found: no, ")))
    assert {f.parts[0] for f in answer.findings} == {"bracket"}
