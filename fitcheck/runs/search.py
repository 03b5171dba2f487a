"""One search of a route from pose to pose, in either manner of bending; from both ends."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from fitcheck.runs.field import Field
from fitcheck.runs.kernels import search_compiled as compiled
from fitcheck.runs.kernels.search_close import Rules
from fitcheck.runs.kernels.search_grid import Grid, Home
from fitcheck.runs.kernels.search_lattice import Lattice, Tree
from fitcheck.runs.kernels.search_trace import Space
from fitcheck.runs.legs import Found, Limits, Pose
from fitcheck.runs.obstacles import Obstacles, distance_at
from fitcheck.runs.route import Route, turns_back
from fitcheck.runs.shorten import tidy

# What a search keeps more than it must, mm: DIP pays for the points between those looked at,
# the rest for what a proof may fall short by.
MARGIN, DIP = 0.02, 0.005
# Points of the grid for the way home, and its finest pitch, mm.
POINTS, PITCH = 250_000, 8.0
# The least distance that its points keep is relaxed by this times the pitch: half a cell's diagonal.
RELAXED = 0.87
# Ways home are followed to all that they reach.
EVERYWHERE = (1e6, 0.0)
# A way found sooner than after so many expansions is not looked for again with less room.
AT_ONCE = 30
# Where a way with less room could not be bent clear, the next one keeps this many needs away.
KEPT_OFF = 1.5


@dataclass(frozen=True, eq=False)
class Ask:
    """From a pose to a pose, (3,) places and (3,) directions of travel at both."""

    start: np.ndarray
    ahead: np.ndarray
    goal: np.ndarray
    arrival: np.ndarray

    @property
    def back(self) -> Ask:
        """The same from its goal to its start."""
        return Ask(self.goal, -self.arrival, self.start, -self.ahead)


@dataclass(frozen=True, eq=False)
class Manner:
    """How a run may bend, and what a search of it tries.

    Args:
        rules: for the kernels.
        headings: of an ask: the (n, 3) directions of its lattice, that of its start the last.
        turns: of headings: rows (n, k) of those one bend away, -1 filled up.
        ends: least straight at both ends, mm.
        joins: how far before the goal a closing may reach the straight into it, mm.
        polish: makes corners (n, 3) of a clear route shorter.
        mend: bends corners (n, 3) that keep too little room until they are clear; None when it fails,
            and the (3,) place where it failed.
    """

    rules: Rules
    headings: Callable[[Ask], np.ndarray]
    turns: Callable[[np.ndarray], np.ndarray]
    ends: float
    joins: tuple[float, ...]
    polish: Callable[[Space, np.ndarray], np.ndarray]
    mend: Callable[[Space, Space, np.ndarray], tuple[np.ndarray | None, np.ndarray]] | None = None


@dataclass(frozen=True)
class Attempt:
    """One go at the lattice.

    Args:
        spare: how much less than needed it keeps from the solids, mm: what it finds is bent clear.
        expansions: from each end.
        bans: how often it is tried again off the places where bending failed.
        cell: edge of the lattice's cells, and the straight move, mm.
        weight: of the way home against the way come.
        detour: ways home are known so many times as far as the shortest goes, and so much farther, mm.
    """

    spare: float
    expansions: int
    bans: int = 0
    cell: float = 15.0
    weight: float = 1.3
    detour: tuple[float, float] = EVERYWHERE


def space_for(obstacles: Obstacles, field: Field, outside: float, clearance: float, radius: float) -> Space:
    """What a search asks: the solids, the field, the least distance of the centre line."""
    need = outside / 2 + clearance + MARGIN
    # Between two points a step s apart the distance falls by at most s^2 / 8 (1/D + 1/R) below
    # theirs: the distance D to a solid bends upward by at most 1/D, along a curve by 1/R more.
    step = float(np.sqrt(8 * DIP / (2 / outside + 1 / radius)))
    box = np.array([field.origin, field.end])
    return Space(obstacles.solids, box[0], field.pitch, field.cap, field.values, need, step, box)


def between(
    obstacles: Obstacles,
    space: Space,
    start: Pose,
    goal: Pose,
    manner: Manner,
    attempts: tuple[Attempt, ...],
    limits: Limits,
) -> Found:
    """A route from pose to pose, the shortest of these attempts, as short as the manner's polish makes it."""
    ask = Ask(start.free, start.out, goal.free, -goal.out)
    # The same way is searched whichever end is named first: the narrower end goes first.
    rooms = distance_at(obstacles, np.array([ask.start, ask.goal]), 200.0)[0]
    turned = bool(rooms[1] < rooms[0])
    if turned:
        ask = ask.back
    found = _search(obstacles, space, ask, manner, attempts, limits)
    if turned:
        found = _swapped(found)
    if found.route is None:
        return found
    whole = tidy(np.concatenate([[start.at], found.route.corners, [goal.at]]))
    # With a very small radius it may turn right round at the end of a stub: that is no bend.
    return replace(found, route=None if turns_back(whole) else Route(whole, manner.rules.radius))


