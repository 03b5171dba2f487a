"""Removal against closed forms, constructed puzzles, and dense steps with another library's distances."""

from __future__ import annotations

from itertools import pairwise

import coal
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from run_oracles import meshed, plate, round_hole
from scipy.optimize import minimize_scalar
from scipy.spatial.transform import Rotation
from shapely import box as rectangle
from test_interference import CUBE, CUBE_FACES
from worlds import bodies_of, box, mesh, part, rod, room, world

from fitcheck.checks.removal import check_removal
from fitcheck.checks.taken_out import taken_out
from fitcheck.finding import Verdict
from fitcheck.motions.following import PROVED
from fitcheck.motions.straight import free_after, straight
from fitcheck.motions.sweeps import swept
from fitcheck.motions.swing import swing
from fitcheck.parts.pieces import moved
from fitcheck.parts.solids import Kind
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.world.bodies import with_probes
from fitcheck.world.engine import measure
from fitcheck.world.frames import Frame, turn_about
from fitcheck.world.world import Contact, Zone

REAR = np.array([0.0, 1.0, 0.0])


def ask(*parts, contacts=(), rooms=(), **rule):
    rule = {"part": "mover", **rule}
    (finding,) = check_removal(world(*parts, contacts=contacts, rooms=rooms, removal=[rule])).findings
    return finding


def block(low, high, **keys):
    return part("mover", box(low, high), **keys)


# Straight.


def test_free_after_it_has_passed_everything():
    finding = ask(
        block([0, 0, 0], [10, 50, 10]), part("wall", box([12, -20, 0], [14, 80, 30])), towards="rear"
    )
    assert (finding.verdict, finding.measured, finding.required) == (Verdict.FITS, 80.0, 80.0)
    assert (
        finding.sentence
        == "mover slides out to the rear: free after 80.0 mm, 2.0 mm from wall.body on the way"
    )


@given(
    at=st.floats(11, 590), thick=st.floats(0.02, 2.0), lean=st.floats(-1.4, 1.4),
    length=st.floats(1.0, 40.0),
)  # fmt: skip
@settings(max_examples=60)
def test_a_thin_sheet_anywhere_on_a_long_way_is_met(at, thick, lean, length):
    """A sheet across 600 mm of way, turned about the mover's leading edge line: met at a closed form."""
    mover = block([-5, -length, -5], [5, 0, 5])
    turn = turn_about(np.array([0.0, 0, 1]), np.degrees(lean))
    sheet = moved(box([-60, 0, -40], [60, thick, 40]), turn, np.array([0.0, at, 0.0]))
    # The face of the leaning sheet is the line through (0, at); the nearer corner of the mover meets it.
    reached = at - 5 * abs(np.tan(lean))
    assume(reached > 0.5)
    finding = ask(mover, part("sheet", sheet), towards="rear", by=600.0)
    assert finding.verdict == Verdict.FAILS
    # A contact of 0.01 mm is let pass, square to the sheet.
    assert reached - 1e-9 <= finding.measured <= reached + 0.0101 / np.cos(lean)
    assert finding.parts == ("mover", "sheet.body")


@pytest.mark.parametrize(("play", "fits"), [(0.2, True), (0.05, True), (-0.1, False)])
def test_a_peg_in_a_hole_of_known_play(play, fits):
    peg = part("mover", rod([0, 0, -40], [0, 0, 5], 20 - 2 * play))
    finding = ask(peg, part("plate", plate(3.0, round_hole(20.0))), towards="top", by=60.0)
    assert (finding.verdict == Verdict.FITS) is fits
    if fits:
        # The hole's polygon lies inside its circle by 10 (1 - cos(pi / 512)) = 0.0002 mm.
        assert finding.details["nearest"] == pytest.approx(play, abs=0.0003)
    else:
        assert finding.measured == 0.0


