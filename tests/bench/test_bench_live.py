"""How long a step of a control takes in the live view, from the question to the bytes of the answer."""

from __future__ import annotations

import json
import struct
import time
from pathlib import Path
from statistics import median

import pytest
from test_live import served

SCENE = Path(__file__).resolve().parents[2] / "scenes" / "dome_render.yaml"
STEPS = 30


def quick_steps(visitor, values) -> list[float]:
    """Milliseconds of each step after the first three, which meet what was never drawn before."""
    known: set[str] = set()
    took = []
    for value in values:
        begun = time.perf_counter()
        told = visitor.ask(asked={"values": value, "known": sorted(known)})[1]
        took.append((time.perf_counter() - begun) * 1e3)
        (size,) = struct.unpack("<I", told[:4])
        data = json.loads(told[8 : 8 + size])
        known |= {f"s{shape}" for shape, _ in data["keys"]}
        known |= {f"v{shape}.{key}" for shape, key in data["keys"]}
    return took[3:]


@pytest.mark.long
def test_a_step_of_a_control(tmp_path):
    path = tmp_path / "dome.yaml"
    path.write_bytes(SCENE.read_bytes())
    with served(path) as visitor:
        begun = time.perf_counter()
        visitor.ask("GET", "")
        first = (time.perf_counter() - begun) * 1e3
        sets = {
            "setback": [{"setback": f"{8 + 0.5 * k:g} mm"} for k in range(STEPS)],
            "core": [{"core": f"{40 + k} ± 0.5 mm"} for k in range(STEPS)],
            "fan_row": [{"fan_row": str(3 + k % 3)} for k in range(STEPS)],
        }
        print(f"\nthe page itself: {first:.0f} ms")
        for name, values in sets.items():
            took = quick_steps(visitor, values)
            print(f"a step of {name}: {median(took):.0f} ms in the median, {max(took):.0f} ms at most")
