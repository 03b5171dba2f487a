"""Any way out: two straight legs, proved; else a way in six degrees of freedom, found by a planner.

What a planner finds is followed continuously afterwards and only then given: it looks at places on
a way, not at all of it. That it finds none proves nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from importlib.util import find_spec
from itertools import count, pairwise
from typing import Any

import numpy as np

from fitcheck.motions.following import PROVED, Motion, follow
from fitcheck.motions.moving import Moving
from fitcheck.motions.straight import SPARE, free_after, in_the_way, straight
from fitcheck.motions.sweeps import pieces_of
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.world import trees
from fitcheck.world.bodies import Bodies
from fitcheck.world.frames import SIDES, Frame, turn_about

# Between two looks on its way a planner's part moves so far, mm.
STRIDE = 3.0
# A planner starts anew after so many looks: how long it takes differs a hundredfold from seed to seed.
ROUND = 60_000
# Its tree grows by a motion of the part's radius over one of these at a time, in turn: of four planners and
# three lengths these tilted a plate out of a tray with the fewest looks.
SHORT = (12, 8)
# A part is turned by no more than this about any axis, radians: hardly anything comes out otherwise.
MOST_TURNED = np.pi / 2
# A first leg is lengthened at most so often to pass what stops the second.
LENGTHENED = 8
# A part that is farther from everything than this is out, mm.
CLEAR = 5.0
# So much smaller a part is drawn for a look, mm: what touches is free, and still is when it is followed.
HAIR = PROVED * 0.4


@dataclass(frozen=True, eq=False)
class Legs:
    """A way out in one or two straight legs: (side, mm) each."""

    legs: tuple[tuple[str, float], ...]


@dataclass(frozen=True, eq=False)
class Path:
    """A way out: places that the part goes through one after the other, evenly.

    `places` (n, 6): the shift of the part's middle, mm, and its rotation vector from how it stands, degrees.
    """

    places: np.ndarray


def two_legs(moved: Moving, keep: float, shortest: bool = True) -> Legs | frozenset[int]:
    """A straight leg to one side, just so long that a second one to another side is free.

    Exact as straight moves are; the first leg is as short as what stops the second demands.

    Args:
        keep: mm, from everything but guides.
        shortest: look for the shortest first leg, not only for any.

    Returns:
        The legs; where there are none, the bodies that were in the way of any.
    """
    best: Legs | None = None
    met: set[int] = set()
    for side, ahead in SIDES.items():
        leg = straight(moved, ahead, free_after(moved, ahead), keep, told=0.0)
        met |= set() if leg.stop is None else {leg.stop.pair[1]}
        for other, direction in SIDES.items():
            if leg.way <= SPARE or abs(float(ahead @ direction)) > 0.5:
                continue
            found = _second_leg(moved, side, other, leg.way, keep, met)
            if found is not None and (best is None or found < best.legs[0][1]):
                away = replace(moved, solids=moved.solids.shifted(moved.movers, found * ahead))
                best = Legs(((side, found), (other, free_after(away, direction))))
                if not shortest:
                    return best
    return best or frozenset(met)


def _second_leg(
    moved: Moving, side: str, other: str, most: float, keep: float, met: set[int]
) -> float | None:
    """How far to one side it must go to be free to the other, mm; what is in the way goes to `met`."""
    first, ahead, direction = SPARE, SIDES[side], SIDES[other]
    for _ in range(LENGTHENED):
        # Off its contacts nothing is joined or pressed any more.
        there = replace(moved, solids=moved.solids.shifted(moved.movers, first * ahead), joints=(), pads=())
        way = straight(there, direction, free_after(there, direction), keep, told=0.0)
        if way.stop is None:
            return first
        met.add(way.stop.pair[1])
        needed = in_the_way(there, way.stop.pair, direction, side)
        if needed is None or needed <= 0:
            return None
        if first >= most:
            return None
        first += needed + keep + SPARE
        if first > most + keep + 2 * SPARE:
            return None
        # Where it fits by a hair it goes as far as it gets.
        first = min(first, most)
    return None


def any_way(moved: Moving, keep: float, looks: int) -> Path | None:
    """A way in six degrees of freedom to where the part is free of everything; None where none was found.

    Guides may touch all the way; what is joined to the part, or pressed against it, is let go.

    Args:
        keep: mm, from everything but guides.
        looks: at how many places at most the planner looks; the same number gives the same way.

    Raises:
        ValueMistake: the planner is not installed.
    """
    if find_spec("ompl") is None:
        raise ValueMistake(
            "a search needs the library ompl, which is not installed", "pip install 'fitcheck[motion]'"
        )
    looking = _Looking(moved, keep, looks)
    for tried in count():
        if looking.left <= 0:
            return None
        places = _planned(looking, tried)
        # What does not prove clear is given up for the next round's way.
        if places is not None and all(_is_clear(looking, *pair) for pair in pairwise(places)):
            turns = np.array([1.0, 1, 1, *([np.degrees(1 / looking.radius)] * 3)])
            return Path(np.array(places) * turns)
    raise AssertionError("count() does not end")


class _Looking:
    """Is the part free where a pose puts it? Counts how often that is asked.

    Only whether surfaces meet is asked here, of a part drawn a hair smaller against its guides and
    larger by `keep` against all else: the way is followed exactly afterwards.
    """

    def __init__(self, moved: Moving, keep: float, most: int) -> None:
        solids = moved.solids
        self.moved, self.keep, self.left = moved, keep, most
        bounds = solids.body_bounds[list(moved.movers)]
        low, high = bounds[:, 0].min(axis=0), bounds[:, 1].max(axis=0)
        self.middle = (low + high) / 2
        self.radius = float(np.linalg.norm(high - low)) / 2
        rows = solids.rows(moved.movers)
        self.mover = _grown(solids, rows, -HAIR), _grown(solids, rows, keep - HAIR)
        guides = {j for _, j in moved.guides}
        apart = {j for _, j in moved.excused}
        free = [j for j in moved.stayers if j not in guides | apart]
        self.crowds = _crowd(solids, sorted(guides - apart)), _crowd(solids, free)

    def free(self, pose: Frame) -> bool:
        """Does it meet nothing there?"""
        self.left -= 1
        return not any(
            crowd.met_by(mover, pose.rotation, pose.origin)
            for crowd, mover in zip(self.crowds, self.mover, strict=True)
        )

    def pose(self, place: np.ndarray) -> Frame:
        """world_from_start at a place: (6,) shift of the middle, and rotation vector times the radius, mm."""
        turn = place[3:] / self.radius
        angle = float(np.linalg.norm(turn))
        rotation = turn_about(turn / angle, float(np.degrees(angle))) if angle > 0 else np.eye(3)
        return Frame(rotation, self.middle + place[:3] - rotation @ self.middle)

    def goals(self) -> np.ndarray:
        """(6, 6) places outside on each side, free of everything."""
        ways = [(free_after(self.moved, side) + self.keep + CLEAR) * side for side in SIDES.values()]
        return np.hstack([np.array(ways), np.zeros((len(ways), 3))])


def _grown(solids: Bodies, rows: np.ndarray, by: float) -> Any:
    """Pieces as triangles in the world, each scaled so that its half sizes are larger by so much, mm."""
    vertices, faces, count = [], [], 0
    for row in rows.tolist():
        tree = trees.tree_of(int(solids.kinds[row]), solids.halves[row], solids.meshes[row])
        scale = np.maximum(1 + by / np.maximum(solids.halves[row], HAIR), 0.1)
        vertices.append((tree.vertices * scale) @ solids.rotations[row].T + solids.centres[row])
        faces.append(tree.faces.astype(np.int64) + count)
        count += len(tree.vertices)
    return trees.mover(np.concatenate(vertices), np.concatenate(faces))


def _crowd(solids: Bodies, chosen: list[int]) -> trees.Crowd:
    return trees.Crowd(
        [
            (
                trees.tree_of(int(solids.kinds[row]), solids.halves[row], solids.meshes[row]),
                solids.rotations[row],
                solids.centres[row],
            )
            for row in solids.rows(chosen).tolist()
        ]
    )


def _planned(looking: _Looking, tried: int) -> list[np.ndarray] | None:
    """A planner's way, as places (6,), looked at every `STRIDE` mm; the number of the round is its seed."""
    from ompl import base, geometric, util

    util.setLogLevel(util.LogLevel.LOG_NONE)
    util.RNG.setSeed(tried + 1)
    space = base.RealVectorStateSpace(6)
    goals = looking.goals()
    bounds = base.RealVectorBounds(6)
    for axis in range(6):
        turn = MOST_TURNED * looking.radius
        bounds.setLow(axis, float(goals[:, axis].min()) - CLEAR if axis < 3 else -turn)
        bounds.setHigh(axis, float(goals[:, axis].max()) + CLEAR if axis < 3 else turn)
    space.setBounds(bounds)
    setup = geometric.SimpleSetup(space)
    setup.setStateValidityChecker(lambda state: looking.free(looking.pose(_six(state))))
    information = setup.getSpaceInformation()
    information.setStateValidityCheckingResolution(STRIDE / space.getMaximumExtent())
    setup.setStartState(_state(space, np.zeros(6)))
    wanted = base.GoalStates(information)
    for goal in goals:
        wanted.addState(_state(space, goal))
    setup.setGoal(wanted)
    planner = geometric.BKPIECE1(information)
    planner.setRange(looking.radius / SHORT[tried % len(SHORT)])
    setup.setPlanner(planner)
    until = max(looking.left - ROUND, 0)
    setup.solve(base.PlannerTerminationCondition(lambda: looking.left <= until))
    if not setup.haveExactSolutionPath():
        return None
    path = setup.getSolutionPath()
    geometric.PathSimplifier(information).reduceVertices(path)
    return [_six(state) for state in path.getStates()]


def _state(space: Any, place: np.ndarray) -> Any:
    state = space.allocState()
    for axis, value in enumerate(place.tolist()):
        state[axis] = value
    return state


def _six(state: Any) -> np.ndarray:
    return np.array([state[axis] for axis in range(6)])


def _is_clear(looking: _Looking, first: np.ndarray, second: np.ndarray) -> bool:
    """Is the even motion between two places clear, proved?

    A rotation vector that changes evenly turns no faster than it changes.
    """
    solids = looking.moved.solids
    pieces, owners = [], []
    for k in looking.moved.movers:
        own = pieces_of(solids, solids.rows([k]))
        pieces += own
        owners += [k] * len(own)
    radii = np.array(
        [np.linalg.norm(piece.half) + np.linalg.norm(piece.centre - looking.middle) for piece in pieces]
    )
    change = second - first
    speeds = np.linalg.norm(change[:3]) + np.linalg.norm(change[3:]) / looking.radius * radii

    def pose(time: float) -> Frame:
        return looking.pose(first + time * change)

    return follow(looking.moved, Motion(pieces, owners, speeds, pose), looking.keep) is None
