"""Assembly order against brute force over all orders, puzzles with a known answer, and the demo scenes."""

from __future__ import annotations

from functools import cache
from itertools import combinations, permutations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from test_interference import CUBE, CUBE_FACES
from worlds import box, mesh, part, rod, room, world

from fitcheck.checks.assembly_order import check_assembly_order
from fitcheck.finding import Verdict
from fitcheck.motions.apart import apart, least
from fitcheck.motions.blocking import Unit, blocking
from fitcheck.motions.silhouettes import least_shift, silhouette
from fitcheck.world.bodies import bodies
from fitcheck.world.engine import CONTACT, travel
from fitcheck.world.frames import SIDES
from fitcheck.world.world import Contact, Zone


def ask(*parts, contacts=(), rooms=(), **rule):
    return check_assembly_order(world(*parts, contacts=contacts, rooms=rooms, assembly_order=rule))


def tray(low, high, top=True):
    """A case: a box with walls 2 thick about a space, open on top."""
    (a, b, c), (d, e, f) = low, high
    walls = [
        box([a - 2, b - 2, c - 2], [d + 2, e + 2, c]), box([a - 2, b, c], [a, e, f]), box([d, b, c], [d + 2, e, f]),
        box([a - 2, b - 2, c], [d + 2, b, f]), box([a - 2, e, c], [d + 2, e + 2, f]),
    ]  # fmt: skip
    names = ["floor", "left", "right", "front", "rear"]
    if not top:
        walls.append(box([a - 2, b - 2, f], [d + 2, e + 2, f + 2]))
        names.append("lid")
    return part("case", *walls, names=tuple(names)), (room("case.inside", low, high),)


def test_a_stack_in_a_tray_comes_out_from_the_top():
    case, rooms = tray([0, 0, 0], [20, 20, 60])
    plates = [part(f"plate_{k}", box([0.1, 0.1, 10 * k], [19.9, 19.9, 10 * k + 8])) for k in range(5)]
    answer = ask(case, *plates, rooms=rooms)
    assert [step["parts"] for step in answer.facts["order"]] == [(f"plate_{k}",) for k in range(5)]
    assert {step["out"] for step in answer.facts["order"]} == {"up"}
    assert answer.findings[0].sentence == "all 5 parts go in one at a time"
    assert answer.findings[0].details["order"] == tuple(f"plate_{k}, comes out up" for k in range(5))
    assert answer.findings[0].verdict == Verdict.FITS


def test_how_many_lie_above_a_part():
    case, rooms = tray([0, 0, 0], [20, 20, 60])
    plates = [part(f"plate_{k}", box([0.1, 0.1, 10 * k], [19.9, 19.9, 10 * k + 8])) for k in range(5)]
    service = [
        {"part": "plate_4", "at_most": 0}, {"part": "plate_1", "at_most": 2},
        {"part": "plate_1", "without": ["plate_3"]},
    ]  # fmt: skip
    _, top, low, kept = ask(case, *plates, rooms=rooms, service=service).findings
    assert (top.verdict, top.measured) == (Verdict.FITS, 0)
    assert (low.verdict, low.measured, low.details["proved"]) == (Verdict.FAILS, 3, True)
    assert (
        low.sentence == "plate_1 comes out up after plate_4, plate_3 and plate_2: 3 first, 2 may have to"
        or (set(low.details["first"]) == {"plate_2", "plate_3", "plate_4"})
    )
    assert kept.verdict == Verdict.FAILS
    assert kept.sentence == "plate_1 does not come out by straight moves while plate_3 stays in"


def test_a_shut_case_opens_by_its_lid():
    case, rooms = tray([0, 0, 0], [20, 20, 30], top=False)
    thing = part("thing", box([1, 1, 0], [19, 19, 29]))
    shut = ask(case, thing, rooms=rooms).findings[0]
    assert (shut.verdict, shut.measured, shut.parts) == (Verdict.UNKNOWN, 1, ("thing",))
    assert shut.sentence.startswith(
        "1 of 1 parts cannot be put in or taken out by straight moves; thing is shut in"
    )
    answer = ask(case, thing, rooms=rooms, comes_off=["case.lid"])
    assert answer.findings[0].verdict == Verdict.FITS
    assert [step["parts"] for step in answer.facts["order"]] == [("thing",), ("case.lid",)]


