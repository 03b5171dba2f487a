"""Runs that can have no way, made so: none gets one, the reason is the right one, and what would pass is as built."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from run_oracles import oblong_hole, plate, round_hole
from run_problems import CLEARANCE, OUTSIDE, RADIUS, asked_in, case, wish
from scipy.spatial.transform import Rotation
from worlds import box, part

from fitcheck.runs.together import lay_all
from fitcheck.world.frames import Frame
from fitcheck.world.wishes import LaidRun, NoWay, Passage
from fitcheck.world.world import Part, World

# What must be free about the axis on both sides, mm.
FREE = OUTSIDE + 2 * CLEARANCE
# Edge of a sheet that ends half way in the walls of its case, mm.
SEATED = 181.5


def why(scene: World) -> NoWay:
    """The reason that the only run of a scene has none."""
    (run,) = lay_all(scene)
    assert run.corners is None
    assert run.no_way is not None
    return run.no_way


def parted(sheet: Part, pose: Frame) -> World:
    """A case with a sheet across it, and a tube from one side to the other."""
    ends = [(pose.point(np.array(at, float)), pose.direction(np.array(out, float)))
            for at, out in (([10, 15, -100], [0, 0, 1]), ([-20, 10, 100], [0, 0, -1]))]  # fmt: skip
    corners = np.array([[-90.0, -90.0, -130.0], [90.0, 90.0, 130.0]], float)
    return asked_in(wish(*ends), sheet, case(corners, 0.0, pose))


def tilted(seed: int) -> Frame:
    """Square to the axes for 0, else anyhow."""
    turn = Rotation.identity() if seed == 0 else Rotation.random(rng=np.random.default_rng(seed))
    return Frame(turn.as_matrix(), np.array([3.0, -2.0, 5.0]))


@pytest.mark.parametrize(
    "piece",
    [
        box([-SEATED / 2, -SEATED / 2, -1], [SEATED / 2, SEATED / 2, 1]),
        pytest.param(plate(0.5, size=SEATED), marks=pytest.mark.long),
    ],
    ids=["box", "mesh"],
)
@pytest.mark.parametrize("seed", [0, pytest.param(3, marks=pytest.mark.long)])
def test_a_closed_wall_between_the_ends(piece, seed):
    pose = tilted(seed)
    told = why(parted(part("sheet", piece, pose=pose), pose))
    assert (told.reason, told.proved, told.widest) == ("narrow", True, 0.0)
    # Tilted in a case that is not, it might as well go out and in again.
    assert told.parts[0] == "sheet.body" if seed == 0 else told.parts
    assert told.largest_outside is None


# Each hole lacks 0.1 mm.
HOLES = {
    "round": round_hole(FREE - 0.1),
    "slot": oblong_hole(FREE - 0.1, 40),
    "rectangle": shapely.box(-20, -(FREE - 0.1) / 2, 20, (FREE - 0.1) / 2),
    "square": shapely.box(*[-(FREE - 0.1) / 2] * 2, *[(FREE - 0.1) / 2] * 2),
}


@pytest.mark.parametrize(
    "seed", [0, pytest.param(5, marks=pytest.mark.long), pytest.param(6, marks=pytest.mark.long)]
)
@pytest.mark.parametrize(
    "hole",
    [*(pytest.param(name, marks=pytest.mark.long) for name in ("round", "slot", "rectangle")), "square"],
)
def test_a_hole_too_small_by_a_tenth(hole, seed):
    pose = tilted(seed)
    told = why(parted(part("sheet", plate(2.0, HOLES[hole], size=SEATED), pose=pose), pose))
    assert (told.reason, told.proved, told.parts) == ("narrow", True, ("sheet.body",))
    assert told.widest == pytest.approx(OUTSIDE - 0.1, abs=0.3)
    # Bends take nothing more: what is straight before the hole is long enough.
    assert told.largest_outside == pytest.approx(OUTSIDE - 0.1, abs=0.3)


def opening(shape: str, size: tuple[float, float]) -> Passage:
    """In the middle of a sheet square to z, 2 mm thick."""
    up, axis = np.array([1.0, 0, 0]), np.array([0, 0, 1.0])
    return Passage("sheet.gap", "sheet", "body", np.array([0, 0, 1.0]), axis, up, shape, size, 2.0)


@pytest.mark.parametrize("shape", ["round", "slot", "rectangle"])
@pytest.mark.parametrize(("lacks", "fits"), [(0.1, False), (-0.1, True)])
def test_a_named_opening_at_its_limit(shape, lacks, fits):
    # Play on both sides.
    width = OUTSIDE + 2 * 0.5 - lacks
    cut = {"round": round_hole(width + 0.01), "slot": oblong_hole(width + 0.01, 40),
           "rectangle": shapely.box(-20, -width / 2, 20, width / 2)}[shape]  # fmt: skip
    scene = parted(part("sheet", plate(2.0, cut, size=SEATED)), tilted(0))
    # In the middle of the case, not where the sheets of the others stand.
    asked = replace(
        scene.wishes[0], through=((opening(shape, (width if shape == "round" else 40.0, width)),),)
    )
    scene = replace(scene, wishes=(asked,))
    if fits:
        (run,) = lay_all(scene)
        assert run.corners is not None
        assert run.through == ("sheet.gap",)
        return
    told = why(scene)
    assert (told.reason, told.proved, told.place) == ("narrow", True, "sheet.gap")
    assert told.widest == pytest.approx(OUTSIDE - 0.1, abs=1e-6)


def flat_case(deep: float) -> Part:
    """A case so flat that a tube in it can bend in one plane only; its front wall stands behind the mouths."""
    off = OUTSIDE / 2 + CLEARANCE + 0.3
    return case(np.array([[0, -OUTSIDE, 0], [60, deep, 0]], float), off)


def test_a_u_turn_in_a_box_too_narrow_for_it():
    # Two mouths 60 apart that look the same way: a half turn between them has 30 mm, 40 are demanded.
    ends = ([0, 0, 0], [0, 1, 0]), ([60, 0, 0], [0, 1, 0])
    fits = wish(*ends, radius=29.9)
    (run,) = lay_all(asked_in(fits, flat_case(15 + 30)))
    assert run.corners is not None
    told = why(asked_in(wish(*ends), flat_case(15 + 30)))
    assert (told.reason, told.proved) == ("bend", False)
    assert "port" in told.place
    assert told.largest_radius == pytest.approx(30, abs=0.6)
    # It is not the outside that is in the way.
    assert told.widest >= OUTSIDE


def crossing(named: bool) -> World:
    """Two tubes through a wall whose only hole takes one; they may name it."""
    width = OUTSIDE + 2 if named else FREE + 1
    scene = parted(part("sheet", plate(2.0, round_hole(width + 0.01), size=SEATED)), tilted(0))
    (first,) = scene.wishes
    second = wish(([60, -40, -95], [0, 0, 1]), ([60, -40, 105], [0, 0, -1]))
    second = replace(second, name="other", start=replace(second.start, part="start_2"),
                     goal=replace(second.goal, part="goal_2"))  # fmt: skip
    ends = [replace(one, name=f"{one.name}_2") for one in asked_in(second).parts]
    through = ((opening("round", (width, width)),),) if named else ()
    wishes = tuple(replace(one, through=through) for one in (first, second))
    return replace(scene, parts=(*scene.parts, *ends), wishes=wishes)


NAMED = pytest.mark.parametrize("named", [True, pytest.param(False, marks=pytest.mark.long)])


@NAMED
def test_what_one_has_taken_the_other_has_not(named):
    runs: tuple[LaidRun, ...] = lay_all(crossing(named))
    (has,), (lacks,) = ([run for run in runs if (run.corners is None) == gone] for gone in (False, True))
    assert lacks.no_way is not None
    assert (lacks.no_way.reason, lacks.no_way.proved, lacks.no_way.parts) == ("taken", False, (has.name,))


@NAMED
def test_each_of_them_alone_has_a_way(named):
    scene = crossing(named)
    for asked in scene.wishes:
        (run,) = lay_all(replace(scene, wishes=(asked,)))
        assert run.corners is not None
        assert run.radius >= RADIUS
