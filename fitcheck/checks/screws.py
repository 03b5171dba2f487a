"""The screws of the check `fastening`: which length holds and touches nothing; can it be turned?"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any

import numpy as np

from fitcheck.checks.fastening_asked import Asked, JointRule, play, thread_on
from fitcheck.checks.screw_ways import SAFE, Way, free_way, layers, wanted, ways
from fitcheck.checks.verdicts import ROUNDING, mm, point, rule_line
from fitcheck.fasteners.envelopes import (
    first_hit,
    head_room,
    in_the_way,
    key_way,
    nut_hold,
    nut_room,
)
from fitcheck.fasteners.joints import Line
from fitcheck.fasteners.patterns import offset
from fitcheck.fasteners.stack import Choice, Fit, Stack, choose
from fitcheck.fasteners.straight import excess
from fitcheck.fasteners.tables import (
    DIAMETERS_DEEP,
    ENGAGEMENT,
    ISO_2936,
    ISO_LENGTH_TOLERANCE,
    Head,
    Source,
    Thread,
)
from fitcheck.finding import SEVERITY, Finding, Verdict
from fitcheck.world.bodies import Bodies, bodies
from fitcheck.world.wishes import RIGID
from fitcheck.world.world import World

ANY_INDEX = re.compile(r"\[\d+\]")
# So many washers under a head a mend may name; more are no joint any longer (common practice).
MOST_WASHERS = 3
# The metal whose demand is the least.
LEAST = "steel"


@dataclass(frozen=True)
class _Told:
    """One thing to tell of a screw."""

    verdict: Verdict
    said: str
    fins: bool = False


@dataclass(frozen=True, eq=False)
class _Screw:
    """A screw on a line: what was chosen, and all there is to tell of it."""

    way: Way
    thread: Thread
    head: Head
    form: str
    stack: Stack
    choice: Choice
    behind: str
    tells: tuple[_Told, ...] = field(default=())
    turned: str = ""
    held: str = ""

    @property
    def verdict(self) -> Verdict:
        return max((told.verdict for told in self.tells), key=SEVERITY.index, default=Verdict.FITS)

    @property
    def name(self) -> str:
        """`M3 × 30` as a shop says it."""
        return f"{self.thread.name} × {self.choice.best.length:g}"


@dataclass(frozen=True)
class Screws:
    """What there is to tell of the screws of a world.

    Args:
        findings: one for each kind of screw; kinds of like parts that come to the same are one.
        listed: all screws, as they are bought.
        left: lines of which nothing is told, because their holes do not line up.
    """

    findings: tuple[Finding, ...]
    listed: tuple[dict[str, Any], ...]
    left: tuple[str, ...]


def screws(world: World, asked: Asked, strung: list[Line]) -> Screws:
    """Find a screw for each line of holes. Those of one pattern are one kind, told as the worst of them."""
    solids = bodies(world)
    kinds: dict[tuple[str, ...], list[_Screw]] = defaultdict(list)
    findings: list[Finding] = []
    listed: dict[tuple[Any, ...], dict[str, Any]] = {}
    left: dict[str, None] = {}
    for line, thread, rule in _asked_for(asked, strung):
        sides = list(ways(line))
        if not _lines_up(asked, line, thread):
            left[f"screws through {', '.join(line.kin)}: their holes do not line up"] = None
        elif not sides:
            findings.append(_no_way(world, asked, line))
        else:
            screw = _best([_screw(world, solids, asked, way, thread, rule) for way in sides])
            kinds[line.kin].append(screw)
            _list(listed, screw)
    for kin, group in kinds.items():
        findings += _findings(world, asked, kin, group)
    return Screws(tuple(_merged(findings)), tuple(listed.values()), tuple(left))


def _asked_for(asked: Asked, strung: list[Line]) -> Iterator[tuple[Line, Thread, JointRule | None]]:
    """Lines that take a screw, its thread, and what the scene says of them."""
    for line in strung:
        rule, thread = asked.joint(line), thread_on(asked, line)
        wanted_here = asked.rule.screws if rule is None else rule.screws
        fitting = thread is not None and all(bore.thread in ("", thread.name) for bore in line.bores)
        if thread is not None and wanted_here and fitting:
            yield line, thread, rule


def _best(screws: list[_Screw]) -> _Screw:
    return min(screws, key=lambda one: (SEVERITY.index(one.verdict), len(one.tells)))


def _screw(
    world: World, solids: Bodies, asked: Asked, way: Way, thread: Thread, rule: JointRule | None
) -> _Screw:  # fmt: skip
    form = (rule.head if rule else None) or asked.rule.head
    head = thread.heads.get(form) or thread.heads["cap"]
    lying = tuple(layers(world, asked, way, rule))
    start = way.ends(way.clear[-1])[1] if way.tapped is None else way.ends(way.tapped)[0]
    free, behind, fins = free_way(world, solids, way, thread, start)
    threaded = thread.nut[1] if way.tapped is None else way.tapped.deep
    tells: list[_Told] = []
    due, unsure = wanted(asked, way, thread, rule)
    numbers = _washers(asked, rule)
    lengths = None if rule is None or rule.length is None else (rule.length,)
    stack = Stack(thread, lying, threaded, free, due, way.tapped is None)
    choice = choose(stack, numbers, lengths)
    if unsure and not choice.best.holds:
        stack = replace(stack, wanted=DIAMETERS_DEEP[LEAST] * thread.major)
        choice = choose(stack, numbers, lengths)
        if choice.best.holds:
            said = f"enough in {LEAST}, not in {SAFE} ({mm(due)}): "
            said += f"say what {way.tapped and way.tapped.part} is made of"
            tells.append(_Told(Verdict.UNKNOWN, said))
    screw = _Screw(way, thread, head, form, stack, choice, behind)
    tells += _length_tells(screw, fins)
    tells += _line_tells(asked, screw)
    turned, held, more = _room_tells(world, solids, asked, screw, rule)
    return replace(screw, tells=(*tells, *more), turned=turned, held=held)


def _washers(asked: Asked, rule: JointRule | None) -> range:
    most = asked.rule.washers if rule is None or rule.washers is None else rule.washers
    if rule is not None and rule.length is not None:
        return range(int(rule.washers or 0), int(rule.washers or 0) + 1)
    return range(int(most) + 1)


def _length_tells(screw: _Screw, fins: bool) -> Iterator[_Told]:
    """Does it hold, does it reach what is behind?"""
    best, stack = screw.choice.best, screw.stack
    if best.short > ROUNDING:
        yield _Told(Verdict.FAILS, f"{_short(screw, best)}{_neighbour(screw, screw.choice.longer)}")
    if best.spare < -ROUNDING:
        said = f"it goes {mm(-best.spare, 0.0)} into {screw.behind}"
        yield _Told(Verdict.FAILS, said + _neighbour(screw, screw.choice.shorter), fins)
    elif not best.sure and best.holds and np.isfinite(stack.free):
        said = f"it ends {mm(best.spare)} before {screw.behind}, and may be {mm(best.tolerance)} too long"
        yield _Told(Verdict.TIGHT, said, fins)


def _short(screw: _Screw, one: Fit) -> str:
    """How a screw does not hold."""
    stack = screw.stack
    if stack.nut:
        return f"it is {mm(one.short, 0.0)} too short for its nut"
    held, due = mm(one.engagement, stack.wanted), mm(stack.wanted, one.engagement)
    deep = f"; the thread is {mm(stack.threaded)} deep" if stack.threaded < stack.wanted else ""
    return f"only {held} of thread hold, {due} are wanted{deep}"


def _neighbour(screw: _Screw, other: Fit | None) -> str:
    """Why the next length does not do either, where none does."""
    if other is None or any(one.holds for one in screw.choice.tried):
        return ""
    name = f"; {screw.thread.name} × {other.length:g}"
    if other.spare < -ROUNDING:
        return f"{name} goes {mm(-other.spare, 0.0)} into {screw.behind}"
    return f"{name}: {_short(screw, other)}" if other.short > ROUNDING else ""


def _line_tells(asked: Asked, screw: _Screw) -> Iterator[_Told]:
    """Does one straight screw go through three and more holes, each of which lets it pass to the next?"""
    holes, way = list(screw.way.line.bores), screw.way
    plays = np.array([play(asked, bore, screw.thread) for bore in holes])
    if len(holes) > 2 and (over := excess(holes, plays, way.into, way.tapped)) > ROUNDING:
        yield _Told(
            Verdict.FAILS, f"no straight line goes through all {len(holes)} holes, {mm(over, 0.0)} lack"
        )


def _lines_up(asked: Asked, line: Line, thread: Thread) -> bool:
    """Has a screw play enough from each hole of a line to the next? Else their pattern has failed."""
    return all(
        np.linalg.norm(offset(one, other, line.way))
        <= play(asked, one, thread) + play(asked, other, thread) + ROUNDING
        for one, other in pairwise(line.bores)
    )


def _room_tells(
    world: World, solids: Bodies, asked: Asked, screw: _Screw, rule: JointRule | None
) -> tuple[str, str, list[_Told]]:
    """Room for head and nut; can the key come, can the nut be held?"""
    way, thread, best = screw.way, screw.thread, screw.choice.best
    out = -way.into
    seat = way.place(way.ends(way.clear[0])[0])
    told = []
    soft, away = _away(world, solids, asked, way, rule)
    if hit := first_hit(solids, head_room(thread, screw.head, best.washers, seat, out), soft):
        told.append(_Told(Verdict.FAILS, f"there is no room for its head: {hit} is there"))
    wide = thread.washer[1] if best.washers else screw.head.diameter
    if wide <= way.clear[0].diameter:
        told.append(_Told(Verdict.FAILS, f"its head of {mm(wide)} falls through {way.clear[0].name}"))
    top = seat + out * (best.washers * thread.washer[2] + screw.head.height)
    turned, hit = key_way(solids, screw.head, top, out, away)
    if not turned:
        told.append(_Told(Verdict.FAILS, f"no driver and no key gets to its head: {hit} is in the way"))
    held = ""
    if way.tapped is None:
        behind = way.place(way.ends(way.clear[-1])[1])
        if hit := in_the_way(solids, nut_room(thread, behind, way.into), soft):
            told.append(_Told(Verdict.FAILS, f"there is no room for its nut: {hit} is there"))
        else:
            held, hit = nut_hold(solids, thread, behind, way.into, away)
            if not held:
                told.append(_Told(Verdict.FAILS, f"its nut cannot be held: {hit} is in the way"))
    return turned, held, told


def _away(
    world: World, solids: Bodies, asked: Asked, way: Way, rule: JointRule | None
) -> tuple[list[int], list[int]]:  # fmt: skip
    """Bodies that heads and nuts need not mind, and those that a key need not mind.

    Soft tubes and cables give way. On the bench there is nothing but what is joined; an assembly is screwed
    there.
    """
    groups = {world.by_name[bore.part].group for bore in way.line.bores}
    bench = len(groups) == 1 or (asked.rule.on_bench if rule is None else rule.on_bench)
    yielding = {run.name for run in world.laid if run.wish.kind != RIGID}
    soft = [k for k, body in enumerate(solids.all) if body.group in yielding]
    return soft, [k for k, body in enumerate(solids.all) if bench and body.group not in groups] + soft


def _no_way(world: World, asked: Asked, line: Line) -> Finding:
    tapped = [bore.name for bore in line.bores if bore.thread]
    said = f"no screw goes on the line of {line.bores[0].name}: "
    said += (
        f"{' and '.join(tapped)} are both tapped" if len(tapped) > 1 else f"{tapped[0]} is open to no hole"
    )
    name = asked.where(max(joint.named for joint in line.joints))
    return Finding(
        "fastening", line.kin, Verdict.UNKNOWN, said, where=(point(line.bores[0].at),), rule=f"screw:{name}",
        rule_line=rule_line(world, name), details={"count": 1},
    )  # fmt: skip


def _findings(world: World, asked: Asked, kin: tuple[str, ...], group: list[_Screw]) -> Iterator[Finding]:
    """The finding of one kind of screw, and one of its own where fins are near."""
    worst = max(group, key=lambda one: (SEVERITY.index(one.verdict), -one.choice.best.spare))
    name = asked.where(max(joint.named for joint in worst.way.line.joints))
    many = sum(one.verdict == worst.verdict for one in group)
    count = f"{len(group)} screws" if len(group) > 1 else "1 screw"
    start = f"{worst.name} through {_through(worst)}"
    plain = [told for told in worst.tells if not told.fins]
    shared: dict[str, Any] = {
        "rule_line": rule_line(world, name), "where": tuple(_ends(worst)),
        "details": _details(worst, len(group)),
    }  # fmt: skip
    best, stack = worst.choice.best, worst.stack
    if plain:
        told = max(plain, key=lambda one: SEVERITY.index(one.verdict))
        of = f" ({many} of {len(group)})" if len(group) > 1 else ""
        verdict, said = told.verdict, f"{start}: {told.said}{of}"
    else:
        verdict, said = Verdict.FITS, f"{start}: {_fits(worst)}, {count}"
    yield Finding(
        "fastening", kin, verdict, said, best.engagement, stack.wanted, rule=f"screw:{name}",
        mend=_mend(worst) if verdict == Verdict.FAILS else "", **shared,
    )  # fmt: skip
    for told in (one for one in worst.tells if one.fins):
        yield Finding(
            "fastening", kin, told.verdict, f"{start}: {told.said}", max(best.spare, 0.0), 0.0,
            rule=f"fins:{name}", mend=_mend(worst) if told.verdict == Verdict.FAILS else "", **shared,
        )  # fmt: skip


def _through(screw: _Screw) -> str:
    names = [bore.part for bore in screw.way.clear]
    into = f" into {screw.way.tapped.part}" if screw.way.tapped is not None else " with a nut"
    return " and ".join(names) + into


def _fits(screw: _Screw) -> str:
    best, stack = screw.choice.best, screw.stack
    washer = f" on {best.washers} washer{'s' if best.washers > 1 else ''}" if best.washers else ""
    grip = f"grip {mm(stack.grip)}{washer}"
    if stack.nut:
        return f"{grip}, its nut is held by a {screw.held}"
    spare = "" if best.spare == np.inf else f", {mm(best.spare)} before {screw.behind}"
    return f"{grip}, {mm(best.engagement)} of thread hold ({mm(stack.wanted)} wanted){spare}"


def _ends(screw: _Screw) -> Iterator[tuple[float, float, float]]:
    """Under the head, and the tip."""
    way, best = screw.way, screw.choice.best
    seat = way.ends(way.clear[0])[0]
    yield point(way.place(seat))
    yield point(way.place(seat + best.length - best.washers * screw.thread.washer[2]))


def _details(screw: _Screw, many: int) -> dict[str, Any]:
    best, stack = screw.choice.best, screw.stack
    return {
        "screw": f"{screw.name} {screw.form}", "count": many, "washers": best.washers, "grip": stack.grip,
        "layers": tuple(f"{layer.name} {layer.thickness:.2f}" for layer in stack.layers),
        "engagement": best.engagement, "wanted": stack.wanted, "spare": best.spare, "behind": screw.behind,
        "turned_by": screw.turned, "nut_held_by": screw.held,
        "sources": tuple(f"{source.document}: {source.status}" for source in _sources(screw)),
    }  # fmt: skip


def _sources(screw: _Screw) -> Iterator[Source]:
    """Where the figures that decide about a screw are from."""
    thread, best = screw.thread, screw.choice.best
    yield screw.head.source
    yield thread.lengths_source
    yield ISO_LENGTH_TOLERANCE
    if best.washers:
        yield thread.washer_source
    yield thread.nut_source if screw.stack.nut else ENGAGEMENT
    if screw.turned == "key":
        yield ISO_2936


def _mend(screw: _Screw) -> str:
    """Another length that holds and touches nothing, where one was found."""
    other = choose(screw.stack, range(MOST_WASHERS + 1)).best
    if screw.choice.best.holds or not other.holds:
        return ""
    washers = f" on {other.washers} washer{'s' if other.washers > 1 else ''}" if other.washers else ""
    return f"use {screw.thread.name} × {other.length:g}{washers}"


def _list(listed: dict[tuple[Any, ...], dict[str, Any]], screw: _Screw) -> None:
    """Count a screw in the list to buy."""
    best = screw.choice.best
    key = screw.thread.name, best.length, screw.form, best.washers, screw.stack.nut
    row = listed.setdefault(
        key,
        {
            "screw": f"{screw.name} {screw.form}", "washers": best.washers,
            "nuts": int(screw.stack.nut), "count": 0,
        },
    )  # fmt: skip
    row["count"] += 1


def _merged(findings: list[Finding]) -> list[Finding]:
    """Kinds of like parts (`fan[1]`, `fan[2]`) that fit, with the same screw, as one finding."""
    alike: dict[tuple[Any, ...], list[Finding]] = defaultdict(list)
    for finding in findings:
        # What differs in more than the indices of its parts is another thing.
        alike[(finding.rule, finding.verdict, ANY_INDEX.sub("", finding.sentence))].append(finding)
    merged = []
    for group in alike.values():
        first = group[0]
        if len(group) > 1:
            count = sum(one.details["count"] for one in group)
            said = f"{first.sentence}; so it is in {len(group)} such places, {count} screws in all"
            first = replace(first, sentence=said, details={**first.details, "count": count})
        merged.append(first)
    return merged
