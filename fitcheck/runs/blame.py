"""Why a run got no way: too narrow, no room to bend, or taken by other runs; and what would pass."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

import numpy as np

from fitcheck.runs.demands import Judged, in_the_way, judge, legs
from fitcheck.runs.largest import largest
from fitcheck.runs.legs import Found
from fitcheck.runs.necks import FLOOR, Neck, widest
from fitcheck.runs.single import Others, Way, region, unopened
from fitcheck.runs.tangled import tangled
from fitcheck.runs.threading import admits, opening_size
from fitcheck.world.wishes import NoWay, Passage, RunWish
from fitcheck.world.world import World

# A search that found nowhere to go after so few steps from an end had no room to bend there.
DIED_AT_ONCE = 12
# How wide a flat cable may be for an opening is found by halving, to this, mm.
TO_WIDTH = 0.05
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
        return replace(why, largest_outside=largest(world, wish, "outside", most)), neck.where
    place, where, parts = _no_room(wish, alone, in_the_way(world, wish).names)
    crossed = tangled(wish)
    if crossed is not None:
        place, where, parts = _between(wish), crossed, ()
    why = NoWay(
        "bend" if place else "search",
        crossed is not None,
        place=place,
        parts=parts,
        widest=None if neck is None else _through(neck, wish),
        largest_outside=largest(world, wish, "outside"),
        largest_radius=largest(world, wish, "radius"),
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
    need = wish.outside / 2 + wish.clearance
    floor = max(FLOOR, LEAST_BALL * need)
    found = None
    for ways in _corridors(wish):
        narrowest = None
        for a, b in pairwise(ways):
            neck = widest(among, a, b, region(among, wish), floor, need)
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
