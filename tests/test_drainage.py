"""Drainage: cases worked by hand, and what the check says of a small machine."""

from __future__ import annotations

import functools
import itertools
import math
import re

import numpy as np
import pytest
from loop_scenes import BENCH, drawn, looped
from waterways import BORE, legs, radiator_loop

from fitcheck.checks.drainage import check_drainage
from fitcheck.finding import Verdict
from fitcheck.loops.asked import tipped
from fitcheck.loops.drainage import drain
from fitcheck.loops.filling import fill
from fitcheck.loops.plumbing import model_volume
from fitcheck.loops.waterway import Plumber
from fitcheck.parts.pieces import box_piece


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


@pytest.mark.parametrize(("bore", "likely"), [(4.9, 0.0), (5.1, 150 * math.pi * 5.1**2 / 4 / 1000)])
def test_a_narrow_bore_is_pushed_empty(bore, likely):
    """Bubbles rise in water in bores above 5.0 mm (Bretherton 1961); below, the rising leg goes along."""
    left = drain(legs(400, 100, 250, 0, bore=math.pi * bore**2 / 4), [3], [0])
    assert left.likely == pytest.approx(likely)


def test_without_a_drain_all_stays():
    left = drain(legs(400, 100, 250, 0), [], [0])
    assert left.most == left.least == left.likely == left.total


def test_air_stays_in_a_level_tube_between_two_legs():
    """As above, with 50 mm of level tube at the top: 23.562 ml and 3.927 ml."""
    plumber = Plumber()
    a, b, c, d, e = (plumber.node((x, 0, z)) for x, z in ((0, 400), (0, 100), (0, 250), (50, 250), (50, 0)))
    for here, there in itertools.pairwise((a, b, c, d, e)):
        plumber.pipe(here, there, BORE, "tube")
    assert fill(plumber.waterway(), [a]).air == pytest.approx(23.562 + 3.927, abs=1e-3)


def test_a_tank_with_one_narrow_port_below_is_a_bottle():
    """It hangs on a tee above the drain: its 1 ml may stay, until bubbles let it out."""
    plumber = Plumber()
    vent, tee, end, neck = (plumber.node((x, 0, z)) for x, z in ((0, 100), (0, 50), (0, 0), (50, 80)))
    plumber.pipe(vent, tee, BORE, "line")
    plumber.pipe(tee, end, BORE, "line")
    plumber.pipe(tee, neck, 1e-9, "neck")
    plumber.tank("bottle", [box_piece(np.array([45.0, -5, 80]), np.array([55.0, 5, 90]))], [neck])
    left = drain(plumber.waterway(), [end], [vent])
    assert (left.most, left.likely) == (pytest.approx(1.0), pytest.approx(1.0))
    assert left.least == pytest.approx(0.0)
    assert [place.why for place in left.places] == ["no air comes in"]


# --- the check ---


@functools.cache
def bench(text: str = BENCH):
    return drawn(text)


def ask(world, what: str):
    return [f for f in check_drainage(world).findings if f.rule == f"loops.main.{what}"]


def test_the_radiator_on_its_back_keeps_its_coolant():
    """Its two ports look up out of its upper face: by gravity and by siphon all that it holds stays."""
    world = looped(bench(), drain="drain", vent="reservoir.fill")
    (found,) = ask(world, "drain")
    assert (found.verdict, found.unit, found.required) == (Verdict.FITS, "ml", None)
    radiator = next(place for place in found.details["places"] if place["owners"][0] == "radiator")
    held = model_volume(world.by_name["radiator"])
    assert radiator["most"] >= radiator["least"] >= held - 1e-6
    assert found.sentence.startswith("main: drained at drain with reservoir.fill open, ")
    assert found.rule_line == 7


def test_a_demand_and_the_drain_that_would_help():
    text = BENCH.replace("port_facing: fan_side}", "port_facing: fan_side, middle_port: near}")
    world = looped(bench(text), drain="drain", vent="reservoir.fill", left_at_most=5)
    (found,) = ask(world, "drain")
    assert found.verdict == Verdict.FAILS
    assert found.mend.startswith("one more drain at radiator.port_middle leaves ")
    # What it says is what then happens: open that port as well.
    at = found.details["better"]["at"]
    (then,) = ask(looped(bench(text), drain=["drain", at], vent="reservoir.fill"), "drain")
    assert found.measured - then.measured == pytest.approx(found.details["better"]["gain"], abs=0.5)
    allowed = looped(bench(text), drain="drain", vent="reservoir.fill", left_at_most=found.measured + 1e-6)
    assert ask(allowed, "drain")[0].verdict == Verdict.FITS


