"""Layouts a second, on one core: many placements of a few parts, against ways to do it by hand, in one run.

Run with `pytest tests/bench/test_bench_placements.py --benchmark-enable -s -m '' -n 0`. The hand loop on
python-fcl has its shapes made before and a broad phase in numpy; the manager of trimesh is filled anew for
each layout, as a first attempt does. They give other answers than ours (no depth, nothing wholly inside a
mesh): only their time is compared.
"""

import time
from pathlib import Path

import crowds
import fcl
import numpy as np
import pytest
from peers import fcl_objects, rebuilt_of
from small_layouts import CRATE
from test_crossings import folder_of

from fitcheck.layouts.asked import Asker
from fitcheck.layouts.read import read_layouts
from fitcheck.layouts.tables import FREE, Tables
from fitcheck.world.placements import Placements

SCENES = Path(__file__).resolve().parents[2] / "scenes"
NEAR = 20.0
# Layouts asked of ours, of the hand loop, of the manager.
OURS, BY_HAND, REBUILT = 4000, 120, 3


def hand_loop(bodies, groups, turns, shifts, within):
    """Yields after each layout: every distance below `within`; with 0 only which bodies collide."""
    objects = fcl_objects(bodies)
    moving = [row for group in groups for row in bodies.rows(group).tolist()]
    rotations, centres = bodies.rotations.copy(), bodies.centres.copy()
    ask, whether = fcl.DistanceRequest(False, False), fcl.CollisionRequest(1, False)
    for turn, shift in zip(turns, shifts, strict=True):
        for (row,), one, by in zip((bodies.rows(group) for group in groups), turn, shift, strict=True):
            rotations[row] = one @ bodies.rotations[row]
            centres[row] = one @ bodies.centres[row] + by
        for row in moving:
            objects[row].setTransform(fcl.Transform(rotations[row], centres[row]))
        out = (np.abs(rotations) @ bodies.halves[..., None])[..., 0]
        apart = np.abs(centres[:, None] - centres) - (out[:, None] + out)
        close = (np.maximum(apart, 0) ** 2).sum(axis=-1) <= max(within, 1e-9) ** 2
        for i, j in np.argwhere(np.triu(close, 1)).tolist():
            if within:
                fcl.distance(objects[i], objects[j], ask, fcl.DistanceResult())
            else:
                fcl.collide(objects[i], objects[j], whether, fcl.CollisionResult())
        yield


def rate(count, work):
    """Layouts a second."""
    start = time.perf_counter()
    work()
    return count / (time.perf_counter() - start)


# Such parts, so far, that about half of the layouts interfere.
@pytest.mark.parametrize(("parts", "most", "seed"), [(60, 12.0, 1), (150, 20.0, 3)])
def test_layouts_a_second(benchmark, parts, most, seed):
    if not benchmark.enabled:
        pytest.skip("only to be timed: that the answers are right is tested in test_placements")
    bodies = crowds.crowd(parts)
    groups, turns, shifts = crowds.slides(bodies, OURS if benchmark.enabled else 8, most=most, seed=seed)

    def by_hand(within):
        return lambda: list(hand_loop(bodies, groups, turns[:BY_HAND], shifts[:BY_HAND], within))

    assert len(Placements(bodies, groups).near(turns[:8], shifts[:8], NEAR).distance)
    if benchmark.enabled:
        clashing = Placements(bodies, groups).interfere(turns, shifts)
        verdicts = rate(OURS, lambda: Placements(bodies, groups).interfere(turns, shifts))
        every = rate(OURS, lambda: Placements(bodies, groups).near(turns, shifts, NEAR))
        staged = rate(OURS, lambda: Placements(bodies, groups).near(turns, shifts, NEAR, free_only=True))
        loop, loop_verdicts = rate(BY_HAND, by_hand(NEAR)), rate(BY_HAND, by_hand(0.0))
        manager = rate(REBUILT, lambda: [rebuilt_of(bodies) for _ in range(REBUILT)])
        print(f"\n{parts} parts, 6 slide, {clashing.mean():.0%} of the layouts interfere. Layouts a second: hand loop "
              f"{loop:.0f}, only collisions {loop_verdicts:.0f}; manager filled anew {manager:.2f}")  # fmt: skip
        for what, ours in (("verdicts", verdicts), ("every distance", every), ("staged", staged)):
            print(
                f"  {what}: {ours:.0f}, {ours / loop:.1f} times the loop, {ours / manager:.0f} times the manager"
            )
        print(f"  verdicts: {verdicts / loop_verdicts:.1f} times the loop's own verdicts")
        assert every > loop
        assert verdicts > loop_verdicts
    benchmark.pedantic(
        lambda: Placements(bodies, groups).near(turns, shifts, NEAR), rounds=3 if benchmark.enabled else 1
    )


