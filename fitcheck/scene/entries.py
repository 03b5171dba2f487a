"""What a scene file holds, key by key; the descriptions are the help an editor shows."""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal, Self

from pydantic import (
    BeforeValidator,
    ConfigDict,
    Field,
    GetJsonSchemaHandler,
    PlainValidator,
    ValidatorFunctionWrapHandler,
    WithJsonSchema,
    WrapValidator,
    model_validator,
)
from pydantic_core import CoreSchema

from fitcheck.scene.choices import kind_of, none_of, spelled
from fitcheck.scene.kinds import (
    AnyScalar,
    Line,
    Problem,
    Range,
    Scalar,
    Shaped,
    Value,
    WrittenCount,
    WrittenLength,
    WrittenNumber,
    one_or_list,
    refusal,
    shown,
)
from fitcheck.scene.loop_entries import LoopEntry
from fitcheck.scene.names import SIDES, FreeName, Name, Reference, WrittenParts
from fitcheck.scene.places import Place
from fitcheck.scene.run_entries import RunEntry

_SCALAR_SCHEMA: dict[str, Any] = {"type": ["number", "string", "boolean"]}
Scalars = Annotated[list[AnyScalar], *one_or_list(_SCALAR_SCHEMA)]
ParameterType = Literal["length", "angle", "count", "number", "choice", "flag", "text", "file", "feature"]


class Entry(Shaped):
    """What every named entry may have: several of it, or only sometimes."""

    repeat: dict[Name, WrittenCount] = Field(
        default_factory=dict,
        description="Make one for each index, counted from 1: {i: 4, k: 2}; i and k can then be named here.",
    )
    when: dict[FreeName, Scalars] = Field(
        default_factory=dict,
        description="Make it only if each named parameter has one of these values: {ports: [near, both]}.",
    )


class PartEntry(Entry):
    """A part: one model under a name, its values, and where it sits."""

    # Whether there is such a model is for the reader of models to say, with the nearest name.
    model: Line = Field(description="Name of the model: a built-in one or one of your model_folders.")
    with_: dict[FreeName, AnyScalar] = Field(
        default_factory=dict, alias="with", description="Values for the model's parameters."
    )
    place: Place | None = Field(
        None, description="Where it sits; without it the model's origin lies at the world's."
    )
    inside: Reference | None = Field(
        None, description="The compartment it claims to be inside, such as case.plinth."
    )


class ParameterEntry(Shaped):
    """A named value of the scene that you vary (`--set name=value`)."""

    value: AnyScalar = Field(description="The value: a number, a quantity, arithmetic, a word.")
    choices: list[AnyScalar] | None = Field(None, min_length=1, description="The only values allowed.")
    range: Range | None = Field(None, description="Least and greatest value; either may be none.")
    meaning: Line = Field("", description="What it is, in a few words.")
    type: ParameterType | None = Field(None, description="What it is read as, if its value does not tell.")

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        kind = self.type or kind_of(self.choices)
        problems = parameter_problems(kind, self.choices, self.range)
        if kind in WORDS:
            problems += choice_problems("value", self.value, self.choices)
        if problems:
            raise refusal(*problems)
        return self


# Types whose values are compared as written; those of the others are worked out first.
WORDS = ("choice", "text")


def choice_problems(key: str, value: Scalar | None, choices: list[Scalar] | None) -> list[Problem]:
    """A value that is none of the choices."""
    if value is None or choices is None or spelled(value) in map(spelled, choices):
        return []
    wrong = none_of(spelled(value), choices)
    return [Problem(wrong.problem, wrong.mend, key, at_value=True)]


def parameter_problems(
    kind: str | None, choices: list[Scalar] | None, ends: list[Value | None] | None
) -> list[Problem]:
    """Choices and a range where the type has no use for them, or has need of them."""
    found = []
    if kind == "choice" and choices is None:
        found.append(Problem("choices are missing: the values that the choice is between", key="type"))
    if choices is not None and kind in ("flag", "file", "feature"):
        found.append(Problem(f"a {kind} has no choices", key="choices"))
    if ends is not None and kind not in ("length", "angle", "count", "number", None):
        found.append(Problem(f"a {kind} has no range", key="range"))
    return found


