"""Empty boxes against exhaustive search over candidate planes, and worked examples."""

from __future__ import annotations

from itertools import combinations, permutations, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from worlds import box, mesh, part, rod, room, world

from fitcheck.checks.empty_boxes import check_empty_boxes
from fitcheck.checks.largest_boxes import largest_boxes
from fitcheck.finding import Verdict
from fitcheck.parts.solids import Kind, Piece
from fitcheck.world.covers import core, cover
from fitcheck.world.frames import IDENTITY, Frame, turn_about


def volume(b) -> float:
    return float(np.prod(np.subtract(b[1], b[0])))


def reaches(a, b) -> bool:
    """Do two boxes share more than a face?"""
    return bool((np.minimum(a[1], b[1]) - np.maximum(a[0], b[0]) > 1e-9).all())


CORNERS = [[[x, y, z], [x + 1, y + 1, z + 1]] for x, y, z in product((0, 2), repeat=3)]


@pytest.mark.parametrize(
    ("high", "obstacles", "expected"),
    [
        ((10, 20, 30), [], 6000),
        ((3, 3, 3), [[[1, 1, 1], [2, 2, 2]]], 9),  # a slab 3 x 3 x 1 beside the unit cube
        ((3, 3, 3), CORNERS, 9),  # the middle slab
        ((3, 3, 3), [[[0, 0, 0], [3, 3, 2]]], 9),
        ((3, 3, 3), [[[-1, -1, -1], [4, 4, 4]]], 0),
        ((3, 3, 3), [[[3, 0, 0], [4, 3, 3]]], 27),  # touches the wall: no zero-thick box is left
    ],
)
def test_worked_examples(high, obstacles, expected):
    found = largest_boxes([[0, 0, 0], high], np.array(obstacles, float).reshape(-1, 2, 3), np.zeros(3))
    assert found.complete
    assert [volume(b) for b in found.boxes] == ([expected] if expected else [])


def by_all_planes(high, obstacles) -> float:
    """Volume of the largest empty box: every pair of candidate planes along every axis."""
    ends = []
    for axis in range(3):
        planes = {0, high[axis]} | {
            o[e][axis] for o in obstacles for e in (0, 1) if 0 < o[e][axis] < high[axis]
        }
        ends.append(list(combinations(sorted(planes), 2)))
    best = 0.0
    for (x0, x1), (y0, y1), (z0, z1) in product(*ends):
        size = (x1 - x0) * (y1 - y0) * (z1 - z0)
        if size > best and not any(reaches([(x0, y0, z0), (x1, y1, z1)], o) for o in obstacles):
            best = size
    return float(best)


spots = st.tuples(*[st.integers(-1, 8)] * 3)
sizes = st.tuples(*[st.integers(1, 5)] * 3)
obstacle_lists = st.lists(st.tuples(spots, sizes).map(lambda o: [o[0], tuple(np.add(*o))]), max_size=4)


@settings(derandomize=True, deadline=None, max_examples=150)
@given(high=st.tuples(*[st.integers(2, 9)] * 3), obstacles=obstacle_lists)
def test_against_all_candidate_planes(high, obstacles):
    found = largest_boxes([[0, 0, 0], high], np.array(obstacles, float).reshape(-1, 2, 3), np.zeros(3), 3)
    boxes = [volume(b) for b in found.boxes]
    assert max(boxes, default=0) == pytest.approx(by_all_planes(high, obstacles))
    assert boxes == sorted(boxes, reverse=True)
    assert not any(reaches(b, o) for b in found.boxes for o in obstacles)
    assert not any(reaches(a, b) for a, b in combinations(found.boxes, 2))


@pytest.mark.long
@settings(derandomize=True, deadline=None, max_examples=3000)
@given(high=st.tuples(*[st.integers(2, 12)] * 3), obstacles=obstacle_lists)
def test_against_all_candidate_planes_at_length(high, obstacles):
    found = largest_boxes([[0, 0, 0], high], np.array(obstacles, float).reshape(-1, 2, 3), np.zeros(3))
    assert max(map(volume, found.boxes), default=0) == pytest.approx(by_all_planes(high, obstacles))


