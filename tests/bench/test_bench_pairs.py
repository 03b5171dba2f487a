"""How long all near pairs of dome_render take: ours against two ways to do it by hand.

Run with `pytest tests/bench --benchmark-enable -m ''`; each test prints the ratio of the two ways of one
run. The other ways give other answers (primitive distances of python-fcl are wrong on square
scenes): only their time is compared.
"""

import multiprocessing
import time
from pathlib import Path

import fcl
import numpy as np
import pytest
import trimesh

import fitcheck
from fitcheck.parts.solids import Kind
from fitcheck.world.engine import bodies, measure, near

DOME = Path(__file__).resolve().parents[2] / "scenes" / "dome_render.yaml"
NEAR = 20.0


@pytest.fixture(scope="module")
def world():
    return fitcheck.load(DOME)


def ours(world):
    known = bodies(world)
    return measure(known, near(known, NEAR), NEAR)


def fcl_shape(kind, half, mesh):
    if kind == Kind.BOX:
        return fcl.Box(*(2 * half))
    if kind == Kind.CYLINDER:
        return fcl.Cylinder(half[0], 2 * half[2])
    model = fcl.BVHModel()
    model.beginModel(len(mesh.vertices), len(mesh.faces))
    model.addSubModel(mesh.vertices, mesh.faces)
    model.endModel()
    return model


def hand_loop(world):
    """Shapes made once, then one distance for each near pair of pieces, nearest kept a pair."""
    known = bodies(world)
    objects = [
        fcl.CollisionObject(fcl_shape(k, h, m), fcl.Transform(r, c))
        for k, h, m, r, c in zip(
            known.kinds, known.halves, known.meshes, known.rotations, known.centres, strict=True
        )
    ]
    pieces = [range(b.pieces.start, b.pieces.stop) for b in known.all]
    request = fcl.DistanceRequest()

    def ask():
        return [
            min(
                fcl.distance(objects[p], objects[q], request, fcl.DistanceResult())
                for p in pieces[i]
                for q in pieces[j]
            )
            for i, j in near(known, NEAR).tolist()
        ]

    return ask


def rebuilt(world):
    """What a first attempt looks like: a collision manager filled anew, and all its hits."""
    known = bodies(world)
    manager = trimesh.collision.CollisionManager()
    for row in range(len(known.kinds)):
        pose = np.eye(4)
        pose[:3, :3], pose[:3, 3] = known.rotations[row], known.centres[row]
        half, mesh = known.halves[row], known.meshes[row]
        if mesh is not None:
            shape = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
        elif known.kinds[row] == Kind.BOX:
            shape = trimesh.creation.box(2 * half)
        else:
            shape = trimesh.creation.cylinder(half[0], 2 * half[2], sections=48)
        manager.add_object(str(row), shape, pose)
    return manager.in_collision_internal(return_names=True)


def _timed_apart(answer):
    start = time.perf_counter()
    rebuilt(fitcheck.load(DOME))
    answer.put(time.perf_counter() - start)


def test_ours(benchmark, world):
    ours(world)
    found = benchmark(ours, world)
    assert len(found) > 100


def test_hand_loop(benchmark, world):
    ask = hand_loop(world)
    start = time.perf_counter()
    ours(world)
    own = time.perf_counter() - start
    distances = benchmark(ask)
    assert len(distances) > 100
    if benchmark.stats:
        print(f"\nhand loop on python-fcl takes {benchmark.stats.stats.median / own:.2f} times ours")


def test_rebuilt_manager(benchmark):
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
