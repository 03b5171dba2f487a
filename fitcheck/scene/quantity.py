"""What a written value means: units, fractions, arithmetic, and how sure it is.

    parse("5 1/4 in")            # Expression; evaluate(...) gives Amount(133.35, length=1)
    parse("54 ± 0.5 mm")         # Uncertain(53.5, 54, 54.5), Amounts in mm
    parse("at most 146 mm")      # Uncertain(0, 146, 146): drawn at the most
    parse("30 .. 45 mm")         # Uncertain(30, 45, 45): not measured yet, drawn at the upper end
    parse(16)                    # a number from YAML: 16, bare

The grammar of arithmetic is in `arithmetic.py`; what its values come to in `expression.py`.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from functools import lru_cache

from fitcheck.scene import limits, meant
from fitcheck.scene.arithmetic import DECIMAL, UNIT, read_arithmetic
from fitcheck.scene.expression import Amount, Constant, Expression, Span
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.scene.units import decimal, fraction

__all__ = ["Amount", "Expression", "Uncertain", "arithmetic", "parse"]

_SIDE = re.compile(
    rf"""[ ]*(?P<sign>[-+]?)[ ]*
    (?:(?:(?P<whole>[0-9]+)[ ]+)?(?P<over>[0-9]+)/(?P<under>[0-9]+)|(?P<decimal>{DECIMAL}))
    [ ]*(?P<unit>{UNIT})?[ ]*""",
    re.VERBOSE,
)
_ONE_END = re.compile(r"[ ]*at[ ]+(?P<end>most|least)[ ]+")
_EVEN = re.compile(r"±|\+/-")
# `+1/-0.2`: whoever writes a slash and a minus behind a plus gives two tolerances.
_UNEVEN = re.compile(r"(?P<plus>\+)[^-+]*?(?P<minus>/[ ]*-)")
# In whose company a number without unit can only mean the same unit.
_HOUSE_UNITS = ("mm", "deg", "°")


@dataclass(frozen=True)
class Uncertain:
    """A measured value: its ends, and the value to draw; an end that nobody knows is None.

    `at most 146 mm` reaches down to 0; `at least 30 mm` has no upper end. `measured`: a figure with
    a tolerance; a range, or one end of it, is of something that nobody measured yet.
    """

    low: Amount | None
    nominal: Amount
    high: Amount | None
    measured: bool = True


def parse(value: int | float | str | bool | None) -> Expression | Uncertain:
    """Read one value as the file has it.

    Args:
        value: a text, or a number (which is bare: mm or degrees where these are due).

    Raises:
        ValueMistake: not of the grammar; problem, mend and offset into the text. A mend that
            begins with `write` was tried: it reads.
    """
    if isinstance(value, str):
        return _parsed(value)
    if isinstance(value, bool) or not isinstance(value, int | float):
        said = (
            "nothing is written"
            if value is None
            else "yes or no stands"
            if isinstance(value, bool)
            else "no number stands"
        )
        raise ValueMistake(f"{said} where a number is due", "write a number, such as 30 mm")
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise ValueMistake(
            "the number is not finite, or too large to calculate with", "write a number, such as 30 mm"
        )
    text = str(value)
    return Expression(text, (Constant(Amount(number, bare=True), (0, len(text))),))


def arithmetic(value: int | float | str) -> Expression:
    """The same where an uncertain value has no place, as in an index.

    Raises:
        ValueMistake: also for an uncertain value.
    """
    got = parse(value)
    if isinstance(got, Uncertain):
        raise ValueMistake("an uncertain value cannot stand here", "write one number")
    return got


# One model used twenty times asks for the same hundred texts twenty times.
@lru_cache(maxsize=4096)
def _parsed(text: str) -> Expression | Uncertain:
    try:
        return _read(text)
    except ValueMistake as wrong:
        raise ValueMistake(wrong.problem, _tried(wrong.mend), wrong.offset) from None


def _read(text: str) -> Expression | Uncertain:
    if len(text) > limits.EXPRESSION_CHARACTERS:
        problem = f"{len(text):,} characters in one value; the limit is {limits.EXPRESSION_CHARACTERS}"
        raise ValueMistake(problem, "give parts of it names of their own", limits.EXPRESSION_CHARACTERS)
    return _uncertain(text) or read_arithmetic(text)


def _tried(mend: str, rounds: int = 3) -> str:
    """The mend, cut down to what reads; where a further mend makes it read, that one."""
    if not mend.startswith("write "):
        return mend
    good = []
    for one in mend.removeprefix("write ").split(", or "):
        if one.startswith("+ - * or /"):
            return mend
        try:
            _read(one)
            good.append(one)
        except ValueMistake as wrong:
            further = _tried(wrong.mend, rounds - 1) if rounds else ""
            if further.startswith("write ") and not further.startswith("write +"):
                good.append(further.removeprefix("write "))
    return f"write {', or '.join(dict.fromkeys(good))}" if good else ""


def _uncertain(text: str) -> Uncertain | None:
    """An uncertain value, or None where the text is none."""
    loose = meant.loose_words(text)
    if loose:
        raise loose
    one_end = _ONE_END.match(text)
    if one_end:
        return _one_ended(one_end["end"], text, one_end.end())
    even = _EVEN.search(text)
    if even:
        return _toleranced(text, [(0, even.start()), (even.end(), len(text))])
    uneven = _UNEVEN.search(text)
    if uneven and uneven.start():
        ends = uneven.span("plus")[1], uneven.span("minus")
        return _toleranced(text, [(0, uneven.start()), (ends[0], ends[1][0]), (ends[1][1], len(text))])
    between = text.find("..")
    if between >= 0 and (_SIDE.fullmatch(text, 0, between) or _SIDE.fullmatch(text, between + 2)):
        return _range(text, [(0, between), (between + 2, len(text))])
    return None


def _one_ended(end: str, text: str, start: int) -> Uncertain:
    (value,) = _amounts(text, [(start, len(text))])
    if end == "least":
        return Uncertain(value, value, None, measured=False)
    if value.value < 0:
        raise ValueMistake("at most a value below zero; what is measured is at least 0", "", start)
    return Uncertain(replace(value, value=0.0), value, value, measured=False)


def _toleranced(text: str, spans: list[Span]) -> Uncertain:
    """Nominal, tolerance up, tolerance down; one tolerance serves both ways."""
    nominal, up, *rest = _amounts(text, spans)
    down = rest[0] if rest else up
    for tolerance, span in zip((up, down), spans[1:], strict=False):
        if tolerance.value < 0:
            bare = text[slice(*span)].replace("-", "", 1)
            mend = f"write {text[: span[0]]}{bare}{text[span[1] :]}"
            raise ValueMistake("a tolerance has no minus sign of its own", mend, span[0])
    return Uncertain(
        replace(nominal, value=nominal.value - down.value),
        nominal,
        replace(nominal, value=nominal.value + up.value),
    )


def _range(text: str, spans: list[Span]) -> Uncertain:
    low, high = _amounts(text, spans)
    if low.value > high.value:
        first, second = (text[slice(*span)].strip() for span in spans)
        problem = f"the range runs down from {first} to {second}"
        unit = re.search(rf"[ ]*{UNIT}$", second)
        if unit and not _side(text, spans[0])["unit"]:
            # `45 .. 30 mm`: the unit at the end served both.
            first, second = first + unit[0], second.removesuffix(unit[0])
        raise ValueMistake(problem, f"write {second} .. {first}", spans[0][0])
    return Uncertain(low, high, high, measured=False)


def _amounts(text: str, spans: list[Span]) -> list[Amount]:
    """The figures of an uncertain value, each with its own unit or that of its neighbours.

    A unit at the end serves all before it (`54 ± 0.5 mm`, `1 .. 2 in`). Backwards only mm and
    degrees serve: `2 in ± 1` may be an inch or a millimetre off.
    """
    sides = [_side(text, span) for span in spans]
    units = [side["unit"] or "" for side in sides]
    for k in reversed(range(len(units) - 1)):
        units[k] = units[k] or units[k + 1]
    for k in range(1, len(units)):
        if not units[k] and units[k - 1]:
            if units[k - 1] not in _HOUSE_UNITS:
                end = sides[k].end("unit") if sides[k]["unit"] else len(text[: spans[k][1]].rstrip())
                mends = [f"{text[:end]} {unit}{text[end:]}" for unit in (units[k - 1], "mm")]
                said = text[slice(*spans[k])].strip()
                raise ValueMistake(
                    f"`{said}` has no unit beside `{units[k - 1]}`",
                    f"write {', or '.join(mends)}",
                    spans[k][0],
                )
            units[k] = units[k - 1]
    amounts = [_amount(side, unit) for side, unit in zip(sides, units, strict=True)]
    if len({one.kind for one in amounts}) > 1:
        raise ValueMistake("lengths and angles in one uncertain value", "", spans[-1][0])
    return amounts


def _side(text: str, span: Span) -> re.Match[str]:
    """The figure in one part of an uncertain value."""
    start, end = span
    found = _SIDE.fullmatch(text, start, end)
    if found:
        return found
    alone = ValueMistake(
        "an uncertain value stands alone, in figures, without names or arithmetic",
        "give it a name under parameters, and calculate with the name",
        start,
    )
    part = text[start:end]
    if part.count("(") != part.count(")"):
        raise alone
    try:
        read_arithmetic(part)
    except ValueMistake as wrong:
        mend = wrong.mend
        if mend.startswith("write "):
            ends = [f"{text[:start]}{one}{text[end:]}" for one in mend.removeprefix("write ").split(", or ")]
            mend = f"write {', or '.join(ends)}"
        raise ValueMistake(wrong.problem, mend, start + wrong.offset) from None
    raise alone


def _amount(side: re.Match[str], unit: str) -> Amount:
    try:
        if side["over"]:
            over, under = int(side["over"]), int(side["under"])
            if side["whole"] and not unit:
                raise ValueMistake(f"`{side[0].strip()}` needs a unit to be one length")
            if side["whole"] and over >= under > 0:
                raise ValueMistake(f"the fraction {over}/{under} beside a whole number is not below 1")
            amount = fraction(int(side["whole"] or 0) * under + over, under, unit)
        else:
            amount = decimal(side["decimal"], unit)
    except ValueMistake as wrong:
        wrong.offset = side.start()
        raise
    return replace(amount, value=-amount.value) if side["sign"] == "-" else amount