@pytest.mark.parametrize(("wide", "by"), [(111.9, 0.1), (112.1, None)])
def test_a_card_through_a_slot_by_a_hair(wide, by):
    """A card 112 high is drawn through a slot 0.1 mm too narrow, then 0.1 mm wider than it is."""
    slot = rectangle(-10, -wide / 2, 10, wide / 2)
    sheet = plate(1.0, slot)
    card = part("mover", box([-8, -56, 20], [8, 56, 270]))
    finding = ask(card, part("sheet", sheet), towards="bottom")
    if by is None:
        assert finding.verdict == Verdict.FITS
        assert finding.details["nearest"] == pytest.approx(0.05, abs=1e-6)
        return
    assert finding.verdict == Verdict.FAILS
    assert finding.measured == pytest.approx(19.5, abs=0.011)
    # Half of it at each end; moved aside by that it would meet the other end: what frees it is the sheet's width.
    assert "runs into sheet.body" in finding.sentence


def test_how_far_something_is_in_the_way():
    finding = ask(
        block([0, 0, 0], [10, 20, 10]), part("post", box([7, 50, -50], [40, 60, 90])), towards="rear"
    )
    assert finding.sentence == (
        "mover does not come out to the rear: after 30.0 mm of 60.0 mm mover.body runs into post.body, "
        "which is in its way by 3.0 mm (it would pass if it lay so far to the left)"
    )
    assert finding.where == (pytest.approx((7, 50, 0), abs=10.1),)


@pytest.mark.parametrize("keep", [0.5, 2.0, 4.0])
def test_where_it_comes_too_near_by_hand(keep):
    """A corner passes a post beside its way: their distance is that of a point from an axis, less the radius."""
    aside, ahead, radius = 3.0, 80.0, 2.0
    post = part("post", rod([10 + aside, ahead, -50], [10 + aside, ahead, 60], 2 * radius))
    finding = ask(block([0, 0, 0], [10, 20, 10]), post, towards="rear", by=200.0, keep=keep)
    if keep <= aside - radius:
        assert finding.verdict == Verdict.FITS
        assert finding.details["nearest"] == pytest.approx(aside - radius, abs=1e-9)
        return
    assert finding.verdict == Verdict.FAILS
    due = ahead - 20 - np.sqrt((keep + radius) ** 2 - aside**2)
    assert finding.measured == pytest.approx(due, abs=2e-3)
    assert f"comes nearer than {keep:.1f} mm to post.body" in finding.sentence


def test_too_near_as_it_stands():
    near = part("near", box([10.3, 0, 0], [20, 20, 10]))
    finding = ask(block([0, 0, 0], [10, 20, 10]), near, towards="rear", by=50.0, keep=0.5)
    assert (finding.verdict, finding.measured) == (Verdict.FAILS, 0.0)
    assert "as they stand mover.body is 0.3 mm from near.body, 0.5 mm are demanded" in finding.sentence
    assert (
        ask(block([0, 0, 0], [10, 20, 10]), near, towards="rear", by=50.0, keep=0.5, guides=["near"]).verdict
        == Verdict.FITS
    )


def test_within_the_margin_is_tight():
    near = part("near", box([11, 0, 0], [20, 20, 10]))
    for margin, verdict in ((0.4, Verdict.FITS), (0.6, Verdict.TIGHT)):
        found = ask(block([0, 0, 0], [10, 20, 10]), near, towards="rear", by=50.0, keep=0.5, margin=margin)
        assert found.verdict == verdict


def test_guides_may_touch_but_not_be_pressed_into():
    """A tray in a groove that narrows by 0.5 mm half-way."""
    tray = block([0, 0, 0], [2, 100, 60])
    rail = part(
        "rail", box([-5, 0, -3], [7, 300, 0]), box([-5, 0, 0], [0, 300, 5]), box([2, 0, 0], [7, 300, 5]),
        box([1.5, 180, 0], [2.5, 182, 5]), names=("bed", "left", "right", "bump"),
    )  # fmt: skip
    rest = Contact("rest", "mover", "rail", ("body",), ("bed", "left", "right"))
    finding = ask(tray, rail, contacts=[rest], towards="rear", keep=1.0, guides=["rail.bump"], by=190.0)
    assert (finding.verdict, finding.parts) == (Verdict.FAILS, ("mover", "rail.bump"))
    assert finding.measured == pytest.approx(80, abs=1e-6)
    assert ask(tray, rail, contacts=[rest], towards="front", keep=1.0, guides=["rail.bump"]).verdict == "fits"