def hooks():
    """Two hooks in a plane: the lip of each lies behind the other's, with 0.5 mm to move where 2 would free it."""

    def flat(*bars):
        return [box([x1, y1, 0], [x2, y2, 8]) for x1, y1, x2, y2 in bars]

    left = flat((0, 0, 4, 30), (4, 0, 20, 6), (4, 24, 20, 30), (16, 6, 20, 10))
    right = flat((26, -12, 30, 18), (10, 12, 26, 18), (10, 8, 14, 12), (10, -12, 26, -0.5))
    return part("left", *left), part("right", *right)


def test_two_parts_locked_in_each_other_between_two_plates():
    """A floor and a plate above keep two hooks from going up and down: they leave together, and come apart."""
    floor = part("floor", box([-30, -40, -3], [70, 70, 0]), box([-30, -40, 8], [70, 70, 11]))
    free = ask(*hooks())
    assert free.findings[0].verdict == Verdict.FITS  # lifted off each other
    assert free.findings[0].details["together"] == ()
    # Floor and plate above are one part, and stay.
    flat = ask(*hooks(), floor, rooms=(room("floor.inside", [-30, -40, 0], [70, 70, 8]),))
    assert flat.findings[0].verdict == Verdict.FITS
    assert ("left", "right") in flat.findings[0].details["together"]


def ring(name, middle, wide, deep):
    """A square ring of bars 4 thick; `wide` and `deep` are the axes that it lies along."""
    bars = []
    for axis, other in ((wide, deep), (deep, wide)):
        for side in (-1, 1):
            low, high = np.array(middle, float) - 2, np.array(middle, float) + 2
            low[axis], high[axis] = middle[axis] - 20, middle[axis] + 20
            low[other] += side * 18
            high[other] += side * 18
            bars.append(box(low, high))
    return part(name, *bars)


def test_two_rings_leave_together_and_never_come_apart():
    """Links of a chain: nothing holds them in the tray, and nobody could have put them in like that."""
    case, rooms = tray([-40, -40, -25], [70, 40, 30])
    links = [ring("one", (0, 0, 0), 0, 1), ring("other", (20, 0, 0), 0, 2)]
    answer = ask(case, *links, rooms=rooms)
    assert answer.findings[0].verdict == Verdict.UNKNOWN
    assert answer.findings[0].details["locked"] == (("one", "other"),)
    assert "one and other stop each other" in answer.findings[0].sentence


def test_cables_come_off_before_parts_that_they_hold():
    solids = bodies(world(part("a", box([0, 0, 0], [10, 10, 10])), part("tube", box([10, 0, 0], [40, 2, 2]))))
    units = [Unit("a", (0,)), Unit("tube", (1,), loose=True)]
    blocks = blocking(solids, units, [], [], tied={(0, 1)})
    assert [step.units for step in apart(blocks, {}).steps] == [(1,), (0,)]
    found = least(blocks, {}, 0)
    assert [step.units for step in found.steps] == [(1,), (0,)]
    assert found.proved


def test_a_plug_is_drawn_off_its_joint_and_then_goes_aside():
    """It leaves its socket to the rear by 6 mm, where there is room for no more."""
    plug = part(
        "plug",
        box([-4, 0, -4], [4, 10, 4]),
        box([-3, -5, -3], [3, 0, 3]),
        names=("body", "pins"),
        host="socket",
    )
    socket = part("socket", box([-20, -20, -20], [20, 0, 20]))
    wall = part("wall", box([-60, 20, -60], [60, 22, 60]))
    contacts = [
        Contact("join", "plug", "socket", ("body",), ("body",)),
        Contact(
            "join", "plug", "socket", reach="pins", zone=Zone(np.zeros(3), np.array([0.0, -1, 0]), 4.3, 6.0)
        ),
    ]
    answer = ask(plug, socket, wall, contacts=contacts, rooms=(room("wall.room", [0, 0, 0], [1, 1, 1]),))
    assert answer.findings[0].verdict == Verdict.FITS
    out = {step["parts"]: step["out"] for step in answer.facts["order"]}
    assert out[("plug",)].startswith("6.0 mm to the rear, then ")


