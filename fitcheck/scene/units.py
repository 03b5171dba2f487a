"""Units and figures: what `5 1/4 in` is in millimetres, to the last digit.

The inch is 25.4 mm exactly (international yard and pound agreement, 1959).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from fitcheck.scene import limits
from fitcheck.scene.expression import Amount
from fitcheck.scene.mistakes import ValueMistake


@dataclass(frozen=True)
class Unit:
    """A unit as a fraction of mm or of degrees, with its dimension."""

    over: int
    under: int
    length: int = 0
    angle: int = 0


_INCH, _DEGREE = Unit(254, 10, length=1), Unit(1, 1, angle=1)
UNITS = {
    "mm": Unit(1, 1, length=1), "cm": Unit(10, 1, length=1), "m": Unit(1000, 1, length=1),
    "in": _INCH, '"': _INCH, "deg": _DEGREE, "°": _DEGREE,
}  # fmt: skip
ALLOWED = 'mm, cm, m, in, " and deg, °'
# Units in which a number beside them without unit may have been meant too.
FOREIGN = frozenset(("cm", "m", "in", '"'))
# Other words for our units, and other units as so many of ours.
SPELLINGS = {
    "inch": "in", "inches": "in", "ins": "in", "″": '"', "”": '"', "“": '"', "''": '"',
    "millimetre": "mm", "millimetres": "mm", "millimeter": "mm", "millimeters": "mm",
    "centimetre": "cm", "centimetres": "cm", "centimeter": "cm", "centimeters": "cm",
    "metre": "m", "metres": "m", "meter": "m", "meters": "m", "degree": "deg", "degrees": "deg",
    "º": "°", "˚": "°",
}  # fmt: skip
OTHERS = {
    "ft": (12, 1, "in"), "foot": (12, 1, "in"), "feet": (12, 1, "in"), "'": (12, 1, "in"), "’": (12, 1, "in"),
    "yd": (36, 1, "in"), "mil": (1, 1000, "in"), "mils": (1, 1000, "in"), "thou": (1, 1000, "in"),
    "um": (1, 1000, "mm"), "µm": (1, 1000, "mm"), "μm": (1, 1000, "mm"), "micron": (1, 1000, "mm"),
    "microns": (1, 1000, "mm"), "dm": (10, 1, "cm"), "km": (1000, 1, "m"),
}  # fmt: skip


def decimal(figures: str, unit: str = "") -> Amount:
    """The amount of decimal figures (`10.5`, `.5`, `1e3`), correctly rounded.

    Raises:
        ValueMistake: not finite, or over the limit of its unit.
    """
    value = float(figures)
    if not math.isfinite(value):
        raise ValueMistake(f"`{figures}` is too large; the limit of a length is 100 m")
    mantissa, _, power = figures.lower().partition("e")
    if abs(int(power or 0)) > limits.NUMBER_CHARACTERS:
        # The exact way would raise ten to that power; so far out, rounding is of no account.
        known = UNITS[unit] if unit else Unit(1, 1)
        return _checked(value * known.over / known.under, unit)
    whole, _, rest = mantissa.partition(".")
    shift = int(power or 0) - len(rest)
    return fraction(int(whole + rest) * 10 ** max(shift, 0), 10 ** max(-shift, 0), unit)


def fraction(over: int, under: int, unit: str = "") -> Amount:
    """The amount of a fraction of a unit; whole numbers keep it exact until the last step.

    Raises:
        ValueMistake: zero below the line, or over the limit of its unit.
    """
    if under == 0:
        raise ValueMistake("a fraction has zero below the line")
    known = UNITS[unit] if unit else Unit(1, 1)
    try:
        return _checked(over * known.over / (under * known.under), unit)
    except OverflowError:
        raise ValueMistake("too large; the limit of a length is 100 m") from None


def _checked(value: float, unit: str) -> Amount:
    if not unit:
        return Amount(value, bare=True)
    known = UNITS[unit]
    if known.length and abs(value) > limits.LENGTH:
        raise ValueMistake(f"{value:,.10g} mm; the limit is {limits.LENGTH:,.0f} mm (100 m)")
    if known.angle and abs(value) > limits.ANGLE:
        raise ValueMistake(f"{value:,.10g} degrees; the limit is {limits.ANGLE:,.0f}")
    return Amount(value, known.length, known.angle)
