"""How long near pairs take: ours against ways to do it by hand, on the same pairs in one run.

Run with `pytest tests/bench --benchmark-enable -s -m '' -n 0`; each test prints the times of the ways, asked in
turn, and their ratio. The other ways give other answers (primitive distances of python-fcl are wrong on
square scenes, and it has no depth): only where all are meshes the distances are compared too.
"""

import multiprocessing
import time
from dataclasses import replace
from pathlib import Path

import pytest
from peers import hand_loop, in_turn, rebuilt
from turned_part import TRIANGLES, write_scene

import fitcheck
from fitcheck.parts.solids import Kind
from fitcheck.runs.lay import laid
from fitcheck.world import pairs
from fitcheck.world.engine import bodies, measure, near

DOME = Path(__file__).resolve().parents[2] / "scenes" / "dome_render.yaml"
NEAR = 20.0


@pytest.fixture(scope="module")
def world():
    return fitcheck.load(DOME)


def ours(known, asked):
    """Everything asked anew: answers are else kept by part, ways out of what overlaps by relation."""
    pairs._ways_out.clear()
    return measure(replace(known, answers=None), asked, NEAR)


def _timed_apart(answer):
    start = time.perf_counter()
    rebuilt(fitcheck.load(DOME))
    answer.put(time.perf_counter() - start)


def compare(known, asked, benchmark, what):
    """Ask both ways in turn, print their times; ours is never the slower."""
    by_hand = hand_loop(known, asked.tolist())
    found, distances = ours(known, asked), by_hand()
    assert len(found) == len(distances) == len(asked)
    for (i, j), one, other in zip(asked.tolist(), found, distances, strict=True):
        kinds = {int(kind) for k in (i, j) for kind in known.kinds[known.all[k].pieces]}
        if kinds == {int(Kind.MESH)} and not one.beyond and other > 0:
            assert one.distance == pytest.approx(other, abs=1e-8) or one.depth > 0
    if benchmark.enabled:
        own, again, hand = in_turn(
            lambda: ours(known, asked),
            lambda: measure(replace(known, answers=None), asked, NEAR),
            by_hand,
            rounds=15,
        )
        print(f"\n{what}: {len(asked)} pairs, ours {own * 1e3:.1f} ms, asked again {again * 1e3:.1f} ms, "
              f"hand loop on python-fcl {hand * 1e3:.1f} ms: {hand / own:.2f} times ours")  # fmt: skip
        assert own <= hand
    benchmark(ours, known, asked)


def told(world):
    """How much there is to ask about."""
    known = bodies(world)
    parts = sum(bool(part.shape.solids) for part in world.parts)
    return f"dome_render, {parts} parts of {len(known)} solids and {len(known.kinds)} pieces"


def test_near_pairs(benchmark, world):
    """Without its runs."""
    known = bodies(world)
    compare(known, near(known, NEAR), benchmark, told(world))


def test_near_pairs_of_60_parts(benchmark, world):
    """The same scene without what its file names last."""
    few = replace(world, parts=tuple([part for part in world.parts if part.shape.solids][:60]))
    known = bodies(few)
    compare(known, near(known, NEAR), benchmark, told(few))


def test_near_pairs_with_runs(benchmark, world):
    """With its tubes and cables, which are many cylinders each."""
    whole = laid(world)
    known = bodies(whole)
    compare(known, near(known, NEAR), benchmark, told(whole))


@pytest.mark.parametrize("pressed", [0.0, 1.5])
def test_part_of_200_000_triangles(benchmark, tmp_path, pressed):
    """Loading, the first question (trees are built), and the same question once all is built."""
    if not benchmark.enabled:
        pytest.skip("only to be timed: meshes of that size are asked in test_meshes")
    scene = write_scene(tmp_path, pressed)
    fitcheck.load(DOME)
    start = time.perf_counter()
    known = bodies(fitcheck.load(scene))
    loaded = time.perf_counter() - start
    asked = near(known, NEAR)
    asked = asked[(asked == 0).any(axis=1)]
    start = time.perf_counter()
    found = ours(known, asked)
    first = time.perf_counter() - start
    assert sum(one.interferes for one in found) == (pressed > 0)
    start = time.perf_counter()
    hand_loop(known, [])
    built = time.perf_counter() - start
    print(
        f"\nload {loaded:.2f} s, first check {first * 1e3:.0f} ms; python-fcl builds for {built * 1e3:.0f} ms"
    )
    compare(known, asked, benchmark, f"{TRIANGLES} triangles, pressed in by {pressed} mm")


def test_rebuilt_manager(benchmark):
    if not benchmark.enabled:
        pytest.skip("only to be timed")

    # In a process of its own: flush primitives can hang the library's signed distances.
    def once():
        context = multiprocessing.get_context("spawn")
        answer = context.Queue()
        child = context.Process(target=_timed_apart, args=(answer,))
        child.start()
        child.join(120)
        child.kill()
        return answer.get(timeout=1) if not child.exitcode else None

    took = benchmark.pedantic(once, rounds=1)
    assert took is None or took > 0
