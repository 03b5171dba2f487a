"""The six words of Dubins' planar ways in closed form, as an oracle.

Shkel & Lumelsky, Classification of the Dubins set, Robotics and Autonomous Systems 34 (2001), equations
for LSL, RSR, LSR, RSL, RLR, LRL, with the start at the origin and the goal at distance d along x, in
units of the radius, headings alpha and beta.
"""

from __future__ import annotations

import math
from collections.abc import Iterator


def turned(angle: float) -> float:
    """Angle within 0 and a whole turn; rounding below 0 is none."""
    angle %= 2 * math.pi
    return 0.0 if angle > 2 * math.pi - 1e-7 else angle


def words(d: float, alpha: float, beta: float) -> Iterator[tuple[str, tuple[float, float, float]]]:
    """All words that there are, with their three segments."""
    sa, sb, ca, cb = math.sin(alpha), math.sin(beta), math.cos(alpha), math.cos(beta)
    c = math.cos(alpha - beta)
    square = 2 + d * d - 2 * c + 2 * d * (sa - sb)
    if square >= 0:
        to = math.atan2(cb - ca, d + sa - sb)
        yield "LSL", (turned(to - alpha), math.sqrt(square), turned(beta - to))
    square = 2 + d * d - 2 * c + 2 * d * (sb - sa)
    if square >= 0:
        to = math.atan2(ca - cb, d - sa + sb)
        yield "RSR", (turned(alpha - to), math.sqrt(square), turned(to - beta))
    square = -2 + d * d + 2 * c + 2 * d * (sa + sb)
    if square >= 0:
        p = math.sqrt(square)
        to = math.atan2(-ca - cb, d + sa + sb) - math.atan2(-2, p)
        yield "LSR", (turned(to - alpha), p, turned(to - beta))
    square = -2 + d * d + 2 * c - 2 * d * (sa + sb)
    if square >= 0:
        p = math.sqrt(square)
        to = math.atan2(ca + cb, d - sa - sb) - math.atan2(2, p)
        yield "RSL", (turned(alpha - to), p, turned(beta - to))
    cosine = (6 - d * d + 2 * c + 2 * d * (sa - sb)) / 8
    if abs(cosine) <= 1:
        p = turned(2 * math.pi - math.acos(cosine))
        t = turned(alpha - math.atan2(ca - cb, d - sa + sb) + p / 2)
        yield "RLR", (t, p, turned(alpha - beta - t + p))
    cosine = (6 - d * d + 2 * c + 2 * d * (sb - sa)) / 8
    if abs(cosine) <= 1:
        p = turned(2 * math.pi - math.acos(cosine))
        # The mirror image of RLR: headings change sign.
        t = turned(-alpha - math.atan2(ca - cb, d + sa - sb) + p / 2)
        yield "LRL", (t, p, turned(beta - alpha - t + p))


def shortest(x: float, y: float, from_heading: float, to_heading: float, radius: float):
    """Length, word and segments (angles in radians, straights in radii) from the origin to (x, y)."""
    ahead = math.atan2(y, x)
    options = words(math.hypot(x, y) / radius, from_heading - ahead, to_heading - ahead)
    word, parts = min(options, key=lambda option: sum(option[1]))
    return radius * sum(parts), word, parts
