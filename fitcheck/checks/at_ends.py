"""Measurements that not everything follows linearly: the scene placed anew at each end, all else as drawn.

Nothing is proved by that: the worst may lie between the ends, or where several come together.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from fitcheck.checks.clearance import check_clearance
from fitcheck.checks.containment import check_containment
from fitcheck.checks.interference import check_interference
from fitcheck.checks.keep_clear import check_keep_clear
from fitcheck.checks.room import check_room
from fitcheck.finding import Finding, Verdict
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
            where = said_values({name: value})
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


def _ends(one: Measurement) -> list[float]:
    return [end for end in (one.low, one.high) if end != one.nominal and end < float("inf")]


def _failing(world: World) -> list[Finding]:
    found = [finding for check in _CHECKS for finding in check(world).findings]
    return [finding for finding in found if finding.verdict == Verdict.FAILS]