def _swapped(found: Found) -> Found:
    return Found(
        None if found.route is None else found.route.reversed(),
        found.expansions[::-1],
        found.exhausted[::-1],
        found.reached[::-1],
        found.blocked[::-1],
        found.leg,
        found.through,
    )


def _search(
    obstacles: Obstacles,
    space: Space,
    ask: Ask,
    manner: Manner,
    attempts: tuple[Attempt, ...],
    limits: Limits,
) -> Found:
    ends = np.array([ask.start, ask.goal])
    shut = [_free(space, p, np.array([1.0, 0.0, 0.0]), 0.0) < 0 for p in ends]
    if any(shut):
        near = distance_at(obstacles, ends)[1]
        return Found(None, (0, 0), (shut[0], shut[1]), (ends[0], ends[1]), (int(near[0]), int(near[1])))
    # Ways home are those of the try that keeps the least room: never longer than those of the others.
    loosest = max(attempts, key=lambda attempt: attempt.spare)
    homes = _Homes(_with_spare(space, loosest), loosest.detour)
    true: list[Tree] = []
    best: Route | None = None
    for attempt in attempts:
        trees: list[Tree] = []
        for corners in _ways(space, ask, manner, attempt, limits, homes, trees):
            route = Route(manner.polish(space, corners), manner.rules.radius)
            if best is None or _cost(route, manner) < _cost(best, manner):
                best = route
        if attempt.spare == 0.0:
            true = trees
        if best is not None and len(trees) == 1 and len(trees[0].order) < AT_ONCE:
            break
    if best is not None:
        return Found(best, _expanded(true or trees))
    return _failed(obstacles, ask, true)


def _cost(route: Route, manner: Manner) -> float:
    return route.length + manner.rules.cost * len(route.bends)


def _expanded(trees: list[Tree]) -> tuple[int, int]:
    counts = [len(tree.order) for tree in trees]
    return (counts[0], counts[1]) if len(counts) > 1 else (counts[0], 0)


def _failed(obstacles: Obstacles, ask: Ask, trees: list[Tree]) -> Found:
    reached, blocked = [], []
    for tree, near, far in zip(trees, (ask.start, ask.goal), (ask.goal, ask.start), strict=True):
        places = np.concatenate([[near], tree.places[tree.order]])
        last = places[np.linalg.norm(places - far, axis=1).argmin()]
        reached.append(last)
        blocked.append(int(distance_at(obstacles, last[None])[1][0]))
    return Found(
        None,
        _expanded(trees),
        (trees[0].exhausted, trees[1].exhausted),
        (reached[0], reached[1]),
        (blocked[0], blocked[1]),
    )


def _with_spare(space: Space, attempt: Attempt) -> Space:
    return space._replace(need=max(space.need - attempt.spare, space.need / 3))


def _ways(
    space: Space,
    ask: Ask,
    manner: Manner,
    attempt: Attempt,
    limits: Limits,
    homes: _Homes,
    trees: list[Tree],
) -> Iterator[np.ndarray]:
    """Corners of at most one clear way; fills the trees of the first go."""
    if attempt.spare > 0.0 and manner.mend is None:
        return
    tight = _with_spare(space, attempt)
    bans = np.empty((0, 4))
    for go in range(attempt.bans + 1):
        corners, grown = _both(tight, ask, manner, attempt, homes, bans, limits)
        if go == 0:
            trees += grown
        if corners is None:
            return
        if attempt.spare == 0.0 or manner.mend is None:
            yield corners
            return
        mended, failed = manner.mend(space, tight, corners)
        if mended is not None:
            yield mended
            return
        bans = np.concatenate([bans, [[*failed, space.need * KEPT_OFF]]])


