"""Routes of rigid tubes: straights joined by bends of one radius and of allowed angles."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np

from fitcheck.runs import headings
from fitcheck.runs.field import Field
from fitcheck.runs.kernels import search_compiled as compiled
from fitcheck.runs.kernels.search_close import Rules
from fitcheck.runs.kernels.search_trace import Space
from fitcheck.runs.legs import Found, Legs, Limits
from fitcheck.runs.obstacles import Obstacles
from fitcheck.runs.route import Route
from fitcheck.runs.search import Attempt, Manner, between, space_for
from fitcheck.runs.shorten import TOGETHER, tidy

# Poses that closings may join stand at most this far apart on the straights, mm.
SAMPLES = 12.0
# Tried one after the other, as long as none has found a way.
ATTEMPTS = (
    (Attempt(0.0, 6_000),),
    (Attempt(0.0, 18_000, 0, 10.0, 1.6),),
    (Attempt(0.0, 40_000, 0, 7.0, 2.0),),
)
# A first way of few headings is far from the best: it is looked for longer than that of a soft tube.
SHORTENED = 5


def find_rigid(
    obstacles: Obstacles,
    field: Field,
    legs: Legs,
    outside: float,
    radius: float,
    clearance: float,
    angles: tuple[float, ...] | None,
    straight: float,
    end_straight: float,
    bend_cost: float,
    limits: Limits,
    again: int = 0,
) -> Found:
    """A route with few bends from end to end, or how the search for it ended.

    Args:
        field: of the same obstacles; the centre line stays within it.
        outside, radius, clearance: as of `find_soft`; each bend has just this radius.
        angles: degrees that a bend may have; None: any.
        straight: least straight between two bends, mm.
        end_straight: least straight at both ends, from the very end, mm.
        bend_cost: what a bend counts besides its length, mm.
        again: how often it was tried before.
    """
    limits = replace(limits, after=SHORTENED * limits.after)
    space = space_for(obstacles, field, outside, clearance, radius)
    cosines = np.empty(0) if angles is None else np.cos(np.radians(sorted(angles)))
    rules = Rules(float(radius), cosines, float(straight), float(bend_cost))
    ends = max(end_straight - min(legs.start.stub, legs.goal.stub), 0.0)
    manner = Manner(
        rules,
        lambda ask: headings.rigid_headings(ask.ahead, ask.arrival, angles),
        lambda heads: headings.rigid_turns(heads, angles),
        ends,
        (0.0,) if angles is not None else (0.0, 30.0, 60.0, 120.0),
        partial(cheaper, rules=rules, ends=ends),
    )
    return between(obstacles, space, legs.start, legs.goal, manner, ATTEMPTS[again], limits)


def cost(corners: np.ndarray, rules: Rules) -> float:
    """Length of a route (n, 3) and what its bends count, mm."""
    route = Route(corners, rules.radius)
    return route.length + rules.cost * len(route.bends)


def cheaper(space: Space, corners: np.ndarray, rules: Rules, ends: float) -> np.ndarray:
    """Corners (n, 3) of a route that costs at most as much, clear, with the same ends."""
    best = corners
    for _ in range(4):
        made = _slid(space, _bridged(space, best, rules, ends), rules, ends)
        if cost(made, rules) >= cost(best, rules) - 0.01:
            break
        best = made
    return best


def _slid(space: Space, corners: np.ndarray, rules: Rules, ends: float) -> np.ndarray:
    if len(corners) < 4:
        return corners
    return compiled.slide(space, np.ascontiguousarray(corners), rules.radius, rules.straight, ends)


def _bridged(space: Space, corners: np.ndarray, rules: Rules, ends: float) -> np.ndarray:
    places, ways, gone, leg = _poses(Route(corners, rules.radius), rules, ends)
    before, shots = np.empty(len(places), np.int64), np.empty((len(places), 6))
    compiled.bridge(space, rules, places, ways, gone, before, shots, ends)
    points, j = [corners[-1]], len(places) - 1
    while j > 0:
        i = int(before[j])
        if np.isfinite(shots[j, 0]):
            points += [corner for corner in (shots[j, 3:], shots[j, :3]) if np.isfinite(corner[0])]
        else:
            points += [corners[k] for k in range(leg[j], leg[i], -1)]
        j = i
    return tidy(np.array([*points, corners[0]])[::-1])


def _poses(route: Route, rules: Rules, ends: float) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Poses on the straights from which a bend may follow at once.

    Returns:
        Places and directions (n, 3), what the route costs up to each, and the leg it is on (n,).
    """
    places, ways, gone, leg = [], [], [], []
    spent = 0.0
    for k, way in enumerate(route.ways):
        begin = route.corners[k] + way * route.takes[k]
        first = ends if k == 0 else rules.straight
        room = route.legs[k] - first
        # Rounding may leave a straight a hair too short for the pose at its start.
        stands = np.arange(max(0.0, room) // SAMPLES + 1) if room >= -TOGETHER else np.empty(0)
        for at in first + stands * SAMPLES:
            places.append(begin + way * at)
            ways.append(way)
            gone.append(spent + at)
            leg.append(k)
        spent += route.legs[k]
        if k < len(route.turns):
            spent += route.radius * route.turns[k] + rules.cost
    places.append(route.corners[-1])
    ways.append(route.ways[-1])
    return np.array(places), np.array(ways), np.array([*gone, spent]), np.array([*leg, len(route.ways) - 1])
