"""Which holes of a template move with lengths that are not known exactly: measure before it is cut."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from fitcheck.scene.mistakes import Mistakes
from fitcheck.templates.drawing import Drawing, Spot
from fitcheck.world.world import Measurement, World

# What moves by less is not worth a warning, mm.
MOVED = 0.01


def with_measurements(
    world: World, drawings: Sequence[Drawing], at: Mapping[str, Sequence[Drawing]]
) -> list[Drawing]:
    """The drawings, each with a warning for every length that moves or resizes something on it.

    Args:
        at: by the name of a measurement, the drawings of the world with that at another value.
    """
    said: dict[str, list[str]] = {drawing.name: [] for drawing in drawings}
    for measurement in world.uncertain:
        others = {drawing.name: drawing for drawing in at.get(measurement.name, ())}
        for drawing in drawings:
            other = others.get(drawing.name)
            if other is not None and (moved := _moved(drawing, other)):
                said[drawing.name].append(f"{moved} with {_known(measurement)}: measure that before you cut.")
    return [replace(one, warnings=(*one.warnings, *said[one.name])) for one in drawings]


def other_values(world: World) -> dict[str, World]:
    """The world with each written uncertain length at its other end, as far as it can be placed so."""
    found: dict[str, World] = {}
    for one in world.uncertain:
        lower = one.high == float("inf") or one.nominal - one.low > one.high - one.nominal
        value = one.low if lower else one.high
        if world.elsewhere is None or one.general or abs(value - one.nominal) < MOVED:
            continue
        try:
            found[one.name] = world.elsewhere({one.name: value})
        except Mistakes:
            continue
    return found


def _moved(drawing: Drawing, other: Drawing) -> str:
    """What differs between two drawings of one part, in words; empty where nothing does."""
    there = {spot.hole: spot for spot in other.spots}
    numbers = [str(s.number) for s in drawing.spots if s.hole in there and _differ(s, there[s.hole])]
    size = any(abs(a - b) > MOVED for a, b in zip(drawing.size, other.size, strict=True))
    size = size or abs(drawing.thickness - other.thickness) > MOVED
    what = [*(["its size"] if size else []), *([f"number {', '.join(numbers)}"] if numbers else [])]
    if not what:
        return ""
    return f"{' and '.join(what)} {'go' if size and numbers else 'goes'}".capitalize()


def _differ(one: Spot, other: Spot) -> bool:
    places = zip((*one.at, *one.shape.bounds), (*other.at, *other.shape.bounds), strict=True)
    return any(abs(a - b) > MOVED for a, b in places)


def _known(one: Measurement) -> str:
    """A measurement in words: `core, 30 mm (29.5 to 30.5)`."""
    ends = f"{one.low:g} to {one.high:g}" if one.high != float("inf") else f"{one.low:g} or more"
    more = "" if one.measured else ", not measured yet"
    return f"{one.name}, drawn at {one.nominal:g} {one.unit} ({ends}{more})"
