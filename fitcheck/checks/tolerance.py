"""Tolerance: does it still fit at the worst end of every uncertain length; how likely is it?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any, Literal, get_args

import numpy as np
from pydantic import Field

from fitcheck.checks.at_ends import asked_at_ends, at_ends, tried
from fitcheck.checks.demanded import demands_of
from fitcheck.checks.empty_boxes import EmptyBoxesRule
from fitcheck.checks.tolerance_said import (
    chance_said,
    help_said,
    listed,
    said_stretches,
    undecided_said,
    worst_said,
    written,
)  # fmt: skip
from fitcheck.checks.verdicts import mm, rule_line
from fitcheck.checks.wanted_worst import wanted_findings
from fitcheck.finding import Answer, Finding, Verdict
from fitcheck.scene.rules import Count, Number, PartRef, Rule
from fitcheck.tolerances.likely import Spread, likely, spread
from fitcheck.tolerances.margins import Demands, Margin, margins
from fitcheck.tolerances.movement import Movement, movement, short
from fitcheck.tolerances.ranking import Helped, ranking
from fitcheck.tolerances.unmeasured import Stretch, stretches
from fitcheck.world.world import Measurement, World

QUESTION = "does it still fit at the worst end of every uncertain length; how likely is it?"
# Samples where no rule says how many: enough for a percent, few enough for a plain check.
SAMPLES = 2000
# How many may be asked for, and how wide a tolerance may be.
FEWEST, MOST, LEAST_SIGMAS, MOST_SIGMAS = 100, 200_000, 0.5, 10.0
# Uncertain lengths that are followed where no rule asks: 20 to 80 ms each with 60 parts.
UNASKED = 20
# Margins and measurements that are listed.
LISTED = 8


# Checks that do not follow measurements to their worst ends by themselves.
AsDrawn = Literal[
    "empty_boxes", "run", "loop", "drainage", "fastening", "edges", "removal", "assembly_order",
    "support", "access", "ventilation", "sight",
]  # fmt: skip


class ToleranceRule(Rule):
    """How uncertain lengths are taken."""

    general: Literal["f", "m", "c", "v"] | None = Field(
        None,
        description="Lengths, and angles that turn parts, written without a tolerance take that class of "
        "ISO 2768-1.",
    )
    of: list[PartRef] = Field(
        default_factory=list, description="Only what is written of these parts takes the general tolerance."
    )
    sigmas: Number | None = Field(
        None,
        description="A ± is so many sigmas of a normal distribution; if not given, every value is as likely.",
    )
    tried: list[AsDrawn] = Field(
        default_factory=list,
        description="Checks that are otherwise asked as drawn only, to be asked at the ends of every "
        "uncertain length too: empty_boxes, run, removal, ventilation ... It takes each as often.",
    )
    samples: Count = Field(SAMPLES, description="How many samples the probability is drawn from.")

    def wrong(self) -> Iterator[tuple[str, str, str]]:
        """Numbers that nothing can be drawn from."""
        if self.sigmas is not None and not LEAST_SIGMAS <= self.sigmas <= MOST_SIGMAS:
            said = (
                f"{self.sigmas:g} is not from {LEAST_SIGMAS:g} to {MOST_SIGMAS:g}: half a tolerance in sigmas"
            )
            yield "sigmas", said, "write 3"
        if self.of and self.general is None:
            yield "of", "says whose lengths take a general tolerance, but no class is given", "add general: m"
        if not FEWEST <= self.samples <= MOST:
            yield "samples", f"{self.samples:g} is not from {FEWEST} to {MOST:,}", f"write {SAMPLES}"


@dataclass(frozen=True, eq=False)
class _Asked:
    """One scene's tolerances, ready to be told of."""

    world: World
    move: Movement
    demands: Demands
    margins: list[Margin]
    rule: ToleranceRule
    boxes: tuple[Finding, ...]

    @property
    def tried(self) -> list[AsDrawn]:
        """Checks to be tried at the ends, but for what is proved anyway."""
        return [name for name in self.rule.tried if name != "empty_boxes" or not _boxes_followed(self.world)]


