"""Tubes and cables of the demos: all have a way, checked here by other means; blocked, they say why."""

from io import StringIO
from pathlib import Path

import numpy as np
import pytest
from ruamel.yaml import YAML
from run_oracles import piece_distance
from scipy.spatial import cKDTree

import fitcheck
from fitcheck.finding import Verdict
from fitcheck.report import check_world
from fitcheck.runs.lay import laid

SCENES = Path(__file__).resolve().parents[1] / "scenes"
STEP = 2.0


def fillet(corners, radius):
    """Points along a polyline whose corners are rounded with a radius, and the straights left over.

    Worked out here once more: a corner turning by t takes r tan(t / 2) of both its legs.
    """
    legs = np.diff(corners, axis=0)
    lengths = np.linalg.norm(legs, axis=1)
    ways = legs / lengths[:, None]
    turns = np.arccos(np.clip(np.sum(ways[:-1] * ways[1:], axis=1), -1, 1))
    takes = np.concatenate([[0], radius * np.tan(turns / 2), [0]])
    points = [corners[:1]]
    for k, (way, length) in enumerate(zip(ways, lengths, strict=True)):
        along = np.linspace(takes[k], length - takes[k + 1], int(length / STEP) + 2)[:, None]
        points.append(corners[k] + along * way)
        if k < len(turns) and turns[k] > 1e-9:
            inward = ways[k + 1] - way * np.cos(turns[k])
            inward /= np.linalg.norm(inward)
            begin = corners[k] + way * (length - takes[k + 1])
            angles = np.linspace(0, turns[k], int(radius * turns[k] / STEP) + 2)[:, None]
            points.append(begin + radius * (np.sin(angles) * way + (1 - np.cos(angles)) * inward))
    points.append(corners[-1:])
    return np.concatenate(points), lengths - takes[:-1] - takes[1:]


def passed(points, passage):
    """How far off the middle of an opening a line goes through its plane, nearest to it."""
    heights = (points - passage.at) @ passage.axis
    crossings = [
        a + (b - a) * h / (h - g)
        for a, b, h, g in zip(points[:-1], points[1:], heights[:-1], heights[1:], strict=True)
        if h * g <= 0 and h != g
    ]
    assert crossings
    off = min(crossings, key=lambda at: np.linalg.norm(at - passage.at)) - passage.at
    return abs(off @ passage.up), abs(off @ np.cross(passage.axis, passage.up))


def solids_near(world, run, points):
    """Of every solid that comes near: its part, its name and the least distance from the points."""
    low, high = points.min(axis=0) - 20, points.max(axis=0) + 20
    names = {other.name for other in world.laid}
    for part in world.parts:
        if part.name in names:
            continue
        for solid in part.shape.solids.values():
            for piece in solid.pieces:
                own = part.pose.point(piece.centre)
                reach = np.linalg.norm(piece.half)
                if np.any(own + reach < low) or np.any(own - reach > high):
                    continue
                near = points[np.linalg.norm(np.maximum(np.abs(points - own) - reach, 0), axis=1) < 20]
                if len(near):
                    yield part.name, solid.name, piece_distance(piece, part.pose, near).min()


