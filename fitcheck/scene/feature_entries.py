"""How a model file writes its named places; the descriptions are the help an editor shows."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import ConfigDict, Field, model_validator

from fitcheck.scene.entries import Entry
from fitcheck.scene.kinds import AxisSide, Direction, Line, Pair, Point, Problem, Text, WrittenLength, refusal
from fitcheck.scene.names import Reference, References
from fitcheck.scene.solid_entries import Box, Cylinder, chosen, one_of

Wall = Literal["floor", "ceiling", "left_wall", "right_wall", "front_wall", "rear_wall"]


class FaceEntry(Entry):
    """A flat face: a side of a solid (of and side), or a rectangle of its own (at, normal, size)."""

    model_config = ConfigDict(
        json_schema_extra={
            "oneOf": [
                {
                    "required": ["of", "side"],
                    "not": {"anyOf": [{"required": [k]} for k in ("at", "normal", "size")]},
                },
                {"required": ["at", "normal", "size"], "not": {"required": ["side"]}},
            ]
        }
    )

    of: References = Field(default_factory=list, description="The solid or solids it belongs to.")
    side: AxisSide | None = Field(None, description="Which side of the solids' bounds: +x -x +y -y +z -z.")
    at: Point | None = Field(None, description="Middle of the rectangle.")
    normal: Direction | None = Field(None, description="Out of the material.")
    along: Direction | None = Field(
        None, description="Reference direction; +x if not given, +y for a face whose normal is along x."
    )
    size: Pair | None = Field(None, description="Full size: along, across.")
    gives: WrittenLength = Field(0, description="How far a pad or gasket here may be pressed in.")

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        written = self.model_fields_set
        own = [key for key in ("at", "normal", "size") if key in written]
        if "side" in written:
            if own:
                raise refusal(Problem("side belongs to a solid's side; with at it is normal", key="side"))
            if "of" not in written:
                raise refusal(Problem("side needs of: the solid whose side it is", key="side"))
        elif len(own) < 3:
            lacking = [key for key in ("at", "normal", "size") if key not in own]
            said = "give of and side, or at, normal and size"
            raise refusal(Problem(f"{', '.join(lacking)} missing: {said}" if own else said))
        return self


Connection = Literal["thread", "plug", "slot", "tube", "cable"]
LINKS: tuple[Connection, ...] = ("thread", "plug", "slot", "tube", "cable")


class PortEntry(Entry):
    """A connection, at its sealing face; one of thread, plug, slot, tube, cable says what it takes."""

    model_config = one_of(*LINKS)

    at: Point = Field(description="Middle of the sealing face: mouth of a female, shoulder of a male port.")
    axis: Direction = Field(description="Out of the part.")
    up: Direction | None = Field(None, description="What turn 0 means; +z, or +x for an axis along z.")
    thread: Text | None = Field(None, description="A thread, such as G1/4.")
    plug: Text | None = Field(None, description="A plug's form.")
    slot: Text | None = Field(None, description="A card slot's form.")
    tube: WrittenLength | None = Field(None, description="Outside diameter of the tube it takes.")
    cable: Text | None = Field(None, description="Where the wires leave a plug: the plug's form.")
    gender: Literal["male", "female", "none"] = Field("none", description="Male goes into female.")
    depth: WrittenLength = Field(
        0, description="How deep a female port takes a male one, or how far a male one reaches in."
    )
    of: References = Field(default_factory=list, description="Solids that the mated part may touch.")
    reach: Reference | None = Field(None, description="The solid that goes into the other part.")

    @property
    def link(self) -> Connection:
        """Which of them it is; the size is the value of that key."""
        return next(key for key in LINKS if getattr(self, key) is not None)

    @model_validator(mode="after")
    def _one_link(self) -> Self:
        link = chosen(self, LINKS, "what it takes")
        if link in ("thread", "plug") and self.gender == "none":
            raise refusal(Problem("is male or female; give gender: male or gender: female", key=link))
        return self


class HoleEntry(Entry):
    """A round hole."""

    at: Point = Field(description="Middle of its mouth.")
    axis: Direction = Field(description="Out of the material, towards where the screw comes from.")
    diameter: WrittenLength = Field(description="Its diameter.")
    depth: WrittenLength | None = Field(None, description="How deep, if it does not go through.")
    thread: Text | None = Field(None, description="The thread tapped into it, such as M3 or 6-32.")
    cuts: Reference | None = Field(None, description="The sheet or prism it is cut through.")


Outline = Literal["round", "slot", "rectangle"]
OPENINGS: tuple[Outline, ...] = ("round", "slot", "rectangle")


class OpeningEntry(Entry):
    """A cut-out for air or cables: exactly one of round, slot, rectangle."""

    model_config = one_of(*OPENINGS)

    at: Point = Field(description="Its middle.")
    axis: Direction = Field(description="Out of the material, towards where the cable or air comes from.")
    up: Direction | None = Field(None, description="Its long way; +z, or +x for an axis along z.")
    round: WrittenLength | None = Field(None, description="A round opening's diameter.")
    slot: Pair | None = Field(None, description="Overall length (along up) and width; round ends.")
    rectangle: Pair | None = Field(None, description="Size along up, and across.")
    cuts: Reference | None = Field(None, description="The sheet or prism it is cut through.")

    @property
    def shape(self) -> Outline:
        """Which of the three it is."""
        return next(key for key in OPENINGS if getattr(self, key) is not None)

    @model_validator(mode="after")
    def _one_shape(self) -> Self:
        chosen(self, OPENINGS, "the shape")
        return self


class KeepClearEntry(Entry):
    """A volume that must stay empty: a box or a cylinder, and why."""

    model_config = one_of("box", "cylinder")

    box: Box | None = Field(None, description="A box: low and high corner.")
    cylinder: Cylinder | None = Field(None, description="A cylinder: from, to, diameter.")
    why: Line = Field("", description="What needs the room.")

    @model_validator(mode="after")
    def _one_shape(self) -> Self:
        chosen(self, ("box", "cylinder"), "the shape")
        return self


class CompartmentEntry(Entry):
    """A box of empty space inside; its walls are faces that point inward."""

    low: Point = Field(description="Corner with the least x, y and z.")
    high: Point = Field(description="Corner with the greatest x, y and z.")
    walls: dict[Wall, Reference] = Field(
        default_factory=dict, description="Which solid lies behind each wall: {floor: midplate}."
    )
