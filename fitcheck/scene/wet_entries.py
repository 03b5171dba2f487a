"""How a model file writes what is wet inside a part; the descriptions are the help an editor shows."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from fitcheck.scene.entries import Entry
from fitcheck.scene.kinds import (
    Direction,
    Flag,
    Point,
    Problem,
    Shaped,
    Text,
    WrittenLength,
    WrittenNumber,
    refusal,
)
from fitcheck.scene.names import Reference, References
from fitcheck.scene.solid_entries import Box, Cylinder, chosen, one_of

SPACES = ("box", "cylinder", "channel")
Pointing = Literal["up", "level", "down"]


class Channel(Shaped):
    """A bore from one port to another, or to a mouth of its own."""

    from_: Reference = Field(alias="from", description="The port it starts at.")
    by: list[Point] = Field(default_factory=list, description="Corners of its centre line.")
    to: Reference | None = Field(None, description="The port it ends at.")
    mouth: Point | None = Field(
        None, description="In place of to: where it can be opened to the air (under a cap, a valve's end)."
    )

    @model_validator(mode="after")
    def _one_end(self) -> Self:
        if (self.to is None) == (self.mouth is None):
            raise refusal(Problem("a channel ends at a port (to) or at a mouth; give one of them"))
        return self


class PumpEntry(Shaped):
    """What a pump asks of its place."""

    shaft: Direction = Field(description="The shaft's direction, from the motor to the head.")
    may_point: list[Pointing] = Field(
        min_length=1, description="Which ways the shaft may point: up, level, down."
    )


class WetEntry(Entry):
    """A space inside the part that coolant fills: exactly one of box, cylinder, channel."""

    model_config = one_of(*SPACES)

    box: Box | None = Field(None, description="A wide space: low and high corner of its inside.")
    cylinder: Cylinder | None = Field(
        None, description="A wide round space: from, to, diameter of its inside."
    )
    channel: Channel | None = Field(None, description="A bore: from port to port.")
    ports: References = Field(default_factory=list, description="The ports that open into a wide space.")
    meets: References = Field(
        default_factory=list,
        description="Wide spaces named before that it is open to, where their boxes touch or overlap.",
    )
    share: WrittenNumber = Field(
        1, description="How much of the space is coolant, from 0 to 1; the rest is metal."
    )
    bore: WrittenLength = Field(
        9, description="Diameter of a channel, and of the ways from ports to a wide space."
    )
    unsure: Flag = Field(False, description="Its true inside is not known: all of it may stay when drained.")
    air: Flag = Field(False, description="A reservoir: the loop's air gathers here.")
    metal: Text | None = Field(
        None, description="What the coolant touches: copper, brass, nickel, aluminium, plastic …"
    )
    flow: list[Reference] = Field(
        default_factory=list, description="[inlet, outlet] where the coolant must flow one way."
    )
    pump: PumpEntry | None = Field(None, description="It is a pump: how it may be turned.")

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        shape = chosen(self, SPACES, "the shape")
        wrong = []
        if shape == "channel":
            wrong += [
                Problem("is for a wide space", key=k)
                for k in ("ports", "meets")
                if k in self.model_fields_set
            ]
        elif not self.ports and not self.meets:
            wrong.append(Problem("ports is missing: which ports open into it"))
        if self.flow and len(self.flow) != 2:
            wrong.append(Problem(f"expected [inlet, outlet], found {len(self.flow)}", key="flow"))
        if self.pump is not None and not self.flow:
            wrong.append(Problem("a pump needs flow: [inlet, outlet]", key="pump"))
        if self.cylinder is not None and self.cylinder.bore is not None:
            wrong.append(Problem("is the inside already; leave out its bore", key="cylinder"))
        if wrong:
            raise refusal(*wrong)
        return self
