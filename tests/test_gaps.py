"""Gaps against bisection on brute-force overlap, and arithmetic."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, Point
from shapely import box as shapely_box
from shapely.affinity import rotate, translate
from worlds import box, part, rod, room, world

from fitcheck.checks.gaps import check_gaps
from fitcheck.finding import Verdict
from fitcheck.world.frames import SIDES, Frame, turn_about
from fitcheck.world.world import Contact, Zone


def facts(*parts, contacts=(), rooms=()):
    return check_gaps(world(*parts, contacts=contacts, rooms=rooms)).facts


def ask(*parts, contacts=(), **rule):
    return check_gaps(world(*parts, contacts=contacts, gaps=[rule])).findings


def test_six_figures_by_hand():
    inner = part("inner", box([10, 20, 30], [50, 60, 70]))
    case = part(
        "case",
        box([-2, 0, 0], [0, 99, 99]), box([60, 0, 0], [62, 99, 99]), box([0, 1, 0], [60, 2, 99]),
        box([0, 90, 0], [60, 91, 99]), box([0, 0, 0], [60, 99, 5]),
        names=("left", "right", "front", "rear", "floor"),
    )  # fmt: skip
    found = facts(case, inner, rooms=(room("case.hall", [0, 0, 0], [60, 99, 99]),))
    assert list(found) == ["inner"]  # the case has compartments: the others are measured in it
    assert found["inner"] == {
        "left": {"free": 10.0, "touches": "case.left"},
        "right": {"free": 10.0, "touches": "case.right"},
        "front": {"free": 18.0, "touches": "case.front"},
        "rear": {"free": 30.0, "touches": "case.rear"},
        "bottom": {"free": 25.0, "touches": "case.floor"},
        "top": {"free": None, "touches": ""},
    }


def test_resting_stops_downwards_only():
    shelf, drive = part("shelf", box([0, 0, 0], [100, 100, 2])), part("drive", box([10, 10, 2], [60, 60, 20]))
    found = facts(shelf, drive, contacts=[Contact("rest", "drive", "shelf")])["drive"]
    assert found["bottom"] == {"free": 0.0, "touches": "shelf.body"}
    assert [found[side]["free"] for side in SIDES if side != "bottom"] == [None] * 5


def test_a_pressed_pad_stops_where_it_faces():
    plate, pad = part("plate", box([0, 0, 0], [100, 100, 2])), part("pad", box([10, 10, 1.5], [60, 60, 4]))
    stop = part("stop", box([70, 0, 3], [72, 100, 9]))
    found = facts(plate, pad, stop, contacts=[Contact("rest", "pad", "plate", gives=0.5)])["pad"]
    assert found["bottom"] == {"free": 0.0, "touches": "plate.body"}
    assert found["right"] == {"free": 10.0, "touches": "stop.body"}


def test_what_is_joined_does_not_stop_its_partner():
    block = part("block", box([0, 0, 0], [40, 40, 40]))
    fitting = part(
        "fitting",
        rod([40, 20, 20], [60, 20, 20], 16),
        rod([32, 20, 20], [40, 20, 20], 13),
        names=("hex", "thread"),
    )
    zone = Zone(np.array([40.0, 20, 20]), np.array([-1.0, 0, 0]), 6.7, 10.0)
    join = Contact("join", "fitting", "block", ("hex",), ("body",), reach="thread", zone=zone)
    wall = part("wall", box([75, 0, 0], [77, 40, 40]))
    found = facts(block, fitting, wall, contacts=[join])
    assert found["fitting"]["right"] == {"free": 15.0, "touches": "wall.body"}
    assert found["block"]["right"] == {"free": 35.0, "touches": "wall.body"}


def test_parts_that_overlap_have_no_gap():
    found = facts(part("a", box([0, 0, 0], [20, 20, 20])), part("b", box([15, 0, 0], [40, 20, 20])))
    assert found["a"]["left"] == {"free": 0.0, "touches": "b.body", "overlaps": True}


def test_an_assembly_moves_as_one():
    row = [part(f"row.fan[{i}]", box([i * 120, 0, 0], [i * 120 + 120, 120, 25]), group="row") for i in (0, 1)]
    wall = part("wall", box([300, 0, 0], [302, 120, 120]))
    assert facts(*row, wall)["row"]["right"] == {"free": 60.0, "touches": "wall.body"}


@pytest.mark.parametrize(
    ("gap", "verdict"),
    [
        (30, Verdict.FITS),
        (27, Verdict.FITS),
        (26.9, Verdict.TIGHT),
        (25, Verdict.TIGHT),
        (24.9, Verdict.FAILS),
    ],
)
def test_a_demand_and_its_margin(gap, verdict):
    lid, roof = (
        part("lid", box([0, 0, 0], [50, 50, 2])),
        part("roof", box([0, 0, 2 + gap], [50, 50, 40 + gap])),
    )
    (finding,) = ask(lid, roof, part="lid", side="top", at_least=25, margin=2)
    assert finding.verdict == verdict
    assert finding.measured == pytest.approx(gap)
    assert finding.required == 25
    assert finding.rule == "gaps[1]"
    assert finding.where == ((25.0, 25.0, 2.0),)


def test_sentences():
    lid, roof = part("lid", box([0, 0, 0], [50, 50, 2])), part("roof", box([0, 0, 20], [50, 50, 40]))
    (finding,) = ask(lid, roof, part="lid", side="top", at_least=25)
    assert finding.sentence == "lid can travel 18.0 mm up before it touches roof.body, 25.0 mm are demanded"
    (free,) = ask(lid, roof, part="lid", side="left", at_least=25)
    assert (free.verdict, free.measured) == (Verdict.FITS, None)
    assert free.sentence == "nothing stops lid to the left"


def test_a_pattern_asks_each_part():
    drives = [part(f"drive[{i}]", box([i * 30, 0, 0], [i * 30 + 20, 50, 10])) for i in (1, 2)]
    wall = part("wall", box([90, 0, 0], [92, 50, 50]))
    found = ask(*drives, wall, part="drive*", side="right", at_least=5)
    assert [(f.parts, f.measured) for f in found] == [
        (("drive[1]", "drive[2].body"), pytest.approx(10)), (("drive[2]", "wall.body"), pytest.approx(10)),
    ]  # fmt: skip


def test_round_part_meets_the_edge_of_a_box():
    # A disc of radius 50 about the origin moves right; the corner of a box at x 100, y 30:
    # its rim at y 30 is at x sqrt(50^2 - 30^2) = 40, so it travels 60.
    disc, block = (
        part("disc", rod([0, 0, 0], [0, 0, 10], 100)),
        part("block", box([100, 30, 0], [150, 90, 10])),
    )
    assert facts(disc, block)["disc"]["right"]["free"] == pytest.approx(60, abs=5e-3)


def test_tilted_box_meets_by_its_corner():
    # A square of 100 mm on its corner reaches 50 sqrt(2) to the right.
    stood = Frame(turn_about(np.array([0.0, 1.0, 0.0]), 45), np.zeros(3))
    tilted = part("tilted", box([-50, -5, -50], [50, 5, 50]), pose=stood)
    wall = part("wall", box([100, -5, -100], [102, 5, 100]))
    assert facts(tilted, wall)["tilted"]["right"]["free"] == pytest.approx(100 - 50 * 2**0.5, abs=1e-6)


def free_by_bisection(boxes: np.ndarray, mover: int, side: str, limit: float) -> float | None:
    """Longest move whose swept box reaches into no other box; None when nothing is in the way."""
    others = np.delete(boxes, mover, axis=0)

    def blocked(way):
        swept = boxes[mover].copy()
        swept[0] += np.minimum(SIDES[side] * way, 0)
        swept[1] += np.maximum(SIDES[side] * way, 0)
        return ((others[:, 0] < swept[1] - 1e-9) & (others[:, 1] > swept[0] + 1e-9)).all(axis=1).any()

    if not blocked(limit):
        return None
    low, high = 0.0, limit
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (low, middle) if blocked(middle) else (middle, high)
    return low


spots = st.tuples(*[st.integers(0, 12)] * 3)
sizes = st.tuples(*[st.integers(1, 5)] * 3)


def against_bisection(drawn):
    boxes = np.array([[low, np.add(low, size)] for low, size in drawn], float)
    found = facts(*(part(f"p{i}", box(*b)) for i, b in enumerate(boxes)))
    for i in range(len(boxes)):
        for side in SIDES:
            expected = free_by_bisection(boxes, i, side, 100)
            got = found[f"p{i}"][side]["free"]
            assert got == (None if expected is None else pytest.approx(expected, abs=1e-6)), (i, side)


several = st.lists(st.tuples(spots, sizes), min_size=2, max_size=6)


@settings(derandomize=True, deadline=None, max_examples=120)
@given(several)
def test_against_bisection_on_whole_numbers(drawn):
    against_bisection(drawn)


@pytest.mark.long
@settings(derandomize=True, deadline=None, max_examples=4000)
@given(several)
def test_against_bisection_on_whole_numbers_at_length(drawn):
    against_bisection(drawn)


def standing(kind, x, y, size, turn):
    """An upright post or turned block as a part's keywords, and its outline in plan."""
    middle = Frame(turn_about(np.array([0.0, 0.0, 1.0]), turn), np.array([x, y, 0.0], float))
    if kind == "post":
        return {"piece": rod([0, 0, 0], [0, 0, 10], size), "pose": middle}, Point(x, y).buffer(size / 2, 256)
    block = shapely_box(-size, -size / 3, size, size / 3)
    outline = translate(rotate(block, turn, origin=(0, 0)), x, y)
    return {"piece": box([-size, -size / 3, 0], [size, size / 3, 10]), "pose": middle}, outline


