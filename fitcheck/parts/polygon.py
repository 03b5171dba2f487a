"""Outlines and cut-outs in the plane: what may be extruded, and round edges as polygons."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fitcheck.parts.pieces import NOTHING
from fitcheck.scene.mistakes import ValueMistake

# How far a facet may lie from the round surface it stands for, mm: half the contact tolerance.
SAGITTA = 0.005
# Squared sine under which two edges count as parallel or perpendicular.
STRAIGHT = 1e-18


class CutMistake(ValueMistake):
    """A cut-out that does not suit its solid; `name` is the hole's or opening's."""

    def __init__(self, name: str, problem: str, mend: str = "") -> None:
        super().__init__(problem, mend)
        self.name = name


@dataclass(frozen=True)
class Cutout:
    """A cut-out seen along its axis.

    Args:
        name: for messages.
        shape: `round`, `slot` (round ends) or `rectangle`.
        centre: in the outline's plane, mm.
        size: full extents (along, across), mm; the diameter twice for a round one.
        along: direction of the first extent in the outline's plane.
    """

    name: str
    shape: str
    centre: tuple[float, float]
    size: tuple[float, float]
    along: tuple[float, float] = (1.0, 0.0)


def checked_outline(outline: np.ndarray) -> np.ndarray:
    """Corners (n, 2) counter-clockwise, without those on a straight edge.

    Raises:
        ValueMistake: fewer than three corners, a corner twice, an outline that crosses or touches
            itself, no area.
    """
    points = np.asarray(outline, float)
    if len(points) < 3:
        raise ValueMistake(f"an outline needs at least 3 corners, not {len(points)}", "")
    edges = np.roll(points, -1, axis=0) - points
    short = np.flatnonzero(np.linalg.norm(edges, axis=1) < NOTHING)
    if len(short):
        first = int(short[0])
        second = (first + 1) % len(points) + 1
        raise ValueMistake(f"corners {first + 1} and {second} of the outline are the same point", "drop one")
    crossing = _crossing(points)
    if crossing is not None:
        one, other = (f"{i + 1}-{(i + 1) % len(points) + 1}" for i in crossing)
        raise ValueMistake(f"the outline crosses or touches itself: its edges {one} and {other}", "")
    area = 0.5 * float(np.sum(_cross(points, np.roll(points, -1, axis=0))))
    if abs(area) < NOTHING:
        raise ValueMistake("the outline holds no area", "")
    before = points - np.roll(points, 1, axis=0)
    bend = _cross(before, edges) ** 2
    corners = points[bend > STRAIGHT * np.sum(before**2, axis=1) * np.sum(edges**2, axis=1)]
    return np.asarray(corners if area > 0 else corners[::-1])


def circle(radius: float, outward: bool = False, sagitta: float = SAGITTA) -> tuple[np.ndarray, float]:
    """A polygon for a circle about the origin, counter-clockwise, and its sagitta.

    Args:
        radius: mm.
        outward: sides touch the circle from outside; else the corners lie on it.
        sagitta: how far a side may lie from the circle, mm.

    Returns:
        ((n, 2) corners, distance actually left, mm), n a multiple of four, so that the four
        outermost points are exact (corners inward, middles of sides outward).
    """
    # Inward r (1 - cos(pi/n)); outward r (1 / cos(pi/n) - 1).
    ratio = sagitta / radius
    half = math.acos(1 / (1 + ratio)) if outward else math.acos(max(1 - ratio, 0.0))
    count = max(8, 4 * math.ceil(math.pi / half / 4))
    half = math.pi / count
    reach = radius / math.cos(half) if outward else radius
    angles = 2 * half * (np.arange(count) + (0.5 if outward else 0.0))
    left = reach - radius if outward else radius * (1 - math.cos(half))
    return reach * np.stack([np.cos(angles), np.sin(angles)], axis=1), left


def cutout_polygon(cutout: Cutout, sagitta: float = SAGITTA) -> tuple[np.ndarray, float]:
    """Corners (n, 2) of a cut-out, counter-clockwise and never outside the true one; its sagitta.

    Args:
        sagitta: how far a side may lie from a round edge, mm.

    Raises:
        CutMistake: a size of nothing, a slot shorter than wide.
    """
    length, width = cutout.size
    if min(length, width) < NOTHING:
        raise CutMistake(cutout.name, f"has the size {length:g} x {width:g}: nothing to cut")
    error = 0.0
    if cutout.shape == "rectangle":
        points = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [length / 2, width / 2]
    else:
        if length < width:
            raise CutMistake(
                cutout.name,
                f"a slot {length:g} long is shorter than its width {width:g}",
                "the overall length comes first",
            )
        points, error = circle(width / 2, sagitta=sagitta)
        if length > width:
            # Cut the circle at its top and bottom corner, which both halves keep.
            quarter = len(points) // 4
            right = np.roll(points, quarter, axis=0)[: 2 * quarter + 1]
            shift = [(length - width) / 2, 0]
            points = np.concatenate([right + shift, -right - shift])
    u, v = np.asarray(cutout.along, float) / math.hypot(*cutout.along)
    return points @ np.array([[u, v], [-v, u]]) + cutout.centre, error


def _crossing(points: np.ndarray) -> tuple[int, int] | None:
    """Two edges that meet other than at a shared corner, or None."""
    ends = np.roll(points, -1, axis=0)
    count = len(points)
    first, second = np.triu_indices(count, 1)
    next_to = (second - first == 1) | ((first == 0) & (second == count - 1))
    a, b, c, d = points[first], ends[first], points[second], ends[second]
    meet = _meet(a, b, c, d)
    # Neighbours share a corner and clash only when one folds back on the other.
    shared = np.where((second - first == 1)[:, None], b, a)
    one = np.where((second - first == 1)[:, None], a, b) - shared
    other = np.where((second - first == 1)[:, None], d, c) - shared
    size = np.sum(one**2, axis=1) * np.sum(other**2, axis=1)
    back = (_cross(one, other) ** 2 <= STRAIGHT * size) & (np.sum(one * other, axis=1) > 0)
    clash = np.flatnonzero(np.where(next_to, back, meet))
    return (int(first[clash[0]]), int(second[clash[0]])) if len(clash) else None


def _meet(a: np.ndarray, b: np.ndarray, c: np.ndarray, d: np.ndarray) -> np.ndarray:
    """Which segments a-b and c-d, each (n, 2), have a point in common."""
    c_side, d_side = _side(a, b, c), _side(a, b, d)
    a_side, b_side = _side(c, d, a), _side(c, d, b)
    over = (c_side * d_side < 0) & (a_side * b_side < 0)
    touch = (
        ((c_side == 0) & _between(a, b, c))
        | ((d_side == 0) & _between(a, b, d))
        | ((a_side == 0) & _between(c, d, a))
        | ((b_side == 0) & _between(c, d, b))
    )
    return np.asarray(over | touch)


def _side(a: np.ndarray, b: np.ndarray, p: np.ndarray) -> np.ndarray:
    """On which side of the line a-b each p lies: -1, 0 (nearer than `NOTHING`) or 1."""
    away = _cross(b - a, p - a) / np.linalg.norm(b - a, axis=1)
    return np.where(np.abs(away) < NOTHING, 0, np.sign(away))


def _between(a: np.ndarray, b: np.ndarray, p: np.ndarray) -> np.ndarray:
    """Whether p, on the line a-b, lies within the segment's ends."""
    low, high = np.minimum(a, b) - NOTHING, np.maximum(a, b) + NOTHING
    return np.asarray(np.all((low <= p) & (p <= high), axis=1))


def _cross(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return np.asarray(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
