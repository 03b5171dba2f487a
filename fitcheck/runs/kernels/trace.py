"""The least distance along a centre line, proved: to solids, to another line, to itself.

Along a line a distance changes by no more than the way walked. So between two points with
distances f and g, w apart along the line, it is at least (f + g - w) / 2 everywhere.
"""

from __future__ import annotations

from math import atan2, inf, pi, sin, sqrt

from fitcheck.runs.kernels.solids import Solids, nearest
from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Floats, Vector

# Columns of a line's pieces: start, way there, way to a bend's centre, curvature, length, and how
# far along the line the piece begins.
WAY, INWARD, CURVATURE, LENGTH, BEGIN, COLUMNS = 3, 6, 9, 10, 11, 12
# A first look goes in steps of this, mm, so that the proof knows early what is near.
LOOK = 2.0
# How much farther than the nearest is looked at most, mm.
REACH = 40.0


@native
def point(line: Floats, k: int, t: float) -> Vector:
    """Where piece k is, t from its start."""
    bent = line[k, CURVATURE]
    ahead, aside = t, 0.0
    if bent > 0.0:
        ahead, aside = sin(bent * t) / bent, 2.0 * sin(bent * t / 2.0) ** 2 / bent
    return (
        line[k, 0] + ahead * line[k, WAY] + aside * line[k, INWARD],
        line[k, 1] + ahead * line[k, WAY + 1] + aside * line[k, INWARD + 1],
        line[k, 2] + ahead * line[k, WAY + 2] + aside * line[k, INWARD + 2],
    )


@native
def nearest_on(line: Floats, k: int, least: float, p: Vector) -> float:
    """How far along piece k, but at least `least`, it comes nearest to p."""
    x, y, z = p[0] - line[k, 0], p[1] - line[k, 1], p[2] - line[k, 2]
    u = x * line[k, WAY] + y * line[k, WAY + 1] + z * line[k, WAY + 2]
    length, bent = line[k, LENGTH], line[k, CURVATURE]
    if bent == 0.0:
        return float(min(max(u, least), length))
    v = x * line[k, INWARD] + y * line[k, INWARD + 1] + z * line[k, INWARD + 2]
    # The angle from the middle of what is left; beyond its half the nearer end is the nearest.
    middle = (least + length) / 2.0 * bent
    turn = atan2(u * bent, 1.0 - v * bent) - middle
    turn -= 2.0 * pi * round(turn / (2.0 * pi))
    return float(min(max((middle + turn) / bent, least), length))


@native
def line_distance(line: Floats, after: float, p: Vector) -> float:
    """From p to that part of a line that lies farther along than `after`; inf when nothing does."""
    best = inf
    for k in range(len(line)):
        least = max(after - line[k, BEGIN], 0.0)
        if least <= line[k, LENGTH]:
            q = point(line, k, nearest_on(line, k, least, p))
            x, y, z = p[0] - q[0], p[1] - q[1], p[2] - q[2]
            best = min(best, x * x + y * y + z * z)
    return sqrt(best)


@native
def trace(solids: Solids, line: Floats, tolerance: float) -> tuple[float, float, float, int]:
    """The least distance of a line to solids.

    Returns:
        Lower bound; the least found, at most `tolerance` above it; how far along the line that
        is; row of the solid there.
    """
    p = point(line, 0, 0.0)
    least, row = nearest(solids, p[0], p[1], p[2], inf)
    where = line[0, BEGIN]
    if row < 0:
        return inf, inf, where, row
    proved = inf
    for proving in range(2):
        for k in range(len(line)):
            length = line[k, LENGTH]
            p = point(line, k, 0.0)
            here, i = nearest(solids, p[0], p[1], p[2], least + REACH)
            t = 0.0
            while t < length:
                room = here - least
                step = 2.0 * (room + tolerance) if proving else max(room, LOOK)
                step = min(step, length - t)
                p = point(line, k, t + step)
                there, i = nearest(solids, p[0], p[1], p[2], least + REACH)
                if there < least:
                    least, where, row = there, line[k, BEGIN] + t + step, i
                between = (here + there - step) / 2.0
                if proving:
                    if between < least - tolerance:
                        # Half as far is near enough, whatever stands there.
                        step = min(room + tolerance, step)
                        p = point(line, k, t + step)
                        there, i = nearest(solids, p[0], p[1], p[2], least + REACH)
                        if there < least:
                            least, where, row = there, line[k, BEGIN] + t + step, i
                        between = (here + there - step) / 2.0
                    proved = min(proved, between)
                t, here = t + step, there
    return min(proved, least), least, where, row


@native
def trace_line(line: Floats, other: Floats, lag: float, tolerance: float) -> tuple[float, float, float]:
    """The least distance of a line to another, or, with a lag, to itself.

    Args:
        lag: of the other only what lies farther along than the place on the line by this; -inf for
            two lines. What is left gets less on the way, so the distance falls no faster than
            without it.

    Returns:
        Lower bound; the least found, at most `tolerance` above it; how far along the line that is.
    """
    least, proved, where = inf, inf, 0.0
    for proving in range(2):
        for k in range(len(line)):
            t = 0.0
            while True:
                along = line[k, BEGIN] + t
                here = line_distance(other, along + lag, point(line, k, t))
                if here < least:
                    least, where = here, along
                if here == inf or t >= line[k, LENGTH]:
                    break
                step = here - least + tolerance if proving else max(here - least, LOOK)
                step = min(step, line[k, LENGTH] - t)
                if proving:
                    proved = min(proved, here - step)
                t += step
    return min(proved, least), least, where
