"""How much of a box or cylinder lies below a level, in any attitude."""

from __future__ import annotations

import itertools
import math

import numpy as np

from fitcheck.parts.solids import Kind, Piece

# A box that leans by less than this share of its own height is taken as square there: the exact
# formula divides by the product of the three reaches, and would lose its digits.
LEAN = 1e-7


def whole(piece: Piece) -> float:
    """Volume of a box or a cylinder, mm³."""
    x, y, z = (float(half) for half in piece.half)
    return 8 * x * y * z if piece.kind == Kind.BOX else 2 * math.pi * x * x * z


def below(piece: Piece, up: np.ndarray, level: float) -> float:
    """Volume of the piece's part that lies below a level, mm³; exact.

    Args:
        piece: a box or a cylinder.
        up: (3,) unit vector, in the piece's outer frame.
        level: the level's height: points p with p · up < level lie below it, mm.

    Raises:
        TypeError: the piece is a mesh.
    """
    if piece.kind == Kind.MESH:
        raise TypeError("a mesh has no level of its own")
    over = level - float(piece.centre @ up)
    lean = up @ piece.rotation
    if piece.kind == Kind.BOX:
        return _box_below(np.abs(lean) * piece.half, over) * whole(piece)
    return _cylinder_below(float(piece.half[0]), float(piece.half[2]), abs(float(lean[2])), over)


def _box_below(reach: np.ndarray, over: float) -> float:
    """Share of a box below `over` its middle; `reach` is how far each half size goes up or down.

    The volume of a cube cut by a plane: inclusion and exclusion over its corners.
    """
    total = float(reach.sum())
    if over >= total or over <= -total:
        return float(over > 0)
    if over > 0:
        # From the nearer end, where the sums below do not cancel.
        return 1 - _box_below(reach, -over)
    sides = [2 * float(side) for side in reach if side > LEAN * total]
    rest = over + sum(sides) / 2
    n = len(sides)
    share = 0.0
    for taken in itertools.product((0, 1), repeat=n):
        left = rest - sum(side for side, one in zip(sides, taken, strict=True) if one)
        share += (-1) ** sum(taken) * max(left, 0.0) ** n
    return min(max(share / (math.factorial(n) * math.prod(sides)), 0.0), 1.0)


def _cylinder_below(radius: float, half: float, steep: float, over: float) -> float:
    """Volume of a cylinder below `over` its middle; `steep` is the cosine of its axis to up."""
    flat = math.sqrt(max(1 - steep * steep, 0.0))
    if steep * half < LEAN * flat * radius:
        return 2 * half * _segment(radius, over / flat)
    if flat * radius < LEAN * steep * half:
        return math.pi * radius * radius * min(max(over / steep + half, 0.0), 2 * half)
    # Across the axis the level cuts each disc in a chord; integrate its segment along the axis.
    low, high = (over - steep * half) / flat, (over + steep * half) / flat
    return (_wedge(radius, high) - _wedge(radius, low)) * flat / steep


def _segment(radius: float, chord: float) -> float:
    """Area of a disc on one side of a chord at `chord` from its middle (whole beyond +radius)."""
    u = min(max(chord / radius, -1.0), 1.0)
    return radius * radius * (math.acos(-u) + u * math.sqrt(1 - u * u))


def _wedge(radius: float, chord: float) -> float:
    """Integral of `_segment` from -radius to `chord`: d/du [u acos(-u) + s - s³/3] with s² = 1 - u²."""
    u = min(max(chord / radius, -1.0), 1.0)
    s = math.sqrt(1 - u * u)
    inside = radius**3 * (u * math.acos(-u) + s - s**3 / 3)
    return inside + math.pi * radius * radius * max(chord - radius, 0.0)