def test_what_is_joined_comes_off_only_along_its_joint():
    plug = part(
        "mover",
        rod([0, 0, 0], [0, 0, 10], 8),
        rod([0, 0, -5], [0, 0, 0], 6),
        names=("body", "thread"),
        host="socket",
    )
    socket = part("socket", box([-20, -20, -20], [20, 20, 0]))
    zone = Zone(np.zeros(3), np.array([0.0, 0, -1]), 3.01, 6.0)
    contacts = [
        Contact("join", "mover", "socket", ("body",), ("body",)),
        Contact("join", "mover", "socket", reach="thread", zone=zone),
    ]
    assert ask(plug, socket, contacts=contacts, towards="top").verdict == Verdict.FITS
    aside = ask(plug, socket, contacts=contacts, towards="left")
    assert (aside.verdict, aside.measured, aside.details["stopped"]) == (Verdict.FAILS, 0.0, "joined")
    # The other part taken off it instead.
    (finding,) = check_removal(
        world(
            plug, socket, contacts=contacts, removal=[{"part": "socket", "towards": "bottom", "alone": True}]
        )
    ).findings
    assert finding.verdict == Verdict.FITS


def test_what_is_placed_on_it_comes_along_unless_told_otherwise():
    tray = block([0, 0, 0], [100, 100, 2])
    board = part("board", box([0, 0, 2], [100, 100, 40]), host="mover")
    bar = part("bar", box([-50, 110, 30], [150, 120, 40]))
    rest = Contact("rest", "board", "mover")
    caught = ask(tray, board, bar, contacts=[rest], towards="rear", by=200.0)
    assert (caught.verdict, caught.measured, caught.details["parts"]) == (
        Verdict.FAILS,
        10.0,
        ("mover", "board"),
    )
    assert caught.sentence.startswith("mover with 1 part on it does not come out")
    alone = ask(tray, board, bar, contacts=[rest], towards="rear", by=200.0, alone=True)
    assert alone.verdict == Verdict.FITS
    bare = ask(tray, board, bar, contacts=[rest], towards="rear", by=200.0, before=["board"])
    assert bare.verdict == Verdict.FITS
    free = ask(tray, board, bar, contacts=[rest], towards="rear", by=200.0, before=["bar"])
    assert free.verdict == Verdict.FITS


def test_a_panel_of_a_case_leaves_with_what_hangs_on_it():
    case = part(
        "case", box([0, 0, 0], [2, 100, 100]), box([98, 0, 0], [100, 100, 100]), names=("left", "right")
    )
    fan = part("fan", box([2, 20, 20], [27, 60, 60]), host="case")
    box_inside = part("thing", box([30, 20, 20], [90, 60, 60]), host="case")
    contacts = [
        Contact("rest", "fan", "case", ("body",), ("left",)),
        Contact("rest", "thing", "case", ("body",), ("right",)),
    ]
    finding = ask(
        case,
        fan,
        box_inside,
        contacts=contacts,
        rooms=(room("case.inside", [2, 0, 0], [98, 100, 100]),),
        part="case.left",
        towards="left",
    )
    assert finding.verdict == Verdict.FITS
    assert finding.details["parts"] == ("case", "fan")


def test_any_side_is_tried_where_none_is_named():
    """A box open at the top only."""
    walls = part(
        "walls", box([-2, -2, -2], [12, 12, 0]), box([-2, -2, 0], [0, 12, 20]), box([10, -2, 0], [12, 12, 20]),
        box([0, -2, 0], [10, 0, 20]), box([0, 10, 0], [10, 12, 20]),
    )  # fmt: skip
    out = ask(block([0.5, 0.5, 0.5], [9.5, 9.5, 19]), walls)
    assert out.verdict == Verdict.FITS
    assert out.sentence.startswith("mover slides out up: free after 19.5 mm")
    lid = part("lid", box([-2, -2, 20], [12, 12, 22]))
    shut = ask(block([0.5, 0.5, 0.5], [9.5, 9.5, 19]), walls, lid)
    assert shut.verdict == Verdict.FAILS
    assert "to any side" in shut.sentence


