"""How a scene file writes a run: a tube or a cable, its sizes, its ends, and the way it should take."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, WithJsonSchema, WrapValidator, model_validator

from fitcheck.scene.kinds import Problem, refusal, shown
from fitcheck.scene.rules import Angle, Length, PartRef, PlaceRef, Rule, Side

RunKind = Literal["soft tube", "rigid tube", "cable"]
# What only some kinds have, and which.
ONLY: dict[str, tuple[RunKind, ...]] = {
    "bore": ("soft tube", "rigid tube"),
    "angles": ("rigid tube",),
    "straight": ("rigid tube",),
    "bend_cost": ("rigid tube",),
    "end_allowance": ("soft tube", "rigid tube"),
    "flat": ("cable",),
    "plug_from": ("cable",),
    "plug_to": ("cable",),
}


def _counted(count: int) -> BeforeValidator:
    def check(raw: Any) -> Any:
        if not isinstance(raw, list) or len(raw) != count:
            raise refusal(Problem(f"expected {count} lengths in a list, found {shown(raw)}"))
        return raw

    return BeforeValidator(check)


_POINT = Annotated[list[Length], _counted(3)]
_SIZE = Annotated[list[Length], _counted(3)]
_FLAT = Annotated[list[Length], _counted(2)]


def _any_too(raw: Any, plain: Any) -> Any:
    return None if raw == "any" else plain(raw)


Angles = Annotated[
    list[Angle] | None,
    WrapValidator(_any_too),
    WithJsonSchema(
        {
            "anyOf": [
                {"const": "any"},
                {"type": "array", "items": {"type": ["number", "string"]}, "minItems": 1},
            ]
        }
    ),
]


class Further(Rule):
    """A part that the run keeps farther from."""

    part: PartRef = Field(description="A part, or several by a * at the end.")
    at_least: Length = Field(description="The least distance demanded from it.")


class Pull(Rule):
    """Something the run hangs on that is pulled out while it stays connected."""

    part: PartRef = Field(description="The tray, door or panel that moves with one end of the run.")
    towards: Side = Field(description="To which side it is pulled.")
    by: Length = Field(description="How far.")


class RunEntry(Rule):
    """A tube or a cable from one port to another."""

    kind: RunKind = Field(description="What is laid: soft tube, rigid tube or cable.")
    from_: PlaceRef = Field(alias="from", description="The port it starts at, such as pump_outlet.tube_end.")
    to: PlaceRef = Field(description="The port it ends at.")
    through: list[PlaceRef | list[PlaceRef]] = Field(
        default_factory=list,
        description="Openings or holes it goes through, in order; a list in the list means one of several.",
    )
    outside: Length | None = Field(None, description="Outside diameter; of a cable that of its bundle.")
    bore: Length | None = Field(None, description="Inside diameter of a tube.")
    flat: _FLAT | None = Field(None, description="A flat cable: how wide, how thick.")
    bend_radius: Length | None = Field(
        None, description="Least bend radius of its centre line; ask the maker, or bend a piece and measure."
    )
    stub: Length | None = Field(None, description="Straight length at each end before the first bend.")
    clearance: Length | None = Field(None, description="Least distance from everything else.")
    play: Length = Field(0.5, description="Least distance from the rim of what it goes through.")
    away_from: list[Further] = Field(default_factory=list, description="Parts that it keeps farther from.")
    angles: Angles = Field(
        default_factory=lambda: [90.0], description="Bends that can be made: [90], [45, 90], or any."
    )
    straight: Length | None = Field(None, description="Least straight length between two bends.")
    bend_cost: Length = Field(60, description="How much longer a tube may be to save one bend.")
    end_allowance: Length | None = Field(
        None, description="Cut on at each end; if not given, as deep as the fitting takes the tube."
    )
    plug_from: _SIZE | None = Field(None, description="Size of the plug at the start: long, wide, high.")
    plug_to: _SIZE | None = Field(None, description="Size of the plug at the end: long, wide, high.")
    length: Length | None = Field(None, description="The length at hand, end to end.")
    pull: Pull | None = Field(None, description="What is pulled out while it stays connected.")
    points: list[_POINT] | None = Field(
        None, description="Drawn by hand: the corners between its ends. It is then only checked."
    )

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        found = [
            Problem(f"is for a {' or a '.join(kinds)}; this is a {self.kind}", key=key)
            for key, kinds in ONLY.items()
            if key in self.model_fields_set and self.kind not in kinds
        ]
        if self.outside is None and self.flat is None:
            said = "outside is missing: its outside diameter"
            found.append(Problem(said + (", or flat: [wide, thick]" if self.kind == "cable" else "")))
        if self.outside is not None and self.flat is not None:
            found.append(Problem("a cable is round (outside) or flat, not both; keep one", key="flat"))
        if found:
            raise refusal(*found)
        return self
