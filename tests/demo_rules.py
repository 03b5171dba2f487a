"""Rules as scenes/README.md shows them; the checks' own types are tested with the checks."""

from __future__ import annotations

from typing import Any

from pydantic import Field

from fitcheck.scene.rules import Length, PartRef, PlaceRef, Rule, Side


class PairRule(Rule):
    """A clearance between two parts."""

    between: PartRef = Field(description="A part.")
    and_: PartRef = Field(alias="and", description="The other part.")
    at_least: Length = Field(description="The least distance.")


class ClearanceRule(Rule):
    """How far apart parts must be."""

    default: Length = Field(0.0, description="For every pair not named.")
    margin: Length = Field(0.0, description="Up to demand + margin the verdict is tight.")
    pairs: list[PairRule] = Field(default_factory=list, description="Pairs that differ.")


class RoomRule(Rule):
    """Room beside a part."""

    for_: PartRef = Field(alias="for", description="What needs it.")
    side: Side = Field(description="Where.")
    of: PartRef = Field(description="Beside what.")
    at_least: Length = Field(description="How much.")


class GapRule(Rule):
    """Travel of a part."""

    part: PartRef = Field(description="Which.")
    side: Side = Field(description="Towards where.")
    at_least: Length = Field(description="How far.")


class Wanted(Rule):
    """A box that must fit."""

    name: str = Field(description="Its name.")
    in_: PlaceRef = Field(alias="in", description="The compartment.")
    size: list[Length] = Field(description="Its size.")


class EmptyRule(Rule):
    """Empty boxes."""

    wanted: list[Wanted] = Field(default_factory=list, description="Boxes that must fit.")
    least_side: Length | None = Field(None, description="Smaller ones are not listed.")


class KeepClearRule(Rule):
    """Volumes that stay empty."""

    margin: Length = Field(0.0, description="Up to demand + margin the verdict is tight.")


RULES: dict[str, Any] = {
    "clearance": ClearanceRule,
    "room": list[RoomRule],
    "gaps": list[GapRule],
    "empty_boxes": EmptyRule,
    "keep_clear": KeepClearRule,
}
