"""What a model file holds, key by key; the descriptions are the help an editor shows."""

from __future__ import annotations

from typing import Annotated, Any, Self

from pydantic import Discriminator, Field, PlainValidator, Tag, WithJsonSchema, model_validator

from fitcheck.scene.choices import spelled
from fitcheck.scene.entries import (
    WORDS,
    ParameterType,
    PartEntry,
    choice_problems,
    parameter_problems,
)
from fitcheck.scene.feature_entries import (
    CompartmentEntry,
    FaceEntry,
    HoleEntry,
    KeepClearEntry,
    OpeningEntry,
    PortEntry,
)
from fitcheck.scene.kinds import (
    AnyScalar,
    Flag,
    Line,
    Problem,
    Range,
    Scalar,
    Shaped,
    WrittenValue,
    refusal,
    shown,
)
from fitcheck.scene.names import Name
from fitcheck.scene.solid_entries import SolidEntry
from fitcheck.scene.wet_entries import WetEntry


def _pick_key(raw: Any) -> Any:
    if isinstance(raw, int | float) or (isinstance(raw, str) and raw.strip()):
        return raw
    raise refusal(Problem(f"expected a choice or a value to look up by, found {shown(raw)}"))


PickKey = Annotated[Scalar, PlainValidator(_pick_key), WithJsonSchema({"type": "string", "minLength": 1})]


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

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        problems = parameter_problems(self.type, self.choices, self.range)
        if self.type in WORDS:
            problems += choice_problems("default", self.default, self.choices)
        if self.type == "flag" and self.default is not None and spelled(self.default) not in ("yes", "no"):
            said = f"expected yes or no, found {shown(self.default)}"
            problems.append(Problem(said, key="default", at_value=True))
        if problems:
            raise refusal(*problems)
        return self


class Pick(Shaped):
    """A value looked up by a choice, or by a number that must equal one of the keys."""

    pick: Name = Field(description="The parameter or derived value to look up by.")
    from_: dict[PickKey, WrittenValue] = Field(
        alias="from", min_length=1, description="What each of its values gives: {mini_itx: 170, atx: 304.8}."
    )
    otherwise: WrittenValue | None = Field(
        None, description="For all other values; without it they are an error."
    )


def _derived_form(raw: Any) -> str:
    return "<looked up>" if isinstance(raw, dict | Pick) else "<calculated>"


Derived = Annotated[
    Annotated[WrittenValue, Tag("<calculated>")] | Annotated[Pick, Tag("<looked up>")],
    Discriminator(_derived_form),
]


class ModelFile(Shaped):
    """A kind of part: its sizes as parameters, its solids, its named places."""

    model: Name = Field(description="Its name, the same as the file's.")
    summary: Line = Field("", description="One line: what it is.")
    frame: Line = Field("", description="One line: where its origin is and which way its axes point.")
    parameters: dict[Name, Parameter] = Field(default_factory=dict, description="Inputs.")
    derive: dict[Name, Derived] = Field(
        default_factory=dict, description="Named values, calculated or looked up."
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
    wet: dict[Name, WetEntry] = Field(default_factory=dict, description="Spaces inside that coolant fills.")
    electric: Flag = Field(False, description="Live parts lie open: a leak must not land on it.")
    use: dict[Name, PartEntry] = Field(default_factory=dict, description="Other models as sub-parts.")


# The sections whose names share one name space; wet spaces are only named by each other.
NAMED = (
    "parameters", "derive", "solids", "faces", "ports", "holes", "openings", "keep_clear", "compartments",
    "use",
)  # fmt: skip
