"""How a batch grows: two processes against one, memory with the number of layouts.

Run with `pytest tests/bench/test_bench_batch.py --benchmark-enable -s -m '' -n 0`.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest
from many_results import peak_of

TOP = Path(__file__).resolve().parents[2]
# Two processes on two free cores are at least so many times one, their start included; 1.8 is aimed at.
LEAST = 1.5
# MB for a million layouts.
MOST = 1000.0


def cabinet(folder, steps):
    """Layouts of the cabinet with coarser steps of where the radiator hangs, and of the air behind it."""
    shutil.copy(TOP / "scenes" / "cabinet_wall.yaml", folder)
    text = (TOP / "scenes" / "cabinet_layouts.yaml").read_text()
    for step in steps:
        text = text.replace("step: 0.25 mm", f"step: {step} mm", 1)
    path = folder / "cabinet_layouts.yaml"
    path.write_text(text)
    return path


def took(path, processes):
    """Seconds by the clock, and of all cores together, of the whole command on so many cores."""
    out = path.with_name(f"{processes}.csv")
    words = ["batch", str(path), "--out", str(out), "--anew", "--quiet", "--jobs", str(processes)]
    clock, before = time.perf_counter(), os.times()
    code = "from fitcheck.cli import run; run()"
    environment = {**os.environ, "PYTHONPATH": str(TOP)}
    free = os.sched_getaffinity(0)
    # Of one process, too, a library shares its work among all cores that it is let have.
    os.sched_setaffinity(0, set(sorted(free)[:processes]))
    try:
        done = subprocess.run(
            [sys.executable, "-c", code, *words], env=environment, capture_output=True, check=False
        )
    finally:
        os.sched_setaffinity(0, free)
    after = os.times()
    assert done.returncode in (0, 1), done.stderr
    work = after.children_user + after.children_system - before.children_user - before.children_system
    return time.perf_counter() - clock, work, out.read_bytes()


def of_this_machine():
    """How many times one plain loop two of them are worth here, where cores share what they share."""
    code = "import time\nt = time.perf_counter()\nfor k in range(30_000_000): k * k\nprint(time.perf_counter() - t)"
    words = [sys.executable, "-c", code]
    alone = float(subprocess.run(words, capture_output=True, check=True).stdout)
    both = [subprocess.Popen(words, stdout=subprocess.PIPE) for _ in range(2)]
    return 2 * alone / max(float(one.communicate()[0]) for one in both)


def test_two_processes_against_one(benchmark, tmp_path):
    """The whole command, start and all, against what the machine makes of two plain loops."""
    if not benchmark.enabled:
        pytest.skip("only to be timed: that two find what one finds is tested in test_batch")
    path = cabinet(tmp_path, (2.5, 0.25))
    one, two, plain = took(path, 1), took(path, 2), of_this_machine()
    assert one[2] == two[2]
    count = one[2].count(b"\n") - 1
    print(
        f"\n{count} layouts of the cabinet: one process {one[0]:.1f} s, two {two[0]:.1f} s: "
        f"{one[0] / two[0]:.2f} times; two plain loops here {plain:.2f} times; load {os.getloadavg()[0]:.1f}"
    )
    assert one[0] / two[0] >= LEAST
    benchmark.pedantic(lambda: None, rounds=1)


@pytest.mark.parametrize("kind", ["csv", "parquet"])
def test_memory_grows_little_with_layouts(benchmark, tmp_path, kind):
    if not benchmark.enabled:
        pytest.skip("only to be measured: what it writes is tested in test_batch")
    if kind == "parquet":
        pytest.importorskip("pyarrow")
    few, many = (20_000, 120_000) if benchmark.enabled else (120, 240)
    (asked, least, _), (more, most, _) = (
        peak_of(count, tmp_path / f"{count}.{kind}") for count in (few, many)
    )
    if benchmark.enabled:
        each = (most - least) / (more - asked)
        million = least + each * (1_000_000 - asked)
        print(
            f"\n{kind}: {least:.0f} MB for {asked:,} layouts, {most:.0f} MB for {more:,}: "
            f"{each * 1024:.2f} kB a layout, {million:.0f} MB for a million"
        )
        assert million < MOST
    benchmark.pedantic(lambda: None, rounds=1)
