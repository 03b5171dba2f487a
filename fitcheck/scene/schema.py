"""Checks a read file against its types, all mistakes at once; and the JSON Schema of both kinds of file."""

from __future__ import annotations

import inspect
from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Annotated, Any, TypeVar, get_args

from pydantic import AfterValidator, Field, ValidationError, create_model

from fitcheck.scene.entries import SceneFile
from fitcheck.scene.json_schema import generate
from fitcheck.scene.kinds import Shaped
from fitcheck.scene.layout_entries import LayoutsFile
from fitcheck.scene.mistakes import Mistake, Mistakes
from fitcheck.scene.models import NAMED, ModelFile
from fitcheck.scene.refusals import Path, legal_keys, mistakes, subject
from fitcheck.scene.rules import RuleType

if TYPE_CHECKING:
    from fitcheck.scene.text import Document

__all__ = [
    "LayoutsFile", "ModelFile", "SceneFile", "check_layouts", "check_model", "check_scene", "layouts_schema",
    "model_schema", "scene_schema",
]  # fmt: skip

F = TypeVar("F", bound=Shaped)
RuleTypes = Mapping[str, RuleType]

# The sections of a scene whose names share one name space.
SCENE_NAMED = ("parameters", "parts", "runs", "loops")
# The same of a layouts file.
LAYOUT_NAMED = ("vary", "alternatives")


def check_scene(document: Document, rule_types: RuleTypes) -> SceneFile:
    """The scene file as typed data.

    Args:
        document: the text as read.
        rule_types: the type of each check's rule by the check's name: a `Rule`, or a list of one.

    Raises:
        Mistakes: all mistakes of shape, of names and of missing or unknown keys.
    """
    return _check(document, _scene_type(rule_types), SCENE_NAMED, ("parts",))


def check_model(document: Document) -> ModelFile:
    """The model file as typed data.

    Raises:
        Mistakes: all mistakes of shape, of names and of missing or unknown keys.
    """
    return _check(document, ModelFile, NAMED, NAMED[2:])


def check_layouts(document: Document) -> LayoutsFile:
    """The layouts file as typed data.

    Raises:
        Mistakes: all mistakes of shape, of names and of missing or unknown keys.
    """
    return _check(document, LayoutsFile, LAYOUT_NAMED, ())


def scene_schema(rule_types: RuleTypes) -> dict[str, Any]:
    """JSON Schema (2020-12) of a scene file with the rules of these checks."""
    return generate(_scene_type(rule_types), "A scene of fitcheck")


def model_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of a model file."""
    return generate(ModelFile, "A model of fitcheck")


def layouts_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of a layouts file."""
    return generate(LayoutsFile, "Alternative layouts of fitcheck")


def _check(document: Document, kind: type[F], named: tuple[str, ...], repeated: tuple[str, ...]) -> F:
    if not isinstance(document.data, dict):
        keys = ", ".join(legal_keys(kind, ()))
        raise Mistakes([Mistake(document.mark(()), "", f"expected keys and values ({keys})")])
    empty = dict(_empty(document, document.data, ()))
    found = [*empty.values(), *_clashes(document, named), *_shadowed(document, named, repeated)]
    try:
        file = kind.model_validate(document.data)
    except ValidationError as error:
        raise Mistakes([*found, *mistakes(error, document, kind, empty)]) from None
    if found:
        raise Mistakes(found)
    return file


def _empty(document: Document, value: Any, path: Path) -> Iterator[tuple[Path, Mistake]]:
    """Keys with nothing after them: half written, and never meant as a value."""
    if value is None:
        said = "nothing is written for it; give a value, or leave the key out"
        yield path, Mistake(document.mark(path, key=True), subject(path), said)
    steps: Iterator[tuple[str | int, Any]] = iter(())
    if isinstance(value, dict):
        steps = iter(value.items())
    elif isinstance(value, list):
        steps = iter(enumerate(value))
    for step, inner in steps:
        yield from _empty(document, inner, (*path, step))


def _names(document: Document, sections: tuple[str, ...]) -> Iterator[tuple[str, str]]:
    for section in sections:
        names = document.data.get(section)
        if isinstance(names, dict):
            yield from ((section, name) for name in names)


def _clashes(document: Document, sections: tuple[str, ...]) -> Iterator[Mistake]:
    """Names used in two sections that share one name space; the later one is at fault."""
    first: dict[str, str] = {}
    for section, name in _names(document, sections):
        if name in first:
            line = document.mark((first[name], name), key=True).line
            said = f"is taken: line {line} has it under {first[name]}; choose another name"
            yield Mistake(document.mark((section, name), key=True), name, said)
        first.setdefault(name, section)


def _shadowed(document: Document, sections: tuple[str, ...], repeated: tuple[str, ...]) -> Iterator[Mistake]:
    """Indices of a `repeat` that hide a name of the same file."""
    taken = {name: section for section, name in _names(document, sections)}
    for section, name in _names(document, repeated):
        entry = document.data[section][name]
        indices = entry.get("repeat") if isinstance(entry, dict) else None
        for index in indices if isinstance(indices, dict) else ():
            if index in taken:
                line = document.mark((taken[index], index), key=True).line
                said = f"is taken: line {line} has it under {taken[index]}; choose another index"
                yield Mistake(document.mark((section, name, "repeat", index), key=True), index, said)


def _scene_type(rule_types: RuleTypes) -> type[SceneFile]:
    return _scene_type_of(tuple(rule_types.items()))


@lru_cache(maxsize=8)
def _scene_type_of(rule_types: tuple[tuple[str, RuleType], ...]) -> type[SceneFile]:
    """The type of a scene file that knows these rules."""
    fields: dict[str, Any] = {name: (kind, Field(None, description=_help(kind))) for name, kind in rule_types}
    rules = create_model("Rules", __base__=Shaped, __doc__="What you demand, by check.", **fields)
    field: Any = (
        Annotated[rules, AfterValidator(_by_check)],
        Field(default_factory=dict, description=rules.__doc__),
    )
    return create_model("SceneFile", __base__=SceneFile, __doc__=SceneFile.__doc__, rules=field)


def _by_check(rules: Shaped) -> dict[str, Any]:
    return {name: getattr(rules, name) for name in type(rules).model_fields if name in rules.model_fields_set}


def _help(kind: RuleType) -> str:
    """The help of a rule, or of what a list of rules holds."""
    (holds,) = get_args(kind) or (kind,)
    return inspect.getdoc(holds) or ""
