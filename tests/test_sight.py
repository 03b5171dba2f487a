"""What is seen of a part, against projections worked out by hand and lines asked one by one."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ray_oracles import first, random_piece
from worlds import bodies_of, box, mesh, part, rod, world

import fitcheck
from fitcheck.checks.sight import check_sight
from fitcheck.finding import Verdict
from fitcheck.parts.features import Shape
from fitcheck.parts.solids import Solid
from fitcheck.rays.lines import stops
from fitcheck.scene.mistakes import Mistakes
from fitcheck.sight.eyes import places, worst
from fitcheck.sight.seen import seen
from fitcheck.sight.surfaces import LIFT, spread
from fitcheck.world.frames import IDENTITY, Frame, turn_about
from fitcheck.world.world import Part

# Far on the axis in front of a plate: rays are as good as parallel.
FAR = [0, -1e7, 0]


def ask(*parts, eye=FAR, **rule):
    eyes = {"eye": eye if isinstance(eye, dict) else {"at": eye}}
    return check_sight(world(*parts, sight={"eyes": eyes, **rule})).findings


def share(*parts, of="thing", eye=FAR):
    (finding,) = ask(*parts, eye=eye, shown=[{"part": of, "at_least": 0}])
    return finding.measured


def plate(name, low, high, y):
    return part(name, box([low[0], y, low[1]], [high[0], y + 0.001, high[1]]))


def ball(radius: float, middle=(0, 0, 0), rings: int = 60):
    """A mesh of a sphere, its corners on it."""
    up = np.linspace(0, pi, rings + 1)
    turn = np.linspace(0, 2 * pi, 2 * rings, endpoint=False)
    points = [[np.sin(u) * np.cos(t), np.sin(u) * np.sin(t), np.cos(u)] for u in up for t in turn]
    faces = []
    for i in range(rings):
        for j in range(2 * rings):
            a, b = i * 2 * rings + j, i * 2 * rings + (j + 1) % (2 * rings)
            c, d = a + 2 * rings, b + 2 * rings
            faces += [[a, c, d], [a, d, b]]
    return mesh(radius * np.array(points) + np.array(middle), faces)


def clear(name, piece):
    return Part(
        name, name, "glass", IDENTITY, Shape(solids={"pane": Solid("pane", (piece,), transparent=True)})
    )


def test_a_plate_behind_an_equal_one_is_hidden():
    assert share(plate("thing", [0, 0], [100, 50], 50), plate("screen", [0, 0], [100, 50], 0)) == 0


@pytest.mark.parametrize("covered", [0, 0.25, 0.5, 0.9])
def test_a_plate_covered_in_part(covered):
    # Of a thin plate one side of two faces the eye.
    screen = plate("screen", [0, 0], [100 * covered + 1e-6, 50], 0)
    assert share(plate("thing", [0, 0], [100, 50], 50), screen) == pytest.approx((1 - covered) / 2, abs=2e-3)


def test_a_near_eye_sees_by_projection():
    # From 100 before a screen that ends at x 0, the plate 100 behind it is seen where the line through the
    # screen's edge passes: an eye at x -40 sees from x 40 on: 60 of 100 of the front.
    screen = plate("screen", [-500, -500], [0, 500], 0)
    found = share(plate("thing", [0, -50], [100, 50], 100), screen, eye=[-40, -100, 0])
    assert found == pytest.approx(0.6 / 2, abs=2e-3)


@pytest.mark.parametrize(("far", "expected"), [(1e7, 0.5), (100, 0.25), (200, 0.375)])
def test_a_sphere(far, expected):
    # The cap that faces an eye at d from the middle: (1 - r/d)/2 of the sphere.
    assert share(part("thing", ball(50)), eye=[far, 0, 0]) == pytest.approx(expected, abs=4e-3)


def test_a_box_shows_as_many_sides_as_face_the_eye():
    thing = part("thing", box([0, 0, 0], [10, 20, 30]))
    # 10 x 30 of 2200 in front; from the front left as well 20 x 30; from above too 10 x 20.
    for eye, sides in (
        ([5, -1e7, 15], 300), ([-1e7, -1e7, 15], 900), ([-1e7, -1e7, 1e7], 1100),
    ):  # fmt: skip
        assert share(thing, eye=eye) == pytest.approx(sides / 2200, abs=2e-3)


def test_a_rod_end_on_and_from_the_side():
    # r 10, 60 long: ends 2 x 100 pi, side 1200 pi: of 1400 pi.
    thing = part("thing", rod([0, 0, 0], [0, 0, 60], 20))
    assert share(thing, eye=[0, 0, 1e7]) == pytest.approx(100 / 1400, abs=2e-3)
    assert share(thing, eye=[1e7, 0, 30]) == pytest.approx(600 / 1400, abs=2e-3)


def test_glass_is_seen_through_and_a_panel_is_not():
    pane = box([-10, 0, -10], [110, 4, 60])
    thing = plate("thing", [0, 0], [100, 50], 50)
    assert share(thing, clear("window", pane)) == pytest.approx(0.5)
    assert share(thing, part("panel", pane)) == 0


def test_what_lies_inside_the_part_itself_is_no_surface():
    # A rod of r 10 through a box of 40: of its 240 the 40 inside the box are no surface, nor two discs of the box.
    whole = part("thing", box([0, 0, 0], [40, 40, 40]), rod([20, 20, -100], [20, 20, 140], 20))
    surface = 6 * 1600 - 2 * 100 * pi + 200 * 20 * pi + 2 * 100 * pi
    expected = (40 * 40 + 200 * 10 * pi) / surface
    assert share(whole, eye=[20, -1e7, 20]) == pytest.approx(expected, abs=4e-3)


@pytest.mark.parametrize(
    ("rule", "verdict"),
    [
        ({"hidden": [{"part": "thing", "at_most": 0.3}]}, Verdict.FITS),
        ({"hidden": [{"part": "thing", "at_most": 0.3, "margin": 0.1}]}, Verdict.TIGHT),
        ({"hidden": [{"part": "thing", "at_most": 0.2}]}, Verdict.FAILS),
        ({"hidden": [{"part": "thing"}]}, Verdict.FAILS),
        ({"shown": [{"part": "thing", "at_least": 0.2}]}, Verdict.FITS),
        ({"shown": [{"part": "thing", "at_least": 0.2, "margin": 0.1}]}, Verdict.TIGHT),
        ({"shown": [{"part": "thing", "at_least": 0.3}]}, Verdict.FAILS),
    ],
)
def test_verdicts_about_a_quarter(rule, verdict):
    found = ask(plate("thing", [0, 0], [100, 50], 50), plate("screen", [0, 0], [50, 50], 0), **rule)
    assert [f.verdict for f in found] == [verdict]
    assert found[0].measured == pytest.approx(0.25, abs=2e-3)


def test_sentences_and_places():
    parts = plate("thing", [0, 0], [100, 50], 50), plate("screen", [0, 0], [50, 50], 0)
    hidden, shown = ask(*parts, hidden=[{"part": "thing"}], shown=[{"part": "thing", "at_least": 0.4}])
    assert hidden.sentence == "25.0 % of thing is seen from eye, none may be"
    assert shown.sentence == (
        "25.0 % of thing is seen from eye, 40.0 % at least are demanded; before it stand screen.body (25.0 %)"
    )
    # What is seen lies right of the screen, on the front.
    x, y, _ = hidden.where[0]
    assert 50 < x < 100 and y == pytest.approx(50 - LIFT)
    assert (hidden.rule, shown.rule) == ("sight.hidden[1]", "sight.shown[1]")
    assert hidden.id == "sight:thing~eye#sight.hidden[1]"
    (unseen,) = ask(plate("thing", [0, 0], [50, 50], 50), parts[1], hidden=[{"part": "thing"}])
    assert unseen.sentence == "none of 1000 points of thing is seen from eye"


def test_the_worst_eye_of_a_box_counts():
    # From the left end of the box, 200 left of the screen and 100 before it, the line by the screen's left edge
    # comes to x 100 at the plate 50 behind it: all of its front is seen. From the middle none is.
    parts = plate("thing", [0, 0], [100, 50], 50), plate("screen", [0, -500], [100, 500], 0)
    row = {"low": [-200, -100, 25], "high": [300, -100, 25]}
    hidden, shown = ask(
        *parts, eye=row, hidden=[{"part": "thing"}], shown=[{"part": "thing", "at_least": 0.01}]
    )
    assert hidden.measured == pytest.approx(0.5, abs=2e-3)
    assert hidden.details["eye"][0] in (-200, 300)
    assert shown.measured == 0
    assert "(least from x 50, y -100, z 25)" in shown.sentence


def test_the_worst_place_between_those_tried_is_found():
    # Highest at x 137 of a box from 0 to 1000: places are tried at 0, 500, 1000, then nearer and nearer.
    box_ = np.array([[0, 0, 0], [1000, 0, 0]], float)
    eye, most = worst(box_, lambda at: -abs(at[0] - 137))
    assert abs(eye[0] - 137) <= 63 and most == -abs(eye[0] - 137)
    assert len(places(box_)) == 3 and len(places(np.array([[0, 0, 0], [1, 1, 1]]))) == 27


def test_each_part_of_a_pattern_for_itself_and_an_assembly_as_one():
    drives = [part(f"drive[{i}]", box([30 * i, 50, 0], [30 * i + 20, 60, 10])) for i in (1, 2)]
    fans = [part(f"stack.fan[{i}]", box([30 * i, 50, 40], [30 * i + 20, 60, 50])) for i in (1, 2)]
    found = ask(*drives, *fans, hidden=[{"part": "drive"}, {"part": "stack"}, {"part": "stack.fan[2]"}])
    assert [f.parts[0] for f in found] == ["drive[1]", "drive[2]", "stack", "stack.fan[2]"]


def test_a_part_without_solids_is_unknown():
    nothing = Part("lead", "lead", "cable", IDENTITY, Shape())
    (finding,) = ask(nothing, part("thing", box([0, 0, 0], [1, 1, 1])), hidden=[{"part": "lead"}])
    assert finding.verdict == Verdict.UNKNOWN


def test_without_a_rule_nothing_is_asked():
    assert check_sight(world(part("thing", box([0, 0, 0], [1, 1, 1])))).findings == ()


SCENE = """
parts: {a: {model: foot}, b: {model: foot, place: {at: [100, 0, 0]}}}
rules:
  sight:
    eyes: {visitor: {at: [0, -500, 10]}, crowd: {low: [0, -900, 0], high: [10, -500, 10]}}
