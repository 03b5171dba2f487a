"""What a fault in YAML's own grammar means, in a builder's words.

The YAML library says what its grammar wanted where it noticed, often a line too late. The
character there, the brackets still open and the lines above tell what went wrong.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from fitcheck.scene import limits
from fitcheck.scene.mistakes import Mark, Mistake

Say = Callable[..., Mistake]
CLOSERS = {"[": "]", "{": "}"}
_MISSING_SPACE = re.compile(r"([A-Za-z_]\w*):(?!//)(\S.*)")


@dataclass(frozen=True)
class Opened:
    """A bracket that is still open: `[` or `{`, line and column from 0."""

    bracket: str
    line: int
    column: int


@dataclass(frozen=True)
class Fault:
    """What the YAML library said, and where (line and column from 0); context may be missing."""

    problem: str
    line: int
    column: int
    context: str = ""
    context_line: int | None = None
    context_column: int = 0


def missing_space(text: str) -> tuple[str, str] | None:
    """Problem and mend of `depth:640`, or None where that is not what was written."""
    found = _MISSING_SPACE.fullmatch(text.strip()) if ":" in text else None
    if not found:
        return None
    return f"a space is missing after the colon of `{text.strip()}`", f"write {found[1]}: {found[2]}"


def explain(fault: Fault, lines: Sequence[str], opened: Sequence[Opened], file: str) -> Mistake:
    """The mistake behind a YAML fault.

    Args:
        fault: what the library said.
        lines: the file's lines.
        opened: brackets still open where it was noticed, outermost first.
        file: the name to show.
    """
    line = lines[fault.line] if fault.line < len(lines) else ""
    here = line[fault.column : fault.column + 1]
    context = (fault.context_line if fault.context_line is not None else fault.line, fault.context_column)

    def said(problem: str, mend: str = "", at: tuple[int, int] = (fault.line, fault.column)) -> Mistake:
        return Mistake(Mark(file, at[0] + 1, at[1] + 1), "", problem, mend)

    if "\t" in line[: len(line) - len(line.lstrip())]:
        return said("a tab indents this line; YAML takes spaces only", "write spaces in place of the tab")
    if "quoted scalar" in fault.context:
        if "escape" in fault.problem:
            return said(
                "a backslash in double quotes begins an escape, and this is none",
                "write \\\\ for one backslash",
            )
        quote = lines[context[0]][context[1]]
        return said(
            f"the quote {quote} opened here is not closed", f"write {quote} at the end of the text", context
        )
    if "alias" in fault.context or "anchor" in fault.context:
        return _must_quote(lines, context, said)
    if here in ("%", "@", "`") and "cannot start any token" in fault.problem:
        return _must_quote(lines, (fault.line, fault.column), said)
    if "nesting depth" in fault.problem:
        # The library's own limit of 1,000 comes first where it reads ahead for a colon.
        return said(f"nested deeper than {limits.NESTING} levels; that is the limit")
    if "directive" in fault.context or "%YAML" in fault.problem:
        return said(
            "a line that begins with % instructs the YAML reader, and is not read", "delete the line", context
        )
    if opened:
        return _index(line, fault, said) or _bracket(fault, here, opened[-1], said)
    if here in ("]", "}"):
        return said(f"this {here} closes nothing", f"delete the {here}")
    if here == ",":
        return said("text cannot begin with a comma", "write the text in quotes")
    return _block(fault, lines, context, said)


def _must_quote(lines: Sequence[str], at: tuple[int, int], said: Say) -> Mistake:
    rest = lines[at[0]][at[1] :]
    word = re.match(r"[^\s,\]}]+", rest)
    text = word[0] if word else rest[:1]
    return said(f"text that begins with {text[0]} must stand in quotes", f"write '{text}'", at)


def _index(line: str, fault: Fault, said: Say) -> Mistake | None:
    """`fan[2].back` without quotes: inside brackets its own end the text."""
    rest = re.match(r"(?:\[[^\[\]{}]*\][^,\[\]{}]*)+", line[fault.column :])
    start = 1 + max(line.rfind(mark, 0, fault.column) for mark in (",", "[", "{", ": "))
    text = line[start : fault.column].lstrip()
    if not rest or not re.fullmatch(r"[A-Za-z_](.*[\w.])?", text):
        return None
    text = (text + rest[0]).strip()
    problem = "text with [ ] in it must stand in quotes inside { } and [ ]"
    return said(problem, f'write "{text}"', (fault.line, line.index(text, start)))


def _bracket(fault: Fault, here: str, last: Opened, said: Say) -> Mistake:
    closer, at = CLOSERS[last.bracket], (last.line, last.column)
    if here in ("]", "}") and here != closer and "node content" not in fault.problem:
        return said(
            f"the {last.bracket} opened at {at[0] + 1}:{at[1] + 1} is closed by a {here}", f"write {closer}"
        )
    if here == ",":
        return said("nothing stands before this comma", "delete the comma")
    if fault.line > last.line or not here:
        return said(f"the {last.bracket} opened here is not closed", f"write {closer} at its end", at)
    if here == ":" and last.bracket == "{":
        return said("a comma is missing before this key", "write a comma between the entries")
    if here == ":":
        return said("a second colon in one entry", "write the entry in { }, or its text in quotes")
    if here in ("]", "}"):
        return said(f"this {here} closes nothing", f"delete the {here}")
    return said(
        f"a comma or {closer} is missing here, for the {last.bracket} opened at {at[0] + 1}:{at[1] + 1}"
    )


def _block(fault: Fault, lines: Sequence[str], context: tuple[int, int], said: Say) -> Mistake:
    """Faults outside brackets: colons, dashes, indentation."""
    line = lines[fault.line] if fault.line < len(lines) else ""
    before = line[: fault.column]
    if "mapping values are not allowed" in fault.problem:
        if ": " in before:
            return said("a second colon in one line", "write the text after the first colon in quotes")
        return _too_deep(fault, lines, said)
    if "sequence entries are not allowed" in fault.problem:
        return said(
            "a list cannot begin behind a colon", "write [ ] around the list, or no space after a minus sign"
        )
    if "could not find expected ':'" in fault.problem:
        text = lines[context[0]].strip()
        if text.startswith("-"):
            return said(f"a space is missing after the dash of `{text}`", f"write - {text[1:]}", context)
        problem, mend = missing_space(text) or (f"`{text}` has no colon", f"write {text}: and its value")
        return said(problem, mend, context)
    if "'-' indicator" in fault.problem or ("block collection" in fault.context and not before.strip()):
        return said(
            "this line stands in a list and does not begin with -", "write - before it, or indent it less"
        )
    if "document start" in fault.problem:
        return said(
            "a second document begins here; a file holds one", "delete what ended the first: the line ..."
        )
    if line[fault.column : fault.column + 1] == ":":
        return said("a key is missing before this colon", "write a name before it")
    if before.strip():
        return said("text goes on after a closed quote", "write the whole text inside the quotes")
    if "block" in fault.context:
        return _uneven(fault, lines, context, said)
    return said(f"not YAML: {fault.problem}")


def _indent(line: str) -> int:
    return len(line) - len(line.lstrip(" "))


def _above(lines: Sequence[str], line: int) -> str:
    """The nearest line above that holds more than a comment."""
    return next(
        (one for one in reversed(lines[:line]) if one.strip() and not one.strip().startswith("#")), ""
    )


def _too_deep(fault: Fault, lines: Sequence[str], said: Say) -> Mistake:
    above = _above(lines, fault.line)
    line = lines[fault.line]
    found = missing_space(above)
    if found:
        return said(*found, at=(lines.index(above), _indent(above)))
    if _indent(line) <= _indent(above):
        problem = "plain text where a key and its value are due, such as `title: My machine`"
        return said(problem, at=(fault.line, _indent(line)))
    problem = (
        f"this line is indented by {_indent(line)}, deeper than the line above, which has its value already"
    )
    return said(problem, f"indent it by {_indent(above)}", at=(fault.line, _indent(line)))


def _uneven(fault: Fault, lines: Sequence[str], context: tuple[int, int], said: Say) -> Mistake:
    here, above = _indent(lines[fault.line]), _indent(_above(lines, fault.line))
    if here > above:
        return _too_deep(fault, lines, said)
    return said(
        f"this line is indented by {here}, the keys above by {context[1]} or {above}", f"indent it by {above}"
    )
