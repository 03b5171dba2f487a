"""The screws of the check `fastening`: which length holds and touches nothing; can it be turned?"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from fitcheck.checks.fastening_asked import Asked, JointRule, play, thread_on
from fitcheck.checks.verdicts import ROUNDING, mm, point, rule_line
from fitcheck.fasteners.bores import Bore
from fitcheck.fasteners.envelopes import (
    first_hit,
    head_room,
    in_the_way,
    key_way,
    nut_hold,
    nut_room,
    tip_way,
)
from fitcheck.fasteners.joints import Line
from fitcheck.fasteners.patterns import offset
from fitcheck.fasteners.stack import Choice, Layer, Stack, choose
from fitcheck.fasteners.tables import DIAMETERS_DEEP, LEAST_PITCHES, Head, Thread
from fitcheck.finding import SEVERITY, Finding, Verdict
from fitcheck.world.bodies import Bodies, bodies
from fitcheck.world.wishes import RIGID
from fitcheck.world.world import World

# Air between mouths below this is rounding, mm.
AIR = 0.02
ANY_INDEX = re.compile(r"\[\d+\]")
# Where the material is not said: the demand that holds in all of them, and the one that holds in steel only.
SAFE, LEAST = "aluminium", "steel"


@dataclass(frozen=True, eq=False)
class _Way:
    """A line looked at from one side: the holes in order from the head on.

    Args:
        line: as strung.
        into: (3,) unit, from the head to the tip.
        clear: holes before the thread.
        tapped: the hole with the thread; None for a nut.
        beyond: holes behind the thread.
        axis: (3,) a place on the screw's axis.
    """

    line: Line
    into: np.ndarray
    clear: tuple[Bore, ...]
    tapped: Bore | None
    beyond: tuple[Bore, ...]
    axis: np.ndarray

    def ends(self, bore: Bore) -> tuple[float, float]:
        """From where to where a hole goes along the screw, mm."""
        low, high = sorted((float(bore.at @ self.into), float(bore.end @ self.into)))
        return low, high

    def place(self, along: float) -> np.ndarray:
        """(3,) the place on the axis at a height along the screw."""
        return np.asarray(self.axis + (along - self.axis @ self.into) * self.into)


@dataclass(frozen=True)
class _Told:
    """One thing to tell of a screw."""

    verdict: Verdict
    said: str
    fins: bool = False


@dataclass(frozen=True, eq=False)
class _Screw:
    """A screw on a line: what was chosen, and all there is to tell of it."""

    way: _Way
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


def screws(
    world: World, asked: Asked, strung: list[Line]
) -> tuple[list[Finding], tuple[dict[str, Any], ...]]:
    """A finding for each kind of screw, and the list of all screws as facts.

    Screws of one pattern are one kind, told as the worst of them; kinds of like parts that fit are one
    finding.
    """
    solids = bodies(world)
    kinds: dict[tuple[str, ...], list[_Screw]] = defaultdict(list)
    findings: list[Finding] = []
    listed: dict[tuple[Any, ...], dict[str, Any]] = {}
    for line in strung:
        rule = asked.joint(line)
        thread = thread_on(asked, line)
        wanted = asked.rule.screws if rule is None else rule.screws
        if not wanted or thread is None or any(bore.thread not in ("", thread.name) for bore in line.bores):
            continue
        ways = list(_ways(line))
        if not ways:
            findings.append(_no_way(world, asked, line))
            continue
        screw = _best([_screw(world, solids, asked, way, thread, rule) for way in ways])
        kinds[line.kin].append(screw)
        _list(listed, screw)
    for kin, group in kinds.items():
        findings += _findings(world, asked, kin, group)
    return _merged(findings), tuple(listed.values())


def _ways(line: Line) -> Iterator[_Way]:
    """The sides that a screw may come from: not through its own thread, nor into one from its bottom."""
    tapped = [bore for bore in line.bores if bore.thread]
    if len(tapped) > 1:
        return
    for into in (line.way, -line.way):
        order = list(line.bores if into is line.way else line.bores[::-1])
        if not tapped:
            axis = np.mean([bore.at for bore in order], axis=0)
            yield _Way(line, into, tuple(order), None, (), axis)
            continue
        at = next(k for k, bore in enumerate(order) if bore.thread)
        if at and (order[at].through or order[at].axis @ into < 0):
            yield _Way(line, into, tuple(order[:at]), order[at], tuple(order[at + 1 :]), order[at].at)


def _best(screws: list[_Screw]) -> _Screw:
    return min(screws, key=lambda one: (SEVERITY.index(one.verdict), len(one.tells)))


def _screw(
    world: World, solids: Bodies, asked: Asked, way: _Way, thread: Thread, rule: JointRule | None
) -> _Screw:  # fmt: skip
    form = (rule.head if rule else None) or asked.rule.head
    head = thread.heads.get(form) or thread.heads["cap"]
    layers = tuple(_layers(world, asked, way, rule))
    start = way.ends(way.clear[-1])[1] if way.tapped is None else way.ends(way.tapped)[0]
    free, behind, fins = _free(world, solids, way, thread, start)
    threaded = thread.nut[1] if way.tapped is None else way.tapped.deep
    tells: list[_Told] = []
    wanted, unsure = _wanted(asked, way, thread, rule)
    numbers = _washers(asked, rule)
    lengths = None if rule is None or rule.length is None else (rule.length,)
    stack = Stack(thread, layers, threaded, free, wanted, way.tapped is None)
    choice = choose(stack, numbers, lengths)
    if unsure and not choice.best.holds:
        stack = replace(stack, wanted=DIAMETERS_DEEP[LEAST] * thread.major)
        choice = choose(stack, numbers, lengths)
        if choice.best.holds:
            said = f"enough in {LEAST}, not in {SAFE} ({mm(wanted)}): "
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


def _layers(world: World, asked: Asked, way: _Way, rule: JointRule | None) -> Iterator[Layer]:
    """What lies between head and thread, from the head on: paint, material, air, gaskets."""
    last: float | None = None
    for bore in (*way.clear, *(() if way.tapped is None else (way.tapped,))):
        low, high = way.ends(bore)
        if last is not None and low - last > AIR:
            yield Layer("air", low - last)
        coat = asked.coat(bore.part)
        if coat:
            yield Layer(f"paint of {bore.part}", coat)
        if bore is not way.tapped:
            yield Layer(bore.part, high - low)
            if coat:
                yield Layer(f"paint of {bore.part}", coat)
        last = high
    if rule is not None and rule.gasket:
        yield Layer("gasket", rule.gasket, rule.gives)
    names = {bore.part for bore in way.line.bores}
    for contact in world.contacts:
        if contact.kind == "rest" and {contact.a, contact.b} <= names and 0 < contact.gives < np.inf:
            yield Layer(f"pad of {contact.a}", 0.0, contact.gives)


def _wanted(asked: Asked, way: _Way, thread: Thread, rule: JointRule | None) -> tuple[float, bool]:
    """Engagement demanded, mm, and whether that is a guess because the material is not said."""
    if way.tapped is None:
        return thread.nut[1], False
    if rule is not None and rule.engagement is not None:
        return max(rule.engagement, LEAST_PITCHES * thread.pitch), False
    said, holds = asked.material(way.tapped.part)
    if holds is not None and (rule is None or rule.into is None):
        return max(holds, LEAST_PITCHES * thread.pitch), False
    said = (rule.into if rule else None) or said
    return DIAMETERS_DEEP[said or SAFE] * thread.major, not said


def _free(
    world: World, solids: Bodies, way: _Way, thread: Thread, start: float
) -> tuple[float, str, bool]:  # fmt: skip
    """From the thread's begin to what the tip must not touch, mm; what that is; is it fins or water?"""
    tapped = way.tapped
    if tapped is not None and not tapped.through:
        what = (
            f"the fins and water channels of {tapped.part}"
            if tapped.inside
            else f"the bottom of {tapped.name}"
        )
        return tapped.deep, what, tapped.inside
    last = (*way.clear, *(() if tapped is None else (tapped,)), *way.beyond)[-1]
    begin = way.ends(last)[1]
    length, hit = tip_way(solids, way.place(begin), way.into, thread.major)
    part = world.by_name.get(hit.rpartition(".")[0])
    fins = part is not None and (
        bool(part.shape.wet) or part.shape.solids[hit.rpartition(".")[2]].role == "core"
    )
    what = f"the fins and water channels of {part.name}" if fins and part is not None else hit
    return begin - start + length, what, fins


