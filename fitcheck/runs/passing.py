"""Through holes: a run laid leg by leg, straight through each opening on its way.

In an opening the run stands square to the sheet. It goes through the middle if that is free, else beside
what lies there already.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import islice, product

import numpy as np

from fitcheck.runs.legs import Found, Legs, Pose, Way
from fitcheck.runs.route import Route, from_points

# A leg between two poses, found or not.
FindLeg = Callable[[Pose, Pose], Found]
# Which of the places (n, 3) are clear for the run.
Clear = Callable[[np.ndarray], np.ndarray]
# Choices of openings tried, and places in each.
CHOICES, PLACES = 16, 3
# How many combinations of places are tried, and whether also against the sense that lies ahead: the longer
# each is searched for, the fewer. A leg that has its way is not searched again.
BREADTH = ((4, False), (3, True), (1, False))
# Places in an opening are looked at on a grid of so many either way from its middle.
GRID = 8


def find_through(find_leg: FindLeg, clear: Clear, legs: Legs, radius: float, again: int) -> Found:
    """The shortest route by any choice of openings, each gone through in the sense that lies ahead.

    Only where that gives none the other senses are tried.

    Args:
        again: how often it was tried before.
    """
    if not legs.through:
        return find_leg(legs.start, legs.goal)
    first: Found | None = None
    combined, both = BREADTH[again]
    for turned in (False, True) if both else (False,):
        routes: list[tuple[Found, Route]] = []
        for chosen in islice(product(*(range(len(step)) for step in legs.through)), CHOICES):
            ways = [step[k] for step, k in zip(legs.through, chosen, strict=True)]
            found = _along(find_leg, clear, legs, ways, turned, radius, combined)
            first = first or found
            if found.route is not None:
                routes.append((replace(found, through=chosen), found.route))
        if routes:
            return min(routes, key=lambda one: one[1].length)[0]
    assert first is not None
    return first


def _along(
    find_leg: FindLeg,
    clear: Clear,
    legs: Legs,
    ways: list[Way],
    turned: bool,
    radius: float,
    combined: int,
) -> Found:
    """A route by these openings; the first failure where there is none."""
    first: Found | None = None
    for senses in _senses(legs, ways, turned):
        spots = [list(islice(_spots(clear, way), PLACES)) for way in ways]
        if not all(spots):
            blocked = next(k for k, found in enumerate(spots) if not found)
            first = first or Found(None, reached=(ways[blocked].at, ways[blocked].at), leg=blocked)
            continue
        for places in islice(product(*spots), combined):
            found = _chain(find_leg, legs, ways, places, senses, radius)
            if found.route is not None:
                return found
            first = first or found
    return first or Found(None)


def _senses(legs: Legs, ways: list[Way], turned: bool) -> Iterator[tuple[float, ...]]:
    """For each opening which way along its axis: as it lies ahead, or all the others."""
    places = [legs.start.free, *(way.at for way in ways), legs.goal.free]
    ahead = tuple(1.0 if (places[k + 2] - places[k]) @ way.axis >= 0 else -1.0 for k, way in enumerate(ways))
    if not turned:
        yield ahead
        return
    yield from (senses for senses in product((1.0, -1.0), repeat=len(ways)) if senses != ahead)


def _spots(clear: Clear, way: Way) -> Iterator[np.ndarray]:
    """Places in an opening where the run is clear, the nearest to its middle first, well apart."""
    across = np.cross(way.axis, way.up)
    steps = np.linspace(-1.0, 1.0, 2 * GRID + 1)
    along, aside = (
        grid.ravel() for grid in np.meshgrid(steps * way.play[0], steps * way.play[1], indexing="ij")
    )
    order = np.lexsort((aside, along, np.round(np.hypot(along, aside), 6)))
    offsets = np.outer(along[order], way.up) + np.outer(aside[order], across)
    free = clear(way.at + offsets)
    apart = max(way.play) / 2
    given: list[np.ndarray] = []
    for offset in offsets[free]:
        if all(np.linalg.norm(offset - other) > apart for other in given):
            given.append(offset)
            yield way.at + offset


def _chain(
    find_leg: FindLeg,
    legs: Legs,
    ways: list[Way],
    places: tuple[np.ndarray, ...],
    senses: tuple[float, ...],
    radius: float,
) -> Found:
    """All legs one after the other."""
    corners: list[np.ndarray] = []
    start = legs.start
    expanded = [0, 0]
    for number, (way, at, sense) in enumerate([*zip(ways, places, senses, strict=True), (None, None, 0.0)]):
        if way is None:
            goal = legs.goal
        else:
            assert at is not None
            goal = Pose(at, -sense * way.axis, way.half)
        found = find_leg(start, goal)
        expanded = [expanded[k] + found.expansions[k] for k in (0, 1)]
        if found.route is None:
            return replace(found, leg=number)
        corners += list(found.route.corners)
        start = Pose(goal.at, -goal.out, goal.stub)
    return Found(from_points(np.array(corners), radius), (expanded[0], expanded[1]))
