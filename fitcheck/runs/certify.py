"""Certificates: the least distance of a whole centre line, proved on the solids themselves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitcheck.runs.kernels import compiled
from fitcheck.runs.lines import route_line
from fitcheck.runs.obstacles import Obstacles
from fitcheck.runs.route import Route

# By how much a proved distance may be below the true one, mm.
TOLERANCE = 0.01


@dataclass(frozen=True, eq=False)
class Certificate:
    """How near the surface of a run comes to something.

    Args:
        least: proved: nowhere is it nearer than this, mm; inf when there is nothing, -inf when
            the route is not sound.
        where: (3,) on the centre line, where it comes nearest.
        nearest: what is nearest there: index into the obstacles' names; -1 when there is nothing,
            or when it was asked about a line.
        slack: at `where` it is this much farther than `least`, mm.
        sound: the route's bends fit into its legs.
    """

    least: float
    where: np.ndarray
    nearest: int
    slack: float
    sound: bool


def certify(obstacles: Obstacles, route: Route, outside: float, tolerance: float = TOLERANCE) -> Certificate:
    """Prove how near a tube of an outside diameter, mm, laid along a route, comes to any obstacle.

    The tube is a ball moved along the whole true centre line, bends as arcs; distances are exact,
    less the obstacles' extras. So its ends are round: half a ball longer than the tube.
    """
    if not route.is_sound():
        return _unsound(route)
    proved, least, along, row = compiled.trace_solids(obstacles.solids, route_line(route), tolerance)
    nearest = -1 if row < 0 else int(obstacles.body[row])
    return _certificate(route, proved, least, along, nearest, outside / 2)


def routes_apart(
    first: Route, second: Route, outsides: tuple[float, float], tolerance: float = TOLERANCE
) -> Certificate:
    """Prove how near two tubes come to each other; `where` is on the first."""
    if not (first.is_sound() and second.is_sound()):
        return _unsound(first if not first.is_sound() else second)
    found = compiled.trace_other(route_line(first), route_line(second), -np.inf, tolerance)
    return _certificate(first, *found, -1, sum(outsides) / 2)


def self_apart(route: Route, outside: float, tolerance: float = TOLERANCE) -> Certificate:
    """Prove how near a tube comes to itself.

    Between places that are half a turn of its bend radius, pi R, or more apart along it. Nearer
    places cannot meet: a line nowhere bent more than a circle has chords as long as the
    circle's at least (Schur's comparison theorem, S. S. Chern, Curves and surfaces in Euclidean
    space, 1967), and within a half turn those grow all the way to 2 R.

    Returns:
        `least` is inf when the route is shorter than a half turn.
    """
    if not route.is_sound():
        return _unsound(route)
    line = route_line(route)
    found = compiled.trace_other(line, line, np.pi * route.radius, tolerance)
    return _certificate(route, *found, -1, outside)


def _certificate(
    route: Route, proved: float, least: float, along: float, nearest: int, off: float
) -> Certificate:
    slack = 0.0 if np.isinf(least) else float(least - proved)
    return Certificate(float(proved - off), route.point(float(along)), nearest, slack, True)


def _unsound(route: Route) -> Certificate:
    worst = int(np.argmin(route.legs))
    return Certificate(-np.inf, route.corners[worst : worst + 2].mean(axis=0), -1, 0.0, False)