@settings(derandomize=True, deadline=None, max_examples=100)
@given(
    high=st.tuples(*[st.integers(2, 7)] * 3), obstacles=obstacle_lists, axis=st.integers(0, 2), least=sizes
)
def test_longest_along_an_axis(high, obstacles, axis, least):
    need = np.array(least, float)
    need[axis] = 0
    found = largest_boxes([[0, 0, 0], high], np.array(obstacles, float).reshape(-1, 2, 3), need, along=axis)
    longest = 0
    for low in product(*[range(h) for h in high]):
        for far in range(low[axis] + 1, high[axis] + 1):
            top = np.add(low, need)
            top[axis] = far
            if (top <= high).all() and not any(reaches([low, top], o) for o in obstacles):
                longest = max(longest, far - low[axis])
    assert [b[1][axis] - b[0][axis] for b in found.boxes] == ([longest] if longest else [])


def ask(*parts, size, high=(10, 10, 10), **more):
    wanted = [{"name": "spare", "size": list(size), **more}]
    scene = world(*parts, rooms=(room("case.hall", (0, 0, 0), high),), empty_boxes={"wanted": wanted})
    (finding,) = check_empty_boxes(scene).findings
    return finding


def place_of(finding):
    return [finding.details["place"]["low"], finding.details["place"]["high"]]


def test_wanted_box_just_fits_and_is_turned():
    block = part("block", box([0, 0, 0], [6, 10, 10]))
    finding = ask(block, size=(10, 4, 8))
    assert finding.verdict == Verdict.FITS
    assert place_of(finding) == [(6.0, 0.0, 0.0), (10.0, 10.0, 8.0)]
    assert finding.sentence == (
        "spare (10.0 × 4.0 × 8.0 mm) fits in case.hall turned to 4.0 × 10.0 × 8.0 mm, "
        "its left front bottom corner at x 6.0, y 0.0, z 0.0"
    )


def test_how_much_is_missing():
    block = part("block", box([0, 0, 0], [6, 10, 10]))
    finding = ask(block, size=(4.5, 10, 10))
    assert finding.verdict == Verdict.FAILS
    assert (finding.measured, finding.required) == (pytest.approx(4), 4.5)
    assert finding.sentence == (
        "spare (4.5 × 10.0 × 10.0 mm) does not fit in any compartment: "
        "its side of 4.5 mm finds 4.0 mm in case.hall, 0.5 mm are missing"
    )
    assert finding.rule == "empty_boxes.wanted[1]"
    assert finding.rule_line == 10


def test_only_the_named_compartment_counts():
    assert ask(size=(5, 5, 5), **{"in": "case.hall"}).verdict == Verdict.FITS
    assert ask(size=(5, 5, 5), **{"in": "case.attic"}).verdict == Verdict.UNKNOWN
    assert ask(size=(5, 0, 5)).sentence == "spare: a size of 5.0 × 0.0 × 5.0 mm is no box"


def test_a_keep_clear_volume_is_no_place():
    drain = part("drain", box([0, 0, 0], [5, 10, 10]), keep_clear={"hand": box([5, 0, 0], [10, 10, 10])})
    finding = ask(drain, size=(4, 4, 4))
    assert finding.verdict == Verdict.FAILS
    assert finding.sentence.endswith("only where a keep-clear volume must stay empty")


def fits_somewhere(high, obstacles, size) -> bool:
    """All whole-number places and turns: a whole-number box that fits somewhere fits at one of them."""
    for turn in set(permutations(size)):
        for low in product(*[range(h - s + 1) for h, s in zip(high, turn, strict=True)]):
            if not any(reaches([low, np.add(low, turn)], o) for o in obstacles):
                return True
    return False


