"""Facing holes and their screws: a peg in a hole, stacks by hand, what is missing, what is in the way."""

from __future__ import annotations

from dataclasses import replace

import bench_scene as bench
import numpy as np
import pytest
from bench_scene import found, load, scene
from worlds import box, part, world

import fitcheck
from fitcheck.checks.fastening import FasteningRule, check_fastening
from fitcheck.finding import Verdict
from fitcheck.parts.features import Hole
from fitcheck.parts.outline import extruded
from fitcheck.parts.pieces import cylinder_piece
from fitcheck.parts.polygon import Cutout
from fitcheck.parts.solids import Solid
from fitcheck.scene.mistakes import Mistakes
from fitcheck.world.engine import bodies, measure
from fitcheck.world.frames import IDENTITY, Frame
from fitcheck.world.world import Contact

UP = np.array([0.0, 0.0, 1.0])


def holed(name, piece, holes, pose=IDENTITY):
    """A part with holes in its solid `body`."""
    made = part(name, piece, pose=pose)
    return replace(made, shape=replace(made.shape, holes={one.name: one for one in holes}))


def hole(x, y, top, diameter=4.5, thread="", depth=None, axis=UP):
    at = np.array([x, y, top], float)
    return Hole(f"holes[{x}][{y}]", at, np.array(axis, float), diameter, depth, thread)


SQUARE = [(x, y) for x in (-20, 20) for y in (-20, 20)]


def pair(shift=(0.0, 0.0), upper=4.5, turn=0.0, thick=2.0, spots=SQUARE, taps=SQUARE, **rule):
    """A sheet with clearance holes on a block tapped M4, 12 deep."""
    cos, sin = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    pose = Frame(np.array([[cos, -sin, 0], [sin, cos, 0], [0, 0, 1]]), np.array([*shift, 0.0]))
    sheet = holed("sheet", box([-30, -30, 0], [30, 30, thick]), [hole(*s, thick, upper) for s in spots], pose)
    block = holed("block", box([-40, -40, -20], [40, 40, 0]), [hole(*s, 0, 3.3, "M4", 12.0) for s in taps])
    rule.setdefault("materials", [{"of": "block", "is": "steel"}])
    rested = Contact("rest", "sheet", "block", ("body",), ("body",))
    return world(sheet, block, contacts=[rested], fastening=FasteningRule.model_validate(rule))


def pattern(*args, **keys):
    return found(check_fastening(pair(*args, **keys)), "sheet.holes~block.holes#fastening")


@pytest.mark.parametrize(
    ("shift", "verdict"),
    [(0.0, "fits"), (0.2499, "fits"), (0.2501, "fails"), (1.5, "fails"), (-0.25, "fits")],
)
def test_a_peg_in_a_hole_of_known_play(shift, verdict):
    # M4 in 4.5 (ISO 273 medium): (4.5 - 4) / 2 = 0.25 to each side.
    finding = pattern((shift, 0.0))
    assert finding.verdict == Verdict(verdict)
    assert finding.measured == pytest.approx(abs(shift))
    assert finding.required == pytest.approx(0.25)
    assert {row["fit"] for row in finding.details["each"]} == {"medium, tapped"}


@pytest.mark.parametrize("shift", [0.0, 0.1, 0.23, 0.27, 0.4])
def test_the_same_peg_asked_of_the_engine(shift):
    """The sheet really drilled, the screw a cylinder on the block's axis: they interfere just where it fails."""
    drilled, _ = extruded(
        np.array([[-30, -30], [30, -30], [30, 30], [-30, 30]], float), 2, 0, 2,
        [Cutout(str(k), "round", (x + shift, y), (4.5, 4.5)) for k, (x, y) in enumerate(SQUARE)],
    )  # fmt: skip
    pegs = [
        part(f"peg{k}", cylinder_piece(np.array([x, y, -5.0]), np.array([x, y, 9.0]), 4.0))
        for k, (x, y) in enumerate(SQUARE)
    ]
    real = bodies(world(part("sheet", drilled), *pegs))
    hit = any(m.interferes for m in measure(real, [(0, k) for k in range(1, 5)]))
    assert hit == (pattern((shift, 0.0)).verdict == Verdict.FAILS)


