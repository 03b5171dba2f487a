"""Joined ends at the worst end: longer, or thicker, than the port takes."""

from __future__ import annotations

import numpy as np
import pytest
from tolerance_scenes import asked, placed

from fitcheck.checks.demanded import demands_of
from fitcheck.checks.interference import check_interference
from fitcheck.finding import Verdict
from fitcheck.tolerances.margins import margins
from fitcheck.tolerances.movement import movement

# A tank with a port as deep as it says, in a solid wall 20 mm thick; a plug whose thread is as long as it says.
TANK = """model: thick_wall
summary: a wall with a port
frame: origin at the middle of the port
parameters:
  deep: {type: length, default: 10 mm, meaning: of the port}
solids:
  wall: {box: {low: [-20, -20, -20], high: [20, 20, 0]}}
ports:
  mouth: {at: [0, 0, 0], axis: +z, thread: G1/4, gender: female, depth: deep, of: wall}
"""
PLUG = """model: stopper
summary: a plug
frame: origin at the shoulder
parameters:
  long: {type: length, default: 9 mm, meaning: of the thread}
  thick: {type: length, default: 12 mm, meaning: of the thread}
solids:
  head: {cylinder: {from: [0, 0, 0], to: [0, 0, 5], diameter: 18}}
  thread: {cylinder: {from: [0, 0, -long], to: [0, 0, 0], diameter: thick}}
ports:
  end: {at: [0, 0, 0], axis: -z, thread: G1/4, gender: male, depth: long, of: head, reach: thread}
"""
SCENE = """
parts:
  tank: {{model: thick_wall, with: {{deep: 10 ± {deep} mm}}, place: {{at: [0, 0, 0]}}}}
  plug: {{model: stopper, with: {{long: 9 ± {long} mm}}, place: {{join: end, to: tank.mouth}}}}
"""


def world_text(folder, deep: float, long: float) -> str:
    (folder / "own").mkdir(exist_ok=True)
    (folder / "own" / "thick_wall.yaml").write_text(TANK)
    (folder / "own" / "stopper.yaml").write_text(PLUG)
    return SCENE.format(deep=deep, long=long)


@pytest.mark.parametrize(("deep", "long", "out"), [(0.4, 0.5, 0.0), (0.7, 0.5, 0.2), (0.1, 1.4, 0.5)])
def test_an_end_longer_than_its_port_takes(tmp_path, deep, long, out):
    # 10 - 9 to spare as drawn, less what the port may be shallower and the thread longer.
    answer = asked(tmp_path, world_text(tmp_path, deep, long))
    assert not [line for line in answer.not_checked if "joined ends" in line]
    told = [one for one in answer.findings if one.details.get("check") == "joined"]
    if not out:
        assert told == []
        assert answer.findings[0].verdict == Verdict.FITS
        return
    (finding,) = told
    assert (finding.verdict, finding.measured) == (Verdict.TIGHT, pytest.approx(-out, abs=1e-6))
    assert finding.details["at"] == {"tank.deep": 10 - deep, "plug.long": 9 + long}
    assert finding.sentence.startswith(
        f"plug.thread leaves its place in the port of tank.wall by {out} mm at the worst end"
    )


def test_no_end_leaves_its_port_by_more_than_its_bound(tmp_path):
    world = placed(tmp_path, world_text(tmp_path, 0.8, 0.9))
    move = movement(world)
    (margin,) = (one for one in margins(move, demands_of(move), anew=True) if one.demand.check == "joined")
    random = np.random.default_rng(3)
    for offsets in random.uniform(move.low, move.high, (60, len(move.low))):
        found = check_interference(world.elsewhere(move.values(offsets))).findings
        out = max((one.measured or 0.0 for one in found if one.verdict == Verdict.FAILS), default=0.0)
        assert out <= max(-margin.bound, 0.0) + 1e-6
    (worst,) = check_interference(world.elsewhere(move.values(margin.where))).findings
    assert worst.measured == pytest.approx(-margin.met, abs=1e-6)
