"""The largest outside or bend radius for which a way is found, where there is none for what is demanded.

A search finds a way or not, and the nearer to what is possible at all the more seldom. So a way that
was found is bent as a whole, to keep more room or to bend wider, and only from where that fails on is
there a search again.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from fitcheck.runs.demands import in_the_way, judge, legs, meets_itself
from fitcheck.runs.field import field
from fitcheck.runs.legs import Limits
from fitcheck.runs.mend import bent
from fitcheck.runs.route import Route, turns_back
from fitcheck.runs.search import space_for
from fitcheck.runs.shorten import tidy
from fitcheck.runs.single import CAP, PITCH, Way, find_way, region
from fitcheck.world.wishes import RunWish
from fitcheck.world.world import World

# What would pass is asked for once, and as it comes, not for the shortest.
AS_IT_COMES = Limits(rounds=1, after=0, tries=400)
# It is found by halving, to these, mm.
TO = {"outside": 0.1, "radius": 0.25}
# Where halving may begin, as shares from the least to the most: the least is not always the easiest
# to find, with steps of the search many times its bends.
SHARES = (0.0, 0.125, 0.25, 0.5)
# How small a share of the demanded outside is tried at all.
LEAST = 0.1


def largest(world: World, wish: RunWish, size: str, most: float = np.inf) -> float | None:
    """The largest outside or bend radius below the demanded one, and `most`, for which a way is found, mm.

    Args:
        size: "outside" or "radius".
    """
    demanded = getattr(wish, size)
    least, most = wish.outside / 2 if size == "radius" else LEAST * demanded, min(demanded, most)

    def sized(value: float) -> RunWish:
        return replace(wish, outside=value) if size == "outside" else replace(wish, radius=value)

    def searched(value: float) -> Way | None:
        found = find_way(world, sized(value), limits=AS_IT_COMES)
        return found if isinstance(found, Way) else None

    tried = (least + share * (most - least) for share in SHARES) if most > least else ()
    good, way = next(((value, way) for value in tried if (way := searched(value))), (0.0, None))
    if way is None:
        return None

    def widened(value: float, way: Way) -> float:
        return _halved(value, most, TO[size], way, lambda more, near: _bent(world, sized(more), near))

    good, bad = widened(good, way), most
    while bad - good > TO[size]:
        middle = (good + bad) / 2
        way = searched(middle)
        if way is None:
            bad = middle
            continue
        good = widened(middle, way)
        # What no search found may yet be had by bending: it was not proved to be too much.
        bad = bad if good < bad else most
    return float(good)


def _halved(
    good: float, bad: float, to: float, way: Way, nearby: Callable[[float, Way], Way | None]
) -> float:
    """The largest value, from one with a way to one that may have none, that a way near the last one has."""
    while bad - good > to:
        middle = (good + bad) / 2
        found = nearby(middle, way)
        if found is None:
            bad = middle
        else:
            good, way = middle, found
    return good


def _bent(world: World, wish: RunWish, way: Way) -> Way | None:
    """A way of a soft tube or cable near one of other sizes, proved; it goes through no named openings."""
    if wish.bending is not None or wish.through:
        return None
    among, ends = in_the_way(world, wish), legs(wish)
    room = field(region(among, wish), PITCH, max(wish.outside, CAP))
    space = space_for(among, room, wish.outside, wish.clearance, wish.radius)
    made = bent(space, np.array([ends.start.free, *way.route.corners[1:-1], ends.goal.free]), wish.radius)
    if made is None:
        return None
    whole = tidy(np.array([ends.start.at, *made, ends.goal.at]))
    if turns_back(whole):
        return None
    route = Route(whole, wish.radius)
    holds = judge(world, wish, route).holds and not meets_itself(wish, route)
    return Way(wish, route, ()) if holds else None
