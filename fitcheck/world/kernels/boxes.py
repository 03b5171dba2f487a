"""Box against box: exact distance and shortest clearing move.

Separating axes: the 15 of Gottschalk, Lin and Manocha, OBBTree, SIGGRAPH 1996. The
distance of two boxes apart is that of a corner to a box or of two edges.
"""

from __future__ import annotations

from math import sqrt

import numpy as np

from fitcheck.world.kernels.bodies import Bodies, Measure, clear, middle
from fitcheck.world.kernels.native import native
from fitcheck.world.kernels.vectors import Floats, Vector, add, along, axis, clamp, dot, scale, sub

# Boxes turned against each other by less than this (sine) count as parallel: 6e-11 mm
# on 600 mm.
PARALLEL = 1e-13
# Shorter products of two edges have no direction; the face normals stand for them.
NO_AXIS = 1e-12
# Below this distance the axis that separates gives a truer normal than the witnesses.
NEAR = 1e-7


@native
def relative(bodies: Bodies, i: int, j: int, c: Vector, turn: Floats) -> Vector:
    """Fill turn (3, 3) with the axes of j in the frame of i; the centre of j in it."""
    frames = bodies.frames
    for k in range(3):
        for m in range(3):
            turn[k, m] = dot(axis(frames, i, k), axis(frames, j, m))
    return (dot(axis(frames, i, 0), c), dot(axis(frames, i, 1), c), dot(axis(frames, i, 2), c))


@native
def out_of(frames: Floats, i: int, x: Vector) -> Vector:
    """Vector x given in the frame of body i, in world directions."""
    return add(
        add(scale(axis(frames, i, 0), x[0]), scale(axis(frames, i, 1), x[1])), scale(axis(frames, i, 2), x[2])
    )


@native
def column(turn: Floats, m: int) -> Vector:
    """Column m of a (3, 3) array."""
    return (turn[0, m], turn[1, m], turn[2, m])


@native
def box_axis(turn: Floats, k: int) -> tuple[Vector, bool]:
    """Axis k of the 15, in the frame of i, and whether it has a direction.

    0-2 faces of i, 3-5 faces of j, 6-14 products of an edge of i with one of j.
    """
    if k < 3:
        return (1.0 if k == 0 else 0.0, 1.0 if k == 1 else 0.0, 1.0 if k == 2 else 0.0), True
    if k < 6:
        return column(turn, k - 3), True
    e = (k - 6) // 3
    b = column(turn, (k - 6) % 3)
    if e == 0:
        n = (0.0, -b[2], b[1])
    elif e == 1:
        n = (b[2], 0.0, -b[0])
    else:
        n = (-b[1], b[0], 0.0)
    size = sqrt(dot(n, n))
    if size < NO_AXIS:
        return n, False
    return scale(n, 1.0 / size), True


@native
def box_reach(bodies: Bodies, i: int, j: int, turn: Floats, n: Vector) -> float:
    """Sum of what both boxes reach along n, given in the frame of i."""
    halves = bodies.halves
    total = abs(n[0]) * halves[i, 0] + abs(n[1]) * halves[i, 1] + abs(n[2]) * halves[i, 2]
    for m in range(3):
        total += abs(dot(column(turn, m), n)) * halves[j, m]
    return float(total)


@native
def most_separate(bodies: Bodies, i: int, j: int, turn: Floats, t: Vector) -> tuple[float, Vector]:
    """Greatest separation over the 15 axes, and its axis in the frame of i, towards j."""
    best = -np.inf
    normal = (1.0, 0.0, 0.0)
    for k in range(15):
        n, real = box_axis(turn, k)
        if not real:
            continue
        offset = dot(n, t)
        apart = abs(offset) - box_reach(bodies, i, j, turn, n)
        if apart > best:
            best = apart
            normal = n if offset >= 0.0 else (-n[0], -n[1], -n[2])
    return best, normal


@native
def are_parallel(turn: Floats) -> bool:
    """Whether every axis of one lies along an axis of the other."""
    for k in range(3):
        for m in range(3):
            x = abs(turn[k, m])
            if x > PARALLEL and x < 1.0 - PARALLEL:
                return False
    return True


@native
def parallel_witnesses(bodies: Bodies, i: int, j: int, turn: Floats, t: Vector) -> tuple[Vector, Vector]:
    """Nearest points of two parallel boxes in the frame of i: middles of what faces."""
    p = (0.0, 0.0, 0.0)
    q = (0.0, 0.0, 0.0)
    for k in range(3):
        half = 0.0
        for m in range(3):
            half += abs(turn[k, m]) * bodies.halves[j, m]
        own = bodies.halves[i, k]
        low = max(-own, t[k] - half)
        high = min(own, t[k] + half)
        a = b = 0.5 * (low + high)
        if low > high:
            a = own if t[k] > 0.0 else -own
            b = t[k] - half if t[k] > 0.0 else t[k] + half
        p = (a if k == 0 else p[0], a if k == 1 else p[1], a if k == 2 else p[2])
        q = (b if k == 0 else q[0], b if k == 1 else q[1], b if k == 2 else q[2])
    return p, q


@native
def corner(bodies: Bodies, i: int, s: int) -> Vector:
    """Corner s (0 to 7) of box i in its own frame."""
    h = bodies.halves
    return (
        h[i, 0] if s & 1 else -h[i, 0],
        h[i, 1] if s & 2 else -h[i, 1],
        h[i, 2] if s & 4 else -h[i, 2],
    )


