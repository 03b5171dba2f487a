"""Support against contacts made by hand, and statics against worked examples and other ways to compute them."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from run_oracles import meshed
from scipy.optimize import brentq
from scipy.spatial import ConvexHull
from worlds import bodies_of, box, part, rod, room, world

from fitcheck.checks.support import check_support
from fitcheck.finding import Verdict
from fitcheck.parts.features import Hole, Shape
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.statics.weights import GRAVITY, Load, centre_of, on_anchors, tips_at, together
from fitcheck.world.world import Contact, Part

ROOM = (room("case.inside", [0, 0, 0], [100, 100, 100]),)


def case():
    return part(
        "case", box([0, 0, -2], [100, 100, 0]), box([-2, 0, -2], [0, 100, 100]), names=("floor", "left")
    )


def on(guest, host, solids=("body",), theirs=("floor",), **keys):
    return Contact("rest", guest, host, solids, theirs, **keys)


def ask(*parts, contacts=(), **rule):
    return check_support(world(*parts, contacts=contacts, rooms=ROOM, support=rule))


def drilled(made: Part, **holes: tuple) -> Part:
    found = {n: Hole(n, np.array(at, float), np.array(axis, float), 3.2) for n, (at, axis) in holes.items()}
    shape = Shape(solids=made.shape.solids, holes=found)
    return Part(made.name, made.group, made.model, made.pose, shape, host=made.host)


# What carries what.


def test_a_chain_of_rests_carries_all():
    base, top = (
        part("base", box([10, 10, 0], [90, 90, 20])),
        part("top", box([20, 20, 20], [60, 60, 50]), host="base"),
    )
    answer = ask(case(), base, top, contacts=[on("base", "case"), on("top", "base", theirs=("body",))])
    assert [(f.verdict, f.sentence) for f in answer.findings] == [
        (Verdict.FITS, "all 3 parts are carried by case")
    ]


@pytest.mark.parametrize("gap", [0.04, 0.06, 3.0, 40.0])
def test_a_support_that_ends_short_says_by_how_much(gap):
    post = part("post", box([40, 40, 0], [60, 60, 30]))
    tank = part("tank", box([20, 20, 30 + gap], [80, 80, 70 + gap]), host="post")
    lamp = part("lamp", rod([50, 50, 70 + gap], [50, 50, 90 + gap], 10), host="tank")
    contacts = [
        on("post", "case"),
        on("tank", "post", theirs=("body",)),
        on("lamp", "tank", theirs=("body",)),
    ]
    answer = ask(case(), post, tank, lamp, contacts=contacts)
    if gap < 0.05:
        assert answer.findings[0].verdict == Verdict.FITS
        return
    (finding,) = answer.findings
    assert finding.verdict == Verdict.FAILS
    assert finding.measured == pytest.approx(gap)
    assert finding.sentence == f"tank with 1 part on it hangs in the air: post ends {gap:.1f} mm short of it"
    assert finding.parts == ("tank", "post")
    assert finding.where[0][2] == pytest.approx(30 + gap / 2)


def test_what_nothing_is_meant_to_carry_names_what_is_nearest():
    thing = part("thing", box([20, 20, 12], [60, 60, 50]))
    (finding,) = ask(case(), thing).findings
    assert finding.sentence == (
        "thing hangs in the air: nothing that the scene means carries it; nearest is case.floor, 12.0 mm away below it"
    )
    assert finding.measured == pytest.approx(12)
    assert ask(case(), thing, held=["thing"]).findings[0].verdict == Verdict.FITS


def test_joints_carry_and_a_scene_without_a_case_needs_a_ground():
    pump = part("pump", box([0, 0, 0], [10, 10, 10]))
    fitting = part("fitting", rod([5, 5, 10], [5, 5, 20], 5), host="pump")
    joint = Contact("join", "fitting", "pump")
    lonely = world(pump, fitting, contacts=[joint], support={})
    with pytest.raises(ValueMistake, match="nothing stands by itself"):
        check_support(lonely)
    held = world(pump, fitting, contacts=[joint], support={"ground": ["pump"]})
    assert [f.verdict for f in check_support(held).findings] == [Verdict.FITS]


@pytest.mark.parametrize(
    ("screws", "said"), [(0, "no holes of theirs are in line"), (1, "by one screw"), (2, None)]
)
def test_what_leans_sideways_is_screwed(screws, said):
    plate = part("plate", box([0, 20, 20], [5, 80, 80]), host="case")
    spots = [(0, 30, 30), (0, 70, 70)][:screws]
    plate = drilled(plate, **{f"h{i}": (at, (-1, 0, 0)) for i, at in enumerate(spots)})
    wall = drilled(case(), **{f"w{i}": (at, (1, 0, 0)) for i, at in enumerate([(0, 30, 30.4), (0, 70, 70)])})
    found = ask(wall, plate, contacts=[on("plate", "case", theirs=("left",))]).findings
    loose = [f for f in found if f.verdict == Verdict.TIGHT]
    assert len(loose) == (said is not None)
    if loose:
        assert said in loose[0].sentence
        assert loose[0].measured == screws


def test_what_lies_on_something_needs_no_screw():
    assert all(
        f.verdict == Verdict.FITS
        for f in ask(case(), part("box", box([9, 9, 0], [20, 20, 9])), contacts=[on("box", "case")]).findings
    )


@pytest.mark.parametrize(("limit", "verdict"), [(70.1, Verdict.FITS), (69.9, Verdict.FAILS)])
def test_a_long_card_that_hangs_from_one_end(limit, verdict):
    """Held over 20 of its 90 mm: 70 reach out."""
    post = part("post", box([5, 40, 0], [25, 60, 50]))
    card = part("card", box([5, 40, 50], [95, 60, 52]), host="post")
    fan = part("fan", box([60, 40, 52], [90, 60, 70]), host="card")
    contacts = [on("post", "case"), on("card", "post", theirs=("body",)), on("fan", "card", theirs=("body",))]
    answer = ask(case(), post, card, fan, contacts=contacts, overhang=limit)
    (finding,) = [f for f in answer.findings if f.rule == "support.overhang"]
    assert (finding.verdict, finding.parts, finding.measured) == (verdict, ("card",), 70.0)
    assert answer.facts["reaches_out"]["card"] == 70.0


# Weights.


@given(st.lists(st.tuples(st.floats(0.1, 9), *[st.floats(-500, 500)] * 3), min_size=1, max_size=8))
def test_centre_of_several_masses(rows):
    found = together([Load(row[0], np.array(row[1:])) for row in rows])
    assert found.mass == pytest.approx(sum(row[0] for row in rows))
    assert found.centre == pytest.approx(
        np.average([row[1:] for row in rows], axis=0, weights=[row[0] for row in rows])
    )


@given(seed=st.integers(0, 10_000))
@settings(max_examples=40, deadline=None)
def test_centroids_of_triangles_against_another_library(seed):
    random = np.random.default_rng(seed)
    hull = trimesh.convex.convex_hull(random.uniform(-30, 30, (12, 3)))
    assert centre_of(bodies_of(meshed(hull)), [0]) == pytest.approx(hull.center_mass, abs=1e-6)


def test_centroid_of_a_body_of_several_pieces_by_hand():
    """A box of 1000 mm3 at x 5 and a cylinder of 250 pi at x 20."""
    solids = bodies_of(box([0, 0, 0], [10, 10, 10]), rod([15, 5, 5], [25, 5, 5], 10))
    x = (1000 * 5 + 250 * np.pi * 20) / (1000 + 250 * np.pi)
    assert centre_of(solids, [0, 1]) == pytest.approx([x, 5, 5])


def test_tipping_by_hand():
    """A centre 100 mm inside the nearer edge and 300 mm up: atan(1 / 3) = 18.43 degrees."""
    feet = np.array([[0, 0, 0], [400, 0, 0], [400, 200, 0], [0, 200, 0.0]])
    angle, edge = tips_at(Load(12.0, np.array([250.0, 100, 300])), feet)
    assert angle == pytest.approx(np.degrees(np.arctan(1 / 3)))
    assert edge[:, 1].tolist() in ([0, 0], [200, 200])
    over, _ = tips_at(Load(12.0, np.array([410.0, 100, 300])), feet)
    assert over < 0


@given(seed=st.integers(0, 10_000))
@settings(max_examples=60, deadline=None)
def test_tipping_against_turning_it(seed):
    """Turned about each edge of another library's outline until the centre stands above it."""
    random = np.random.default_rng(seed)
    feet = np.column_stack([random.uniform(-200, 200, (6, 2)), np.zeros(6)])
    outline = feet[ConvexHull(feet[:, :2]).vertices, :2]
    inside = outline.mean(axis=0)
    centre = np.array([*inside, random.uniform(50, 600)])

    def tilt(first, second):
        along = np.array([*(second - first), 0.0]) / np.linalg.norm(second - first)

        def past(angle):
            off = centre - [*first, 0]
            turned = (
                off * np.cos(angle)
                + np.cross(along, off) * np.sin(angle)
                + along * (along @ off) * (1 - np.cos(angle))
            )
            return float(turned[:2] @ [-along[1], along[0]])

        # Counter-clockwise outline: the inside lies to the left of each edge; it tips to the right.
        return np.degrees(abs(brentq(past, 0, np.pi / 2)))

    due = min(tilt(a, b) for a, b in zip(outline, np.roll(outline, -1, axis=0), strict=True))
    assert tips_at(Load(1.0, centre), feet)[0] == pytest.approx(due, abs=1e-6)


