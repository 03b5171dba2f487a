"""One run alone: find its way among what stands there already, or check the one that was drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitcheck.runs.bounds import lower_bound
from fitcheck.runs.demands import in_the_way, judge, laid_run, legs, straight
from fitcheck.runs.field import field
from fitcheck.runs.legs import Found, Limits
from fitcheck.runs.obstacles import Laid, Obstacles
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
    """Ask the search that suits the kind of run."""
    among = in_the_way(world, wish, others)
    cap = max(wish.outside, CAP)
    grid = field(among, PITCH, cap, region(among, wish))
    if wish.bending is None:
        return find_soft(among, grid, legs(wish), wish.outside, wish.radius, wish.clearance, limits)
    bending = wish.bending
    ends = max(straight(wish, end) for end in (wish.start, wish.goal))
    return find_rigid(
        among, grid, legs(wish), wish.outside, wish.radius, wish.clearance,
        bending.angles, bending.straight, ends, bending.cost, limits,
    )  # fmt: skip


def region(among: Obstacles, wish: RunWish) -> np.ndarray:
    """(2, 3) where a run may go: as far round all parts as it takes to bend back, mm."""
    places = np.array([wish.start.at, wish.goal.at])
    margin = 2 * wish.radius + wish.outside
    low, high = among.bounds
    return np.array(
        [np.minimum(low, places.min(axis=0)) - margin, np.maximum(high, places.max(axis=0)) + margin]
    )


def bound(wish: RunWish) -> float:
    """No way from mouth to mouth is shorter, mm, proved for free space; both straight ends included."""
    ends = legs(wish)
    between = lower_bound(ends.start.free, ends.start.out, ends.goal.free, -ends.goal.out, wish.radius)
    return ends.start.stub + between + ends.goal.stub
