"""Ways in: a ball (finger, hand) by any way from outside, a straight tool along its axis."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from fitcheck.reaching.sizes import Tool
from fitcheck.reaching.straight import OFF, TOLERANCE, Reach
from fitcheck.runs import certify, necks
from fitcheck.runs.obstacles import Obstacles, distance_at, inside, obstacles
from fitcheck.runs.route import Route
from fitcheck.world.frames import SIDES
from fitcheck.world.world import World

# How far outside everything a hand is free, in its diameters.
OUTSIDE = 1.5


def by_hand(
    world: World,
    at: np.ndarray,
    out: np.ndarray,
    diameter: float,
    left_out: Collection[str],
    shut: Collection[str],
) -> Reach:
    """Does a ball get from outside to a place, by any way?

    Args:
        at: (3,) what is touched; `out` (3,) unit, the way its surface looks: there the ball stands.
        left_out: names of parts and solids that do not count: what is touched, what was opened.
        shut: sides of the world that a floor or a wall closes.
    """
    around = obstacles(world, left_out)
    radius = diameter / 2
    start = at + (radius + OFF) * out
    room, nearest = (float(found[0]) for found in distance_at(around, start[None]))
    buried = int(inside(around, start[None])[0])
    if buried >= 0 or room < radius:
        body = buried if buried >= 0 else int(nearest)
        return Reach(False, 2 * max(_room_there(around, at, out, radius), 0.0), start, (around.names[body],))
    region, goal = _outside(around, diameter, shut)
    if necks.passes(around, start, goal, radius, region):
        return Reach(True, diameter, start, ())
    neck = necks.widest(around, start, goal, region, asked=radius)
    if neck.value >= radius - TOLERANCE:
        return Reach(True, 2 * neck.value, neck.where, neck.names)
    return Reach(False, 2 * neck.value, neck.where, neck.names, sure=neck.most < radius)


def _room_there(around: Obstacles, at: np.ndarray, out: np.ndarray, radius: float) -> float:
    """Radius of the largest ball that stands on a place and touches nothing else, by halving."""
    low, high = 0.0, radius
    while high - low > TOLERANCE:
        middle = (low + high) / 2
        centre = (at + (middle + OFF) * out)[None]
        clear = float(distance_at(around, centre)[0][0]) >= middle and int(inside(around, centre)[0]) < 0
        low, high = (middle, high) if clear else (low, middle)
    return low


def _outside(around: Obstacles, diameter: float, shut: Collection[str]) -> tuple[np.ndarray, np.ndarray]:
    """(2, 3) where the ball's middle may be, and (3,) a place outside everything on an open side."""
    region = around.bounds.astype(float).copy()
    middle = region.mean(axis=0)
    open_sides = [side for side in SIDES if side not in shut]
    for side, towards in SIDES.items():
        axis, end = int(np.abs(towards).argmax()), int(towards.sum() > 0)
        # Before a wall or on a floor its middle stays half a ball off.
        region[end, axis] += towards.sum() * diameter * (OUTSIDE if side in open_sides else -0.5)
    towards = SIDES[open_sides[0]]
    axis, end = int(np.abs(towards).argmax()), int(towards.sum() > 0)
    goal = np.clip(middle, region[0], region[1])
    goal[axis] = region[end, axis] - towards.sum() * diameter / 4
    return region, goal


def by_tool(
    world: World,
    at: np.ndarray,
    out: np.ndarray,
    tool: Tool,
    left_out: Collection[str],
    shut: Collection[str],
) -> Reach:
    """Does a straight tool stand on a place along its axis, with a way for the hand behind it?

    The shank and the handle are round-ended cylinders; the handle begins where the shank ends.
    """
    around = obstacles(world, left_out)
    shank = _line(around, at + (tool.shank / 2 + OFF) * out, at + tool.reach * out, tool.shank)
    if shank is not None:
        return shank
    ends = tool.reach + tool.handle / 2, tool.reach + tool.length
    handle = _line(around, at + ends[0] * out, at + ends[1] * out, tool.handle)
    if handle is not None:
        return handle
    return by_hand(world, at + ends[1] * out, out, tool.hand, left_out, shut)


def _line(around: Obstacles, start: np.ndarray, end: np.ndarray, diameter: float) -> Reach | None:
    """What stops a round-ended cylinder between two points; None where nothing does."""
    if len(around.body) == 0:
        return None
    proof = certify.certify(around, Route(np.array([start, end]), 1.0), diameter, TOLERANCE)
    mouth = int(inside(around, start[None])[0])
    if mouth < 0 and proof.least >= -TOLERANCE:
        return None
    body = mouth if mouth >= 0 else proof.nearest
    return Reach(False, max(diameter + 2 * proof.least, 0.0), proof.where, (around.names[body],))
