"""One run alone: find its way among what stands there already, or check the one that was drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitcheck.runs.bounds import lower_bound
from fitcheck.runs.demands import in_the_way, judge, laid_run, legs
from fitcheck.runs.field import field
from fitcheck.runs.legs import Found, Legs, Limits, Pose
from fitcheck.runs.obstacles import Laid, Obstacles, distance_at
from fitcheck.runs.passing import find_through
from fitcheck.runs.rigid import find_rigid
from fitcheck.runs.route import Route
from fitcheck.runs.soft import find_soft
from fitcheck.world.wishes import Passage, RunWish
from fitcheck.world.world import World

# Pitch of the field that a search asks first, and how far it looks, mm.
PITCH, CAP = 8.0, 60.0

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

    @property
    def other(self) -> tuple[RunWish, Laid]:
        """This run as what stands in the way of others."""
        return self.wish, laid_run(self.wish, self.route)


def find_way(world: World, wish: RunWish, others: Others = (), limits: Limits | None = None) -> Way | Found:
    """A way for a run among all parts and other runs; what the search found out if it got none."""
    found = search(world, wish, others, limits)
    if found.route is None:
        return found
    through = tuple(step[k] for step, k in zip(wish.through, found.through, strict=True))
    judged = judge(world, wish, found.route, others)
    if not judged.holds:
        return Found(None, found.expansions, found.exhausted, found.reached, found.blocked, found.leg)
    return Way(wish, found.route, through)


def search(world: World, wish: RunWish, others: Others, limits: Limits | None) -> Found:
    """Ask the search that suits the kind of run, leg by leg through what it goes through."""
    among = in_the_way(world, wish, others)
    grid = field(among, PITCH, max(wish.outside, CAP), region(among, wish))
    bending = wish.bending

    def leg(start: Pose, goal: Pose) -> Found:
        asked = Legs(start, goal)
        if bending is None:
            return find_soft(among, grid, asked, wish.outside, wish.radius, wish.clearance, limits)
        return find_rigid(
            among, grid, asked, wish.outside, wish.radius, wish.clearance,
            bending.angles, bending.straight, min(start.stub, goal.stub), bending.cost, limits,
        )  # fmt: skip

    def clear(places: np.ndarray) -> np.ndarray:
        return distance_at(among, places)[0] >= wish.outside / 2 + wish.clearance

    return find_through(leg, clear, legs(wish), wish.radius)


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