# What a sweep covers.

VECTORS = st.tuples(*[st.floats(-60, 60)] * 3).map(np.array).filter(lambda v: np.linalg.norm(v) > 0.5)
TURNS = st.one_of(
    st.just(np.eye(3)),
    st.integers(0, 2**31).map(lambda seed: Rotation.random(rng=np.random.default_rng(seed)).as_matrix()),
)


@st.composite
def pieces(draw, kinds=("box", "rod")):
    half = np.array([draw(st.floats(0.3, 20)) for _ in range(3)])
    made = (
        box(-half, half)
        if draw(st.sampled_from(kinds)) == "box"
        else rod([0, 0, -half[2]], [0, 0, half[2]], half[0])
    )
    return moved(made, draw(TURNS), draw(VECTORS))


def coal_shape(piece):
    if piece.kind == Kind.BOX:
        return coal.Box(*(2 * piece.half))
    return coal.Cylinder(float(piece.half[0]), float(2 * piece.half[2]))


def coal_distance(first, second, shift):
    request, result = coal.DistanceRequest(), coal.DistanceResult()
    poses = [
        coal.Transform3s(first.rotation, first.centre + shift),
        coal.Transform3s(second.rotation, second.centre),
    ]
    return coal.distance(coal_shape(first), poses[0], coal_shape(second), poses[1], request, result)


def least_by_steps(first, second, move):
    """Distance of two convex bodies is convex in a shift: one minimum, found by golden sections."""
    found = minimize_scalar(
        lambda t: max(coal_distance(first, second, t * move), 0.0), bounds=(0, 1), method="bounded",
        options={"xatol": 1e-9},
    )  # fmt: skip
    return min(found.fun, *(max(coal_distance(first, second, t * move), 0.0) for t in np.linspace(0, 1, 33)))


def sweep_distance(first, second, move):
    solids = bodies_of(second)
    among = with_probes(solids, [swept(first, move)])
    return measure(among, [(1, 0)])[0]


@given(first=pieces(), second=pieces(), move=VECTORS, square=st.integers(0, 3))
@settings(max_examples=120, deadline=None)
def test_distance_on_the_way_against_golden_sections(first, second, move, square):
    if square < 3:
        move = np.linalg.norm(move) * first.rotation[:, square]
    due = least_by_steps(first, second, move)
    assume(due > 0.02)  # what is run into is judged by the move itself, not by its sweep
    # A slanting cylinder is its prism, 0.005 mm inside it; coal is exact to about 1e-4 for cylinders.
    assert sweep_distance(first, second, move).distance == pytest.approx(due, abs=0.006)


@given(move=VECTORS, second=pieces(), seed=st.integers(0, 1000))
@settings(max_examples=40, deadline=None)
def test_sweep_of_a_sheet_with_a_cut_out_against_steps(move, second, seed):
    """A plate with a hole: the least over steps of the distances of its parts, four boxes."""
    sheet = plate(2.0, rectangle(-20, -15, 20, 15), size=80.0)
    frame = [
        box([-40, -40, -1], [40, -15, 1]), box([-40, 15, -1], [40, 40, 1]),
        box([-40, -15, -1], [-20, 15, 1]), box([20, -15, -1], [40, 15, 1]),
    ]  # fmt: skip
    turn = Rotation.random(rng=np.random.default_rng(seed)).as_matrix()
    due = min(least_by_steps(moved(one, turn, np.zeros(3)), second, move) for one in frame)
    assume(due > 0.02)
    found = sweep_distance(moved(sheet, turn, np.zeros(3)), second, move)
    assert found.distance == pytest.approx(due, abs=1e-3)


@given(second=pieces(), move=VECTORS)
@settings(max_examples=60, deadline=None)
def test_a_triangle_mesh_sweeps_as_the_box_it_is(second, move):
    """The same box as a box and as triangles, also where the second lies inside the sweep."""
    import trimesh

    first = box([-9, -6, -4], [9, 6, 4])
    same = meshed(trimesh.creation.box(extents=[18, 12, 8]))
    one, other = sweep_distance(first, second, move), sweep_distance(same, second, move)
    assert one.interferes == other.interferes or abs(one.depth - 0.01) < 1e-3
    if not one.interferes:
        assert one.distance == pytest.approx(other.distance, abs=1e-6)


