"""How long the live view takes: a step of a control, from the question to the bytes of the answer; an edit.

Run with `pytest tests/bench/test_bench_live.py --benchmark-enable -s -m '' -n 0`.
"""

from __future__ import annotations

import json
import struct
import time
from pathlib import Path
from statistics import median

import pytest
from test_live import heard, served

from fitcheck.live.viewing import Viewing

SCENE = Path(__file__).resolve().parents[2] / "scenes" / "dome_render.yaml"
STEPS = 30


def quick_steps(viewing, values) -> tuple[list[float], list[float]]:
    """Milliseconds of each step after the first three, which meet what was never drawn before: by the clock,
    and of the processor (which other work on this computer does not lengthen)."""
    known: set[str] = set()
    clock, worked = [], []
    for value in values:
        begun, cpu = time.perf_counter(), time.thread_time()
        told = viewing.ask(value, known)
        clock.append((time.perf_counter() - begun) * 1e3)
        worked.append((time.thread_time() - cpu) * 1e3)
        (size,) = struct.unpack("<I", told[:4])
        data = json.loads(told[8 : 8 + size])
        known |= {f"s{shape}" for shape, _ in data["keys"]}
        known |= {f"v{shape}.{key}" for shape, key in data["keys"]}
    return clock[3:], worked[3:]


@pytest.mark.long
def test_a_step_of_a_control(tmp_path):
    path = tmp_path / "dome.yaml"
    path.write_bytes(SCENE.read_bytes())
    begun = time.thread_time()
    viewing = Viewing(path, {})
    first = (time.thread_time() - begun) * 1e3
    sets = {
        "setback": [{"setback": f"{8 + 0.5 * k:g} mm"} for k in range(STEPS)],
        "core": [{"core": f"{40 + k} ± 0.5 mm"} for k in range(STEPS)],
        "fan_row": [{"fan_row": str(3 + k % 3)} for k in range(STEPS)],
    }
    try:
        print(f"\nthe first answer: {first:.0f} ms of the processor")
        for name, values in sets.items():
            clock, worked = quick_steps(viewing, values)
            print(
                f"a step of {name}: {median(worked):.0f} ms of the processor, {median(clock):.0f} ms by the clock, "
                f"in the median; 1/{first / median(worked):.0f} of the first"
            )
    finally:
        viewing.end()


@pytest.mark.long
def test_an_edit_of_the_file(tmp_path):
    path = tmp_path / "dome.yaml"
    text = SCENE.read_text("utf-8")
    path.write_text(text, "utf-8")
    with served(path) as visitor:
        seen, took = 0, []
        for k in range(10):
            begun = time.perf_counter()
            path.write_text(text.replace("setback: 14 mm", f"setback: {15 + k} mm"), "utf-8")
            seen, _ = heard(visitor, seen, "live")
            took.append((time.perf_counter() - begun) * 1e3)
        print(f"\nan edit is answered after {median(took):.0f} ms in the median, {max(took):.0f} ms at most")
