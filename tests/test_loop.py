"""Loops: closed, the right way round, pumps flooded and turned, metals, leaks, pressure."""

from __future__ import annotations

import functools

import numpy as np
import pytest
from loop_scenes import BENCH, ORDER, drawn, looped

from fitcheck.checks.loop import check_loop
from fitcheck.finding import Finding, Verdict
from fitcheck.loops.asked import asked
from fitcheck.loops.plumbing import model_volume, net
from fitcheck.loops.pumps import pumps
from fitcheck.scene.loop_entries import wrong_values


@functools.cache
def bench(text: str = BENCH):
    return drawn(text)


def ask(world, what: str) -> list[Finding]:
    return [f for f in check_loop(world).findings if f.rule == f"loops.main.{what}"]


def test_a_closed_loop_is_followed_through_its_fittings():
    world = looped(bench())
    (found,) = ask(world, "order")
    assert found.verdict == Verdict.FITS
    assert found.rule_line == 7
    assert found.details["order"] == (
        "reservoir", "res_out", "down", "pump_in", "pump", "tee", "pump_out", "up", "rad_low",
        "radiator", "rad_high", "back", "res_side",
    )  # fmt: skip


def test_volume_is_that_of_tubes_fittings_and_models():
    """Tubes by bore and length; fittings, drain and pump by their models; plugged ports hold nothing."""
    world = looped(bench())
    (found,) = ask(world, "order")
    tubes = sum(run.length for run in world.laid) * np.pi * 25 / 1000
    models = sum(model_volume(part) for part in world.parts if part.shape.wet)
    # Ways in from ports in use, bore 9: reservoir inlet 18 and side port 33 + 9 up and in, pump and radiator few mm each.
    assert tubes + models < found.details["volume"] < tubes + models + 8


def test_given_volumes_replace_the_models():
    first, second = (
        asked(looped(bench(), volumes=given))[0].plumbed.water.volume
        for given in ({"radiator": 100}, {"radiator": 350})
    )
    assert second - first == pytest.approx(250)


@pytest.mark.parametrize(
    ("order", "said", "parts"),
    [
        (
            ["reservoir", "down", "pump", "back", "radiator", "up"],
            "nothing leads from pump to back",
            ("pump", "back"),
        ),
        (["reservoir", "down", "pump", "up"], None, None),
        (["reservoir", "pump", "radiator"], None, None),
    ],
)
def test_what_lies_between_need_not_be_named_but_the_order_must_hold(order, said, parts):
    found = ask(looped(bench(), order=order), "order")
    if said is None:
        assert [f.verdict for f in found] == [Verdict.FITS]
    else:
        assert (Verdict.FAILS, f"main: {said}", parts) in [(f.verdict, f.sentence, f.parts) for f in found]


def test_a_pump_is_left_by_its_outlet_though_that_is_farther():
    """From the pump to the reservoir it is three steps backwards, and eight the right way."""
    (found,) = ask(looped(bench(), order=["pump", "reservoir"]), "order")
    assert found.verdict == Verdict.FITS
    assert found.details["order"][:3] == ("pump", "tee", "pump_out")


def test_a_port_leads_to_the_nearest_point_inside():
    """The reservoir's side port, 33 from its axis and 9 high; its inside is 50 wide, its floor 18 high."""
    (loop,) = asked(looped(bench()))
    points = np.concatenate(loop.plumbed.water.points)
    assert np.linalg.norm(points - [25, 0, 218], axis=1).min() < 1e-9


def test_the_highest_reservoir_floods_the_pump():
    text = """
parts:
  pump: {model: pump, place: {at: [0, 0, 0]}}
  low: {model: tube_reservoir, place: {at: [300, 0, 10]}}
  high: {model: tube_reservoir, place: {at: [500, 0, 300]}}
"""
    (stand,) = pumps(net(bench(text)), ["pump", "low", "high"], 5.0)
    # Its floor at 18, 5 mm of coolant on it, the inlet at 68.
    assert (stand.reservoir, stand.inlet) == ("high", pytest.approx(68 - 323))


def test_the_wrong_way_round_is_said_of_the_pump():
    found = ask(looped(bench(), order=ORDER[::-1]), "order")
    (wrong,) = [f for f in found if f.verdict == Verdict.FAILS]
    assert wrong.sentence == "main: the coolant runs through pump from outlet to inlet, the wrong way"
    assert wrong.parts == ("pump",)


