"""The largest outside or bend radius for which a way is found, where there is none for what is demanded.

A search finds a way or not, and the nearer to what is possible at all the more seldom. So a way that
was found is bent as a whole, to keep more room or to bend wider, and only from where that fails on is
there a search again.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from fitcheck.runs.demands import in_the_way, judge, legs
from fitcheck.runs.field import field
from fitcheck.runs.single import AS_IT_COMES, CAP, PITCH, Way, bent_to, find_way, region
from fitcheck.world.wishes import RunWish
from fitcheck.world.world import World

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
    among = in_the_way(world, wish)
    grid = field(region(among, wish), PITCH, max(wish.outside, CAP))
    route = bent_to(among, grid, wish, legs(wish), way.route)
    if route is None or not judge(world, wish, route).holds:
        return None
    return Way(wish, route, ())
