"""A radiator, a mounting plate, a fan and a bracket on a bench: the scene of the tests of holes and sheets.

Worked out by hand: the plate is 1 thick, the fan 25: 26 under the head. M3 x 30 holds 4.0 of the 5.0 that a screw may
go into the radiator, 3.0 (1 d, steel) are wanted; 1.0 is left to the fins, more than the 0.42 a screw may be too long.
A hole of the plate (3.4) has 0.2 of play for M3, one of the fan (4.3) 0.65.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

import fitcheck
from fitcheck.finding import Answer, Finding, Verdict
from fitcheck.parts.mirror import mirrored
from fitcheck.world.frames import Frame, turn_about
from fitcheck.world.world import Part, World

SCENE = """\
title: bench
parts:
  plate: {model: flat_panel, with: {width: 200, length: 160, thickness: 1, columns: 2, rows: 2, column_pitch: 105, row_pitch: 105, hole: 3.4, cut_out: round, cut_long: 114}}
  radiator: {model: radiator, with: {fans: 1}, place: {rest: fan_face, on: plate.underside, centre: both}}
  fan: {model: fan, place: {rest: back, on: plate.upper_face, centre: both}}
  bracket: {model: corner_bracket, place: {rest: underside, on: plate.upper_face, turn: 90, right: 6, centre: across}}
rules:
  fastening: {materials: [{of: radiator, is: steel}]}
  edges: {folded: [{of: bracket, radius: 2 mm}]}
"""


def scene(*changes: tuple[str, str]) -> str:
    """The scene with some of its text replaced; each change must be there to be made."""
    text = SCENE
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


def load(*changes: tuple[str, str]) -> World:
    return fitcheck.load(scene(*changes), name="bench")


def failing(world: World) -> set[str]:
    """Names of the checks that find a fault."""
    return {f.check for f in fitcheck.check_world(world, facts=False).findings if f.verdict != Verdict.FITS}


def found(answer: Answer, start: str) -> Finding:
    """The one finding whose id holds this."""
    (one,) = (f for f in answer.findings if start in f.id)
    return one


def changed(world: World, change: Callable[[Part], Part], **keys: Any) -> World:
    """The world with each part changed."""
    return replace(world, parts=tuple(change(part) for part in world.parts), **keys)


def shifted(world: World) -> World:
    by = np.array([137.25, -4012.5, 88.0])
    return changed(world, lambda p: replace(p, pose=Frame(p.pose.rotation, p.pose.origin + by)))


def turned(world: World) -> World:
    turn = turn_about(np.array([0.6, 0.0, 0.8]), 40.0)
    return changed(world, lambda p: replace(p, pose=Frame(turn @ p.pose.rotation, turn @ p.pose.origin)))


def mirrored_world(world: World) -> World:
    """All of it in a mirror across x: each shape mirrored in its own frame, and put where its image is."""
    flip = np.diag([-1.0, 1.0, 1.0])

    def image(part: Part) -> Part:
        pose = Frame(flip @ part.pose.rotation @ flip, flip @ part.pose.origin)
        return replace(part, shape=mirrored(part.shape, 0), pose=pose)

    return changed(world, image)


def permuted(world: World) -> World:
    return replace(world, parts=world.parts[::-1], contacts=world.contacts[::-1])
