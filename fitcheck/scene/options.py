"""Parameters that are given beside the file (`--set name=value`): what they change, how they are mistaken."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar

from fitcheck.scene.choices import spelled
from fitcheck.scene.mistakes import Mark, Mistake, nearest
from fitcheck.scene.refusals import Path as Steps
from fitcheck.scene.text import Document

S = TypeVar("S", list[Any], dict[str, Any])

# Keys of a placement that are lengths or angles: what stands there is no name.
MEASURED = ("left", "right", "front", "rear", "top", "bottom", "turn")


@dataclass(frozen=True)
class _Overridden(Document):
    """A document in which parameters have another value; their marks name the option.

    `base` is the document without them, `written` the value of each in it.
    """

    base: Document = field(kw_only=True)
    options: dict[str, str] = field(default_factory=dict)
    written: dict[str, Any] = field(default_factory=dict)

    def mark(self, path: Steps, key: bool = False, offset: int = 0) -> Mark:
        """Where the value stands: in the option, if it came from there or only names what did."""
        section, name, *inner = (*path, "", "")[: max(len(path), 2)]
        if section == "parameters" and name in self.options and (inner == ["value"] or not (inner or key)):
            return _option(str(name), self.options[str(name)])
        named = None if key else self._named(path)
        if named is not None:
            return _option(named, self.options[named])
        return self.base.mark(path, key, offset)

    def _named(self, path: Steps) -> str | None:
        """The option that a figure of a part is, as a whole; None if it is more or other than a name."""
        if path[:1] != ("parts",) or not ("with" in path or path[-1] in MEASURED):
            return None
        value = self.data
        for step in path:
            value = value.get(step) if isinstance(value, dict) else None
        return value if isinstance(value, str) and value in self.options else None

    def mended(self, mistake: Mistake) -> Mistake:
        """A mistake of an option is said of its parameter, and has a mend: what the file has."""
        for name, value in self.options.items():
            mark = _option(name, value)
            # Not the whole mark: a column counts from the start of the value there.
            if is_option(mistake.mark) and mistake.mark.file == mark.file:
                subject = name if mistake.subject == "value" else mistake.subject
                mend = mistake.mend or self._as_written(name)
                return Mistake(mark, subject, mistake.problem, mend)
        return mistake

    def _as_written(self, name: str) -> str:
        entry = self.written[name]
        value = entry.get("value") if isinstance(entry, dict) else entry
        ends = entry.get("range") if isinstance(entry, dict) else None
        if not isinstance(value, str | int | float):
            return ""
        said = f"write {spelled(value)}, as the scene has it"
        if isinstance(ends, list) and len(ends) == 2 and None not in ends:
            said += f", or another from {ends[0]} to {ends[1]}"
        return said


def _option(name: str, value: str) -> Mark:
    return Mark(f"--set {name}={value}", 0, 0)


def is_option(mark: Mark) -> bool:
    """Whether a mark is that of an option."""
    return mark.line == 0 and mark.file.startswith("--set ")


def section(document: Document, name: str, kind: type[S]) -> S:
    """What a scene has under a key, or nothing where that has the wrong shape."""
    written = document.data.get(name) if isinstance(document.data, dict) else None
    return written if isinstance(written, kind) else kind()


def unknown_options(document: Document, options: Mapping[str, str]) -> list[Mistake]:
    """Options that name no parameter of the scene, or give no value."""
    found = []
    known = section(document, "parameters", dict)
    for name, value in options.items():
        if name not in known:
            near = nearest(name, known)
            said = f"the scene has no such parameter; it has {', '.join(known) or 'none'}"
            found.append(Mistake(_option(name, value), name, said, f"write {near}" if near else ""))
        elif not value.strip():
            found.append(Mistake(_option(name, value), name, "nothing is written after the ="))
    return found


def overridden(document: Document, options: Mapping[str, str]) -> Document:
    """The same document with other values for its parameters; the long form keeps its other keys."""
    known = section(document, "parameters", dict)
    given = {name: value for name, value in options.items() if name in known}
    if not given:
        return document
    values = dict(known)
    for name, value in given.items():
        if value.strip():
            plain = _plain(value.strip())
            values[name] = {**known[name], "value": plain} if isinstance(known[name], dict) else plain
    data = {**document.data, "parameters": values}
    return _Overridden(document.name, data, document.lines, document.spots, given, known, base=document)


def _plain(text: str) -> Any:
    """A value as the same text would be read in a file."""
    if re.fullmatch(r"[+-]?(0|[1-9][0-9]{0,14})", text):
        return int(text)
    return {"true": True, "false": False}.get(text, text)
