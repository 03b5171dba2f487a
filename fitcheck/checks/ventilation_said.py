"""Ventilation in words: areas, necks, and what they lie between."""

from __future__ import annotations

from typing import Any

import numpy as np

from fitcheck.air.asked import Back, Shared, Standing
from fitcheck.air.fans import Fan, Gap
from fitcheck.air.grid import stopping
from fitcheck.air.necks import Neck, Patch
from fitcheck.air.standing import Facing
from fitcheck.checks.sight import percent
from fitcheck.checks.verdicts import mm, point
from fitcheck.finding import Point
from fitcheck.rays.lines import nearest
from fitcheck.world.bodies import bodies
from fitcheck.world.world import World

# What stands nearest about a neck is sought this far off its middle, mm.
ABOUT = 400.0
# What a fan does on each side.
DOES = {"intake": "draws", "exhaust": "blows"}
WAYS = {"in": "blows into the machine", "out": "blows out of the machine", "inside": "moves air inside"}
# Parts of a neck smaller than this share of it are counted but not named.
NAMED = 0.1


def area(value: float) -> str:
    """An area in cm2: `86.0 cm²`."""
    return f"{value / 100:.1f} cm²"


def opening(gap: Gap) -> dict[str, Any]:
    """What is known of an opening."""
    return {"area": gap.area, "open": gap.area * gap.share, "share": gap.share, "at": point(gap.at)}


def neck(world: World, fan: Fan, side: str, one: Neck) -> str:
    """What the narrowest place on one side of a fan is."""
    if one.area - one.error >= fan.swept or not one.patches:
        if one.area <= 0:
            return f"{fan.name} {DOES[side]} against something: its {side} has no way to the outside"
        freely = f"{fan.name} {DOES[side]} freely: no place on its way is narrower than its blades'"
        return f"{freely} {area(fan.swept)}"
    share = percent(min(one.area / fan.swept, 1.0))
    about = "" if one.error == 0 else "about "
    return (
        f"{fan.name} {DOES[side]} through {about}{area(one.area)}, {share} of its blades' {area(fan.swept)}"
        f"{_at(world, one)}"
    )


def shared(world: World, common: Shared) -> str:
    """What fans that take from each other have together."""
    swept = sum(fan.swept for fan in common.fans)
    names = ", ".join(fan.name for fan in common.fans)
    verb = "draw from" if common.side == "intake" else "blow into"
    return (
        f"{names} {verb} the same {area(common.neck.area)}, {percent(min(common.neck.area / swept, 1.0))} of "
        f"their blades' {area(swept)}{_at(world, common.neck)}"
    )


def back(world: World, part: str, one: Back, most: float | None) -> str:
    """How air gets back beside a radiator."""
    swept = sum(fan.swept for fan in one.fans)
    if one.neck is None or one.neck.area <= 0:
        return f"no air that has passed {part} gets back before it inside the case"
    said = (
        f"air that has passed {part} gets back before it through {area(one.neck.area)}, "
        f"{percent(one.neck.area / swept)} of its fans' {area(swept)}{_at(world, one.neck)}"
    )
    return said if most is None else f"{said}; {percent(most)} at most are allowed"


def direction(fan: Fan, does: str, must: str) -> str:
    """Which way a fan blows, and which it must."""
    said = f"{fan.name} {WAYS[does]}"
    return said if does == must else f"{said}; it must be one that {WAYS[must]}"


def face(pair: Facing) -> str:
    """Two fans face to face."""
    what = "draw against" if pair.side == "intake" else "blow at"
    return f"{pair.one.name} and {pair.other.name} {what} each other, {mm(pair.apart)} apart"


def balance(found: Standing, areas: dict[str, float], low: float | None, high: float | None) -> str:
    """How much of the fans blows in and out."""
    counts = {way: sum(does == way for does in found.blows.values()) for way in WAYS}
    said = f"by area of blades {area(areas['in'])} blow in ({_fans(counts['in'])})"
    said += f", {area(areas['out'])} out ({_fans(counts['out'])})"
    if counts["inside"]:
        said += f"; {_fans(counts['inside'])} only move air inside"
    total = areas["in"] + areas["out"]
    limits = [
        f"{percent(share)} at {end}" for share, end in ((low, "least"), (high, "most")) if share is not None
    ]
    if limits:
        share = percent(areas["in"] / total) if total else "no fan at the outside"
        said += f": {share} blows in, {' and '.join(limits)} are demanded"
    return said


def _fans(count: int) -> str:
    return "1 fan" if count == 1 else f"{count or 'no'} fans"


def places(otherwise: np.ndarray, one: Neck) -> tuple[Point, ...]:
    """Where a neck is: its largest place, or where there is none the fan."""
    return (point(one.patches[0].middle if one.patches else otherwise),)


def details(one: Neck, drawn: int) -> dict[str, Any]:
    """A neck as plain data."""
    outlines = [patch.outline for patch in one.patches if len(patch.outline)][:drawn]
    return {
        "area": one.area,
        "error": one.error,
        "by_graph": one.cut,
        "rings": one.rings,
        "places": tuple(
            {"area": patch.area, "at": point(patch.middle), "in": patch.gap or patch.through}
            for patch in one.patches[:drawn]
        ),
        "outlines": tuple(tuple(point(corner) for corner in outline) for outline in outlines),
    }


def _at(world: World, one: Neck) -> str:
    named = [_place(world, patch) for patch in one.patches if patch.area >= NAMED * one.area]
    if one.rings >= NAMED * one.area:
        named.append("straight before the blades")
    return ", narrowest " + " and ".join(dict.fromkeys(named)) if named else ""


def _place(world: World, patch: Patch) -> str:
    if patch.gap:
        return f"at {patch.gap}"
    if patch.through:
        return f"in {patch.through}"
    near = _nearest_two(world, patch)
    x, y, z = patch.middle
    beside = "between " + " and ".join(near) if len(near) == 2 else "".join(f"near {name}" for name in near)
    return f"{beside} (x {x:.0f}, y {y:.0f}, z {z:.0f})".strip()


def _nearest_two(world: World, patch: Patch) -> list[str]:
    """What bounds a neck: what is nearest to its outline, the two bodies met most often."""
    around = patch.outline if len(patch.outline) else patch.middle[None]
    _, rows = nearest(stopping(world), around, ABOUT)
    solids = bodies(world)
    names = [solids.all[body].name for body in solids.body[rows[rows >= 0]].tolist()]
    ranked = sorted(dict.fromkeys(names), key=lambda name: -names.count(name))
    return ranked[:2]