@pytest.mark.parametrize("scene", ["dome_render", "field_cube", "cabinet_wall"])
def test_every_run_of_a_demo_holds_what_it_says(scene):
    world = laid(fitcheck.load(SCENES / f"{scene}.yaml"))
    report = check_world(world, facts=False)
    assert {run["verdict"] for run in report.runs} == {"fits"}
    assert all(run.wish.kind in ("rigid tube", "cable") for run in world.laid) == (scene == "cabinet_wall")
    lines = {}
    for run in world.laid:
        wish = run.wish
        points, straights = fillet(run.corners, run.radius)
        lines[run.name] = points
        assert run.radius >= wish.radius
        assert straights.min() >= -1e-6
        assert run.length == pytest.approx(np.linalg.norm(np.diff(points, axis=0), axis=1).sum(), rel=1e-3)
        assert run.bound <= run.length + 1e-6
        # It leaves both ends straight, for its stub at least.
        for end, first, second, straight in (
            (wish.start, *run.corners[:2], straights[0]),
            (wish.goal, *run.corners[:-3:-1], straights[-1]),
        ):
            np.testing.assert_allclose(first, end.at, atol=1e-6)
            np.testing.assert_allclose((second - first) / np.linalg.norm(second - first), end.out, atol=1e-6)
            assert straight >= end.stub - 1e-6
        if wish.bending is not None and wish.bending.angles is not None:
            ways = np.diff(run.corners, axis=0)
            ways /= np.linalg.norm(ways, axis=1)[:, None]
            turns = np.degrees(np.arccos(np.clip(np.sum(ways[:-1] * ways[1:], axis=1), -1, 1)))
            assert all(min(abs(turn - a) for a in wish.bending.angles) < 1e-3 for turn in turns)
            assert all(s >= wish.bending.straight - 1e-6 for s in straights[1:-1])
        rims = set()
        for step, place in zip(wish.through, run.through, strict=True):
            (passage,) = [one for one in step if one.place == place]
            rims.add((passage.part, passage.solid))
            along, across = passed(points, passage)
            room = (np.array(passage.size) - wish.outside) / 2 - wish.play
            assert along <= room[0] + 1e-3
            assert across <= room[1] + 1e-3
        own = {wish.start.part, wish.goal.part}
        for part, solid, distance in solids_near(world, run, points):
            due = wish.clearance if (part, solid) not in rims and (part, "") not in rims else wish.play
            if part not in own:
                assert distance >= wish.outside / 2 + due - 1e-3, (run.name, part, solid)
    for run, other in ((a, b) for k, a in enumerate(world.laid) for b in world.laid[:k]):
        apart = cKDTree(lines[run.name]).query(lines[other.name])[0].min()
        due = (run.wish.outside + other.wish.outside) / 2 + max(run.wish.clearance, other.wish.clearance)
        # Points every 2 mm: the least distance between two lines d apart is missed by 1 / d at most.
        assert apart >= due - 1e-3, (run.name, other.name)


def blocked(scene, run, parts="", **changed):
    """What is said of one run of a scene, alone, with more parts and other values."""
    yaml = YAML()
    data = yaml.load((SCENES / f"{scene}.yaml").read_text("utf-8"))
    data["parts"] |= yaml.load(parts) if parts else {}
    data["runs"] = {run: {**data["runs"][run], **changed}}
    del data["loops"]
    text = StringIO()
    yaml.dump(data, text)
    report = check_world(fitcheck.load(text.getvalue(), name=scene), facts=False)
    (finding,) = [f for f in report.findings if f.check == "run"]
    return finding


def test_dome_with_its_grommet_closed():
    # A blank of 2 mm under the hole in the midplate.
    blank = "blank: {model: flat_panel, with: {width: 60, length: 60, columns: 0, rows: 0}, place: {at: [45, 562, 137]}}"
    said = blocked("dome_render", "down_to_plinth", blank)
    assert said.verdict == Verdict.FAILS
    assert said.details["reason"] == "narrow"
    assert said.details["proved"]
    assert "blank.panel" in said.parts


def test_cube_with_a_wall_before_the_pump():
    # The pump's outlet looks to the front from y 98: a plate 30 mm before it leaves no room for a bend of 36.
    wall = "wall: {model: flat_panel, with: {width: 120, length: 120, columns: 0, rows: 0}, place: {at: [80, 66, 150], turns: [{about: x, by: 90}]}}"
    said = blocked("field_cube", "pump_to_card", wall)
    assert said.verdict != Verdict.FITS
    assert said.details["reason"] == "bend"


def test_cabinet_with_a_hole_too_small():
    # A plate of 1 mm with a hole of 15 across the straight way from radiator to reservoir, between both stubs:
    # 15 - 2 * 1 mm pass, 14 are wanted.
    plate = (
        "plate: {model: flat_panel, with: {width: 300, length: 300, thickness: 1, columns: 0, rows: 0, "
        "cut_out: round, cut_long: 15}, place: {at: [465, 151.5, 278.5], turns: [{about: y, by: 90}]}}"
    )
    said = blocked("cabinet_wall", "radiator_to_reservoir", plate)
    assert said.verdict == Verdict.FAILS
    assert said.details["reason"] == "narrow"
    assert said.details["proved"]
    assert said.details["widest"] == pytest.approx(13, abs=0.3)
    assert "plate.panel" in said.parts
