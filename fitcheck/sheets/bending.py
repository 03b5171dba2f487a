"""How sheet is folded: neutral fibre, bend allowance, the blank of a folded profile.

DIN 6935 was written for cold bending of flat rolled steel; for aluminium it is an approximation. Its formula
for k is from memory and was held against a published worked example (50 + 50, r = 2, s = 2: 96.16).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

# A flange that a press brake can hold, from its outside: 4 t + r for a V-die of 8 t (common practice, no
# source).
FLANGE = 4.0
# Least inside radius in thicknesses: mild steel 1, soft aluminium (5754) 1 to 1.5, hard (6082-T6) 3 to 4
# (shop rules, common practice; only the 1 of steel stands on a public page).
LEAST_RADIUS = {"steel": 1.0, "aluminium": 1.5}
# Corners that turn by less are none, degrees; and how far a profile may be from constant thickness, of its
# perimeter.
STRAIGHT_DEG = 0.5
UNEVEN = 1e-3


def neutral_fibre(radius: float, thickness: float) -> float:
    """K: how far the neutral fibre lies from the inside, as a share of the thickness.

    DIN 6935: k = 0.65 + 0.5 log10(r / s) up to r / s = 5, above it 1; k counts half thicknesses, so K = k /
    2.
    """
    ratio = radius / thickness
    if ratio > 5:
        return 0.5
    return max(0.65 + 0.5 * float(np.log10(max(ratio, 1e-9))), 0.0) / 2


def bend_allowance(angle: float, radius: float, thickness: float, k: float | None = None) -> float:
    """Length of the neutral fibre in a bend, BA = A (r + K t), with A the `angle` (given in degrees), mm.

    Sheet-metal handbooks. `angle` is by how much the sheet is bent: 180 less the included angle.
    """
    fibre = neutral_fibre(radius, thickness) if k is None else k
    return float(np.radians(angle)) * (radius + fibre * thickness)


def bend_deduction(angle: float, radius: float, thickness: float, k: float | None = None) -> float:
    """What two outside legs have too much, BD = 2 (r + t) tan(A / 2) - BA, mm (sheet-metal handbooks)."""
    setback = (radius + thickness) * float(np.tan(np.radians(angle) / 2))
    return 2 * setback - bend_allowance(angle, radius, thickness, k)


@dataclass(frozen=True)
class Profile:
    """A folded sheet seen along its bends.

    Args:
        thickness: of the sheet, mm.
        middle: length of its middle line with sharp corners, mm.
        bends: by how much each is bent, degrees.
        legs: outside lengths of its two end flanges, mm.
    """

    thickness: float
    middle: float
    bends: tuple[float, ...]
    legs: tuple[float, float]

    def blank(self, radius: float, k: float | None = None) -> float:
        """Length of the flat blank, mm.

        Outside legs less bend deductions. With sharp corners the outside legs are longer than the middle line
        by t tan(A / 2) a bend, so flat = middle - sum of ((2 r + t) tan(A / 2) - BA).
        """
        less = [
            (2 * radius + self.thickness) * float(np.tan(np.radians(angle) / 2))
            - bend_allowance(angle, radius, self.thickness, k)
            for angle in self.bends
        ]
        return self.middle - sum(less)


def profile(outline: np.ndarray) -> Profile | None:
    """A folded sheet from its outline across the bends, or None where it is not one of constant thickness.

    A sheet with sharp mitred corners has an area of thickness times middle line and a perimeter of twice that
    line and both ends; every bend has one corner that turns in.

    Args:
        outline: (n, 2) corners in order, of either sense, mm.
    """
    corners = _turning(outline)
    if len(corners) < 4:
        return None
    along = np.roll(corners, -1, axis=0) - corners
    lengths = np.linalg.norm(along, axis=1)
    area = float(
        (corners[:, 0] * np.roll(corners[:, 1], -1) - np.roll(corners[:, 0], -1) * corners[:, 1]).sum() / 2
    )
    ends = [k for k in range(len(corners)) if _is_end(along, k)]
    if not ends:
        return None
    thickness = min(float(lengths[k]) for k in ends)
    ends = [k for k in ends if abs(lengths[k] - thickness) <= UNEVEN * thickness]
    middle = area / thickness
    perimeter = float(lengths.sum())
    turns = np.degrees(_turn(np.roll(along, 1, axis=0), along))
    bends = tuple(float(-turn) for turn in turns if turn < -STRAIGHT_DEG)
    if len(ends) != 2 or not bends or abs(perimeter - 2 * middle - 2 * thickness) > UNEVEN * perimeter:
        return None
    legs = [float(max(lengths[k - 1], lengths[(k + 1) % len(lengths)])) for k in ends]
    return Profile(thickness, middle, bends, (legs[0], legs[1]))


def _turning(outline: np.ndarray) -> np.ndarray:
    """The corners at which an outline turns, counter-clockwise."""
    area = (outline[:, 0] * np.roll(outline[:, 1], -1) - np.roll(outline[:, 0], -1) * outline[:, 1]).sum()
    corners = outline if area > 0 else outline[::-1]
    along = np.roll(corners, -1, axis=0) - corners
    turns = np.abs(np.degrees(_turn(np.roll(along, 1, axis=0), along)))
    return np.asarray(corners[turns > STRAIGHT_DEG])


def _turn(before: np.ndarray, after: np.ndarray) -> np.ndarray:
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    return np.asarray(np.arctan2(cross, (before * after).sum(axis=1)))


def _is_end(along: np.ndarray, k: int) -> bool:
    """Is an edge the end of a sheet: square to both its neighbours, which run back along each other?"""
    before, own, after = along[k - 1], along[k], along[(k + 1) % len(along)]
    angles = np.degrees(_turn(np.array([before, own]), np.array([own, after])))
    return bool(np.all(np.abs(angles - 90) <= STRAIGHT_DEG))
