"""Threading: plugs through openings, against Carver's rule for rectangles and by hand."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitcheck.runs.threading import passes, section_passes, thread
from fitcheck.world.wishes import CABLE, End, Passage, RunWish

SIX_MM_GAP = ("rectangle", (60.0, 6.0))


def opening(shape="rectangle", size=(60.0, 30.0), place="case.gap"):
    z, x = np.eye(3)[2], np.eye(3)[0]
    return Passage(place, "case", "midplate", np.zeros(3), z, x, shape, size, 2.0)


def cable(plug_from=(51.6, 9.6, 19.0), plug_to=(18.0, 9.6, 19.0)):
    def end(part, plug):
        return End(f"{part}.wires_end", part, np.zeros(3), np.eye(3)[2], ("wires",), 10.0, plug=plug)

    return RunWish("power", CABLE, 12.0, 0.0, 54.0, False, end("supply", plug_from), end("board", plug_to))


def test_flat_cable_passes_a_gap_that_stops_its_plug():
    gap = opening(*SIX_MM_GAP)
    assert section_passes(gap, 12.0, 4.0)  # 4 mm thick in 6 mm
    assert not passes(gap, (22.0, 9.0, 14.0))  # the plug's least section is 14 x 9


def test_round_opening_takes_the_diagonal():
    # 3-4-5: a section of 12 x 9 has a diagonal of 15.
    assert passes(opening("round", (15.0, 15.0)), (40.0, 12.0, 9.0))
    assert not passes(opening("round", (14.99, 14.99)), (40.0, 12.0, 9.0))


def test_round_ends_of_a_slot_count():
    # Slot 40 x 10: straight part 30 long. A strip 30 x 10 just fits, one of 31 x 10 hits the round ends.
    slot = opening("slot", (40.0, 10.0))
    assert section_passes(slot, 30.0, 10.0)
    assert not section_passes(slot, 31.0, 10.0)
    # 38 x 4: beyond the straight part by 4, half width 2: sqrt(16 + 4) = 4.47 < 5.
    assert section_passes(slot, 38.0, 4.0)


def carver(p, q, a, b):
    """A rectangle p x q (p >= q) goes into a x b (a >= b): Carver, Mathematics Magazine 30 (1957), 1."""
    if p <= a:
        return q <= b
    return b >= q and b * (p * p + q * q) >= 2 * p * q * a + (p * p - q * q) * math.sqrt(
        p * p + q * q - a * a
    )


side = st.integers(1, 60)


@settings(derandomize=True, deadline=None, max_examples=400)
@given(side, side, side, side)
def test_rectangles_as_carver_says(p, q, a, b):
    p, q, a, b = max(p, q), min(p, q), max(a, b), min(a, b)
    # Never said to pass where it does not; half a degree of play between the turns tried.
    assert not section_passes(opening(size=(a, b)), p, q) or carver(p - 1e-5, q - 1e-5, a, b)
    if carver(p * 1.01, q * 1.01, a, b):
        assert section_passes(opening(size=(a, b)), p, q)


def test_smaller_plug_goes_first():
    hole = opening(
        "round", (22.0, 22.0)
    )  # 19 x 9.6: diagonal 21.3; the other plug's least section is the same
    said = thread(cable(plug_from=(51.6, 14.0, 19.0)), (hole,))
    assert not said.blocked
    assert said.said == "the plug for board goes through case.gap first"


def test_neither_plug_passes():
    said = thread(cable(), (opening(*SIX_MM_GAP),))
    assert said.blocked == "case.gap"
    assert "51.6 x 9.6 x 19" in said.said


def test_laid_from_the_middle():
    # A flat plug for the slot, a square one for the hole: each goes through one of the two only.
    slot, hole = opening("slot", (40.0, 8.0), "case.slot"), opening("round", (18.0, 18.0), "case.hole")
    wish = cable(plug_from=(30.0, 6.0, 40.0), plug_to=(12.0, 12.0, 40.0))
    said = thread(wish, (slot, hole))
    assert not said.blocked
    assert said.said.startswith(
        "it is laid from between case.slot and case.hole: the plug for supply goes back"
    )
    assert thread(wish, (hole, slot)).blocked == "case.hole"


def test_one_plug_through_both_is_said_plainly():
    holes = opening("round", (18.0, 18.0), "case.second"), opening("round", (15.0, 15.0), "case.first")
    # 10 x 10 has a diagonal of 14.1, 12 x 12 one of 17.0.
    wish = cable(plug_from=(10.0, 10.0, 30.0), plug_to=(12.0, 12.0, 30.0))
    assert thread(wish, holes).said == "the plug for supply goes through case.first, then case.second first"


@pytest.mark.parametrize("plug", [None])
def test_no_plug_needs_no_threading(plug):
    assert thread(cable(plug, plug), (opening(*SIX_MM_GAP),)).said == ""
