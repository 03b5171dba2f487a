"""Screw stacks worked out by hand from the tables of the standards, and their properties."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitcheck.fasteners.stack import Layer, Stack, choose, fit
from fitcheck.fasteners.tables import (
    THREADS,
    fit_class,
    key_arms,
    length_tolerance,
    thread_for,
    thread_of,
)
from fitcheck.scene.mistakes import ValueMistake

INF = float("inf")


def stack(thread, grip, threaded, free=INF, wanted=0.0, nut=False, gives=0.0):
    return Stack(thread_of(thread), (Layer("all", grip, gives),), threaded, free, wanted, nut)


@pytest.mark.parametrize(
    ("thread", "fine", "medium", "coarse"),
    [  # ISO 273
        ("M2.5", 2.7, 2.9, 3.1), ("M3", 3.2, 3.4, 3.6), ("M4", 4.3, 4.5, 4.8), ("M5", 5.3, 5.5, 5.8),
        ("M6", 6.4, 6.6, 7.0), ("6-32", 3.91, 4.32, 4.70),  # ASME B18.2.8: 0.154, 0.170, 0.185 in
    ],
)  # fmt: skip
def test_clearance_holes_have_their_class(thread, fine, medium, coarse):
    size = thread_of(thread)
    assert [fit_class(size, d) for d in (fine, medium, coarse)] == ["fine", "medium", "coarse"]
    assert [fit_class(size, d) for d in (fine - 0.05, coarse + 0.05)] == ["close", "wide"]


def test_sizes_of_the_standards():
    m3, m4 = THREADS["M3"], THREADS["M4"]
    # ISO 4762 table 1: dk 5.5 (plain), k 3, s 2.5; ISO 7380-1 table 1: dk max 5.70, k max 1.65, s 2.
    assert (m3.heads["cap"].diameter, m3.heads["cap"].height, m3.heads["cap"].key) == (5.5, 3.0, 2.5)
    assert (m3.heads["button"].diameter, m3.heads["button"].height, m3.heads["button"].key) == (5.7, 1.65, 2)
    # ISO 7089: 4.3, 9, 0.8; ISO 4032: s 7, m max 3.2, e min 7.66; ISO 261: pitch 0.7.
    assert (m4.washer, m4.nut, m4.pitch) == ((4.3, 9.0, 0.8), (7.0, 3.2, 7.66), 0.7)
    assert THREADS["6-32"].major == pytest.approx(3.505, abs=5e-4)  # ASME B1.1: 0.1380 in
    assert key_arms(2.5) == (18.0, 56.0)
    assert key_arms(7 / 64 * 25.4) == key_arms(3.0)  # an inch key takes the next larger row
    assert "button" not in THREADS["M2.5"].heads  # ISO 7380-1 begins at M3
    assert [length_tolerance(one) for one in (3, 10, 16, 30, 35)] == [0.20, 0.29, 0.35, 0.42, 0.50]


def test_an_unknown_thread_is_told_with_the_nearest():
    with pytest.raises(ValueMistake, match=r"no screws of M3\.5") as wrong:
        thread_of("M3.5")
    assert wrong.value.mend in ("write M3", "write M2.5")


@pytest.mark.parametrize(
    ("hole", "thread"), [(4.5, "M4"), (4.3, "M4"), (3.4, "M3"), (3.96, "6-32"), (2.0, None)]
)
def test_the_largest_screw_for_a_hole(hole, thread):
    found = thread_for(hole)
    assert (found and found.name) == thread


@pytest.mark.parametrize(
    ("what", "given", "length", "washers", "engagement", "spare"),
    [
        # A fan of 25 on a radiator, M3, 5 to the fins, brass 1.5 d = 4.5: 25 + 4.5 = 29.5, so 30; with
        # a washer (ISO 7089: 0.5) it holds 4.5 and ends 0.5 before the fins, more than the 0.42 it may be too long.
        ("fan on radiator", stack("M3", 25, 5, 5, 4.5), 30, 1, 4.5, 0.5),
        # In steel 1 d = 3: 30 without a washer reaches the fins to 0.0, so the washer is kept.
        ("in steel", stack("M3", 25, 5, 5, 3.0), 30, 1, 4.5, 0.5),
        # A bare panel of 2 on the same radiator: 2 + 3 = 5 without a washer holds 3.0, 2.0 to the fins.
        ("panel on radiator", stack("M3", 2, 5, 5, 3.0), 5, 0, 3.0, 2.0),
        # Panel 2 and fan 25 with a nut, M4: 27 + 3.2 (ISO 4032) + 0.7 (one pitch) = 30.9: 35.
        ("fan on panel", stack("M4", 27, 3.2, INF, 3.2, nut=True), 35, 0, 3.2, INF),
        # Board 1.57 on a stand-off 6.35 deep, 6-32, 1 d = 3.505: 5.07 at least; 6.35 (1/4 in) holds 4.78.
        ("board", stack("6-32", 1.57, 6.35, 6.35, 3.505), 6.35, 0, 4.78, 1.57),
        # Sheet 1.5 on an M3 hole 2.5 deep in steel, 2.5 wanted: 4 holds 2.5 and ends in the bottom's plane: no
        # length is sure; 1.5 + 0.5 (washer) leaves 2.0, short. So 4, told as one that may be too long.
        ("drive", stack("M3", 1.5, 2.5, 2.5, 2.5), 4, 0, 2.5, 0.0),
        # A pad of 1 that gives 0.4 on 10, M4 in a hole 8 deep, 8 wanted (aluminium, 2 d): 16 holds 5 of it; 20 on a
        # washer of 0.8 goes 8.2 in, pressed 8.6: 0.6 too deep. Nothing fits, that is the least that lacks.
        ("no length", stack("M4", 11, 8, 8, 8.0, gives=0.4), 20, 1, 8.0, -0.6),
    ],
)  # fmt: skip
def test_stacks_by_hand(what, given, length, washers, engagement, spare):
    best = choose(given).best
    assert (best.length, best.washers) == (length, washers), what
    assert best.engagement == pytest.approx(engagement)
    assert best.spare == pytest.approx(spare)


def test_what_is_pressed_brings_the_tip_nearer_and_holds_no_more():
    hard, soft = stack("M3", 5, 6, 6, 4.0), stack("M3", 5, 6, 6, 4.0, gives=1.0)
    assert fit(hard, 10).engagement == fit(soft, 10).engagement == 5.0
    assert (fit(hard, 10).spare, fit(soft, 10).spare) == (1.0, 0.0)


sizes = st.sampled_from(sorted(THREADS))
lengths = st.integers(2, 400).map(lambda n: n / 10)


@settings(derandomize=True, deadline=None, max_examples=300)
@given(
    thread=sizes, grip=lengths, threaded=lengths, room=st.integers(0, 100), share=st.integers(1, 20),
    nut=st.booleans(), washers=st.integers(0, 2),
)  # fmt: skip
def test_the_choice_is_the_best_of_all_there_are(thread, grip, threaded, room, share, nut, washers):
    given_ = stack(thread, grip, threaded, threaded + room / 10, min(threaded, share / 2), nut)
    best = choose(given_, range(washers + 1)).best
    washer = given_.thread.washer[2]
    right = []
    for n in range(washers + 1):
        for length in given_.thread.lengths:
            tip = length - n * washer - grip  # beyond where the thread begins
            due = threaded + given_.thread.pitch if nut else given_.wanted
            held = tip if nut else min(tip, threaded)
            if held >= due - 1e-9 and tip <= given_.free + 1e-9:
                right.append((tip <= given_.free - length_tolerance(length) + 1e-9, n, length))
    assert best.holds == bool(right)
    if right and any(sure for sure, *_ in right):
        assert best.sure
        assert (best.washers, best.length) == min((n, length) for sure, n, length in right if sure)