def test_pull_on_wall_anchors_by_hand():
    """10 kg, 95 mm off the wall, on two anchors 700 and two 40 mm above its lowest edge.

    M = 10 x 9.80665 x 95 = 9316.3 Nmm; sum of h^2 = 2 (700^2 + 40^2) = 983200 mm2: 6.633 and 0.379 N.
    """
    anchors = {"a": [40, 0, 700], "b": [580, 0, 700], "c": [40, 0, 40], "d": [580, 0, 40]}
    places = {name: np.array(at, float) for name, at in anchors.items()}
    pulls = on_anchors(Load(10.0, np.array([300.0, -95, 300])), places, np.array([0.0, -1, 0]), 0.0)
    assert pulls["a"] == pytest.approx(6.6329, abs=1e-3)
    assert pulls["c"] == pytest.approx(0.3790, abs=1e-3)
    # The moments balance.
    moment = sum(pulls[name] * anchors[name][2] for name in anchors)
    assert moment == pytest.approx(10 * GRAVITY * 95)


def test_the_rule_for_weights():
    feet = [
        part(f"foot[{k}]", rod([x, y, -12], [x, y, -2], 10), group=f"foot[{k}]")
        for k, (x, y) in enumerate([(10, 10), (90, 10), (10, 90), (90, 90)])
    ]
    tank = part("tank", box([40, 40, 0], [60, 60, 100]))
    rests = [on("tank", "case"), *(on(f"foot[{k}]", "case") for k in range(4))]
    masses = [{"of": "tank", "kg": 3.0}, {"of": "case", "kg": 1.0}]
    answer = ask(
        case(),
        tank,
        *feet,
        contacts=rests,
        masses=masses,
        stands_on=["foot"],
        tips_from=20.0,
        weighed=["tank"],
    )
    (finding,) = [f for f in answer.findings if f.rule == "support.stands_on"]
    solids = bodies_of(*(p for s in case().shape.solids.values() for p in s.pieces))
    whole = together([Load(3.0, np.array([50, 50, 50.0])), Load(1.0, centre_of(solids, [0, 1]))])
    due = np.degrees(np.arctan((whole.centre[0] - 5) / (whole.centre[2] + 12)))
    assert finding.measured == pytest.approx(due, abs=1e-6)
    assert finding.verdict == Verdict.FITS
    assert answer.facts["mass"] == 4.0
    assert answer.facts["trays"]["tank"]["mass"] == 3.0
    assert "is not known" in answer.not_checked[0]
    bare = ask(case(), tank, *feet, contacts=rests, stands_on=["foot"])
    assert bare.not_checked == ("support: nothing is said of masses, so tipping and anchors are not asked",)


def test_anchors_of_the_rule():
    wall = drilled(
        case(), **{f"anchor[{k}]": ((0, y, z), (-1, 0, 0)) for k, (y, z) in enumerate([(20, 90), (80, 90)])}
    )
    tank = part("tank", box([40, 40, 0], [60, 60, 60]))
    answer = ask(
        wall,
        tank,
        contacts=[on("tank", "case")],
        masses=[{"of": "tank", "kg": 5}],
        anchors=["case.anchor"],
        anchor_pull=10,
    )
    (finding,) = [f for f in answer.findings if f.rule == "support.anchors"]
    # W e / (n h): 5 kg, 50 mm off the wall, 92 mm above the lowest edge.
    assert finding.measured == pytest.approx(5 * GRAVITY * 50 / (2 * 92))
    assert finding.verdict == Verdict.FAILS
    assert "each bears 25 N down the wall" in finding.sentence
    with pytest.raises(ValueMistake, match="is no hole"):
        ask(wall, tank, masses=[{"of": "tank", "kg": 5}], anchors=["case.ancor"])
