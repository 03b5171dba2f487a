"""Why a run got no way: too narrow, no room to bend, or taken by other runs; and what would pass."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

import numpy as np

from fitcheck.runs.demands import Judged, in_the_way, judge, legs
from fitcheck.runs.legs import Found, Limits
from fitcheck.runs.necks import FLOOR, Neck, widest
from fitcheck.runs.single import Others, Way, find_way, region, unopened
from fitcheck.runs.threading import admits, opening_size
from fitcheck.world.wishes import NoWay, Passage, RunWish
from fitcheck.world.world import World

# A search that found nowhere to go after so few steps from an end had no room to bend there.
DIED_AT_ONCE = 12
# What would pass is found by halving, to these, mm.
TO_OUTSIDE, TO_RADIUS, TO_WIDTH = 0.25, 0.5, 0.05
# What would pass is asked for once, and as it comes, not for the shortest.
AS_IT_COMES = Limits(rounds=1, after=0, tries=400)
# Where halving may begin, as shares from the least to what is demanded: the least is not always the easiest
# to find, with steps of the search many times its bends.
SHARES = (0.0, 0.125, 0.25, 0.5)
# How small a share of the demanded outside is tried at all.
LEAST = 0.1
# Whether balls smaller than this share of what is needed pass is not asked.
LEAST_BALL = 1 / 3


def no_way(
    world: World, wish: RunWish, others: Others, alone: Way | Found
) -> tuple[NoWay, np.ndarray | None]:
    """The reason that a run has no way beside others, and the (3,) place to look at.

    Args:
        others: those that have a way.
        alone: its way, or what its search found out, without them.
    """
    out = unopened(world, wish)
    if out is not None:
        end, case = out
        return NoWay("outside", False, end.place, (case.name,)), end.at
    small = _too_small(wish)
    if small is not None:
        return small
    if isinstance(alone, Way):
        return _taken(world, alone, others)
    neck = _neck(world, wish)
    if neck is not None and 2 * (neck.most - wish.clearance) < wish.outside:
        why = NoWay("narrow", True, parts=neck_parts(neck), widest=_through(neck, wish))
        most = 2 * (neck.most - wish.clearance)
        return replace(why, largest_outside=_largest(world, wish, "outside", TO_OUTSIDE, most)), neck.where
    place, where, parts = _no_room(wish, alone, in_the_way(world, wish).names)
    why = NoWay(
        "bend" if place else "search",
        False,
        place=place,
        parts=parts,
        widest=None if neck is None else _through(neck, wish),
        largest_outside=_largest(world, wish, "outside", TO_OUTSIDE),
        largest_radius=_largest(world, wish, "radius", TO_RADIUS),
    )
    if why.largest_radius is not None and why.reason == "search":
        # A tighter bend would pass: so it is bending that fails, wherever that is.
        why = replace(why, reason="bend", place=_between(wish))
    return why, where


def _too_small(wish: RunWish) -> tuple[NoWay, np.ndarray] | None:
    """The first step on its way that takes it through openings all of which are too small for it."""
    for step in wish.through:
        if not any(admits(passage, wish) for passage in step):
            most, passage = max(
                ((_widest(passage, wish), passage) for passage in step), key=lambda pair: pair[0]
            )
            return NoWay("narrow", True, passage.place, (_opening(passage),), widest=most), passage.at
    return None


def _widest(passage: Passage, wish: RunWish) -> float:
    """How wide a cable as thick may be for an opening, mm; what is too thick, or round, as a round one."""
    round_one = min(passage.size) - 2 * wish.play
    if wish.flat is None or min(wish.flat) > round_one:
        return round_one
    good, bad = min(wish.flat), max(wish.flat)
    while bad - good > TO_WIDTH:
        middle = (good + bad) / 2
        if admits(passage, replace(wish, flat=(middle, min(wish.flat)))):
            good = middle
        else:
            bad = middle
    return good


def _opening(passage: Passage) -> str:
    return f"{passage.place} ({opening_size(passage)})"


def _taken(world: World, alone: Way, others: Others) -> tuple[NoWay, np.ndarray]:
    """Which runs lie where this one would go."""
    hit = [(other, judge(world, alone.wish, alone.route, [other])) for other in others]
    there: list[tuple[str, Judged]] = [(other[1].name, found) for other, found in hit if not found.holds]
    names = tuple(name for name, _ in there) or tuple(other[1].name for other in others)
    where = there[0][1].where if there else alone.route.corners[0]
    return NoWay("taken", False, parts=names), where


def _neck(world: World, wish: RunWish) -> Neck | None:
    """The narrowest place on the widest way, among all legs and alternatives."""
    among = in_the_way(world, wish)
    floor = max(FLOOR, LEAST_BALL * (wish.outside / 2 + wish.clearance))
    found = None
    for ways in _corridors(wish):
        narrowest = None
        for a, b in pairwise(ways):
            neck = widest(among, a, b, region(among, wish), floor)
            if narrowest is None or neck.value < narrowest.value:
                narrowest = neck
        if found is None or (narrowest is not None and narrowest.value > found.value):
            found = narrowest
    return found


def _corridors(wish: RunWish) -> Iterator[list[np.ndarray]]:
    """For each choice of openings the places that the run must come by."""
    asked = legs(wish)
    first = [step[0].at for step in asked.through]
    yield [asked.start.free, *first, asked.goal.free]
    for k, step in enumerate(asked.through):
        for way in step[1:]:
            yield [asked.start.free, *first[:k], way.at, *first[k + 1 :], asked.goal.free]


def _through(neck: Neck, wish: RunWish) -> float:
    return max(2 * (neck.value - wish.clearance), 0.0)


def neck_parts(neck: Neck) -> tuple[str, ...]:
    """What makes the neck."""
    return tuple(dict.fromkeys(neck.names))


def _no_room(
    wish: RunWish, found: Found, names: tuple[str, ...]
) -> tuple[str, np.ndarray | None, tuple[str, ...]]:
    """The end, if any, from which the search got nowhere, and what stands there."""
    ends = (wish.start, wish.goal)
    for side in sorted((0, 1), key=lambda side: found.expansions[side]):
        if found.exhausted[side] and found.expansions[side] <= DIED_AT_ONCE:
            blocked = found.blocked[side]
            where = found.reached[side]
            parts = (names[blocked],) if 0 <= blocked < len(names) else ()
            return ends[side].place, ends[side].at if where is None else where, parts
    return "", None, ()


def _between(wish: RunWish) -> str:
    return f"between {wish.start.place} and {wish.goal.place}"


def _largest(world: World, wish: RunWish, size: str, to: float, most: float = np.inf) -> float | None:
    """The largest outside or bend radius below the demanded one, and `most`, for which a way is found, mm."""
    demanded = getattr(wish, size)
    least, most = wish.outside / 2 if size == "radius" else LEAST * demanded, min(demanded, most)
    tried = (least + share * (most - least) for share in SHARES) if most > least else ()
    good = next((value for value in tried if _passes(world, wish, size, value)), None)
    if good is None:
        return None
    bad = most
    while bad - good > to:
        middle = (good + bad) / 2
        if _passes(world, wish, size, middle):
            good = middle
        else:
            bad = middle
    return float(good)


def _passes(world: World, wish: RunWish, size: str, value: float) -> bool:
    sized = replace(wish, outside=value) if size == "outside" else replace(wish, radius=value)
    return isinstance(find_way(world, sized, limits=AS_IT_COMES), Way)