def wanted_against_every_place(high, obstacles, size):
    parts = [part(f"p{i}", box(*o)) for i, o in enumerate(obstacles)]
    finding = ask(*parts, size=size, high=high)
    assert (finding.verdict == Verdict.FITS) == fits_somewhere(high, obstacles, size)
    if finding.verdict == Verdict.FITS:
        place = np.array(place_of(finding))
        assert sorted(place[1] - place[0]) == pytest.approx(sorted(size))
        assert not any(reaches(place, o) for o in obstacles)
        assert (place[0] >= 0).all()
        assert (place[1] <= high).all()
    elif finding.measured is not None:
        # What is missing is enough: with that side shortened it fits, 0.5 longer it does not.
        short = list(size)
        short[short.index(round(finding.required))] = finding.measured
        assert ask(*parts, size=short, high=high).verdict == Verdict.FITS


wanted = {
    "high": st.tuples(*[st.integers(3, 7)] * 3),
    "obstacles": obstacle_lists,
    "size": st.tuples(*[st.integers(1, 6)] * 3),
}


@settings(derandomize=True, deadline=None, max_examples=120)
@given(**wanted)
def test_wanted_box_against_every_place(high, obstacles, size):
    wanted_against_every_place(high, obstacles, size)


@pytest.mark.long
@settings(derandomize=True, deadline=None, max_examples=3000)
@given(**wanted)
def test_wanted_box_against_every_place_at_length(high, obstacles, size):
    wanted_against_every_place(high, obstacles, size)


def test_facts_by_hand():
    case = part("case", box([0, 0, 0], [100, 200, 30]))
    answer = check_empty_boxes(world(case, rooms=(room("case.hall", (0, 0, 0), (300, 200, 100)),)))
    assert answer.facts["case.hall"] == (
        # 300 x 200 x 70 above the block is more than 200 x 200 x 100 beside it.
        {
            "size": (300.0, 200.0, 70.0),
            "low": (0.0, 0.0, 30.0),
            "high": (300.0, 200.0, 100.0),
            "volume": 4.2e6,
        },
        {
            "size": (200.0, 200.0, 30.0),
            "low": (100.0, 0.0, 0.0),
            "high": (300.0, 200.0, 30.0),
            "volume": 1.2e6,
        },
    )


def test_boxes_beside_a_cylinder_touch_it():
    # Beside a post of radius 30 in the middle of 200 x 100: 70 mm to the left of its rim.
    post = part("post", rod([100, 50, 0], [100, 50, 80], 60))
    answer = check_empty_boxes(world(post, rooms=(room("case.hall", (0, 0, 0), (200, 100, 80)),)))
    assert answer.facts["case.hall"][0]["size"] == pytest.approx((70, 100, 80), abs=5e-3)


TILT = Frame(turn_about(np.array([1.0, 2.0, 2.0]) / 3, 25), np.array([3.0, -2.0, 1.0]))
L_SHAPE = [[0, 0], [40, 0], [40, 10], [10, 10], [10, 30], [0, 30]]


def l_prism() -> Piece:
    """An angle 40 x 30, 10 thick, 50 long, as a closed mesh."""
    corners = [[x, y, z] for z in (0, 50) for x, y in L_SHAPE]
    ends = [(0, 1, 2), (0, 2, 3), (0, 3, 4), (0, 4, 5)]
    faces = [(a, c, b) for a, b, c in ends] + [(a + 6, b + 6, c + 6) for a, b, c in ends]
    for i in range(6):
        k = (i + 1) % 6
        faces += [(i, k, k + 6), (i, k + 6, i + 6)]
    return mesh(corners, faces)


