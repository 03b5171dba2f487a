"""How long templates take, and how it grows with their holes.

Run with `pytest tests/bench/test_bench_templates.py --benchmark-enable -s -m '' -n 0`. Growth is told as the
ratio of twice the holes to the holes, in one run.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import pytest

import fitcheck
from fitcheck.outputs.drawings.dxf import dxf
from fitcheck.outputs.drawings.files import template_files
from fitcheck.outputs.drawings.pdf import pdf
from fitcheck.outputs.drawings.svg import svg
from fitcheck.templates.made import templates
from fitcheck.world.world import World

DOME = Path(__file__).resolve().parents[2] / "scenes" / "dome_render.yaml"


def grid(columns: int) -> World:
    """A panel of 900 x 600 with 20 rows of holes."""
    sizes = (
        f"width: 900, length: 600, columns: {columns}, rows: 20, column_pitch: {880 / columns}, row_pitch: 29"
    )
    return fitcheck.load(f"parts:\n  panel: {{model: flat_panel, with: {{{sizes}}}}}\n", name="panel")


def seconds(work: Callable[[], object]) -> float:
    """The quickest of three."""
    took = []
    for _ in range(3):
        begun = time.perf_counter()
        work()
        took.append(time.perf_counter() - begun)
    return min(took)


def test_all_templates_of_a_scene(benchmark):
    if not benchmark.enabled:
        pytest.skip("seconds: with --benchmark-enable")
    world = fitcheck.load(DOME)
    drawings = templates(world).drawings
    benchmark.pedantic(lambda: list(template_files(drawings, "a4")), rounds=3)
    print(
        f"\n{len(drawings)} templates of dome_render: {seconds(lambda: templates(world)) * 1e3:.0f} ms to work out"
    )


def test_growth_with_holes(benchmark):
    if not benchmark.enabled:
        pytest.skip("seconds: with --benchmark-enable")
    worlds = grid(15), grid(30)
    drawn = [templates(world).drawings[0] for world in worlds]
    print()
    for name, works in (
        ("worked out", [lambda w=w: templates(w) for w in worlds]),
        ("DXF", [lambda d=d: dxf(d) for d in drawn]),
        ("SVG", [lambda d=d: svg(d) for d in drawn]),
        ("PDF", [lambda d=d: pdf(d, "a4") for d in drawn]),
    ):
        one, two = (seconds(work) for work in works)
        print(f"600 holes {name}: {two * 1e3:.0f} ms, {two / one:.1f} times 300")
    benchmark.pedantic(lambda: pdf(drawn[1], "a4"), rounds=1)
