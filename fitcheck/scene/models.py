"""What a model file holds, key by key; the descriptions are the help an editor shows."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import ConfigDict, Field, model_validator

from fitcheck.scene.entries import Entry, ParameterType, PartEntry
from fitcheck.scene.kinds import (
    AnyScalar,
    Axis,
    AxisSide,
    Direction,
    Flag,
    Line,
    Name,
    Pair,
    Point,
    Problem,
    Range,
    Reference,
    References,
    Shaped,
    Text,
    WrittenAngle,
    WrittenLength,
    WrittenValue,
    refusal,
)
from fitcheck.scene.places import Turn

Role = Literal[
    "body", "sheet", "frame", "core", "blade", "board", "connector", "thread", "fitting",
    "tube", "liquid", "glass", "rubber", "metal",
]  # fmt: skip
Wall = Literal["floor", "ceiling", "left_wall", "right_wall", "front_wall", "rear_wall"]


def _one_of(*keys: str) -> ConfigDict:
    return ConfigDict(json_schema_extra={"oneOf": [{"required": [key]} for key in keys]})


def _chosen(entry: Shaped, keys: tuple[str, ...], what: str) -> str:
    """The one key of `keys` that is written; refuses none and several."""
    written = [key for key in keys if key in entry.model_fields_set]
    if not written:
        raise refusal(Problem(f"{what} is missing; give one of {', '.join(keys)}"))
    if len(written) > 1:
        raise refusal(Problem(f"more than one of {', '.join(keys)}; keep one", key=written[1]))
    return written[0]


class Parameter(Shaped):
    """An input of the model."""

    type: ParameterType = Field(description="What the scene may give.")
    default: AnyScalar | None = Field(
        None, description="Taken if the scene gives nothing; without it, it must."
    )
    range: Range | None = Field(None, description="Least and greatest value; either may be none.")
    choices: list[AnyScalar] | None = Field(None, min_length=1, description="The only values allowed.")
    meaning: Line = Field("", description="What it is, in a few words.")
    source: Line = Field(
        "", description="The standard, common practice, invented for the demo, or measure yours."
    )


class Box(Shaped):
    """A box along the model's axes."""

    low: Point = Field(description="Corner with the least x, y and z.")
    high: Point = Field(description="Corner with the greatest x, y and z.")


class Cylinder(Shaped):
    """A round rod, or a pipe if it has a bore."""

    from_: Point = Field(alias="from", description="Middle of one end.")
    to: Point = Field(description="Middle of the other end.")
    diameter: WrittenLength = Field(description="Outside diameter.")
    bore: WrittenLength | None = Field(None, description="Inside diameter; makes it hollow.")


class Prism(Shaped):
    """An outline drawn along an axis."""

    along: Axis = Field(description="The axis it is drawn along.")
    from_: WrittenLength = Field(alias="from", description="Where it begins on that axis.")
    to: WrittenLength = Field(description="Where it ends on that axis.")
    outline: list[Pair] = Field(
        min_length=3, description="Corners in the two other axes, in the order x, y, z (along y: [x, z])."
    )


class Tube(Shaped):
    """A round solid along a bent path."""

    path: list[Point] = Field(min_length=2, description="Corners of its axis.")
    bend_radius: WrittenLength | None = Field(None, description="Radius of the axis in each bend.")
    diameter: WrittenLength = Field(description="Outside diameter.")


class Sheet(Shaped):
    """A flat panel: a plain rectangle by low and high, or an outline; holes and openings may cut it."""

    model_config = ConfigDict(
        json_schema_extra={
            "oneOf": [
                {"required": ["low", "high"], "propertyNames": {"enum": ["low", "high"]}},
                {
                    "required": ["along", "from", "to", "outline"],
                    "propertyNames": {"enum": ["along", "from", "to", "outline"]},
                },
            ]
        }
    )

    low: Point | None = Field(None, description="Corner with the least x, y and z.")
    high: Point | None = Field(None, description="Corner with the greatest x, y and z.")
    along: Axis | None = Field(None, description="The axis across its thickness.")
    from_: WrittenLength | None = Field(None, alias="from", description="One surface, on that axis.")
    to: WrittenLength | None = Field(None, description="The other surface, on that axis.")
    outline: list[Pair] | None = Field(
        None, min_length=3, description="Corners in the two other axes, in the order x, y, z."
    )

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        written = {"from" if key == "from_" else key for key in self.model_fields_set}
        plain, drawn = {"low", "high"}, {"along", "from", "to", "outline"}
        if written in (plain, drawn):
            return self
        forms = "a sheet has low and high, or along, from, to and outline"
        mixed = sorted(written & plain) if written & drawn else []
        raise refusal(Problem(forms, key=mixed[0] if mixed else ""))


class MeshFile(Shaped):
    """A mesh file as a solid."""

    file: Text = Field(description="STL, OBJ, PLY, 3MF or glTF, beside the model file.")
    unit: Literal["mm", "cm", "m", "in"] | None = Field(
        None, description="The unit of its numbers; STL, OBJ and PLY do not say it themselves."
    )


SHAPES = ("box", "cylinder", "prism", "tube", "sheet", "mesh")


