"""What can be written for a key: lengths, names, references, each with the words that refuse anything else.

A kind is a type with a `Kind` in its metadata. The `Written…` kinds are for what a file holds: the text or
number as typed, evaluated later. The bare ones (`Length`, `PartRef` …) are for the rules of checks, which see
them only after `rules.walk_rule` has put the value in mm or degrees in place of what was typed.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, PlainValidator, WithJsonSchema
from pydantic_core import PydanticCustomError

Value = int | float | str
Scalar = int | float | str | bool

NAME = r"[a-z][a-z0-9_]*"
REFERENCE = rf"{NAME}(\[[^\[\]]+\])*(\.{NAME}(\[[^\[\]]+\])*)*"
SIDES = ("left", "right", "front", "rear", "bottom", "top")
FUNCTIONS = ("min", "max", "abs", "sqrt", "sin", "cos", "tan", "floor", "ceil")
# Taken in every name space: a side, a coordinate, a function, or the `centre` of a ruler.
RESERVED = frozenset({*SIDES, "x", "y", "z", *FUNCTIONS, "centre"})
# What arithmetic and quantities are written with; an editor marks all else. The evaluation is stricter.
ARITHMETIC = r"""^[0-9A-Za-z_.,+*/()\[\] "'±°-]+$"""


class Shaped(BaseModel):
    """Base of all keys-and-values of our files: nothing unknown, nothing converted silently."""

    model_config = ConfigDict(
        extra="forbid",
        strict=True,
        frozen=True,
        protected_namespaces=(),
        defer_build=True,
        allow_inf_nan=False,
    )


@dataclass(frozen=True)
class Kind:
    """Marks a type with what its text is evaluated to: length, angle, number, count, share, part …"""

    name: str


@dataclass(frozen=True)
class Problem:
    """One thing wrong inside a group of keys; `key` is where, if one key is at fault."""

    problem: str
    mend: str = ""
    key: str = ""


def refusal(*problems: Problem) -> PydanticCustomError:
    """The error a validator raises, holding all problems it found."""
    return PydanticCustomError("refused", "{said}", {"said": problems[0].problem, "problems": problems})


def shown(raw: Any) -> str:
    """What was written, short enough for one line of a message."""
    if isinstance(raw, bool):
        return "`yes`" if raw else "`no`"
    if isinstance(raw, dict):
        return "keys and values"
    if isinstance(raw, list):
        return "a list"
    if raw is None:
        return "nothing"
    text = str(raw)
    return f"`{text if len(text) <= 40 else text[:37] + '...'}`"


def _written(what: str) -> Any:
    def check(raw: Any) -> Any:
        if isinstance(raw, bool) or not isinstance(raw, int | float | str):
            raise refusal(Problem(f"expected {what}, found {shown(raw)}"))
        if isinstance(raw, float) and not math.isfinite(raw):
            raise refusal(Problem(f"expected {what}, found {raw}"))
        if isinstance(raw, str) and not raw.strip():
            raise refusal(Problem(f"expected {what}, found an empty text"))
        return raw

    return PlainValidator(check)


def _number_or_text(description: str) -> WithJsonSchema:
    either: list[dict[str, Any]] = [{"type": "number"}, {"type": "string", "pattern": ARITHMETIC}]
    return WithJsonSchema({"anyOf": either, "description": description})


_LENGTH = "a length, such as 30 mm or 1 1/4 in"
_ANGLE = "an angle in degrees, such as 90"
_NUMBER = "a number, such as 0.5"
_COUNT = "a whole number, such as 3"
_SHARE = "a share, such as 0.25"
_LENGTH_HELP = "A length: a number (mm), a quantity (5 1/4 in, 54 ± 0.5 mm) or arithmetic."
_ANGLE_HELP = "An angle in degrees: a number or arithmetic."

WrittenLength = Annotated[Value, Kind("length"), _written(_LENGTH), _number_or_text(_LENGTH_HELP)]
WrittenAngle = Annotated[Value, Kind("angle"), _written(_ANGLE), _number_or_text(_ANGLE_HELP)]
WrittenNumber = Annotated[
    Value, Kind("number"), _written(_NUMBER), _number_or_text("A number without unit, or arithmetic.")
]
WrittenCount = Annotated[
    Value, Kind("count"), _written(_COUNT), _number_or_text("A whole number, or arithmetic.")
]
WrittenValue = Annotated[
    Value,
    Kind("value"),
    _written("a number, a length or arithmetic"),
    _number_or_text("A number, a quantity or arithmetic."),
]

Length = Annotated[float, Kind("length"), _written(_LENGTH), _number_or_text(_LENGTH_HELP)]
Angle = Annotated[float, Kind("angle"), _written(_ANGLE), _number_or_text(_ANGLE_HELP)]
Number = Annotated[float, Kind("number"), _written(_NUMBER), _number_or_text("A number, or arithmetic.")]
Count = Annotated[int, Kind("count"), _written(_COUNT), _number_or_text("A whole number, or arithmetic.")]
Share = Annotated[float, Kind("share"), _written(_SHARE), _number_or_text("A share from 0 to 1.")]


def _scalar(raw: Any) -> Any:
    if not isinstance(raw, int | float | str):
        raise refusal(Problem(f"expected one value, found {shown(raw)}"))
    if isinstance(raw, float) and not math.isfinite(raw):
        raise refusal(Problem(f"expected a finite value, found {raw}"))
    return raw


# A value whose type only the model's parameter tells: number, text, or yes and no.
AnyScalar = Annotated[
    Scalar, Kind("any"), PlainValidator(_scalar), WithJsonSchema({"type": ["number", "string", "boolean"]})
]


def _listed(raw: Any) -> Any:
    return raw if isinstance(raw, list) else [raw]


def one_or_list(item: dict[str, Any]) -> tuple[BeforeValidator, WithJsonSchema]:
    """Accept one item in place of a list of them; `item` is its JSON Schema."""
    several = {"type": "array", "items": item, "minItems": 1}
    return BeforeValidator(_listed), WithJsonSchema({"anyOf": [item, several]})


def _text(raw: Any) -> str:
    if isinstance(raw, str):
        return raw
    mend = f'write "{raw}"' if isinstance(raw, int | float) and not isinstance(raw, bool) else ""
    raise refusal(Problem(f"expected text, found {shown(raw)}", mend))


def _plain_text(description: str = "") -> tuple[PlainValidator, WithJsonSchema]:
    said = {"description": description} if description else {}
    return PlainValidator(_text), WithJsonSchema({"type": "string", **said})


Line = Annotated[str, *_plain_text()]
Text = Annotated[str, Kind("text"), *_plain_text()]


def _name(raw: Any) -> str:
    if not isinstance(raw, str) or not re.fullmatch(NAME, raw):
        better = re.sub(r"[^a-z0-9_]+", "_", str(raw).lower()).strip("_")
        good = re.fullmatch(NAME, better) and better not in RESERVED
        problem = f"{shown(raw)} is no name: small letters, digits and _, beginning with a letter"
        raise refusal(Problem(problem, f"write {better}" if good else ""))
    if raw in RESERVED:
        raise refusal(Problem(f"{shown(raw)} is taken: it is {_taken_by(raw)}; choose another name"))
    return raw


def _taken_by(word: str) -> str:
    if word in SIDES:
        return "a side"
    if word in FUNCTIONS:
        return "a function of arithmetic"
    return "a word of rulers" if word == "centre" else "a coordinate"


_NAME_SCHEMA: dict[str, Any] = {"type": "string", "pattern": f"^{NAME}$", "not": {"enum": sorted(RESERVED)}}
Name = Annotated[str, PlainValidator(_name), WithJsonSchema(_NAME_SCHEMA)]


def _free_name(raw: Any) -> str:
    return raw if raw in RESERVED else _name(raw)


# For names that no arithmetic ever sees: a view may be called `left`.
FreeName = Annotated[
    str, PlainValidator(_free_name), WithJsonSchema({"type": "string", "pattern": f"^{NAME}$"})
]


def _reference(pattern: str, what: str) -> PlainValidator:
    compiled = re.compile(pattern)

    def check(raw: Any) -> str:
        if not isinstance(raw, str) or not compiled.fullmatch(raw):
            raise refusal(Problem(f"expected {what}, found {shown(raw)}"))
        return raw

    return PlainValidator(check)


_ONE = "the name of a part or feature, such as case.plinth.floor or pump.hole[2]"
_MANY = "the name of a part, or of several by a * at the end, such as drive*"
_MANY_PATTERN = rf"\*|{REFERENCE}(\.?\*)?"
_REFERENCE_SCHEMA: dict[str, Any] = {"type": "string", "pattern": f"^{REFERENCE}$"}
Reference = Annotated[str, _reference(REFERENCE, _ONE), WithJsonSchema(_REFERENCE_SCHEMA)]
References = Annotated[list[Reference], *one_or_list(_REFERENCE_SCHEMA)]
WrittenParts = Annotated[
    str,
    Kind("part"),
    _reference(_MANY_PATTERN, _MANY),
    WithJsonSchema({"type": "string", "pattern": f"^({_MANY_PATTERN})$"}),
]
PartRef = WrittenParts
PlaceRef = Annotated[str, Kind("place"), _reference(REFERENCE, _ONE), WithJsonSchema(_REFERENCE_SCHEMA)]

SideWord = Literal["left", "right", "front", "rear", "bottom", "top"]
Side = Annotated[SideWord, Kind("side")]
Axis = Literal["x", "y", "z"]
AxisSide = Literal["+x", "-x", "+y", "-y", "+z", "-z"]


def _flag(raw: Any) -> bool:
    if raw not in (True, False, "yes", "no") or isinstance(raw, int | float) and not isinstance(raw, bool):
        raise refusal(Problem(f"expected yes or no, found {shown(raw)}"))
    return raw in (True, "yes")


Flag = Annotated[bool, PlainValidator(_flag), WithJsonSchema({"enum": ["yes", "no", True, False]})]


def _triple(raw: Any) -> Any:
    if isinstance(raw, list) and len(raw) != 3:
        raise refusal(Problem(f"expected three values [x, y, z], found {len(raw)}"))
    return raw


def _pair(raw: Any) -> Any:
    if isinstance(raw, list) and len(raw) != 2:
        raise refusal(Problem(f"expected two values, found {len(raw)}"))
    return raw


_SCALED: dict[str, Any] = {"anyOf": [{"type": "number"}, {"type": "string", "pattern": ARITHMETIC}]}


def _of_length(count: int, description: str) -> WithJsonSchema:
    lengths = {"type": "array", "items": _SCALED, "minItems": count, "maxItems": count}
    return WithJsonSchema({**lengths, "description": description})


Point = Annotated[
    list[WrittenLength], BeforeValidator(_triple), _of_length(3, "A point [x, y, z]: three lengths.")
]
Pair = Annotated[list[WrittenLength], BeforeValidator(_pair), _of_length(2, "Two lengths.")]


def _direction(raw: Any) -> Any:
    if isinstance(raw, str) and re.fullmatch(r"[+-][xyz]", raw):
        return raw
    if isinstance(raw, list) and len(raw) == 3 and all(_is_number_or_text(item) for item in raw):
        return raw
    mend = f"write +{raw}" if raw in ("x", "y", "z") else ""
    raise refusal(Problem(f"expected +x -x +y -y +z -z or three numbers, found {shown(raw)}", mend))


def _is_number_or_text(raw: Any) -> bool:
    return isinstance(raw, int | float | str) and not isinstance(raw, bool)


Direction = Annotated[
    str | list[Value],
    PlainValidator(_direction),
    WithJsonSchema(
        {
            "anyOf": [
                {"enum": ["+x", "-x", "+y", "-y", "+z", "-z"]},
                {"type": "array", "items": _SCALED, "minItems": 3, "maxItems": 3},
            ],
            "description": "A direction: +x -x +y -y +z -z, or three numbers.",
        }
    ),
]


def _range_end(raw: Any) -> Any:
    if not _is_number_or_text(raw):
        raise refusal(Problem(f"expected a value or none, found {shown(raw)}"))
    return None if raw == "none" else raw


RangeEnd = Annotated[Value | None, PlainValidator(_range_end), WithJsonSchema(_SCALED)]
Range = Annotated[
    list[RangeEnd],
    BeforeValidator(_pair),
    WithJsonSchema(
        {
            "type": "array",
            "items": _SCALED,
            "minItems": 2,
            "maxItems": 2,
            "description": "Least and greatest value, [15 mm, 90 mm]; either may be none.",
        }
    ),
]
