"""Ways of three pieces between two poses: arc, straight, arc in space; three arcs in a plane.

Dubins (On Curves of Minimal Length with a Constraint on Average Curvature, 1957) showed that in
the plane the shortest way is one of these; Sussmann (Shortest 3-dimensional paths with a prescribed
curvature bound, 1995) that in space it is one of these, or a helicoidal arc.

All in units of the radius, from the origin: a goal `d` (3,), directions of travel `t` (2, 3) there
and here. An arc is its inward direction, square to the direction of travel, and its angle.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

# Steps of a solution by damped least squares, and where it closes, in radii.
STEPS, CLOSED = 40, 1e-11
# A damping above this: stuck where the ends do not meet.
STUCK = 1e6
# An angle nearer than this to a whole turn is none.
WHOLE = 1e-7
# An arc of more is given two corners or more: that of a half turn would lie infinitely far away.
MOST_A_CORNER = math.radians(170)


@dataclass(frozen=True, eq=False)
class Way:
    """Three pieces: the first and the last arc, the last seen from the goal backwards, and what is between.

    Args:
        inward: (2, 3) unit directions to both arcs' middles, square to the directions of travel.
        angles: (2,) of both arcs, 0 to 2 pi.
        middle: (3,) inward direction of a middle arc where the first ends; None for a straight.
        between: length of the straight, or angle of the middle arc.
    """

    inward: np.ndarray
    angles: tuple[float, float]
    middle: np.ndarray | None
    between: float

    @property
    def length(self) -> float:
        """In radii."""
        return sum(self.angles) + self.between


def square_pair(t: np.ndarray) -> np.ndarray:
    """(..., 2, 3) two unit directions square to each of t (..., 3) and to each other.

    Duff et al., Building an Orthonormal Basis, Revisited (JCGT 6, 2017).
    """
    x, y, z = np.moveaxis(t, -1, 0)
    sign = np.where(z < 0, -1.0, 1.0)
    a = -1 / (sign + z)
    b = x * y * a
    e = np.stack([1 + sign * x * x * a, sign * b, -sign * x], axis=-1)
    return np.stack([e, np.stack([b, sign + y * y * a, -y], axis=-1)], axis=-2)


def along_direction(d: np.ndarray, t: np.ndarray, u: np.ndarray) -> tuple[Way, float]:
    """The way with a straight along u and arcs up to a half turn, and by how much it misses the goal."""
    cosine = t @ u
    aside = np.stack([u - cosine[0] * t[0], cosine[1] * t[1] - u])
    size = np.linalg.norm(aside, axis=1)
    inward = np.where(size[:, None] > 0, aside / np.maximum(size, 1e-300)[:, None], square_pair(t)[:, 0])
    angles = float(np.arctan2(size[0], cosine[0])), float(np.arctan2(size[1], cosine[1]))
    between = _ends(d, t, inward, angles)
    straight = max(0.0, float(between @ u))
    return Way(inward, angles, None, straight), float(np.linalg.norm(between - straight * u))


def _ends(d: np.ndarray, t: np.ndarray, inward: np.ndarray, angles: tuple[float, float]) -> np.ndarray:
    """From the end of the first arc to the beginning of the last."""
    first, last = angles
    here = math.sin(first) * t[0] + 2 * math.sin(first / 2) ** 2 * inward[0]
    there = -math.sin(last) * t[1] + 2 * math.sin(last / 2) ** 2 * inward[1]
    return np.asarray(d + there - here)


def shortest_in_space(d: np.ndarray, t: np.ndarray, starts: np.ndarray) -> Way | None:
    """The shortest arc-straight-arc found from straights along `starts` (k, 3), arcs short or long way round.

    The two planes, the two angles and the straight are solved for by damped least squares
    (Levenberg-Marquardt), so that an arc of just a half turn is nothing special.
    """
    pairs = square_pair(t)
    x = _guesses(d, t, pairs, starts)
    x = x[_solved(d, t, pairs, x)]
    x[:, [1, 3]] = (x[:, [1, 3]] + WHOLE) % (2 * math.pi) - WHOLE
    x[:, [1, 3]] = np.maximum(x[:, [1, 3]], 0.0)
    x = x[x[:, 4] >= -1e-9]
    if not len(x):
        return None
    turn, angle, last_turn, last_angle, straight = x[np.argmin(x[:, [1, 3, 4]].sum(axis=1))]
    inward = np.stack(
        [
            math.cos(a) * pair[0] + math.sin(a) * pair[1]
            for a, pair in zip((turn, last_turn), pairs, strict=True)
        ]
    )
    return Way(inward, (float(angle), float(last_angle)), None, max(0.0, float(straight)))


def _guesses(d: np.ndarray, t: np.ndarray, pairs: np.ndarray, u: np.ndarray) -> np.ndarray:
    """(4 k, 5) plane and angle of both arcs, and the straight, for straights along u and arcs either way."""
    angles = [np.arccos(np.clip(u @ way, -1, 1)) for way in t]
    planes = [
        np.arctan2(sign * (u @ pair[1]), sign * (u @ pair[0]))
        for sign, pair in zip((1, -1), pairs, strict=True)
    ]
    straight = np.full(len(u), max(1.0, float(np.linalg.norm(d)) - 1))
    return np.concatenate(
        [
            np.stack(
                [
                    planes[0] + (math.pi if first else 0),
                    2 * math.pi - angles[0] if first else angles[0],
                    planes[1] + (math.pi if last else 0),
                    2 * math.pi - angles[1] if last else angles[1],
                    straight,
                ],
                axis=1,
            )
            for first in (False, True)
            for last in (False, True)
        ]
    )


def _solved(d: np.ndarray, t: np.ndarray, pairs: np.ndarray, x: np.ndarray) -> np.ndarray:
    """Move each row of x (n, 5) to where its arcs meet its straight; which rows do."""
    damp = np.full(len(x), 1e-2)
    live = np.arange(len(x))
    r, slope = _misses(d, t, pairs, x)
    total = np.einsum("ni,ni->n", r, r)
    done = np.zeros(len(x), bool)
    for _ in range(STEPS):
        square = np.einsum("nki,nkj->nij", slope, slope) + damp[live, None, None] * np.eye(5)
        step = np.linalg.solve(square, -np.einsum("nki,nk->ni", slope, r)[..., None])[..., 0]
        tried = x[live] + step
        r2, slope2 = _misses(d, t, pairs, tried)
        total2 = np.einsum("ni,ni->n", r2, r2)
        better = total2 < total
        x[live[better]] = tried[better]
        r[better], slope[better], total[better] = r2[better], slope2[better], total2[better]
        damp[live] = np.where(better, np.maximum(damp[live] * 0.2, 1e-14), damp[live] * 6)
        closed = total < CLOSED**2
        done[live[closed]] = True
        keep = ~closed & (damp[live] < STUCK)
        live, r, slope, total = live[keep], r[keep], slope[keep], total[keep]
        if not len(live):
            break
    return done


def _misses(d: np.ndarray, t: np.ndarray, pairs: np.ndarray, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(n, 6) by how much directions and places miss each other, and (n, 6, 5) its derivatives."""
    turn, angle, last_turn, last_angle, straight = x.T[..., None]
    m0, n0 = _turned(pairs[0], turn)
    m1, n1 = _turned(pairs[1], last_turn)
    c0, s0, c1, s1 = np.cos(angle), np.sin(angle), np.cos(last_angle), np.sin(last_angle)
    u0, u1 = c0 * t[0] + s0 * m0, c1 * t[1] - s1 * m1
    v0, v1 = c0 * m0 - s0 * t[0], -s1 * t[1] - c1 * m1
    end0, end1 = s0 * t[0] + (1 - c0) * m0, d - s1 * t[1] + (1 - c1) * m1
    r = np.concatenate([u0 - u1, end1 - end0 - straight * u0], axis=1)
    slope = np.zeros((len(x), 6, 5))
    slope[:, :3, 0], slope[:, 3:, 0] = s0 * n0, -(1 - c0 + straight * s0) * n0
    slope[:, :3, 1], slope[:, 3:, 1] = v0, -u0 - straight * v0
    slope[:, :3, 2], slope[:, 3:, 2] = s1 * n1, (1 - c1) * n1
    slope[:, :3, 3], slope[:, 3:, 3] = -v1, -u1
    slope[:, 3:, 4] = -u0
    return r, slope


