"""Fastening: do holes that face each other line up, and is there a screw for them?

Which holes face each other is found (`fasteners.joints`) from what rests on what, or named in the rule. Each
joint gets a finding on its pattern here; each kind of screw one from `checks.screws`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from fitcheck.checks.fastening_asked import Asked, FasteningRule, asked_of, play, thread_on
from fitcheck.checks.names import INDICES
from fitcheck.checks.verdicts import ROUNDING, compare, mm, point, rule_line, towards
from fitcheck.fasteners.bores import Bore
from fitcheck.fasteners.joints import Joint, Joints, Lack, Line, joints, lines
from fitcheck.fasteners.patterns import offset
from fitcheck.fasteners.rigid import easiest_move
from fitcheck.fasteners.tables import Thread, fit_class
from fitcheck.finding import Answer, Finding, Verdict, worst
from fitcheck.world.frames import SIDES
from fitcheck.world.world import World

__all__ = ["QUESTION", "FasteningRule", "check_fastening"]

QUESTION = "do facing hole patterns line up, and is there a screw that holds and touches nothing?"


def check_fastening(world: World) -> Answer:
    """Compare facing patterns of holes, and find a screw for each.

    Returns:
        Without the rule nothing. Else a finding for each joint and for each kind of screw (those of like
        joints that fit together as one). Facts: the screws, and holes of parts that rest where nothing is
        drilled yet.

    Raises:
        ValueMistake: the rule names something that the scene does not have.
    """
    if "fastening" not in world.rules:
        return Answer()
    # Loaded only where it is asked: most scenes ask nothing of screws.
    from fitcheck.checks.screws import screws

    asked = asked_of(world)
    found = joints(world, asked.named, asked.rule.found, asked.skips)
    strung = lines(found.all)
    sizes = {
        bore.name: (line, thread)
        for line in strung
        for thread in [thread_on(asked, line)]
        for bore in line.bores
    }
    findings = [
        *_unmet(world, asked, found),
        *_patterns(world, asked, found, sizes),
        *_lacking(world, asked, found),
    ]
    through = screws(world, asked, strung)
    facts: dict[str, Any] = {}
    if through.listed:
        facts["screws"] = through.listed
    if found.to_drill:
        facts["to_drill"] = _to_drill(found.to_drill)
    left = tuple(f"holes for {of} in {part}: none are drawn there" for of, part in _undrawn(found.to_drill))
    return Answer((*findings, *through.findings), facts, (*left, *through.left))


Sizes = dict[str, tuple[Line, Thread | None]]


def _unmet(world: World, asked: Asked, found: Joints) -> Iterator[Finding]:
    for at in found.unmet:
        one = asked.rule.joints[at]
        name = asked.where(at)
        said = f"no hole of {one.between} faces one of {one.and_}"
        yield Finding(
            "fastening",
            (one.between, one.and_),
            Verdict.FAILS,
            said,
            rule=name,
            rule_line=rule_line(world, name),
        )


def _patterns(world: World, asked: Asked, found: Joints, sizes: Sizes) -> Iterator[Finding]:
    """One finding a joint; those of like parts that fit are one."""
    alike: dict[tuple[str, ...], list[Finding]] = defaultdict(list)
    for joint in found.all:
        finding = _pattern(world, asked, joint, sizes)
        fits = finding.verdict == Verdict.FITS
        key = tuple(INDICES.sub("", name) if fits else name for name in map(_bare, finding.parts))
        alike[(finding.rule, str(finding.verdict), *key)].append(finding)
    for group in alike.values():
        yield group[0] if len(group) == 1 else _together(group)


def _bare(name: str) -> str:
    """`drive[1].side_screws` without the indices of its parts."""
    owner, _, last = name.rpartition(".")
    return f"{'.'.join(INDICES.sub('', piece) for piece in owner.split('.'))}.{last}"


def _together(group: list[Finding]) -> Finding:
    """Like joints that fit, told as the one with least play left."""
    least = max(group, key=lambda f: (f.measured or 0.0) - (f.required or 0.0))
    holes = sum(f.details["holes"] for f in group)
    said = f"{least.sentence}; so do {len(group) - 1} like it, {holes} holes in all"
    return replace(least, sentence=said, details={**least.details, "like": tuple(f.parts[0] for f in group)})


def _pattern(world: World, asked: Asked, joint: Joint, sizes: Sizes) -> Finding:
    f = joint.facing
    pairs = [(f.mine.bores[i], f.theirs.bores[j]) for i, j in f.pairs]
    thread = sizes[pairs[0][0].name][1]
    off = np.linalg.norm(f.offsets, axis=1)
    name = asked.where(joint.named)
    details: dict[str, Any] = {"holes": len(pairs), "apart": f.apart, "at_most": True}
    if thread is None:
        said = f"{f.names[0]} on {f.names[1]}: no screw known here goes through {mm(pairs[0][0].diameter)}"
        return _finding(world, name, f.names, Verdict.UNKNOWN, said, float(off.max()), None, (), details)
    plays = np.array([sum(play(asked, bore, thread) for bore in pair) for pair in pairs])
    at = int((off - plays).argmax())
    verdict = worst(
        [compare(p, o, asked.rule.margin) for o, p in zip(off.tolist(), plays.tolist(), strict=True)]
    )
    details |= _holes(pairs, off, plays, thread) | _moved(joint)
    said, mend = _pattern_said(asked, joint, thread, off, plays, at, pairs)
    said += ": within the margin" if verdict == Verdict.TIGHT else ""
    place = pairs[at][0].at
    where = (point(place + (f.height - place @ f.mine.way) * f.mine.way),)
    if wrong := [one for pair in pairs for one in pair if one.thread not in ("", thread.name)]:
        said = f"{f.names[0]} on {f.names[1]}: {thread.name} does not go into {wrong[0].name}, "
        said += f"tapped {wrong[0].thread}"
        verdict, mend = Verdict.FAILS, ""
    return _finding(
        world, name, f.names, verdict, said, float(off[at]), float(max(plays[at], 0.0)), where, details, mend
    )


def _holes(
    pairs: list[tuple[Bore, Bore]], off: np.ndarray, plays: np.ndarray, thread: Thread
) -> dict[str, Any]:
    """Each hole's offset and play, and the class of its clearance holes."""
    return {
        "thread": thread.name,
        "each": tuple(
            {
                "hole": pair[0].name, "on": pair[1].name, "off": float(o), "play": float(p),
                "fit": ", ".join(fit_class(thread, b.diameter) if not b.thread else "tapped" for b in pair),
            }
            for pair, o, p in zip(pairs, off, plays, strict=True)
        ),
    }  # fmt: skip


