"""What the checks for air and sight cost, alone and when parts double.

Run with `pytest tests/bench/test_bench_air_sight.py --benchmark-enable -s -m '' -n 0`. Prints seconds, and
ratios: of both checks to all others together, and of twice the parts to once.
"""

from __future__ import annotations

from pathlib import Path
from time import process_time

import numpy as np
import pytest
from worlds import box, part, rod, world

import fitcheck
from fitcheck.checks import CHECKS
from fitcheck.checks.sight import check_sight
from fitcheck.rays.lines import first_hits, stops
from fitcheck.runs.lay import laid
from fitcheck.world.bodies import bodies

pytest.importorskip("ortools")
DOME = Path(__file__).resolve().parents[2] / "scenes" / "dome_render.yaml"
OURS = ("ventilation", "sight")


def timed(what, rounds=3):
    """Least processor time of some rounds, s."""
    found = []
    for _ in range(rounds):
        start = process_time()
        what()
        found.append(process_time() - start)
    return min(found)


def test_all_checks_of_a_machine(benchmark):
    """Each check of the demo machine, its runs laid, nothing known of it yet."""
    if not benchmark.enabled:
        pytest.skip("seconds: with --benchmark-enable")
    laid(fitcheck.load(DOME))
    rounds = 3
    took = {}
    for check in CHECKS:
        worlds = iter([laid(fitcheck.load(DOME)) for _ in range(rounds)])
        took[check.name] = timed(lambda w=worlds, c=check: c.run(next(w)), rounds)
    ours, others = sum(took[name] for name in OURS), sum(took.values()) - sum(took[name] for name in OURS)
    said = ", ".join(
        f"{name} {seconds:.2f} s" for name, seconds in sorted(took.items(), key=lambda one: -one[1])
    )
    print(f"\nall checks {ours + others:.2f} s ({said}); air and sight {ours / others:.1f} times the others")
    benchmark.pedantic(check_sight, setup=lambda: ((laid(fitcheck.load(DOME)),), {}), rounds=rounds)


def crowd(count: int):
    """Boxes and rods at random in a case, one of them looked at."""
    rng = np.random.default_rng(7)
    parts = []
    for k in range(count):
        low = rng.uniform(0, 600, 3)
        piece = box(low, low + rng.uniform(5, 40, 3)) if k % 2 else rod(low, low + rng.uniform(5, 40, 3), 12)
        parts.append(part(f"p{k}", piece))
    eyes = {"crowd": {"low": [-900, -900, 100], "high": [-500, -500, 500]}}
    return world(*parts, sight={"eyes": eyes, "shown": [{"part": "p0", "at_least": 0}]})


def test_sight_when_parts_double(benchmark):
    if not benchmark.enabled:
        pytest.skip("only to be timed")
    counts = (100, 200, 400) if benchmark.enabled else (20,)
    took = [timed(lambda n=n: check_sight(crowd(n))) for n in counts]
    print("\nsight:", ", ".join(f"{n} parts {t * 1e3:.0f} ms" for n, t in zip(counts, took, strict=True)))
    benchmark.pedantic(check_sight, setup=lambda: ((crowd(counts[0]),), {}), rounds=3)


def test_lines_when_parts_double(benchmark):
    rng = np.random.default_rng(1)
    starts, ends = rng.uniform(0, 600, (2, 20_000, 3))
    for count in (100, 200, 400, 800) if benchmark.enabled else (20,):
        solids = bodies(crowd(count))
        what = stops(solids, np.arange(len(solids.kinds)))
        took = timed(lambda w=what: first_hits(w, starts, ends))
        print(f"\n{count} parts: {took / len(starts) * 1e6:.2f} us a line", end="")
    benchmark.pedantic(first_hits, (what, starts, ends), rounds=3)


def test_air_when_parts_double(benchmark):
    """A tunnel with a fan, a plate with a hole, and ever more things in the way."""
    if not benchmark.enabled:
        pytest.skip("only to be timed")
    from airy import round_hole, standing, tunnel

    from fitcheck.checks.ventilation import check_ventilation

    def filled(count):
        rng = np.random.default_rng(3)
        things = [
            part(f"t{k}", box(low, low + 12))
            for k, low in enumerate(rng.uniform([170, -110, -110], [440, 100, 100], (count, 3)))
        ]
        return tunnel(standing("plate", 150, [round_hole(0, 0, 40)]), more=tuple(things))

    counts = (50, 100, 200) if benchmark.enabled else (5,)
    took = [timed(lambda n=n: check_ventilation(filled(n))) for n in counts]
    print("\nair:", ", ".join(f"{n} parts {t:.2f} s" for n, t in zip(counts, took, strict=True)))
    benchmark.pedantic(check_ventilation, setup=lambda: ((filled(counts[0]),), {}), rounds=2)
