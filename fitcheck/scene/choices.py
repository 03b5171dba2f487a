"""Is a value the one that is written? What `choices` and `when` ask, of words and of figures."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from fitcheck.scene.amounts import Amount, is_equal
from fitcheck.scene.kinds import Scalar, shown
from fitcheck.scene.mistakes import ValueMistake, nearest
from fitcheck.scene.quantity import arithmetic

Value = Amount | str | bool
# What a written figure, quantity or arithmetic comes to.
Work = Callable[[Scalar], Amount]


def spelled(value: Value | Scalar) -> str:
    """A value as a word of a file: yes and no for true and false."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Amount):
        return f"{value.value:.10g}"
    return value if isinstance(value, str) else f"{value:.10g}"


def is_same(value: Value, written: Scalar, work: Work) -> bool:
    """Whether a value is the one written: figures are worked out, so that 12 cm is 120 mm.

    Raises:
        ValueMistake: a figure is due and something else is written.
    """
    if isinstance(value, Amount):
        return is_equal(value, work(written))
    return spelled(value) == spelled(written)


def is_among(value: Value, choices: Iterable[Scalar], work: Work) -> bool:
    """Whether a value is one of those written."""
    return any(is_same(value, choice, work) for choice in choices)


def none_of(said: str, choices: Iterable[Scalar]) -> ValueMistake:
    """The mistake of a value that is none of the choices; says the nearest."""
    words = [spelled(choice) for choice in choices]
    near = nearest(said, words)
    problem = f"{shown(said)} is none of the choices {', '.join(words)}"
    return ValueMistake(problem, f"write {near}" if near else "")


def kind_of(choices: Iterable[Scalar] | None) -> str | None:
    """What a value is read as, by its choices: `choice` when one of them is a word, None among figures."""
    return None if choices is None or all(map(_is_figure, choices)) else "choice"


def _is_figure(choice: Scalar) -> bool:
    if isinstance(choice, bool):
        return False
    try:
        return not arithmetic(choice).names
    except ValueMistake:
        return False
