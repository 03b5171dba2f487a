"""Values written back into a scene's file: the characters of each value, and nothing else, are replaced."""

from __future__ import annotations

import os
import stat
from collections.abc import Mapping
from pathlib import Path

import yaml

from fitcheck.layouts.whole_file import whole_file
from fitcheck.scene.mistakes import Mistakes
from fitcheck.scene.options import overridden
from fitcheck.scene.text import read_document

BOM = "\ufeff"


class NotKept(Exception):
    """The file was not written; says why, and what to do."""


def keep_values(path: Path, before: bytes, values: Mapping[str, str]) -> bytes:
    """Write values of parameters, as typed, into the file; its bytes afterwards.

    Comments, layout, quotes and line ends stay: one changed value changes one line. The new text is read
    again before it takes the file's place: it must hold these values, and all else as before.

    Args:
        path: of the scene.
        before: the bytes it is known to have.
        values: by parameter.

    Raises:
        NotKept: the file has changed since, cannot be written, or cannot hold a value.
    """
    text = before.decode("utf-8")
    after = replaced(text, values).encode("utf-8")
    _hold(path, text, after, values)
    try:
        if path.read_bytes() != before:
            raise NotKept(f"{path.name} has changed on disk since it was read; look at it, then keep again")
        mode = stat.S_IMODE(path.stat().st_mode)
        with whole_file(path) as file:
            os.fchmod(file.fileno(), mode)
            file.write(after)
    except OSError as why:
        raise NotKept(f"{path.name} cannot be written: {why.strerror or why}") from None
    return after


def replaced(text: str, values: Mapping[str, str]) -> str:
    """The text with the values of these parameters replaced, in their own quotes."""
    starts = _line_starts(text)
    spans = []
    for name, event in _scalars(text).items():
        if name in values:
            start = starts[event.start_mark.line] + event.start_mark.column
            end = starts[event.end_mark.line] + event.end_mark.column
            quote = event.style if event.style in ("'", '"') else ""
            spans.append((start, end, f"{quote}{values[name]}{quote}"))
    for start, end, typed in sorted(spans, reverse=True):
        text = text[:start] + typed + text[end:]
    return text


def _hold(path: Path, text: str, after: bytes, values: Mapping[str, str]) -> None:
    """Raise NotKept unless the new text is the old scene with these values."""
    try:
        wanted = overridden(read_document(text, path.name), values).data
        found = read_document(after.decode("utf-8"), path.name).data
    except Mistakes as wrong:
        raise NotKept(f"{path.name} was left as it is: {wrong.items[0]}") from None
    if found != wanted:
        names = ", ".join(values)
        raise NotKept(f"{path.name} was left as it is: {names} cannot be written there; edit it by hand")


def _line_starts(text: str) -> list[int]:
    """Where each line begins; a mark at the head of the file counts to none."""
    lines = text.removeprefix(BOM).splitlines(keepends=True)
    starts = [len(text) - len(text.removeprefix(BOM))]
    for line in lines:
        starts.append(starts[-1] + len(line))
    return starts


def _scalars(text: str) -> dict[str, yaml.ScalarEvent]:
    """The scalar that is the value of each parameter, written short or long."""
    found: dict[str, yaml.ScalarEvent] = {}
    keys: list[str | None] = []
    for event in yaml.parse(text.removeprefix(BOM), yaml.SafeLoader):
        if isinstance(event, yaml.MappingStartEvent):
            keys.append(None)
        elif isinstance(event, yaml.SequenceStartEvent):
            keys.append("")
        elif isinstance(event, (yaml.MappingEndEvent, yaml.SequenceEndEvent)):
            keys.pop()
            _value_done(keys)
        elif isinstance(event, yaml.ScalarEvent) and keys:
            if keys[-1] is None:
                keys[-1] = str(event.value)
                continue
            if keys[0] == "parameters" and (len(keys) == 2 or (len(keys) == 3 and keys[2] == "value")):
                found[str(keys[1])] = event
            _value_done(keys)
    return found


def _value_done(keys: list[str | None]) -> None:
    """A mapping waits for its next key again; a list, whose key is empty, takes value after value."""
    if keys and keys[-1] != "":
        keys[-1] = None
