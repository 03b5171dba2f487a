"""Interference against arithmetic on whole-number boxes, and moves that are carried out."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from worlds import box, mesh, part, rod, room, world

from fitcheck.checks.interference import check_interference
from fitcheck.finding import Verdict
from fitcheck.world.frames import SIDES, Frame
from fitcheck.world.world import Contact, Zone

CUBE = [[x, y, z] for x in (0, 20) for y in (0, 20) for z in (0, 20)]
# Outward by the right-hand rule, corners numbered x, y, z like binary digits.
CUBE_FACES = [
    [0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1],
    [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3],
]  # fmt: skip


def ask(*parts, contacts=(), rooms=(), **rules):
    return check_interference(world(*parts, contacts=contacts, rooms=rooms, **rules)).findings


def pair(depth: float, **keys):
    """Two 20 mm cubes, the second into the first by a depth along x."""
    return part("a", box([0, 0, 0], [20, 20, 20])), part(
        "b", box([20 - depth, 0, 0], [40 - depth, 20, 20]), **keys
    )


@pytest.mark.parametrize(("depth", "count"), [(-5, 0), (0, 0), (0.0099, 0), (0.0101, 1), (3, 1)])
def test_deeper_than_a_contact(depth, count):
    found = ask(*pair(depth))
    assert len(found) == count
    if found:
        assert found[0].verdict == Verdict.FAILS
        assert found[0].measured == pytest.approx(depth)


def test_depth_volume_box_and_moves_by_hand():
    # 20 mm cubes at (0, 0, 0) and (17, 5, 2): they share 3 x 15 x 18.
    found = ask(part("a", box([0, 0, 0], [20, 20, 20])), part("b", box([17, 5, 2], [37, 25, 22])))
    (finding,) = found
    assert finding.measured == pytest.approx(3)
    assert finding.details["volume"] == pytest.approx(3 * 15 * 18)
    assert finding.details["overlap"] == {"low": (17.0, 5.0, 2.0), "high": (20.0, 20.0, 20.0)}
    # b is as large as a: the later in the scene moves.
    assert finding.details["mover"] == "b"
    moves = {"right": 3, "rear": 15, "top": 18, "bottom": 22, "front": 25, "left": 37}
    assert finding.details["moves"] == pytest.approx(moves)
    assert list(finding.details["moves"]) == list(moves)
    assert finding.details["move"] == {"side": "right", "way": 3.0, "hits": ()}
    assert finding.details["side"] == "left"
    assert (
        finding.sentence == "a.body and b.body overlap 3.0 mm deep; b is free of it moved 3.0 mm to the right"
    )


def test_a_part_wholly_inside_another_interferes():
    (finding,) = ask(part("a", box([0, 0, 0], [60, 60, 60])), part("b", box([20, 25, 10], [30, 35, 20])))
    # Out through the bottom: 10 mm to the wall and 10 mm of its own height.
    assert finding.measured == pytest.approx(20)


def test_a_part_wholly_inside_a_mesh_interferes():
    (finding,) = ask(part("a", mesh(CUBE, CUBE_FACES)), part("b", box([8, 8, 5], [12, 12, 9])))
    assert finding.verdict == Verdict.FAILS
    assert finding.measured == pytest.approx(9, rel=0.01)


def test_open_mesh_is_undecided_only_where_it_must_be():
    lidless = CUBE_FACES[:-2]
    inside = ask(part("a", mesh(CUBE, lidless, closed=False)), part("b", box([9, 9, 19], [11, 11, 19.5])))
    assert [f.verdict for f in inside] == [Verdict.UNKNOWN]
    assert inside[0].sentence.endswith("a mesh of theirs is not closed")
    crossing = ask(part("a", mesh(CUBE, lidless, closed=False)), part("b", box([-5, 5, 5], [5, 10, 10])))
    assert [f.verdict for f in crossing] == [Verdict.FAILS]
    assert crossing[0].measured is None
    assert "how deep is unknown" in crossing[0].sentence
    assert ask(part("a", mesh(CUBE, lidless, closed=False)), part("b", box([-5, 5, 5], [-1, 10, 10]))) == ()


def test_open_meshes_are_said():
    scene = world(part("a", mesh(CUBE, CUBE_FACES[:-2], closed=False)), part("b", mesh(CUBE, CUBE_FACES)))
    assert check_interference(scene).not_checked == (
        "a.body: its mesh is not closed, so what lies inside it may count as free",
    )


def test_all_solids_of_a_part_must_get_free():
    panel = part("case", box([0, 100, 0], [50, 101, 50]), names=("panel",))
    radiator = part(
        "radiator", box([10, 96, 10], [40, 116, 40]), box([10, 20, 10], [40, 96, 40]),
        names=("tank", "core"), says={"front": 20.0}, host="case",
    )  # fmt: skip
    (finding,) = ask(panel, radiator)
    # The tank alone would be free moved 5 mm to the rear, but there the core is in the panel.
    assert finding.measured == pytest.approx(16)
    assert finding.details["move"]["side"] == "front"
    # To the rear all of it would have to pass: 101 - 20.
    assert finding.details["moves"]["rear"] == pytest.approx(81)


def test_a_case_stays_even_when_its_panel_is_the_smaller():
    panel = part("case", box([0, 100, 0], [50, 101, 50]), names=("panel",))
    block = part("block", box([0, 40, 0], [50, 100.5, 50]))
    hall = room("case.hall", [0, 0, 0], [50, 100, 50])
    assert ask(panel, block, rooms=[hall])[0].details["mover"] == "block"
    assert ask(panel, block)[0].details["mover"] == "case"


def test_contact_exempts_its_solids_only():
    case = part("case", box([0, 0, 0], [50, 50, 2]), box([0, 48, 0], [50, 50, 50]), names=("floor", "rear"))
    disk = part("disk", box([10, 10, 1.5], [30, 49, 10]))
    pressed = Contact("touches", "disk", "case", (), ("floor",), gives=0.5)
    (finding,) = ask(case, disk, contacts=[pressed])
    assert finding.details["solids"] == ("case.rear ~ disk.body",)
    assert finding.measured == pytest.approx(1)
    (both,) = ask(case, disk)
    assert both.details["solid_pairs"] == 2


@pytest.mark.parametrize(("depth", "count"), [(0.5, 0), (0.509, 0), (0.52, 1)])
def test_a_pad_gives_so_far_and_no_farther(depth, count):
    found = ask(*pair(depth), contacts=[Contact("rest", "b", "a", gives=0.5)])
    assert len(found) == count
    if found:
        assert found[0].required == 0.5
        assert "their contact gives 0.5 mm" in found[0].sentence


def port(reach: float, depth: float = 10.0):
    """A block with a port at its top, and a fitting whose thread goes in by `reach`."""
    block = part("block", box([-20, -20, -40], [20, 20, 0]))
    fitting = part(
        "fitting",
        rod([0, 0, 0], [0, 0, 12], 18),
        rod([0, 0, -reach], [0, 0, 0], 13),
        names=("collar", "thread"),
    )
    zone = Zone(np.zeros(3), np.array([0, 0, -1.0]), 13.157 / 2 + 0.05, depth)
    join = Contact("join", "fitting", "block", ("collar",), ("body",), reach="thread", zone=zone)
    return ask(block, fitting, contacts=[join])


@pytest.mark.parametrize(("reach", "too_deep"), [(5, None), (10, None), (10.005, None), (12, 2.0)])
def test_a_thread_goes_in_as_deep_as_its_port(reach, too_deep):
    found = port(reach)
    assert [f.measured for f in found] == ([] if too_deep is None else [pytest.approx(too_deep)])
    if found:
        assert found[0].sentence.startswith(
            "block.body and fitting.thread are joined, but the end goes 2.0 mm deeper than the port takes"
        )


def test_parts_of_one_assembly_are_checked_solids_of_one_part_are_not():
    one = part("row.fan[1]", box([0, 0, 0], [120, 120, 25]), box([10, 10, 0], [20, 20, 30]), group="row")
    two = part("row.fan[2]", box([118, 0, 0], [238, 120, 25]), group="row")
    (finding,) = ask(one, two)
    assert finding.parts == ("row.fan[1]", "row.fan[2]")
    assert finding.details["mover"] == "row.fan[2]"


def test_the_case_stays_and_what_is_hit_is_named():
    case = part("case", box([0, 400, 0], [200, 402, 200]), names=("rear_panel",))
    radiator = part("radiator", box([50, 20, 10], [170, 440, 64]), says={"front": 20.0}, host="case")
    pump = part("pump", box([60, 0, 10], [100, 10, 60]))
    (finding,) = ask(case, radiator, pump, rooms=[room("case.hall", [0, 0, 0], [200, 400, 200])])
    assert finding.details["move"] == {"side": "front", "way": 40.0, "hits": ("radiator ~ pump.body",)}
    assert finding.sentence == (
        "case.rear_panel and radiator.body overlap 40.0 mm deep; "
        "radiator is free of it moved 40.0 mm to the front, but there it hits pump.body"
    )
    assert finding.mend == ""


def test_the_mend_is_a_written_offset_that_helps():
    case = part(
        "case", box([0, 400, 0], [200, 402, 200]), box([0, -2, 0], [200, 0, 200]), names=("rear", "front")
    )

    def scene(front, length=380):
        end = front + length
        radiator = part("radiator", box([50, front, 10], [170, end, 64]), says={"front": front}, host="case")
        drain = part("drain", box([60, end, 20], [70, end + 6, 30]), host="radiator")
        return case, radiator, drain

    alone = ask(*scene(30.0)[:2], clearance={"default": 2})
    # 30 + 380 - 400 = 10 mm out of the wall, and 2 mm more for the clearance.
    assert [f.mend for f in alone] == ["set front of radiator to 18.0 mm"]
    assert ask(*scene(18.0)[:2]) == ()
    # Its drain would still be in the wall then; so only its carrier's offset can help.
    joined = [Contact("join", "drain", "radiator")]
    both = ask(*scene(30.0), contacts=joined, clearance={"default": 2})
    assert [f.mend for f in both] == [""]
    (drain_only,) = ask(*scene(30.0, length=368), contacts=joined, clearance={"default": 2})
    assert drain_only.parts == ("case", "drain")
    # The drain ends at 404: 4 mm and the clearance of 2 mm.
    assert drain_only.mend == "set front of radiator to 24.0 mm"
    assert ask(*scene(24.0, length=368), contacts=joined) == ()


def test_no_mend_that_leaves_the_claimed_compartment_or_the_scene():
    case = part("case", box([0, 400, 0], [200, 402, 200]), names=("rear",))
    radiator = part(
        "radiator", box([50, 30, 10], [170, 410, 64]), says={"front": 30.0}, host="case", claims="case.hall"
    )
    (finding,) = ask(case, radiator, rooms=[room("case.hall", [0, 25, 0], [200, 400, 200])])
    assert finding.details["move"]["hits"] == ()
    assert finding.mend == ""


def test_a_join_is_not_pulled_apart_by_a_mend():
    floor = part("floor", box([0, 0, -10], [100, 20, -5]))
    block = part("block", box([5, 0, 0], [25, 20, 20]), says={"left": 5.0})
    fitting = part("fitting", box([25, 5, 5], [45, 15, 15]), host="block")
    wall = part("wall", box([43, 0, 0], [44, 20, 20]))
    (finding,) = ask(floor, block, fitting, wall, contacts=[Contact("join", "fitting", "block")])
    assert finding.details["mover"] == "fitting"
    assert finding.mend == "set left of block to 3.0 mm"


def test_no_mend_that_pulls_a_second_join_apart():
    floor = part("floor", box([0, 0, -10], [100, 20, -5]))
    block = part("block", box([5, 0, 0], [25, 20, 20]), says={"left": 5.0})
    fitting = part("fitting", box([25, 5, 5], [45, 15, 15]), host="block")
    wall = part("wall", box([43, 0, 0], [44, 20, 20]))
    far = part("far", box([40, 5, 15], [50, 15, 25]))
    joins = [Contact("join", "fitting", "block"), Contact("join", "fitting", "far")]
    found = ask(floor, block, fitting, wall, far, contacts=joins)
    assert [f.mend for f in found if f.parts == ("fitting", "wall")] == [""]


def test_no_mend_that_comes_too_near_to_something_else():
    case = part("case", box([0, 400, 0], [200, 402, 200]), names=("rear",))
    radiator = part("radiator", box([50, 30, 10], [170, 410, 64]), says={"front": 30.0}, host="case")
    post = part("post", box([50, 0, 10], [60, 17, 64]))
    # At front: 18 the radiator would be 1 mm from the post; 2 mm are demanded.
    assert [f.mend for f in ask(case, radiator, post, clearance={"default": 2})] == [""]
    assert [f.mend for f in ask(case, radiator, post, clearance={"default": 0.5})] == [
        "set front of radiator to 19.5 mm"
    ]


def test_what_stands_in_the_world_is_simply_moved():
    floor = part("floor", box([0, 0, -10], [100, 20, -5]))
    (finding,) = ask(floor, *pair(3))
    assert finding.mend == "move b 3.0 mm to the right"


whole = st.integers(-6, 6)
sizes = st.integers(1, 7)
corner = st.tuples(whole, whole, whole)
extent = st.tuples(sizes, sizes, sizes)


def overlap_of(a, b):
    """(3,) how far two boxes (2, 3) overlap along each axis; negative when apart."""
    return np.minimum(a[1], b[1]) - np.maximum(a[0], b[0])


def each_side_move_is_just_enough(low, size, other):
    still = np.array([[0, 0, 0], other], float)
    moving = np.array([low, np.add(low, size)], float)

    def scene(by):
        return ask(
            part("a", box(*still)), part("b", box(*moving), pose=Frame(np.eye(3), np.array(by, float)))
        )

    found = scene([0, 0, 0])
    assert bool(found) == bool((overlap_of(still, moving) > 0).all())
    if not found:
        return
    volume = np.prod(overlap_of(still, moving))
    assert found[0].details["volume"] == pytest.approx(volume)
    # For boxes along the axes the shortest way out is the shortest of the six sides.
    if found[0].details["mover"] == "b":
        assert found[0].measured == pytest.approx(min(found[0].details["moves"].values()))
        for side, way in found[0].details["moves"].items():
            assert scene(SIDES[side] * way) == ()
            assert scene(SIDES[side] * (way - 0.5))


@settings(derandomize=True, deadline=None, max_examples=150)
@given(low=corner, size=extent, other=extent)
def test_each_side_move_is_just_enough(low, size, other):
    each_side_move_is_just_enough(low, size, other)


@pytest.mark.long
@settings(derandomize=True, deadline=None, max_examples=4000)
@given(low=corner, size=extent, other=extent)
def test_each_side_move_is_just_enough_at_length(low, size, other):
    each_side_move_is_just_enough(low, size, other)


def test_sixty_parts_against_all_pairs():
    chance = np.random.default_rng(7)
    low = chance.integers(0, 200, (60, 3)).astype(float)
    boxes = np.stack([low, low + chance.integers(10, 60, (60, 3))], axis=1)
    found = ask(*(part(f"p{i}", box(*b)) for i, b in enumerate(boxes)))
    expected = {
        (f"p{i}", f"p{j}"): overlap_of(boxes[i], boxes[j])
        for i, j in combinations(range(60), 2)
        if (overlap_of(boxes[i], boxes[j]) > 0).all()
    }
    assert len(expected) > 20
    assert [f.parts for f in found] == list(expected)
    for finding in found:
        assert finding.details["volume"] == pytest.approx(np.prod(expected[finding.parts]))
