"""Routes of soft tubes and cables: no bend tighter than the least radius, clear of all solids."""

from __future__ import annotations

from functools import partial

import numpy as np

from fitcheck.runs import headings
from fitcheck.runs.field import Field
from fitcheck.runs.legs import Found, Legs, Limits
from fitcheck.runs.mend import mended
from fitcheck.runs.obstacles import Obstacles
from fitcheck.runs.search import Ask, Attempt, Manner, between, space_for
from fitcheck.runs.shorten import any_bend, shorter

# Where a shot may join the straight before a goal, mm before it.
JOINS = (0.0, 15.0, 30.0, 60.0, 120.0, 240.0)
# Ways home that the first tries ask for: so much longer than the shortest, and so many mm more.
NEAR = (1.3, 100.0)
# Tried one after the other, as long as none has found a way. Ways that keep less room are found more
# easily, and most can be bent clear.
ATTEMPTS = (
    (
        Attempt(0.0, 400, detour=NEAR),
        Attempt(2.0, 1_000, detour=NEAR),
        Attempt(4.0, 1_000, 0, detour=NEAR),
    ),
    (Attempt(2.0, 4_000, 3), Attempt(4.0, 6_000, 4), Attempt(0.0, 8_000)),
    (Attempt(3.0, 12_000, 8, 10.0), Attempt(6.0, 6_000, 8), Attempt(0.0, 30_000, 0, 10.0, 2.0)),
)


def find_soft(
    obstacles: Obstacles,
    field: Field,
    legs: Legs,
    outside: float,
    radius: float,
    clearance: float,
    limits: Limits,
    again: int = 0,
) -> Found:
    """A short route from end to end, or how the search for it ended.

    Args:
        field: of the same obstacles; the centre line stays within it.
        outside: diameter, mm.
        radius: least bend radius of the centre line, mm.
        clearance: least distance of the outside to every solid, mm.
        again: how often it was tried before.
    """
    space = space_for(obstacles, field, outside, clearance, radius)
    polish = partial(shorter, radius=radius, tries=limits.tries)
    mend = partial(mended, radius=radius, tries=limits.tries)
    manner = Manner(any_bend(radius), _headings, headings.soft_turns, 0.0, JOINS, polish, mend)
    return between(obstacles, space, legs.start, legs.goal, manner, ATTEMPTS[again], limits)


def _headings(ask: Ask) -> np.ndarray:
    return headings.with_start(headings.cube(2), ask.ahead)
