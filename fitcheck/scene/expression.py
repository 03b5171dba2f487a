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
from dataclasses import dataclass, replace
from functools import cached_property

from fitcheck.scene import limits
from fitcheck.scene.amounts import WHOLE, Amount, as_angle, as_count, as_length, as_number, describe, too_long
from fitcheck.scene.mistakes import ValueMistake, nearest
from fitcheck.scene.sway import swayed

__all__ = [
    "Amount",
    "Expression",
    "Lookup",
    "as_angle",
    "as_count",
    "as_length",
    "as_number",
    "evaluate",
    "from_table",
]

Span = tuple[int, int]
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
        result = _bounded(_operate(step, operands, expression.text), step.span, expression.text)
        stack.append(_swaying(step.does, operands, result))
    return stack[0]


def _swaying(does: str, operands: list[Amount], result: Amount) -> Amount:
    """The result with what it rests on; the operations themselves know nothing of it."""
    if not any(one.sway for one in operands):
        return result
    sway = swayed(does, [(one.value, one.sway) for one in operands], lambda value: _whole(does, value))
    return replace(result, sway=sway)


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


def _bounded(amount: Amount, span: Span, text: str) -> Amount:
    """The amount, unless it is not finite or a length over the limit."""
    if not math.isfinite(amount.value):
        raise ValueMistake(f"`{_said(text, span)}` is too large to calculate", offset=span[0])
    if amount.kind == (1, 0) and abs(amount.value) > limits.LENGTH:
        raise ValueMistake(f"`{_said(text, span)}` comes to {too_long(amount.value)}", offset=span[0])
    return amount


def _said(text: str, span: Span) -> str:
    return text[span[0] : span[1]]


def _factor(said: str) -> str:
    """The operand as it may stand beside `*` or `/`."""
    return said if re.fullmatch(r"[\w.]+", said) else f"({said})"


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
        return _alone(step, operands[0], text)
    except ZeroDivisionError:
        problem = f"`{_said(text, step.operands[1])}` is zero, and nothing can be divided by it"
        raise ValueMistake(problem, offset=step.operands[1][0]) from None
    except OverflowError:
        raise ValueMistake(
            f"`{_said(text, step.span)}` is too large to calculate", offset=step.span[0]
        ) from None


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
            operand = _factor(_said(text, spans[plain]))
            mend = f"write {text[: spans[plain][0]]}{operand} * {word}{text[spans[plain][1] :]}"
    return ValueMistake(problem, mend, spans[other][0])


def _times(a: Amount, b: Amount) -> Amount:
    length, angle = a.length + b.length, a.angle + b.angle
    plain = a.kind == b.kind == (0, 0)
    return Amount(a.value * b.value, length, angle, plain and (a.bare or b.bare))


def _over(a: Amount, b: Amount) -> Amount:
    length, angle = a.length - b.length, a.angle - b.angle
    return Amount(a.value / b.value, length, angle, a.bare and b.kind == (0, 0))


def _alone(step: Operation, a: Amount, text: str) -> Amount:
    """A sign or function of one value."""
    does, (start, end) = step.does, step.operands[0]
    said = text[start:end]
    if does == "negate":
        return Amount(-a.value, a.length, a.angle, a.bare)
    if does == "abs":
        return Amount(abs(a.value), a.length, a.angle, a.bare)
    if does == "sqrt":
        if a.value < 0:
            raise ValueMistake(f"`{said}` is negative and has no square root", offset=start)
        if a.length % 2 or a.angle % 2:
            raise ValueMistake(
                f"`{said}` is {describe(a)}; its square root has no unit of ours", offset=start
            )
        return Amount(math.sqrt(a.value), a.length // 2, a.angle // 2, a.bare)
    if does in ("floor", "ceil"):
        if a.kind != (0, 0):
            mend = f"write {text[:start]}{_factor(said)} / 1 mm){text[end + 1 :]}" if a.kind == (1, 0) else ""
            raise ValueMistake(f"`{said}` is {describe(a)}; {does} takes a number", mend, start)
        return Amount(_whole(does, a.value), bare=a.bare)
    if not a.bare and a.kind != (0, 1):
        raise ValueMistake(f"`{said}` is {describe(a)}; {does} takes an angle", offset=start)
    sine, cosine = _sine_cosine(a.value)
    if does == "tan" and cosine == 0:
        raise ValueMistake(f"tan has no value at {a.value:.10g} degrees", offset=start)
    return Amount(sine if does == "sin" else cosine if does == "cos" else sine / cosine)


def _sine_cosine(degrees: float) -> tuple[float, float]:
    """Both, exact at quarter turns."""
    quarter, rest = divmod(degrees, 90.0)
    sine, cosine = (math.sin(math.radians(rest)), math.cos(math.radians(rest))) if rest else (0.0, 1.0)
    turned = ((sine, cosine), (cosine, -sine), (-sine, -cosine), (-cosine, sine))[int(quarter % 4)]
    # Adding zero turns -0.0 into 0.0.
    return turned[0] + 0.0, turned[1] + 0.0


def _whole(does: str, value: float) -> float:
    """Floor or ceiling; what is within rounding of a whole number is that number."""
    near = round(value)
    if abs(value - near) <= WHOLE * max(1.0, abs(value)):
        return float(near)
    return float(math.floor(value) if does == "floor" else math.ceil(value))


# How many values each function takes: at least, at most.
FUNCTIONS: dict[str, tuple[int, int | None]] = {
    "min": (2, None), "max": (2, None),
    **dict.fromkeys(("abs", "sqrt", "sin", "cos", "tan", "floor", "ceil"), (1, 1)),
}  # fmt: skip
