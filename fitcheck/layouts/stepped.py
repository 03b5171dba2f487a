"""The values of a range with steps, as they would be typed."""

from __future__ import annotations

from collections.abc import Sequence
from math import floor

from fitcheck.scene import limits
from fitcheck.scene.amounts import Amount, is_equal
from fitcheck.scene.expression import evaluate, from_table
from fitcheck.scene.kinds import Scalar
from fitcheck.scene.layout_entries import Steps
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.scene.quantity import arithmetic


class WrongSteps(Exception):
    """What is wrong with a range, and under which of its keys; under none, with the range as a whole."""

    def __init__(self, of: Sequence[tuple[str, ValueMistake]]) -> None:
        super().__init__(of)
        self.of = of


def stepped(steps: Steps) -> list[Scalar]:
    """From the first value as far as steps go, the last one with it where a step ends there.

    Raises:
        WrongSteps: it has none, or too many.
    """
    ends: list[Amount] = []
    wrong: list[tuple[str, ValueMistake]] = []
    for key, value in (("from", steps.from_), ("to", steps.to), ("step", steps.step)):
        try:
            ends.append(evaluate(arithmetic(value), from_table({})))
        except ValueMistake as one:
            wrong.append((key, one))
    if wrong:
        raise WrongSteps(wrong)
    unit = next((amount for amount in ends if not amount.bare), ends[0])
    try:
        for amount in ends:
            is_equal(amount, unit)
    except ValueMistake as one:
        raise WrongSteps([("", one)]) from None
    start, stop, step = (amount.value for amount in ends)
    if step <= 0:
        raise WrongSteps([("step", ValueMistake("the step is not above 0"))])
    if stop < start:
        raise WrongSteps([("to", ValueMistake("`to` lies below `from`"))])
    count = floor((stop - start) / step + 1e-9) + 1
    if count > limits.COUNT:
        raise WrongSteps([("step", ValueMistake(f"{count:,} values; the limit is {limits.COUNT:,}"))])
    return [_typed(start + k * step, unit) for k in range(count)]


def _typed(value: float, unit: Amount) -> Scalar:
    """An amount as it would be typed."""
    plain = round(value, 9) + 0.0
    said = f"{plain:.10g}"
    if unit.bare or unit.kind == (0, 0):
        return int(plain) if plain == int(plain) else plain
    return f"{said} mm" if unit.kind == (1, 0) else f"{said} deg"
