"""How often a closed surface winds about a point: what a ray from it crosses, by the tree.

A ray that comes near an edge, or along a face, is not counted but sent another way.
"""

from __future__ import annotations

import numpy as np

from fitcheck.world.kernels.descent import Forest, triangle_at
from fitcheck.world.kernels.native import bare_entry, native
from fitcheck.world.kernels.vectors import Floats, Ints, Vector, cross, dot, length, row, sub

# Directions about 1 long, of figures without a pattern: nothing drawn square or in round
# numbers has edges or faces along them.
WAYS = (
    (0.5773971, 0.6133089, 0.5390127),
    (-0.2217649, 0.8713317, 0.4377113),
    (0.7311393, -0.3171977, 0.6040339),
    (0.1392781, 0.4711739, -0.8709751),
)
UNSURE = -(2**31)
# A ray nearer to an edge than this share of what its corners are away is not trusted.
CLOSE = 1e-9


@native
def meets(boxes: Floats, k: int, x: Vector, way: Vector) -> bool:
    """Whether the ray from x comes into box k, or near it."""
    enter, leave = 0.0, np.inf
    for m in range(3):
        a, b = (boxes[k, m] - x[m]) / way[m], (boxes[k, m + 3] - x[m]) / way[m]
        enter, leave = max(enter, min(a, b)), min(leave, max(a, b))
    return enter <= leave + 1e-9 * (1.0 + abs(leave))


@native
def crossed(a: Vector, b: Vector, c: Vector, way: Vector) -> tuple[int, bool]:
    """1 when the ray from the origin leaves through a triangle, -1 when it enters; whether it is sure."""
    u, v, w = dot(way, cross(b, c)), dot(way, cross(c, a)), dot(way, cross(a, b))
    la, lb, lc = length(a), length(b), length(c)
    near = CLOSE * la * lb * lc / max(min(la, lb, lc), 1e-300)
    if min(u, v, w) < -near and max(u, v, w) > near:
        return 0, True
    if min(abs(u), abs(v), abs(w)) <= near:
        return 0, False
    n = cross(sub(b, a), sub(c, a))
    # Its place along the ray: the plane's, since the line goes through the triangle.
    ahead = dot(n, a) * (1.0 if u > 0.0 else -1.0)
    if abs(ahead) <= CLOSE * length(n) * max(la, lb, lc):
        return 0, False
    if ahead < 0.0:
        return 0, True
    return 1 if u > 0.0 else -1, True


@native
def turns_along(forest: Forest, tree: int, x: Vector, way: Vector, todo: Ints) -> tuple[int, bool]:
    """What a ray crosses, as `crossed` counts it."""
    todo[0] = tree
    waiting, turns, sure = 1, 0, True
    while waiting and sure:
        waiting -= 1
        k = todo[waiting]
        if not meets(forest.boxes, k, x, way):
            continue
        if forest.second[k]:
            todo[waiting], todo[waiting + 1] = forest.second[k], k + 1
            waiting += 2
            continue
        a, b, c = triangle_at(forest, k)
        turn, sure = crossed(sub(a, x), sub(b, x), sub(c, x), way)
        turns += turn
    return turns, sure


@bare_entry
def turns_about(forest: Forest, trees: Ints, points: Floats, todo: Ints, turns: Ints) -> None:
    """Fill turns (k,) with how often closed outward surfaces, (k,) rows of roots, wind about points (k, 3).

    `UNSURE` where every ray comes near an edge: on the surface, or all but on it.

    Args:
        todo: (DEPTH + 2,) room for a search.
    """
    for k in range(len(points)):
        turns[k] = UNSURE
        for way in WAYS:
            found, sure = turns_along(forest, trees[k], row(points, k), way, todo)
            if sure:
                turns[k] = found
                break
