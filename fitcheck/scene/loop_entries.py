"""How a scene file writes a loop: what the coolant runs through, and what is asked of it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any, Self

from pydantic import BeforeValidator, Field, model_validator

from fitcheck.scene.kinds import Problem, one_or_list, refusal, shown
from fitcheck.scene.names import REFERENCE, Reference
from fitcheck.scene.rules import Angle, Length, Number, PartRef, PlaceRef, Rule, Side, Text

Path = tuple[str | int, ...]
# Liquid at the pressure of a room; the properties of water are asked for no other, °C.
COLDEST, HOTTEST = 1.0, 95.0
# A machine that lies on its side has been tipped by so much, degrees.
FARTHEST = 90.0


def _pair(raw: Any) -> Any:
    if not isinstance(raw, list) or len(raw) != 2:
        raise refusal(Problem(f"expected [flow, pressure loss], two numbers, found {shown(raw)}"))
    return raw


_PLACES = Annotated[list[PlaceRef], *one_or_list({"type": "string", "pattern": f"^{REFERENCE}$"})]
_POINT = Annotated[list[Number], BeforeValidator(_pair)]


class Tilt(Rule):
    """The whole machine tipped."""

    to: Side = Field(description="The side that goes down: left, right, front or rear.")
    by: Angle = Field(description="By how many degrees.")

    @model_validator(mode="after")
    def _sideways(self) -> Self:
        if self.to in ("top", "bottom"):
            raise refusal(Problem("a machine is tipped to the left, right, front or rear", key="to"))
        return self


class LoopEntry(Rule):
    """A loop: what the coolant runs through, how it is filled and drained, and what is demanded."""

    order: list[PartRef] = Field(
        min_length=2,
        description="Parts and runs in the direction of flow; fittings between them need not be named.",
    )
    drain: _PLACES = Field(
        default_factory=list, description="What is opened to drain: a drain part, or a free port."
    )
    vent: _PLACES = Field(
        default_factory=list, description="What is opened to let air in or out: a fill port, or a free port."
    )
    fill: PlaceRef | None = Field(None, description="Where it is filled; if not given, the first vent.")
    tilts: list[Tilt] = Field(
        default_factory=list, description="Draining and filling are also asked with the machine tipped so."
    )
    volumes: dict[Reference, Number] = Field(
        default_factory=dict,
        description="What parts hold, in millilitres, in place of what their models say.",
    )
    metals: dict[Reference, Text] = Field(
        default_factory=dict, description="Metals that the coolant touches, in place of what the models say."
    )
    curves: dict[Reference, list[_POINT]] = Field(
        default_factory=dict,
        description="Pressure losses of blocks and radiators: [[60, 1.2], [120, 4.5]] in l/h and kPa.",
    )
    flow: Number | None = Field(None, description="Flow in litres an hour, for the pressure loss.")
    coolant_temperature: Number = Field(30, description="In °C; the coolant counts as water.")
    least_level: Length = Field(
        0, description="How high the coolant stands in the reservoir at the least, above its inner floor."
    )
    left_at_most: Number | None = Field(None, description="Millilitres that may stay after draining.")
    air_at_most: Number | None = Field(None, description="Millilitres of air that may stay after filling.")
    pressure_at_most: Number | None = Field(
        None, description="Pressure loss in kPa that the pump can overcome."
    )
    keep_dry: list[PartRef] = Field(
        default_factory=list, description="Parts on which no leaking joint may drip."
    )

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        wrong = []
        for key, needed in (
            ("pressure_at_most", "flow"),
            ("left_at_most", "drain"),
            ("air_at_most", "vent"),
        ):
            if getattr(self, key) is not None and not getattr(self, needed):
                wrong.append(Problem(f"needs {needed} to be given", key=key))
        if wrong:
            raise refusal(*wrong)
        return self


def written_names(entry: LoopEntry) -> Iterator[tuple[Path, str]]:
    """Names that stand as keys, with their paths below the loop: those of parts and runs.

    Names that are values are `PartRef` and `PlaceRef`, which `walk_rule` hands to its caller.
    """
    for key in ("volumes", "metals", "curves"):
        for name in getattr(entry, key):
            yield (key, name), name


def wrong_values(entry: LoopEntry) -> Iterator[tuple[Path, str]]:
    """What is wrong with the plain values of a loop, with the paths below it."""
    named: set[str] = set()
    for at, name in enumerate(entry.order):
        if name in named:
            yield ("order", at), f"{name} is named twice; the coolant passes each once"
        if "*" in name:
            yield ("order", at), "each part is named by itself"
        named.add(name)
    if entry.flow is not None and not 0 < entry.flow < 1e5:
        yield ("flow",), f"{entry.flow:g} l/h is no flow"
    if not COLDEST <= entry.coolant_temperature <= HOTTEST:
        yield ("coolant_temperature",), f"{entry.coolant_temperature:g} °C is not from 1 to 95"
    if entry.least_level < 0:
        yield ("least_level",), f"{entry.least_level:g} is below 0"
    for key in ("left_at_most", "air_at_most", "pressure_at_most"):
        value = getattr(entry, key)
        if value is not None and value < 0:
            yield (key,), f"{value:g} is below 0"
    for at, tilt in enumerate(entry.tilts):
        if not 0 < tilt.by <= FARTHEST:
            yield ("tilts", at, "by"), f"{tilt.by:g}° is not above 0 and up to 90"
    for name, volume in entry.volumes.items():
        if volume <= 0:
            yield ("volumes", name), f"{volume:g} ml is no volume"
    for name, curve in entry.curves.items():
        yield from _wrong_curve(("curves", name), curve)


def _wrong_curve(path: Path, curve: list[list[float]]) -> Iterator[tuple[Path, str]]:
    if not curve:
        yield path, "expected at least one point [l/h, kPa]"
    last = (0.0, 0.0)
    for at, (flow, loss) in enumerate(curve):
        if flow <= last[0] or loss <= last[1]:
            yield (*path, at), "flow and loss must rise from point to point, from above 0"
            return
        last = (flow, loss)