def _length_tells(screw: _Screw, fins: bool) -> Iterator[_Told]:
    """Does it hold, does it reach what is behind?"""
    best, stack = screw.choice.best, screw.stack
    if best.short > ROUNDING:
        if stack.nut:
            yield _Told(Verdict.FAILS, f"it is {mm(best.short)} too short for its nut")
        else:
            held, due = mm(best.engagement, stack.wanted), mm(stack.wanted, best.engagement)
            deep = f"; the thread is {mm(stack.threaded)} deep" if stack.threaded < stack.wanted else ""
            yield _Told(Verdict.FAILS, f"only {held} of thread hold, {due} are wanted{deep}")
    if best.spare < -ROUNDING:
        yield _Told(Verdict.FAILS, f"it goes {mm(-best.spare, 0.0)} into {screw.behind}", fins)
    elif not best.sure and best.holds:
        said = f"it ends {mm(best.spare)} before {screw.behind}, and may be {mm(best.tolerance)} too long"
        yield _Told(Verdict.TIGHT, said, fins)


def _line_tells(asked: Asked, screw: _Screw) -> Iterator[_Told]:
    """Does one straight screw go through all holes? Two are told as their pattern; three and more here."""
    holes = list(screw.way.line.bores)
    if len(holes) > 2 and (excess := _excess(asked, holes, screw)) > ROUNDING:
        yield _Told(
            Verdict.FAILS, f"no straight line goes through all {len(holes)} holes, {mm(excess, 0.0)} lack"
        )