def _long_form(raw: Any) -> Any:
    return raw if isinstance(raw, dict) else {"value": raw}


class _ShortForm:
    """JSON Schema of an entry that may be its value alone."""

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {"anyOf": [_SCALAR_SCHEMA, handler(schema)]}


ShortOrLong = Annotated[ParameterEntry, BeforeValidator(_long_form), _ShortForm()]


class Touch(Shaped):
    """Two parts (or solids of them) that may touch."""

    between: WrittenParts = Field(description="A part, or one solid of it.")
    and_: WrittenParts = Field(alias="and", description="The other part or solid.")
    gives: WrittenLength = Field(0, description="How far they may press into each other (a pad, a gasket).")


class Cut(Shaped):
    """A section: the plane at this coordinate of one axis."""

    model_config = ConfigDict(json_schema_extra={"minProperties": 1, "maxProperties": 1})

    x: WrittenLength | None = Field(None, description="Cut across x, here.")
    y: WrittenLength | None = Field(None, description="Cut across y, here.")
    z: WrittenLength | None = Field(None, description="Cut across z, here.")

    @model_validator(mode="after")
    def _one_axis(self) -> Self:
        written = [axis for axis in ("x", "y", "z") if axis in self.model_fields_set]
        if len(written) != 1:
            said = f"more than one cut ({', '.join(written)}); keep one" if written else "give x, y or z"
            raise refusal(Problem(said, key=written[1] if written else ""))
        return self


def _worst_too(raw: Any, plain: ValidatorFunctionWrapHandler) -> Any:
    return Cut.model_construct() if raw == "worst" else plain(raw)


class _OrWorst:
    """JSON Schema of a cut that may be the word `worst`."""

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {"anyOf": [{"const": "worst"}, handler(schema)]}


CutOrWorst = Annotated[Cut, WrapValidator(_worst_too), _OrWorst()]


_LOOK = rf"from ({'|'.join(SIDES)})( ({'|'.join(SIDES)})){{0,2}}"


def _look(raw: Any) -> str:
    if not isinstance(raw, str) or not re.fullmatch(_LOOK, raw):
        raise refusal(Problem(f"expected from and one to three sides (from front left), found {shown(raw)}"))
    return raw


Look = Annotated[str, PlainValidator(_look), WithJsonSchema({"type": "string", "pattern": f"^{_LOOK}$"})]


class View(Shaped):
    """A named picture."""

    look: Look = Field("from front left top", description="from and one to three sides: from front left.")
    cut: CutOrWorst | None = Field(
        None, description="Cut open at a coordinate, {x: 155 mm}, or through the worst place: worst."
    )
    colour: Literal["clearance", "verdict", "role"] = Field(
        "clearance",
        description="What the colours show: least distances, verdicts, or what things are made of.",
    )
    hide: list[WrittenParts] = Field(default_factory=list, description="Parts or solids left out.")
    show: list[WrittenParts] = Field(default_factory=list, description="If given, only these are drawn.")
    explode: WrittenNumber = Field(0, description="0: as built; 1: moved well apart.")
    eye: FreeName | None = Field(None, description="Seen by these eyes of the rule sight, not from a side.")


class SceneFile(Shaped):
    """One machine: sizes, parts and where they sit, what you demand, what to draw."""

    title: Line = Field("", description="One line.")
    notes: Line = Field("", description="Free text.")
    model_folders: list[Line] = Field(
        default_factory=list, description="Folders beside the scene that hold your own models."
    )
    parameters: dict[Name, ShortOrLong] = Field(
        default_factory=dict, description="Named values that you vary."
    )
    parts: dict[Name, PartEntry] = Field(description="Name of each part, its model, values, placement.")
    runs: dict[Name, RunEntry] = Field(
        default_factory=dict,
        description="Tubes and cables: from which port to which, how thick, how tight a bend.",
    )
    loops: dict[Name, LoopEntry] = Field(
        default_factory=dict, description="What the coolant runs through, how it is filled and drained."
    )
    touches: list[Touch] = Field(default_factory=list, description="Further pairs that may touch.")
    rules: dict[str, Any] = Field(default_factory=dict, description="What you demand, by check.")
    views: dict[FreeName, View] = Field(default_factory=dict, description="Named pictures.")
