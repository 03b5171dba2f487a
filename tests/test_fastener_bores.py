"""Holes as a screw meets them: material along lines against points that are asked one by one, models by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes import inside, placed, shape
from worlds import box, part, rod

from fitcheck.fasteners.bores import bores, covers, material
from fitcheck.fasteners.crossings import crossings, joined, through
from fitcheck.parts.outline import extruded, hollow_cylinder
from fitcheck.parts.pieces import moved
from fitcheck.parts.polygon import Cutout
from fitcheck.parts.solids import Solid
from fitcheck.world.frames import turn_about

UP = np.array([0.0, 0.0, 1.0])
PIECES = {
    "box": box([-5, -8, -3], [5, 8, 3]),
    "rod": rod([0, 0, -6], [0, 0, 6], 9),
    "sheet": extruded(np.array([[-9, -9], [9, -9], [9, 9], [0, 2], [-9, 9]], float), 2, -1, 1, [Cutout("h", "round", (0, -3), (4, 4))])[0],
    "tube": hollow_cylinder(12, 7, 10)[0],
}  # fmt: skip


@settings(derandomize=True, deadline=None, max_examples=150)
@given(kind=st.sampled_from(sorted(PIECES)), seed=st.integers(0, 10_000))
def test_stretches_hold_the_points_that_lie_inside(kind, seed):
    random = np.random.default_rng(seed)
    axis = random.normal(size=3)
    turn = turn_about(axis / np.linalg.norm(axis), float(random.uniform(0, 360)))
    piece = moved(PIECES[kind], turn, random.uniform(-5, 5, 3))
    way = random.normal(size=3)
    way /= np.linalg.norm(way)
    starts = random.uniform(-8, 8, (3, 3))
    for start, stretches in zip(starts, crossings(piece, starts, way), strict=True):
        along = random.uniform(-30, 30, 60)
        ends = np.array([end for stretch in stretches for end in stretch])
        clear = np.array([len(ends) == 0 or np.abs(ends - at).min() > 1e-6 for at in along])
        ours = np.array([any(low < at < high for low, high in stretches) for at in along])
        theirs = inside(Solid("s", (piece,)), start + along[:, None] * way)
        assert (ours == theirs)[clear].all()


def test_what_meets_is_one_stretch():
    assert joined([(4, 5), (0, 2), (2.01, 3)]) == [(0, 3), (4, 5)]
    stacked = [Solid("a", (box([0, 0, 0], [4, 4, 2]),)), Solid("b", (box([0, 0, 2], [4, 4, 5]),))]
    assert through(stacked, np.array([[1.0, 1.0, 9.0]]), -UP) == [[(pytest.approx(4), pytest.approx(9))]]
    assert through([], np.array([[1.0, 1.0, 9.0]]), -UP) == [[]]


@pytest.mark.parametrize(
    ("model", "given_", "hole", "solid", "deep", "through_"),
    [
        ("fan", {"depth": 25}, "screws[1][1]", "frame", 25, True),
        ("flat_panel", {"thickness": 3}, "grid[1][1]", "panel", 3, True),
        ("corner_bracket", {"thickness": 2}, "holes_y[1]", "angle", 2, True),
        ("corner_bracket", {"thickness": 2}, "holes_z[2]", "angle", 2, True),
        ("board", {}, "hole_c", "pcb", 1.57, True),
        ("radiator", {"screw_depth": 5}, "fan_screws[1][1][1]", "core", 5, False),
        ("standoff", {"height": 10}, "tapped", "pillar", 9, False),
        ("radiator_rail", {"thickness": 2}, "fan_slots[1][1]", "angle", 2, True),
        ("board_tray", {"form": "atx", "standoff": 8}, "hole_m", "post_m", 8, False),
    ],
)  # fmt: skip
def test_holes_of_the_models(model, given_, hole, solid, deep, through_):
    values = ", ".join(f"{key}: {value}" for key, value in given_.items())
    world = placed(f"  thing: {{model: {model}, with: {{{values}}}, place: {{at: [7, -3, 11], turn: 30}}}}")
    (found,) = [one for one in bores(world, world.by_name["thing"]) if hole in one.names]
    assert (found.solid, found.through) == (solid, through_)
    assert found.deep == pytest.approx(deep, abs=1e-6)
    assert found.inside == (model == "radiator")


def test_a_hole_through_a_fan_has_two_names():
    world = placed("  fan: {model: fan}")
    found = bores(world, world.by_name["fan"])
    assert [one.names for one in found[:2]] == [
        ("screws[1][1]", "intake_screws[1][1]"), ("screws[1][2]", "intake_screws[1][2]")
    ]  # fmt: skip
    assert found[0].name_at(np.array([0, 0, 25.0])) == "fan.intake_screws[1][1]"
    assert found[0].name_at(np.array([0, 0, 0.0])) == "fan.screws[1][1]"


def test_a_slot_lets_its_screw_wander():
    world = placed("  rail: {model: radiator_rail, with: {slot_length: 10}}")
    slot = next(one for one in bores(world, world.by_name["rail"]) if one.names == ("fan_slots[1][1]",))
    # 10 long, 3.4 wide: the screw's middle runs 3.3 to either side.
    assert np.linalg.norm(slot.long) == pytest.approx(3.3)
    assert slot.diameter == 3.4


def test_no_material_at_a_mouth():
    made = shape("fan")
    assert material(made, np.array([0, 0, 60.0]), UP, 4.0) == ("", 0.0)


def test_covering():
    plate = part("plate", box([0, 0, 0], [20, 20, 2]))
    place = np.array([10.0, 10.0, 2.5])
    assert covers(plate, place, -UP, 2.0, 0.5)
    assert not covers(plate, place, -UP, 2.0, 0.2)
    assert not covers(plate, place, UP, 2.0, 0.5)
    assert not covers(plate, np.array([19.0, 10.0, 2.0]), -UP, 2.0, 0.0)


def test_beside_a_rib_the_thinner_side_counts():
    # A plate of 2 with a rib of 6 below one half of the hole: where it is 2 thick the screw comes out.
    made = part("p", box([-20, -20, -2], [20, 20, 0]), box([1, -20, -8], [20, 20, -2]))
    assert material(made.shape, np.zeros(3), UP, 4.0) == ("body", pytest.approx(2.0))
    # All over a block the hole goes on through what lies behind.
    block = part("b", box([-20, -20, -2], [20, 20, 0]), box([-20, -20, -8], [20, 20, -2]))
    assert material(block.shape, np.zeros(3), UP, 4.0) == ("body", pytest.approx(8.0))
