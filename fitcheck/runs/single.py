"""One run alone: find its way among what stands there already, or check the one that was drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from itertools import islice, product

import numpy as np

from fitcheck.runs.bounds import lower_bound, shortest_free
from fitcheck.runs.certify import certify
from fitcheck.runs.demands import in_the_way, judge, laid_run, legs, meets_itself
from fitcheck.runs.field import Field, field
from fitcheck.runs.legs import Found, Legs, Limits, Pose
from fitcheck.runs.mend import bent
from fitcheck.runs.necks import passes
from fitcheck.runs.obstacles import Obstacles, distance_at
from fitcheck.runs.passing import CHOICES, find_through
from fitcheck.runs.rigid import find_rigid
from fitcheck.runs.route import Route, from_points, turns_back
from fitcheck.runs.rows import Laid
from fitcheck.runs.search import space_for
from fitcheck.runs.shorten import tidy
from fitcheck.runs.soft import find_soft
from fitcheck.runs.threading import admits
from fitcheck.world.wishes import End, Passage, RunWish
from fitcheck.world.world import Part, World

# Pitch of the field that a search asks first, and how far it looks, mm.
PITCH, CAP = 8.0, 60.0

# A search that goes on as long as one may; one that is asked once, as it comes, and not for the shortest.
FULLY = Limits()
AS_IT_COMES = Limits(rounds=1, after=0, tries=400)
# Where a run got no way, a way with these shares of its bend radius is bent to be one.
TIGHTER = (0.95, 0.9, 0.8)

Others = Sequence[tuple[RunWish, Laid]]


@dataclass(frozen=True, eq=False)
class Way:
    """The way of one run, proved.

    Args:
        wish: what was demanded.
        route: its centre line.
        through: the openings it takes.
    """

    wish: RunWish
    route: Route
    through: tuple[Passage, ...]

    @cached_property
    def other(self) -> tuple[RunWish, Laid]:
        """This run as what stands in the way of others."""
        return self.wish, laid_run(self.wish, self.route)


def find_way(world: World, wish: RunWish, others: Others = (), limits: Limits = FULLY) -> Way | Found:
    """A way for a run among all parts and other runs; what the search found out if it got none."""
    steps = tuple(tuple(passage for passage in step if admits(passage, wish)) for step in wish.through)
    if unopened(world, wish) or not all(steps):
        return Found(None)
    found = search(world, replace(wish, through=steps), others, limits)
    if found.route is None:
        return found
    through = tuple(step[k] for step, k in zip(steps, found.through, strict=True))
    if judge(world, by_way_of(wish, through), found.route, others).holds and not meets_itself(
        wish, found.route
    ):
        return Way(wish, found.route, through)
    # It lies too near an opening that it might have taken: each choice alone, the shortest of all.
    choices = [by_way_of(wish, one) for one in islice(product(*steps), CHOICES)]
    ways = [find_way(world, one, others, limits) for one in choices if len(choices) > 1]
    some = [way for way in ways if isinstance(way, Way)]
    if some:
        return replace(min(some, key=lambda way: way.route.length), wish=wish)
    return replace(found, route=None, through=())


def by_way_of(wish: RunWish, through: tuple[Passage, ...]) -> RunWish:
    """The same run with its openings chosen: from others it keeps away as from anything."""
    return replace(wish, through=tuple((passage,) for passage in through))


def unopened(world: World, wish: RunWish) -> tuple[End, Part] | None:
    """An end outside a case that the other end is in, though the run names no opening of the case.

    A builder wants no tube to slip out by an air vent because a fitting sticks through the wall.
    """
    ends = (wish.start, wish.goal)
    for case in world.parts:
        low, high = case.bounds
        within = [bool((low <= end.at).all() and (end.at <= high).all()) for end in ends]
        named = any(passage.part == case.name for step in wish.through for passage in step)
        if case.shape.compartments and within[0] != within[1] and not named:
            return ends[within.index(False)], case
    return None


def search(world: World, wish: RunWish, others: Others, limits: Limits) -> Found:
    """Ask the search that suits the kind of run, leg by leg through what it goes through.

    It is asked again, finer and longer, as long as a leg without a way is not proved too narrow.
    """
    among = in_the_way(world, wish, others)
    searched = _Searched(among, wish, region(among, wish), limits)
    found = Found(None)
    for again in range(limits.rounds):
        found = find_through(partial(searched.leg, again), searched.clear, legs(wish), wish.radius, again)
        if found.route is not None or not searched.doubtful:
            break
    return found


class _Searched:
    """The legs of one run, each searched once a round, and no more once it has a way or can have none."""

    def __init__(self, among: Obstacles, wish: RunWish, room: np.ndarray, limits: Limits) -> None:
        self.among, self.wish, self.room, self.limits = among, wish, room, limits
        self.grid = field(room, PITCH, max(wish.outside, CAP))
        self.need = wish.outside / 2 + wish.clearance
        self.found: dict[tuple[float, ...], Found] = {}
        self.rounds: dict[tuple[float, ...], int] = {}
        self.doubtful: set[tuple[float, ...]] = set()

    def clear(self, places: np.ndarray) -> np.ndarray:
        """Which of the places (n, 3) are clear for the run."""
        return distance_at(self.among, places)[0] >= self.need

    def leg(self, again: int, start: Pose, goal: Pose) -> Found:
        """A way from pose to pose, or what is known of it after so many searches before."""
        key = (*start.at, *start.out, *goal.at, *goal.out)
        if key in self.found and (key not in self.doubtful or self.rounds[key] == again):
            return self.found[key]
        if key in self.doubtful and self.rounds[key] == 0 and self._narrow(start, goal):
            self.doubtful.discard(key)
            return self.found[key]
        self.found[key], self.rounds[key] = self._search(Legs(start, goal), again), again
        if self.found[key].route is None and self.found[key].expansions != (0, 0):
            self.doubtful.add(key)
        else:
            self.doubtful.discard(key)
        return self.found[key]

    def _narrow(self, start: Pose, goal: Pose) -> bool:
        return not passes(self.among, start.free, goal.free, self.need, self.room)

    def _direct(self, asked: Legs) -> Route | None:
        """The shortest way there would be if nothing stood between, where nothing does."""
        start, goal, wish = asked.start, asked.goal, self.wish
        between = shortest_free(start.free, start.out, goal.free, -goal.out, wish.radius)
        if between is None:
            return None
        route = from_points(np.array([start.at, *between.corners, goal.at]), wish.radius)
        points = route.sample(PITCH)
        if (points < self.room[0]).any() or (points > self.room[1]).any():
            return None
        if certify(self.among, between, wish.outside).least < wish.clearance or meets_itself(wish, route):
            return None
        return route

    def _search(self, asked: Legs, again: int) -> Found:
        found = self._asked_of_its_kind(asked, again)
        crossed = found.route is not None and meets_itself(self.wish, found.route)
        if crossed or (found.route is None and found.expansions != (0, 0) and again == FULLY.rounds - 1):
            return replace(found, route=self._from_tighter(asked))
        return found

    def _from_tighter(self, asked: Legs) -> Route | None:
        """A way bent from one with a smaller radius: near ends leave the steps of a search no room."""
        if self.wish.bending is not None:
            return None
        for share in TIGHTER:
            wish = replace(self.wish, radius=share * self.wish.radius)
            found = _Searched(self.among, wish, self.room, AS_IT_COMES)._asked_of_its_kind(asked, 0)
            if found.route is not None:
                route = bent_to(self.among, self.grid, self.wish, asked, found.route)
                if route is not None:
                    return route
        return None

    def _asked_of_its_kind(self, asked: Legs, again: int) -> Found:
        wish, bending = self.wish, self.wish.bending
        sizes = (wish.outside, wish.radius, wish.clearance)
        if bending is None:
            direct = None if again else self._direct(asked)
            if direct is not None:
                return Found(direct)
            return find_soft(self.among, self.grid, asked, *sizes, self.limits, again)
        stub = min(asked.start.stub, asked.goal.stub)
        return find_rigid(
            self.among, self.grid, asked, *sizes,
            bending.angles, bending.straight, stub, bending.cost, self.limits, again,
        )  # fmt: skip


def bent_to(among: Obstacles, grid: Field, wish: RunWish, asked: Legs, near: Route) -> Route | None:
    """A way for a soft run by bending one, near it, that was laid for another size or radius."""
    space = space_for(among, grid, wish.outside, wish.clearance, wish.radius)
    made = bent(space, np.array([asked.start.free, *near.corners[1:-1], asked.goal.free]), wish.radius)
    if made is None:
        return None
    whole = tidy(np.array([asked.start.at, *made, asked.goal.at]))
    if turns_back(whole) or meets_itself(wish, Route(whole, wish.radius)):
        return None
    return Route(whole, wish.radius)


def region(among: Obstacles, wish: RunWish) -> np.ndarray:
    """(2, 3) where a run may go, mm.

    A run between two places in one case stays in it, openings or not. Else as far round all parts as
    it takes to bend back.
    """
    places = np.array([wish.start.at, wish.goal.at])
    for part in among.world.parts:
        low, high = part.bounds
        if part.shape.compartments and (places >= low).all() and (places <= high).all():
            return part.bounds
    margin = 2 * wish.radius + wish.outside
    low, high = among.bounds
    low, high = np.minimum(low, places.min(axis=0)), np.maximum(high, places.max(axis=0))
    return np.array([low - margin, high + margin])


def bound(wish: RunWish) -> float:
    """No way from mouth to mouth is shorter, mm, proved for free space; both straight ends included."""
    ends = legs(wish)
    between = lower_bound(ends.start.free, ends.start.out, ends.goal.free, -ends.goal.out, wish.radius)
    return ends.start.stub + between + ends.goal.stub
