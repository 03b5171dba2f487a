"""Bounds of the worst case against the scene itself, placed anew at many values of its measurements."""

from __future__ import annotations

import itertools
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tolerance_scenes import placed

from fitcheck.tolerances.movement import Movement, movement
from fitcheck.tolerances.worst import OF_DEPTH, TO, Worst, worst_of
from fitcheck.world.bodies import bodies
from fitcheck.world.engine import measure

# What the engine promises of boxes and cylinders, and meshes at this size, mm.
ROUNDING = 1e-5
# Sizes that may be uncertain by up to 4 mm, and from where to where they are drawn, tenths of a mm.
SIZES = {
    "block": {"length": (80, 240), "height": (80, 240)},
    "rod": {"diameter": (80, 240), "length": (80, 240)},
    "wedge": {},  # keeps its shape
    "plate": {"length": (240, 500), "thick": (50, 100)},
}

tenths = st.integers(-300, 300).map(lambda n: n / 10)
widths = st.integers(0, 40).map(lambda n: n / 10)
turns = st.sampled_from([0, 0, 15, 30, 45, 90, 137])


@st.composite
def scenes(draw, kinds=("block", "rod", "wedge", "plate")):
    """A part at the origin and another anywhere, turned; up to five lengths of both uncertain."""
    lines = []
    for name in ("a", "b"):
        kind = draw(st.sampled_from(kinds))
        given_sizes = [
            f"{size}: {draw(st.integers(*ends)) / 10} ± {draw(widths)} mm"
            for size, ends in SIZES[kind].items()
            if draw(st.booleans())
        ]
        at = [0, 0, 0] if name == "a" else [draw(tenths) * 1.2 for _ in range(3)]
        unsure = [draw(widths) if draw(st.booleans()) else 0 for _ in range(3)] if name == "b" else [0] * 3
        where = ", ".join(f"{x:g} ± {u} mm" if u else f"{x:g}" for x, u in zip(at, unsure, strict=True))
        turned = ", ".join(f"{{about: {axis}, by: {draw(turns)}}}" for axis in "xyz")
        lines.append(
            f"  {name}: {{model: {kind}, with: {{{', '.join(given_sizes)}}}, place: {{at: [{where}], turns: [{turned}]}}}}"
        )
    # Plates are cut about their middle: at least one measurement, so that there is something to follow.
    return (
        "parts:\n"
        + "\n".join(lines)
        + "\n  c: {model: block, with: {width: 20 ± 1 mm}, place: {at: [500, 0, 0]}}\n"
    )


def followed(text: str) -> tuple[Movement, Worst, np.ndarray]:
    with tempfile.TemporaryDirectory() as folder:
        world = placed(Path(folder), text)
        move = movement(world)
        assert move is not None
        rows = [move.pieces.all.all[k].pieces.start for k in (0, 1)]
        return move, worst_of(move, np.array([rows])), np.array(rows)


def signed(move: Movement, offsets) -> float:
    """What the engine says of the two parts, with the scene placed anew."""
    assert move.world.elsewhere is not None
    (found,) = measure(bodies(move.world.elsewhere(move.values(np.asarray(offsets, float)))), [(0, 1)])
    return -found.depth if found.depth > 0 else found.distance