def _moved(joint: Joint) -> dict[str, Any]:
    """The shift in the world and the turn that lay the pattern on its partner best."""
    move, axes = joint.facing.move, joint.facing.axes
    shift = move.shift @ axes
    return {"shift": tuple(shift.tolist()), "turn": float(np.degrees(move.turn)), "left_after": move.worst}


def _pattern_said(
    asked: Asked, joint: Joint, thread: Thread, off: np.ndarray, plays: np.ndarray, at: int,
    pairs: list[tuple[Bore, Bore]],
) -> tuple[str, str]:  # fmt: skip
    """The sentence, and a mend where a move was found after which all screws go in."""
    f = joint.facing
    where = f"{f.names[0]} on {f.names[1]}"
    small = [one for pair in pairs for one in pair if play(asked, one, thread) < -ROUNDING]
    if small:
        hole = f"{small[0].name} of {mm(small[0].diameter, thread.major)}"
        return f"{where}: {thread.name} does not go through {hole}", ""
    if bool(np.all(off <= plays + ROUNDING)):
        count = f"{len(pairs)} {'holes line' if len(pairs) > 1 else 'hole lines'} up"
        return f"{where}: {count}, {mm(float(off[at]))} off with {mm(float(plays[at]))} of play", ""
    out = int((off > plays + ROUNDING).sum())
    far = mm(float(off[at]), float(plays[at]))
    said = f"{where}: {out} of {len(pairs)} holes too far off, the worst by {far}"
    said += f" with {mm(float(plays[at]), float(off[at]))} of play for {thread.name}"
    shift = f.move.shift @ f.axes
    if np.linalg.norm(shift) > 0.05:
        said += f"; as a whole {_ways(-shift)} off"
    if abs(np.degrees(f.move.turn)) > 0.05 and len(pairs) > 1:
        said += f", turned by {abs(np.degrees(f.move.turn)):.1f}°"
    mend = _mend(joint, pairs, plays)
    # How far slots would let it go is not followed: of them nothing is said.
    slotted = any(bore.long.any() for pair in pairs for bore in pair)
    return said + ("" if mend or slotted else "; no move brings them together"), mend


