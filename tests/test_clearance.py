"""Clearance against arithmetic on boxes, and shifts that are carried out."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from worlds import box, mesh, part, rod, world

from fitcheck.checks.clearance import check_clearance
from fitcheck.finding import Verdict
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.world.world import Contact


def ask(*parts, contacts=(), **rule):
    return check_clearance(world(*parts, contacts=contacts, clearance=rule))


def pair(gap: float):
    return part("a", box([0, 0, 0], [20, 20, 20])), part("b", box([20 + gap, 0, 0], [40, 20, 20]))


@pytest.mark.parametrize(
    ("gap", "verdict"),
    [
        (5, None),
        (3, None),  # demand and margin
        (2.999, Verdict.TIGHT),
        (2, Verdict.TIGHT),  # just the demand
        (1.999, Verdict.FAILS),
        (0, Verdict.FAILS),  # touching without a contact
    ],
)
def test_the_demand_and_its_margin(gap, verdict):
    found = ask(*pair(gap), default=2, margin=1).findings
    assert [f.verdict for f in found] == ([] if verdict is None else [verdict])
    if found:
        assert found[0].measured == pytest.approx(gap)
        assert found[0].required == 2


@pytest.mark.parametrize(
    ("gap", "said"),
    [
        (1.5, "a.body and b.body are 1.5 mm apart, 2.0 mm are demanded"),
        (1.999, "a.body and b.body are 1.999 mm apart, 2.0 mm are demanded"),
        (0, "a.body and b.body touch, 2.0 mm are demanded"),
        (2.25, "a.body and b.body are 2.2 mm apart, 2.0 mm are demanded: within the margin"),
    ],
)
def test_sentences(gap, said):
    found = ask(*pair(gap), default=2, margin=1).findings
    assert found[0].sentence == said


def test_says_where_and_which_rule():
    (finding,) = ask(*pair(1.5), default=2).findings
    assert [point[0] for point in finding.where] == [20.0, 21.5]
    assert finding.rule == "clearance.default"
    assert finding.rule_line == 10
    assert finding.parts == ("a", "b")


def test_distance_across_corners():
    # 3, 4 and 12 mm apart along x, y and z: 13 mm.
    low = part("a", box([0, 0, 0], [10, 10, 10]))
    high = part("b", box([13, 14, 22], [20, 20, 30]))
    (finding,) = ask(low, high, default=13.5).findings
    assert finding.measured == pytest.approx(13.0)
    assert finding.where == ((10.0, 10.0, 10.0), (13.0, 14.0, 22.0))


def test_without_a_rule_nothing_is_demanded_and_the_nearest_are_facts():
    answer = check_clearance(world(*pair(1.5), part("c", box([43, 0, 0], [50, 20, 20]))))
    assert answer.findings == ()
    assert answer.facts["nearest"] == (
        {"between": "a.body", "and": "b.body", "distance": 1.5},
        {"between": "b.body", "and": "c.body", "distance": 3.0},
    )


def test_a_contact_exempts_its_solids_only():
    case = part("case", box([0, 0, -2], [99, 99, 0]), box([60, 0, 0], [62, 99, 99]), names=("floor", "wall"))
    drive = part(
        "drive", box([10, 10, 0], [59, 50, 20]), box([10, 10, 1], [20, 20, 30]), names=("frame", "plug")
    )
    rest = Contact("rest", "drive", "case", ("frame",), ("floor",))
    (finding,) = ask(case, drive, contacts=[rest], default=2).findings
    # Two pairs are too near: frame to wall and plug to floor, both 1 mm; the frame rests on the floor.
    assert finding.measured == pytest.approx(1.0)
    assert finding.details["solid_pairs"] == 2
    assert ask(case, drive, contacts=[rest], default=1).findings == ()


def test_interfering_parts_are_not_repeated_unless_a_rule_names_them():
    assert ask(*pair(-3), default=2).findings == ()
    (finding,) = ask(*pair(-3), default=2, pairs=[{"between": "a", "and": "b", "at_least": 1}]).findings
    assert finding.verdict == Verdict.FAILS
    assert finding.measured == 0.0
    assert finding.sentence == "a.body and b.body interfere, 1.0 mm apart are demanded"


def test_a_named_pair_always_has_a_finding_and_replaces_the_default():
    rule = [{"between": "a", "and": "b", "at_least": 1}]
    (finding,) = ask(*pair(1.5), default=2, pairs=rule).findings
    assert finding.verdict == Verdict.FITS
    assert finding.rule == "clearance.pairs[1]"
    assert finding.sentence == "a.body and b.body are 1.5 mm apart, at least 1.0 mm as demanded"
    (far,) = ask(*pair(15), pairs=rule).findings
    assert far.measured == pytest.approx(15)


def test_a_pattern_gives_a_finding_for_every_part_too_near():
    drives = [part(f"drive[{i}]", box([i * 20, 0, 10 + i], [i * 20 + 15, 10, 30])) for i in (1, 2, 3)]
    lid = part("lid", box([0, 0, 0], [99, 99, 9]))
    # The drives are 2, 3 and 4 mm above the lid.
    found = ask(*drives, lid, pairs=[{"between": "drive*", "and": "lid", "at_least": 3.5}]).findings
    assert [(f.parts, f.measured) for f in found] == [
        (("drive[1]", "lid"), pytest.approx(2)), (("drive[2]", "lid"), pytest.approx(3)),
    ]  # fmt: skip
    (nearest,) = ask(*drives, lid, pairs=[{"between": "drive", "and": "lid", "at_least": 1}]).findings
    assert nearest.parts == ("drive[1]", "lid")


def test_the_nearest_of_a_pattern_is_not_the_nearest_by_its_bounds():
    post = part("post", rod([0, 0, 0], [0, 0, 20], 100))
    # Bounds of the first overlap those of the post, but it lies 40 sqrt(2) - 50 = 6.57 mm off its rim.
    drives = [
        part("drive[1]", box([40, 40, 0], [60, 60, 20])),
        part("drive[2]", box([53, -5, 0], [70, 5, 20])),
    ]
    (finding,) = ask(post, *drives, pairs=[{"between": "drive", "and": "post", "at_least": 1}]).findings
    assert finding.parts == ("post", "drive[2]")
    assert finding.measured == pytest.approx(3, abs=1e-6)


def test_a_solid_can_be_named():
    case = part("case", box([30, 0, 0], [32, 50, 50]), box([0, -3, 0], [32, -1, 50]), names=("side", "front"))
    card = part("gpu", box([0, 0, 0], [24, 40, 10]))
    found = ask(case, card, pairs=[{"between": "gpu", "and": "case.side", "at_least": 8}]).findings
    assert [f.measured for f in found] == [pytest.approx(6)]


def test_the_default_is_not_asked_within_an_assembly_and_that_is_said():
    fans = [
        part(f"row.fan[{i}]", box([i * 120, 0, 0], [i * 120 + 120, 120, 25]), group="row") for i in (0, 1)
    ]
    answer = ask(*fans, default=2)
    assert answer.findings == ()
    assert answer.not_checked == ("clearance: the default is not asked between parts of one assembly (row)",)
    named = ask(*fans, pairs=[{"between": "row.fan[0]", "and": "row.fan[1]", "at_least": 1}]).findings
    assert [f.measured for f in named] == [0.0]


def test_ignored_pairs():
    assert ask(*pair(1), default=2, ignore=[{"between": "a", "and": "b"}]).findings == ()


def test_unknown_name_says_the_nearest():
    with pytest.raises(ValueMistake, match="named `gup`") as caught:
        ask(part("gpu", box([0, 0, 0], [1, 1, 1])), pairs=[{"between": "gup", "and": "gpu", "at_least": 1}])
    assert caught.value.mend == "write gpu"


def test_a_mesh_drawn_with_an_error_is_tight_within_it():
    faces = [[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1],
             [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3]]  # fmt: skip
    piece = mesh([[x, y, z] for x in (0, 20) for y in (0, 20) for z in (0, 20)], faces)
    drawn = part("scan", piece)
    object.__setattr__(drawn.shape.solids["body"], "error", 0.05)
    near = part("b", box([22.03, 0, 0], [40, 20, 20]))
    (finding,) = ask(drawn, near, default=2).findings
    assert finding.verdict == Verdict.TIGHT


def test_lying_cylinders():
    # Parallel axes 3, 4 apart scaled by 10: 50 mm between axes, radii 10 and 15: 25 mm.
    a, b = part("a", rod([0, 0, 0], [100, 0, 0], 20)), part("b", rod([0, 30, 40], [100, 30, 40], 30))
    (finding,) = ask(a, b, default=26).findings
    assert finding.measured == pytest.approx(25, abs=1e-6)


whole = st.integers(-8, 8)
spot = st.tuples(whole, whole, whole)
extent = st.tuples(*[st.integers(1, 6)] * 3)


def apart(a, b):
    gaps = np.maximum(np.maximum(a[0] - b[1], b[0] - a[1]), 0)
    return float(np.sqrt((gaps**2).sum()))


def measured_is_the_largest_demand_that_is_met(low, size, other):
    a, b = np.array([[0, 0, 0], other], float), np.array([low, np.add(low, size)], float)
    parts = part("a", box(*a)), part("b", box(*b))
    expected = apart(a, b)
    if expected == 0:
        return
    (finding,) = ask(*parts, default=expected + 1).findings
    assert finding.measured == pytest.approx(expected, abs=1e-9)
    assert ask(*parts, default=expected).findings == ()
    assert [f.verdict for f in ask(*parts, default=expected + 1e-3).findings] == [Verdict.FAILS]
    p, q = np.array(finding.where)
    assert np.linalg.norm(p - q) == pytest.approx(expected)
    assert (p >= a[0] - 1e-6).all() and (p <= a[1] + 1e-6).all()
    assert (q >= b[0] - 1e-6).all() and (q <= b[1] + 1e-6).all()


@settings(derandomize=True, deadline=None, max_examples=150)
@given(low=spot, size=extent, other=extent)
def test_measured_is_the_largest_demand_that_is_met(low, size, other):
    measured_is_the_largest_demand_that_is_met(low, size, other)


@pytest.mark.long
@settings(derandomize=True, deadline=None, max_examples=5000)
@given(low=spot, size=extent, other=extent)
def test_measured_is_the_largest_demand_that_is_met_at_length(low, size, other):
    measured_is_the_largest_demand_that_is_met(low, size, other)


def test_sixty_parts_against_all_pairs():
    chance = np.random.default_rng(11)
    spots = np.stack(np.meshgrid(*[np.arange(4)] * 3), -1).reshape(-1, 3)[:60] * 50.0
    low = spots + chance.integers(0, 6, (60, 3))
    boxes = np.stack([low, low + chance.integers(30, 44, (60, 3))], axis=1)
    found = ask(*(part(f"p{i}", box(*b)) for i, b in enumerate(boxes)), default=8, margin=2).findings
    expected = {
        (f"p{i}", f"p{j}"): apart(boxes[i], boxes[j])
        for i, j in combinations(range(60), 2)
        if apart(boxes[i], boxes[j]) < 10
    }
    assert len(expected) > 20
    assert {f.parts: f.measured for f in found} == pytest.approx(expected)
    assert all((f.verdict == Verdict.FAILS) == (expected[f.parts] < 8) for f in found)