def check_tolerance(world: World) -> Answer:
    """Follow every uncertain length to its ends.

    The worst case is a proved bound where sizes and places are linear in the measurements, as they are but
    for what the answer names. What is not measured yet is held at the value drawn for that, and
    then followed over its whole range by itself.

    Returns:
        One finding for each demand that is met as drawn and not at the worst end; one for each range that
        nobody measured yet; one that tells how likely everything fits, and what to measure better.
        None at all without uncertain lengths.
    """
    if not world.uncertain:
        return Answer()
    if len(world.uncertain) > UNASKED and "tolerance" not in world.rules:
        count = len(world.uncertain)
        said = f"tolerance: {count} uncertain lengths were taken as drawn: each takes the scene placed"
        return Answer(not_checked=(f"{said} once more; a rule `tolerance: {{}}` asks for it",))
    rule = ToleranceRule.model_validate(world.rules.get("tolerance", {}))
    move = movement(world)
    if move is None:
        return Answer(not_checked=tuple(_not_examined(world, None)))
    demands = demands_of(move)
    unmeasured = frozenset(m.name for m in move.measurements if not m.measured)
    held = move.held(unmeasured)
    boxes = tuple(wanted_findings(world, held)) if _boxes_followed(world) else ()
    asked = _Asked(world, move, demands, margins(held, demands, anew=True), rule, boxes)
    findings = [*_missed(asked), *boxes, *at_ends(world, move), *asked_at_ends(world, asked.tried)]
    findings += _ranges(asked)
    findings += _summary(asked)
    return Answer(tuple(findings), _facts(asked), tuple(_left_out(asked)))


def _boxes_followed(world: World) -> bool:
    """Whether wanted boxes are followed: there are some, and no tubes or cables that may take the place."""
    return bool(EmptyBoxesRule.model_validate(world.rules.get("empty_boxes", {})).wanted) and not world.wishes


# --- demands that are missed at the worst end ---


def _missed(asked: _Asked) -> Iterator[Finding]:
    """One finding for each two parts and rule: that of the solids that miss it most."""
    told: set[tuple[tuple[str, str], str]] = set()
    failing = {(m.demand.parts, m.demand.rule) for m in asked.margins if not m.fits_drawn}
    for margin in sorted(asked.margins, key=lambda m: m.fits_met):
        key = margin.demand.parts, margin.demand.rule
        if key in told | failing or margin.fits_bound:
            continue
        if not margin.fits_met:
            yield _finding(
                asked, margin, Verdict.TIGHT, worst_said(margin, _moved(asked, margin), asked.move.angles)
            )
        elif np.isfinite(margin.bound) and np.isfinite(margin.met):
            yield _finding(asked, margin, Verdict.UNKNOWN, undecided_said(margin))
        else:
            continue
        told.add(key)


def _finding(asked: _Asked, margin: Margin, verdict: Verdict, said: str) -> Finding:
    demand = margin.demand
    spreads = spread(asked.move, asked.demands, margin, int(asked.rule.samples), asked.rule.sigmas)
    return Finding(
        "tolerance", demand.parts, verdict, said, margin.met, demand.required,
        rule=demand.rule,
        rule_line=rule_line(asked.world, demand.rule) if demand.rule else None,
        details={**_margin_data(asked, margin), **_spread_data(asked, spreads)},
    )  # fmt: skip


def _moved(asked: _Asked, margin: Margin) -> dict[str, float]:
    """The measurements that are not as drawn where a margin is worst."""
    values = asked.move.values(margin.where)
    return {
        name: round(value, 4)
        for (name, value), offset in zip(values.items(), margin.where.tolist(), strict=True)
        if abs(offset) > 1e-9
    }


# --- what is not measured yet ---


def _ranges(asked: _Asked) -> Iterator[Finding]:
    for index, one in enumerate(asked.move.measurements):
        if not one.measured:
            yield _range(asked, index, one)


