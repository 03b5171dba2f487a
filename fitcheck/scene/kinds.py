"""What can be written for a value: lengths, points, directions, and the words that refuse anything else.

The `Written…` kinds are what a file holds, as typed; they are evaluated later, when all they name is known.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, PlainValidator, WithJsonSchema
from pydantic_core import PydanticCustomError

Value = int | float | str
Scalar = int | float | str | bool

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
    )


@dataclass(frozen=True)
class Kind:
    """Notes on a type what its text is evaluated to: length, angle, number, count, share, part …"""

    name: str


@dataclass(frozen=True)
class Problem:
    """One thing wrong in a value or inside a group of keys.

    `key` says which one of the group is at fault, `at_value` that its value is and not that it is there.
    """

    problem: str
    mend: str = ""
    key: str = ""
    at_value: bool = False


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


def written(what: str) -> PlainValidator:
    """Accept a number or text as it stands; `what` names what is due (`a length, such as 30 mm`)."""

    def check(raw: Any) -> Any:
        if isinstance(raw, bool) or not isinstance(raw, int | float | str):
            raise refusal(Problem(f"expected {what}, found {shown(raw)}"))
        if isinstance(raw, str) and not raw.strip():
            raise refusal(Problem(f"expected {what}, found an empty text"))
        return raw

    return PlainValidator(check)


def number_or_text(description: str) -> WithJsonSchema:
    """JSON Schema of a value that takes arithmetic."""
    either: list[dict[str, Any]] = [{"type": "number"}, {"type": "string", "pattern": ARITHMETIC}]
    return WithJsonSchema({"anyOf": either, "description": description})


LENGTH = "a length, such as 30 mm or 1 1/4 in"
ANGLE = "an angle in degrees, such as 90"
NUMBER = "a number, such as 0.5"
COUNT = "a whole number, such as 3"
LENGTH_HELP = "A length: a number (mm), a quantity (5 1/4 in, 54 ± 0.5 mm) or arithmetic."
ANGLE_HELP = "An angle in degrees: a number or arithmetic."

WrittenLength = Annotated[Value, Kind("length"), written(LENGTH), number_or_text(LENGTH_HELP)]
WrittenAngle = Annotated[Value, Kind("angle"), written(ANGLE), number_or_text(ANGLE_HELP)]
WrittenNumber = Annotated[
    Value, Kind("number"), written(NUMBER), number_or_text("A number without unit, or arithmetic.")
]
WrittenCount = Annotated[
    Value, Kind("count"), written(COUNT), number_or_text("A whole number, or arithmetic.")
]
WrittenValue = Annotated[
    Value,
    Kind("value"),
    written("a number, a length or arithmetic"),
    number_or_text("A number, a quantity or arithmetic."),
]


def _scalar(raw: Any) -> Any:
    if not isinstance(raw, int | float | str):
        raise refusal(Problem(f"expected one value, found {shown(raw)}"))
    return raw


# A value whose type only the model's parameter tells: number, text, or yes and no.
AnyScalar = Annotated[
    Scalar, Kind("any"), PlainValidator(_scalar), WithJsonSchema({"type": ["number", "string", "boolean"]})
]


def _listed(raw: Any) -> Any:
    if raw == []:
        raise refusal(Problem("expected at least one, found an empty list"))
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


SideWord = Literal["left", "right", "front", "rear", "bottom", "top"]
Axis = Literal["x", "y", "z"]
AxisSide = Literal["+x", "-x", "+y", "-y", "+z", "-z"]


def _flag(raw: Any) -> bool:
    if raw not in (True, False, "yes", "no") or (isinstance(raw, int | float) and not isinstance(raw, bool)):
        raise refusal(Problem(f"expected yes or no, found {shown(raw)}"))
    return raw in (True, "yes")


Flag = Annotated[bool, PlainValidator(_flag), WithJsonSchema({"enum": ["yes", "no", True, False]})]


def _triple(raw: Any) -> Any:
    if isinstance(raw, list) and len(raw) != 3:
        hint = ": a point, never a comma, stands before decimals" if len(raw) > 3 else ""
        raise refusal(Problem(f"expected three values [x, y, z], found {len(raw)}{hint}"))
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
    if isinstance(raw, list) and len(raw) == 3 and all(_is_plain(item) for item in raw):
        return raw
    mend = f"write +{raw}" if raw in ("x", "y", "z") else ""
    raise refusal(Problem(f"expected +x -x +y -y +z -z or three numbers, found {shown(raw)}", mend))


def _is_plain(raw: Any) -> bool:
    if isinstance(raw, str):
        return bool(raw.strip())
    return isinstance(raw, int | float) and not isinstance(raw, bool)


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
    if not _is_plain(raw):
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
