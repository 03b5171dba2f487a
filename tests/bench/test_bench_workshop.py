"""How long it takes to ask what comes out, in which order, what carries what, and what can be reached.

Run with `pytest tests/bench/test_bench_workshop.py --benchmark-enable -s -m '' -n 0`. Each test prints its
figure; growth is told as the ratio of twice the parts to the parts, in one run.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from crowds import crowd

import fitcheck
from fitcheck.checks import CHECKS
from fitcheck.checks.taken_out import taken_out
from fitcheck.motions.apart import apart
from fitcheck.motions.blocking import Unit, blocking
from fitcheck.motions.straight import free_after, straight
from fitcheck.runs.lay import laid
from fitcheck.world import disk
from fitcheck.world.bodies import bodies
from fitcheck.world.engine import measure
from fitcheck.world.frames import SIDES
from fitcheck.world.world import World

DOME = Path(__file__).resolve().parents[2] / "scenes" / "dome_render.yaml"


@pytest.fixture(scope="module")
def world() -> World:
    return laid(fitcheck.load(DOME))


def test_all_checks(benchmark, world):
    """Every check of a scene with its tubes laid, one after the other."""
    if not benchmark.enabled:
        pytest.skip("seconds: with --benchmark-enable")
    fresh = [laid(fitcheck.load(DOME)) for _ in range(3)]
    took: dict[str, list[float]] = {check.name: [] for check in CHECKS}
    for one in fresh:
        for check in CHECKS:
            begun = time.perf_counter()
            check.run(one)
            took[check.name].append(time.perf_counter() - begun)
    middle = {name: float(np.median(times)) for name, times in took.items()}
    said = ", ".join(f"{name} {seconds * 1e3:.0f}" for name, seconds in middle.items())
    print(f"\nall checks of dome_render: {sum(middle.values()):.2f} s ({said} ms)")
    benchmark.pedantic(lambda: [check.run(world) for check in CHECKS], rounds=1)


def test_one_scene_at_once(benchmark, world, tmp_path, monkeypatch):
    """The checks of one scene as the command asks them: first with nothing remembered, then again; and the
    whole command in a new process, when all is."""
    if not benchmark.enabled:
        pytest.skip("seconds: with --benchmark-enable")
    monkeypatch.setattr(disk, "folders", lambda: [tmp_path])
    took: dict[str, list[float]] = {"one process": [], "first": [], "again": [], "command": []}
    for _ in range(3):
        for file in tmp_path.glob("answer-*"):
            file.unlink()
        for name, fast in (("one process", False), ("first", True), ("again", True)):
            one = laid(fitcheck.load(DOME))
            begun = time.perf_counter()
            fitcheck.check_world(one, facts=False, fast=fast)
            took[name].append(time.perf_counter() - begun)
    command = [sys.executable, "-c", "import fitcheck.cli; fitcheck.cli.run()", "check", str(DOME)]
    for _ in range(6):
        begun = time.perf_counter()
        said = subprocess.run(command, check=True, capture_output=True, text=True).stdout
        assert "plinth_radiator" in said
        took["command"].append(time.perf_counter() - begun)
    one, first, again = (float(np.median(took[name])) for name in ("one process", "first", "again"))
    command_took = float(np.median(took["command"][1:]))
    print(
        f"\ndome_render: one process {one:.2f} s, two {first:.2f} s ({one / first:.2f} times as fast), "
        f"again {again:.2f} s; the whole command again {command_took:.2f} s"
    )
    benchmark.pedantic(lambda: fitcheck.check_world(world, facts=False, fast=True), rounds=1)


def by_steps(moved, direction, limit, step):
    """By hand: the part shifted step by step and measured at each; what is thinner may be jumped over."""
    pairs = [(i, j) for i in moved.movers for j in moved.stayers if (i, j) not in moved.excused]
    for way in np.arange(0.0, limit, step):
        there = moved.solids.shifted(moved.movers, way * direction)
        if any(one.depth > 0.01 for one in measure(there, pairs, 0.0)):
            return way
    return limit


def test_a_part_is_drawn_out(benchmark, world):
    """A card out of its slot to the left, against steps of 1 mm that may jump over what is thinner."""
    moved = taken_out(
        world,
        ["card[1]"],
        before=["case.left_panel", "case.window_glass", "pump_to_*", "between_cards", "power_*", "loop_b_*"],
    )
    way = free_after(moved, SIDES["left"])
    assert straight(moved, SIDES["left"], way, 0.1).stop is None
    if benchmark.enabled:
        begun = time.perf_counter()
        straight(moved, SIDES["left"], way, 0.1)
        ours = time.perf_counter() - begun
        begun = time.perf_counter()
        by_steps(moved, SIDES["left"], way, 1.0)
        theirs = time.perf_counter() - begun
        print(
            f"\na card drawn out: ours {ours * 1e3:.1f} ms; in steps of 1 mm {theirs / ours:.0f} times ours"
        )
    benchmark(straight, moved, SIDES["left"], way, 0.1)


def test_taking_apart_when_parts_double(benchmark):
    """Who stops whom, and an order, in crowds of random parts."""
    counts = (40, 80) if benchmark.enabled else (10, 20)

    def taken_apart(solids):
        units = [Unit(f"p{k}", (k,)) for k in range(len(solids))]
        return apart(blocking(solids, units, [], []), {})

    crowds = [crowd(count, faces=500) for count in counts]
    took = []
    for solids in crowds:
        taken_apart(solids)
        begun = time.perf_counter()
        assert taken_apart(solids).steps
        took.append(time.perf_counter() - begun)
    if benchmark.enabled:
        print(
            f"\ntaken apart: {counts[0]} parts {took[0] * 1e3:.0f} ms, twice as many {took[1] / took[0]:.2f} times"
        )
    benchmark.pedantic(taken_apart, args=(crowds[0],), rounds=1)


def test_all_of_the_scene(benchmark, world):
    """The whole of dome_render taken apart, with what is asked for service."""
    order = next(check for check in CHECKS if check.name == "assembly_order")
    assert len(bodies(world)) > 100
    benchmark.pedantic(order.run, args=(world,), rounds=3 if benchmark.enabled else 1)
