"""A number with the exponents of length and angle, and what it may be used as.

A number without unit that is written in the file is *bare*: it becomes millimetres or degrees
where these are due. A declared count or number never does.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from fitcheck.scene import limits
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.scene.sway import Sway

# A quotient this near to a whole number is one: 0.3 / 0.1 is 2.9999999999999996 in binary.
WHOLE = 1e-9
# Amounts no farther apart are equal, mm, degrees or one: the rounding of arithmetic.
EQUAL = 1e-9


@dataclass(frozen=True, slots=True)
class Amount:
    """A number in mm and degrees with the exponents of both; `bare`: written without unit.

    `sway` says what it rests on, where that is asked (`sway.py`); None for a sure one.
    """

    value: float
    length: int = 0
    angle: int = 0
    bare: bool = False
    sway: Sway | None = None

    @property
    def kind(self) -> tuple[int, int]:
        """The exponents of length and angle."""
        return self.length, self.angle


def as_length(amount: Amount) -> float:
    """A length in mm; ValueMistake for anything else, or beyond the limit."""
    value = _due(amount, (1, 0), "a length", "multiply it by a length, such as 1 mm")
    if abs(value) > limits.LENGTH:
        raise ValueMistake(too_long(value))
    return value


def as_angle(amount: Amount) -> float:
    """An angle in degrees; ValueMistake for anything else, or beyond the limit."""
    value = _due(amount, (0, 1), "an angle", "multiply it by an angle, such as 1 deg")
    if abs(value) > limits.ANGLE:
        raise ValueMistake(f"{value:,.10g} degrees; the limit is {limits.ANGLE:,.0f}")
    return value


def as_number(amount: Amount) -> float:
    """A number without unit; ValueMistake for anything else."""
    return _due(amount, (0, 0), "a number without unit", "divide it by 1 mm" if amount.kind == (1, 0) else "")


def as_count(amount: Amount) -> int:
    """A whole number; ValueMistake for anything else, or beyond the limit."""
    value = _due(amount, (0, 0), "a whole number", "")
    whole = round(value)
    if abs(value - whole) > WHOLE * max(1.0, abs(value)):
        raise ValueMistake(
            f"{value:.10g} is not a whole number", f"write {math.floor(value)}, or {math.ceil(value)}"
        )
    if abs(whole) > limits.COUNT:
        raise ValueMistake(f"{whole:,} is too many; the limit is {limits.COUNT:,}")
    return whole


def is_equal(one: Amount, other: Amount) -> bool:
    """Whether two amounts are the same; a bare one takes the unit of the other.

    Raises:
        ValueMistake: they are of two kinds, such as a length and an angle.
    """
    if one.kind != other.kind and not one.bare and not other.bare:
        raise ValueMistake(f"{describe(other)} stands where {describe(one)} is due")
    return abs(one.value - other.value) <= EQUAL


def describe(amount: Amount) -> str:
    """What kind of amount this is, in words: `a length`, `an area`, `in mm·deg`."""
    known = {
        (0, 0): "a number",
        (1, 0): "a length",
        (2, 0): "an area",
        (3, 0): "a volume",
        (0, 1): "an angle",
        (-1, 0): "one over a length",
    }
    if amount.kind in known:
        return known[amount.kind]
    powers = [
        f"{unit}^{power}" if power != 1 else unit
        for unit, power in zip(("mm", "deg"), amount.kind, strict=True)
        if power
    ]
    return f"in {'·'.join(powers)}"


def _due(amount: Amount, kind: tuple[int, int], wanted: str, mend: str) -> float:
    if not math.isfinite(amount.value):
        raise ValueMistake("the value is not finite")
    if amount.bare or amount.kind == kind:
        return amount.value
    raise ValueMistake(
        f"{describe(amount)} stands where {wanted} is due",
        mend if amount.kind == (0, 0) or kind == (0, 0) else "",
    )


def too_long(value: float) -> str:
    return f"{value:,.10g} mm; the limit is {limits.LENGTH:,.0f} mm (100 m)"