"""


@pytest.mark.parametrize(
    ("more", "place", "said"),
    [
        ("hidden: [{part: c}]", "6:21", "there is no part `c`"),
        ("hidden: [{part: a, from: visitors}]", "6:30", "there are no eyes named `visitors` (there are visitor, crowd); write visitor"),
        ("shown: [{part: a, at_least: 1.5}]", "6:33", "1.5 is no share from 0 to 1"),
        ("shown: [{part: a}]", "6:", "at_least"),
        ("hidden: [{part: a, at_most: 3 mm}]", "6:", "at_most"),
    ],
)  # fmt: skip
def test_mistakes_are_said_at_their_place(more, place, said):
    with pytest.raises(Mistakes) as told:
        fitcheck.load(SCENE + f"    {more}\n", name="s")
    assert f"s:{place}" in str(told.value) and said in str(told.value)


@pytest.mark.parametrize(
    ("eyes", "said"),
    [
        ("{v: {at: [0, 0, 0], low: [0, 0, 0]}}", "is neither a place nor a box"),
        ("{v: {low: [0, 0, 0]}}", "is neither a place nor a box"),
        ("{v: {low: [0, 5, 0], high: [9, 0, 9]}}", "does not lie below high"),
        ("{}", "names no eye"),
    ],
)
def test_eyes_that_are_nowhere(eyes, said):
    with pytest.raises(Mistakes, match=said):
        fitcheck.load(f"parts: {{a: {{model: foot}}}}\nrules: {{sight: {{eyes: {eyes}}}}}\n", name="s")


def test_a_scene_is_asked():
    report = fitcheck.check(SCENE + "    hidden: [{part: b, from: visitor, at_most: 0.9}]\n", name="s")
    (finding,) = [f for f in report.findings if f.check == "sight"]
    assert finding.verdict == Verdict.FITS and 0.2 < finding.measured < 0.6
    assert set(report.facts["sight"]["crowd"]) == {"a", "b"}


@settings(derandomize=True, deadline=None, max_examples=40)
@given(seed=st.integers(0, 10**6), count=st.integers(1, 8))
def test_points_seen_as_every_line_by_itself(seed, count):
    rng = np.random.default_rng(seed)
    pieces = [random_piece(rng) for _ in range(count)]
    solids = bodies_of(*pieces)
    surface = spread(solids, np.array([0]), 60)
    eye = rng.uniform(-200, 200, 3)
    found = seen(stops(solids, np.arange(count)), surface, eye)
    for k, start in enumerate(surface.points):
        faces = (eye - start) @ surface.normals[k] > 0
        assert found.visible[k] == (faces and first(pieces, start, eye)[1] < 0)


@settings(derandomize=True, deadline=None, max_examples=40)
@given(seed=st.integers(0, 10**6))
def test_points_lie_on_the_surface_by_area(seed):
    rng = np.random.default_rng(seed)
    size = rng.uniform(5, 50, 3)
    solids = bodies_of(box(-size / 2, size / 2))
    surface = spread(solids, np.array([0]), 2000)
    faces = 2 * np.array([size[1] * size[2], size[0] * size[2], size[0] * size[1]])
    assert surface.area * 2000 == pytest.approx(faces.sum())
    on = surface.points - LIFT * surface.normals
    assert np.abs(np.abs(on) / (size / 2)).max(axis=1) == pytest.approx(1)
    along = np.abs(surface.normals).argmax(axis=1)
    assert np.bincount(along, minlength=3) / 2000 == pytest.approx(faces / faces.sum(), abs=2e-3)
    # Their middle is that of the box, as near as so many points come.
    assert np.abs(surface.points.mean(axis=0) / size).max() < 0.01


@settings(derandomize=True, deadline=None, max_examples=25)
@given(seed=st.integers(0, 10**6))
def test_turned_shifted_and_permuted_the_verdict_stays(seed):
    rng = np.random.default_rng(seed)
    made = [box(low, low + rng.uniform(5, 40, 3)) for low in rng.uniform(-60, 60, (5, 3))]
    eye = np.array([0, -400, 50.0])
    pose = Frame(turn_about(np.array([0, 0, 1.0]), 90 * int(rng.integers(4))), rng.uniform(-300, 300, 3))
    rule = {"shown": [{"part": "p0", "at_least": 0.2}]}

    def found(order, pose, eye):
        parts = [part(f"p{k}", made[k], pose=pose) for k in order]
        (finding,) = ask(*parts, eye=eye.tolist(), **rule)
        return finding

    plain = found(range(5), IDENTITY, eye)
    moved = found(rng.permutation(5), pose, pose.point(eye))
    assert moved.measured == pytest.approx(plain.measured, abs=5e-3)
    if abs(plain.measured - 0.2) > 0.005:
        assert moved.verdict == plain.verdict
