"""Scene and model files put in order: only blanks between words and at the starts of lines change.

Words, comments and the order of everything stay as they are written. What comes out is read again and held
against what went in, so that a file never loses anything.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any

import yaml

# Ten times as fast where it is installed, as it is with the wheels.
LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
# A level lies so much farther in than the one it belongs to.
STEP = 2
# Between a value and the comment behind it at least.
BEFORE_COMMENT = 2
OPENS = (yaml.FlowMappingStartToken, yaml.FlowSequenceStartToken)
CLOSES = (yaml.FlowMappingEndToken, yaml.FlowSequenceEndToken)


def tidy(text: str) -> str:
    """The text with blanks as our own files have them; of the same meaning, with the same comments.

    Raises:
        yaml.YAMLError: it is no YAML.
        ValueError: it has something that cannot be moved without loss; nothing was changed.
    """
    text = text.replace("\r\n", "\n")
    root = yaml.compose(text, Loader=LOADER)
    lines = text.split("\n")
    indents = dict(_indents(root, 0)) if isinstance(root, yaml.CollectionNode) else {}
    spaced = _spaced(text, lines, _aligned(root, lines))
    found = "\n".join(_blank_lines(_indented(lines, spaced, indents))) + "\n"
    if yaml.load(found, LOADER) != yaml.load(text, LOADER) or _comments(found) != _comments(text):
        raise ValueError("it has something that cannot be moved without loss")
    return found


def _indents(node: yaml.Node, level: int) -> Iterator[tuple[int, int]]:
    """Of each line that a block begins an entry on: how far in it belongs."""
    if isinstance(node, yaml.MappingNode) and not node.flow_style:
        for key, value in node.value:
            yield key.start_mark.line, level
            yield from _indents(value, level + STEP)
    elif isinstance(node, yaml.SequenceNode) and not node.flow_style:
        for item in node.value:
            # What begins behind the dash is two farther in than the dash.
            inner = list(_indents(item, level + STEP))
            dash = item.start_mark.line
            yield from (one for one in inner if one[0] != dash)
            yield dash, level


def _aligned(node: yaml.Node | None, lines: Sequence[str]) -> dict[int, int]:
    """Of lines of a table how wide its keys are: neighbours with a value on the same line, some padded.

    As wide as most of them say; what is longer stands out.
    """
    found: dict[int, int] = {}
    if isinstance(node, yaml.SequenceNode):
        for item in node.value:
            found |= _aligned(item, lines)
    if not isinstance(node, yaml.MappingNode):
        return found
    table: list[tuple[int, int, bool]] = []
    for key, value in [*node.value, (None, None)]:
        if key is not None:
            found |= _aligned(value, lines)
        plain = key is not None and not node.flow_style and value.start_mark.line == key.start_mark.line
        follows = not table or (
            key is not None and "" not in _between(lines, table[-1][0], key.start_mark.line)
        )
        if not (plain and follows):
            if len(table) > 1 and any(padded for *_, padded in table):
                wide = Counter(width for _, width, _ in table).most_common(1)[0][0]
                found |= {line: wide for line, _, _ in table}
            table = []
        if plain:
            # The colon and a blank lie between the keys and the values of a table.
            width = value.start_mark.column - key.start_mark.column - 2
            table.append((key.start_mark.line, width, value.start_mark.column - key.end_mark.column > 2))
    return found


def _between(lines: Sequence[str], first: int, last: int) -> list[str]:
    return [line.strip() for line in lines[first + 1 : last]]


def _spaced(text: str, lines: Sequence[str], aligned: dict[int, int]) -> dict[int, str]:
    """Lines with their words spaced anew, from their first word on; those that are one text are left out."""
    tokens = [t for t in yaml.scan(text, Loader=LOADER) if t.start_mark.index != t.end_mark.index]
    said: dict[int, str] = {}
    depth, whole = 0, set[int]()
    for k, token in enumerate(tokens):
        line, last = token.start_mark.line, token.end_mark.line
        before = tokens[k - 1] if k else None
        depth -= isinstance(token, CLOSES)
        if last > line:
            # A text over several lines stays as it is, to its last line.
            whole |= set(range(line + 1, last + 1))
        said.setdefault(line, "")
        if before is not None and before.end_mark.line == line:
            gap = _gap(before, token, aligned.get(line) if depth == 0 else None, tokens[k - 2])
            said[line] += " " * gap
        said[line] += text[token.start_mark.index : token.end_mark.index].split("\n")[0]
        depth += isinstance(token, OPENS)
    ends = {t.end_mark.line: t.end_mark.column for t in tokens}
    open_ended = {t.start_mark.line for t in tokens if t.end_mark.line > t.start_mark.line}
    for line in said:
        rest = "" if line in open_ended else lines[line][ends[line] :]
        if comment := rest.strip():
            gap = len(rest) - len(rest.lstrip())
            said[line] += " " * max(gap, BEFORE_COMMENT) + comment
    return {line: one for line, one in said.items() if line not in whole}


def _gap(before: yaml.Token, token: yaml.Token, table: int | None, key: yaml.Token) -> int:
    """How many blanks stand between two words of a line; `table`: how wide the keys of its table are."""
    if (
        isinstance(before, yaml.ValueToken)
        and table is not None
        and key.end_mark.line == token.start_mark.line
    ):
        return max(table - int(key.end_mark.column - key.start_mark.column), 0) + 1
    if isinstance(before, OPENS) or isinstance(token, (*CLOSES, yaml.FlowEntryToken, yaml.ValueToken)):
        return 0
    return 1


def _indented(lines: Sequence[str], spaced: dict[int, str], indents: dict[int, int]) -> list[str]:
    """All lines where they belong; what begins no entry is moved as the entry before it was."""
    found: list[str] = []
    moved = 0
    for number, line in enumerate(lines):
        own = len(line) - len(line.lstrip())
        bare = line.strip()
        if number in indents and number in spaced:
            moved = indents[number] - own
            found.append(" " * indents[number] + spaced[number])
        elif bare.startswith("#") and number not in spaced:
            found.append(" " * max(own + _of_next(lines, indents, number, own, moved), 0) + bare)
        elif number in spaced:
            found.append(" " * max(own + moved, 0) + spaced[number])
        else:
            found.append((" " * max(own + moved, 0) + line.lstrip()).rstrip())
    return found


def _of_next(lines: Sequence[str], indents: dict[int, int], number: int, own: int, moved: int) -> int:
    """How far a comment is moved: as the entry below it, if it stands as far in as that."""
    for below in range(number + 1, len(lines)):
        bare = lines[below].strip()
        if bare and not bare.startswith("#"):
            there = len(lines[below]) - len(lines[below].lstrip())
            return indents[below] - there if below in indents and there == own else moved
    return moved


def _blank_lines(lines: Sequence[str]) -> Iterator[str]:
    """No two blank lines one after the other, none at the start and the end."""
    waiting, begun = False, False
    for line in lines:
        if not line.strip():
            waiting = begun
            continue
        if waiting:
            yield ""
        yield line
        waiting, begun = False, True


def _comments(text: str) -> list[str]:
    """All comments in their order, without the blanks before and behind them."""
    ends: dict[int, int] = {}
    inside: set[int] = set()
    for token in yaml.scan(text, Loader=LOADER):
        if token.start_mark.index != token.end_mark.index:
            ends[token.end_mark.line] = token.end_mark.column
            inside |= set(range(token.start_mark.line, token.end_mark.line))
    found = []
    for number, line in enumerate(text.split("\n")):
        rest = "" if number in inside else line[ends.get(number, 0) :]
        if hit := re.search(r"(?:^|\s)#.*", rest):
            found.append(hit[0].strip())
    return found
