"""How a value follows the measurements it rests on: along a straight line, or bent?

A worst case that is to be proved needs to know that sizes and places are linear in what was measured.
Arithmetic tells: sums, differences and products with something sure stay straight; a `min` of which
another operand may become the least does not, nor does a product of two measurements. Intervals (with
both ends possible, whatever else is measured) decide whether such a change can come at all.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

ANY = (-math.inf, math.inf)


@dataclass(frozen=True, slots=True)
class Sway:
    """What a value rests on.

    Args:
        rests: names of measurements, and of places that were looked up, sorted.
        bent: those of them that the value may not follow linearly, sorted.
        low, high: ends it cannot leave, mm or degrees; infinite where nobody knows.
    """

    rests: tuple[str, ...]
    bent: tuple[str, ...] = ()
    low: float = -math.inf
    high: float = math.inf


# A value and its sway; None for a sure one.
Operand = tuple[float, Sway | None]


def swayed(does: str, operands: Sequence[Operand], whole: Callable[[float], float]) -> Sway | None:
    """The sway of `+ - * /`, `negate` or a function of operands; None for a sure result.

    Args:
        does: as in the steps of an expression.
        operands: at least one of them with a sway.
        whole: what floor or ceil makes of a number.
    """
    rests = _names(sway.rests for _, sway in operands if sway)
    bent = _names(sway.bent for _, sway in operands if sway)
    ends = [_ends(one) for one in operands]
    if does in ("min", "max"):
        return _chosen(does, operands, ends, rests)
    if does in ("floor", "ceil"):
        (low, high), *_ = ends
        sure = math.isfinite(low) and math.isfinite(high) and whole(low) == whole(high)
        return None if sure else Sway(rests, rests)
    if does == "+":
        return Sway(rests, bent, ends[0][0] + ends[1][0], ends[0][1] + ends[1][1])
    if does == "-":
        return Sway(rests, bent, ends[0][0] - ends[1][1], ends[0][1] - ends[1][0])
    if does == "negate" or (does == "abs" and ends[0][1] <= 0):
        return Sway(rests, bent, -ends[0][1], -ends[0][0])
    if does == "abs" and ends[0][0] >= 0:
        return Sway(rests, bent, *ends[0])
    if does == "*" and None in (operands[0][1], operands[1][1]):
        factor, loose = (0, 1) if operands[0][1] is None else (1, 0)
        return _scaled(rests, bent, ends[loose], operands[factor][0])
    if does == "/" and operands[1][1] is None:
        return _scaled(rests, bent, ends[0], 1.0 / operands[1][0])
    return Sway(rests, rests)


def bent_by(sway: Sway | None, named: Sway | None) -> Sway | None:
    """A sway that further jumps with what another value rests on (chosen by it, counted by it)."""
    if named is None:
        return sway
    rests = _names((named.rests, sway.rests if sway else ()))
    return Sway(rests, _names((named.rests, sway.bent if sway else ())))


def _names(lists: object) -> tuple[str, ...]:
    return tuple(sorted({name for names in lists for name in names}))  # type: ignore[attr-defined]


def _ends(operand: Operand) -> tuple[float, float]:
    value, sway = operand
    return (value, value) if sway is None else (sway.low, sway.high)


def _scaled(
    rests: tuple[str, ...], bent: tuple[str, ...], ends: tuple[float, float], by: float
) -> Sway | None:
    if by == 0:
        return None
    low, high = sorted(end * by for end in ends)
    return Sway(rests, bent, low, high)


def _chosen(
    does: str, operands: Sequence[Operand], ends: list[tuple[float, float]], rests: tuple[str, ...]
) -> Sway | None:
    """The sway of the operand that is always the least or greatest; bent where that may change."""
    for k, (low, high) in enumerate(ends):
        others = [end for j, end in enumerate(ends) if j != k]
        if all(low >= other[1] if does == "max" else high <= other[0] for other in others):
            return operands[k][1]
    best = max if does == "max" else min
    return Sway(rests, rests, best(end[0] for end in ends), best(end[1] for end in ends))