@given(
    at=st.tuples(st.floats(-100, 100), st.floats(-100, 100), st.floats(-100, 100)),
    mirrored=st.booleans(), turned=st.integers(0, 3), seed=st.integers(0, 500),
)  # fmt: skip
@settings(max_examples=40, deadline=None)
def test_shifted_turned_mirrored_and_permuted_the_same(at, mirrored, turned, seed):
    random = np.random.default_rng(seed)
    low = random.uniform(-60, 60, (6, 3)) + np.array([0, 80, 0])
    others = [box(corner, corner + random.uniform(2, 40, 3)) for corner in low]
    plain = [box([-10, -10, -10], [10, 10, 10]), *others]

    def out(pieces, towards, order):
        names = [f"p{k}" for k in range(len(others))]
        chosen = [part(names[k], pieces[1 + k]) for k in order]
        found = taken_out(world(part("mover", pieces[0]), *chosen), ["mover"])
        return straight(found, towards, 200.0, keep=0.5), free_after(found, towards)

    mirror = np.diag([-1.0 if mirrored else 1.0, 1, 1])
    turn = turn_about(np.array([0.0, 0, 1]), 90.0 * turned)

    def elsewhere(piece):
        corners = np.array([piece.centre - piece.half, piece.centre + piece.half]) @ mirror
        return moved(box(corners.min(axis=0), corners.max(axis=0)), turn, np.array(at))

    one = out(plain, REAR, range(6))
    other = out([elsewhere(piece) for piece in plain], turn @ REAR, random.permutation(6))
    assert one[0].way == pytest.approx(other[0].way, abs=2e-3)
    assert (one[0].stop is None) == (other[0].stop is None)
    assert one[1] == pytest.approx(other[1], abs=1e-9)


# Any way.


def channel():
    """A channel whose roof ends before its end wall, and a block in it: out needs two legs."""
    walls = part(
        "walls", box([-2, -2, -2], [62, 12, 0]), box([-2, -2, 0], [0, 12, 20]), box([0, -2, 0], [60, 0, 20]),
        box([0, 10, 0], [60, 12, 20]), box([-2, -2, 20], [48, 12, 22]), box([60, -2, -2], [62, 12, 22]),
    )  # fmt: skip
    return walls, block([1, 1, 1], [11, 9, 19])


def test_two_legs_by_hand():
    walls, thing = channel()
    straight_only = ask(thing, walls)
    assert straight_only.verdict == Verdict.FAILS
    found = ask(thing, walls, search=True)
    assert found.verdict == Verdict.FITS
    assert found.sentence == "mover slides out 47.0 mm to the right, then up"
    (side, first), (other, then) = found.details["legs"]
    assert (side, other) == ("right", "top")
    assert first == pytest.approx(47, abs=0.05)
    assert then == pytest.approx(21)
    kept = ask(thing, walls, search=True, keep=0.5)
    assert kept.details["legs"][0][1] == pytest.approx(47.5, abs=0.05)


def tilted():
    """A plate 100 long in a tray whose opening is 96: it comes out only tilted."""
    walls = part(
        "walls", box([-2, -2, -2], [106, 66, 0]), box([-2, -2, 0], [0, 66, 40]), box([104, -2, 0], [106, 66, 40]),
        box([0, -2, 0], [104, 0, 40]), box([0, 64, 0], [104, 66, 40]), box([-2, -2, 40], [4, 66, 42]),
        box([100, -2, 40], [106, 66, 42]),
    )  # fmt: skip
    return walls, block([2, 2, 0], [102, 62, 4])