TABULATED = 1_000_000


def test_layouts_by_look_up(benchmark, tmp_path):
    """Crates on a shelf, seven wheels of ten: which of ten million layouts interfere, once tabulated."""
    (tmp_path / "models").mkdir()
    (tmp_path / "models" / "crate.yaml").write_text(CRATE)
    names = "abcdefg"
    parts = [
        f"  {n}: {{model: crate, place: {{at: [{30 * k} + m{n}, 0, 0]}}}}\n" for k, n in enumerate(names)
    ]
    (tmp_path / "scene.yaml").write_text(
        f"model_folders: [models]\nparameters: {{{', '.join(f'm{n}: 0 mm' for n in names)}}}\n"
        f"parts:\n{''.join(parts)}"
    )
    varied = "".join(f"  m{n}: {{from: 0 mm, to: 27 mm, step: 3 mm}}\n" for n in names)
    (tmp_path / "layouts.yaml").write_text(f"scene: scene.yaml\nvary:\n{varied}")
    tables = Tables(Asker(read_layouts(tmp_path / "layouts.yaml")))
    start = time.perf_counter()
    assert tables.fill()
    took = time.perf_counter() - start
    numbers = np.random.default_rng(1).integers(0, 10**7, TABULATED if benchmark.enabled else 1000)
    found = tables.first_clashes(numbers)
    if benchmark.enabled:
        looked_up = rate(len(numbers), lambda: tables.first_clashes(numbers))
        print(f"\n10 million layouts, {tables.worked_out} worked out in {took:.1f} s; {looked_up / 1e6:.1f} million "
              f"looked up a second, {(found == FREE).mean():.1%} of them free")  # fmt: skip
    benchmark.pedantic(lambda: tables.first_clashes(numbers), rounds=3 if benchmark.enabled else 1)


def test_layouts_of_parts_that_cross(benchmark, tmp_path):
    """Three askew blocks, each moved both ways: who interferes with whom, from the kernels and one by one."""
    if not benchmark.enabled:
        pytest.skip("only to be timed: that the answers are right is tested in test_crossings")
    parameters = ", ".join(f"{way}{name}: 0 mm" for name in "abc" for way in "xy")
    scene = f"parameters: {{{parameters}}}\nparts:\n"
    for k, name in enumerate("abc"):
        place = f"{{at: [{40 * k} + x{name}, y{name}, 0], turn: {17 * k}}}"
        scene += f"  block_{name}: {{model: block, place: {place}}}\n"
    steps = "{from: 0 mm, to: 52 mm, step: 4 mm}"
    vary = "".join(f"  {way}{name}: {steps}\n" for name in "abc" for way in "xy")
    tables = Tables(Asker(folder_of(tmp_path, scene, f"vary:\n{vary}")))
    start = time.perf_counter()
    assert tables.fill()
    took = time.perf_counter() - start
    numbers = np.random.default_rng(1).integers(0, tables.choices.count, TABULATED)
    found = tables.first_clashes(numbers)
    alone = rate(200, lambda: [tables.asker.ask(number) for number in numbers[:200].tolist()])
    looked_up = rate(len(numbers), lambda: tables.first_clashes(numbers))
    print(f"\n{tables.choices.count:,} layouts, {tables.worked_out:,} worked out, tables full in {took:.1f} s; "
          f"{looked_up / 1e6:.1f} million looked up a second, {looked_up / alone:,.0f} times one by one; "
          f"{(found == FREE).mean():.0%} free")  # fmt: skip
    benchmark.pedantic(lambda: tables.first_clashes(numbers), rounds=3)


