"""What the types of a file refuse, said in our words and at its place in the text."""

from __future__ import annotations

import types
from collections.abc import Collection, Iterable, Iterator
from typing import TYPE_CHECKING, Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from fitcheck.scene.entries import Entry
from fitcheck.scene.kinds import shown
from fitcheck.scene.mistakes import Mistake, nearest

if TYPE_CHECKING:
    from fitcheck.scene.text import Document

Path = tuple[str | int, ...]

# More keys than these are not worth reading in a message that already says which one was meant.
FEW = 8
# Words that builders also say for the sides of the world.
OTHER_WORDS = {
    "back": "rear", "behind": "rear", "up": "top", "upper": "top", "above": "top",
    "down": "bottom", "lower": "bottom", "below": "bottom",
}  # fmt: skip


def mistakes(
    error: ValidationError, document: Document, root: Any, told_already: Collection[Path] = ()
) -> list[Mistake]:
    """One mistake for each thing refused, but for the places told already.

    A key that nobody knows and a missing one much like it are one mistake; a group of keys in which something
    is wrong is not blamed a second time for its shape.
    """
    refused = [_Refused(one, document) for one in error.errors(include_url=False)]
    found = [one for one in refused if one.path not in told_already]
    unknown = [one for one in found if one.kind == "extra_forbidden"]
    missing = [one for one in found if one.kind == "missing"]
    spelled = {one.path: _meant(one.path, document, root) for one in unknown}
    told = [_unknown_key(document, root, path, meant) for path, meant in spelled.items()]
    told += [
        _missing_key(document, root, one.path)
        for one in missing
        if one.path not in {(*path[:-1], meant) for path, meant in spelled.items()}
    ]
    # A value of several possible shapes is refused by each: what is said inside it, or first, counts.
    shapes = {one.path[:end] for one in found for end in range(len(one.path))}
    for one in found:
        if one.kind in ("extra_forbidden", "missing") or (one.of_shape and one.path in shapes):
            continue
        told += one.told(document, root)
        shapes |= {one.path} if one.of_shape else set()
    return told


class _Refused:
    """One error of pydantic with the path that its place has in the text."""

    def __init__(self, error: ErrorDetails, document: Document) -> None:
        self.kind = error["type"]
        self.raw = error["input"]
        self.about = error.get("ctx", {})
        self.at_key = error["loc"][-1:] == ("[key]",)
        self.of_shape = not self.at_key and (self.kind == "refused" or self.kind.endswith("_type"))
        self.path = _real(error["loc"], document.data, self.kind == "missing")

    def told(self, document: Document, root: Any) -> Iterator[Mistake]:
        """The mistakes in our words: one, or as many as a validator of ours found."""
        if self.kind != "refused":
            problem, mend = self._said(root)
            yield Mistake(document.mark(self.path, key=self.at_key), subject(self.path), problem, mend)
            return
        for one in self.about["problems"]:
            path = (*self.path, one.key) if one.key else self.path
            # A group of keys is named by its own key, a value by where it is written.
            at_key = self.at_key or (not one.at_value and (bool(one.key) or isinstance(self.raw, dict)))
            yield Mistake(document.mark(path, key=at_key), subject(path), one.problem, one.mend)

    def _said(self, root: Any) -> tuple[str, str]:
        """Problem and mend of what pydantic itself refuses."""
        if self.kind == "literal_error":
            words = _words(root, self.path, self.about["expected"])
            near = nearest(str(self.raw), words) or OTHER_WORDS.get(str(self.raw))
            near = near if near in words else None
            return f"expected {_either(words)}, found {shown(self.raw)}", f"write {near}" if near else ""
        if self.kind in ("too_short", "too_long"):
            end = "min" if self.kind == "too_short" else "max"
            word = "at least" if self.kind == "too_short" else "at most"
            return f"expected {word} {self.about[end + '_length']}, found {self.about['actual_length']}", ""
        expected = {
            "list_type": "a list, in [ ] or in lines that begin with -",
            "dict_type": "a name and its value in each line",
            "string_type": "text",
            "bool_type": "true or false",
            "int_type": "a whole number",
            "float_type": "a number",
        }.get(self.kind)
        if self.kind in ("model_type", "model_attributes_type", "dict_type"):
            keys = legal_keys(root, self.path)
            expected = f"keys and values ({', '.join(keys)})" if keys else expected
        if expected:
            return f"expected {expected}, found {shown(self.raw)}", ""
        return f"{shown(self.raw)} is not allowed here", ""


