"""What no curve of a least bend radius can go below in length, between two poses or to a point.

A pose is a point and a unit direction of travel. All bounds are proved, in space, for every curve
whose curvature is nowhere above 1 / R.
"""

from __future__ import annotations

import math

import numpy as np

from fitcheck.parts.pieces import NOTHING
from fitcheck.runs.route import Route, from_points
from fitcheck.runs.three_pieces import (
    Way,
    along_direction,
    corners_of,
    flat_ways,
    shortest_in_space,
    square_pair,
)

# Directions to climb from beside that of the goal: enough that in trials no more found a better bound.
STARTS = 32
# A point within this of the first circle is taken to be on it, square radii: just inside, two arcs are
# needed, and rounding would make the bound too high.
ON_CIRCLE = 1e-12
# Straights to start from, where arcs beyond a half turn are needed.
AROUND = 12
# Two poses lie in one plane within this, radians; three directions this near are one line.
IN_PLANE, IN_LINE = 1e-7, 1e-9
# A way meets the goal within this, radii.
MEETS = 1e-9
# Steps of a climb, and the halvings of a step that are tried at once.
CLIMB, HALVINGS = 60, 0.5 ** np.arange(12)
# A longer step than this is cut, radians.
STRIDE = 0.6
# Below this a direction has moved no more, radians.
STILL = 1e-13


def point_bound(start: np.ndarray, way: np.ndarray, point: np.ndarray, radius: float) -> float:
    """Length of the shortest curve from a pose to a point, whatever its direction there, mm.

    The points a curve can reach in space are those it can reach in the plane, turned about the
    first direction (Bae et al., On the Reachability of 3-Dimensional Paths with a Prescribed
    Curvature Bound, arXiv 2403.18707). In the plane the shortest is an arc and a straight, or, to a
    point within the first circle, two arcs (Dubins 1957).
    """
    d = (np.asarray(point, float) - start) / radius
    x = float(d @ way)
    y = float(np.linalg.norm(d - x * way))
    if x * x + (y - 1) ** 2 >= 1 - ON_CIRCLE:
        straight = math.sqrt(max(0.0, x * x + y * (y - 2)))
        turn = _round(math.atan2(x, 1 - y) - math.atan2(straight, 1))
        return radius * (turn + straight)
    # Away from the point about (0, -1), then towards it about the second circle, whose middle is 2
    # from there and 1 from the point.
    far = math.hypot(x, y + 1)
    aside = math.acos(min(1.0, (far * far + 3) / (4 * far)))
    return radius * min(_two_arcs(x, y, math.atan2(y + 1, x) + sign * aside) for sign in (1, -1))


def _two_arcs(x: float, y: float, to: float) -> float:
    """Angle of a right arc about (0, -1) until the second middle lies at angle `to`, and of the left one."""
    back = math.atan2(y + 1 - 2 * math.sin(to), x - 2 * math.cos(to))
    return _round(math.pi / 2 - to) + _round(back - to - math.pi)


def _round(turn: float) -> float:
    """An angle within 0 and a whole turn; what rounding left below 0 is 0."""
    turn %= 2 * math.pi
    return 0.0 if turn > 2 * math.pi - 1e-12 else turn


def lower_bound(
    start: np.ndarray, way: np.ndarray, goal: np.ndarray, arrival: np.ndarray, radius: float
) -> float:
    """A length that no curve from one pose to the other goes below, mm: the best of several proofs.

    Args:
        start, goal: (3,) mm.
        way, arrival: (3,) unit directions of travel at the start and at the goal.
        radius: least bend radius, mm.
    """
    directed, _ = directed_bound(start, way, goal, arrival, radius)
    from_start = point_bound(start, way, goal, radius)
    from_goal = point_bound(goal, -np.asarray(arrival), start, radius)
    return max(directed, from_start, from_goal)


def directed_bound(
    start: np.ndarray, way: np.ndarray, goal: np.ndarray, arrival: np.ndarray, radius: float
) -> tuple[float, Way | None]:
    """The bound by what a curve can gain along one direction, and the way that meets it.

    Let u be a unit direction, and a, b its angles to both directions of travel. A curve of length L
    makes at s along it an angle of at least max(0, a - s / R, b - (L - s) / R) with u, since it
    turns at most 1 / R. What it gains along u, the distance between its ends, is at most the
    integral of that angle's cosine; solved for L this is a bound, whichever u is taken. An arc, a
    straight along u, and an arc, neither above a half turn, gain just as much: such a way is the
    shortest of all curves.

    Returns:
        The bound, mm, and that way, which is the shortest of all; None where climbing found none.
    """
    d, t = _in_radii(start, way, goal, arrival, radius)
    bounds = [float(_angles(t, t[0])[1])]
    for starts in (_towards(d), _around(STARTS)):
        bound, met = _climbed(d, t, starts)
        bounds.append(bound)
        if met is not None:
            return max(bounds) * radius, met
    return max(bounds) * radius, None


