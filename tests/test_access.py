"""Access through openings of known size, against closed forms and against tools drawn as solids."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from run_oracles import meshed, plate, round_hole
from test_interference import CUBE, CUBE_FACES
from worlds import box, mesh, part, rod, room, world

from fitcheck.checks.access import check_access
from fitcheck.finding import Verdict
from fitcheck.parts.features import Face, Hole, Link, Port, Shape
from fitcheck.parts.pieces import moved
from fitcheck.reaching.sizes import DRIVER
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.world.bodies import bodies
from fitcheck.world.engine import measure
from fitcheck.world.frames import SIDES
from fitcheck.world.world import Part

UP = np.array([0.0, 0, 1])


def with_port(made: Part, at=(0, 0, 0), axis=UP) -> Part:
    link = Link("thread", "G1/4", "female")
    port = Port("mouth", np.array(at, float), np.array(axis, float), np.array([1.0, 0, 0]), link, 8.0)
    hole = Hole("screw", np.array(at, float), np.array(axis, float), 3.0)
    face = Face("top", np.array(at, float), np.array(axis, float), np.array([1.0, 0, 0]), (10.0, 10.0))
    shape = Shape(solids=made.shape.solids, ports={"mouth": port}, holes={"screw": hole}, faces={"top": face})
    return Part(made.name, made.group, made.model, made.pose, shape)


def thing(size=10.0):
    return with_port(part("thing", box([-size, -size, -20], [size, size, 0])))


def shell(hole: float, high: float = 150.0):
    """A box 300 wide about the thing, its lid with a round hole right above it."""
    walls = [
        box([-150, -150, -30], [150, 150, -28]), box([-150, -150, -28], [-148, 150, high]),
        box([148, -150, -28], [150, 150, high]), box([-148, -150, -28], [148, -148, high]),
        box([-148, 148, -28], [148, 150, high]),
    ]  # fmt: skip
    lid = moved(plate(2.0, round_hole(hole), size=300.0), np.eye(3), np.array([0, 0, high + 1.0]))
    names = ("floor", "left", "right", "front", "rear", "lid")
    return part("case", *walls, lid, names=names)


def ask(*parts, to="thing.mouth", opened=(), shut=("bottom",), **reach):
    key = "part" if to in ("thing", "thing.body") else "to"
    rule = {"opened": list(opened), "shut": list(shut), "reach": [{key: to, **reach}]}
    (finding,) = check_access(
        world(*parts, access=rule, rooms=(room("case.inside", [0, 0, 0], [1, 1, 1]),))
    ).findings
    return finding


@pytest.mark.parametrize(("hole", "by", "gets"), [
    (60, "finger", True), (60, "fingers", True), pytest.param(60, "hand", False, marks=pytest.mark.long), (101, "hand", True), (99, "hand", False),
    (24, "finger", False), (26, "finger", True),
])  # fmt: skip
def test_through_a_round_hole_of_known_size(hole, by, gets):
    finding = ask(thing(), shell(hole), by=by)
    assert finding.verdict == (Verdict.FITS if gets else Verdict.FAILS)
    if not gets:
        # The hole's polygon lies inside its circle by no more than 0.002 mm.
        assert finding.measured == pytest.approx(hole, abs=0.15)
        assert finding.details["by"][0] == "case.lid"
        assert finding.where[0][2] == pytest.approx(151, abs=2)


def test_round_the_corner():
    """The hole is far aside: straight in nothing gets, a hand does."""
    away = moved(plate(2.0, round_hole(110.0, 80, 80), size=300.0), np.eye(3), np.array([0, 0, 151.0]))
    case = shell(60)
    solids = {**case.shape.solids}
    walls = [piece for name, solid in solids.items() if name != "lid" for piece in solid.pieces]
    open_aside = part("case", *walls, away, names=("floor", "left", "right", "front", "rear", "lid"))
    assert ask(thing(), open_aside, by="hand").verdict == Verdict.FITS


def test_what_is_opened_and_what_is_shut():
    case = shell(20)
    assert ask(thing(), case, by="hand").verdict == Verdict.FAILS
    assert ask(thing(), case, by="hand", opened=["case.lid"]).verdict == Verdict.FITS
    assert ask(thing(), case, by="hand", opened=["case.left"]).verdict == Verdict.FITS
    assert ask(thing(), case, by="hand", opened=["case.left"], shut=["left"]).verdict == Verdict.FAILS
    closed = ask(thing(), case, by="hand", opened=["case.floor"], shut=["bottom", "left", "right"])
    assert closed.verdict == Verdict.FAILS


@pytest.mark.parametrize("gap", [40.0, 50.2, 49.8])
def test_between_two_walls_beside_the_place(gap):
    """Two fingers of 50 mm between walls on either side of it."""
    walls = part(
        "walls",
        box([-gap / 2 - 5, -60, 0], [-gap / 2, 60, 80]),
        box([gap / 2, -60, 0], [gap / 2 + 5, 60, 80]),
    )
    finding = ask(thing(), walls, by="fingers")
    assert finding.verdict == (Verdict.FITS if gap > 50 else Verdict.FAILS)
    if gap < 50:
        assert finding.measured == pytest.approx(gap, abs=0.05)
        assert finding.details["by"][0].startswith("walls.")


def test_other_places_and_solids():
    assert ask(thing(), to="thing.screw", by="finger").verdict == Verdict.FITS
    assert ask(thing(), to="thing.top", by="finger").verdict == Verdict.FITS
    assert ask(thing(), to="thing.body", by="hand", side="left").verdict == Verdict.FITS
    assert ask(thing(), to="thing", by="hand").verdict == Verdict.FITS
    wall = part("wall", box([-30, -200, -200], [-28, 200, 200]))
    assert ask(thing(), wall, to="thing.body", by="hand", side="left").verdict == Verdict.FAILS
    assert ask(thing(), wall, to="thing.body", by="hand").verdict == Verdict.FITS
    with pytest.raises(ValueMistake, match="no part, port, hole, face or solid") as error:
        ask(thing(), to="thing.moth", by="hand")
    assert error.value.mend == "write thing.mouth"


def test_a_buried_place_is_not_reached():
    block = part("block", meshed(trimesh.creation.box(extents=[400, 400, 400])))
    assert ask(thing(), block, by="finger").verdict == Verdict.FAILS


@pytest.mark.parametrize(("x", "z", "gets"), [
    (4.2, 50, True), (3.8, 50, False),      # beside the shank of 8
    (15.2, 150, True), (14.8, 150, False),  # beside the handle of 30
    (50.3, 250, True), (48.0, 250, False),  # beside the hand of 100, 100 + 100 + 50 up
])  # fmt: skip
def test_a_driver_beside_a_thin_post(x, z, gets):
    """A post 400 wide across at one height, its face at x."""
    post = part(
        "post", box([x, -400, z - 2], [x + 400, 400, z + 2]), box([-x - 400, -400, z - 2], [-x, 400, z + 2])
    )
    finding = ask(thing(3.0), post, by="driver")
    assert (finding.verdict == Verdict.FITS) is gets
    if not gets:
        assert finding.parts[1].startswith("post.")


@given(seed=st.integers(0, 10_000))
@settings(max_examples=60, deadline=None)
def test_the_tool_against_itself_drawn_as_cylinders(seed):
    """What stops the shank or the handle is what the engine finds nearer than rounding to them."""
    random = np.random.default_rng(seed)
    low = random.uniform(-60, 60, (3, 3)) + np.array([0, 0, 90])
    clutter = [box(corner, corner + random.uniform(3, 40, 3)) for corner in low]
    blocks = part("blocks", *clutter)
    finding = ask(thing(3.0), blocks, by="driver", shut=["bottom"], tool={"hand": 1.0})
    ends = DRIVER.reach + DRIVER.length
    solids = bodies(world(
        part("shank", rod([0, 0, 4], [0, 0, DRIVER.reach], DRIVER.shank)),
        part("handle", rod([0, 0, DRIVER.reach + 15], [0, 0, ends], DRIVER.handle)), blocks,
    ))  # fmt: skip
    apart = min(m.distance - m.depth for m in measure(solids, [(i, j) for i in (0, 1) for j in range(2, 5)]))
    if apart < -0.02:
        assert finding.verdict == Verdict.FAILS
    # The ends of the tool are round, those of the cylinders flat: farther than a handle's radius they agree.
    if apart > 16:
        assert finding.verdict == Verdict.FITS


def test_mirrored_and_shifted_the_same():
    for side in ("left", "right", "front", "rear", "top"):
        towards = SIDES[side]
        wall = part(
            "wall",
            box(
                *np.sort(
                    [towards * 60 - 200 * (1 - np.abs(towards)), towards * 62 + 200 * (1 - np.abs(towards))],
                    axis=0,
                )
            ),
        )
        finding = ask(thing(), wall, to="thing.body", side=side, by="hand")
        assert finding.verdict == Verdict.FAILS
        assert finding.measured == pytest.approx(60 - (10 if side != "top" else 0), abs=0.2)


def test_a_place_in_the_mouth_of_an_open_mesh_is_not_known_to_be_reached():
    """A bowl 60 wide, open on top: what lies at its rim may lie in what it stands for."""
    bowl = part("bowl", mesh(3 * np.array(CUBE), CUBE_FACES[:-2], closed=False))
    inside = with_port(part("thing", box([25, 25, 40], [35, 35, 50])), at=(30, 30, 50))
    finding = ask(bowl, inside, by="finger", diameter=10.0)
    assert finding.verdict == Verdict.UNKNOWN
    assert finding.sentence == (
        "whether a finger of 10.0 mm can get to thing.mouth is not decided: the mesh of bowl.body is not closed"
    )
    beside = with_port(part("thing", box([100, 25, 40], [110, 35, 50])), at=(105, 30, 50))
    assert ask(bowl, beside, by="finger", diameter=10.0).verdict == Verdict.FITS
