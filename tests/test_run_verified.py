"""Ways that the search finds, verified by other means: in free space, in clutter, near closed forms."""

from __future__ import annotations

import math
from dataclasses import replace

import dubins
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from run_problems import STUB, asked_in, cluttered, mouth, wish
from run_verifier import faults, run_faults
from scipy.spatial.transform import Rotation
from small_runs import SOFT, fitting, load
from worlds import world

from fitcheck.finding import Verdict
from fitcheck.report import check_world
from fitcheck.runs.lay import laid
from fitcheck.runs.single import Way, bound, find_way
from fitcheck.runs.together import lay_all
from fitcheck.world.frames import Frame
from fitcheck.world.wishes import LaidRun, RunWish
from fitcheck.world.world import World

steady = settings(derandomize=True, deadline=None, max_examples=5, suppress_health_check=list(HealthCheck))


def found(among: World, asked: RunWish) -> LaidRun | None:
    """What the search says of a run, ready for the verifier; None where it found no way."""
    way = find_way(among, asked)
    if not isinstance(way, Way):
        return None
    corners, radius = way.route.corners, way.route.radius
    through = tuple(passage.place for passage in way.through)
    return LaidRun(asked, corners, radius, length=way.route.length, bound=bound(asked), through=through)


def free_space(count: int, seed: int) -> None:
    """Ports anywhere in a case of 700 x 320 x 650 mm, with tubes and cables as they come."""
    rng = np.random.default_rng(seed)
    ratios = []
    for _ in range(count):
        ends = [(rng.uniform(0, 1, 3) * [700, 320, 650], mouth(rng)[1]) for _ in range(2)]
        asked = wish(*ends, radius=float(rng.uniform(20, 70)))
        run = found(asked_in(asked), asked)
        assert run is not None
        assert run_faults(asked_in(asked), run) == []
        ratios.append(run.length / run.bound)
    assert np.median(ratios) <= 1.001
    assert np.percentile(ratios, 90) <= 1.05


def test_ways_in_free_space_are_near_the_proved_bound():
    free_space(40, seed=11)


@pytest.mark.long
def test_ways_in_free_space_are_near_the_proved_bound_500():
    free_space(500, seed=12)


def planar(count: int, seed: int) -> int:
    """Ways between poses of one plane turned anyhow in space; how many are held to the closed form."""
    rng = np.random.default_rng(seed)
    held = 0
    for _ in range(count):
        x, y = rng.uniform(-1, 1, 2) * rng.choice([100, 200, 400])
        a, b = rng.uniform(0, 2 * math.pi, 2)
        length, word, parts = dubins.shortest(x, y, a, b, 50)
        frame = Frame(Rotation.random(rng=rng).as_matrix(), rng.uniform(-300, 300, 3))
        way, arrival = (frame.direction(np.array([math.cos(t), math.sin(t), 0])) for t in (a, b))
        start, goal = frame.point(np.zeros(3)), frame.point(np.array([x, y, 0]))
        asked = wish((start - STUB * way, way), (goal + STUB * arrival, -arrival), radius=50.0)
        run = found(world(), asked)
        if run is not None:
            assert run_faults(world(), run) == []
        if word[1] == "S" and max(parts[0], parts[2]) <= math.pi:
            # No way out of the plane is shorter either, and none such meets itself.
            assert run is not None
            assert run.length - 2 * STUB == pytest.approx(length, abs=0.1), (x, y, a, b)
            held += 1
    return held


def test_planar_ways_meet_the_closed_forms():
    assert planar(40, seed=13) > 12


@pytest.mark.long
def test_planar_ways_meet_the_closed_forms_at_length():
    assert planar(1000, seed=14) > 400


def in_clutter(seed: int, radius: float, outside: float) -> bool:
    """Whether a way was found; if so it is right."""
    scene = cluttered(np.random.default_rng(seed))
    (plain,) = scene.wishes
    asked = replace(plain, radius=radius, outside=outside)
    run = found(scene, asked)
    assert run is None or run_faults(scene, run) == []
    return run is not None


SIZES = st.sampled_from([(13.0, 40.0), (6.0, 18.0), (10.0, 60.0), (16.0, 35.0)])


@steady
@given(seed=st.integers(0, 2**31), size=SIZES)
def test_no_wrong_way_in_clutter(seed, size):
    in_clutter(seed, radius=size[1], outside=min(size[0], 13.0))


@pytest.mark.long
@settings(steady, max_examples=300)
@given(seed=st.integers(0, 2**31), size=SIZES)
def test_no_wrong_way_in_clutter_long(seed, size):
    in_clutter(seed, radius=size[1], outside=min(size[0], 13.0))


@pytest.mark.parametrize("seed", range(2))
def test_runs_beside_each_other_in_clutter(seed):
    three = [cluttered(np.random.default_rng([seed, k]), count=3) for k in range(3)]
    names = [f"{k}" for k in range(3)]
    wishes, parts = [], []
    for name, one in zip(names, three, strict=True):
        (asked,) = one.wishes
        ends = (
            replace(end, place=f"{end.place}_{name}", part=f"{end.part}_{name}")
            for end in (asked.start, asked.goal)
        )
        start, goal = ends
        wishes.append(replace(asked, name=f"tube_{name}", start=start, goal=goal))
        parts += [replace(part, name=f"{part.name}_{name}") for part in one.parts]
    scene = replace(world(*parts), wishes=tuple(wishes))
    runs = lay_all(scene)
    assert faults(replace(scene, laid=runs)) == []
    assert sum(run.corners is not None for run in runs) >= 2


# From the left to a mouth below that looks up: too near for a quarter turn, and three quarters of one the other
# way round would cross their own beginning.
CROSSED = fitting("left_end", "[0, 0, 0]", "+x") + fitting("right_end", "[70, 0, -80]", "+z")
TUBE = f"tube: {{{SOFT}, from: left_end.tube_end, to: right_end.tube_end}}"


def test_no_tube_passes_through_itself():
    scene = laid(load(CROSSED, TUBE))
    assert faults(scene) == []
    (run,) = scene.laid
    assert run.corners is not None
    # A hook drawn by hand: up, round by 270 degrees to the right, and down at last.
    assert run.length <= 360


def test_a_loop_drawn_through_itself_is_told():
    points = [[150, 0, 0], [150, 0, 100], [70, 0, 100]]
    scene = load(CROSSED, TUBE.replace("}", f", points: {points}}}"))
    (told,) = [f for f in check_world(scene, facts=False).findings if f.check == "run"]
    assert told.verdict == Verdict.FAILS
    assert "it passes through itself" in told.sentence