def _real(loc: tuple[int | str, ...], data: Any, missing: bool) -> Path:
    """A place as pydantic names it, without the names of its own branches that are no keys of the text."""
    path: list[str | int] = []
    for at, step in enumerate(loc):
        last = at == len(loc) - 1
        if isinstance(data, dict) and isinstance(step, str) and (step in data or (last and missing)):
            data = data.get(step)
        elif isinstance(data, list) and isinstance(step, int) and step < len(data):
            data = data[step]
        else:
            continue
        path.append(step)
    return tuple(path)


def subject(path: Path) -> str:
    """The name that a message about this place begins with: the innermost key.

    The value of a parameter in its long form is the parameter itself.
    """
    return next((step for step in reversed(path) if isinstance(step, str) and step != "value"), "")


def _meant(path: Path, document: Document, root: Any) -> str | None:
    """The key that an unknown one was meant to be: the nearest legal one that is not there yet."""
    group = path[:-1]
    present = _value(document.data, group)
    return nearest(str(path[-1]), [key for key in legal_keys(root, group) if key not in present])


def _value(data: Any, path: Path) -> Any:
    for step in path:
        data = data[step]
    return data


def _unknown_key(document: Document, root: Any, path: Path, meant: str | None) -> Mistake:
    keys = legal_keys(root, path[:-1])
    listed = f"; allowed here: {', '.join(keys)}" if keys and (not meant or len(keys) <= FEW) else ""
    mend = f"write {meant}" if meant else ""
    return Mistake(document.mark(path, key=True), str(path[-1]), f"unknown key{listed}", mend)


def _missing_key(document: Document, root: Any, path: Path) -> Mistake:
    group, key = path[:-1], str(path[-1])
    help_text = _descriptions(root, group).get(key, "")
    said = f"`{key}` is missing" + (f": {_lowered(help_text)}" if help_text else "")
    return Mistake(document.mark(group, key=True), subject(group), said)


def _lowered(sentence: str) -> str:
    return (sentence[0].lower() + sentence[1:]).rstrip(".")


def _either(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"


def _words(root: Any, path: Path, expected: str) -> list[str]:
    """The words allowed at a place; `expected` is how pydantic lists them."""
    words = [str(word) for part in _at(root, path) if get_origin(part) is Literal for word in get_args(part)]
    return words or expected.replace("'", "").replace(" or ", ", ").split(", ")


def legal_keys(root: Any, path: Path) -> list[str]:
    """The keys that may be written at a place of the file; none where names are free."""
    return list(_descriptions(root, path))


def _descriptions(root: Any, path: Path) -> dict[str, str]:
    found: dict[str, str] = {}
    for part in _at(root, path):
        found.update({key: text for key, _, text in _fields(part)})
    return found


def _at(annotation: Any, path: Path) -> Iterator[Any]:
    """The types that a value at this place may have."""
    for part in _arms(annotation):
        if not path:
            yield part
            continue
        for key, inner, _ in _fields(part):
            if key == path[0]:
                yield from _at(inner, path[1:])
        if get_origin(part) in (list, dict):
            yield from _at(get_args(part)[-1], path[1:])


def _fields(part: Any) -> Iterable[tuple[str, Any, str]]:
    """Key, type and help of each field of a group of keys."""
    if isinstance(part, type) and issubclass(part, BaseModel):
        # Its own keys before those that every entry has.
        fields = sorted(part.model_fields.items(), key=lambda field: field[0] in Entry.model_fields)
        return [(field.alias or name, field.annotation, field.description or "") for name, field in fields]
    return []


def _arms(annotation: Any) -> Iterator[Any]:
    """The arms of `A | B`, without notes."""
    if get_origin(annotation) is Annotated:
        yield from _arms(get_args(annotation)[0])
    elif get_origin(annotation) in (Union, types.UnionType):
        for arm in get_args(annotation):
            yield from _arms(arm)
    else:
        yield annotation