def test_a_shifted_pattern_says_how_far_and_what_mends_it():
    finding = pattern((3.0, -1.0))
    assert finding.measured == pytest.approx(np.hypot(3, 1))
    assert "as a whole 3.0 mm to the right and 1.0 mm to the front off" in finding.sentence
    assert finding.mend == "move sheet 3.0 mm to the left and 1.0 mm to the rear"
    assert pattern((0.0, 0.0)).verdict == Verdict.FITS  # what the mend says was carried out


def test_of_screws_through_holes_that_do_not_line_up_nothing_is_told():
    answer = check_fastening(pair((3.0, 0.0)))
    assert [f for f in answer.findings if "screw:" in f.id] == []
    assert "screws" not in answer.facts
    assert answer.not_checked == ("screws through block.holes, sheet.holes: their holes do not line up",)


def test_a_turned_pattern_says_by_how_much():
    finding = pattern(turn=2.0)
    # 28.28 from the middle, 2 degrees: 2 * 28.28 * sin(1 degree) = 0.987.
    assert finding.measured == pytest.approx(2 * 20 * np.sqrt(2) * np.sin(np.radians(1)))
    assert finding.details["turn"] == pytest.approx(-2.0)
    assert finding.mend.startswith("turn sheet by 2.0°")


def test_a_pitch_that_differs_cannot_be_mended_by_moving():
    finding = pattern(spots=[(x * 21 // 20, y) for x, y in SQUARE])  # 42 on 40: each 1 off
    assert (finding.verdict, finding.measured, finding.mend) == (Verdict.FAILS, pytest.approx(1), "")


def test_within_the_margin_is_tight():
    assert pattern((0.2, 0.0), margin=0.1).verdict == Verdict.TIGHT
    assert pattern((0.14, 0.0), margin=0.1).verdict == Verdict.FITS


def test_paint_takes_its_part_of_the_play_and_of_the_length():
    coats = [{"of": "sheet", "thickness": 0.1}, {"of": "block", "thickness": 0.1}]
    assert pattern((0.2, 0.0), coats=coats).verdict == Verdict.FAILS  # 0.15 left
    screw = found(check_fastening(pair(coats=coats)), "screw:")
    # Paint on both sides of the sheet and on the block: 2.3 in place of 2.0.
    assert screw.details["grip"] == pytest.approx(2.3)


def test_a_screw_that_does_not_pass_its_hole():
    finding = pattern(upper=3.9)
    assert finding.verdict == Verdict.FAILS
    assert "M4 does not go through" in finding.sentence


def test_missing_holes_are_named_with_their_places():
    answer = check_fastening(pair(taps=SQUARE[:3]))
    finding = found(answer, "missing:")
    assert (finding.verdict, finding.measured) == (Verdict.FAILS, 1)
    assert finding.where == ((20.0, 20.0, 0.0),)
    assert finding.sentence == "block has no hole where sheet.holes needs one: 1 missing (holes[20][20])"


def test_holes_with_nothing_behind_are_not_missing():
    answer = check_fastening(pair(spots=[*SQUARE, (28, 0)], taps=SQUARE))
    assert found(answer, "missing:").details["missing"] == ("sheet.holes[28][0]",)
    far = pair(shift=(30.0, 0.0), spots=[(x - 30, y) for x, y in SQUARE] + [(20, 0)])
    # That hole lies at x 50, beside the block.
    assert not [f for f in check_fastening(far).findings if "missing" in f.id]


def test_no_holes_at_all_are_facts_to_drill():
    answer = check_fastening(pair(taps=[]))
    assert [row["at"] for row in answer.facts["to_drill"]] == [(x, y, 0.0) for x, y in SQUARE]
    assert answer.not_checked == ("holes for sheet in block: none are drawn there",)
    assert answer.findings == ()


def test_what_is_joined_on_one_side_is_not_to_drill_on_the_other():
    one = pair()
    lid = part("lid", box([-30, -30, 2], [30, 30, 4]))
    both = replace(
        one,
        parts=(*one.parts, lid),
        contacts=(*one.contacts, Contact("rest", "sheet", "lid", ("body",), ("body",))),
    )
    assert "to_drill" not in check_fastening(both).facts


def test_without_the_rule_nothing_is_asked():
    bare = replace(pair((9.0, 0.0)), rules={})
    assert check_fastening(bare) == type(check_fastening(bare))()


def screw(**keys):
    return found(check_fastening(pair(**keys)), "screw:")


def joint(**keys):
    return {"joints": [{"between": "sheet", "and": "block", **keys}]}


def test_the_length_is_chosen_by_hand():
    finding = screw()
    # Sheet 2, steel 1 d = 4: 6 would do and holds 4 of 12; 6 is in the series of ISO 4762.
    assert finding.details["screw"] == "M4 × 6 cap"
    assert finding.sentence == (
        "M4 × 6 through sheet into block: grip 2.0 mm, 4.0 mm of thread hold (4.0 mm wanted), "
        "8.0 mm before the bottom of block.holes[-20][-20], 4 screws"
    )


@pytest.mark.parametrize(
    ("material", "length"), [("steel", 6), ("brass", 8), ("aluminium", 10), ("plastic", 10)]
)
def test_softer_metals_want_longer_screws(material, length):
    # 2 + 1.0, 1.5, 2.0 times 4: 6, 8, 10.
    finding = screw(materials=[{"of": "block", "is": material}])
    assert finding.details["screw"] == f"M4 × {length} cap"


def test_a_material_that_is_not_said_is_asked_for_only_where_it_matters():
    assert screw(materials=[]).details["screw"] == "M4 × 10 cap"
    shallow = pair(materials=[], **joint(length=6))
    finding = found(check_fastening(shallow), "screw:")
    assert finding.verdict == Verdict.UNKNOWN
    assert "say what block is made of" in finding.sentence


@pytest.mark.parametrize(
    ("length", "said", "mend"),
    [
        (5, "only 3.0 mm of thread hold, 4.0 mm are wanted (4 of 4)", "use M4 × 6"),
        (16, "it goes 2.0 mm into the bottom of block.holes[-20][-20] (4 of 4)", "use M4 × 6"),
    ],
)
def test_a_length_at_hand_that_is_wrong(length, said, mend):
    finding = screw(**joint(length=length, into="steel"))
    assert finding.verdict == Verdict.FAILS
    assert finding.sentence.endswith(said)
    assert finding.mend == mend


def test_gaskets_count_and_what_they_give():
    finding = screw(**joint(gasket=3, gives=1, into="steel"))
    # 2 + 3 + 4 = 9: 10 holds 5 and, with the pad pressed by 1, ends 12 - 6 before the bottom.
    assert finding.details["screw"] == "M4 × 10 cap"
    assert (finding.details["engagement"], finding.details["spare"]) == (pytest.approx(5), pytest.approx(6))


@pytest.mark.parametrize(("pressed", "spare"), [(0.0, 7.5), (0.3, 7.5), (0.5, 7.5)])
def test_a_pad_that_is_drawn_counts_with_what_it_still_gives(pressed, spare):
    """Sheet 2 on a pad of 2 that gives 0.5 on a block: 4 under the head, less what it is pressed already."""
    sheet = holed(
        "sheet", box([-30, -30, 2 - pressed], [30, 30, 4 - pressed]), [hole(*s, 4 - pressed) for s in SQUARE]
    )
    pad = holed("pad", box([-30, -30, 0], [30, 30, 2]), [hole(*s, 2) for s in SQUARE])
    block = holed("block", box([-40, -40, -20], [40, 40, 0]), [hole(*s, 0, 3.3, "M4", 12.0) for s in SQUARE])
    rests = [
        Contact("rest", "sheet", "pad", ("body",), ("body",), 0.5),
        Contact("rest", "pad", "block", ("body",), ("body",)),
    ]
    rule = FasteningRule.model_validate({"joints": [], "materials": [{"of": "block", "is": "steel"}]})
    finding = found(check_fastening(world(sheet, pad, block, contacts=rests, fastening=rule)), "screw:")
    assert finding.details["grip"] == pytest.approx(4 - pressed)
    assert finding.details["screw"] == "M4 × 8 cap"
    assert finding.details["engagement"] == pytest.approx(4 + pressed)
    # However far it is pressed by now, in the end the tip comes to the same place: 8 - 4 + 0.5 of 12.
    assert finding.details["spare"] == pytest.approx(spare)


def test_each_screw_names_where_its_figures_are_from():
    assert screw().details["sources"] == (
        "ISO 4762 table 1: published",
        "nominal lengths of ISO 4762 and ISO 7380-1: published",
        "ISO 4759-1, product grade A: js15: from memory",
        "shop rule of thumb in machine-design texts: common practice",
    )


def blocked(*others, **rule):
    one = pair(**rule)
    return replace(one, parts=(*one.parts, *others))


def test_what_stands_over_a_head_is_in_its_way():
    # M4 cap: head 4 high on the sheet's 2. A slab from 5.5 on hits it; from 6.5 on only the key.
    low = check_fastening(blocked(part("slab", box([-40, -40, 5.5], [40, 40, 9]))))
    assert "there is no room for its head: slab.body is there" in found(low, "screw:").sentence
    high = check_fastening(blocked(part("slab", box([-40, -40, 6.5], [40, 40, 9]))))
    assert "no driver and no key gets to its head: slab.body is in the way" in found(high, "screw:").sentence


def test_a_head_must_not_fall_through_its_hole():
    # M4 cap: 7.0 (ISO 4762); with a washer 9.0 (ISO 7089).
    finding = screw(upper=7.0, washers=0)
    assert (finding.verdict, "its head of 7.0 mm falls through sheet.holes" in finding.sentence) == (
        "fails",
        True,
    )
    assert screw(upper=6.9, washers=0).verdict == Verdict.FITS


def test_a_key_goes_where_a_driver_does_not():
    # 40 above the heads: no driver of 175, but a key of 3 with a short arm of 20 (ISO 2936) swings.
    answer = check_fastening(blocked(part("slab", box([-300, -300, 46], [300, 300, 49]))))
    assert found(answer, "screw:").details["turned_by"] == "key"
    assert found(check_fastening(pair()), "screw:").details["turned_by"] == "driver"


def test_on_the_bench_nothing_else_is_in_the_way():
    slab = part("slab", box([-40, -40, 6.5], [40, 40, 9]))
    answer = check_fastening(blocked(slab, on_bench=True))
    assert found(answer, "screw:").verdict == Verdict.FITS


def bolted(thick=2.0, *others):
    """Two sheets with clearance holes, one on the other: a nut holds them."""
    upper = holed("upper", box([-30, -30, 0], [30, 30, thick]), [hole(*s, thick) for s in SQUARE])
    lower = holed("lower", box([-30, -30, -3], [30, 30, 0]), [hole(*s, -3, axis=-UP) for s in SQUARE])
    rested = Contact("rest", "upper", "lower", ("body",), ("body",))
    return world(upper, lower, *others, contacts=[rested], fastening=FasteningRule())


def test_two_clearance_holes_share_their_play_and_take_a_nut():
    answer = check_fastening(bolted())
    assert found(answer, "#fastening").required == pytest.approx(0.5)
    finding = found(answer, "screw:")
    # 2 + 3 + 3.2 (ISO 4032) + 0.7 = 8.9: 10.
    assert finding.details["screw"] == "M4 × 10 cap"
    assert finding.details["nut_held_by"] == "socket"
    assert answer.facts["screws"] == ({"screw": "M4 × 10 cap", "washers": 0, "nuts": 1, "count": 4},)


def test_a_nut_needs_its_room_and_a_hold():
    # Over and under: heads and nuts on either side would meet a slab.
    def slabs(gap):
        return [
            part(n, box([-200, -200, z], [200, 200, z + 3]))
            for n, z in (("over", 2 + 300), ("under", -6 - gap))
        ]

    # From either side: with the nut below there is none for it, turned over none for the head.
    near = found(check_fastening(bolted(2.0, *slabs(0.5))), "screw:")
    assert near.verdict == Verdict.FAILS
    assert "under.body is there" in near.sentence
    # 10 under the sheet: no socket, but a spanner from the side.
    assert found(check_fastening(bolted(2.0, *slabs(10))), "screw:").details["nut_held_by"] == "spanner"


def test_three_sheets_that_pair_but_take_no_straight_screw():
    """Each 0.45 off the next, less than the 0.5 two share; the outer two are 0.9 apart."""
    holes = [
        holed(
            f"s{k}",
            box([-30, -30, 2 * k], [30, 30, 2 * k + 2]),
            [hole(x + 0.45 * k, y, 2 * k + 2) for x, y in SQUARE],
        )
        for k in range(3)
    ]
    rests = [Contact("rest", f"s{k + 1}", f"s{k}", ("body",), ("body",)) for k in (0, 1)]
    answer = check_fastening(world(*holes, contacts=rests, fastening=FasteningRule()))
    assert [f.verdict for f in answer.findings if "screw:" not in f.id] == [Verdict.FITS, Verdict.FITS]
    # Best axis in the middle: the outer holes are 0.45 off, each has 0.25.
    assert "no straight line goes through all 3 holes, 0.2 mm lack" in found(answer, "screw:").sentence


def test_the_fins_are_a_warning_of_their_own():
    answer = check_fastening(
        load(("is: steel}]", "is: steel}], joints: [{between: fan, and: plate, length: 35 mm}]"))
    )
    fins = found(answer, "fins:")
    # 35 - 26 = 9 into 5.
    assert fins.verdict == Verdict.FAILS
    assert "goes 4.0 mm into the fins and water channels of radiator" in fins.sentence
    assert fins.mend == "use M3 × 30"


def test_between_two_lengths_that_do_not_do_both_are_told():
    answer = check_fastening(load(("thickness: 1,", "thickness: 3,")))
    # 28 under the head: 30 holds 2.0 of 3.0 (1 d, steel); 35 goes 7 into 5.
    assert found(answer, "screw:").sentence == (
        "M3 × 30 through fan and plate into radiator: only 2.0 mm of thread hold, 3.0 mm are wanted; "
        "M3 × 35 goes 2.0 mm into the fins and water channels of radiator (4 of 4)"
    )


def test_slots_let_a_rail_slide_and_washers_mend_it():
    text = """
parts:
  radiator: {model: radiator, with: {fans: 3}}
  rail: {model: radiator_rail, place: {rest: underside, on: radiator.fan_face, match: {mine: "fan_slots[1][1]", theirs: "radiator.fan_screws[1][1][1]"}}}
rules: {fastening: {materials: [{of: radiator, is: brass}]}}
"""
    answer = check_fastening(fitcheck.load(text, name="rail"))
    assert found(answer, "#fastening").verdict == Verdict.FITS
    # 2 under the head, 4.5 (1.5 d) of 5 wanted: 6 holds 4.0, 8 goes 6 in; on three washers of 0.5 it goes 4.5 in.
    finding = found(answer, "screw:")
    assert (finding.verdict, finding.measured) == (Verdict.FAILS, pytest.approx(4.0))
    assert finding.mend == "use M3 × 8 on 3 washers"
    # Slots of 10 x 3.4: 3.3 along, 0.2 across.
    for along, across, verdict in (
        (3.4, 0, "fits"),
        (3.6, 0, "fails"),
        (0, 0.19, "fits"),
        (0, 0.21, "fails"),
    ):
        rows = text.replace(
            'match: {mine: "fan_slots[1][1]", theirs: "radiator.fan_screws[1][1][1]"}',
            f"left: {along}, front: {across}",
        )
        assert found(check_fastening(fitcheck.load(rows, name="rail")), "#fastening").verdict == Verdict(
            verdict
        )


def test_fins_behind_a_thread_that_goes_through():
    """A strip tapped right through, 3 thick, 2 above the core of a radiator: 5 from where the thread begins."""
    sheet = holed("sheet", box([-30, -30, 0], [30, 30, 2]), [hole(*s, 2, 3.4) for s in SQUARE])
    strip = holed("strip", box([-30, -30, -3], [30, 30, 0]), [hole(*s, 0, 2.5, "M3") for s in SQUARE])
    core = part("radiator", box([-30, -30, -25], [30, 30, -5]))
    core = replace(
        core,
        shape=replace(core.shape, solids={"core": Solid("core", core.shape.solids["body"].pieces, "core")}),
    )
    rested = Contact("rest", "sheet", "strip", ("body",), ("body",))

    def ask(length):
        rule = FasteningRule.model_validate(
            {"joints": [{"between": "sheet", "and": "strip", "length": length, "into": "steel"}]}
        )
        return check_fastening(world(sheet, strip, core, contacts=[rested], fastening=rule))

    assert found(ask(6), "screw:").details["spare"] == pytest.approx(1.0)  # 6 - 2 = 4 of 5
    assert found(ask(6), "screw:").verdict == Verdict.FITS
    assert [f.verdict for f in ask(6).findings if "fins:" in f.id] == []
    # 8 - 2 = 6: one into the fins, and 3 of thread hold all the same.
    assert found(ask(8), "fins:").sentence.endswith(
        "it goes 1.0 mm into the fins and water channels of radiator"
    )
    # 7 ends where they begin: it may be longer than it says.
    assert found(ask(7), "fins:").verdict == Verdict.TIGHT


def test_the_bench_fits_by_hand():
    answer = check_fastening(load())
    assert {f.verdict for f in answer.findings} == {Verdict.FITS}
    finding = found(answer, "screw:")
    assert finding.details["screw"] == "M3 × 30 cap"
    assert (finding.details["grip"], finding.measured, finding.details["spare"]) == pytest.approx(
        (26, 4.0, 1.0)
    )
    assert finding.details["behind"] == "the fins and water channels of radiator"


@pytest.mark.parametrize("change", [bench.shifted, bench.turned, bench.mirrored_world, bench.permuted])
@pytest.mark.parametrize("text", [(), (("hole: 3.4", "hole: 3.0"),), (("thickness: 1,", "thickness: 3,"),)])
def test_the_same_in_a_mirror_elsewhere_and_in_another_order(change, text):
    def verdicts(one):
        answer = check_fastening(one)
        return sorted(
            (tuple(sorted(f.parts)), str(f.verdict), round(f.measured or 0, 6), f.details.get("screw")) for f in answer.findings
        )  # fmt: skip

    assert verdicts(change(load(*text))) == verdicts(load(*text))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("of: radiator", "of: radiatr", "write radiator"),
        ("is: steel", "is: stel", "steel"),
        ("is: steel}]", "is: steel}], joints: [{between: plate.gird, and: radiator}]", "write plate.grid"),
        ("is: steel}]", "is: steel}], joints: [{between: fan, and: plate, thread: M7}]", "M6"),
        ("is: steel}]", "is: steel}], washers: -1", "write 0"),
        ("is: steel}]", "is: steel}], ignore: [{between: fan, and: plat}]", "write plate"),
    ],
)
def test_mistakes_in_the_rule_stand_at_their_place(old, new, said):
    with pytest.raises(Mistakes) as wrong:
        fitcheck.load(scene((old, new)), name="bench")
    (item,) = wrong.value.items
    assert item.mark.line == 8
    assert said in str(item)


def test_named_holes_are_asked_whatever_rests_on_what():
    answer = check_fastening(
        load(
            (
                "is: steel}]",
                "is: steel}], found: no, joints: [{between: fan.screws, and: plate.grid, screws: no}]",
            )
        )
    )
    (finding,) = answer.findings
    assert (finding.rule, finding.verdict) == ("fastening.joints[1]", Verdict.FITS)
    unmet = check_fastening(load(("is: steel}]", "is: steel}], joints: [{between: fan, and: bracket}]")))
    assert "no hole of fan faces one of bracket" in found(unmet, "fan~bracket").sentence


def test_what_is_ignored_is_not_asked():
    answer = check_fastening(load(("is: steel}]", "is: steel}], ignore: [{between: fan, and: plate}]")))
    assert [f.parts for f in answer.findings if "fan.screws" in f.parts] == []


def test_what_a_picture_names_and_says():
    from fitcheck.outputs.pictures.choose import concerned
    from fitcheck.outputs.pictures.dimensions import figure

    moved = load(("upper_face, centre: both}", "upper_face, left: 43, front: 20}"))
    finding = found(check_fastening(moved), "fan.screws~plate.grid#fastening")
    assert {moved.parts[k].name for k in concerned(moved, finding)} == {"fan", "plate"}
    assert figure(finding) == "3.0 mm (at most 0.8)"  # (4.3 - 3) / 2 and (3.4 - 3) / 2
