"""Room beside a part, by arithmetic, by bisection, and the demand it was made for."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from worlds import box, part, rod, room, world

from fitcheck.checks.room import check_room
from fitcheck.finding import Verdict
from fitcheck.world.world import Contact, Zone


def ask(*parts, contacts=(), rooms=(), **rule):
    (finding,) = check_room(world(*parts, contacts=contacts, rooms=rooms, room=[rule])).findings
    return finding


# Width over the tanks of a row of four 120 mm fans: common practice is about 40 mm more than the fans.
FANS, TANKS = 120.0, 40.0


def plinth(fans: int, depth: float = 640.0, setback: float = 16.0):
    """A radiator with its drain in a plinth, as in the scene that the check was made for."""
    end = setback + fans * FANS + TANKS
    case = part(
        "case",
        box([0, 0, 0], [310, depth, 2]),
        box([0, depth, 0], [310, depth + 2, 200]),
        names=("floor", "rear_panel"),
    )
    radiator = part("radiator", box([95, setback, 2], [215, end, 56]))
    drain = part(
        "drain", rod([155, end, 30], [155, end + 20, 30], 18), rod([155, end - 5, 30], [155, end, 30], 13)
    )
    port = Zone(np.array([155, end, 30]), np.array([0, -1.0, 0]), 6.7, 10)
    join = Contact("join", "drain", "radiator", ("body",), ("body",), reach="body_2", zone=port)
    return (case, radiator, drain), [join, Contact("rest", "radiator", "case", ("body",), ("floor",))]


DEMAND = {"for": "drain", "side": "rear", "of": "radiator", "at_least": 60}


def test_room_for_a_drain_behind_a_radiator():
    parts, contacts = plinth(fans=4)
    finding = ask(*parts, contacts=contacts, **DEMAND)
    # 640 - 16 - 4 * 120 - 40
    assert finding.measured == pytest.approx(104)
    assert finding.verdict == Verdict.FITS
    assert finding.sentence == (
        "room for drain at the rear of radiator: 104.0 mm up to case.rear_panel, 60.0 mm are demanded"
    )
    assert finding.where == ((155.0, 536.0, 30.0), (155.0, 640.0, 30.0))
    assert finding.parts == ("drain", "radiator")
    assert (finding.rule, finding.rule_line) == ("room[1]", 10)


def test_a_radiator_through_the_wall_leaves_no_room():
    parts, contacts = plinth(fans=5)  # ends at 656, the wall stands at 640
    finding = ask(*parts, contacts=contacts, **DEMAND)
    assert (finding.verdict, finding.measured) == (Verdict.FAILS, 0.0)
    assert finding.sentence == (
        "room for drain at the rear of radiator: none, case.rear_panel is in the way from the start, "
        "60.0 mm are demanded"
    )


@pytest.mark.parametrize(
    ("depth", "verdict"),
    [(606, Verdict.FITS), (601, Verdict.TIGHT), (596, Verdict.TIGHT), (595.99, Verdict.FAILS)],
)
def test_at_the_limit_and_just_beyond(depth, verdict):
    parts, contacts = plinth(fans=4, depth=depth)  # room: depth - 536
    finding = ask(*parts, contacts=contacts, **DEMAND, margin=10)
    assert finding.verdict == verdict
    assert finding.measured == pytest.approx(depth - 536)


def test_only_what_stands_in_the_silhouette_stops_it():
    parts, contacts = plinth(fans=4)
    # The drain is 18 mm across about x 155, z 30: from 146 to 164 and from 21 to 39.
    beside = part("beside", box([164, 540, 0], [200, 560, 90]))
    above = part("above", box([100, 540, 39], [200, 560, 90]))
    assert ask(*parts, beside, above, contacts=contacts, **DEMAND).measured == pytest.approx(104)
    inside = part("inside", box([163, 560, 0], [200, 580, 90]))
    stopped = ask(*parts, beside, inside, contacts=contacts, **DEMAND)
    assert stopped.measured == pytest.approx(24, abs=1e-6)
    assert stopped.details["stops"] == "inside.body"
    # The corner of the square about the disc: at 45 degrees the rim is at 9 / sqrt 2 = 6.4 mm.
    corner = part("corner", box([162, 560, 37], [200, 580, 90]))
    assert ask(*parts, corner, contacts=contacts, **DEMAND).measured == pytest.approx(104)


def test_the_thing_itself_and_what_it_joins_do_not_stop_it():
    parts, contacts = plinth(fans=4)
    fitting = part("fitting", rod([155, 556, 30], [155, 570, 30], 18))
    assert ask(*parts, fitting, contacts=contacts, **DEMAND).measured == pytest.approx(20)
    joined = [*contacts, Contact("join", "fitting", "drain")]
    assert ask(*parts, fitting, contacts=joined, **DEMAND).measured == pytest.approx(104)


def test_of_a_joined_case_only_the_joined_solids_are_passed():
    parts, contacts = plinth(fans=4)
    hall = room("case.hall", [0, 0, 2], [310, 640, 200])
    joined = [*contacts, Contact("join", "drain", "case", ("body",), ("floor",))]
    assert ask(*parts, contacts=joined, rooms=(hall,), **DEMAND).measured == pytest.approx(104)


def test_stated_cross_section_at_a_stated_place():
    parts, contacts = plinth(fans=4)
    shelf = part("shelf", box([0, 600, 60], [310, 620, 62]))
    rule = {"side": "rear", "of": "radiator", "at_least": 60, "width": 40, "height": 30}
    low = ask(*parts, shelf, contacts=contacts, **rule, at=[155, 0, 45])
    assert low.details["stops"] == "drain.body"  # no thing is named: the drain is in the way
    assert low.measured == pytest.approx(0, abs=0.03)
    aside = ask(*parts, shelf, contacts=contacts, **rule, at=[50, 0, 44.9])
    assert aside.measured == pytest.approx(104)
    higher = ask(*parts, shelf, contacts=contacts, **rule, at=[50, 0, 46])
    assert higher.measured == pytest.approx(64)
    assert higher.sentence == (
        "room of 40.0 mm × 30.0 mm at the rear of radiator: 64.0 mm up to shelf.body, 60.0 mm are demanded"
    )


def test_no_thing_and_no_cross_section_cannot_be_decided():
    parts, contacts = plinth(fans=4)
    finding = ask(*parts, contacts=contacts, side="rear", of="radiator", at_least=60)
    assert finding.verdict == Verdict.UNKNOWN


def test_nothing_in_the_way():
    parts, contacts = plinth(fans=4)
    finding = ask(*parts, contacts=contacts, **{**DEMAND, "side": "right"})
    assert (finding.verdict, finding.measured) == (Verdict.FITS, None)


@pytest.mark.parametrize(
    ("side", "low", "high", "expected"),
    [
        ("left", [-20, 0, 0], [-15, 9, 9], 15),
        ("right", [25, 0, 0], [30, 9, 9], 15),
        ("front", [0, -20, 0], [9, -15, 9], 15),
        ("rear", [0, 25, 0], [9, 30, 9], 15),
        ("bottom", [0, 0, -20], [9, 9, -15], 15),
        ("top", [0, 0, 25], [9, 9, 30], 15),
    ],
)
def test_each_side(side, low, high, expected):
    of, thing = part("of", box([0, 0, 0], [10, 10, 10])), part("thing", box([3, 3, 3], [7, 7, 7]))
    meant = [Contact("touches", "of", "thing")]
    finding = ask(
        of,
        thing,
        part("wall", box(low, high)),
        contacts=meant,
        **{**DEMAND, "side": side, "for": "thing", "of": "of"},
    )
    assert finding.measured == pytest.approx(expected)


spots = st.tuples(st.integers(-3, 8), st.integers(10, 30), st.integers(-3, 8))
sizes = st.tuples(*[st.integers(1, 6)] * 3)


def against_bisection(walls, low, size):
    boxes = np.array([[w, np.add(w, s)] for w, s in walls], float)
    thing = np.array([low, np.add(low, size)], float)
    of = part("of", box([0, 0, 0], [10, 10, 10]))
    parts = [part(f"w{i}", box(*b)) for i, b in enumerate(boxes)]
    finding = ask(of, part("thing", box(*thing)), *parts, **{**DEMAND, "for": "thing", "of": "of"})

    def blocked(way):
        column = np.array([[thing[0, 0], 10, thing[0, 2]], [thing[1, 0], 10 + way, thing[1, 2]]])
        return ((boxes[:, 0] < column[1] - 1e-9) & (boxes[:, 1] > column[0] + 1e-9)).all(axis=1).any()

    if not blocked(100):
        assert finding.measured is None
        return
    short, long = 0.0, 100.0
    for _ in range(60):
        middle = (short + long) / 2
        short, long = (short, middle) if blocked(middle) else (middle, long)
    assert finding.measured == pytest.approx(short, abs=1e-6)


drawn = {
    "walls": st.lists(st.tuples(spots, sizes), min_size=1, max_size=5),
    "low": st.tuples(*[st.integers(0, 5)] * 3),
    "size": sizes,
}


@settings(derandomize=True, deadline=None, max_examples=150)
@given(**drawn)
def test_against_bisection_on_whole_numbers(walls, low, size):
    against_bisection(walls, low, size)


@pytest.mark.long
@settings(derandomize=True, deadline=None, max_examples=5000)
@given(**drawn)
def test_against_bisection_on_whole_numbers_at_length(walls, low, size):
    against_bisection(walls, low, size)