def _in_radii(
    start: np.ndarray, way: np.ndarray, goal: np.ndarray, arrival: np.ndarray, radius: float
) -> tuple[np.ndarray, np.ndarray]:
    """From start to goal (3,), and both directions of travel (2, 3)."""
    return (np.asarray(goal, float) - start) / radius, np.array([way, arrival], float)


def _climbed(d: np.ndarray, t: np.ndarray, starts: np.ndarray) -> tuple[float, Way | None]:
    """The best bound by directions uphill from `starts` (k, 3), in radii, and the way that meets it."""
    u, steep = _climb(d, t, starts)
    bound = max(float(_least(d, t, starts).max()), float(_least(d, t, u).max()))
    for flat in np.flatnonzero(steep < 1e-9 * (1 + np.linalg.norm(d))):
        found, miss = along_direction(d, t, u[flat])
        if miss < MEETS:
            return bound, found
    return bound, None


def shortest_free(
    start: np.ndarray, way: np.ndarray, goal: np.ndarray, arrival: np.ndarray, radius: float
) -> Route | None:
    """The shortest arc-straight-arc between two poses in free space; three arcs in a plane where shorter.

    Where neither arc is above a half turn it is the shortest of all curves (`directed_bound`). Of
    poses too near to each other for that, in space, curves that twist may be shorter still.

    Args:
        start, goal: (3,) mm.
        way, arrival: (3,) unit directions of travel at the start and at the goal.
        radius: of the arcs, mm.

    Returns:
        None where both poses are one.
    """
    d, t = _in_radii(start, way, goal, arrival, radius)
    _, direct = _climbed(d, t, _towards(d))
    if direct is not None:
        return _route([direct], start, goal, t, radius)
    in_space = shortest_in_space(d, t, _around(AROUND))
    ways = _flat(d, t, radius) if in_space is None else [in_space, *_flat(d, t, radius)]
    return _route(ways, start, goal, t, radius)


def shortest_flat(
    start: np.ndarray, way: np.ndarray, goal: np.ndarray, arrival: np.ndarray, radius: float
) -> Route | None:
    """The shortest way that stays in the plane of both poses (Dubins 1957); None where these have none."""
    d, t = _in_radii(start, way, goal, arrival, radius)
    return _route(_flat(d, t, radius), start, goal, t, radius)


def _flat(d: np.ndarray, t: np.ndarray, radius: float) -> list[Way]:
    """Ways in the plane of both poses; none where they have no plane."""
    far = float(np.linalg.norm(d))
    crossed = [np.cross(t[0], t[1]), np.cross(t[0], d) / max(1.0, far), np.cross(t[1], d) / max(1.0, far)]
    sizes = [float(np.linalg.norm(normal)) for normal in crossed]
    widest = int(np.argmax(sizes))
    normal = crossed[widest] / sizes[widest] if sizes[widest] > IN_LINE else square_pair(t[0])[0]
    if np.any(np.abs(t @ normal) > IN_PLANE) or abs(d @ normal) * radius > NOTHING:
        return []
    return flat_ways(d, t, normal)


def _route(
    ways: list[Way], start: np.ndarray, goal: np.ndarray, t: np.ndarray, radius: float
) -> Route | None:
    """The shortest of the ways; None for none, or where both poses are one."""
    start, goal = np.asarray(start, float), np.asarray(goal, float)
    for found in sorted(ways, key=lambda way: way.length):
        if found.length * radius < NOTHING:
            return None
        route = from_points(corners_of(found, start, goal, t, radius), radius)
        # Where circles just touch, rounding bends one of several forms of the same way.
        if route.is_sound():
            return route
    return None


def _towards(d: np.ndarray) -> np.ndarray:
    """(1, 3) the direction of the goal: from there nearly every climb ends on the best."""
    far = float(np.linalg.norm(d))
    return (d / far)[None] if far > 0 else np.array([[0.0, 0.0, 1.0]])


def _around(count: int) -> np.ndarray:
    """(count, 3) unit directions evenly all round, on a spiral."""
    k = np.arange(count) + 0.5
    z, turn = 1 - 2 * k / count, math.pi * (1 + math.sqrt(5)) * k
    r = np.sqrt(1 - z * z)
    return np.stack([r * np.cos(turn), r * np.sin(turn), z], axis=1)


