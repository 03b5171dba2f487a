"""How long a whole check takes: ours against ways by hand, in one run.

Run with `pytest tests/bench/test_bench_check.py --benchmark-enable -s -m '' -n 0`. Each test prints
the times of all ways, asked in turn, and the ratios. Ours answers more: what may touch, depths,
ways out, rooms, where to mend; the other ways give hits or distances. Loading is in all ways or in none.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from peers import forget, hand_loop, in_turn, marches, rebuilt, voxel_boxes

import fitcheck
from fitcheck.checks import gaps
from fitcheck.checks.clearance import check_clearance
from fitcheck.checks.empty_boxes import check_empty_boxes
from fitcheck.checks.interference import check_interference
from fitcheck.checks.tolerance import check_tolerance
from fitcheck.world.engine import bodies, near

DOME = Path(__file__).resolve().parents[2] / "scenes" / "dome_render.yaml"
NEAR = 20.0
ROUNDS = 5
# Edge of the voxels in which boxes are looked for by hand, mm: coarse, in its favour.
VOXEL = 10.0


def loaded():
    """The scene with the rules of which the other ways answer something: no order of assembly, air, sight …"""
    world = fitcheck.load(DOME)
    return replace(world, rules={name: world.rules[name] for name in ("clearance", "room")})


@pytest.fixture
def worlds(benchmark):
    """A source of worlds that nothing was asked of yet."""
    return iter([loaded() for _ in range(3 * ROUNDS + 4 if benchmark.enabled else 3)])


def told(what, ours, others):
    """One line: our time, and that of each other way as a multiple of it."""
    said = "; ".join(
        f"{name} {took * 1e3:.0f} ms: {took / ours:.2f} times ours" for name, took in others.items()
    )
    print(f"\n{what}: ours {ours * 1e3:.0f} ms; {said}")


def test_scene_to_findings(benchmark, worlds):
    """A scene is loaded already, and nothing was asked of it yet."""
    if not benchmark.enabled:
        pytest.skip("seconds: with --benchmark-enable")
    assert fitcheck.check_world(next(worlds), facts=False).findings
    if benchmark.enabled:
        world = next(worlds)
        known = bodies(world)
        by_hand = hand_loop(known, near(known, NEAR).tolist())
        hit, names = rebuilt(world)
        assert hit
        assert names

        def cold():
            forget()
            fitcheck.check_world(next(worlds), facts=False)

        ours, new, manager, loop = in_turn(
            lambda: fitcheck.check_world(next(worlds), facts=False),
            cold,
            lambda: rebuilt(world),
            by_hand,
            rounds=ROUNDS,
        )
        told("scene to findings", ours, {"nothing kept": new, "trimesh manager filled anew": manager,
             "hand loop on python-fcl, shapes made before": loop})  # fmt: skip
        # Neither has anything kept. The loop has its shapes made and asks one figure a pair: no bound for it.
        assert new <= manager
    benchmark.pedantic(
        fitcheck.check_world,
        setup=lambda: ((next(worlds), False), {}),
        rounds=ROUNDS if benchmark.enabled else 1,
    )


def test_file_to_findings(benchmark):
    if not benchmark.enabled:
        pytest.skip("seconds: with --benchmark-enable")

    def ours():
        forget()
        return fitcheck.check_world(loaded(), facts=False)

    def by_manager():
        return rebuilt(loaded())

    def by_loop():
        known = bodies(loaded())
        return hand_loop(known, near(known, NEAR).tolist())()

    assert ours().findings
    if benchmark.enabled:
        own, manager, loop = in_turn(ours, by_manager, by_loop, rounds=ROUNDS)
        told("file to findings", own, {"trimesh manager": manager, "hand loop on python-fcl": loop})
        assert own <= manager
    benchmark.pedantic(ours, rounds=ROUNDS if benchmark.enabled else 1)


def test_gaps_and_empty_boxes(benchmark, worlds):
    """Six gaps of every part, three boxes of every compartment, of a scene of more than 60 parts."""
    world = next(worlds)
    known = bodies(world)
    movers = dict(gaps._movers(world, known))
    assert len(movers) >= 60

    asked = {
        name: (set(moving), gaps.partners_of(world, known, moving).skip) for name, moving in movers.items()
    }
    limit = float(2 * np.ptp(known.body_bounds.reshape(-1, 3), axis=0).max())

    def by_voxels():
        return [voxel_boxes(room.bounds, known.bounds, VOXEL, 3) for room in world.compartments.values()]

    def ours():
        one = next(worlds)
        return gaps.check_gaps(one).facts, check_empty_boxes(one).facts

    free, boxes = ours()
    assert len(free) == len(movers)
    assert all(boxes.values())
    if benchmark.enabled:
        (own,) = in_turn(ours, rounds=ROUNDS)
        own_gaps, own_boxes, marching, voxels = in_turn(
            lambda: gaps.check_gaps(next(worlds)),
            lambda: check_empty_boxes(next(worlds)),
            lambda: marches(known, asked, limit),
            by_voxels,
            rounds=1,
        )
        told(f"gaps of {len(movers)} parts", own_gaps, {"marching by least distance on python-fcl": marching})
        told(f"empty boxes of {len(boxes)} compartments", own_boxes, {f"voxels of {VOXEL:g} mm": voxels})
        told("both", own, {"by hand": marching + voxels})
        assert own < marching + voxels
    benchmark.pedantic(ours, rounds=2 if benchmark.enabled else 1)


def test_worst_ends(benchmark):
    """All demands at the worst end of the one uncertain length, proved; by hand both ends are placed and checked."""
    worlds = iter([fitcheck.load(DOME) for _ in range(3 * ROUNDS + 4 if benchmark.enabled else 3)])
    assert check_tolerance(next(worlds)).findings
    if benchmark.enabled:

        def both_ends():
            world = next(worlds)
            for value in (53.5, 54.5):
                there = world.elsewhere({"core": value})
                check_interference(there)
                check_clearance(there)

        ours, by_hand = in_turn(lambda: check_tolerance(next(worlds)), both_ends, rounds=ROUNDS)
        told("worst ends", ours, {"both ends placed and checked": by_hand})
        assert ours <= by_hand
    benchmark.pedantic(
        check_tolerance, setup=lambda: ((next(worlds),), {}), rounds=ROUNDS if benchmark.enabled else 1
    )