def _range(asked: _Asked, index: int, one: Measurement) -> Finding:
    drawn = stretches(asked.move, asked.demands, index, with_others=False)
    several = any(m.measured for m in asked.move.measurements)
    worst = stretches(asked.move, asked.demands, index, with_others=True) if several else drawn
    said = f"{one.name} ({written(one)}, not measured yet) {said_stretches(drawn, one.unit)}"
    if several and _ends(worst) != _ends(drawn):
        said += f"; at the worst end of the others it {said_stretches(worst, one.unit)}"
    why = next((stretch.why for stretch in drawn if stretch.fits is False), None)
    unsure = next((stretch for stretch in (*drawn, *worst) if stretch.unsure), None)
    if unsure is not None and unsure.why is not None:
        said += f" ({' and '.join(unsure.why.things)}: {unsure.unsure})"
    elif why is not None and any(stretch.fits for stretch in drawn):
        said += f" ({' and '.join(why.things)})"
    return Finding(
        "tolerance", (one.name,), _range_verdict(drawn, worst, one), said, None, None,
        rule=f"measurement:{one.name}",
        rule_line=one.line or None,
        details={"fits": _fitting(drawn), "fits_at_worst": _fitting(worst), "low": one.low, "high": one.high},
    )  # fmt: skip


def _range_verdict(drawn: list[Stretch], worst: list[Stretch], one: Measurement) -> Verdict:
    """Fits all over, fails all over; tight where it fits as drawn; else it has to be measured first."""
    if all(stretch.fits for stretch in worst):
        return Verdict.FITS
    if all(stretch.fits is False for stretch in drawn):
        return Verdict.FAILS
    as_drawn = any(stretch.fits and stretch.low <= one.nominal <= stretch.high for stretch in drawn)
    return Verdict.TIGHT if as_drawn else Verdict.UNKNOWN


def _fitting(found: list[Stretch]) -> tuple[dict[str, float], ...]:
    return tuple({"from": one.low, "to": one.high} for one in found if one.fits)


def _ends(found: list[Stretch]) -> list[tuple[float, float]]:
    return [(round(one.low, 2), round(one.high, 2)) for one in found if one.fits]


# --- all together ---


def _summary(asked: _Asked) -> Iterator[Finding]:
    move, rule = asked.move, asked.rule
    measured = tuple(m for m in move.measurements if m.measured)
    if not measured:
        return
    chance = likely(move, asked.demands, int(rule.samples), rule.sigmas, "tolerance" in asked.world.rules)
    spare = [margin for margin in asked.margins if margin.drops or not margin.fits_met]
    helped = ranking(move, asked.demands, spare, rule.sigmas)
    lead = spare[0] if spare else None
    failing = [margin for margin in asked.margins if not margin.fits_drawn]
    details = {
        "probability": asdict(chance),
        "ranking": tuple(_help_data(one) for one in helped[:LISTED]),
        "margins": tuple(_margin_data(asked, margin) for margin in spare[:LISTED]),
    }
    names = listed(measured)
    parts = _parts(measured, rule)
    if failing:
        said = f"not even as drawn is every demand met; {chance_said(chance)}"
        parts, verdict = failing[0].demand.parts, Verdict.FAILS
    elif unproved := next((m for m in asked.margins if m.fits_met and not _proved(m)), None):
        parts, verdict = unproved.demand.parts, Verdict.UNKNOWN
        said = f"at the worst end of {names} not every demand is proved to be met; {chance_said(chance)}"
    elif box := next((one for one in asked.boxes if one.verdict != Verdict.FITS), None):
        verdict = box.verdict
        met = "is met" if verdict == Verdict.TIGHT else "is proved to be met"
        said = (
            f"at the worst end of {names} not every demand {met}; but for wanted boxes {chance_said(chance)}"
        )
        parts = box.parts
    elif all(margin.fits_met for margin in asked.margins):
        verdict = Verdict.FITS
        said = f"every demand is met at the worst end of {names}"
        if lead is not None:
            said += f": the least to spare is {mm(lead.least)}, {' and '.join(lead.demand.things)}"
    else:
        verdict = Verdict.TIGHT
        said = f"at the worst end of {names} not every demand is met; {chance_said(chance)}"
    if helped and verdict != Verdict.FITS:
        said += help_said(helped[0])
    yield Finding(
        "tolerance", parts, verdict, said, None if lead is None else lead.least, 0.0,
        rule="tolerance" if rule.model_fields_set else "",
        rule_line=rule_line(asked.world, "tolerance"),
        details=details,
    )  # fmt: skip


