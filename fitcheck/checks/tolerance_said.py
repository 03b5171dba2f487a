"""How tolerances are said: margins at the worst end, ranges that fit, probabilities, lengths as written."""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np

from fitcheck.checks.verdicts import ROUNDING, mm
from fitcheck.tolerances.likely import Likely
from fitcheck.tolerances.margins import Margin
from fitcheck.tolerances.movement import said_values, short
from fitcheck.tolerances.ranking import Helped
from fitcheck.tolerances.unmeasured import TO, Stretch
from fitcheck.world.world import Measurement

# Between what fits and what fails so much may stay undecided without a word, mm or degrees: said to 0.1.
UNSEEN = 0.1


def worst_said(margin: Margin, values: Mapping[str, float], angles: Collection[str] = ()) -> str:
    """What a demand comes to at the worst end, at these values of the measurements, and as drawn."""
    where = said_values(values, angles)
    demand = margin.demand
    a, b = demand.things
    drawn = "as drawn they " + _said(margin, margin.drawn)
    at = f"at the worst end ({where})" if where else "at the worst end"
    if demand.check == "containment":
        return f"{a} sticks {mm(-margin.met, against=0.0)} out of {b} {at}; as drawn it is inside"
    if demand.check == "room":
        length = mm(margin.met, against=demand.required)
        return f"room {a} {b}: {length} {at}, {mm(demand.required)} are demanded; as drawn {mm(margin.drawn)}"
    if demand.check == "gaps":
        length = mm(margin.met, against=demand.required)
        drawn = "as far as it likes" if np.isinf(margin.drawn) else mm(margin.drawn)
        return f"{a} can travel {length} {b} {at}, {mm(demand.required)} are demanded; as drawn {drawn}"
    if demand.check == "joined":
        by = mm(-margin.met, against=0.0)
        return f"{a} leaves its place in the port of {b} by {by} {at}; as drawn it is in it"
    if demand.check == "keep_clear":
        return f"{a} reaches {mm(-margin.met, against=0.0)} into {b} {at}; as drawn it is clear"
    said = f"{a} and {b} {_said(margin, margin.met)} {at}"
    if demand.required > 0:
        said += f", {mm(demand.required)} are demanded"
    return f"{said}; {drawn}"


def _said(margin: Margin, value: float) -> str:
    """`are 1.9 mm apart`, `overlap 0.3 mm deep`."""
    if abs(value) <= ROUNDING:
        return "touch"
    if value < 0:
        return f"overlap {mm(-value, against=0.0)} deep"
    return f"are {mm(value, against=margin.demand.required)} apart"


def undecided_said(margin: Margin) -> str:
    """That the proof and what was measured differ."""
    a, b = margin.demand.things
    least, met = (mm(value, against=margin.demand.required) for value in (margin.bound, margin.met))
    unproved = f"but only {least} is proved at the worst end"
    if margin.demand.check == "room":
        return f"room {a} {b} was {met} where it was measured, {unproved}"
    if margin.demand.check == "gaps":
        return f"{a} could travel {met} {b} where it was measured, {unproved}"
    return f"{a} and {b} are {met} apart where they were measured, {unproved}"


def said_stretches(found: list[Stretch], unit: str = "mm") -> str:
    """`fits below 31.4 mm, fails above`; in mm or deg."""
    fitting = [one for one in found if one.fits]
    undecided = [one for one in found if one.fits is None and one.high - one.low > UNSEEN]
    if undecided:
        pieces = [f"fits from {_up(one.low, unit)} to {_down(one.high, unit)}" for one in fitting]
        pieces += [
            f"is not decided from {_down(one.low, unit)} to {_up(one.high, unit)}" for one in undecided
        ]
        return ", ".join(pieces) + (", fails elsewhere" if any(one.fits is False for one in found) else "")
    if not fitting:
        return "fails at every value"
    if all(one.fits for one in found):
        return "fits at every value"
    low, high = found[0].low, found[-1].high
    if len(fitting) == 1 and fitting[0].low == low:
        return f"fits below {_down(fitting[0].high, unit)}, fails above"
    if len(fitting) == 1 and fitting[0].high == high:
        return f"fits above {_up(fitting[0].low, unit)}, fails below"
    said = " and ".join(f"from {_up(one.low, unit)} to {_down(one.high, unit)}" for one in fitting)
    return f"fits {said}, fails elsewhere"


def _down(value: float, unit: str) -> str:
    return f"{np.floor((value + TO) * 10) / 10 + 0.0:.1f} {unit}"


def _up(value: float, unit: str) -> str:
    return f"{np.ceil((value - TO) * 10) / 10 + 0.0:.1f} {unit}"


def listed(measured: tuple[Measurement, ...]) -> str:
    """The first of the measurements as they are written."""
    said = [f"{m.name} {written(m)}" for m in measured[:4]]
    more = f" and {len(measured) - 4} more" if len(measured) > 4 else ""
    return ", ".join(said) + more


def chance_said(chance: Likely) -> str:
    """How likely every demand is met, with its interval."""
    if not chance.samples:
        return "those that can be are met for certain"
    low, high = 100 * chance.low, 100 * chance.high
    return f"all are met with a probability of {100 * chance.share:.1f} % ({low:.1f} to {high:.1f} %)"


def help_said(helped: Helped) -> str:
    """What measuring the best one better brings."""
    if helped.gain <= 1e-6:
        return f"; {helped.name} has the largest share in it"
    return f"; measuring {helped.name} twice as well would help most, by {mm(helped.gain, against=0.0)}"


def written(one: Measurement) -> str:
    """An uncertain length or angle as it would be written."""
    unit = one.unit
    below, above = one.nominal - one.low, one.high - one.nominal
    if one.measured and abs(below - above) < 1e-9:
        return f"{short(one.nominal)} ± {short(below)} {unit}"
    if one.measured:
        return f"{short(one.nominal)} +{short(above)}/-{short(below)} {unit}"
    if not np.isfinite(one.high):
        return f"at least {short(one.nominal)} {unit}"
    if one.low > 0 or (one.angle and one.low < 0):
        return f"{short(one.low)} .. {short(one.high)} {unit}"
    return f"at most {short(one.high)} {unit}"
