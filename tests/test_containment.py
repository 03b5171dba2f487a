"""Containment against a published board size and arithmetic."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from worlds import box, mesh, part, rod, room, world

from fitcheck.checks.containment import check_containment
from fitcheck.finding import Finding, Verdict
from fitcheck.world.frames import Frame, turn_about

# Mini-ITX addendum 1.1 to microATX 1.2, table 1: both edges, mm.
MINI_ITX = 170.0
BOX_FACES = [
    [0, 2, 1], [0, 3, 2], [4, 5, 6], [4, 6, 7], [0, 1, 5], [0, 5, 4],
    [1, 2, 6], [1, 6, 5], [2, 3, 7], [2, 7, 6], [3, 0, 4], [3, 4, 7],
]  # fmt: skip


def ask(*parts, low=(0, 0, 0), high=(180, 180, 40)) -> Finding:
    """Check parts that claim one compartment."""
    (finding,) = check_containment(world(*parts, rooms=(room("case.tray", low, high),))).findings
    return finding


def board(setback: float):
    return part("board", box([5, setback, 8], [175, setback + MINI_ITX, 10]), claims="case.tray")


@pytest.mark.parametrize(
    ("depth", "verdict", "out"),
    [
        (180, Verdict.FITS, 0.0),  # 8 mm to spare
        (172, Verdict.FITS, 0.0),  # 2 + 170: touching the wall is inside
        (171.99, Verdict.FITS, 0.0),  # 0.01 mm is a contact
        (171.98, Verdict.FAILS, 0.02),
        (171, Verdict.FAILS, 1.0),  # 2 + 170 - 171
    ],
)
def test_board_needs_its_published_depth(depth, verdict, out):
    finding = ask(board(setback=2), high=(180, depth, 40))
    assert finding.verdict == verdict
    assert finding.measured == pytest.approx(out, abs=1e-9)


def test_names_side_and_place():
    finding = ask(board(setback=0), high=(180, 168, 40))
    assert finding.sentence == "board sticks 2.0 mm out of case.tray at the rear"
    assert finding.where == ((90.0, 170.0, 9.0),)
    assert finding.parts == ("board", "case.tray")
    assert finding.details["out"] == {"rear": 2.0}


def test_says_every_side_and_leads_with_the_worst():
    wide = part("wide", box([-3, -1, 0], [181, 100, 45]), claims="case.tray")
    finding = ask(wide)
    assert finding.details["out"] == {"top": 5.0, "left": 3.0, "front": 1.0, "right": 1.0}
    assert finding.sentence == (
        "wide sticks 5.0 mm out of case.tray at the top, 3.0 mm at the left, 1.0 mm at the right, "
        "1.0 mm at the front"
    )


def test_says_how_far_the_walls_are():
    finding = ask(board(setback=2))
    assert finding.details["to_wall"] == {
        "left": 5.0, "right": 5.0, "front": 2.0, "rear": 8.0, "bottom": 8.0, "top": 30.0,
    }  # fmt: skip
    assert finding.sentence == "board is inside case.tray"


def test_assembly_that_claims_is_measured_as_one():
    fans = [
        part(
            f"row.fan[{i + 1}]",
            box([i * 120, 0, 0], [i * 120 + 120, 120, 25]),
            group="row",
            claims="case.tray",
        )
        for i in range(2)
    ]
    finding = ask(*fans)
    assert finding.parts == ("row", "case.tray")
    assert finding.measured == pytest.approx(60.0)  # 2 * 120 - 180


def test_a_part_without_solids_claims_nothing():
    empty = part("row", group="row", claims="case.tray")
    fan = part("row.fan", box([0, 0, 0], [120, 120, 25]), group="row", claims="case.tray")
    assert ask(empty, fan).verdict == Verdict.FITS


def test_lying_cylinder_reaches_as_far_as_its_radius():
    tank = part("tank", rod([90, 20, 20], [90, 160, 20], 60), claims="case.tray")
    finding = ask(tank)
    # Radius 30 about an axis at z 20 in a compartment 40 high: 10 mm below and above.
    assert finding.details["out"] == {"bottom": 10.0, "top": 10.0}
    assert finding.where[0][:2] == (90.0, 90.0)


def test_tilted_box_by_its_corner():
    # A 100 mm square on its corner is 100 sqrt(2) = 141.42 mm high: 70.71 about the middle.
    stood = Frame(turn_about(np.array([0.0, 1.0, 0.0]), 45), np.array([90.0, 90.0, 70.0]))
    tilted = part("tilted", box([-50, -5, -50], [50, 5, 50]), claims="case.tray", pose=stood)
    finding = ask(tilted, high=(180, 180, 140))
    assert finding.details["out"]["top"] == pytest.approx(70 + 50 * 2**0.5 - 140, abs=1e-6)
    assert finding.where[0][2] == pytest.approx(70 - 50 * 2**0.5)  # both ends stick out; bottom by as much


def test_mesh_counts_to_its_corners():
    corners = [[0, 0, 0], [100, 0, 0], [100, 100, 0], [0, 100, 0]]
    corners += [[x, y, 50] for x, y, _ in corners]
    finding = ask(part("scan", mesh(corners, BOX_FACES), claims="case.tray"))
    assert finding.details["out"] == {"top": 10.0}
    assert finding.where == ((50.0, 50.0, 50.0),)


whole = st.integers(-9, 9)
boxes = (
    st.lists(st.tuples(whole, whole).filter(lambda ends: ends[0] != ends[1]), min_size=3, max_size=3)
    .map(lambda ends: np.sort(np.array(ends, float).T, axis=0))
)  # fmt: skip


@settings(derandomize=True, deadline=None, max_examples=200)
@given(inner=boxes, outer=boxes)
def test_measured_is_just_what_the_room_lacks(inner, outer):
    def grown_by(margin):
        low, high = outer + np.array([[-margin], [margin]])
        return ask(part("thing", box(*inner), claims="case.tray"), low=low, high=high)

    out = grown_by(0).measured
    assert grown_by(out).verdict == Verdict.FITS
    assert out == 0 or grown_by(out - 0.1).verdict == Verdict.FAILS


def test_sixty_parts_in_scene_order():
    parts = [part(f"p{i}", box([i * 3, 0, 0], [i * 3 + 5, 10, 10]), claims="case.tray") for i in range(60)]
    found = check_containment(world(*parts, rooms=(room("case.tray", (0, 0, 0), (100, 10, 10)),))).findings
    assert [f.parts[0] for f in found] == [f"p{i}" for i in range(60)]
    # The right end is 3 i + 5: beyond 100 from i = 32 on.
    assert [f.verdict == Verdict.FAILS for f in found] == [3 * i + 5 > 100 for i in range(60)]