@pytest.mark.long
def test_a_plate_is_tilted_out_and_its_way_is_clear():
    walls, plate_ = tilted()
    found = ask(plate_, walls, search=True)
    assert found.verdict == Verdict.FITS
    places = np.array(found.details["path"])
    assert np.abs(places[0]).max() < 1e-9
    (thing,) = (p for s in plate_.shape.solids.values() for p in s.pieces)
    others = [p for s in walls.shape.solids.values() for p in s.pieces]
    # Followed again in dense steps with another library's distances.
    for first, second in pairwise(places):
        for time in np.linspace(0, 1, 400):
            place = first + time * (second - first)
            turn = Rotation.from_rotvec(place[3:], degrees=True).as_matrix()
            at = moved(thing, turn, thing.centre + place[:3] - turn @ thing.centre)
            assert min(coal_distance(at, other, np.zeros(3)) for other in others) > -0.02
    low = np.array([-2, -2, -2.0])
    last = thing.centre + places[-1][:3]
    assert (last < low - 5).any() or (last > [106, 66, 42]).any()


def test_none_found_is_no_proof():
    walls, plate_ = tilted()
    found = ask(plate_, walls, search=True, looks=2_000)
    assert found.verdict == Verdict.UNKNOWN
    assert found.sentence.endswith("; no other way was found within 2,000 looks")


def test_without_the_planner_it_says_what_to_install(monkeypatch):
    monkeypatch.setattr("fitcheck.motions.search.find_spec", lambda _: None)
    walls, plate_ = tilted()
    with pytest.raises(ValueMistake, match="needs the library ompl") as error:
        ask(plate_, walls, search=True)
    assert error.value.mend == "pip install 'fitcheck[motion]'"


# On a hinge.


def turned(world_, degrees, at=(0, 0, 0), keep=0.0, axis=(0, 0, 1), **keys):
    return swing(
        taken_out(world_, ["mover"], **keys), np.array(at, float), np.array(axis, float), degrees, keep
    )


@pytest.mark.parametrize("angle", [20, 75.5, 140])
@pytest.mark.parametrize("radius", [0.1, 3.0])
def test_a_door_stops_at_a_post_by_hand(angle, radius):
    """Its face goes through the hinge: it meets a post at distance R when asin(r / R) short of it."""
    door = part("mover", box([0, -4, 0], [600, 0, 300]))
    far = 400.0
    x, y = far * np.cos(np.radians(angle)), far * np.sin(np.radians(angle))
    post = part("post", rod([x, y, 100], [x, y, 120], 2 * radius))
    found = turned(world(door, post), 170)
    due = angle - np.degrees(np.arcsin(radius / far))
    assert found.stop is not None
    assert found.way == pytest.approx(due, abs=np.degrees(2 * PROVED / far) + 1e-9)
    assert turned(world(door, post), due - 0.01).stop is None
    # Kept off by 5 mm: as if the post were thicker.
    kept = turned(world(door, post), 170, keep=5.0)
    assert kept.way == pytest.approx(angle - np.degrees(np.arcsin((radius + 5) / far)), abs=0.003)


@pytest.mark.parametrize(("spare", "opens"), [(0.03, True), (-0.02, False)])
def test_an_inset_door_needs_room_for_its_diagonal(spare, opens):
    """Hinged at its outer left edge, its inner right edge swings on a circle of its diagonal."""
    wide, thick = 300.0, 20.0
    diagonal = np.hypot(wide, thick)
    door = part("mover", box([0, 0, 0], [wide, thick, 500]))
    wall = part("wall", box([diagonal + spare, -30, 0], [diagonal + 50, 60, 500]))
    found = turned(world(door, wall), -90)
    assert (found.stop is None) is opens
    if not opens:
        # The edge meets the wall where x cos a + y sin a is farthest: at atan(t / w) = 3.81 degrees.
        assert found.way <= np.degrees(np.arctan(thick / wide))


def test_a_door_lies_on_its_frame_and_opens():
    """In contact all over as it stands, beside the hinge all the way."""
    door = part("mover", box([0, -4, 0], [600, 0, 300]))
    frame = part(
        "frame",
        box([0, 0, 0], [20, 30, 300]),
        box([580, 0, 0], [600, 30, 300]),
        box([0, 0, 0], [600, 30, 20]),
    )
    found = turned(world(door, frame, contacts=[Contact("rest", "mover", "frame")]), -110)
    assert (found.stop, found.way) == (None, pytest.approx(110))
    inwards = turned(world(door, frame, contacts=[Contact("rest", "mover", "frame")]), 110)
    assert inwards.stop is not None
    assert inwards.way < 0.05


