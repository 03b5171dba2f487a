"""Entry points of the searches: what is compiled and kept on disk."""

from __future__ import annotations

from fitcheck.runs.kernels import search_grid, search_shorten, search_soft, search_trace
from fitcheck.runs.kernels.search_grid import Home
from fitcheck.runs.kernels.search_soft import Lattice, Tree
from fitcheck.runs.kernels.search_trace import Space
from fitcheck.world.kernels.native import entry
from fitcheck.world.kernels.vectors import Floats, Ints, Vector


@entry
def ways_home(space: Space, goal: Vector, low: Floats, pitch: float, shape: Ints, least: float) -> Home:
    """See `search_grid.ways_home`."""
    return search_grid.ways_home(space, goal, low, pitch, shape, least)


@entry
def grow(
    space: Space,
    lattice: Lattice,
    home: Home,
    starts: Floats,
    targets: Floats,
    weight: float,
    most: int,
    after: int,
) -> Tree:
    """See `search_soft.grow`."""
    return search_soft.grow(space, lattice, home, starts, targets, weight, most, after)


@entry
def straight_on(space: Space, p: Vector, d: Vector, most: float) -> float:
    """See `search_trace.clear_way`."""
    return search_trace.clear_way(space, p, d, most)


@entry
def shoot(
    p0: Vector, t0: Vector, p1: Vector, t1: Vector, radius: float
) -> tuple[float, float, float, Vector]:
    """See `search_trace.best_shot`."""
    return search_trace.best_shot(p0, t0, p1, t1, radius)


@entry
def bridge(
    space: Space, places: Floats, ways: Floats, gone: Floats, radius: float, before: Ints, corners: Floats
) -> float:
    """See `search_shorten.bridge`."""
    return search_shorten.bridge(space, places, ways, gone, radius, before, corners)


@entry
def descend(
    space: Space,
    given: Floats,
    radius: float,
    held: Ints,
    rails: Floats,
    short: float,
    tries: int,
    step: float,
    finest: float,
    seed: int,
) -> Floats:
    """See `search_shorten.descend`."""
    return search_shorten.descend(space, given, radius, held, rails, short, tries, step, finest, seed)


@entry
def is_clear(space: Space, corners: Floats, radius: float, short: float) -> bool:
    """See `search_shorten.is_clear`."""
    return search_shorten.is_clear(space, corners, radius, short)


@entry
def without_corners(space: Space, given: Floats, radius: float, held: Ints, short: float) -> Ints:
    """See `search_shorten.without_corners`."""
    return search_shorten.without_corners(space, given, radius, held, short)