@pytest.mark.parametrize("pose", [IDENTITY, TILT])
@pytest.mark.parametrize(
    "piece",
    [
        box([0, 0, 0], [40, 30, 20]),
        rod([0, 0, 0], [10, 20, 30], 24),
        rod([0, 0, 0], [0, 0, 30], 24),
        l_prism(),
    ],
)
def test_covers_hold_every_point_and_cores_none_outside(piece, pose):
    chance = np.random.default_rng(2)
    points = piece.centre + chance.uniform(-1, 1, (20_000, 3)) * 40
    own = (points - piece.centre) @ piece.rotation
    if piece.kind == Kind.BOX:
        inside = (np.abs(own) <= piece.half).all(axis=1)
    elif piece.kind == Kind.CYLINDER:
        inside = (np.hypot(own[:, 0], own[:, 1]) <= piece.half[0]) & (np.abs(own[:, 2]) <= piece.half[2])
    else:
        x, y, z = points.T
        flat = ((y >= 0) & (y <= 10) & (x <= 40)) | ((y >= 0) & (y <= 30) & (x <= 10))
        inside = flat & (x >= 0) & (z >= 0) & (z <= 50)
    moved = pose.point(points)

    def held(boxes, slack):
        low, high = boxes[None, :, 0] - slack, boxes[None, :, 1] + slack
        return ((moved[:, None] >= low) & (moved[:, None] <= high)).all(axis=2).any(axis=1)

    assert inside.sum() > 100
    assert held(cover(piece, pose), 1e-6)[inside].all()
    assert not held(core(piece, pose), -1e-6)[~inside].any()


@pytest.mark.parametrize("at", [[0, 0, 0], [1 / 3, 2e-7, -5e-7 / 3], [1e-7, 100 / 7, 100 / 3]])
def test_an_upright_angle_is_covered_exactly(at):
    """Wherever it stands: cut beside its planes it would leave films, which are obstacles too."""
    for boxes in (
        cover(l_prism(), Frame(np.eye(3), np.array(at))),
        core(l_prism(), Frame(np.eye(3), np.array(at))),
    ):
        assert len(boxes) == 2
        assert sum(volume(b) for b in boxes) == pytest.approx((40 * 10 + 10 * 20) * 50)


@pytest.mark.parametrize(
    ("width", "verdict"),
    [
        # The rims of two posts of radius 20, 50 apart, leave 10 mm.
        pytest.param(10, Verdict.FITS, marks=pytest.mark.long),
        (10.1, Verdict.UNKNOWN),  # within the thin slabs of the rims that neither side settles
        (11, Verdict.FAILS),
        (30, Verdict.FAILS),
    ],
)
def test_round_parts_leave_open_what_neither_side_settles(width, verdict):
    posts = [part(f"post[{i}]", rod([20 + 50 * i, 20, 0], [20 + 50 * i, 20, 50], 40)) for i in (0, 1)]
    finding = ask(*posts, size=(width, 40, 50), high=(90, 40, 50))
    assert finding.verdict == verdict
    if verdict == Verdict.UNKNOWN:
        assert finding.sentence.endswith(
            "no place found in any compartment, but round or slanted parts leave it open"
        )
        assert finding.details["missing"] == pytest.approx(0.1, abs=5e-3)


def test_sixty_parts_leave_boxes_that_touch_nothing():
    chance = np.random.default_rng(9)
    low = chance.integers(0, 60, (60, 3)) * 10.0
    boxes = np.stack([low, low + chance.integers(2, 9, (60, 3)) * 10], axis=1)
    parts = [part(f"p{i}", box(*b)) for i, b in enumerate(boxes)]
    answer = check_empty_boxes(world(*parts, rooms=(room("case.hall", (0, 0, 0), (700, 320, 650)),)))
    listed = answer.facts["case.hall"]
    assert len(listed) == 3
    for fact in listed:
        found = np.array([fact["low"], fact["high"]])
        assert not any(reaches(found, b) for b in boxes)
        # None of its faces can be moved out by 1 mm.
        for side, sign in product(range(3), (0, 1)):
            larger = found.copy()
            larger[sign, side] += 1 if sign else -1
            outside = larger[0].min() < 0 or (larger[1] > (700, 320, 650)).any()
            assert outside or any(reaches(larger, b) for b in boxes)
