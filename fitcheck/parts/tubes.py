"""A tube along a path with rounded corners: straight legs and bends as cylinders."""

from __future__ import annotations

import math

import numpy as np

from fitcheck.parts.pieces import NOTHING, cylinder_piece, frozen
from fitcheck.parts.polygon import SAGITTA
from fitcheck.parts.solids import Kind, Piece
from fitcheck.scene.mistakes import ValueMistake

# A change of direction smaller than this is no corner, radians.
STRAIGHT_ON = 1e-9
# A path that turns back on itself has no bend, radians short of a half turn.
TURNS_BACK = 1e-6


def tube(
    path: np.ndarray, diameter: float, bend_radius: float = 0.0, sagitta: float = SAGITTA
) -> tuple[tuple[Piece, ...], float]:
    """The outside of a tube whose axis follows a path with rounded corners.

    Legs are exact cylinders. A bend is a row of short cylinders that contain the true bend
    and lie at most `sagitta` outside it.

    Args:
        path: (n, 3) corners of the axis, its two ends among them, mm.
        diameter: outside, mm.
        bend_radius: of the axis in the bends, mm; 0 where there are none.
        sagitta: how far the cylinders of a bend may lie outside it, mm; above 0.

    Returns:
        The pieces from start to end, and how far they may lie outside the true tube, mm.

    Raises:
        ValueMistake: fewer than two points, a point twice, no diameter, a corner without a bend
            radius, a radius below half the diameter or too large for the legs.
    """
    points = np.asarray(path, float)
    _refuse_bad(points, diameter)
    legs = np.diff(points, axis=0)
    lengths = np.linalg.norm(legs, axis=1)
    ways = legs / lengths[:, None]
    turns = angles_between(ways)
    if np.any(turns > STRAIGHT_ON):
        _refuse_radius(lengths, turns, diameter, bend_radius)
    take = np.concatenate([[0.0], bend_take(turns, bend_radius), [0.0]])
    pieces: list[Piece] = []
    error = 0.0
    for k, way in enumerate(ways):
        start, end = points[k] + way * take[k], points[k + 1] - way * take[k + 1]
        if (end - start) @ way > NOTHING:
            pieces.append(cylinder_piece(start, end, diameter))
        if k < len(turns) and turns[k] > STRAIGHT_ON:
            bend, outside = _bend(end, way, ways[k + 1], turns[k], (bend_radius, diameter / 2, sagitta))
            pieces.extend(bend)
            error = max(error, outside)
    return tuple(pieces), error


def tube_length(path: np.ndarray, bend_radius: float = 0.0) -> float:
    """Length of the tube's axis, mm: legs less what bends take, plus R times the angle a bend."""
    legs = np.diff(np.asarray(path, float), axis=0)
    lengths = np.linalg.norm(legs, axis=1)
    turns = angles_between(legs / lengths[:, None])
    return float(lengths.sum() + np.sum(bend_radius * turns - 2 * bend_take(turns, bend_radius)))


def bend_take(turn: np.ndarray, radius: float) -> np.ndarray:
    """Length a bend takes off each of the two straights it joins.

    Tangent distance of a simple curve, T = R tan(I / 2): US Army FM 5-233, chapter 3.

    Args:
        turn: (n,) angle between the directions of the straights, radians, below pi.
        radius: radius of the tube's axis in the bend, mm.

    Returns:
        (n,) lengths, mm.
    """
    return np.asarray(radius * np.tan(turn / 2))


def angles_between(ways: np.ndarray) -> np.ndarray:
    """(n - 1,) angles between consecutive unit vectors (n, 3), radians, exact near 0 and pi."""
    across = np.linalg.norm(np.cross(ways[:-1], ways[1:]), axis=1)
    return np.asarray(np.arctan2(across, np.sum(ways[:-1] * ways[1:], axis=1)))


def _refuse_bad(points: np.ndarray, diameter: float) -> None:
    if len(points) < 2:
        raise ValueMistake(f"a path needs at least 2 points, not {len(points)}", "")
    if diameter < NOTHING:
        raise ValueMistake(f"diameter {diameter:g} is not above 0", "")
    same = np.flatnonzero(np.linalg.norm(np.diff(points, axis=0), axis=1) < NOTHING)
    if len(same):
        raise ValueMistake(f"points {same[0] + 1} and {same[0] + 2} of the path are the same", "drop one")


def _refuse_radius(lengths: np.ndarray, turns: np.ndarray, diameter: float, radius: float) -> None:
    back = np.flatnonzero(turns > math.pi - TURNS_BACK)
    if len(back):
        raise ValueMistake(f"the path turns straight back at point {back[0] + 2}", "add a point beside it")
    # A leg gives to the bends at both its ends; the shortest share decides.
    tangents = np.concatenate([[0.0], np.tan(turns / 2), [0.0]])
    given = tangents[:-1] + tangents[1:]
    fits = float(np.min(np.divide(lengths, given, out=np.full_like(given, np.inf), where=given > 0)))
    # Round down to what can be typed, so that the mend itself passes.
    largest = math.floor(fits * 100 + NOTHING) / 100
    can = largest >= diameter / 2
    if radius < diameter / 2:
        mend = f"write {diameter / 2:g} to {largest:g}" if can else "make the legs longer"
        raise ValueMistake(f"bend_radius {radius:g} is below half the diameter {diameter:g}", mend)
    leg = int(np.argmin(lengths - radius * given))
    if radius * given[leg] > lengths[leg] + NOTHING:
        raise ValueMistake(
            f"the leg from point {leg + 1} to {leg + 2} is {lengths[leg]:.4g} long; "
            f"bends of radius {radius:g} take {radius * given[leg]:.4g} of it",
            f"the largest bend_radius that fits is {largest:g}" if can else "make the legs longer",
        )


def _bend(
    start: np.ndarray, way: np.ndarray, way_out: np.ndarray, turn: float, sizes: tuple[float, float, float]
) -> tuple[list[Piece], float]:
    """Short cylinders round a true bend, and how far they lie outside it.

    Between angles +-a of its own middle, a disc of the bend lies off the chord's line by
    R cos(angle) - c: between -s/2 and s/2 for s = R (1 - cos a) and c = R - s/2. So a cylinder of
    radius r + s/2 about that line, (R + r) sin a to either side, holds it. Its outermost points
    are (R + r) sqrt(1 + sin^2 a) from the bend's middle; on the inside it is s too thick.
    """
    bend_radius, radius, most = sizes
    inward = way_out - way * (way_out @ way)
    inward /= np.linalg.norm(inward)
    centre = start + inward * bend_radius
    whole = bend_radius + radius
    # Near enough s = R a^2 / 2 and (R + r) a^2 / 2: the larger decides.
    count = max(1, math.ceil(turn / 2 / math.sqrt(2 * most / whole)))
    a = turn / 2 / count
    sagitta = bend_radius * (1 - math.cos(a))
    error = max(sagitta, whole * (math.sqrt(1 + math.sin(a) ** 2) - 1))
    half = frozen(np.array([radius + sagitta / 2, radius + sagitta / 2, whole * math.sin(a)]))
    pieces = []
    for k in range(count):
        angle = (2 * k + 1) * a
        out = way * math.sin(angle) - inward * math.cos(angle)
        along = way * math.cos(angle) + inward * math.sin(angle)
        rotation = np.stack([out, np.cross(along, out), along], axis=1)
        middle = centre + out * (bend_radius - sagitta / 2)
        pieces.append(Piece(Kind.CYLINDER, half, frozen(rotation), frozen(middle)))
    return pieces, error