def _turned(pair: np.ndarray, turn: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Directions at an angle in the plane of a pair, and their derivatives."""
    c, s = np.cos(turn), np.sin(turn)
    return c * pair[0] + s * pair[1], c * pair[1] - s * pair[0]


def flat_ways(d: np.ndarray, t: np.ndarray, normal: np.ndarray) -> list[Way]:
    """All ways of three pieces in the plane square to `normal`, which holds d and both t.

    Circles touch the poses from both sides; between these lie a straight, along their outer or
    crossed tangent, or a third circle that touches both.
    """
    left = np.cross(normal, t)
    ways: list[Way] = []
    for a in (1, -1):
        for b in (1, -1):
            between = d + b * left[1] - a * left[0]
            far = float(np.linalg.norm(between))
            # On one circle, any direction will do: no straight is left.
            straights = _tangents(between, a, b, normal) or ([t[0]] if a == b else [])
            ways.extend(_flat_way(d, t, left, (a, b), u, normal) for u in straights)
            if a == b and 1e-9 < far <= 4:
                for side in (1, -1):
                    ways.append(_three_arcs(t, left, a, between / far, far, side, normal))
    return ways


def _tangents(between: np.ndarray, a: int, b: int, normal: np.ndarray) -> list[np.ndarray]:
    """Directions of the straight from a circle gone round to the left (1) or right (-1) to another."""
    far = float(np.linalg.norm(between))
    if far < (1e-9 if a == b else 2.0):
        return []
    tilt = 0.0 if a == b else a * math.asin(2 / far)
    return [(math.cos(tilt) * between + math.sin(tilt) * np.cross(normal, between)) / far]


def _flat_way(
    d: np.ndarray, t: np.ndarray, left: np.ndarray, turns: tuple[int, int], u: np.ndarray, normal: np.ndarray
) -> Way:
    first = _angle_round(t[0], u, turns[0] * normal)
    last = _angle_round(u, t[1], turns[1] * normal)
    inward = np.stack([turns[0] * left[0], turns[1] * left[1]])
    return Way(inward, (first, last), None, max(0.0, float(_ends(d, t, inward, (first, last)) @ u)))


def _three_arcs(
    t: np.ndarray, left: np.ndarray, a: int, u: np.ndarray, far: float, side: int, normal: np.ndarray
) -> Way:
    """One way, the other way round a circle at one side of the line between the outer two, the first way."""
    aside = math.sqrt(max(0.0, 4 - far * far / 4))
    to_middle = (u * far / 2 + side * aside * np.cross(normal, u)) / 2
    from_last = (-u * far / 2 + side * aside * np.cross(normal, u)) / 2
    # From a circle's middle the pose lies at -a left, the touching points along the middles.
    first = _angle_round(-a * left[0], to_middle, a * normal)
    last = _angle_round(from_last, -a * left[1], a * normal)
    middle = _angle_round(-to_middle, -from_last, -a * normal)
    return Way(np.stack([a * left[0], a * left[1]]), (first, last), to_middle, middle)


def _angle_round(a: np.ndarray, b: np.ndarray, axis: np.ndarray) -> float:
    """Right-handed angle about an axis from a to b, both square to it; 0 rather than a whole turn."""
    angle = math.atan2(float(np.cross(a, b) @ axis), float(a @ b)) % (2 * math.pi)
    return 0.0 if angle > 2 * math.pi - WHOLE else angle


def corners_of(way: Way, start: np.ndarray, goal: np.ndarray, t: np.ndarray, radius: float) -> np.ndarray:
    """(n, 3) corners of the way between two poses, both of them among these, mm."""
    first, at, heading = _arc_corners(start, t[0], way.inward[0], way.angles[0], radius)
    last, _, _ = _arc_corners(goal, -t[1], way.inward[1], way.angles[1], radius)
    if way.middle is not None:
        middle, _, _ = _arc_corners(at, heading, way.middle, way.between, radius)
        first = first + middle
    return np.array([start, *first, *last[::-1], goal])


def _arc_corners(
    at: np.ndarray, heading: np.ndarray, inward: np.ndarray, angle: float, radius: float
) -> tuple[list[np.ndarray], np.ndarray, np.ndarray]:
    """Corners of an arc from a pose, and the pose at its end."""
    parts = math.ceil(angle / MOST_A_CORNER)
    corners = []
    for _ in range(parts):
        part = angle / parts
        corners.append(at + heading * (radius * math.tan(part / 2)))
        ahead = math.cos(part) * heading + math.sin(part) * inward
        inward = math.cos(part) * inward - math.sin(part) * heading
        at, heading = corners[-1] + ahead * (radius * math.tan(part / 2)), ahead
    return corners, at, heading