@native
def within_box(bodies: Bodies, i: int, x: Vector) -> Vector:
    """Nearest point of box i to x, both in its own frame."""
    h = bodies.halves
    return (clamp(x[0], h[i, 0]), clamp(x[1], h[i, 1]), clamp(x[2], h[i, 2]))


@native
def corner_witnesses(bodies: Bodies, i: int, j: int, turn: Floats, t: Vector) -> tuple[float, Vector, Vector]:
    """Nearest corner-to-box pair of points in the frame of i, and its squared distance."""
    best = np.inf
    p = q = (0.0, 0.0, 0.0)
    x, y, z = column(turn, 0), column(turn, 1), column(turn, 2)
    for s in range(8):
        own = corner(bodies, j, s)
        there = add(t, along(along(scale(x, own[0]), y, own[1]), z, own[2]))
        here = within_box(bodies, i, there)
        gap = sub(there, here)
        if dot(gap, gap) < best:
            best, p, q = dot(gap, gap), here, there
    for s in range(8):
        here = corner(bodies, i, s)
        away = sub(here, t)
        own = within_box(bodies, j, (dot(x, away), dot(y, away), dot(z, away)))
        there = add(t, along(along(scale(x, own[0]), y, own[1]), z, own[2]))
        gap = sub(there, here)
        if dot(gap, gap) < best:
            best, p, q = dot(gap, gap), here, there
    return best, p, q


@native
def nearest_on_lines(w: Vector, b: Vector, e: Vector, half_b: float, half_e: float) -> tuple[float, float]:
    """Parameters s on e and u on b that bring two segments nearest; w from mid e to mid b.

    Ericson, Real-Time Collision Detection, 5.1.9, for unit directions and centred ends.
    """
    k = dot(b, e)
    across = 1.0 - k * k
    we, wb = dot(w, e), dot(w, b)
    s = 0.0
    if across > 1e-15:
        s = clamp((we - k * wb) / across, half_e)
    u = clamp(k * s - wb, half_b)
    return clamp(we + k * u, half_e), u


@native
def edge_witnesses(
    bodies: Bodies, i: int, j: int, turn: Floats, t: Vector, best: float, p: Vector, q: Vector
) -> tuple[float, Vector, Vector]:
    """As corner_witnesses for all pairs of edges, where these beat `best`, p and q."""
    h = bodies.halves
    for m in range(3):
        b = column(turn, m)
        m1, m2 = (m + 1) % 3, (m + 2) % 3
        side1, side2 = scale(column(turn, m1), h[j, m1]), scale(column(turn, m2), h[j, m2])
        for k in range(3):
            e = (1.0 if k == 0 else 0.0, 1.0 if k == 1 else 0.0, 1.0 if k == 2 else 0.0)
            for f in range(4):
                mid_b = along(along(t, side1, 1.0 if f & 1 else -1.0), side2, 1.0 if f & 2 else -1.0)
                for g in range(4):
                    s = g if k == 2 else (g & 1) << 1 | (g & 2) << 1 if k == 0 else (g & 1) | (g & 2) << 1
                    own = corner(bodies, i, s)
                    mid_e = (
                        0.0 if k == 0 else own[0],
                        0.0 if k == 1 else own[1],
                        0.0 if k == 2 else own[2],
                    )
                    on_e, on_b = nearest_on_lines(sub(mid_b, mid_e), b, e, h[j, m], h[i, k])
                    here, there = along(mid_e, e, on_e), along(mid_b, b, on_b)
                    gap = sub(there, here)
                    if dot(gap, gap) < best:
                        best, p, q = dot(gap, gap), here, there
    return best, p, q


@native
def box_witnesses(
    bodies: Bodies, i: int, j: int, turn: Floats, t: Vector, parallel: bool
) -> tuple[Vector, Vector]:
    """Nearest points of two boxes that do not overlap, in the frame of i."""
    if parallel:
        return parallel_witnesses(bodies, i, j, turn, t)
    best, p, q = corner_witnesses(bodies, i, j, turn, t)
    best, p, q = edge_witnesses(bodies, i, j, turn, t, best, p, q)
    return p, q


@native
def measure_boxes(bodies: Bodies, i: int, j: int, c: Vector, within: float, turn: Floats) -> Measure:
    """Distance, depth, normal, points (from the centre of i) and error of two boxes."""
    t = relative(bodies, i, j, c, turn)
    apart, n = most_separate(bodies, i, j, turn, t)
    frames = bodies.frames
    normal = out_of(frames, i, n)
    if apart > within:
        nowhere = (np.nan, np.nan, np.nan)
        return apart, 0.0, normal, nowhere, nowhere, np.inf
    parallel = are_parallel(turn)
    if apart <= 0.0:
        # Cleared by the depth the boxes touch: the place where is the contact.
        p, q = box_witnesses(bodies, i, j, turn, along(t, n, -apart), parallel)
        here = out_of(frames, i, middle(p, q))
        return 0.0, -apart, normal, here, along(here, normal, apart), 0.0
    p, q = box_witnesses(bodies, i, j, turn, t, parallel)
    p, q = out_of(frames, i, p), out_of(frames, i, q)
    most, least = clear(bodies, i, j, c, p, q)
    if most > NEAR:
        normal = scale(sub(q, p), 1.0 / most)
    return most, 0.0, normal, p, q, max(most - max(least, apart), 0.0)
