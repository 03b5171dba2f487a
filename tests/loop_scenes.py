"""Small scenes with loops whose tubes are drawn by hand, laid without any search."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from fitcheck.checks import RULE_TYPES
from fitcheck.runs.built import with_runs
from fitcheck.runs.route import Route
from fitcheck.scene.loop_entries import LoopEntry
from fitcheck.scene.read import read_scene
from fitcheck.scene.rules import walk_rule
from fitcheck.world.resolve import resolve
from fitcheck.world.wishes import LaidRun
from fitcheck.world.world import World

# A reservoir over its pump, a radiator lying on its back with its ports upward, and a tee with a drain at the pump.
BENCH = """
title: bench
parts:
  reservoir: {model: tube_reservoir, with: {height: 200}, place: {at: [0, 0, 200]}}
  pump: {model: pump, place: {at: [0, 0, 0]}}
  res_out: {model: straight_fitting, with: {tube_outside: 13}, place: {join: base, to: reservoir.inlet}}
  pump_in: {model: straight_fitting, with: {tube_outside: 13}, place: {join: base, to: pump.inlet}}
  tee: {model: tee, place: {join: base, to: pump.outlet, turn: 180}}
  drain: {model: drain, place: {join: inlet, to: tee.aside}}
  pump_out: {model: straight_fitting, with: {tube_outside: 13}, place: {join: base, to: tee.ahead}}
  radiator: {model: radiator, with: {fans: 1, port_facing: fan_side}, place: {at: [300, 200, 300]}}
  rad_low: {model: straight_fitting, with: {tube_outside: 13}, place: {join: base, to: radiator.port_low}}
  rad_high: {model: straight_fitting, with: {tube_outside: 13}, place: {join: base, to: radiator.port_high}}
  res_side: {model: straight_fitting, with: {tube_outside: 13}, place: {join: base, to: reservoir.outlet}}
runs:
  down: {kind: soft tube, outside: 13, bore: 10, bend_radius: 40, from: res_out.tube_end, to: pump_in.tube_end, points: []}
  up:   {kind: soft tube, outside: 13, bore: 10, bend_radius: 30, from: pump_out.tube_end, to: rad_low.tube_end, points: [[150, 0, 54], [150, 170, 500], [227.5, 170, 500]]}
  back: {kind: soft tube, outside: 13, bore: 10, bend_radius: 40, from: rad_high.tube_end, to: res_side.tube_end, points: [[227.5, 230, 450], [100, 0, 450], [100, 0, 209]]}
"""
ORDER = ["reservoir", "down", "pump", "up", "radiator", "back"]


def drawn(text: str = BENCH, without: tuple[str, ...] = ()) -> World:
    """The world of a scene with its drawn tubes laid as drawn; those named in `without` got no way."""
    world = resolve(read_scene(text, {}, RULE_TYPES))
    laid = []
    for wish in world.wishes:
        if wish.name in without:
            laid.append(LaidRun(wish, None, wish.radius))
            continue
        assert wish.drawn is not None
        corners = np.array([wish.start.at, *wish.drawn, wish.goal.at])
        route = Route(corners, wish.radius)
        assert route.is_sound(), wish.name
        laid.append(LaidRun(wish, corners, wish.radius, route.length, len(route.bends)))
    return with_runs(world, tuple(laid))


def entry(**keys: Any) -> LoopEntry:
    """A loop as it comes out of a file whose values are plain."""
    return walk_rule(
        LoopEntry.model_validate({"order": ORDER, **keys}),
        lambda kind, raw, path: float(raw) if kind in ("number", "length", "angle") else raw,
    )


def looped(world: World, **keys: Any) -> World:
    """The world with one loop, `main`."""
    return replace(world, loops={"main": entry(**keys)}, lines={**world.lines, "loops.main": 7})
