"""Lengths in a text said in inches: fractions as on a tape, thousandths where they are small."""

from __future__ import annotations

import re
from fractions import Fraction

# The inch is 25.4 mm exactly (international yard and pound agreement, 1959).
INCH = 25.4
# The finest marks of a rule: common practice.
FINEST = 64
# Smaller lengths are said in thousandths, mm: a gap of a sixteenth or less is no matter of a tape.
SMALL = INCH / 16
ROUNDED = (
    "lengths rounded to 1/64 in (0.4 mm), below 1/16 in to 0.001 in; what fits was decided in exact figures"
)

# A number, or several that share a unit: 320.0 x 25.0 mm.
_NUMBER = r"[+-]?\d[\d,]*(?:\.\d+)?"
_LENGTH = re.compile(rf"(?<![\w.])({_NUMBER}(?: (?:x|to|\.\.|±) {_NUMBER})*) mm(?![²³\w])")


def in_inches(text: str) -> str:
    """The text with its millimetres as inches; areas and volumes stay."""
    return _LENGTH.sub(lambda found: f"{re.sub(_NUMBER, lambda one: inches(one[0]), found[1])} in", text)


def inches(millimetres: str) -> str:
    """A number of millimetres as inches: `101.0` as `3 63/64`, `0.8` as `0.031`; a sign is kept."""
    sign = millimetres[0] if millimetres[0] in "+-" else ""
    value = float(millimetres.strip("+-").replace(",", ""))
    if value < SMALL:
        return f"{sign}{value / INCH:.3f}" if value else f"{sign}0"
    marks = Fraction(round(value / INCH * FINEST), FINEST)
    whole, part = divmod(marks, 1)
    if not part:
        return f"{sign}{whole}"
    return f"{sign}{whole} {part}" if whole else f"{sign}{part}"
