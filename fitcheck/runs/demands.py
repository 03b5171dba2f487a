"""What one run must keep from what: the obstacles of its way, and how a way is judged by them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np

from fitcheck.runs.built import BEND_SAGITTA
from fitcheck.runs.certify import certify, self_apart
from fitcheck.runs.guarded import guarded_parts, volumes_of
from fitcheck.runs.legs import Legs, Pose, Way
from fitcheck.runs.obstacles import COARSE, Obstacles, obstacles
from fitcheck.runs.route import Route, from_points
from fitcheck.runs.rows import Laid
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


_stubs: WeakKeyDictionary[RunWish, tuple[Laid, ...]] = WeakKeyDictionary()


def stubs(wish: RunWish) -> tuple[Laid, ...]:
    """The straight ends of a run that is not laid yet: where they are, nothing else can go."""
    found = _stubs.get(wish)
    if found is None:
        found = _stubs[wish] = _made_stubs(wish)
    return found


def _made_stubs(wish: RunWish) -> tuple[Laid, ...]:
    return tuple(
        Laid(
            f"{wish.name} at {end.place}",
            np.array([end.at, end.at + end.out * straight(wish, end)]),
            1.0,
            wish.outside / 2,
        )
        for end in (wish.start, wish.goal)
    )


def demands(world: World, wish: RunWish, others: Sequence[tuple[RunWish, Laid]] = ()) -> dict[str, float]:
    """How much more, or less, than its clearance a run keeps from named solids, parts and other runs, mm."""
    extra: dict[str, float] = {
        other.name: max(theirs.clearance - wish.clearance, 0.0) for theirs, other in others
    }
    # A run may lie along what must stay clear, not in it.
    extra |= dict.fromkeys(guarded_parts(world), -wish.clearance)
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
    extra, more = demands(world, wish, others), [laid for _, laid in others]
    # As a part of the world its bends reach a hair farther out, and may not be seen to reach in there.
    extra |= dict.fromkeys(guarded_parts(world), BEND_SAGITTA - wish.clearance)
    return obstacles(world, skip=_own_volumes(wish), extra=extra, more=more)


def _own_volumes(wish: RunWish) -> set[str]:
    """What its plugs and fittings keep clear is kept clear for the run itself."""
    return {volumes_of(end.part) for end in (wish.start, wish.goal)}


def legs(wish: RunWish) -> Legs:
    """From where to where, and through what."""
    start, goal = (Pose(end.at, end.out, straight(wish, end)) for end in (wish.start, wish.goal))
    return Legs(start, goal, tuple(tuple(_way(wish, passage) for passage in step) for step in wish.through))


def _way(wish: RunWish, passage: Passage) -> Way:
    """The straight through an opening: as long as the sheet is thick, and clear of its edges."""
    room = wish.play + SPARE
    wide, thick = wish.flat or (wish.outside, wish.outside)
    if passage.shape == "round" and wish.flat:
        # Its corners are in the way first.
        wide = thick = float(np.hypot(wide, thick))
    along, across = passage.size
    play = (max((along - wide) / 2 - room, 0.0), max((across - thick) / 2 - room, 0.0))
    if passage.shape == "round":
        # A square of play inside the circle of play.
        play = (play[0] / np.sqrt(2), play[1] / np.sqrt(2))
    middle = passage.at - passage.axis * passage.thickness / 2
    return Way(middle, passage.axis, passage.thickness / 2, passage.up, play, passage.place)


def judge(world: World, wish: RunWish, route: Route, others: Sequence[tuple[RunWish, Laid]] = ()) -> Judged:
    """Prove how near a route comes to anything.

    What it sits in at its ends is not said to be near, unless the run comes back to it: none of that is
    in the way of the straight end there.
    """
    sits_in = {wish.start.part, wish.goal.part}
    extra, more = demands(world, wish, others), [laid for _, laid in others]
    skipped = sits_in | _own_volumes(wish)
    apart = _judge(obstacles(world, skipped, extra, more, COARSE), wish, route)
    between, first, last = _sections(wish, route)
    for section, parts in ((between, sits_in), (first, {wish.goal.part}), (last, {wish.start.part})):
        back = None if section is None else _judge(_only(world, parts, extra), wish, section)
        if back is not None and not back.holds and back.least < apart.least:
            apart = back
    return apart


def meets_itself(wish: RunWish, route: Route) -> bool:
    """Whether a run laid along a route passes through itself, as a loop in one plane does."""
    return self_apart(route, wish.outside).least < 0


def _only(world: World, parts: set[str], extra: dict[str, float]) -> Obstacles:
    others = [part.name for part in world.parts if part.name not in parts]
    return obstacles(world, others, extra, cell=COARSE)


def _sections(wish: RunWish, route: Route) -> tuple[Route | None, Route | None, Route | None]:
    """The route between its straight ends (None where there is none), and these two."""
    corners = route.corners.copy()
    first, last = (end.out * straight(wish, end) for end in (wish.start, wish.goal))
    start, goal = corners[0] + first, corners[-1] + last
    ends = [
        Route(np.array([corners[0], start]), route.radius),
        Route(np.array([corners[-1], goal]), route.radius),
    ]
    if wish.start.part == wish.goal.part:
        # A run from a part to itself: its straight ends may lie beside what they sit in.
        ends = []
    corners[0], corners[-1] = start, goal
    between = None
    if len(corners) > 2 or (corners[1] - corners[0]) @ wish.start.out > 0:
        between = from_points(corners, route.radius)
    return between, *(ends or (None, None))


def _judge(among: Obstacles, wish: RunWish, part: Route) -> Judged:
    found = certify(among, part, wish.outside)
    extra = 0.0
    if found.nearest >= 0:
        (rows,) = np.nonzero(among.body == found.nearest)
        extra = float(among.solids.extras[rows[0]])
    name = among.names[found.nearest] if found.nearest >= 0 else ""
    # A flat cable is measured as a round one, but told by its thickness where it lies flat in an opening.
    thinner = 0.0
    if wish.flat and any(
        name == _rim(p) or name.startswith(f"{_rim(p)}.") for step in wish.through for p in step
    ):
        thinner = (wish.outside - min(wish.flat)) / 2
    least, demand = found.least + extra + thinner, wish.clearance + extra + thinner
    return Judged(least, demand, np.asarray(found.where, float), name)