class SolidEntry(Entry):
    """A solid: exactly one of box, cylinder, prism, tube, sheet, mesh."""

    model_config = _one_of(*SHAPES)

    box: Box | None = Field(None, description="A box: low and high corner.")
    cylinder: Cylinder | None = Field(None, description="A rod or pipe: from, to, diameter, bore.")
    prism: Prism | None = Field(None, description="An outline drawn along an axis.")
    tube: Tube | None = Field(None, description="A round solid along a bent path.")
    sheet: Sheet | None = Field(None, description="A flat panel that holes and openings may cut.")
    mesh: MeshFile | None = Field(None, description="A mesh file.")
    turn: Turn | None = Field(None, description="Turn the solid about an axis.")
    role: Role = Field("body", description="What it is made for, for the pictures.")
    transparent: Flag = Field(False, description="Glass or clear plastic.")

    @property
    def shape(self) -> Box | Cylinder | Prism | Tube | Sheet | MeshFile:
        """The one shape that is written."""
        shapes = (self.box, self.cylinder, self.prism, self.tube, self.sheet, self.mesh)
        return next(shape for shape in shapes if shape is not None)

    @model_validator(mode="after")
    def _one_shape(self) -> Self:
        _chosen(self, SHAPES, "the shape")
        return self


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


LINKS = ("thread", "plug", "slot", "tube")


class PortEntry(Entry):
    """A connection, at its sealing face; exactly one of thread, plug, slot, tube says what it takes."""

    model_config = _one_of(*LINKS)

    at: Point = Field(description="Middle of the sealing face: mouth of a female, shoulder of a male port.")
    axis: Direction = Field(description="Out of the part.")
    up: Direction | None = Field(None, description="What turn 0 means; +z, or +x for an axis along z.")
    thread: Text | None = Field(None, description="A thread, such as G1/4.")
    plug: Text | None = Field(None, description="A plug's form.")
    slot: Text | None = Field(None, description="A card slot's form.")
    tube: WrittenLength | None = Field(None, description="Outside diameter of the tube it takes.")
    gender: Literal["male", "female", "none"] = Field("none", description="Male goes into female.")
    depth: WrittenLength = Field(
        0, description="How deep a female port takes a male one, or how far a male one reaches in."
    )
    of: References = Field(default_factory=list, description="Solids that the mated part may touch.")
    reach: Reference | None = Field(None, description="The solid that goes into the other part.")

    @property
    def link(self) -> Literal["thread", "plug", "slot", "tube"]:
        """Which of the four it is; the size is the value of that key."""
        return next(key for key in LINKS if getattr(self, key) is not None)  # type: ignore[return-value]

    @model_validator(mode="after")
    def _one_link(self) -> Self:
        link = _chosen(self, LINKS, "what it takes")
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


OPENINGS = ("round", "slot", "rectangle")


class OpeningEntry(Entry):
    """A cut-out for air or cables: exactly one of round, slot, rectangle."""

    model_config = _one_of(*OPENINGS)

    at: Point = Field(description="Its middle.")
    axis: Direction = Field(description="Out of the material, towards where the cable or air comes from.")
    up: Direction | None = Field(None, description="Its long way; +z, or +x for an axis along z.")
    round: WrittenLength | None = Field(None, description="A round opening's diameter.")
    slot: Pair | None = Field(None, description="Overall length (along up) and width; round ends.")
    rectangle: Pair | None = Field(None, description="Size along up, and across.")
    cuts: Reference | None = Field(None, description="The sheet or prism it is cut through.")

    @property
    def shape(self) -> Literal["round", "slot", "rectangle"]:
        """Which of the three it is."""
        return next(key for key in OPENINGS if getattr(self, key) is not None)  # type: ignore[return-value]

    @model_validator(mode="after")
    def _one_shape(self) -> Self:
        _chosen(self, OPENINGS, "the shape")
        return self


class KeepClearEntry(Entry):
    """A volume that must stay empty: a box or a cylinder, and why."""

    model_config = _one_of("box", "cylinder")

    box: Box | None = Field(None, description="A box: low and high corner.")
    cylinder: Cylinder | None = Field(None, description="A cylinder: from, to, diameter.")
    why: Line = Field("", description="What needs the room.")

    @model_validator(mode="after")
    def _one_shape(self) -> Self:
        _chosen(self, ("box", "cylinder"), "the shape")
        return self


class CompartmentEntry(Entry):
    """A box of empty space inside; its walls are faces that point inward."""

    low: Point = Field(description="Corner with the least x, y and z.")
    high: Point = Field(description="Corner with the greatest x, y and z.")
    walls: dict[Wall, Reference] = Field(
        default_factory=dict, description="Which solid lies behind each wall: {floor: midplate}."
    )


class ModelFile(Shaped):
    """A kind of part: its sizes as parameters, its solids, its named places."""

    model: Name = Field(description="Its name, the same as the file's.")
    summary: Line = Field("", description="One line: what it is.")
    frame: Line = Field("", description="One line: where its origin is and which way its axes point.")
    parameters: dict[Name, Parameter] = Field(default_factory=dict, description="Inputs.")
    derive: dict[Name, WrittenValue] = Field(
        default_factory=dict, description="Named values worked out from parameters."
    )
    solids: dict[Name, SolidEntry] = Field(default_factory=dict, description="What it is made of.")
    faces: dict[Name, FaceEntry] = Field(default_factory=dict, description="Flat sides to rest by.")
    ports: dict[Name, PortEntry] = Field(default_factory=dict, description="Connections.")
    holes: dict[Name, HoleEntry] = Field(default_factory=dict, description="Round holes.")
    openings: dict[Name, OpeningEntry] = Field(
        default_factory=dict, description="Cut-outs for air or cables."
    )
    keep_clear: dict[Name, KeepClearEntry] = Field(
        default_factory=dict, description="Volumes that must stay empty."
    )
    compartments: dict[Name, CompartmentEntry] = Field(default_factory=dict, description="Inner spaces.")
    use: dict[Name, PartEntry] = Field(default_factory=dict, description="Other models as sub-parts.")


# The sections whose names share one name space.
NAMED = (
    "parameters", "derive", "solids", "faces", "ports", "holes", "openings", "keep_clear", "compartments", "use",
)  # fmt: skip
