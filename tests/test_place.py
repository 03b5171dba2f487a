"""Placements worked out by hand: faces, rulers, turns, leans, joins.

Every expected number is arithmetic shown beside it; the world is +x right, +y rear, +z up.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from fitcheck.parts.features import Face, Link, Port
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.world.frames import IDENTITY, SIDES, Frame, turn_about
from fitcheck.world.place import (
    absolute_frame,
    centre_ruler,
    centre_rulers,
    check_link,
    edge_ruler,
    join_frame,
    leaned,
    moved_face,
    moved_port,
    rest_frame,
    rest_rotation,
)


def face(name, centre, normal, along, size) -> Face:
    return Face(name, np.array(centre, float), np.array(normal, float), np.array(along, float), size)


def port(at, axis, up, gender="female", size="G1/4") -> Port:
    return Port(
        "p",
        np.array(at, float),
        np.array(axis, float),
        np.array(up, float),
        Link("thread", size, gender),
        10.0,
    )


# A floor 300 wide (x 0..300) and 600 deep (y 0..600) at z 1.5, looking up.
FLOOR = face("floor", [150, 300, 1.5], [0, 0, 1], [1, 0, 0], (300, 600))
# A radiator lying on its back: 520 long in its own x, 120 wide in y, 54 thick below its fan face (z = 0).
BACK = face("back", [0, 0, -54], [0, 0, -1], [1, 0, 0], (520, 120))


def rest(mine, host, turn=0.0, lift=0.0, centre="", **sides) -> Frame:
    rotation = rest_rotation(mine, host, turn)
    rulers = [edge_ruler(side, value, mine, host, rotation) for side, value in sides.items()]
    if centre == "across":
        rulers.append(centre_ruler(host, rulers[0]))
    elif centre == "both":
        rulers += centre_rulers(host)
    return rest_frame(mine, host, rotation, rulers, lift)


def test_flat_on_the_floor_keeps_its_own_directions():
    placed = rest(BACK, FLOOR, left=10, front=20)
    # The back lies on z 1.5, so the origin (on the fan face) is 54 higher; no turn.
    assert np.array_equal(placed.rotation, np.eye(3))
    # Left edge at x 10: origin at 10 + 520/2; front edge at y 20: origin at 20 + 120/2.
    assert placed.origin == pytest.approx([270, 80, 55.5])


def test_turn_90_runs_the_row_to_the_rear():
    placed = rest(BACK, FLOOR, turn=90, front=16, centre="across")
    # Own +x now points to the rear; front edge 16 behind the floor's: 16 + 260; middle of 300.
    assert placed.rotation @ [1, 0, 0] == pytest.approx([0, 1, 0])
    assert placed.origin == pytest.approx([150, 276, 55.5])


def test_rulers_from_the_far_sides():
    placed = rest(BACK, FLOOR, right=10, rear=20)
    # Right edge at 300 - 10, so origin x 290 - 260; rear edge at 600 - 20, origin y 580 - 60.
    assert placed.origin == pytest.approx([30, 520, 55.5])


def test_lift_leaves_room_below():
    assert rest(BACK, FLOOR, centre="both", lift=3).origin == pytest.approx([150, 300, 58.5])


def test_on_the_ceiling_it_hangs_upside_down():
    ceiling = face("ceiling", [150, 300, 400], [0, 0, -1], [1, 0, 0], (300, 600))
    placed = rest(BACK, ceiling, centre="both")
    # My normal -z must point up: half a turn about the kept x. The fan face hangs 54 below 400.
    assert placed.rotation == pytest.approx(np.diag([1.0, -1.0, -1.0]))
    assert placed.origin == pytest.approx([150, 300, 346])


def test_on_the_left_wall_facing_right():
    wall = face("left_wall", [0, 300, 200], [1, 0, 0], [0, 1, 0], (600, 400))
    placed = rest(BACK, wall, front=50, bottom=30)
    # Normal -z -> -x, along x -> y: own z (fan side) points right, own y points to z.
    assert placed.rotation @ [0, 0, 1] == pytest.approx([1, 0, 0])
    assert placed.rotation @ [1, 0, 0] == pytest.approx([0, 1, 0])
    # Back on x 0, so origin x 54; front edge at y 50: 50 + 260; bottom edge at z 30: 30 + 60.
    assert placed.origin == pytest.approx([54, 310, 90])


def test_on_the_rear_wall_facing_front():
    wall = face("rear_wall", [150, 600, 200], [0, -1, 0], [1, 0, 0], (300, 400))
    placed = rest(BACK, wall, turn=90, centre="across", top=12)
    # Own z -> front. Turn 90 about the wall's normal (-y), counter-clockwise seen from the front:
    # right (x) goes up (z).
    assert placed.rotation @ [0, 0, 1] == pytest.approx([0, -1, 0])
    assert placed.rotation @ [1, 0, 0] == pytest.approx([0, 0, 1])
    # Back on y 600: origin 54 in front; top edge 12 below 400: 388 - 260.
    assert placed.origin == pytest.approx([150, 546, 128])


def test_a_part_on_a_part_on_a_part():
    # Floor, then the radiator (case 2), then a fan 25 thick on its fan face, at its front end.
    radiator = rest(BACK, FLOOR, turn=90, front=16, centre="across")
    fan_face = moved_face(face("fan_face", [0, 0, 0], [0, 0, 1], [1, 0, 0], (480, 120)), radiator)
    fan = rest(face("back", [0, 0, 0], [0, 0, -1], [1, 0, 0], (120, 120)), fan_face, front=0, centre="across")
    # Fan face is 480 long about y 276: front edge at 36, fan middle at 36 + 60; on top: 55.5.
    assert fan.origin == pytest.approx([150, 96, 55.5])


def test_lean_tips_about_the_edge_on_that_side():
    placed = rest(BACK, FLOOR, left=0, front=0)
    tipped = leaned(placed, BACK, FLOOR, "rear", 90)
    # Tipped a full quarter to the rear about the back's rear edge (y 120, z 1.5): the front lower
    # edge (y 0, z 1.5) goes straight up to (120, 121.5).
    front_edge = np.array([0, -60, -54.0])
    assert tipped.point(front_edge) == pytest.approx([260, 120, 121.5])
    assert tipped.point(np.array([0, 60, -54.0])) == pytest.approx([260, 120, 1.5])


def test_join_meets_mouth_to_mouth():
    host = port([100, 50, 20], [-1, 0, 0], [0, 0, 1])
    # A fitting whose shoulder is at its origin, thread along its own +z, up +x, 30 long to -z.
    mine = port([0, 0, 0], [0, 0, 1], [1, 0, 0], "male")
    placed = join_frame(mine, host, 0)
    # Its +z must point against -x, that is +x; its +x points up; so its far end is 30 to the left.
    assert placed.rotation @ [0, 0, 1] == pytest.approx([1, 0, 0])
    assert placed.rotation @ [1, 0, 0] == pytest.approx([0, 0, 1])
    assert placed.point(np.array([0, 0, -30.0])) == pytest.approx([70, 50, 20])


def test_join_turns_about_the_hosts_axis():
    host = port([0, 0, 0], [0, -1, 0], [0, 0, 1])
    mine = port([0, 0, 0], [0, 0, 1], [1, 0, 0], "male")
    placed = join_frame(mine, host, 90)
    # Seen from the front (the axis points there), counter-clockwise: up (z) goes to the left (-x).
    assert placed.rotation @ [1, 0, 0] == pytest.approx([-1, 0, 0])


def test_absolute_turns_in_order_and_puts_a_point():
    placed = absolute_frame(np.array([10.0, 20, 30]), [("x", 90), ("z", 90)], np.array([0, 0, 5.0]))
    # About x: (0,0,5) -> (0,-5,0); about z: -> (5,0,0). That point is brought to (10,20,30).
    assert placed.origin == pytest.approx([5, 20, 30])
    # scipy's own composition of the same two turns.
    assert placed.rotation == pytest.approx(Rotation.from_euler("xz", [90, 90], degrees=True).as_matrix())


def test_side_words_follow_the_world_on_a_turned_host():
    # A host face turned by 30 degrees about z: "front" is the part of the front that lies in it.
    turned = moved_face(FLOOR, Frame(turn_about(SIDES["top"], 30), np.zeros(3)))
    placed = rest(face("foot", [0, 0, 0], [0, 0, -1], [1, 0, 0], (10, 10)), turned, centre="both")
    assert placed.rotation[:, 0] == pytest.approx([np.cos(np.pi / 6), 0.5, 0])


@pytest.mark.parametrize(
    ("sides", "words"),
    [
        ({}, "left–right and front–rear"),
        ({"front": 1}, "left–right"),
        ({"front": 1, "rear": 2}, "both rulers measure the same direction"),
        ({"front": 1, "left": 2, "right": 2}, "3 rulers"),
        ({"top": 1}, "top points out of the face floor"),
    ],
)
def test_rulers_that_do_not_fix_one_place(sides, words):
    with pytest.raises(ValueMistake, match=words):
        rest(BACK, FLOOR, **sides)


@pytest.mark.parametrize(
    ("mine", "theirs", "words"),
    [
        (
            Link("thread", "G1/4", "male"),
            Link("plug", "atx_24", "female"),
            "a thread .* does not join a plug",
        ),
        (Link("thread", "G1/4", "male"), Link("thread", "G3/8", "female"), "G1/4 does not join thread G3/8"),
        (Link("thread", "G1/4", "male"), Link("thread", "G1/4", "male"), "male to male"),
        (Link("slot", "x16", "male"), Link("slot", "x16", "none"), "male to none"),
    ],
)
def test_joins_that_cannot_be_made(mine, theirs, words):
    with pytest.raises(ValueMistake, match=words):
        check_link(mine, theirs)


@pytest.mark.parametrize(
    ("mine", "theirs"),
    [
        (Link("thread", "G1/4", "male"), Link("thread", "G1/4", "female")),
        (Link("plug", "atx_24", "female"), Link("plug", "atx_24", "male")),
        (Link("tube", "16", "none"), Link("tube", "16", "none")),
    ],
)
def test_joins_that_can_be_made(mine, theirs):
    check_link(mine, theirs)
    # The same pair with one size changed is refused: the acceptance above is not for want of looking.
    with pytest.raises(ValueMistake, match="does not join"):
        check_link(mine, replace(theirs, size="other"))


def test_frames_compose_and_invert():
    a = Frame(turn_about(SIDES["top"], 37), np.array([1.0, 2, 3]))
    b = Frame(turn_about(SIDES["right"], 11), np.array([-4.0, 5, 6]))
    p = np.array([7.0, 8, 9])
    assert (a @ b).point(p) == pytest.approx(a.point(b.point(p)))
    assert (a @ a.inverse()).point(p) == pytest.approx(p)
    moved = moved_port(port([1, 0, 0], [1, 0, 0], [0, 0, 1]), IDENTITY)
    assert moved.at == pytest.approx([1, 0, 0])


@pytest.mark.parametrize("degrees", [0, 90, 180, 270, -90, 450, 33.3])
def test_turns_against_scipy(degrees):
    axis = np.array([2.0, -1, 2]) / 3
    assert turn_about(axis, degrees) == pytest.approx(
        Rotation.from_rotvec(np.radians(degrees) * axis).as_matrix()
    )
