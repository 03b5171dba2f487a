"""Pressure loss against worked handbook values, and closed forms."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitcheck.loops.flow import Bore, Wide, bend, curve_loss, friction, losses, mitre, reynolds, speed
from fitcheck.loops.properties import Liquid, water

QUICK = settings(derandomize=True, deadline=None, max_examples=100)
# Water at 30 °C by IAPWS-IF97 (density) and the IAPWS 2008 viscosity release.
WARM = Liquid(995.6520542, 7.972216809e-4)


@pytest.mark.parametrize(
    ("celsius", "density", "viscosity"),
    # IAPWS-95 density and IAPWS 2008 viscosity at 101325 Pa.
    [
        (20, 998.2072, 1.001596e-3),
        (25, 997.0476, 8.900225e-4),
        (30, 995.6495, 7.972218e-4),
        (35, 994.0333, 7.191256e-4),
        (40, 992.2164, 6.527287e-4),
    ],
)
def test_water(celsius, density, viscosity):
    found = water(celsius)
    assert found.density == pytest.approx(density, abs=1e-4)
    assert found.viscosity == pytest.approx(viscosity, rel=1e-6)


def test_two_metres_of_tube_turbulent():
    """Bore 10 mm, 4 l/min: v 0.848826 m/s, Re 10601.01; Colebrook f 0.03064842, 2198.64 Pa; smooth 2181.59 Pa."""
    flow = 240.0
    assert speed(10, flow) == pytest.approx(4e-3 / 60 / (math.pi * 0.005**2))
    assert speed(10, flow) == pytest.approx(0.848826363, rel=1e-8)
    assert reynolds(10, flow, WARM) == pytest.approx(10601.013, rel=1e-6)
    factor = friction(10, flow, WARM)
    assert factor.likely == pytest.approx(0.03064842, rel=1e-6)
    assert factor.least == pytest.approx(0.03041080, rel=1e-6)
    found = losses([Bore("tube", 10, 2000)], flow, WARM).total
    assert found.likely == pytest.approx(2.1986367, rel=1e-6)
    assert found.least == pytest.approx(2.1815899, rel=1e-6)
    # Blasius 0.3164 / Re^0.25 for smooth tubes, within 3 %.
    assert factor.least == pytest.approx(0.3164 / 10601.013**0.25, rel=0.03)
    # Colebrook's own equation holds.
    root = 1 / math.sqrt(factor.likely)
    assert root == pytest.approx(-2 * math.log10(1.5e-4 / 3.7 + 2.51 * root / 10601.013), rel=1e-6)


def test_laminar_flow_is_that_of_a_parabola():
    """Bore 10, 0.5 l/min at 25 °C: f = 64 / Re, 60.437956 Pa over 2 m; the same by Hagen and Poiseuille."""
    liquid = Liquid(997.0480, 8.900224e-4)
    found = losses([Bore("tube", 10, 2000)], 30, liquid).total
    assert found.likely == pytest.approx(60.437956e-3, rel=1e-6)
    poiseuille = 128 * liquid.viscosity * 2.0 * (0.5e-3 / 60) / (math.pi * 0.01**4)
    assert found.likely * 1000 == pytest.approx(poiseuille, rel=1e-6)


def test_between_laminar_and_turbulent_either_may_be():
    factor = friction(10, 60, WARM)
    number = reynolds(10, 60, WARM)
    assert 2040 < number < 4000
    assert factor.least == pytest.approx(64 / number)
    assert factor.most >= factor.likely > factor.least


def test_bend():
    """A right angle of R = 3 D at Re 10601: handbooks give 0.295 (Ito), 0.302 (Rennels), 0.309 (Miller), 0.352 (Crane)."""
    assert bend(10, math.pi / 2, 30, 10601.013) == pytest.approx(0.301942, rel=1e-5)
    straight = losses([Bore("tube", 10, 500)], 240, WARM).total
    bent = losses([Bore("tube", 10, 500, ((math.pi / 2, 30.0),))], 240, WARM).total
    head = WARM.density * 0.848826363**2 / 2000
    arc = 0.03064842 * (30 * math.pi / 2) / 10
    # The arc's friction stands in the length already: 0.3019 - 0.1444.
    assert bent.likely - straight.likely == pytest.approx((0.301942 - arc) * head, rel=1e-4)
    assert bent.least <= straight.least + (0.295453 - arc) * head
    assert bent.most >= straight.most + (0.309270 - arc) * head


def test_a_sharp_corner_costs_about_one_head():
    """A mitre of 90° is 1.1 to 1.3 in every handbook."""
    assert 1.0 < mitre(math.pi / 2) < 1.4
    assert mitre(math.pi / 4) < mitre(math.pi / 2)


def test_entry_and_exit_of_a_reservoir():
    """0.57 heads in (Rennels; older texts 0.5) and one head out."""
    found = losses([Wide("reservoir", free=True), Bore("tube", 10, 1e-9)], 240, WARM)
    head = WARM.density * 0.848826363**2 / 2000
    assert found.by_owner["tube"].likely == pytest.approx(0.57 * head, rel=1e-5)
    assert found.by_owner["reservoir"].likely == pytest.approx(head, rel=1e-5)
    assert found.by_owner["tube"].least < 0.5 * head < found.by_owner["tube"].most


def test_a_given_curve_goes_through_its_points():
    curve = ((60.0, 1.2), (120.0, 4.5), (240.0, 17.0))
    for flow, loss in curve:
        assert curve_loss(curve, flow).likely == pytest.approx(loss)
    # A square law stays one between and beyond its points.
    square = tuple((q, 3e-4 * q * q) for q in (50.0, 100.0, 300.0))
    for flow in (10.0, 70.0, 200.0, 900.0):
        assert curve_loss(square, flow).likely == pytest.approx(3e-4 * flow * flow)


def test_what_nobody_gave_is_named_and_left_out():
    known = losses([Wide("block", curve=((60.0, 1.0),)), Bore("tube", 10, 300)], 60, WARM)
    unknown = losses([Wide("block"), Bore("tube", 10, 300)], 60, WARM)
    assert (known.unknown, unknown.unknown) == ((), ("block",))
    assert known.by_owner["block"].likely == pytest.approx(1.0)


@given(
    st.lists(st.tuples(st.floats(6, 16), st.floats(1, 900), st.floats(0.1, 2.5)), min_size=1, max_size=5),
    st.floats(20, 500),
)
@QUICK
def test_the_range_is_in_order_and_grows_with_the_flow(tubes, flow):
    way = [Bore(f"t{k}", bore, length, ((angle, 3 * bore),)) for k, (bore, length, angle) in enumerate(tubes)]
    found, more = losses(way, flow, WARM).total, losses(way, flow * 3, WARM).total
    assert 0 <= found.least <= found.likely <= found.most
    assert more.likely > found.likely