def test_a_tube_without_a_way_leaves_the_loop_unknown():
    world = looped(drawn(without=("back",)))
    found = ask(world, "order")
    assert [f.verdict for f in found] == [Verdict.UNKNOWN]
    assert found[0].sentence == "main: back has no way yet"
    assert ask(world, "flow") == []


def test_an_open_tube_end_is_found():
    text = BENCH.replace(
        "runs:", "  stray: {model: straight_fitting, place: {join: base, to: radiator.port_middle}}\nruns:"
    ).replace("{fans: 1, port_facing: fan_side}", "{fans: 1, port_facing: fan_side, middle_port: near}")
    wrong = [f for f in ask(looped(bench(text)), "order") if f.verdict == Verdict.FAILS]
    assert [f.sentence for f in wrong] == ["main: stray.tube_end takes a tube and has none"]


def test_pump_under_its_reservoir():
    """Reservoir at 200 with a cap of 18; the pump's inlet at 68: 150 mm over it at the least."""
    (found,) = ask(looped(bench()), "pump")
    assert (found.verdict, found.measured) == (Verdict.FITS, pytest.approx(150))
    (more,) = ask(looped(bench(), least_level=40), "pump")
    assert more.measured == pytest.approx(190)


@pytest.mark.parametrize(("low", "verdict"), [(49.9, Verdict.FAILS), (50.0, Verdict.FITS)])
def test_flooded_at_the_limit(low, verdict):
    """The floor of its inside at 18 over its foot, the inlet at 68."""
    text = (
        f"parts:\n  reservoir: {{model: tube_reservoir, place: {{at: [200, 0, {low}]}}}}\n" + CLOSED_UPRIGHT
    )
    (found,) = ask(looped(bench(text), order=["reservoir", "pump"]), "pump")
    assert found.verdict == verdict
    if verdict == Verdict.FAILS:
        assert (
            found.sentence
            == "main: pump is not flooded: its inlet lies 0.1 mm above the least level in reservoir"
        )


CLOSED_UPRIGHT = """
  pump: {model: pump, place: {at: [0, 0, 0]}}
  side: {model: angled_fitting, with: {tube_outside: 13}, place: {join: base, to: reservoir.outlet}}
  under: {model: angled_fitting, with: {tube_outside: 13}, place: {join: base, to: reservoir.inlet}}
  over: {model: straight_fitting, with: {tube_outside: 13}, place: {join: base, to: pump.inlet}}
  out: {model: straight_fitting, with: {tube_outside: 13}, place: {join: base, to: pump.outlet}}
runs:
  one: {kind: soft tube, outside: 13, bore: 10, bend_radius: 1, from: side.tube_end, to: over.tube_end, points: [[300, 90, 300], [0, 0, 300]]}
  two: {kind: soft tube, outside: 13, bore: 10, bend_radius: 1, from: out.tube_end, to: under.tube_end, points: [[120, 0, 54]]}
"""
CLOSED_UPRIGHT = CLOSED_UPRIGHT.replace("bend_radius: 1,", "bend_radius: 7,")


@pytest.mark.parametrize(
    ("turn", "verdict", "points"),
    [
        ("", Verdict.FITS, "up"),
        (", turns: [{about: y, by: 90}]", Verdict.FITS, "level"),
        (", turns: [{about: y, by: 44}]", Verdict.FITS, "up"),
        (", turns: [{about: y, by: 136}]", Verdict.FAILS, "down"),
    ],
)
def test_a_pump_hangs_from_its_motor_at_no_time(turn, verdict, points):
    text = f"""
parts:
  pump: {{model: pump, place: {{at: [0, 0, 0]{turn}}}}}
  reservoir: {{model: tube_reservoir, place: {{at: [300, 0, 300]}}}}
"""
    # Nothing joins the two: that is said of the order, and the pump is looked at all the same.
    (found,) = ask(looped(bench(text), order=["pump", "reservoir"]), "pump")
    assert (found.verdict, found.details["shaft"]) == (verdict, points)
    if verdict == Verdict.FAILS:
        said = "stands with its shaft pointing down; it may only be pointing up or level"
        assert found.sentence == f"main: pump {said}"


