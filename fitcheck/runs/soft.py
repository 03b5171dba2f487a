"""Routes of soft tubes and cables: no bend tighter than the least radius, clear of all solids."""

from __future__ import annotations

from functools import partial

import numpy as np

from fitcheck.runs import headings
from fitcheck.runs.field import Field
from fitcheck.runs.legs import Found, Legs, Limits
from fitcheck.runs.obstacles import Obstacles
from fitcheck.runs.search import Ask, Manner, between, space_for
from fitcheck.runs.shorten import any_bend, shorter

# Where a shot may join the straight before a goal, mm before it.
JOINS = (0.0, 15.0, 30.0, 60.0, 120.0, 240.0)


def find_soft(
    obstacles: Obstacles,
    field: Field,
    legs: Legs,
    outside: float,
    radius: float,
    clearance: float,
    limits: Limits | None = None,
) -> Found:
    """A short route from end to end, or how the search for it ended.

    Args:
        field: of the same obstacles; the centre line stays within it.
        outside: diameter, mm.
        radius: least bend radius of the centre line, mm.
        clearance: least distance of the outside to every solid, mm.
    """
    limits = limits or Limits()
    space = space_for(obstacles, field, outside, clearance, radius)
    polish = partial(shorter, radius=radius, tries=limits.tries)
    manner = Manner(any_bend(radius), _headings, headings.soft_turns, 0.0, JOINS, polish)
    return between(obstacles, space, legs.start, legs.goal, manner, limits)


def _headings(ask: Ask) -> np.ndarray:
    return headings.with_start(headings.cube(2), ask.ahead)
