"""Which of many values is meant by one that is written otherwise: 45 and 45.0 mm are one."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import floor, isfinite

from fitcheck.scene.amounts import EQUAL, Amount, is_equal
from fitcheck.scene.choices import spelled
from fitcheck.scene.expression import evaluate, from_table
from fitcheck.scene.kinds import Scalar
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.scene.quantity import arithmetic

# Amounts that are equal lie in one pigeonhole of this width, or in two beside each other.
HOLE = 1000 * EQUAL


class Values:
    """Values in their order, found by what they are spelled as, or come to, without going through all."""

    def __init__(self, values: Iterable[Scalar]) -> None:
        self.all = list(values)
        self._spelled: dict[str, list[int]] = {}
        self._holes: dict[int, list[tuple[int, Amount]]] = {}
        for at, value in enumerate(self.all):
            self._spelled.setdefault(spelled(value), []).append(at)
            amount = _amount(value)
            if amount is not None:
                self._holes.setdefault(floor(amount.value / HOLE), []).append((at, amount))

    def meant(self, written: Scalar) -> list[Scalar]:
        """Those that are the one written, in order."""
        found = set(self._spelled.get(spelled(written), ()))
        amount = _amount(written)
        if amount is not None:
            found |= set(self._equal(amount))
        return [self.all[at] for at in sorted(found)]

    def _equal(self, written: Amount) -> Iterator[int]:
        hole = floor(written.value / HOLE)
        for near in (hole - 1, hole, hole + 1):
            for at, amount in self._holes.get(near, ()):
                try:
                    if is_equal(amount, written):
                        yield at
                except ValueMistake:
                    continue


def _amount(value: Scalar) -> Amount | None:
    """What a value comes to; None for a word, and for yes and no."""
    if isinstance(value, bool):
        return None
    try:
        amount = evaluate(arithmetic(value), from_table({}))
    except ValueMistake:
        return None
    return amount if isfinite(amount.value) else None