def _ways(shift: np.ndarray) -> str:
    """A shift (3,) along the sides of the world: `3.0 mm to the left and 1.0 mm up`."""
    said = []
    for side, direction in SIDES.items():
        length = float(direction @ shift)
        if length > 0.05:
            said.append(f"{mm(length)} {towards(side)}")
    return " and ".join(said)


def _mend(joint: Joint, pairs: list[tuple[Bore, Bore]], plays: np.ndarray) -> str:
    """A move of the part after which every screw goes in, to 0.1 mm, or nothing."""
    f = joint.facing
    mine = np.array([f.axes @ a.at for a, _ in pairs])
    theirs = np.array([f.axes @ b.at for _, b in pairs])
    shift = np.round(f.move.shift, 1)
    straight = np.array([offset(a, b, f.mine.way) - shift @ f.axes for a, b in pairs])
    part = f.mine.part
    if np.linalg.norm(shift) > 0 and np.all(np.linalg.norm(straight, axis=1) <= plays + ROUNDING):
        return f"move {part} {_ways(shift @ f.axes)}"
    best = easiest_move(mine, theirs, plays)
    if best.worst <= 0 and len(pairs) > 1:
        moved = _ways(best.shift @ f.axes)
        turn = f"turn {part} by {abs(np.degrees(best.turn)):.1f}°"
        return f"{turn} and move it {moved}" if moved else turn
    return ""


def _lacking(world: World, asked: Asked, found: Joints) -> Iterator[Finding]:
    """Holes that meet solid material where a partner should be, by joint."""
    groups: dict[tuple[int, str], list[Lack]] = defaultdict(list)
    for lack in found.missing:
        groups[(id(lack.joint), lack.part)].append(lack)
    for (_, part), lacks in groups.items():
        joint = lacks[0].joint
        assert joint is not None
        f = joint.facing
        pattern = f.names[0] if lacks[0].bore.part == f.mine.part else f.names[1]
        each = ", ".join(lack.bore.name.rpartition(".")[2] for lack in lacks[:6]) + (
            " …" if len(lacks) > 6 else ""
        )
        said = f"{part} has no hole where {pattern} needs one: {len(lacks)} missing ({each})"
        name = asked.where(joint.named)
        places = tuple(point(lack.at) for lack in lacks)
        yield Finding(
            "fastening", (pattern, part), Verdict.FAILS, said, float(len(lacks)), 0.0, "holes", places,
            f"missing:{name}", rule_line(world, name),
            details={"missing": tuple(lack.bore.name for lack in lacks)},
        )  # fmt: skip


def _to_drill(lacks: tuple[Lack, ...]) -> tuple[dict[str, Any], ...]:
    return tuple(
        {"hole": lack.bore.name, "in": lack.part, "at": point(lack.at), "thread": lack.bore.thread,
         "diameter": lack.bore.diameter}
        for lack in lacks
    )  # fmt: skip


def _undrawn(lacks: tuple[Lack, ...]) -> list[tuple[str, str]]:
    return list(dict.fromkeys((INDICES.sub("", lack.bore.part), lack.part) for lack in lacks))


def _finding(
    world: World, name: str, parts: tuple[str, ...], verdict: Verdict, said: str, measured: float | None,
    required: float | None, where: tuple[tuple[float, float, float], ...], details: dict[str, Any],
    mend: str = "",
) -> Finding:  # fmt: skip
    return Finding(
        check="fastening", parts=parts, verdict=verdict, sentence=said, measured=measured, required=required,
        where=where, rule=name, rule_line=rule_line(world, name), mend=mend, details=details,
    )  # fmt: skip
