"""What a layouts file holds, key by key; the descriptions are the help an editor shows."""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal, Self

from pydantic import (
    Field,
    GetJsonSchemaHandler,
    PlainValidator,
    ValidatorFunctionWrapHandler,
    WithJsonSchema,
    WrapValidator,
    model_validator,
)
from pydantic_core import CoreSchema

from fitcheck.scene.entries import Scalars
from fitcheck.scene.kinds import (
    AnyScalar,
    Flag,
    Line,
    Problem,
    Scalar,
    Shaped,
    WrittenNumber,
    WrittenValue,
    refusal,
    shown,
)
from fitcheck.scene.names import NAME, FreeName, Name, WrittenParts

_SCALAR: dict[str, Any] = {"type": ["number", "string", "boolean"]}


class Steps(Shaped):
    """Values at equal steps, both ends included where a step falls on them."""

    from_: WrittenValue = Field(alias="from", description="The first value.")
    to: WrittenValue = Field(description="No value goes beyond this.")
    step: WrittenValue = Field(description="From one value to the next.")


class Option(Shaped):
    """What one option of an alternative changes in the scene; nothing, if nothing is written."""

    parts: dict[Name, dict[FreeName, Any]] = Field(
        default_factory=dict,
        description="Entries of parts as in a scene: each key stands in for the scene's, `with` by values.",
    )
    without: list[Name] = Field(default_factory=list, description="Parts that are left out.")


class Table(Shaped):
    """Values that go together, a row each."""

    columns: list[Name] = Field(min_length=1, description="Names of parameters or alternatives.")
    rows: list[list[AnyScalar]] = Field(min_length=1, description="One value for each column.")

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        for number, row in enumerate(self.rows, 1):
            if len(row) != len(self.columns):
                said = f"row {number} has {len(row)} values, there are {len(self.columns)} columns"
                raise refusal(Problem(said, key="rows"))
        return self


# What a figure may be.
KINDS = ("check", "least_distance", "length_of", "cost")


class Figure(Shaped):
    """A number taken of each layout."""

    check: FreeName | None = Field(
        None, description="Of this check's findings the one that has least to spare: what it measured."
    )
    parts: WrittenParts | None = Field(None, description="Only findings that name this part.")
    least_distance: Flag = Field(
        False, description="Least distance of any two parts that are not meant to touch, up to 20 mm."
    )
    length_of: WrittenParts | None = Field(None, description="Length of these tubes and cables together, mm.")
    cost: dict[Name, dict[str | int | float, WrittenNumber]] | None = Field(
        None,
        description="What each value of a parameter or alternative costs: {core: {30 mm: 40, 60 mm: 55}}.",
    )

    @model_validator(mode="after")
    def _one_kind(self) -> Self:
        given = [key for key in KINDS if getattr(self, key) not in (None, False)]
        if len(given) != 1:
            said = (
                f"more than one kind ({', '.join(given)}); keep one"
                if given
                else f"give one of {', '.join(KINDS)}"
            )
            raise refusal(Problem(said, key=given[1] if given else ""))
        if self.parts is not None and self.check is None:
            raise refusal(Problem("parts belong to a check", key="parts"))
        return self


class Demand(Shaped):
    """A figure that a layout must reach, besides the rules of its scene."""

    figure: Name = Field(description="Name of the figure.")
    at_least: WrittenValue | None = Field(None, description="Not below this.")
    at_most: WrittenValue | None = Field(None, description="Not above this.")

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if self.at_least is None and self.at_most is None:
            raise refusal(Problem("give at_least, at_most or both"))
        return self


_RANK = rf"(most|least) ({NAME})"


def _rank(raw: Any) -> str:
    if not isinstance(raw, str) or not re.fullmatch(_RANK, raw):
        raise refusal(Problem(f"expected most or least and a figure (most drain_room), found {shown(raw)}"))
    return raw


Rank = Annotated[str, PlainValidator(_rank), WithJsonSchema({"type": "string", "pattern": f"^{_RANK}$"})]


def _listed_or_steps(raw: Any, steps: ValidatorFunctionWrapHandler) -> Steps | list[Scalar]:
    if isinstance(raw, dict):
        return steps(raw)  # type: ignore[no-any-return]
    listed = raw if isinstance(raw, list) else [raw]
    if not listed:
        raise refusal(Problem("expected at least one value, found an empty list"))
    for one in listed:
        if not isinstance(one, int | float | str):
            raise refusal(Problem(f"expected values, found {shown(one)} among them"))
    return listed


class _OrList:
    """JSON Schema of steps that may be a list of values."""

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {"anyOf": [{"type": "array", "items": _SCALAR, "minItems": 1}, handler(schema)]}


Varied = Annotated[Steps, WrapValidator(_listed_or_steps), _OrList()]


class LayoutsFile(Shaped):
    """Alternative layouts of one scene: what varies, what is left out, what counts."""

    title: Line = Field("", description="One line.")
    notes: Line = Field("", description="Free text.")
    scene: Line = Field(description="The scene's file, beside this one or below.")
    vary: dict[Name, Varied] = Field(
        default_factory=dict,
        description="Values of scene parameters: a list, or {from: 10 mm, to: 40 mm, step: 2 mm}.",
    )
    alternatives: dict[Name, dict[FreeName, Option]] = Field(
        default_factory=dict, description="Whole parts or placements to choose between, by option."
    )
    tables: list[Table] = Field(default_factory=list, description="Values that only go together.")
    exclude: list[dict[Name, Scalars]] = Field(
        default_factory=list, description="Combinations not asked: {fan_row: 5, core: [45 mm, 60 mm]}."
    )
    figures: dict[Name, Figure] = Field(default_factory=dict, description="Numbers taken of each layout.")
    demand: list[Demand] = Field(default_factory=list, description="What a layout must reach.")
    rank: list[Rank] = Field(default_factory=list, description="What counts, the most important first.")
    measure: Literal["all", "fitting"] = Field(
        "all",
        description="`fitting`: where two parts interfere a layout fails and is not measured on.",
    )
    runs: Flag = Field(
        False, description="Lay tubes and cables in each layout: seconds a layout, else milliseconds."
    )
