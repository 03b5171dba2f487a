"""Loop: is each coolant loop closed, its pump flooded, its metals safe together, its pressure loss small?"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from fitcheck.checks.names import choose
from fitcheck.checks.verdicts import mm
from fitcheck.finding import Answer, Finding, Point, Verdict
from fitcheck.loops.asked import Asked, asked, by_part
from fitcheck.loops.flow import Losses, losses
from fitcheck.loops.leaks import Drip, drips
from fitcheck.loops.plumbing import Net
from fitcheck.loops.properties import water
from fitcheck.loops.pumps import PumpStand, metals, pumps
from fitcheck.loops.way import way
from fitcheck.world.world import World

QUESTION = (
    "is each coolant loop closed, its pump flooded, its metals safe together, its pressure loss small enough?"
)


def check_loop(world: World) -> Answer:
    """Follow each loop round, and look at its pumps, metals, joints and pressure loss.

    Returns:
        For each loop: whether it is closed, each port used once and every part passed the right way; each
        pump; mixed metals; where leaks land; the pressure loss at its flow, as an estimate with its range.
    """
    findings: list[Finding] = []
    for loop in asked(world):
        findings += _closed(world, loop)
        findings += _pumps(world, loop)
        findings += _metals(world, loop)
        findings += _leaks(world, loop)
        findings += _pressure(world, loop)
    return Answer(tuple(findings))


def _say(
    world: World, loop: Asked, what: str, verdict: Verdict, said: str, parts: tuple[str, ...],
    where: tuple[Point, ...] = (), **more: Any,
) -> Finding:  # fmt: skip
    return Finding(
        check="loop",
        parts=parts,
        verdict=verdict,
        sentence=f"{loop.name}: {said}",
        where=where,
        rule=f"loops.{loop.name}.{what}",
        rule_line=loop.line(world),
        **more,
    )


def _closed(world: World, loop: Asked) -> Iterator[Finding]:
    order = tuple(loop.entry.order)
    for one in loop.around.breaks:
        verdict = Verdict.UNKNOWN if one.parts[0] in loop.net.unlaid else Verdict.FAILS
        yield _say(world, loop, "order", verdict, one.said, one.parts)
    for spot in _loose(loop.net, loop.items):
        at = next(s.at for s in loop.net.spots[spot.rpartition(".")[0]] if s.name == spot)
        yield _say(
            world, loop, "order", Verdict.FAILS, f"{spot} takes a tube and has none",
            (spot.rpartition(".")[0],), ((float(at[0]), float(at[1]), float(at[2])),),
        )  # fmt: skip
    if not loop.around.breaks:
        held = loop.plumbed.water.volume
        details = {"order": tuple(step.item for step in loop.around.steps), "volume": held}
        said = f"is closed, in the direction of flow: {', '.join(order)}, and back; it holds {held:.0f} ml"
        if loop.plumbed.assumed:
            said += f"; the bore of {', '.join(loop.plumbed.assumed)} is assumed"
        yield _say(world, loop, "order", Verdict.FITS, said, order, details=details)


def _loose(found: Net, items: tuple[str, ...]) -> list[str]:
    """Ends of fittings without a tube; those whose tube has no way yet are said with the tube."""
    waiting = {
        end.place for run in found.world.laid if run.wish.name in found.unlaid
        for end in (run.wish.start, run.wish.goal)
    }  # fmt: skip
    return [
        spot.name
        for item in items if item in found.parts
        for spot in found.spots[item]
        if spot.tube and spot.name not in found.met and spot.name not in waiting
    ]  # fmt: skip


def _pumps(world: World, loop: Asked) -> Iterator[Finding]:
    for stand in pumps(loop.net, loop.items, loop.entry.least_level):
        verdict, said = _stands(stand)
        yield _say(
            world, loop, "pump", verdict, f"{stand.item} {said}", (stand.item,), (stand.at,),
            measured=None if stand.inlet is None else -stand.inlet, required=0.0,
            details={"reservoir": stand.reservoir, "shaft": stand.points},
        )  # fmt: skip


def _stands(stand: PumpStand) -> tuple[Verdict, str]:
    wrong = []
    if stand.points not in stand.may_point:
        wrong.append(f"stands with its shaft {_pointing(stand.points)}; it may only be {_allowed(stand)}")
    if stand.inlet is not None and stand.inlet > 0:
        wrong.append(
            f"is not flooded: its inlet lies {mm(stand.inlet)} above the least level in {stand.reservoir}"
        )
    if wrong:
        return Verdict.FAILS, " and ".join(wrong)
    if stand.inlet is None:
        return Verdict.UNKNOWN, "has no reservoir in its loop: whether it is flooded is not known"
    over = f"{mm(-stand.inlet)} of coolant over its inlet at the least"
    return Verdict.FITS, f"is flooded from {stand.reservoir}, {over}; its shaft {_pointing(stand.points)}"


def _pointing(points: str) -> str:
    return "level" if points == "level" else f"pointing {points}"


def _allowed(stand: PumpStand) -> str:
    return " or ".join(_pointing(points) for points in stand.may_point)


def _metals(world: World, loop: Asked) -> Iterator[Finding]:
    found = metals(loop.net, loop.items, by_part(loop.net, loop.entry.metals))
    if not found.parts:
        return
    listed = "; ".join(f"{metal}: {', '.join(names)}" for metal, names in found.parts.items())
    named = tuple(name for names in found.parts.values() for name in names)
    if found.clash:
        said = f"mixes aluminium with nobler metals, and the aluminium will corrode ({listed})"
        yield _say(world, loop, "metals", Verdict.TIGHT, said, named, details={"metals": found.parts})
    else:
        said = f"its metals go together ({listed})"
        yield _say(world, loop, "metals", Verdict.FITS, said, named, details={"metals": found.parts})


def _leaks(world: World, loop: Asked) -> Iterator[Finding]:
    found = drips(loop.net, loop.items)
    kept = {part for said in loop.entry.keep_dry for part in choose(world, said).solids}
    refused = [drip for drip in found if drip.onto in kept]
    for drip in refused:
        yield _say(
            world, loop, "keep_dry", Verdict.FAILS, f"a leak at {drip.joint} lands on {drip.onto}",
            (drip.onto, drip.joint.rpartition(".")[0]), (drip.at,), measured=drip.below,
        )  # fmt: skip
    live = [drip for drip in found if drip.electric and drip not in refused]
    if live:
        said = f"a leak would land on {_onto(live)}"
    else:
        said = (
            "no other joint lies above anything electric"
            if refused
            else "no joint lies above anything electric"
        )
    details = {
        "drips": tuple(
            {"joint": d.joint, "onto": d.onto, "below": d.below, "electric": d.electric} for d in found
        )
    }
    parts = tuple(dict.fromkeys(d.onto for d in live)) or tuple(loop.entry.order)
    yield _say(
        world, loop, "leaks", Verdict.FITS, said, parts, tuple(d.at for d in live), details=details
    )  # fmt: skip


def _onto(live: list[Drip]) -> str:
    """`board from block.inlet and block.outlet, supply from …`."""
    by_part: dict[str, list[str]] = {}
    for drip in live:
        by_part.setdefault(drip.onto, []).append(drip.joint)
    return "; ".join(f"{onto} from {', '.join(joints)}" for onto, joints in by_part.items())


def _pressure(world: World, loop: Asked) -> Iterator[Finding]:
    flow = loop.entry.flow
    if flow is None or not loop.around.closed:
        return
    most = loop.entry.pressure_at_most
    passed = tuple(loop.entry.order)
    try:
        liquid = water(loop.entry.coolant_temperature)
        found = losses(way(loop.net, loop.around, by_part(loop.net, loop.entry.curves)), flow, liquid)
    except ImportError as missing:
        said = f"its pressure loss cannot be worked out: {missing.name} is not installed"
        mend = "pip install 'fitcheck[flow]'"
        yield _say(world, loop, "flow", Verdict.UNKNOWN, said, passed, mend=mend)
        return
    total = found.total
    said = (
        f"at {flow:g} l/h it takes about {total.likely:.1f} kPa, by estimate {total.least:.1f} to "
        f"{total.most:.1f} kPa, up to {found.speed:.2f} m/s"
    )
    if found.unknown:
        said += f", without {', '.join(found.unknown)}: nobody gave their curves"
    verdict = _pressed(found, most)
    if most is not None:
        said += f"; {most:g} kPa at most are allowed"
    yield _say(
        world, loop, "flow", verdict, said, passed, measured=total.likely, required=most, unit="kPa",
        details={
            "flow": flow, "least": total.least, "most": total.most, "unknown": found.unknown,
            "speed": found.speed, "reynolds": found.reynolds,
            "losses": {owner: loss.likely for owner, loss in found.by_owner.items()},
        },
    )  # fmt: skip


def _pressed(found: Losses, most: float | None) -> Verdict:
    if most is None:
        return Verdict.FITS
    if found.total.least > most:
        return Verdict.FAILS
    if found.unknown:
        return Verdict.UNKNOWN
    if found.total.likely > most:
        return Verdict.FAILS
    return Verdict.TIGHT if found.total.most > most else Verdict.FITS
