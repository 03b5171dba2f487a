"""What a check demands to be written under `rules:`, and how the written becomes plain values.

A check declares the type of its rule beside its question, and hands it up with its name (`clearance`):

    class PairRule(Rule):
        \"\"\"A clearance between two parts.\"\"\"

        between: PartRef = Field(description="A part, or several by drive*.")
        and_: PartRef = Field(alias="and", description="The other part.")
        at_least: Length = Field(description="The least distance demanded.")

    class ClearanceRule(Rule):
        \"\"\"How far apart parts must be.\"\"\"

        default: Length = Field(2.0, description="For every pair not named.")
        pairs: list[PairRule] = Field(default_factory=list, description="Pairs that differ.")

A rule that is a list of demands is handed in as `list[RoomRule]`. Fields are of the kinds `Length`, `Angle`,
`Number`, `Count`, `Share`, `Text`, `PartRef`, `HolesRef`, `PlaceRef`, `Side`, of `Literal`, `Flag`, or rules,
lists and dicts of these, or any of them `| None`. Each field has a description, for it is the help an editor
shows.
"""

from __future__ import annotations

import types
from collections.abc import Callable, Iterable, Iterator
from typing import Annotated, Any, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel

from fitcheck.scene.kinds import (
    ANGLE,
    ANGLE_HELP,
    COUNT,
    LENGTH,
    LENGTH_HELP,
    NUMBER,
    Flag,
    Kind,
    Shaped,
    SideWord,
    Text,
    number_or_text,
    written,
)
from fitcheck.scene.names import WrittenHoles, WrittenParts, WrittenPlace

__all__ = [
    "Angle", "Count", "Flag", "HolesRef", "Length", "Number", "PartRef", "PlaceRef", "Rule", "RuleType",
    "Share", "Side", "Text", "walk_rule",
]  # fmt: skip

# Typed as what a check sees: the plain value that `walk_rule` put in place of what was typed.
Length = Annotated[float, Kind("length"), written(LENGTH), number_or_text(LENGTH_HELP)]
Angle = Annotated[float, Kind("angle"), written(ANGLE), number_or_text(ANGLE_HELP)]
Number = Annotated[float, Kind("number"), written(NUMBER), number_or_text("A number, or arithmetic.")]
Count = Annotated[int, Kind("count"), written(COUNT), number_or_text("A whole number, or arithmetic.")]
Share = Annotated[
    float, Kind("share"), written("a share from 0 to 1, such as 0.25"), number_or_text("A share from 0 to 1.")
]
PartRef = WrittenParts
PlaceRef = WrittenPlace
HolesRef = WrittenHoles
Side = Annotated[SideWord, Kind("side")]

Step = str | int
Evaluate = Callable[[str, Any, tuple[Step, ...]], Any]


class Rule(Shaped):
    """Base of what is written under a check's name."""

    def wrong(self) -> Iterable[tuple[str | tuple[Step, ...], str, str]]:
        """What is wrong with a rule's plain values: the key (or the way to it), the problem, the mend."""
        return ()


RuleType = Any  # type[Rule] or list[SomeRule]; typing has no word for both
R = TypeVar("R")


def walk_rule(rule: R, evaluate: Evaluate, path: tuple[Step, ...] = ()) -> R:
    """The same rule (or list of rules) with the plain value in place of each field that was written.

    Args:
        rule: a rule, or a list of them, as it stands in `SceneFile.rules`.
        evaluate: gets the kind (length, angle, number, count, share, text, part, place, side),
            what was written, and its path in the file; returns the plain value.
        path: where the rule stands in the file (`("rules", "clearance")`); a list's items add their number.
    """
    if isinstance(rule, list):
        return [walk_rule(item, evaluate, (*path, at)) for at, item in enumerate(rule)]  # type: ignore[return-value]
    if not isinstance(rule, BaseModel):
        raise TypeError(f"no rule: {rule!r}")
    found: dict[str, Any] = {}
    for name, field in type(rule).model_fields.items():
        kinds = [note for note in field.metadata if isinstance(note, Kind)]
        found[name] = _walk(
            kinds[0] if kinds else None,
            field.annotation,
            getattr(rule, name),
            evaluate,
            (*path, field.alias or name),
        )
    return type(rule).model_construct(_fields_set=set(rule.model_fields_set), **found)


def each_rule(rule: Any, path: tuple[Step, ...] = ()) -> Iterator[tuple[Rule, tuple[Step, ...]]]:
    """A rule, or each of a list of them, and all rules inside, with where they stand in the file."""
    if isinstance(rule, list):
        for at, item in enumerate(rule):
            yield from each_rule(item, (*path, at))
    elif isinstance(rule, Rule):
        yield rule, path
        for name, field in type(rule).model_fields.items():
            yield from each_rule(getattr(rule, name), (*path, field.alias or name))


def _walk(kind: Kind | None, annotation: Any, raw: Any, evaluate: Evaluate, path: tuple[Step, ...]) -> Any:
    if raw is None:
        return None
    if kind is not None:
        return evaluate(kind.name, raw, path)
    if isinstance(raw, BaseModel):
        return walk_rule(raw, evaluate, path)
    kind, annotation = _arm(annotation, raw)
    if kind is not None:
        return evaluate(kind.name, raw, path)
    inner = get_args(annotation)
    if isinstance(raw, list):
        return [_walk(*_opened(inner[0]), item, evaluate, (*path, at)) for at, item in enumerate(raw)]
    if isinstance(raw, dict):
        return {key: _walk(*_opened(inner[1]), item, evaluate, (*path, key)) for key, item in raw.items()}
    return raw


def _opened(annotation: Any) -> tuple[Kind | None, Any]:
    """The kind noted on a type, if any, and the type without its notes."""
    if get_origin(annotation) is Annotated:
        inner, *notes = get_args(annotation)
        kinds = [note for note in notes if isinstance(note, Kind)]
        return (kinds[0] if kinds else None), inner
    return None, annotation


def _arm(annotation: Any, raw: Any) -> tuple[Kind | None, Any]:
    """Which arm of `A | B` the raw value belongs to; not a union: the type itself."""
    kind, annotation = _opened(annotation)
    if kind is not None or get_origin(annotation) not in (Union, types.UnionType):
        return kind, annotation
    arms = [_opened(arm) for arm in get_args(annotation)]
    holder = type(raw) if isinstance(raw, list | dict) else None
    for kind, arm in arms:
        if (get_origin(arm) or arm) is holder if holder else kind is not None:
            return kind, arm
    return None, None
