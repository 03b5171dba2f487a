"""Controls made from a scene's parameters: what may be typed for each, and between which ends it slides."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from fitcheck.scene.amounts import Amount
from fitcheck.scene.choices import spelled
from fitcheck.scene.expression import evaluate, from_table
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.scene.quantity import arithmetic

# A plain figure, its unit if it has one, and how sure it is: `54 ± 0.5 mm`, `120 mm`, `4`.
FIGURE = re.compile(r"([+-]?[0-9]+(?:\.[0-9]+)?)((?:\s*±\s*[0-9]+(?:\.[0-9]+)?)?\s*[a-zA-Z°\"']*)")
# How far a slider goes where the scene states no range: from nothing to twice the value, at least so far.
LEAST_REACH, LEAST_COUNT = 20.0, 4.0
# Steps of a slider: whole numbers, else this, mm or degrees in the unit that is written.
STEP = 0.5
FINE_STEP, FINE_BELOW = 0.01, 3.0


@dataclass(frozen=True)
class Control:
    """One parameter as it can be moved.

    Args:
        name: of the parameter.
        meaning: as the scene has it.
        written: the value as the file has it.
        kind: slider, choice or text.
        number: of a slider: the value, in the unit that is written.
        after: of a slider: what stands after the number.
        low, high, step: of a slider, in that unit.
        stated: the scene states the ends; else they are ours.
        choices: of a choice.
    """

    name: str
    meaning: str
    written: str
    kind: str
    number: float = 0.0
    after: str = ""
    low: float = 0.0
    high: float = 0.0
    step: float = 0.0
    stated: bool = False
    choices: tuple[str, ...] = ()

    @property
    def plain(self) -> dict[str, Any]:
        """As plain data."""
        return asdict(self)


def controls_of(data: Mapping[str, Any]) -> list[Control]:
    """The controls of a scene that was read, in its order."""
    return [_control(name, entry) for name, entry in (data.get("parameters") or {}).items()]


def _control(name: str, entry: Any) -> Control:
    long = entry if isinstance(entry, dict) else {"value": entry}
    value, meaning = long["value"], str(long.get("meaning") or "")
    written = spelled(value) if isinstance(value, bool) else str(value)
    choices = long.get("choices") or (["yes", "no"] if isinstance(value, bool) else None)
    if choices:
        words = tuple(spelled(one) if isinstance(one, bool) else str(one) for one in choices)
        return Control(name, meaning, written, "choice", choices=words)
    figure = FIGURE.fullmatch(written)
    if figure is None:
        return Control(name, meaning, written, "text")
    try:
        low, high, stated = _ends(float(figure[1]), figure[2], long.get("range"))
    except ValueMistake:
        return Control(name, meaning, written, "text")
    step = _step(figure[1] + figure[2], low, high)
    return Control(name, meaning, written, "slider", float(figure[1]), figure[2], low, high, step, stated)


def _ends(number: float, after: str, stated: Any) -> tuple[float, float, bool]:
    """Ends in the unit that is written, and whether the scene states both."""
    unit = re.sub(r"±\s*[0-9.]+", "", after).strip()
    whole = not unit and number.is_integer()
    low, high = min(0.0, 2 * number), max(2 * number, number + (LEAST_COUNT if whole else LEAST_REACH))
    ends = [None if end in (None, "none") else _in_unit(end, unit) for end in stated or (None, None)]
    low = low if ends[0] is None else ends[0]
    high = high if ends[1] is None else ends[1]
    return min(low, number), max(high, number), None not in ends


def _in_unit(end: Any, unit: str) -> float:
    one, amount = _amount(f"1 {unit}" if unit else 1), _amount(end)
    return round(amount.value if amount.bare else amount.value / one.value, 6)


def _amount(written: Any) -> Amount:
    return evaluate(arithmetic(written), from_table({}))


def _step(written: str, low: float, high: float) -> float:
    if re.fullmatch(r"[+-]?[0-9]+", written):
        return 1.0
    return FINE_STEP if high - low < FINE_BELOW else STEP