def test_a_wire_in_the_way_of_a_door_is_not_jumped_over():
    door = part("mover", box([0, -2, 0], [500, 0, 300]))
    wire = part(
        "wire",
        rod([450 * np.cos(1.0), 450 * np.sin(1.0), -5], [450 * np.cos(1.0), 450 * np.sin(1.0), 5], 0.05),
    )
    found = turned(world(door, wire), 120)
    assert found.stop is not None
    assert found.way == pytest.approx(np.degrees(1.0), abs=0.02)


@given(first=pieces(), second=pieces(), degrees=st.floats(5, 180), axis=VECTORS, seed=st.integers(0, 99))
@settings(max_examples=40, deadline=None)
def test_turns_against_dense_steps(first, second, degrees, axis, seed):
    unit = axis / np.linalg.norm(axis)
    at = np.random.default_rng(seed).uniform(-40, 40, 3)
    found = turned(world(part("mover", first), part("other", second)), degrees, at, axis=tuple(unit))
    angles = np.linspace(0, degrees, 2000)

    def apart(angle):
        turn = turn_about(unit, angle)
        return coal_distance(moved(first, turn, at - turn @ at), second, np.zeros(3))

    apart_at = np.array([apart(angle) for angle in angles])
    hit = np.flatnonzero(apart_at < -2 * PROVED)
    clear = apart_at.min() > PROVED
    if len(hit):
        assert found.stop is not None
        assert found.way <= angles[hit[0]]
    if clear:
        assert found.stop is None
    if found.stop is not None:
        # There they touch, or nearly: within the step and what is proved.
        assert apart(found.way) < PROVED


def test_the_rule_on_a_hinge():
    door = part("mover", box([0, -4, 0], [600, 0, 300]))
    post = part("post", rod([0, 400, 0], [0, 400, 20], 10))
    finding = ask(door, post, hinge={"about": "z", "at": [0, 0, 0], "by": 120.0})
    assert (finding.verdict, finding.unit, finding.required) == (Verdict.FAILS, "degrees", 120.0)
    assert finding.sentence == (
        "mover swings open by 89.3 of 120 degrees: there mover.body runs into post.body"
    )
    assert ask(door, post, hinge={"about": "z", "at": [0, 0, 0], "by": 60.0}).verdict == Verdict.FITS


def test_frames_of_parts_count():
    """The same as `test_where_it_comes_too_near_by_hand`, the mover placed by its part's frame."""
    pose = Frame(turn_about(np.array([0.0, 0, 1]), 90), np.array([10.0, 0, 0]))
    mover = part("mover", box([0, 0, 0], [20, 10, 10]), pose=pose)
    post = part("post", rod([13, 80, -50], [13, 80, 60], 4.0))
    found = ask(mover, post, towards="rear", by=200.0, keep=2.0)
    assert found.measured == pytest.approx(60 - np.sqrt(16 - 9), abs=2e-3)


# What an open mesh hides.


@pytest.mark.parametrize(("low", "verdict"), [([9, 9, 19], Verdict.UNKNOWN), ([22, 9, 19], Verdict.FITS)])
def test_in_the_mouth_of_an_open_mesh_nothing_is_promised(low, verdict):
    """A cube without its lid: what stands in its mouth may lie in what it stands for, what is beside not."""
    lidless = part("bowl", mesh(CUBE, CUBE_FACES[:-2], closed=False))
    finding = ask(block(low, [low[0] + 2, low[1] + 2, low[2] + 0.5]), lidless, towards="top", keep=0.5)
    assert finding.verdict == verdict
    unsure = (
        "whether mover.body and bowl.body lie in each other is not decided: a mesh of theirs is not closed"
    )
    assert (unsure in finding.sentence) is (verdict == Verdict.UNKNOWN)
    # The closed cube is run into at once; that is no matter of doubt.
    closed = ask(block([9, 9, 5], [11, 11, 5.5]), part("bowl", mesh(CUBE, CUBE_FACES)), towards="top")
    assert closed.verdict == Verdict.FAILS
