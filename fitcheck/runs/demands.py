"""What one run must keep from what: the obstacles of its way, and how a way is judged by them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitcheck.runs.certify import certify
from fitcheck.runs.legs import Legs, Pose, Way
from fitcheck.runs.obstacles import Laid, Obstacles, obstacles
from fitcheck.runs.route import Route, from_points
from fitcheck.world.wishes import End, Passage, RunWish
from fitcheck.world.world import World

# A run leaves its fitting at least this far beyond half its diameter before it bends, mm: its own round end
# would else reach back into the fitting's mouth.
OFF_THE_MOUTH = 0.5
# What a search must stay clear of beyond the demand, mm, so that the proof does not fail by rounding.
SPARE = 0.01


@dataclass(frozen=True, eq=False)
class Judged:
    """How near a route comes to what it must keep away from.

    Args:
        least: proved least distance of the run's surface, mm, where that is least above its demand.
        demand: what is demanded there, mm.
        where: (3,) on the centre line.
        nearest: full name of the solid or run there; empty when nothing is near.
    """

    least: float
    demand: float
    where: np.ndarray
    nearest: str

    @property
    def holds(self) -> bool:
        """Whether every demand is met."""
        return self.least >= self.demand


def straight(wish: RunWish, end: End) -> float:
    """How far the run goes straight on from an end, mm."""
    return max(end.stub, wish.outside / 2 + OFF_THE_MOUTH)


def laid_run(wish: RunWish, route: Route) -> Laid:
    """A run with its way, as an obstacle for others."""
    return Laid(wish.name, route.corners, route.radius, wish.outside / 2)


def stubs(wish: RunWish) -> tuple[Laid, ...]:
    """The straight ends of a run that is not laid yet: where they are, nothing else can go."""
    return tuple(
        Laid(
            f"{wish.name} at {end.place}",
            np.array([end.at, end.at + end.out * straight(wish, end)]),
            1.0,
            wish.outside / 2,
        )
        for end in (wish.start, wish.goal)
    )


def demands(wish: RunWish, others: Sequence[tuple[RunWish, Laid]] = ()) -> dict[str, float]:
    """How much more, or less, than its clearance a run keeps from named solids, parts and other runs, mm."""
    extra: dict[str, float] = {
        other.name: max(theirs.clearance - wish.clearance, 0.0) for theirs, other in others
    }
    for step in wish.through:
        for passage in step:
            extra[_rim(passage)] = _at_rim(wish) - wish.outside / 2 - wish.clearance
    for parts, least in wish.away_from:
        extra |= dict.fromkeys(parts, least - wish.clearance)
    # What it is plugged or screwed into may be touched.
    extra |= {end.part: -wish.clearance for end in (wish.start, wish.goal)}
    return extra


def _rim(passage: Passage) -> str:
    return f"{passage.part}.{passage.solid}" if passage.solid else passage.part


def _at_rim(wish: RunWish) -> float:
    """Least distance of the centre line from the rim of a passage: a flat cable lies flat in it."""
    return wish.play + (min(wish.flat) if wish.flat else wish.outside) / 2


def in_the_way(world: World, wish: RunWish, others: Sequence[tuple[RunWish, Laid]] = ()) -> Obstacles:
    """All that a run must keep away from between its straight ends."""
    return obstacles(world, extra=demands(wish, others), more=[laid for _, laid in others])


def at_ends(world: World, wish: RunWish, others: Sequence[tuple[RunWish, Laid]] = ()) -> Obstacles:
    """All that its straight ends must keep away from: not what they sit in."""
    own = {wish.start.part, wish.goal.part}
    return obstacles(world, skip=own, extra=demands(wish, others), more=[laid for _, laid in others])


def legs(wish: RunWish) -> Legs:
    """From where to where, and through what."""
    start, goal = (Pose(end.at, end.out, straight(wish, end)) for end in (wish.start, wish.goal))
    return Legs(start, goal, tuple(tuple(_way(wish, passage) for passage in step) for step in wish.through))


def _way(wish: RunWish, passage: Passage) -> Way:
    """The straight through an opening: as long as the sheet is thick, and clear of its edges."""
    room = _at_rim(wish) + SPARE
    along, across = passage.size
    play = (max(along / 2 - room, 0.0), max(across / 2 - room, 0.0))
    if passage.shape == "round":
        # A square of play inside the circle of play.
        play = (play[0] / np.sqrt(2), play[1] / np.sqrt(2))
    middle = passage.at - passage.axis * passage.thickness / 2
    return Way(middle, passage.axis, passage.thickness / 2, passage.up, play, passage.place)


def judge(world: World, wish: RunWish, route: Route, others: Sequence[tuple[RunWish, Laid]] = ()) -> Judged:
    """Prove how near a route comes to anything, its straight ends included."""
    found = [_judge(in_the_way(world, wish, others), wish, part) for part in _between(wish, route)]
    found += [_judge(at_ends(world, wish, others), wish, part) for part in _ends(wish, route)]
    return min(found, key=lambda one: one.least - one.demand)


def _between(wish: RunWish, route: Route) -> list[Route]:
    """The route from where it may bend to where it may bend; nothing when it is straight ends only."""
    corners = route.corners.copy()
    corners[0] = corners[0] + wish.start.out * straight(wish, wish.start)
    corners[-1] = corners[-1] + wish.goal.out * straight(wish, wish.goal)
    if len(corners) == 2 and (corners[1] - corners[0]) @ wish.start.out <= 0:
        return []
    return [from_points(corners, route.radius)]


def _ends(wish: RunWish, route: Route) -> list[Route]:
    ends = ((wish.start, route.corners[0]), (wish.goal, route.corners[-1]))
    return [Route(np.array([at, at + end.out * straight(wish, end)]), route.radius) for end, at in ends]


def _judge(among: Obstacles, wish: RunWish, part: Route) -> Judged:
    found = certify(among, part, wish.outside)
    extra = 0.0
    if found.nearest >= 0:
        (rows,) = np.nonzero(among.body == found.nearest)
        extra = float(among.solids.extras[rows[0]])
    name = among.names[found.nearest] if found.nearest >= 0 else ""
    return Judged(found.least + extra, wish.clearance + extra, np.asarray(found.where, float), name)
