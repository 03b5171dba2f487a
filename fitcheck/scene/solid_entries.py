"""How a model file writes its solids; the descriptions are the help an editor shows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, Self

from pydantic import ConfigDict, Field, model_validator

from fitcheck.scene.entries import Entry
from fitcheck.scene.kinds import Axis, Flag, Pair, Point, Problem, Shaped, Text, WrittenLength, refusal
from fitcheck.scene.places import Turn

Role = Literal[
    "body", "sheet", "frame", "core", "blade", "board", "connector", "thread", "fitting",
    "tube", "liquid", "glass", "rubber", "metal",
]  # fmt: skip


def one_of(*keys: str) -> ConfigDict:
    """JSON Schema of an entry with exactly one of these keys."""
    return ConfigDict(json_schema_extra={"oneOf": [{"required": [key]} for key in keys]})


def chosen(entry: Shaped, keys: Sequence[str], what: str) -> str:
    """The one key of `keys` that is written; refuses none and several."""
    written = [key for key in keys if key in entry.model_fields_set]
    if not written:
        raise refusal(Problem(f"{what} is missing; give one of {', '.join(keys)}"))
    if len(written) > 1:
        raise refusal(Problem(f"more than one of {', '.join(keys)}; keep one", key=written[1]))
    return written[0]


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

    file: Text = Field(description="STL, OBJ, PLY, 3MF, glTF or STEP, beside the model file.")
    unit: Literal["mm", "cm", "m", "in"] | None = Field(
        None, description="The unit of its numbers; STL, OBJ and PLY do not say it themselves."
    )
    facet: WrittenLength | None = Field(
        None, description="How far facets may lie from the true surface; STEP is cut so (0.02 mm)."
    )
    part: Text | None = Field(None, description="One named part of an assembly, STEP or glTF.")
    simplify: WrittenLength | None = Field(
        None, description="Fewer triangles: how far the surface may move; closed meshes only."
    )


SHAPES = ("box", "cylinder", "prism", "tube", "sheet", "mesh")


class SolidEntry(Entry):
    """A solid: exactly one of box, cylinder, prism, tube, sheet, mesh."""

    model_config = one_of(*SHAPES)

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
        chosen(self, SHAPES, "the shape")
        return self
