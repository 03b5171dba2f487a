"""Drainage against cases worked by hand."""

from __future__ import annotations

import pytest
from waterways import legs, radiator_loop

from fitcheck.loops.drainage import drain
from fitcheck.loops.filling import fill


def test_one_low_point_between_vent_and_drain():
    """Bore 10: vent 400, down to A 100, up to B 250, down to the drain at 0. A's spill is B's 250: two
    legs of 150 mm, 78.5398 mm² each, 23.562 ml at most; a siphon leaves nothing; the rising leg falls back."""
    left = drain(legs(400, 100, 250, 0), [3], [0])
    assert left.most == pytest.approx(23.562, abs=1e-3)
    assert left.least == pytest.approx(0, abs=1e-9)
    assert left.likely == pytest.approx(11.781, abs=1e-3)
    assert left.total == pytest.approx(78.5398 * 700 / 1000, abs=1e-3)
    (place,) = left.places
    assert place.why == "a low point"
    assert place.at.tolist() == [0, 0, 100]


def test_a_raised_drain_stops_the_siphon():
    """The same with the drain at 180: the air stops at 180 on the vent's side: 80 + 150 mm, 18.064 ml."""
    left = drain(legs(400, 100, 250, 180), [3], [0])
    assert (left.most, left.least) == (pytest.approx(23.562, abs=1e-3), pytest.approx(18.064, abs=1e-3))
    assert left.least <= left.likely <= left.most


def test_air_stays_beyond_the_low_point_when_filling():
    """Filled from the vent with the drain shut: every way from B to the vent dips to 100; (150 + 150) mm."""
    filled = fill(legs(400, 100, 250, 0), [0])
    assert filled.air == pytest.approx(23.562, abs=1e-3)


@pytest.mark.parametrize(
    ("low_port", "at", "most"),
    [
        (500, "pump", 150.0),  # only the radiator below its ports
        (500, "outlet", 187.699),  # and the pump's U: two legs of 240 mm, 37.699 ml
        (480, "pump", 0.0),
        (480, "outlet", 37.699),
    ],
)
def test_a_loop_with_a_radiator_on_top(low_port, at, most):
    water, nodes = radiator_loop(low_port)
    left = drain(water, [nodes[at]], [nodes["vent"]])
    assert left.most == pytest.approx(most, abs=1e-3)