def test_metals():
    (fine,) = ask(looped(bench()), "metals")
    assert fine.verdict == Verdict.FITS
    assert fine.details["metals"]["copper"] == ("radiator",)
    (mixed,) = ask(looped(bench(), metals={"radiator": "aluminium"}), "metals")
    assert mixed.verdict == Verdict.TIGHT
    assert "aluminium: radiator" in mixed.sentence
    assert "the aluminium will corrode" in mixed.sentence


def test_where_a_leak_lands():
    """A board lies below the radiator: only what is screwed to the radiator stands above it."""
    text = BENCH.replace(
        "runs:", "  board: {model: board, with: {form: mini_itx}, place: {at: [200, 260, 100]}}\nruns:"
    )
    world = looped(bench(text))
    (found,) = ask(world, "leaks")
    assert found.verdict == Verdict.FITS
    live = {drip["joint"] for drip in found.details["drips"] if drip["electric"]}
    # Each fitting has a joint at the port and one at its tube.
    assert live == {"radiator.port_low", "radiator.port_high", "rad_low.tube_end", "rad_high.tube_end"}
    (onto,) = {drip["onto"] for drip in found.details["drips"]}
    assert onto == "board"
    assert "main: a leak would land on board from " in found.sentence
    (dry,) = ask(looped(bench()), "leaks")
    assert dry.sentence == "main: no joint lies above anything electric"
    refused = ask(looped(bench(text), keep_dry=["board"]), "keep_dry")
    assert {f.verdict for f in refused} == {Verdict.FAILS}
    assert len(refused) == len(live)
    # A shelf between them catches it.
    shelf = "  shelf: {model: flat_panel, with: {width: 300, length: 300, thickness: 3}, place: {at: [225, 200, 200]}}\n"
    (caught,) = ask(looped(bench(text.replace("  board:", shelf + "  board:"))), "leaks")
    assert not any(drip["electric"] for drip in caught.details["drips"])


def test_pressure_loss_against_its_limit():
    curves = {"radiator": [[60, 0.4], [240, 5.0]]}
    (free,) = ask(looped(bench(), flow=120, curves=curves), "flow")
    assert free.verdict == Verdict.FITS
    assert free.details["unknown"] == ()
    least, likely, most = free.details["least"], free.measured, free.details["most"]
    assert least < likely < most
    for limit, verdict in (
        (most + 0.01, Verdict.FITS), (likely + 0.01, Verdict.TIGHT), (likely - 0.01, Verdict.FAILS), (least - 0.01, Verdict.FAILS),
    ):  # fmt: skip
        (found,) = ask(looped(bench(), flow=120, curves=curves, pressure_at_most=limit), "flow")
        assert (found.verdict, found.unit) == (verdict, "kPa")
    (unknown,) = ask(looped(bench(), flow=120, pressure_at_most=50), "flow")
    assert unknown.verdict == Verdict.UNKNOWN
    assert unknown.details["unknown"] == ("radiator",)


def test_pressure_loss_without_its_library(monkeypatch):
    import sys

    monkeypatch.setitem(sys.modules, "chemicals.iapws", None)
    (found,) = ask(looped(bench(), flow=120), "flow")
    assert found.verdict == Verdict.UNKNOWN
    assert found.mend == "pip install 'fitcheck[flow]'"


@pytest.mark.parametrize(
    ("keys", "path"),
    [
        ({"order": ["pump", "pump"]}, ("order", 1)),
        ({"order": ["pump", "drive*"]}, ("order", 1)),
        ({"flow": 0}, ("flow",)),
        ({"coolant_temperature": 120}, ("coolant_temperature",)),
        ({"tilts": [{"to": "left", "by": 0}]}, ("tilts", 0, "by")),
        ({"volumes": {"radiator": -1}}, ("volumes", "radiator")),
        ({"curves": {"radiator": [[60, 1], [50, 2]]}}, ("curves", "radiator", 1)),
        ({"curves": {"radiator": [[60, 1], [70, 1]]}}, ("curves", "radiator", 1)),
    ],
)
def test_values_that_no_loop_has(keys, path):
    from loop_scenes import entry

    assert [at for at, _ in wrong_values(entry(**keys))] == [path]
    assert list(wrong_values(entry())) == []