def test_two_legs_where_one_is_not_enough():
    """A channel with a roof that ends before its end wall."""
    case = part(
        "case", box([-2, -2, -2], [62, 12, 0]), box([-2, -2, 0], [0, 12, 20]), box([0, -2, 0], [60, 0, 20]),
        box([0, 10, 0], [60, 12, 20]), box([-2, -2, 20], [48, 12, 22]), box([60, -2, -2], [62, 12, 22]),
        names=("floor", "left", "front", "rear", "roof", "right"),
    )  # fmt: skip
    thing = part("thing", box([1, 1, 1], [11, 9, 19]))
    answer = ask(case, thing, rooms=(room("case.inside", [0, 0, 0], [60, 10, 20]),))
    assert answer.findings[0].verdict == Verdict.FITS
    # 47 mm to pass the roof's end, and a hair.
    assert answer.facts["order"][0]["out"] == "47.0 mm to the right, then up"


@pytest.mark.parametrize("play", [0.5, 0.02])
def test_a_bolt_that_holds_a_plate_down(play):
    """The bolt goes through both walls above the plate: it leaves along itself, before the plate."""

    def wall(x):
        return [
            box([x, 0, 0], [x + 2, 20, 20]), box([x, 0, 26], [x + 2, 20, 40]),
            box([x, 0, 20], [x + 2, 5, 26]), box([x, 11, 20], [x + 2, 20, 26]),
        ]  # fmt: skip

    case = part(
        "case",
        box([-2, -2, -2], [42, 22, 0]),
        box([-2, -2, 0], [42, 0, 40]),
        box([-2, 20, 0], [42, 22, 40]),
        *wall(-2),
        *wall(40),
    )
    bolt = part("bolt", box([-8, 5 + play, 20 + play], [48, 11 - play, 26 - play]))
    sheet = part("sheet", box([0.1, 0.1, 8], [39.9, 19.9, 12]))
    answer = ask(
        case, bolt, sheet, rooms=(room("case.inside", [0, 0, 0], [40, 20, 40]),), service=[{"part": "sheet"}]
    )
    assert [step["parts"] for step in answer.facts["order"]] == [("sheet",), ("bolt",)]
    assert answer.facts["order"][1]["out"] in ("to the left", "to the right")
    assert answer.findings[1].details["first"] == ("bolt",)


@pytest.mark.long
def test_a_plate_that_must_be_tilted_needs_the_search():
    """A plate 100 long in a case whose opening is 96."""
    case, rooms = tray([0, 0, 0], [104, 64, 40])
    lips = part("lips", box([-2, -2, 40], [4, 66, 42]), box([100, -2, 40], [106, 66, 42]), group="case")
    sheet = part("sheet", box([2, 2, 0], [102, 62, 4]))
    straight = ask(case, lips, sheet, rooms=rooms)
    assert (straight.findings[0].verdict, straight.findings[0].parts) == (Verdict.UNKNOWN, ("sheet",))
    searched = ask(case, lips, sheet, rooms=rooms, search=True)
    assert searched.findings[0].verdict == Verdict.FITS
    assert searched.facts["order"][0]["out"] == "turned on its way, by a way that was searched for"


# Against brute force.


@st.composite
def clutter(draw, count):
    random = np.random.default_rng(draw(st.integers(0, 2**31)))
    pieces = []
    for _ in range(60):
        size = random.integers(3, 14, 3)
        low = random.integers(0, 22, 3) * 1.0
        piece = (
            box(low, low + size)
            if random.random() < 0.75
            else rod(low, low + size * [0, 0, 1], min(size[:2]))
        )
        pieces.append(piece)
    chosen: list = []
    for piece in pieces:
        reach = np.where(piece.kind == 1, [piece.half[0], piece.half[0], piece.half[2]], piece.half)
        box_ = np.array([piece.centre - reach, piece.centre + reach])
        if all(((box_[0] >= other[1]) | (box_[1] <= other[0])).any() for _, other in chosen):
            chosen.append((piece, box_))
        if len(chosen) == count:
            break
    assume(len(chosen) == count)
    return [piece for piece, _ in chosen]


def free_to(solids, unit, there, side):
    skip = [k for k in range(len(solids)) if k != unit and k not in there]
    return travel(solids, [unit], side, 500.0, skip).against is None


