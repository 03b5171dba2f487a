"""Which values of one parameter fit: all intervals, their ends found by halving.

A value is asked every step, and between two neighbours of which one holds the end is halved down to a
hundredth of a millimetre. An interval narrower than the step may lie between two values asked: the
answer says how far apart these were.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import floor

# To how much the end of an interval is found, mm or degrees.
TO = 0.01


@dataclass(frozen=True)
class Asked:
    """What one value came to: whether it holds, and if not why."""

    holds: bool
    why: str = ""


@dataclass(frozen=True)
class Interval:
    """Values that hold.

    Args:
        low, high: the first and the last one known to hold.
        below, above: why the next one beyond does not; empty where the range asked ends.
    """

    low: float
    high: float
    below: str = ""
    above: str = ""


def stops(low: float, high: float, step: float) -> list[float]:
    """The values to ask: from low by steps, and high."""
    count = floor((high - low) / step + 1e-9)
    found = [low + k * step for k in range(count + 1)]
    return found if high - found[-1] <= 1e-9 else [*found, high]


def intervals(ask: Callable[[float], Asked], values: Sequence[float], to: float = TO) -> Iterator[Interval]:
    """Intervals of values that hold, from low to high.

    Args:
        ask: about one value.
        values: those that are asked first, rising.
        to: to how much ends are found; 0 for whole numbers: the values themselves are all there are.
    """
    start: float | None = None
    below = ""
    last: tuple[float, Asked] | None = None
    for value in values:
        found = ask(value)
        if last is not None and found.holds != last[1].holds:
            inside, why = (
                _end(ask, (value, found), last, to) if found.holds else _end(ask, last, (value, found), to)
            )
            if found.holds:
                start, below = inside, why
            elif start is not None:
                yield Interval(start, inside, below, why)
                start = None
        elif last is None and found.holds:
            start, below = value, ""
        last = value, found
    if start is not None and last is not None:
        yield Interval(start, last[0], below)


def _end(
    ask: Callable[[float], Asked], good: tuple[float, Asked], bad: tuple[float, Asked], to: float
) -> tuple[float, str]:
    """The value that holds nearest to one that does not, and why that one does not."""
    inside, beyond, why = good[0], bad[0], bad[1].why
    while to > 0 and abs(beyond - inside) > to:
        middle = (inside + beyond) / 2
        found = ask(middle)
        if found.holds:
            inside = middle
        else:
            beyond, why = middle, found.why
    return inside, why