def test_between_likely_and_most_it_is_tight():
    asked = {"drain": "drain", "vent": "reservoir.fill"}
    (found,) = ask(looped(bench(), **asked), "drain")
    least, likely, most = (found.details[side] for side in ("least", "likely", "most"))
    assert least <= likely < most
    for allowed, verdict in (((likely + most) / 2, Verdict.TIGHT), (likely - 0.01, Verdict.FAILS)):
        (found,) = ask(looped(bench(), **asked, left_at_most=allowed), "drain")
        assert (found.verdict, found.required) == (verdict, allowed)


def test_without_a_vent_nothing_drains():
    (found,) = ask(looped(bench(), drain="drain"), "drain")
    assert found.verdict == Verdict.FAILS
    assert found.sentence == "main: no air comes in: nothing drains from drain; a vent must be opened above"
    assert found.measured == pytest.approx(found.details["total"])


def test_filling_and_the_highest_place():
    """The tube `up` has its crest at z 500, the reservoir's port at 400."""
    (found,) = ask(looped(bench(), vent="reservoir.fill", air_at_most=5), "fill")
    assert found.verdict == Verdict.FAILS
    assert found.details["fill_port_over_the_rest"] == pytest.approx(-100)
    assert "reservoir.fill is not the highest place: up reaches 100.0 mm above it" in found.sentence
    assert found.mend.startswith("one more vent, on a tee, at up, at ")


def test_tipped_machines_are_asked_too():
    world = looped(bench(), drain="drain", vent="reservoir.fill", tilts=[{"to": "left", "by": 10}])
    found = [f for f in check_drainage(world).findings if "tipped" in f.sentence]
    assert [f.rule for f in found] == [
        "loops.main.drain[tipped 10° to the left]",
        "loops.main.fill[tipped 10° to the left]",
    ]


@pytest.mark.parametrize(
    ("side", "up"),
    [
        ("left", (0.5, 0, 0.75**0.5)),
        ("right", (-0.5, 0, 0.75**0.5)),
        ("front", (0, 0.5, 0.75**0.5)),
        ("rear", (0, -0.5, 0.75**0.5)),
    ],
)
def test_the_way_up_in_a_tipped_machine(side, up):
    """Its left down by 30°: what was to the right is now higher."""
    assert tipped(side, 30).up == pytest.approx(up)


@pytest.mark.parametrize(
    ("drain_at", "said"),
    [
        ("pump.inlet", "pump.inlet is joined to pump_in.base: it cannot be opened"),
        ("board", "board is no wet part and no port that coolant reaches"),
        ("radiator", "radiator has no place to open"),
        ("spare", "spare is not joined to the loop"),
    ],
)
def test_what_cannot_be_opened(drain_at, said):
    text = BENCH.replace(
        "runs:",
        "  board: {model: board, place: {at: [900, 0, 0]}}\n  spare: {model: drain, place: {at: [900, 0, 0]}}\nruns:",
    )
    world = looped(bench(text), drain=drain_at, vent="reservoir.fill")
    (found,) = ask(world, "open")
    assert (found.verdict, found.sentence) == (Verdict.FAILS, f"main: {said}")
    assert ask(world, "drain") == []


def test_a_tube_without_a_way_is_waited_for():
    world = looped(drawn(without=("back",)), drain="drain", vent="reservoir.fill")
    (found,) = check_drainage(world).findings
    assert (found.verdict, found.parts) == (Verdict.UNKNOWN, ("back",))


def test_shifted_scenes_keep_the_same():
    """All shifted by (0.37, -0.37, 0.37): the same volumes stay."""

    def shifted(found: re.Match[str]) -> str:
        x, y, z = (float(c) for c in found[1].split(","))
        return f"[{x + 0.37}, {y - 0.37}, {z + 0.37}]"

    moved = drawn(re.sub(r"\[([-0-9.]+, [-0-9.]+, [-0-9.]+)\]", shifted, BENCH))
    (one,) = ask(looped(bench(), drain="drain", vent="reservoir.fill"), "drain")
    (two,) = ask(looped(moved, drain="drain", vent="reservoir.fill"), "drain")
    for side in ("most", "least", "likely", "total"):
        assert two.details[side] == pytest.approx(one.details[side], abs=1e-6)
