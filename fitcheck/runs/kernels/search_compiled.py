"""Entry points of the searches: what is compiled and kept on disk."""

from __future__ import annotations

from fitcheck.runs.kernels import search_bend, search_grid, search_lattice, search_shorten, search_trace
from fitcheck.runs.kernels.search_close import Rules
from fitcheck.runs.kernels.search_grid import Grid, Home
from fitcheck.runs.kernels.search_lattice import Lattice, Tree
from fitcheck.runs.kernels.search_trace import Space
from fitcheck.world.kernels.native import entry
from fitcheck.world.kernels.vectors import Floats, Ints, Vector


@entry
def ways_home(
    space: Space, goal: Vector, start: Vector, grid: Grid, least: float, detour: tuple[float, float]
) -> Home:
    """See `search_grid.ways_home`."""
    return search_grid.ways_home(space, goal, start, grid, least, detour)


@entry
def grow(
    space: Space,
    lattice: Lattice,
    rules: Rules,
    home: Home,
    starts: Floats,
    targets: Floats,
    bans: Floats,
    weight: float,
    most: int,
    after: int,
) -> Tree:
    """See `search_lattice.grow`."""
    return search_lattice.grow(space, lattice, rules, home, starts, targets, bans, weight, most, after)


@entry
def straight_on(space: Space, p: Vector, d: Vector, most: float) -> float:
    """See `search_trace.clear_way`."""
    return search_trace.clear_way(space, p, d, most)


@entry
def bridge(
    space: Space,
    rules: Rules,
    places: Floats,
    ways: Floats,
    gone: Floats,
    before: Ints,
    corners: Floats,
    last: float,
) -> float:
    """See `search_shorten.bridge`."""
    return search_shorten.bridge(space, rules, places, ways, gone, before, corners, last)


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


@entry
def slide(space: Space, given: Floats, radius: float, straight: float, ends: float) -> Floats:
    """See `search_shorten.slide`."""
    return search_shorten.slide(space, given, radius, straight, ends)


@entry
def bend_clear(
    space: Space,
    given: Floats,
    radius: float,
    held: Ints,
    rails: Floats,
    spare: float,
    pull: float,
    rounds: int,
) -> Floats:
    """See `search_bend.bend_clear`."""
    return search_bend.bend_clear(space, given, radius, held, rails, spare, pull, rounds)


@entry
def worst_place(space: Space, corners: Floats, radius: float) -> Vector:
    """See `search_bend.worst_place`."""
    return search_bend.worst_place(space, corners, radius)
