"""When a measured length meets its demand, and how lengths, sides and places are said."""

from __future__ import annotations

from fitcheck.finding import Verdict
from fitcheck.world.frames import point
from fitcheck.world.world import World

__all__ = ["ROUNDING", "compare", "mm", "point", "rule_line", "side_of", "towards"]

# Rounding of sums of written lengths in floating point, and of the engine's iterations,
# mm: a distance of 2 mm that comes out as 1.9999999 meets a demand of 2. Far below
# anything that can be measured.
ROUNDING = 1e-5


def compare(measured: float, required: float, margin: float = 0.0, error: float = 0.0) -> Verdict:
    """Verdict of a length that should be at least `required`.

    `tight` from the demand up to demand + margin, and when only the length as drawn meets
    the demand but not that length less `error`, by which the drawn surface may be off.
    """
    if measured < required - ROUNDING:
        return Verdict.FAILS
    if measured - error < required + margin - ROUNDING:
        return Verdict.TIGHT
    return Verdict.FITS


def mm(value: float, against: float | None = None) -> str:
    """A length to 0.1 mm; finer where that would hide the difference to `against`.

    >>> mm(2.04), mm(1.999, against=2.0)
    ('2.0 mm', '1.999 mm')
    """
    for digits in (1, 2, 3, 4):
        said = f"{value:.{digits}f}"
        if against is None or said != f"{against:.{digits}f}" or abs(value - against) <= ROUNDING:
            return f"{0.0:.{digits}f} mm" if float(said) == 0 else f"{said} mm"
    return f"{value:.5f} mm"


def rule_line(world: World, rule: str) -> int | None:
    """Line of a rule in the scene file; of what encloses it where it has none of its own.

    Rules are named by their path below `rules`, entries of a list counted from 1:
    `clearance.pairs[2]`, `room[1]`.
    """
    while rule:
        if rule in world.lines:
            return world.lines[rule]
        cut = max(rule.rfind("."), rule.rfind("["))
        rule = rule[:cut] if cut > 0 else ""
    return None


def towards(side: str) -> str:
    """A direction in words: `to the rear`, `up`."""
    return {"top": "up", "bottom": "down"}.get(side, f"to the {side}")


def side_of(side: str) -> str:
    """A side as a place: `at the rear of`, `above`."""
    return {"top": "above", "bottom": "below"}.get(side, f"at the {side} of")
