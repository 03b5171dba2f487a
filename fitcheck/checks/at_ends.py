"""The scene placed anew at the ends of measurements: where not all is linear in them, and for other checks.

Nothing is proved by that: the worst may lie between the ends, or where several come together.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from fitcheck.checks.clearance import check_clearance
from fitcheck.checks.containment import check_containment
from fitcheck.checks.interference import check_interference
from fitcheck.checks.keep_clear import check_keep_clear
from fitcheck.checks.room import check_room
from fitcheck.finding import SEVERITY, Finding, Verdict
from fitcheck.scene.mistakes import Mistakes
from fitcheck.tolerances.movement import Movement, said_values
from fitcheck.world.forest import prepare
from fitcheck.world.world import Measurement, World

_CHECKS = (check_containment, check_interference, check_room, check_clearance, check_keep_clear)
# Ends take some tenths of a second each: so many measurements are tried where no rule asks.
UNASKED = 2


def tried(world: World, move: Movement) -> tuple[str, ...]:
    """Names of the measurements whose ends are tried alone."""
    names = (*move.doubts.bent, *move.doubts.changed)
    return names if "tolerance" in world.rules else names[:UNASKED]


def at_ends(world: World, move: Movement) -> Iterator[Finding]:
    """What fails at an end of a measurement that is tried alone, and does not as drawn."""
    known = {one.name: one for one in world.uncertain}
    failing: set[tuple[str, ...]] | None = None
    told: set[tuple[str, ...]] = set()
    for name in tried(world, move):
        if failing is None:
            failing = {finding.parts for finding in _failing(move.world)}
        for value in _ends(known[name]):
            where = said_values({name: value}, move.angles)
            assert world.elsewhere is not None
            try:
                there = world.elsewhere({name: value})
            except Mistakes as wrong:
                said = f"the scene cannot be built with {where}: {wrong.items[0]}"
                yield Finding("tolerance", (name,), Verdict.TIGHT, said, rule=f"end:{name}={value:g}")
                continue
            prepare(there)
            for finding in _failing(there):
                if finding.parts not in failing | told:
                    told.add(finding.parts)
                    said = f"with {where} {finding.sentence}"
                    rule = f"end:{finding.rule}"
                    yield replace(
                        finding, check="tolerance", verdict=Verdict.TIGHT, sentence=said, rule=rule, mend=""
                    )


def asked_at_ends(world: World, names: Sequence[str]) -> Iterator[Finding]:
    """What other checks say worse at ends than as drawn: of each finding its worst, told once.

    Each measurement is put at either end alone, then all together at their lower and at their upper ends.
    """
    from fitcheck.checks import CHECKS
    from fitcheck.runs.lay import laid

    checks = [check for check in CHECKS if check.name in names]
    if not checks:
        return
    drawn = {one.id: one for check in checks for one in check.run(laid(world)).findings}
    angles = {one.name for one in world.uncertain if one.angle}
    worst: dict[str, Finding] = {}
    for values in _corners(world.uncertain):
        assert world.elsewhere is not None
        try:
            there = world.elsewhere(values, runs=bool(world.wishes or world.loops))
        except Mistakes:
            # That it cannot be built is told by what follows the measurement.
            continue
        prepare(there)
        there = laid(there)
        for check in checks:
            for one in check.run(there).findings:
                if _rank(one) > _rank(drawn.get(one.id)) and _rank(one) > _rank(worst.get(one.id)):
                    said = f"with {said_values(values, angles)} {one.sentence}"
                    worst[one.id] = replace(one, sentence=said)
    for one in worst.values():
        verdict = Verdict.UNKNOWN if one.verdict == Verdict.UNKNOWN else Verdict.TIGHT
        yield replace(one, check="tolerance", verdict=verdict, rule=f"end:{one.check}:{one.rule}", mend="")


def _rank(finding: Finding | None) -> tuple[int, float]:
    """The worse, the higher: by the verdict, then by how much is missing; nothing found counts as fits."""
    if finding is None:
        return SEVERITY.index(Verdict.FITS), np.inf
    missing = 0.0
    if finding.verdict == Verdict.FAILS and finding.measured is not None and finding.required is not None:
        missing = abs(finding.required - finding.measured)
    # Of two that fit neither is worse.
    return SEVERITY.index(finding.verdict), np.inf if finding.verdict == Verdict.FITS else missing


def _corners(uncertain: Sequence[Measurement]) -> Iterator[dict[str, float]]:
    """Values of measurements at their ends: one after the other, then all together."""
    for one in uncertain:
        yield from ({one.name: end} for end in _ends(one))
    if len(uncertain) > 1:
        for end in ("low", "high"):
            values = {one.name: getattr(one, end) for one in uncertain}
            yield {name: value for name, value in values.items() if value < float("inf")}


def _ends(one: Measurement) -> list[float]:
    return [end for end in (one.low, one.high) if end != one.nominal and end < float("inf")]


def _failing(world: World) -> list[Finding]:
    found = [finding for check in _CHECKS for finding in check(world).findings]
    return [finding for finding in found if finding.verdict == Verdict.FAILS]
