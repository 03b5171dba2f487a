"""Causes and the report: one cause leads, what follows comes after it; names in rules."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from worlds import box, part, rod, room, world

from fitcheck.checks import CHECKS, RULE_TYPES, run_checks
from fitcheck.checks.causes import caused
from fitcheck.checks.hosts import carried, host_groups
from fitcheck.checks.names import choose, known_names
from fitcheck.finding import Finding, Verdict
from fitcheck.report import Report, check_world, exit_code, ordered
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.world.world import Contact, World, Zone


def machine(fans: int) -> World:
    """A radiator of some 120 mm fans in a plinth 640 mm deep, its drain behind it, a bracket beside."""
    end = 16 + fans * 120 + 40
    case = part(
        "case",
        box([0, 0, 0], [310, 640, 2]), box([0, 640, 0], [310, 642, 200]), box([0, -2, 0], [310, 0, 200]),
        names=("floor", "rear_panel", "front_panel"),
    )  # fmt: skip
    radiator = part(
        "radiator", box([95, 16, 2], [215, end, 56]), says={"front": 16.0}, host="case", claims="case.plinth"
    )
    drain = part(
        "drain", rod([155, end, 30], [155, end + 30, 30], 18), rod([155, end - 5, 30], [155, end, 30], 13),
        host="radiator", claims="case.plinth",
        keep_clear={"hand": box([120, end + 30, 5], [190, end + 60, 55])},
    )  # fmt: skip
    bracket = part("bracket", box([96, 570, 2], [116, 600, 40]), host="case", says={"rear": 40.0})
    contacts = (
        Contact("rest", "radiator", "case", ("body",), ("floor",)),
        Contact("rest", "bracket", "case", ("body",), ("floor",)),
        Contact("join", "drain", "radiator", ("body",), ("body",), reach="body_2",
                zone=Zone(np.array([155.0, end, 30]), np.array([0, -1.0, 0]), 6.7, 10.0)),
    )  # fmt: skip
    return world(
        case, radiator, drain, bracket,
        rooms=(room("case.plinth", [0, 0, 2], [310, 640, 200]),), contacts=contacts,
        clearance={"default": 2}, room=[{"for": "drain", "side": "rear", "of": "radiator", "at_least": 60}],
    )  # fmt: skip


def test_four_fans_fit():
    report = check_world(machine(4))
    assert report.verdict == Verdict.FITS
    assert exit_code(report.verdict) == 0


def test_a_radiator_too_long_is_one_cause():
    report = check_world(machine(5))
    assert report.verdict == Verdict.FAILS
    failing = [f for f in report.findings if f.verdict == Verdict.FAILS]
    leading = [f for f in failing if not f.follows]
    # 16 + 5 * 120 + 40 - 640 = 16 mm
    assert [f.sentence for f in leading] == ["radiator sticks 16.0 mm out of case.plinth at the rear"]
    assert report.findings[0] == leading[0]
    followers = {f.check: [g.parts for g in failing if g.check == f.check and g.follows] for f in failing}
    assert followers["containment"] == [("drain", "case.plinth")]
    assert set(followers["interference"]) == {("case", "radiator"), ("radiator", "bracket")}
    assert followers["room"] == [("drain", "radiator")]
    assert all(f.follows == leading[0].id for f in failing[1:])


def test_what_does_not_come_of_it_leads_for_itself():
    parts = machine(5).parts
    cube = part("cube", box([20, 20, 2], [60, 60, 40]))
    other = part("other", box([50, 20, 2], [90, 60, 40]))
    base = machine(5)
    scene = World("test", (*parts, cube, other), base.contacts, base.compartments, {})
    leading = [f for f in run_checks(scene).findings if f.verdict == Verdict.FAILS and not f.follows]
    assert [(f.check, f.parts) for f in leading] == [
        ("containment", ("radiator", "case.plinth")), ("interference", ("cube", "other")),
    ]  # fmt: skip


def test_at_the_other_end_it_is_not_explained():
    base = machine(5)
    # A block at the radiator's front end has nothing to do with the wall at the rear.
    block = part("block", box([100, 10, 10], [120, 30, 30]))
    scene = World("test", (*base.parts, block), base.contacts, base.compartments, {})
    leading = [f.parts for f in run_checks(scene).findings if f.verdict == Verdict.FAILS and not f.follows]
    assert ("radiator", "block") in leading


def test_the_deepest_of_several_interferences_leads():
    wall = part("wall", box([100, 0, 0], [110, 100, 100]))
    fans = [
        part(f"row.fan[{i}]", box([80, 30 * i, 0], [100 + d, 30 * i + 25, 25]), group="row", host="shelf")
        for i, d in ((0, 2.0), (1, 4.0), (2, 3.0))
    ]
    found = run_checks(world(wall, *fans, clearance={"default": 5})).findings
    overlaps = [f for f in found if f.check == "interference"]
    assert [f.measured for f in overlaps] == [pytest.approx(2), pytest.approx(4), pytest.approx(3)]
    assert [f.follows for f in overlaps] == [overlaps[1].id, "", overlaps[1].id]


def test_interferences_at_opposite_sides_both_lead():
    walls = [part(n, box([x, 0, 0], [x + 10, 100, 100])) for n, x in (("near", 0), ("far", 100))]
    wide = part("wide", box([8, 40, 40], [103, 60, 60]), says={"left": 8.0})
    overlaps = run_checks(world(*walls, wide)).findings
    assert [(f.parts, f.measured, f.follows) for f in overlaps] == [
        (("near", "wide"), pytest.approx(2), ""), (("far", "wide"), pytest.approx(3), ""),
    ]  # fmt: skip


def test_interferences_at_one_side_have_one_cause():
    walls = [
        part(n, box([100 + x, y, 0], [110, y + 20, 100])) for n, x, y in (("near", 2, 30), ("far", 0, 60))
    ]
    wide = part("wide", box([8, 0, 40], [103, 90, 60]), says={"left": 8.0})
    overlaps = run_checks(world(*walls, wide)).findings
    assert [f.measured for f in overlaps] == [pytest.approx(1), pytest.approx(3)]
    assert [f.follows for f in overlaps] == [overlaps[1].id, ""]


def test_a_room_and_a_gap_on_the_side_that_overlaps_follow():
    base = machine(5)
    radiator, drain = (replace(p, claims="") for p in base.parts[1:3])
    scene = World(
        "test", (base.parts[0], radiator, drain), base.contacts, base.compartments,
        {"room": base.rules["room"], "gaps": [{"part": "radiator", "side": "top", "at_least": 5}]},
    )  # fmt: skip
    lead, *others = [f for f in run_checks(scene).findings if f.verdict == Verdict.FAILS]
    assert (lead.check, lead.parts) == ("interference", ("case", "radiator"))
    assert [(f.check, f.follows) for f in others] == [("room", lead.id), ("gaps", lead.id)]


def test_a_clearance_of_two_that_interfere_follows():
    a, b = part("a", box([0, 0, 0], [10, 10, 10])), part("b", box([8, 0, 0], [20, 10, 10]))
    found = run_checks(
        world(a, b, clearance={"pairs": [{"between": "a", "and": "b", "at_least": 3}]})
    ).findings
    lead, follower = found
    assert (lead.check, follower.check) == ("interference", "clearance")
    assert follower.follows == lead.id


def finding(check: str, parts: tuple[str, ...], verdict: Verdict, **keys) -> Finding:
    return Finding(check, parts, verdict, f"{check} {parts}", **keys)


def test_what_fits_follows_nothing_and_order_is_kept():
    scene = machine(4)
    lead = finding("containment", ("radiator", "case.plinth"), Verdict.FAILS, details={"out": {"rear": 5.0}})
    fits = finding("containment", ("drain", "case.plinth"), Verdict.FITS)
    out = finding("containment", ("drain", "case.plinth"), Verdict.FAILS, details={"out": {"rear": 9.0}})
    aside = finding("containment", ("drain", "case.plinth"), Verdict.FAILS, details={"out": {"left": 9.0}})
    assert [f.follows for f in caused(scene, [fits, lead])] == ["", ""]
    assert [f.follows for f in caused(scene, [out, lead])] == [lead.id, ""]
    assert [f.follows for f in caused(scene, [aside, lead])] == ["", ""]


def test_order_of_a_report():
    tight = finding("clearance", ("a", "b"), Verdict.TIGHT, measured=2.0, required=2.0)
    little = finding("clearance", ("a", "c"), Verdict.FAILS, measured=1.0, required=2.0)
    much = finding("clearance", ("b", "c"), Verdict.FAILS, measured=0.0, required=2.0)
    unknown = finding("interference", ("a", "d"), Verdict.UNKNOWN)
    lead = finding("containment", ("d", "x"), Verdict.FAILS, measured=1.0, required=0.0)
    after = finding("interference", ("d", "w"), Verdict.FAILS, measured=9.0).following(lead.id)
    fits = finding("room", ("a",), Verdict.FITS)
    assert ordered([fits, tight, little, after, much, unknown, lead]) == (
        lead, after, much, little, unknown, tight, fits,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("verdict", "plain", "strict"),
    [(Verdict.FITS, 0, 0), (Verdict.TIGHT, 0, 1), (Verdict.UNKNOWN, 3, 1), (Verdict.FAILS, 1, 1)],
)
def test_exit_codes(verdict, plain, strict):
    assert (exit_code(verdict), exit_code(verdict, strict=True)) == (plain, strict)


def test_the_same_world_gives_the_same_report():
    def run() -> Report:
        return check_world(machine(5))

    assert run() == run()


def test_the_table_of_checks():
    assert [c.name for c in CHECKS] == [
        "containment", "interference", "room", "clearance", "run", "loop", "drainage", "keep_clear",
        "fastening", "edges", "ventilation", "sight", "gaps", "empty_boxes", "removal", "assembly_order", "support",
        "access", "tolerance",
    ]  # fmt: skip
    assert set(RULE_TYPES) == {
        "room", "clearance", "keep_clear", "fastening", "edges", "gaps", "empty_boxes", "removal",
        "assembly_order", "support", "access", "ventilation", "sight", "tolerance",
    }  # fmt: skip
    for check in CHECKS:
        assert check.run.__name__ == f"check_{check.name}"
        assert check.run.__module__ == f"fitcheck.checks.{check.name}"
        assert check.question.endswith("?")


def test_an_empty_world_is_no_error():
    assert check_world(World("nothing", ())).verdict == Verdict.FITS


def assembly() -> World:
    fans = [part(f"stack.fan[{i}]", box([i, 0, 0], [i + 1, 1, 1]), group="stack") for i in (1, 2)]
    drives = [part(f"drive[{i}]", box([i, 5, 0], [i + 1, 6, 1])) for i in (1, 2)]
    case = part("case", box([0, 0, -1], [9, 9, 0]), box([0, 0, 5], [9, 9, 6]), names=("floor", "side_panel"))
    return world(case, part("stack", box([0, 8, 0], [1, 9, 1]), group="stack"), *fans, *drives)


@pytest.mark.parametrize(
    ("said", "parts"),
    [
        ("case", ["case"]),
        ("stack", ["stack", "stack.fan[1]", "stack.fan[2]"]),
        ("stack.fan[2]", ["stack.fan[2]"]),
        ("stack.fan", ["stack.fan[1]", "stack.fan[2]"]),
        ("drive", ["drive[1]", "drive[2]"]),
        ("drive*", ["drive[1]", "drive[2]"]),
        ("drive[2]", ["drive[2]"]),
        ("*", ["case", "stack", "stack.fan[1]", "stack.fan[2]", "drive[1]", "drive[2]"]),
    ],
)
def test_names_of_parts(said, parts):
    chosen = choose(assembly(), said)
    assert list(chosen.solids) == parts
    assert chosen.whole == set(parts)


def test_names_of_solids():
    chosen = choose(assembly(), "case.side_panel")
    assert chosen.solids == {"case": ("side_panel",)}
    assert not chosen.whole
    assert chosen.holds("case", "side_panel")
    assert not chosen.holds("case", "floor")
    assert choose(assembly(), "case.*").solids == {"case": ("floor", "side_panel")}


@pytest.mark.parametrize(
    ("said", "mend"), [("cage", "write case"), ("case.side_pane", "write case.side_panel")]
)
def test_unknown_names(said, mend):
    with pytest.raises(ValueMistake) as caught:
        choose(assembly(), said)
    assert caught.value.mend == mend
    assert mend.removeprefix("write ") in known_names(assembly())


def test_what_carries_what():
    scene = machine(4)
    assert host_groups(scene) == {"radiator": "case", "drain": "radiator", "bracket": "case"}
    assert carried(scene)["radiator"] == ("radiator", "drain")
    assert carried(scene)["case"] == ("case", "radiator", "drain", "bracket")


def test_without_hosts_the_contacts_say_it():
    bare = [part(n, box([i, 0, 0], [i + 1, 1, 1])) for i, n in enumerate(("tank", "pump", "shelf"))]
    contacts = (Contact("rest", "tank", "shelf"), Contact("join", "tank", "pump"))
    assert host_groups(world(*bare, contacts=contacts)) == {"tank": "shelf", "pump": "tank"}