def some_offsets(move: Movement, count: int):
    """Corners, a grid of three a measurement where that is few, and points in between."""
    grids = [(low, 0.0, high) for low, high in zip(move.low, move.high, strict=True)]
    every = list(itertools.product(*grids))
    random = np.random.default_rng(1)
    picked = [every[k] for k in random.permutation(len(every))[:count]]
    return picked + list(random.uniform(move.low, move.high, (count // 2, len(move.low))))


def within(worst: Worst) -> bool:
    """Whether bound and what was met are as near as they promise to be."""
    return worst.met[0] - worst.bound[0] <= TO + OF_DEPTH * max(-worst.met[0], 0.0) + ROUNDING


def hold(text: str, count: int) -> None:
    move, worst, _ = followed(text)
    assert not move.doubts.bent
    assert worst.bound[0] <= worst.met[0] + ROUNDING
    # What was met is really there (a mesh in another: one way out among others).
    there = signed(move, worst.where[0])
    if there > 0:
        assert worst.met[0] == pytest.approx(there, abs=ROUNDING)
    meshed = any(mesh is not None for mesh in move.pieces.all.meshes[:2])
    for offsets in some_offsets(move, count):
        there = signed(move, offsets)
        # Of a mesh the depth is a way out, maybe longer than the shortest that the bound is of.
        if there > 0 or not meshed:
            assert there >= worst.bound[0] - ROUNDING


@settings(max_examples=60, deadline=None)
@given(text=scenes(kinds=("block", "rod")))
def test_no_value_is_below_the_bound_of_boxes_and_cylinders(text):
    hold(text, 24)


@settings(max_examples=25, deadline=None)
@given(text=scenes())
def test_no_value_is_below_the_bound_of_meshes(text):
    hold(text, 10)


@settings(max_examples=60, deadline=None)
@given(text=scenes(kinds=("block", "rod")))
def test_the_bound_is_met_to_a_hundredth(text):
    _, worst, _ = followed(text)
    assert within(worst)


@pytest.mark.long
@settings(max_examples=400, deadline=None)
@given(text=scenes(kinds=("block", "rod")))
def test_many_bounds_of_boxes_and_cylinders(text):
    hold(text, 60)
    _, worst, _ = followed(text)
    assert within(worst)


@pytest.mark.long
@settings(max_examples=100, deadline=None)
@given(text=scenes())
def test_many_bounds_of_meshes(text):
    hold(text, 24)


def test_past_a_corner_the_worst_is_in_the_middle():
    # A rod across the corner of a block, slid past it: nearest when level with the corner, at no end of the range.
    text = """
parts:
  a: {model: block, with: {length: 10, width: 10, height: 10}, place: {at: [0, 0, 0], turn: 45}}
  b: {model: rod, with: {diameter: 4, length: 60}, place: {at: [15, 0.3 ± 3 mm, 5]}}
"""
    move, worst, _ = followed(text)
    exact = 15 - 2 - np.sqrt(50)  # both round off to the corner at y = 0
    assert worst.met[0] == pytest.approx(exact, abs=TO)
    assert exact - TO - ROUNDING <= worst.bound[0] <= exact + ROUNDING
    assert signed(move, [-3.0]) > exact + 0.1
    assert signed(move, [3.0]) > exact + 0.1


def test_a_turned_part_shifts_along_its_normal():
    # Turned by 30 about z, the side of the block faces along (cos 30, sin 30); shifted by u along x it comes nearer by u cos 30.
    text = """
parts:
  a: {model: block, with: {length: 20, width: 80}, place: {at: [0, 0, 0], turn: 30}}
  b: {model: rod, with: {diameter: 6, length: 10}, place: {at: [30 ± 2 mm, 0, 5]}}
"""
    _, worst, _ = followed(text)
    cosine = np.cos(np.radians(30))
    assert worst.drawn[0] == pytest.approx(30 * cosine - 10 - 3, abs=1e-9)
    assert worst.bound[0] == pytest.approx(28 * cosine - 10 - 3, abs=1e-9)
    assert worst.slope[0] == pytest.approx([cosine])


def test_a_plate_that_grows_is_bounded_by_its_box_before_the_hole():
    text = """
parts:
  a: {model: plate, with: {thick: 2 ± 0.2 mm}}
  b: {model: block, place: {at: [0, 0, 3]}}
"""
    move, worst, rows = followed(text)
    assert move.deforms[rows].tolist() == [True, False]
    assert worst.bound[0] == pytest.approx(0.8, abs=1e-9)


def test_a_mesh_that_changes_its_shape_is_not_proved():
    text = """
parts:
  a: {model: wedge, with: {length: 20 ± 1 mm}}
  b: {model: block, place: {at: [30, 0, 0]}}
"""
    _, worst, _ = followed(text)
    assert worst.bound[0] == -np.inf
    assert worst.met[0] == pytest.approx(4.0, abs=1e-6)  # 25 - 21


@pytest.mark.parametrize(
    ("length", "bent"),
    [
        ("u", False),
        ("2 * u - u / 4", False),
        ('"max(u, 5 mm)"', False),  # u is never below 9
        ('"max(u, 10 mm)"', True),
        ("u * u / 10 mm", True),
        ("100 mm * 1 mm / u", True),
        ("floor(u / 4 mm) * 4 mm", False),  # 2 from 9 to 11
        ("floor(u / 5 mm) * 4 mm", True),
        ("abs(u - 30 mm)", False),
        ("abs(u - 10 mm) + 5 mm", True),
        ("sqrt(u * u)", True),
        ("u * cos(w * 1 deg / 1 mm)", True),
        ("b.rear", False),
        ('"max(b.rear, 19 mm)"', True),  # where b stands is not known to arithmetic, and it moves
        ('"max(c.rear, 19 mm)"', False),  # c stands still
    ],
)
def test_what_is_not_linear_is_found(tmp_path, length, bent):
    text = f"""
parameters: {{u: 10 ± 1 mm, w: 10 ± 1 mm}}
parts:
  a: {{model: block, with: {{length: {length}}}}}
  b: {{model: block, place: {{at: [40, u, 0]}}}}
  c: {{model: block, place: {{at: [80, 0, 0]}}}}
"""
    move = movement(placed(tmp_path, text))
    assert move is not None
    assert ("u" in move.doubts.bent) == bent
    assert [m.name for m in move.measurements if m.name == "u"] == ([] if bent else ["u"])


def test_a_turn_by_a_length_is_not_linear(tmp_path):
    text = """
parameters: {u: 10 ± 1 mm}
parts: {a: {model: block, place: {at: [0, 0, 0], turn: u * 1 deg / 1 mm}}, b: {model: block, place: {at: [20, 0, 0]}}}
"""
    move = movement(placed(tmp_path, text))
    assert move is not None
    assert move.doubts.bent == ("u",)


def test_the_outermost_of_two_may_change(tmp_path):
    # The top of the pile is that of the taller block; which is taller depends on u.
    models = tmp_path / "own"
    models.mkdir()
    (models / "pile.yaml").write_text(
        """model: pile
summary: two blocks beside each other
frame: origin between them
parameters:
  one: {type: length, default: 10 mm, meaning: height of the first}
  other: {type: length, default: 10 mm, meaning: height of the second}
solids:
  first: {box: {low: [-10, 0, 0], high: [0, 10, one]}}
  second: {box: {low: [0, 0, 0], high: [10, 10, other]}}
faces:
  crown: {of: [first, second], side: +z}
"""
    )
    text = """
parameters: {{u: 10 ± 1 mm, w: {w}}}
parts:
  a: {{model: pile, with: {{one: u, other: w}}}}
  b: {{model: block, place: {{rest: base, on: a.crown, centre: both}}}}
"""
    for w, bent in (("10.5 ± 0.1 mm", True), ("12 ± 0.5 mm", False), ("13 mm", False)):
        move = movement(placed(tmp_path, text.format(w=w)))
        assert move is not None
        assert bool(move.doubts.bent) == bent


def test_a_size_may_not_go_through_zero(tmp_path):
    text = """
parameters: {{u: {u}}}
parts: {{a: {{model: block, with: {{height: u}}}}, b: {{model: block, place: {{at: [20, 0, 0]}}}}}}
"""
    for written, bent in (("0.5 ± 0.4 mm", False), ("0.5 ± 0.6 mm", True)):
        move = movement(placed(tmp_path, text.format(u=written)))
        assert move is not None
        assert bool(move.doubts.bent) == bent