def _proved(margin: Margin) -> bool:
    """Whether what met its demand is proved to; where nothing at all is proved, that is said besides."""
    return margin.fits_bound or not np.isfinite(margin.bound)


def _parts(measured: tuple[Measurement, ...], rule: ToleranceRule) -> tuple[str, ...]:
    """What a finding about all measurements is of: general tolerances under one name."""
    general = (f"iso_2768_{rule.general}",) if any(m.general for m in measured) else ()
    return (*(m.name for m in measured if not m.general), *general)


# --- plain data ---


def _margin_data(asked: _Asked, margin: Margin) -> dict[str, Any]:
    return {
        "check": margin.demand.check,
        "between": margin.demand.things[0],
        "and": margin.demand.things[1],
        "required": margin.demand.required,
        "drawn": margin.drawn,
        "worst": margin.met,
        "proved": margin.bound,
        "at": _moved(asked, margin),
    }


def _spread_data(asked: _Asked, spreads: Spread) -> dict[str, Any]:
    names = [m.name for m in asked.move.measurements]
    return {
        "sigma": spreads.sigma,
        "root_sum_square": spreads.rss,
        "statistical_margin": spreads.margin,
        "statistical_low": spreads.low,
        "statistical_high": spreads.high,
        "linear": spreads.linear,
        "shares": {name: share for name, share in zip(names, spreads.shares.tolist(), strict=True) if share},
    }


def _help_data(helped: Helped) -> dict[str, Any]:
    return {"name": helped.name, "gain": helped.gain, "share": helped.share}


def _facts(asked: _Asked) -> dict[str, Any]:
    listed = tuple(
        {"name": m.name, "low": m.low, "nominal": m.nominal, "high": m.high, "measured": m.measured}
        | ({"unit": m.unit} if m.angle else {})
        for m in asked.move.measurements
    )
    return {"measurements": listed}


# --- what is left out ---


def _left_out(asked: _Asked) -> Iterator[str]:
    world, move = asked.world, asked.move
    yield from _not_examined(world, move)
    unproved = [m for m in asked.margins if not np.isfinite(m.bound)]
    if unproved:
        things = " ~ ".join(unproved[0].demand.things)
        more = f" and {len(unproved) - 1} more" if len(unproved) > 1 else ""
        yield f"tolerance: a mesh that changes its shape was tried at the ends only ({things}{more})"
    yield from (f"tolerance: {said}" for said in asked.demands.left_out)
    of_runs = (("run", world.wishes), ("loop", world.loops), ("drainage", world.loops))
    here = [name for name in get_args(AsDrawn) if world.rules.get(name)]
    here += [name for name, there in of_runs if there]
    if _boxes_followed(world):
        here = [name for name in here if name != "empty_boxes"]
    drawn = [name for name in here if name not in asked.tried]
    if drawn:
        yield f"tolerance: {', '.join(drawn)} were asked as drawn only, not at other ends"
    if asked.tried:
        yield f"tolerance: {', '.join(asked.tried)} were tried at the ends, the worst is not proved"


def _not_examined(world: World, move: Movement | None) -> Iterator[str]:
    """One sentence for each uncertain length that could not be followed: at which value it was taken."""
    followed = {m.name for m in move.measurements} if move else set()
    for one in world.uncertain:
        if one.name in followed:
            continue
        said = f"{one.name} {written(one)} was taken at {short(one.nominal)} {one.unit}; "
        if not np.isfinite(one.high):
            yield said + "it has no upper end that could be examined"
        elif move and one.name in tried(world, move):
            why = "it does more than turn parts" if one.angle else "what follows it is not linear"
            yield said + f"{why}: its ends were tried alone, the worst is not proved"
        elif move and one.name in move.doubts.unbuilt:
            yield said + f"the scene cannot be built with another: {move.doubts.unbuilt[one.name]}"
        else:
            yield said + "the worst end was not examined"
