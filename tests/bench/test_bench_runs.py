"""How long tubes and cables take to be laid, all once warm: ours, a general planner's, and how ours grows.

Run with `pytest tests/bench/test_bench_runs.py --benchmark-enable -s -m '' -n 0`; the planner needs the extra
`bench`, what it leaves out stands in `planner.py`. Ways are proved and polished in our time, not in the planner's.
"""

from __future__ import annotations

import time
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest
import trimesh
from planner import plan

import fitcheck
from fitcheck.parts.features import Shape
from fitcheck.parts.pieces import new_mesh
from fitcheck.parts.solids import Kind, Piece, Solid
from fitcheck.runs.demands import in_the_way
from fitcheck.runs.guarded import guarded
from fitcheck.runs.obstacles import distance_at
from fitcheck.runs.single import Way, find_way
from fitcheck.runs.together import lay_all
from fitcheck.world.frames import Frame
from fitcheck.world.wishes import RunWish
from fitcheck.world.world import Part, World

DOME = Path(__file__).resolve().parents[2] / "scenes" / "dome_render.yaml"
# So many runs show how it grows.
FEW = 6


@pytest.fixture(scope="module")
def world() -> World:
    return guarded(fitcheck.load(DOME))


def asked(world: World, count: int | None = None) -> list[RunWish]:
    """The runs that are to be found, in scene order."""
    return [wish for wish in world.wishes if wish.drawn is None][:count]


def alone(world: World, wishes: list[RunWish]) -> tuple[np.ndarray, int]:
    """Seconds for each run searched alone, and how many have a way."""
    took, ways = [], 0
    for wish in wishes:
        begun = time.perf_counter()
        ways += isinstance(find_way(world, wish), Way)
        took.append(time.perf_counter() - begun)
    return np.array(took), ways


def said(what: str, took: np.ndarray) -> str:
    middle, late = np.percentile(took, [50, 90])
    return f"{what}: median {middle:.3f} s, 90 % within {late:.3f} s, all within {took.max():.3f} s"


def test_one_tube_alone(benchmark, world):
    wishes = asked(world, None if benchmark.enabled else 1)
    alone(world, wishes[:1])
    took, ways = alone(world, wishes)
    assert ways == len(wishes)
    if benchmark.enabled:
        print("\n" + said(f"dome_render, {ways} runs each alone", took))
    benchmark.pedantic(find_way, args=(world, wishes[0]), rounds=3 if benchmark.enabled else 1)


def test_all_runs_of_a_scene(benchmark, world):
    if not benchmark.enabled:
        pytest.skip("takes as long as all runs of the scene do: with --benchmark-enable")
    alone(world, asked(world, 1))
    runs = benchmark.pedantic(lay_all, args=(world,), rounds=1)
    assert all(run.corners is not None for run in runs)
    print(
        f"\ndome_render, {len(runs)} runs beside each other: {benchmark.stats['mean'] / len(runs):.2f} s a run"
    )


@pytest.mark.skipif(find_spec("ompl") is None, reason="the extra `bench` is not installed")
def test_against_a_general_planner(benchmark, world):
    """On the runs that go through no opening, which it does not know of."""
    wishes = [wish for wish in asked(world) if not wish.through][: None if benchmark.enabled else 1]
    alone(world, wishes[:1])
    ours, ways = alone(world, wishes)
    assert ways == len(wishes)
    theirs = [plan(world, in_the_way(world, wish), wish) for wish in wishes]
    found = sum(length is not None for _, length in theirs)
    if benchmark.enabled:
        times = np.array([took for took, _ in theirs])
        print("\n" + said(f"{len(wishes)} runs without openings, ours", ours))
        print(said(f"RRT-Connect without bend radius, {found} found", times))
        print(f"median of the ratios, theirs to ours: {np.median(times / ours):.2f}")
    benchmark.pedantic(find_way, args=(world, wishes[0]), rounds=1)


def doubled(world: World) -> World:
    """Every part once more, beside the scene."""
    low, high = (np.array([part.bounds[k] for part in world.parts]) for k in (0, 1))
    by = np.array([high.max(axis=0)[0] - low.min(axis=0)[0] + 50.0, 0, 0])
    again = [
        replace(part, name=f"copy_{part.name}", group=f"copy_{part.group}", pose=Frame(part.pose.rotation, part.pose.origin + by))
        for part in world.parts
    ]  # fmt: skip
    return replace(world, parts=(*world.parts, *again))


def with_a_ball(world: World) -> World:
    """A ball of 202,248 triangles in a case, clear of everything."""
    ball = trimesh.creation.uv_sphere(radius=12.0, count=[318, 319])
    assert len(ball.faces) > 200_000
    half = np.ptp(ball.vertices, axis=0) / 2
    made = new_mesh(ball.vertices, ball.faces.astype(np.int32), True, 0.0)
    piece = Piece(Kind.MESH, half, np.eye(3), np.zeros(3), made)
    (room,) = list(world.compartments.values())[:1]
    places = np.random.default_rng(1).uniform(*room.bounds, (2000, 3))
    rooms = distance_at(in_the_way(world, world.wishes[0]), places)[0]
    pose = Frame(np.eye(3), places[int(rooms.argmax())])
    return replace(
        world,
        parts=(*world.parts, Part("ball", "ball", "ball", pose, Shape({"body": Solid("body", (piece,))}))),
    )


@pytest.mark.parametrize("change", [doubled, with_a_ball])
def test_growth(benchmark, world, change):
    wishes = asked(world, FEW if benchmark.enabled else 1)
    grown = change(world)
    begun = time.perf_counter()
    alone(grown, wishes[:1])
    first = time.perf_counter() - begun
    alone(world, wishes[:1])
    plain, _ = alone(world, wishes)
    more, _ = alone(grown, wishes)
    if benchmark.enabled:
        print(
            f"\n{change.__name__}: median of the ratios {np.median(more / plain):.2f}, the first {first:.2f} s"
        )
        print(said("before", plain) + "\n" + said("after", more))
    benchmark.pedantic(find_way, args=(grown, wishes[0]), rounds=1)
