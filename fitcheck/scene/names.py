"""How things are named and referred to: `case`, `case.plinth.floor`, `pump.hole[2]`, `drive*`."""

from __future__ import annotations

import re
from typing import Annotated, Any

from pydantic import PlainValidator, WithJsonSchema

from fitcheck.scene.kinds import Kind, Problem, one_or_list, refusal, shown

NAME = r"[a-z][a-z0-9_]*"
REFERENCE = rf"{NAME}(\[[^\[\]]+\])*(\.{NAME}(\[[^\[\]]+\])*)*"
SIDES = ("left", "right", "front", "rear", "bottom", "top")
FUNCTIONS = ("min", "max", "abs", "sqrt", "sin", "cos", "tan", "floor", "ceil")
# Taken in every name space: a side, a coordinate, a function, or the `centre` of a ruler.
RESERVED = frozenset({*SIDES, "x", "y", "z", *FUNCTIONS, "centre"})


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


# For names that arithmetic never sees (a view may be called `left`), or that are made elsewhere.
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
_HOLES = "the name of a part, or of the holes of one, such as case.rear_fan_screws"
WrittenHoles = Annotated[
    str,
    Kind("holes"),
    _reference(_MANY_PATTERN, _HOLES),
    WithJsonSchema({"type": "string", "pattern": f"^({_MANY_PATTERN})$"}),
]
WrittenPlace = Annotated[str, Kind("place"), _reference(REFERENCE, _ONE), WithJsonSchema(_REFERENCE_SCHEMA)]
