"""Drainage: what stays in each loop when it is drained, and where air stays when it is filled?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from fitcheck.checks.verdicts import mm, point
from fitcheck.finding import Answer, Finding, Verdict
from fitcheck.loops.asked import Asked, Attitude, Opening, asked
from fitcheck.loops.betterment import Better, better_drained, better_filled
from fitcheck.loops.drainage import Drained, drain
from fitcheck.loops.filling import Filled, fill, highest
from fitcheck.loops.places import Place
from fitcheck.world.world import World

QUESTION = "what stays in each loop when it is drained, and where does air stay when it is filled?"
# Places named in a sentence; all are in the details.
NAMED = 3
# A fill port as high as the rest is as good as higher, mm.
LEVEL = 0.01
# Less than this is not worth another opening, ml.
WORTH = 0.5


def check_drainage(world: World) -> Answer:
    """Drain and fill every loop that names a drain or a vent, upright and tipped as asked.

    What stays is a range: at most what gravity leaves, at least what a perfect siphon leaves. Heights are
    those of the bores' centre lines.

    Returns:
        For each loop and attitude: what stays after draining, in ml, where and why; what air stays after
        filling, and whether the fill port is the highest place.
    """
    return Answer(tuple(finding for loop in asked(world) for finding in _loop(world, loop)))


def _loop(world: World, loop: Asked) -> Iterator[Finding]:
    openings = (*loop.drains, *loop.vents, *([loop.fill] if loop.fill and loop.entry.fill else []))
    for one in openings:
        if one.wrong:
            yield _say(world, loop, "open", Verdict.FAILS, one.wrong, (one.said.partition(".")[0],))
    waiting = [name for name in loop.net.unlaid if name in loop.entry.order]
    if waiting and (loop.entry.drain or loop.entry.vent):
        said = f"{', '.join(waiting)} has no way yet: draining and filling are not known"
        yield _say(world, loop, "drain", Verdict.UNKNOWN, said, tuple(waiting))
        return
    for attitude in loop.attitudes:
        if loop.entry.drain and all(not one.wrong for one in (*loop.drains, *loop.vents)):
            yield _drained(world, loop, attitude)
        if loop.fill is not None and not loop.fill.wrong:
            yield _filled(world, loop, attitude, loop.fill)


def _say(
    world: World, loop: Asked, what: str, verdict: Verdict, said: str, parts: tuple[str, ...], **more: Any
) -> Finding:
    return Finding(
        check="drainage",
        parts=parts,
        verdict=verdict,
        sentence=f"{loop.name}: {said}",
        rule=f"loops.{loop.name}.{what}",
        rule_line=loop.line(world),
        **more,
    )


def _drained(world: World, loop: Asked, attitude: Attitude) -> Finding:
    water = loop.plumbed.water
    drains, vents = loop.nodes(loop.drains), loop.nodes(loop.vents)
    left = drain(water, drains, vents, attitude.up)
    allowed = loop.entry.left_at_most
    verdict = _left(left, allowed)
    opened = _opened(loop.drains, loop.vents)
    if not left.vented:
        said = f"{_stood(attitude)}no air comes in: nothing drains from {opened}; a vent must be opened above"
    else:
        said = f"{_stood(attitude)}drained at {opened}, {_range(left)} of {left.total:.0f} ml stay"
        said += _where(left.places)
    if allowed is not None:
        said += f"; {allowed:g} ml may stay"
    more = better_drained(water, drains, vents, left, attitude.up)
    better = None if more is None or more.gain < WORTH else more
    return _say(
        world, loop, f"drain[{attitude.said}]" if attitude.said else "drain", verdict, said,
        _parts(left.places, loop), measured=left.most, required=allowed, unit="ml",
        where=tuple(point(place.at) for place in left.places),
        mend=_mend(loop, better, left.most) if verdict != Verdict.FITS else "",
        details={
            "most": left.most, "least": left.least, "likely": left.likely, "total": left.total,
            "places": tuple(_place(place) for place in left.places), "better": _better(loop, better),
        },
    )  # fmt: skip


def _left(left: Drained, allowed: float | None) -> Verdict:
    if not left.vented:
        return Verdict.FAILS
    if allowed is None or left.most <= allowed:
        return Verdict.FITS
    return Verdict.TIGHT if left.likely <= allowed else Verdict.FAILS


def _range(left: Drained) -> str:
    if f"{left.least:.0f}" == f"{left.most:.0f}":
        return f"{left.most:.0f} ml"
    return f"{left.least:.0f} to {left.most:.0f} ml, likely {left.likely:.0f} ml,"


def _filled(world: World, loop: Asked, attitude: Attitude, port: Opening) -> Finding:
    water = loop.plumbed.water
    (node,) = loop.nodes([port])
    vents = [*{*loop.nodes(loop.vents), node}]
    air = fill(water, vents, attitude.up)
    allowed = loop.entry.air_at_most
    top = highest(water, node, attitude.up)
    said = f"{_stood(attitude)}filled at {port.said}, {_air(air)}{_where(air.places)}"
    if top.over < -LEVEL:
        said += f"; {port.said} is not the highest place: {top.owner} reaches {mm(-top.over)} above it"
    else:
        said += f"; {port.said} is the highest place"
    if allowed is not None:
        said += f"; {allowed:g} ml of air may stay"
    verdict = Verdict.FITS if allowed is None or air.air <= allowed else Verdict.FAILS
    more = better_filled(water, vents, air, attitude.up)
    better = None if more is None or more.gain < WORTH else more
    return _say(
        world, loop, f"fill[{attitude.said}]" if attitude.said else "fill", verdict, said,
        _parts(air.places, loop), measured=air.air, required=allowed, unit="ml",
        where=tuple(point(place.at) for place in air.places),
        mend=_mend(loop, better, air.air) if verdict != Verdict.FITS else "",
        details={
            "air": air.air, "total": air.total, "fill_port_over_the_rest": top.over,
            "places": tuple(_place(place) for place in air.places), "better": _better(loop, better),
        },
    )  # fmt: skip


def _air(air: Filled) -> str:
    return (
        "no air stays" if air.air < WORTH else f"at most {air.air:.0f} ml of air stay until the pump moves it"
    )


def _stood(attitude: Attitude) -> str:
    return f"{attitude.said}, " if attitude.said else ""


def _opened(drains: Sequence[Opening], vents: Sequence[Opening]) -> str:
    at = " and ".join(one.said for one in drains)
    return f"{at} with {' and '.join(one.said for one in vents)} open" if vents else at


def _where(places: Sequence[Place]) -> str:
    """The largest places in words."""
    worth = [place for place in places if place.most >= WORTH]
    if not worth:
        return ""
    said = [f"{place.most:.0f} ml in {', '.join(place.owners[:2])} ({place.why})" for place in worth[:NAMED]]
    rest = f" and {len(worth) - NAMED} smaller places" if len(worth) > NAMED else ""
    return f": {'; '.join(said)}{rest}"


def _parts(places: Sequence[Place], loop: Asked) -> tuple[str, ...]:
    owners = tuple(dict.fromkeys(place.owners[0] for place in places if place.most >= WORTH))
    return owners[:NAMED] or tuple(loop.entry.order[:1])


def _place(place: Place) -> dict[str, Any]:
    return {
        "owners": place.owners, "at": point(place.at), "most": place.most, "least": place.least,
        "likely": place.likely, "why": place.why,
    }  # fmt: skip


def _better(loop: Asked, better: Better | None) -> dict[str, Any]:
    if better is None:
        return {}
    at = better.name or point(loop.plumbed.water.middle(better.node))
    return {
        "kind": better.kind, "at": at, "in": better.owners[:1], "gain": better.gain, "free": better.free,
    }  # fmt: skip


def _mend(loop: Asked, better: Better | None, now: float) -> str:
    if better is None:
        return ""
    x, y, z = point(loop.plumbed.water.middle(better.node))
    at = better.name or f"{better.owners[0]}, at ({x:.0f}, {y:.0f}, {z:.0f})"
    left = max(now - better.gain, 0.0)
    tee = "" if better.free else ", on a tee,"
    return f"one more {better.kind}{tee} at {at} leaves {left:.0f} ml"