def _excess(asked: Asked, holes: list[Bore], screw: _Screw) -> float:
    """By how much the hole that is worst off its play is, for the best axis there is, mm."""
    tapped = screw.way.tapped
    plays = np.array([play(asked, bore, screw.thread) for bore in holes])
    if tapped is not None:
        off = np.array([np.linalg.norm(offset(bore, tapped, screw.way.into)) for bore in holes])
        return float((off - plays).max())
    # Offsets are convex in the axis' place: a shrinking grid about the best one finds it.
    middle = np.mean([bore.at for bore in holes], axis=0)
    axes = screw.way.line.joints[0].facing.axes
    flat = np.array([axes @ (bore.at - middle) for bore in holes])
    slots = np.array([axes @ bore.long for bore in holes])
    lengths = np.linalg.norm(slots, axis=1)
    along = slots / np.maximum(lengths, 1e-12)[:, None]
    grid = np.array(np.meshgrid(np.linspace(-1, 1, 7), np.linspace(-1, 1, 7))).reshape(2, -1).T
    at, span, least = np.zeros(2), float(np.abs(flat).max()) + 1e-6, np.inf
    for _ in range(50):
        tried = at + span * grid
        away = tried[:, None] - flat
        slid = np.clip((away * along).sum(axis=2), -lengths, lengths)
        off = np.linalg.norm(away - slid[..., None] * along, axis=2)
        worst = (off - plays).max(axis=1)
        at, least, span = tried[int(worst.argmin())], float(worst.min()), span * 0.6
    return least


def _room_tells(
    world: World, solids: Bodies, asked: Asked, screw: _Screw, rule: JointRule | None
) -> tuple[str, str, list[_Told]]:
    """Room for head and nut; can the key come, can the nut be held?"""
    way, thread, best = screw.way, screw.thread, screw.choice.best
    out = -way.into
    seat = way.place(way.ends(way.clear[0])[0])
    told = []
    if hit := first_hit(solids, head_room(thread, screw.head, best.washers, seat, out)):
        told.append(_Told(Verdict.FAILS, f"there is no room for its head: {hit} is there"))
    wide = thread.washer[1] if best.washers else screw.head.diameter
    if wide <= way.clear[0].diameter:
        told.append(_Told(Verdict.FAILS, f"its head of {mm(wide)} falls through {way.clear[0].name}"))
    away = _away(world, solids, asked, way, rule)
    top = seat + out * (best.washers * thread.washer[2] + screw.head.height)
    turned, hit = key_way(solids, screw.head, top, out, away)
    if not turned:
        told.append(_Told(Verdict.FAILS, f"no driver and no key gets to its head: {hit} is in the way"))
    held = ""
    if way.tapped is None:
        behind = way.place(way.ends(way.clear[-1])[1])
        if hit := in_the_way(solids, nut_room(thread, behind, way.into)):
            told.append(_Told(Verdict.FAILS, f"there is no room for its nut: {hit} is there"))
        else:
            held, hit = nut_hold(solids, thread, behind, way.into, away)
            if not held:
                told.append(_Told(Verdict.FAILS, f"its nut cannot be held: {hit} is in the way"))
    return turned, held, told


def _away(world: World, solids: Bodies, asked: Asked, way: _Way, rule: JointRule | None) -> list[int]:
    """Bodies that a key need not mind: soft tubes and cables; on the bench all but what is joined there.

    An assembly is screwed together on the bench.
    """
    groups = {world.by_name[bore.part].group for bore in way.line.bores}
    bench = len(groups) == 1 or (asked.rule.on_bench if rule is None else rule.on_bench)
    soft = {run.name for run in world.laid if run.wish.kind != RIGID}
    return [
        k for k, body in enumerate(solids.all) if body.group in soft or (bench and body.group not in groups)
    ]


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
        "sources": tuple(
            f"{source.document}: {source.status}"
            for source in dict.fromkeys(
                (screw.head.source, screw.thread.lengths_source, screw.thread.washer_source)
            )
        ),
    }  # fmt: skip


def _mend(screw: _Screw) -> str:
    """Another length that holds and touches nothing, where one was found."""
    other = choose(screw.stack).best
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
