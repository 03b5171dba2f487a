"""Routes of soft tubes and cables: no bend tighter than the least radius, clear of all solids."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from fitcheck.runs import headings
from fitcheck.runs.field import Field
from fitcheck.runs.kernels import search_compiled as compiled
from fitcheck.runs.kernels.search_grid import Home
from fitcheck.runs.kernels.search_soft import Lattice, Tree
from fitcheck.runs.kernels.search_trace import Space
from fitcheck.runs.legs import Found, Legs, Limits, Pose
from fitcheck.runs.obstacles import Obstacles, distance_at
from fitcheck.runs.route import Route
from fitcheck.runs.shorten import shorter, tidy

# What a search keeps more than it must, mm; half of it pays for the points between those looked at.
MARGIN = 0.01
# Edge of the lattice's cells, mm, and how much finer each further round is.
CELL, FINER = 15.0, 0.7
# Points of the grid for the way home, and its finest pitch, mm.
POINTS, PITCH = 250_000, 8.0
# The least distance that its points keep is relaxed by this times the pitch: half a cell's diagonal.
RELAXED = 0.87
# Where a shot may join the straight before a goal, mm before it.
JOINS = (0.0, 15.0, 30.0, 60.0, 120.0, 240.0)


@dataclass(frozen=True, eq=False)
class Ask:
    """One leg: from a pose to a pose, (3,) places and (3,) directions of travel at both."""

    start: np.ndarray
    ahead: np.ndarray
    goal: np.ndarray
    arrival: np.ndarray

    @property
    def back(self) -> Ask:
        """The same leg from its goal to its start."""
        return Ask(self.goal, -self.arrival, self.start, -self.ahead)


def space_for(obstacles: Obstacles, field: Field, outside: float, clearance: float, radius: float) -> Space:
    """What a search asks: the solids, the field, the least distance of the centre line."""
    need = outside / 2 + clearance + MARGIN
    # Between two points a step s apart the distance falls by at most s^2 / 8 (1/D + 1/R) below
    # theirs: the distance D to a solid bends upward by at most 1/D, along a curve by 1/R more.
    step = float(np.sqrt(8 * MARGIN / 2 / (2 / outside + 1 / radius)))
    values = field.values
    low = np.asarray(field.origin, float)
    box = np.array([low, low + field.pitch * (np.array(values.shape) - 1)])
    return Space(obstacles.solids, low, float(field.pitch), values, need, step, box)


def find_soft(
    obstacles: Obstacles,
    field: Field,
    legs: Legs,
    outside: float,
    radius: float,
    clearance: float,
    limits: Limits | None = None,
) -> Found:
    """A short route from end to end, or how the search for it ended.

    Args:
        field: of the same obstacles; the centre line stays within it.
        outside: diameter, mm.
        radius: least bend radius of the centre line, mm.
        clearance: least distance of the outside to every solid, mm.
    """
    limits = limits or Limits()
    space = space_for(obstacles, field, outside, clearance, radius)
    return _one_leg(obstacles, space, legs.start, legs.goal, radius, limits)


def _one_leg(
    obstacles: Obstacles, space: Space, start: Pose, goal: Pose, radius: float, limits: Limits
) -> Found:
    ask = Ask(start.free, start.out, goal.free, -goal.out)
    # The same way is searched whichever end is named first: the narrower end goes first.
    rooms = distance_at(obstacles, np.array([ask.start, ask.goal]), 200.0)[0]
    turned = bool(rooms[1] < rooms[0])
    if turned:
        ask = ask.back
    found = _search(obstacles, space, ask, radius, limits)
    if found.route is not None:
        corners = shorter(space, found.route.corners, radius, limits.tries)
        if turned:
            corners = corners[::-1]
        corners = tidy(np.concatenate([[start.at], corners, [goal.at]]))
        return replace(found, route=Route(corners, radius))
    return _swapped(found) if turned else found


def _swapped(found: Found) -> Found:
    return replace(
        found,
        expansions=found.expansions[::-1],
        exhausted=found.exhausted[::-1],
        reached=found.reached[::-1],
        blocked=found.blocked[::-1],
    )


def _search(obstacles: Obstacles, space: Space, ask: Ask, radius: float, limits: Limits) -> Found:
    ends = np.array([ask.start, ask.goal])
    clear = [compiled.straight_on(space, tuple(p), (1.0, 0.0, 0.0), 0.0) >= 0 for p in ends]
    if not all(clear):
        _, near = distance_at(obstacles, ends)
        nothing = (clear[0] is False, clear[1] is False)
        return Found(None, (0, 0), nothing, (ends[0], ends[1]), (int(near[0]), int(near[1])))
    first: tuple[Tree, Tree] | None = None
    for number in range(limits.rounds):
        cell = CELL * FINER**number
        most = limits.expansions * 3**number
        weight = 1.3 if number == 0 else 1.6
        corners, trees = _round(space, ask, radius, cell, weight, most, limits.after)
        if corners is not None:
            return Found(Route(corners, radius), _expanded(trees))
        first = first or (trees[0], trees[-1])
        if number == 0 and all(len(tree.order) == 0 for tree in trees):
            break
    assert first is not None
    return _failed(obstacles, ask, first)


def _expanded(trees: Sequence[Tree]) -> tuple[int, int]:
    return len(trees[0].order), len(trees[1].order) if len(trees) > 1 else 0


def _failed(obstacles: Obstacles, ask: Ask, trees: tuple[Tree, Tree]) -> Found:
    reached, blocked = [], []
    for tree, far in zip(trees, (ask.goal, ask.start), strict=True):
        places = tree.places[tree.order] if len(tree.order) else np.array([far])
        last = places[np.linalg.norm(places - far, axis=1).argmin()]
        reached.append(last)
        blocked.append(int(distance_at(obstacles, last[None])[1][0]))
    return Found(
        None,
        (len(trees[0].order), len(trees[1].order)),
        (trees[0].exhausted, trees[1].exhausted),
        (reached[0], reached[1]),
        (blocked[0], blocked[1]),
    )


def _round(
    space: Space, ask: Ask, radius: float, cell: float, weight: float, most: int, after: int
) -> tuple[np.ndarray | None, list[Tree]]:
    """Search from the start, then from the goal; corners of the route found, and the trees."""
    trees = []
    for one, back in ((ask, False), (ask.back, True)):
        targets = _joins(space, one)
        tree = _grow(space, one, targets, radius, cell, weight, most, after)
        trees.append(tree)
        if tree.last >= 0:
            corners = _corners(tree, one, targets, radius)
            return (corners[::-1] if back else corners), trees
    return None, trees


def _joins(space: Space, ask: Ask) -> np.ndarray:
    """(m, 7) targets before the goal: place, direction, length to come."""
    free = compiled.straight_on(space, tuple(ask.goal), tuple(-ask.arrival), JOINS[-1])
    return np.array([[*(ask.goal - ask.arrival * s), *ask.arrival, s] for s in JOINS if s <= free])


def _grow(
    space: Space,
    ask: Ask,
    targets: np.ndarray,
    radius: float,
    cell: float,
    weight: float,
    most: int,
    after: int,
) -> Tree:
    home = _home(space, ask)
    heads = headings.with_start(headings.cube(2), ask.ahead)
    low = ask.start - cell * (np.ceil((ask.start - space.box[0]) / cell - 0.5) + 0.5)
    shape = np.ceil((space.box[1] - low) / cell).astype(np.int64)
    lattice = Lattice(low, cell, shape, heads, headings.soft_turns(heads), radius)
    free = compiled.straight_on(space, tuple(ask.start), tuple(ask.ahead), cell)
    starts = np.array([[*(ask.start + ask.ahead * s), s] for s in (0.0, cell / 3, cell * 2 / 3) if s <= free])
    return compiled.grow(space, lattice, home, starts, targets, weight, most, after)


def _home(space: Space, ask: Ask) -> Home:
    extent = space.box[1] - space.box[0]
    pitch = max(PITCH, float(np.cbrt(extent.prod() / POINTS)))
    low = ask.start - pitch * np.floor((ask.start - space.box[0]) / pitch)
    shape = np.floor((space.box[1] - low) / pitch).astype(np.int64) + 1
    return compiled.ways_home(space, tuple(ask.goal), low, pitch, shape, space.need - RELAXED * pitch)


def _corners(tree: Tree, ask: Ask, targets: np.ndarray, radius: float) -> np.ndarray:
    """(n, 3) corners of the way to the tree's last pose and from there by a shot."""
    chain = [tree.last]
    while tree.parents[chain[-1]] >= 0:
        chain.append(int(tree.parents[chain[-1]]))
    chain.reverse()
    heads = headings.with_start(headings.cube(2), ask.ahead)
    points = [ask.start]
    for one, other in pairwise(chain):
        d, u = heads[tree.head[one]], heads[tree.head[other]]
        if tree.head[one] != tree.head[other]:
            points.append(tree.places[one] + d * radius * np.tan(np.arccos(np.clip(d @ u, -1, 1)) / 2))
    last, target = tree.places[tree.last], targets[tree.target]
    t0, t1 = heads[tree.head[tree.last]], target[3:6]
    _, a, b, _ = compiled.shoot(tuple(last), tuple(t0), tuple(target[:3]), tuple(t1), radius)
    points += [last + t0 * a, target[:3] - t1 * b, ask.goal]
    return tidy(np.array(points))