def _both(
    space: Space,
    ask: Ask,
    manner: Manner,
    attempt: Attempt,
    homes: _Homes,
    bans: np.ndarray,
    limits: Limits,
) -> tuple[np.ndarray | None, list[Tree]]:
    """Search from the start, then from the goal; corners of the way found, and the trees."""
    trees = []
    for one in (ask, ask.back):
        tree = _grow(space, one, manner, attempt, homes.to(one), bans, limits)
        trees.append(tree)
        if tree.last >= 0:
            corners = _corners(tree, one, manner)
            return (corners if one is ask else corners[::-1]), trees
    return None, trees


def _grow(
    space: Space,
    ask: Ask,
    manner: Manner,
    attempt: Attempt,
    home: Home,
    bans: np.ndarray,
    limits: Limits,
) -> Tree:
    cell = attempt.cell
    heads = manner.headings(ask)
    # The start stands in the middle of its cell, wherever the scene stands.
    low = ask.start - cell * (np.ceil((ask.start - space.box[0]) / cell - 0.5) + 0.5)
    shape = np.ceil((space.box[1] - low) / cell).astype(np.int64)
    steps = manner.ends + cell * np.array([0.0, 1 / 3, 2 / 3])
    free = _free(space, ask.start, ask.ahead, steps[-1])
    starts = np.array([[*(ask.start + ask.ahead * s), s] for s in steps if s <= free])
    free = _free(space, ask.goal, -ask.arrival, manner.joins[-1])
    targets = np.array(
        [
            [*(ask.goal - ask.arrival * s), *ask.arrival, s, max(manner.ends - s, 0.0)]
            for s in manner.joins
            if s <= free
        ]
    )
    return compiled.grow(
        space,
        Lattice(low, cell, shape, heads, manner.turns(heads)),
        manner.rules,
        home,
        starts.reshape(-1, 4),
        targets.reshape(-1, 8),
        bans,
        attempt.weight,
        attempt.expansions,
        limits.after,
    )


def _free(space: Space, at: np.ndarray, ahead: np.ndarray, most: float) -> float:
    """How far a straight is clear, mm; -1 if not even its start is."""
    return compiled.straight_on(space, tuple(at.tolist()), tuple(ahead.tolist()), float(most))


class _Homes:
    """The ways home to each end, followed when they are first asked for."""

    def __init__(self, space: Space, detour: tuple[float, float]) -> None:
        self.space, self.detour = space, detour
        self.made: dict[tuple[float, ...], Home] = {}

    def to(self, ask: Ask) -> Home:
        """The ways to the goal."""
        key = tuple(ask.goal.tolist())
        if key not in self.made:
            self.made[key] = _home(self.space, ask, self.detour)
        return self.made[key]


def _home(space: Space, ask: Ask, detour: tuple[float, float]) -> Home:
    extent = space.box[1] - space.box[0]
    pitch = max(PITCH, float(np.cbrt(extent.prod() / POINTS)))
    # A point on the start, and one more to each side than the box holds.
    low = ask.start - pitch * (np.floor((ask.start - space.box[0]) / pitch) + 1)
    shape = np.floor((space.box[1] - low) / pitch).astype(np.int64) + 2
    grid = Grid(low, pitch, shape)
    goal, start = tuple(ask.goal.tolist()), tuple(ask.start.tolist())
    return compiled.ways_home(space, goal, start, grid, space.need - RELAXED * pitch, detour)


def _corners(tree: Tree, ask: Ask, manner: Manner) -> np.ndarray:
    """(n, 3) corners of the way to the tree's last pose and from there by its closing."""
    chain = [tree.last]
    while tree.parents[chain[-1]] >= 0:
        chain.append(int(tree.parents[chain[-1]]))
    chain.reverse()
    heads = manner.headings(ask)
    points = [ask.start]
    for one, other in pairwise(chain):
        d, u = heads[tree.head[one]], heads[tree.head[other]]
        if tree.head[one] != tree.head[other]:
            half = np.arccos(np.clip(d @ u, -1.0, 1.0)) / 2
            points.append(tree.places[one] + d * manner.rules.radius * np.tan(half))
    points += [np.array(tree.closing.first), np.array(tree.closing.second)][: tree.closing.bends]
    return tidy(np.array([*points, ask.goal]))
