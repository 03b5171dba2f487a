"""What a YAML text holds, and where each key and value stands.

Read from the parser's events, so that a hostile text is refused at the offender's line before
anything is built from it. The text must be plain data: no anchors, aliases, tags, and one
document.

    document = read_document(text, "machine.yaml")
    document.data["parts"]["drain"]            # plain dicts, lists, text, numbers
    document.mark(("parts", "drain", "place")) # machine.yaml:14:12
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import yaml

from fitcheck.scene import limits
from fitcheck.scene.files import refused, too_large
from fitcheck.scene.mistakes import Mark, Mistake, Mistakes
from fitcheck.scene.scalars import WORDS, doubtful, plain
from fitcheck.scene.syntax import Fault, Opened, explain, missing_space

Step = str | int
Route = tuple[Step, ...]

# The compiled parser takes 1 ms for 250 lines, the one in Python 22 ms; both give one stream of events.
_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
# What is outside c-printable of YAML 1.2.2, and the separators that end a line for some readers only.
# Said by what is forbidden: said by what is allowed, the pattern takes 6 ms to compile.
_FORBIDDEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff\ufeff\ufffe\uffff]")
_FIGURE = re.compile(r"[-+]?[\d.]+")
_LINE_END = re.compile(r"\r\n|\r|\n")


class Spot(NamedTuple):
    """Where a value stands, and its key; line and column from 1.

    `lead` is how many characters come before the text (1 for a quote), or None where text
    and file do not run side by side (escapes, several lines).
    """

    value: tuple[int, int]
    key: tuple[int, int] | None = None
    lead: int | None = None


@dataclass(frozen=True)
class Document:
    """A text as plain data, with the place of each key and value."""

    name: str
    data: Any
    lines: tuple[str, ...]
    spots: dict[Route, Spot] = field(repr=False)

    def mark(self, path: Route, key: bool = False, offset: int = 0) -> Mark:
        """Where the value at `path` (or its key) stands.

        A path that is not in the text falls back to the key of its nearest ancestor: a
        missing entry is missing there. `offset` counts characters into a text value.
        """
        spot = self.spots.get(path)
        wanted = path
        while spot is None and wanted:
            wanted, key = wanted[:-1], True
            spot = self.spots.get(wanted)
        if spot is None:
            return Mark(self.name, 1, 1)
        line, column = spot.key if key and spot.key else spot.value
        if not key and spot.lead is not None and offset:
            column += spot.lead + offset
        return Mark(self.name, line, column)

    def mended(self, mistake: Mistake) -> Mistake:
        """The mistake with what this document knows of how to mend it: nothing more."""
        return mistake


def read_document(text: str, name: str) -> Document:
    """Read one YAML text.

    Args:
        text: the whole text.
        name: the file's name as mistakes show it.

    Raises:
        Mistakes: all that are found; after a fault of grammar or a limit reading ends.
    """
    lines = tuple(_LINE_END.split(text.removeprefix("\ufeff")))
    _check_characters(text, name)
    if len(lines) > limits.LINES:
        said = f"holds {len(lines):,} lines; the limit is {limits.LINES:,}"
        raise Mistakes([Mistake(Mark(name, limits.LINES + 1, 1), "", said)])
    reader = _Reader(name, lines)
    try:
        parser = _LOADER(text)
        while parser.check_event():
            reader.take(parser.get_event())
    except yaml.MarkedYAMLError as error:
        if not reader.broken:
            reader.mistakes.append(explain(_fault(error), lines, reader.opened(), name))
    if not reader.mistakes and reader.spots.get(()) is None:
        reader.mistakes.append(Mistake(Mark(name, 1, 1), "", "nothing is written in it"))
    if reader.mistakes:
        raise Mistakes(reader.mistakes)
    return Document(name, reader.data, lines, reader.spots)


def _check_characters(text: str, name: str) -> None:
    size = len(text.encode("utf-8", "surrogatepass"))
    if size > limits.FILE_BYTES:
        raise refused(name, too_large(size))
    found = _FORBIDDEN.search(text, 1 if text.startswith("\ufeff") else 0)
    if found:
        line = len(_LINE_END.findall(text, 0, found.start())) + 1
        column = found.start() - max(text.rfind("\n", 0, found.start()), text.rfind("\r", 0, found.start()))
        problem = f"the character U+{ord(found[0]):04X} cannot stand in a text file"
        raise Mistakes([Mistake(Mark(name, line, column), "", problem, "delete it")])


def _fault(error: yaml.MarkedYAMLError) -> Fault:
    at, context = error.problem_mark, error.context_mark
    return Fault(
        problem=error.problem or "",
        line=at.line,
        column=at.column,
        context=error.context or "",
        context_line=context.line if context else None,
        context_column=context.column if context else 0,
    )


@dataclass
class _Open:
    """A list or mapping being filled; `key` is the key whose value comes next."""

    data: dict[str, Any] | list[Any]
    route: Route
    bracket: Opened | None
    key: str | None = None
    key_at: tuple[int, int] | None = None


class _Reader:
    """Builds data and places from the parser's events."""

    def __init__(self, name: str, lines: tuple[str, ...]) -> None:
        self.name, self.lines = name, lines
        self.data: Any = None
        self.spots: dict[Route, Spot] = {}
        self.mistakes: list[Mistake] = []
        # The last scalar lacked the space after its colon: what the grammar says next follows from it.
        self.broken = False
        self._open: list[_Open] = []
        self._nodes = 0
        self._documents = 0
        self._take: dict[type, Callable[[Any], None]] = {
            yaml.ScalarEvent: self._scalar,
            yaml.MappingStartEvent: self._start,
            yaml.SequenceStartEvent: self._start,
            yaml.MappingEndEvent: self._end,
            yaml.SequenceEndEvent: self._end,
            yaml.AliasEvent: self._alias,
            yaml.DocumentStartEvent: self._document,
        }

    def take(self, event: Any) -> None:
        """Take the next event of the parser."""
        if len(self.mistakes) >= limits.MISTAKES:
            raise Mistakes(self.mistakes)
        what = self._take.get(type(event))
        if what:
            what(event)

    def opened(self) -> list[Opened]:
        """The brackets still open, outermost first."""
        return [one.bracket for one in self._open if one.bracket]

    def _stop(self, event: Any, problem: str, mend: str = "") -> Mistakes:
        return Mistakes([*self.mistakes, self._mistake(_at(event), problem, mend)])

    def _mistake(self, at: tuple[int, int], problem: str, mend: str = "", subject: str = "") -> Mistake:
        return Mistake(Mark(self.name, *at), subject or self._subject(), problem, mend)

    def _subject(self) -> str:
        """The key that is being filled: the innermost named one."""
        for one in reversed(self._open):
            if one.key is not None:
                return one.key
        return ""

    def _document(self, event: Any) -> None:
        self._documents += 1
        if self._documents > 1:
            raise self._stop(event, "a second document begins here; a file holds one", "delete the line ---")

    def _alias(self, event: Any) -> None:
        word = self.lines[event.start_mark.line][event.start_mark.column :].split(",")[0].strip()
        raise self._stop(
            event,
            f"{word} refers to an anchor, and aliases are not read (limit: 0)",
            f"write the value itself, or '{word}' if it is text",
        )

    def _admit(self, event: Any) -> None:
        """Count a node and refuse what is not plain data."""
        self._nodes += 1
        if self._nodes > limits.NODES:
            raise self._stop(event, f"more than {limits.NODES:,} keys and values; that is the limit")
        if event.anchor is not None:
            raise self._stop(
                event, f"the anchor &{event.anchor} is not read (limit: 0)", f"delete &{event.anchor}"
            )
        if event.tag is not None:
            written = self.lines[event.start_mark.line][event.start_mark.column :].split(" ")[0]
            problem = f"the tag {written} is not read; a file holds plain values"
            raise self._stop(event, problem, "delete the tag")

    def _start(self, event: Any) -> None:
        self._admit(event)
        if len(self._open) >= limits.NESTING:
            raise self._stop(event, f"nested deeper than {limits.NESTING} levels; that is the limit")
        mapping = isinstance(event, yaml.MappingStartEvent)
        if self._open and isinstance(self._open[-1].data, dict) and self._open[-1].key is None:
            raise self._stop(event, "a list or mapping cannot be a key", "write a name before the colon")
        at = event.start_mark
        bracket = Opened("{" if mapping else "[", at.line, at.column) if event.flow_style else None
        data: dict[str, Any] | list[Any] = {} if mapping else []
        route = self._put(data, event, None)
        self._open.append(_Open(data, route, bracket))

    def _end(self, event: Any) -> None:
        self._open.pop()
        self._next()

    def _next(self) -> None:
        """A value is complete: the mapping it belongs to waits for a key again."""
        if self._open:
            self._open[-1].key = None

    def _put(self, value: Any, event: Any, lead: int | None) -> Route:
        """Put a value where it belongs and remember its place."""
        if not self._open:
            self.data = value
            self.spots[()] = Spot(_at(event), None, lead)
            return ()
        parent = self._open[-1]
        if isinstance(parent.data, list):
            route: Route = (*parent.route, len(parent.data))
            parent.data.append(value)
            self.spots[route] = Spot(_at(event), None, lead)
            return route
        assert parent.key is not None
        route = (*parent.route, parent.key)
        parent.data[parent.key] = value
        # Of a repeated key, the first place counts.
        self.spots.setdefault(route, Spot(_at(event), parent.key_at, lead))
        return route

    def _scalar(self, event: Any) -> None:
        self._admit(event)
        parent = self._open[-1] if self._open else None
        if parent is not None and isinstance(parent.data, dict) and parent.key is None:
            self._key(event, parent, parent.data)
            return
        if event.style:
            value: Any = event.value
        else:
            value = None if self._lacks_space(event, parent) else self._plain(event)
        self._put(value, event, self._lead(event))
        self._next()

    def _key(self, event: Any, parent: _Open, data: dict[str, Any]) -> None:
        key, at = event.value, _at(event)
        parent.key, parent.key_at = key, at
        if self.lines[at[0] - 1][: at[1] - 1].rstrip().endswith("?"):
            # In brackets the parsers take `{?a: 1}` for the key `a`, against YAML 1.2.
            raise self._stop(
                event, "a question mark stands before this key", "delete it, or put the key in quotes"
            )
        wrong = None if event.style else missing_space(key)
        if wrong:
            self.mistakes.append(self._mistake(at, *wrong, subject=key.split(":")[0]))
            self.broken = True
        elif not event.style and key in WORDS:
            said = f"`{key}` is read as yes, no or nothing; a key must be text or a number"
            self.mistakes.append(
                self._mistake(at, said, f'write "{key}"' if key else "write a name before it")
            )
        elif not event.style and (odd := doubtful(key)):
            self.mistakes.append(self._mistake(at, *odd))
        elif not event.style and _FIGURE.fullmatch(key) and self._is_alone(event):
            said = f"`{key}` stands without a key"
            self.mistakes.append(self._mistake(at, said, "write [ ] around a list of values"))
        elif key in data:
            first = self.spots[(*parent.route, key)].key or (0, 0)
            self.mistakes.append(
                self._mistake(at, f"is written twice; first at line {first[0]}", "delete one of them")
            )

    def _is_alone(self, event: Any) -> bool:
        """Whether nothing but a comma or a bracket follows a key."""
        end = event.end_mark
        return self.lines[end.line][end.column :].lstrip()[:1] in (",", "}")

    def _lacks_space(self, event: Any, parent: _Open | None) -> bool:
        """Whether `depth:640` stands where a mapping would, and say so."""
        at = _at(event)
        if (
            parent is not None
            and isinstance(parent.data, dict)
            and parent.key_at
            and parent.key_at[0] == at[0]
        ):
            return False
        written = (
            self.lines[at[0] - 1][at[1] - 1 :]
            if event.end_mark.line != event.start_mark.line
            else event.value
        )
        wrong = missing_space(written)
        if wrong:
            self.broken = True
            self.mistakes.append(self._mistake(at, *wrong, subject=written.split(":")[0]))
        return bool(wrong)

    def _lead(self, event: Any) -> int | None:
        mark = event.start_mark
        line = self.lines[mark.line] if mark.line < len(self.lines) else ""
        quotes = 1 if event.style in ("'", '"') else 0
        return quotes if line.startswith(event.value, mark.column + quotes) else None

    def _plain(self, event: Any) -> Any:
        """The value of an unquoted scalar; a doubtful one is noted and read as it stands."""
        said = doubtful(event.value)
        if said:
            self.mistakes.append(self._mistake(_at(event), *said))
            return event.value
        return plain(event.value)


def _at(event: Any) -> tuple[int, int]:
    return event.start_mark.line + 1, event.start_mark.column + 1