# Placements of the demo that are made parameters, as they are written there, and the steps they then take.
FREED = {
    "pump_left": ("left: 77, front: 3}", "left: pump_left, front: 3}", "77 mm", "{from: 30 mm, to: 120 mm, step: 10 mm}"),
    "b_front": ("left: 8, front: 180,", "left: 8, front: b_front,", "180 mm", "{from: 100 mm, to: 280 mm, step: 20 mm}"),
    "hall_front": ("left: 39, front: 30,", "left: 39, front: hall_front,", "30 mm", "{from: 10 mm, to: 100 mm, step: 10 mm}"),
    "bay_right": ("right: 80, centre", "right: bay_right, centre", "80 mm", "{from: 10 mm, to: 100 mm, step: 10 mm}"),
}  # fmt: skip


def test_two_million_layouts_of_a_demo(benchmark, tmp_path):
    """What a batch with `measure: fitting` looks up, of a case of 84 parts; the rest it works out one by one."""
    if not benchmark.enabled:
        pytest.skip("takes half a minute")
    text = (SCENES / "dome_render.yaml").read_text()
    for name, (written, freed, value, _) in FREED.items():
        assert text.count(written) == 1
        text = text.replace(written, freed).replace("\nparts:\n", f"  {name}: {value}\n\nparts:\n", 1)
    (tmp_path / "scene.yaml").write_text(text)
    varied = "".join(f"  {name}: {steps}\n" for name, (*_, steps) in FREED.items())
    (tmp_path / "layouts.yaml").write_text(
        "scene: scene.yaml\nmeasure: fitting\nvary:\n  fan_row: [2, 3, 4, 5]\n  core: [30 mm, 45 mm, 54 mm, 60 mm]\n"
        "  setback: {from: 2 mm, to: 50 mm, step: 4 mm}\n" + varied
    )
    layouts = read_layouts(tmp_path / "layouts.yaml")
    tables = Tables(Asker(layouts))
    start = time.perf_counter()
    assert tables.fill()
    took = time.perf_counter() - start
    numbers = np.arange(layouts.choices.count)
    looked_up = rate(len(numbers), lambda: tables.first_clashes(numbers))
    free = int((tables.first_clashes(numbers) == FREE).sum())
    print(f"\n{len(numbers):,} layouts, {tables.worked_out:,} worked out in {took:.0f} s; {looked_up / 1e6:.1f} million "
          f"looked up a second; {free:,} without interference")  # fmt: skip
    benchmark.pedantic(lambda: tables.first_clashes(numbers), rounds=3)


@pytest.mark.parametrize("what", ["parts", "faces", "layouts"])
def test_growth(benchmark, what):
    """How many microseconds a layout takes, as one of the three grows and the others stay."""
    steps = {
        "parts": (30, 60, 120, 240),
        "faces": (1000, 5000, 20000, 80000),
        "layouts": (250, 1000, 4000, 16000),
    }
    plain = {"parts": 60, "faces": 5000, "layouts": 2000}
    said = []
    for value in steps[what] if benchmark.enabled else steps[what][:1]:
        now = {**plain, what: value}
        bodies = crowds.crowd(now["parts"], now["faces"])
        groups, turns, shifts = crowds.slides(bodies, now["layouts"] if benchmark.enabled else 4)
        Placements(bodies, groups).near(turns[:1], shifts[:1], NEAR)
        placements = Placements(bodies, groups)
        verdict = 1e6 / rate(len(turns), lambda: placements.interfere(turns, shifts))  # noqa: B023
        every = 1e6 / rate(len(turns), lambda: placements.near(turns, shifts, NEAR))  # noqa: B023
        said.append(f"{value}: verdict {verdict:.0f}, every distance {every:.0f}")
    print(f"\nmicroseconds a layout by {what}: {'; '.join(said)}")
    benchmark.pedantic(lambda: placements.interfere(turns, shifts), rounds=1)