def test_turned_and_round_parts_against_outlines_in_plan():
    # shapely: the swept outline is the convex hull of both ends of the move.
    chance = np.random.default_rng(13)
    worst = []
    for _ in range(40):
        drawn = [
            standing(kind, *place, int(size), int(turn))
            for kind, place, size, turn in zip(
                chance.choice(["post", "block"], 6),
                chance.integers(0, 200, (6, 2)),
                chance.integers(12, 30, 6),
                chance.integers(0, 90, 6),
                strict=True,
            )
        ]
        found = facts(*(part(f"p{i}", keys["piece"], pose=keys["pose"]) for i, (keys, _) in enumerate(drawn)))
        outlines = [outline for _, outline in drawn]
        for i, outline in enumerate(outlines):
            others = [o for k, o in enumerate(outlines) if k != i]
            if any(outline.intersection(o).area > 0 for o in others):
                assert found[f"p{i}"]["left"].get("overlaps")
                continue
            for side in ("left", "right", "front", "rear"):
                expected = swept_until(outline, others, SIDES[side][:2])
                got = found[f"p{i}"][side]["free"]
                if expected is None or got is None:
                    assert expected is got
                else:
                    # A contact 0.01 mm deep across the way is let pass: later along steep sides.
                    assert got == pytest.approx(expected, abs=0.05)
                    worst.append(abs(got - expected))
    assert len(worst) > 200
    assert np.quantile(worst, 0.9) < 0.02


def swept_until(outline, others, way):
    def blocked(by):
        swept = MultiPolygon([outline, translate(outline, *(way * by))]).convex_hull
        return any(swept.intersection(other).area > 1e-9 for other in others)

    if not blocked(500.0):
        return None
    low, high = 0.0, 500.0
    while high - low > 1e-4:
        middle = (low + high) / 2
        low, high = (low, middle) if blocked(middle) else (middle, high)
    return low


def test_sixty_parts_against_bisection():
    chance = np.random.default_rng(5)
    cells = np.stack(np.meshgrid(*[np.arange(4)] * 3), -1).reshape(-1, 3)[:60] * 50.0
    low = cells + chance.uniform(0, 6, (60, 3))
    boxes = np.stack([low, low + chance.uniform(20, 44, (60, 3))], axis=1)
    found = facts(*(part(f"p{i}", box(*b)) for i, b in enumerate(boxes)))
    for i in range(60):
        for side in SIDES:
            expected = free_by_bisection(boxes, i, side, 1000)
            got = found[f"p{i}"][side]["free"]
            assert got == (None if expected is None else pytest.approx(expected, abs=1e-5)), (i, side)