def _angles(t: np.ndarray, u: np.ndarray) -> np.ndarray:
    """(2, ...) angles of directions (..., 3) to both t (2, 3), exact near 0 and pi (Kahan's formula)."""
    t = t.reshape((2,) + (1,) * (u.ndim - 1) + (3,))
    apart, together = u - t, u + t
    squares = np.einsum("...i,...i->...", apart, apart), np.einsum("...i,...i->...", together, together)
    return np.asarray(2 * np.arctan2(np.sqrt(squares[0]), np.sqrt(squares[1])))


def _gain(d: np.ndarray, t: np.ndarray, u: np.ndarray) -> np.ndarray:
    """(...) length of the arcs and the straight that gain d.u along directions u (..., 3), in radii."""
    angles = _angles(t, u)
    return np.asarray(u @ d + (angles - np.sin(angles)).sum(axis=0))


def _least(d: np.ndarray, t: np.ndarray, u: np.ndarray) -> np.ndarray:
    """(k,) proved bounds by directions u (k, 3), in radii."""
    angles = _angles(t, u)
    turn = angles.sum(axis=0)
    short = np.sin(angles).sum(axis=0) - u @ d
    # Too short for both arcs, a curve turns back p before it points along u, L = turn - 2 p, and gains
    # sin a + sin b - 2 sin p; p is at most what leaves it the turn from one direction to the other.
    # Where that much gains enough, p beyond a quarter turn, u says no more than that turn.
    between = _angles(t, t[0])[1]
    most = (turn - between) / 2
    free = (most > math.pi / 2) & (np.sin(most) <= short / 2)
    early = np.where(free, between, turn - 2 * np.arcsin(np.clip(short / 2, 0, 1)))
    return np.asarray(np.where(short <= 0, turn - short, early))


def _climb(d: np.ndarray, t: np.ndarray, u: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Peaks of the gain uphill from directions u (k, 3), by Newton's steps, and how steep it is there."""
    u, steep = u.copy(), np.full(len(u), np.inf)
    live = np.arange(len(u))
    for _ in range(CLIMB):
        at = u[live]
        basis = square_pair(at)
        slope, bend = _slopes(d, t, at, basis)
        steep[live] = np.linalg.norm(slope, axis=1)
        step = _uphill(slope, bend)
        size = np.maximum(np.linalg.norm(step, axis=1), STILL)
        way = np.einsum("ki,kij->kj", step, basis) / size[:, None]
        lengths = np.minimum(size, STRIDE)[:, None] * HALVINGS
        tried = np.cos(lengths)[..., None] * at[:, None] + np.sin(lengths)[..., None] * way[:, None]
        high = _gain(d, t, tried)
        # At the top rounding hides what the last steps gain: these are trusted.
        last = size < 1e-6
        best = np.where(last, 0, np.argmax(high, axis=1))
        rows = np.arange(len(live))
        up = last | (high[rows, best] > _gain(d, t, at))
        moved = tried[rows, best][up]
        u[live[up]] = moved / np.linalg.norm(moved, axis=1)[:, None]
        live = live[up & (size > STILL)]
        if not len(live):
            break
    return u, steep


def _slopes(d: np.ndarray, t: np.ndarray, u: np.ndarray, basis: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(k, 2) and (k, 2, 2): first and second derivatives of the gain on the sphere, along the basis."""
    slope = basis @ d
    bend = -(u @ d)[:, None, None] * np.eye(2)
    for way, angle in zip(t, _angles(t, u), strict=True):
        sine = np.maximum(np.sin(angle), STILL)
        # Away from t the angle grows; straight back from it, and towards it, there is no slope.
        out = -(basis @ way) / sine[:, None]
        rate = np.where((angle < 1e-9) | (angle > math.pi - 1e-9), 0.0, 1 - np.cos(angle))
        across = rate * np.cos(angle) / sine
        slope = slope + rate[:, None] * out
        outer = out[:, :, None] * out[:, None, :]
        bend = bend + (np.sin(angle) - across)[:, None, None] * outer + across[:, None, None] * np.eye(2)
    return slope, bend


def _uphill(slope: np.ndarray, bend: np.ndarray) -> np.ndarray:
    """(k, 2) Newton's step to the peak, or along the slope where the gain does not bend down."""
    a, b, c = bend[:, 0, 0], bend[:, 0, 1], bend[:, 1, 1]
    det = a * c - b * b
    down = (a < 0) & (det > 1e-12 * a * a)
    safe = np.where(down, det, 1.0)
    x, y = slope.T
    newton = -np.stack([(c * x - b * y) / safe, (a * y - b * x) / safe], axis=1)
    return np.where(down[:, None], newton, slope)
