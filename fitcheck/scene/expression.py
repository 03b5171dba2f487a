"""What arithmetic comes to, with dimensions.

A value is a number with the exponents of length and angle: `fans * fan_size` is a length,
`fan_size * fan_size` an area. A number without unit that is written in the file is *bare*: it
becomes millimetres or degrees where these are due. A declared count or number never does:
`core + 2` is a length, `core + fans` an error. A bare factor may carry the unit, so a product
of a count and a bare number is bare (`(i - 1) * 75`), and so is a bare number divided by a count.

From Python:

    from fitcheck.scene.expression import Amount, as_length, evaluate, from_table
    from fitcheck.scene.quantity import arithmetic

    size = arithmetic("case.depth - 2 * setback - 20 mm")
    known = {"case.depth": Amount(640.0, length=1), "setback": Amount(16.0, length=1)}
    as_length(evaluate(size, from_table(known)))        # 588.0, mm

Nothing here looks at attributes or runs code: names are looked up by the function handed in.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

from fitcheck.scene import limits
from fitcheck.scene.mistakes import ValueMistake, nearest

# A quotient this near to a whole number is one: 0.3 / 0.1 is 2.9999999999999996 in binary.
WHOLE = 1e-9
Span = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Amount:
    """A number in mm and degrees with the exponents of both; `bare`: written without unit."""

    value: float
    length: int = 0
    angle: int = 0
    bare: bool = False

    @property
    def kind(self) -> tuple[int, int]:
        """The exponents of length and angle."""
        return self.length, self.angle


Lookup = Callable[[str], Amount]


@dataclass(frozen=True, slots=True)
class Constant:
    """Push an amount."""

    amount: Amount
    span: Span


@dataclass(frozen=True, slots=True)
class Name:
    """Push what a name stands for; indices taken from the stack go between the pieces."""

    pieces: tuple[str, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Operation:
    """Replace the operands on the stack by the result of `+ - * /`, `negate` or a function."""

    does: str
    operands: tuple[Span, ...]
    span: Span


Step = Constant | Name | Operation


@dataclass(frozen=True)
class Expression:
    """Arithmetic as written, and as steps for a stack (operands first).

    `names` are the names it asks for, in order, each once, constant indices included
    (`fan[2].hole[1].x`); one with a calculated index ends before that (`fan` of `fan[i].x`).
    """

    text: str
    steps: tuple[Step, ...]
    names: tuple[str, ...] = ()

    @cached_property
    def only_name(self) -> str | None:
        """The name, if the expression is nothing but one name."""
        step = self.steps[0]
        return step.pieces[0] if len(self.steps) == 1 and isinstance(step, Name) else None


def evaluate(expression: Expression, lookup: Lookup) -> Amount:
    """What an expression comes to.

    Args:
        expression: from `fitcheck.scene.quantity.arithmetic` or `parse`.
        lookup: gives the amount of a name with its indices, such as `fan[2].hole[1].x`;
            raises ValueMistake or KeyError where there is none. Other exceptions pass.

    Raises:
        ValueMistake: dimensions that do not go together, no finite result, a length over
            the limit, an unknown name; the offset counts into the expression's text.
    """
    stack: list[Amount] = []
    for step in expression.steps:
        if isinstance(step, Constant):
            stack.append(step.amount)
            continue
        if isinstance(step, Name):
            count = len(step.pieces) - 1
            indices = [stack.pop() for _ in range(count)][::-1]
            stack.append(_looked_up(step, indices, lookup, expression.text))
            continue
        count = len(step.operands)
        operands = stack[-count:]
        del stack[-count:]
        stack.append(_bounded(_operate(step, operands, expression.text), step.span, expression.text))
    return stack[0]


def from_table(values: Mapping[str, Amount | str | bool]) -> Lookup:
    """A lookup in a table; an unknown name is refused with the nearest one."""

    def lookup(name: str) -> Amount:
        if name not in values:
            near = nearest(name, values)
            raise ValueMistake(f"there is no `{name}`", f"write {near}" if near else "")
        value = values[name]
        if not isinstance(value, Amount):
            raise ValueMistake(
                f"`{name}` is {'yes or no' if isinstance(value, bool) else 'text'}, not a number"
            )
        return value

    return lookup


def as_length(amount: Amount) -> float:
    """A length in mm; ValueMistake for anything else, or beyond the limit."""
    value = _due(amount, (1, 0), "a length", "multiply it by a length, such as 1 mm")
    if abs(value) > limits.LENGTH:
        raise ValueMistake(_too_long(value))
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
            f"{value:.10g} is not a whole number", f"write {math.floor(value)} or {math.ceil(value)}"
        )
    if abs(whole) > limits.COUNT:
        raise ValueMistake(f"{whole:,} is too many; the limit is {limits.COUNT:,}")
    return whole


def describe(amount: Amount) -> str:
    """What kind of amount this is, in words: `a length`, `an area`, `in mm·deg`."""
    known = {
        (0, 0): "a number",
        (1, 0): "a length",
        (2, 0): "an area",
        (3, 0): "a volume",
        (0, 1): "an angle",
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
    if amount.bare or amount.kind == kind:
        return amount.value
    raise ValueMistake(
        f"{describe(amount)} stands where {wanted} is due",
        mend if amount.kind == (0, 0) or kind == (0, 0) else "",
    )


def _too_long(value: float) -> str:
    return f"{value:,.10g} mm; the limit is {limits.LENGTH:,.0f} mm (100 m)"


def _bounded(amount: Amount, span: Span, text: str) -> Amount:
    """The amount, unless it is not finite or a length over the limit."""
    if not math.isfinite(amount.value):
        raise ValueMistake(f"`{_said(text, span)}` is too large to calculate", offset=span[0])
    if amount.kind == (1, 0) and abs(amount.value) > limits.LENGTH:
        raise ValueMistake(f"`{_said(text, span)}` comes to {_too_long(amount.value)}", offset=span[0])
    return amount


def _said(text: str, span: Span) -> str:
    return text[span[0] : span[1]]


def _looked_up(step: Name, indices: list[Amount], lookup: Lookup, text: str) -> Amount:
    name = step.pieces[0]
    try:
        for index, piece in zip(indices, step.pieces[1:], strict=True):
            number = as_count(index)
            if number < 1:
                raise ValueMistake(
                    f"the index in `{_said(text, step.span)}` is {number}; indices count from 1"
                )
            name += f"{number}{piece}"
        return lookup(name)
    except KeyError:
        raise ValueMistake(f"there is no `{name}`", offset=step.span[0]) from None
    except ValueMistake as wrong:
        wrong.offset += step.span[0]
        raise


def _operate(step: Operation, operands: list[Amount], text: str) -> Amount:
    does = step.does
    try:
        if does in ("+", "-", "min", "max"):
            return _alike(step, operands, text)
        if does == "*":
            return _times(*operands)
        if does == "/":
            return _over(*operands)
        return _ALONE[does](operands[0])
    except ZeroDivisionError:
        problem = f"`{_said(text, step.operands[1])}` is zero, and nothing can be divided by it"
        raise ValueMistake(problem, offset=step.operands[1][0]) from None
    except OverflowError:
        raise ValueMistake(
            f"`{_said(text, step.span)}` is too large to calculate", offset=step.span[0]
        ) from None
    except ValueMistake as wrong:
        if wrong.offset == 0:
            wrong.offset = step.span[0]
        wrong.problem = wrong.problem.replace("{}", _said(text, step.operands[0]))
        raise


def _alike(step: Operation, operands: list[Amount], text: str) -> Amount:
    """Sum, difference, least or greatest: operands of one dimension; bare ones adapt."""
    settled = next((k for k, one in enumerate(operands) if not one.bare), 0)
    first = operands[settled]
    for k, one in enumerate(operands):
        if not one.bare and one.kind != first.kind:
            raise _unlike(step, settled, k, operands, text)
    values = [one.value for one in operands]
    if step.does in ("min", "max"):
        value = min(values) if step.does == "min" else max(values)
    else:
        value = values[0] + values[1] if step.does == "+" else values[0] - values[1]
    return Amount(value, first.length, first.angle, first.bare)


def _unlike(step: Operation, one: int, other: int, operands: list[Amount], text: str) -> ValueMistake:
    spans = step.operands
    verb = {"+": "added", "-": "subtracted"}.get(step.does, "compared")
    problem = (
        f"`{_said(text, spans[one])}` is {describe(operands[one])} and `{_said(text, spans[other])}` "
        f"{describe(operands[other])}; they cannot be {verb}"
    )
    mend = ""
    for plain, unit in ((one, other), (other, one)):
        word = {(1, 0): "1 mm", (0, 1): "1 deg"}.get(operands[unit].kind)
        if operands[plain].kind == (0, 0) and word:
            operand = _said(text, spans[plain])
            operand = operand if re.fullmatch(r"[\w.]+", operand) else f"({operand})"
            mend = f"write {text[: spans[plain][0]]}{operand} * {word}{text[spans[plain][1] :]}"
    return ValueMistake(problem, mend, spans[other][0])


def _times(a: Amount, b: Amount) -> Amount:
    length, angle = a.length + b.length, a.angle + b.angle
    plain = a.kind == b.kind == (0, 0)
    return Amount(a.value * b.value, length, angle, plain and (a.bare or b.bare))


def _over(a: Amount, b: Amount) -> Amount:
    length, angle = a.length - b.length, a.angle - b.angle
    return Amount(a.value / b.value, length, angle, a.bare and b.kind == (0, 0))


def _root(a: Amount) -> Amount:
    if a.value < 0:
        raise ValueMistake("`{}` is negative and has no square root")
    if a.length % 2 or a.angle % 2:
        raise ValueMistake(f"`{{}}` is {describe(a)}; the square root of that has no unit of ours")
    return Amount(math.sqrt(a.value), a.length // 2, a.angle // 2, a.bare)


def _turned(name: str) -> Callable[[Amount], Amount]:
    """Sine, cosine or tangent of degrees, exact at quarter turns."""

    def function(a: Amount) -> Amount:
        if not a.bare and a.kind != (0, 1):
            raise ValueMistake(f"`{{}}` is {describe(a)}; {name} takes an angle")
        quarter, rest = divmod(a.value, 90.0)
        sine, cosine = (
            (0.0, 1.0) if rest == 0 else (math.sin(math.radians(rest)), math.cos(math.radians(rest)))
        )
        sine, cosine = ((sine, cosine), (cosine, -sine), (-sine, -cosine), (-cosine, sine))[int(quarter % 4)]
        if name == "tan" and cosine == 0:
            raise ValueMistake(f"tan has no value at {a.value:.10g} degrees")
        return Amount({"sin": sine, "cos": cosine}[name] if name != "tan" else sine / cosine)

    return function


def _whole(name: str) -> Callable[[Amount], Amount]:
    """Floor or ceiling; what is within rounding of a whole number is that number."""
    towards = math.floor if name == "floor" else math.ceil

    def function(a: Amount) -> Amount:
        if a.kind != (0, 0):
            raise ValueMistake(
                f"`{{}}` is {describe(a)}; {name} takes a number", "divide by 1 mm first, and multiply after"
            )
        near = round(a.value)
        close = abs(a.value - near) <= WHOLE * max(1.0, abs(a.value))
        return Amount(float(near if close else towards(a.value)), bare=a.bare)

    return function


_ALONE: dict[str, Callable[[Amount], Amount]] = {
    "negate": lambda a: Amount(-a.value, a.length, a.angle, a.bare),
    "abs": lambda a: Amount(abs(a.value), a.length, a.angle, a.bare),
    "sqrt": _root,
    **{name: _turned(name) for name in ("sin", "cos", "tan")},
    **{name: _whole(name) for name in ("floor", "ceil")},
}
# How many values each function takes: at least, at most.
FUNCTIONS: dict[str, tuple[int, int | None]] = {
    "min": (2, None), "max": (2, None),
    **dict.fromkeys(("abs", "sqrt", "sin", "cos", "tan", "floor", "ceil"), (1, 1)),
}  # fmt: skip