@given(pieces=clutter(5), fixed=st.integers(0, 1))
@settings(max_examples=80, deadline=None)
def test_orders_against_all_permutations(pieces, fixed):
    solids = bodies(world(*(part(f"p{k}", piece) for k, piece in enumerate(pieces))))
    units = [Unit(f"p{k}", (k,), fixed=k < fixed) for k in range(len(pieces))]
    blocks = blocking(solids, units, [], [])
    movable = range(fixed, len(pieces))

    @cache
    def free(unit, there):
        return any(free_to(solids, unit, there, side) for side in SIDES)

    def comes_apart(order):
        there = frozenset(range(len(pieces)))
        for unit in order:
            if not free(unit, there):
                return False
            there -= {unit}
        return True

    found = apart(blocks, {})
    singles = [step.units[0] for step in found.steps if len(step.units) == 1]
    if len(singles) == len(movable):
        assert comes_apart(singles)
    else:
        assert not any(map(comes_apart, permutations(movable)))
    for unit in movable:
        others = [k for k in movable if k != unit]
        due = next(
            (
                size
                for size in range(len(others) + 1)
                for chosen in combinations(others, size)
                if any(comes_apart((*order, unit)) for order in permutations(chosen))
            ),
            None,
        )
        fewest = least(blocks, {}, unit)
        assert (None if fewest is None else len(fewest.steps) - 1) == due
        if fewest is not None:
            assert comes_apart([step.units[0] for step in fewest.steps])


@given(pieces=clutter(6), shift=st.tuples(*[st.floats(-500, 500)] * 3), order=st.permutations(range(6)))
@settings(max_examples=30, deadline=None)
def test_shifted_and_permuted_the_same(pieces, shift, order):
    def stops(placed, numbers):
        solids = bodies(world(*(part(f"p{k}", placed[k]) for k in numbers)))
        units = [Unit(f"p{k}", (i,)) for i, k in enumerate(numbers)]
        found = blocking(solids, units, [], []).stops
        return {
            side: {(numbers[i], numbers[j]) for i in range(6) for j in at[i]} for side, at in found.items()
        }

    moved = [type(p)(p.kind, p.half, p.rotation, p.centre + np.round(shift, 2), p.mesh) for p in pieces]
    assert stops(pieces, list(range(6))) == stops(moved, list(order))


@given(seed=st.integers(0, 10_000), angle=st.floats(0, 2 * np.pi))
@settings(max_examples=60, deadline=None)
def test_shift_of_silhouettes_against_shapely(seed, angle):
    """Outlines of two clusters of boxes, seen from above: by bisection over what shapely says they share."""
    import shapely
    from shapely import affinity

    random = np.random.default_rng(seed)

    def cluster():
        low = random.uniform(-20, 20, (3, 3))
        return [(one, one + random.uniform(2, 15, 3)) for one in low]

    first, second = cluster(), cluster()
    solids = bodies(world(*(part(n, *(box(*ends) for ends in c)) for n, c in (("a", first), ("b", second)))))
    triangles = []
    for own in (range(3), range(3, 6)):
        triangles.append(np.concatenate([silhouette(solids, k, np.eye(3)) for k in own]))
    direction = np.array([np.cos(angle), np.sin(angle)])
    found = least_shift(triangles[0], triangles[1], direction)
    one, other = (shapely.union_all([shapely.box(*lo[:2], *hi[:2]) for lo, hi in c]) for c in (first, second))

    def shared(shift):
        return affinity.translate(one, *(shift * direction)).intersection(other)

    # What is let pass is no deeper than two contacts.
    assert shared(found).buffer(-CONTACT).area < 1e-9
    # No clear place before it, but slits that are as narrow as that.
    before = np.linspace(0, max(found - 4 * CONTACT, 0), 40) if found > 4 * CONTACT else []
    assert all(shared(t).area > 1e-9 or shared(t + 2 * CONTACT).area > 1e-9 for t in before)


def test_what_an_open_mesh_hides_leaves_the_order_unknown():
    lidless = part("bowl", mesh(CUBE, CUBE_FACES[:-2], closed=False))
    answer = ask(
        lidless, part("in_it", box([9, 9, 19], [11, 11, 19.5])), part("beside", box([30, 0, 0], [35, 5, 5])),
        service=[{"part": "in_it"}, {"part": "beside"}],
    )  # fmt: skip
    assert [one.verdict for one in answer.findings] == [Verdict.UNKNOWN, Verdict.UNKNOWN, Verdict.FITS]
    assert "whether bowl.body and in_it.body lie in each other is not decided" in answer.findings[0].sentence
