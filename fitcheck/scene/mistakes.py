"""How a mistake in a file is said: where, what was written, what is allowed, the mend."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any


@dataclass(frozen=True, order=True)
class Mark:
    """A place in a text file; line and column count from 1. Line 0: no file, such as an option."""

    file: str
    line: int
    column: int

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}" if self.line else self.file


@dataclass(frozen=True, order=True)
class Mistake:
    """One mistake of a file.

    `subject` is the key or name at fault, `problem` says what was written and what is
    allowed, `mend` is something to type that was checked to help.
    """

    mark: Mark
    subject: str
    problem: str
    mend: str = ""

    def __str__(self) -> str:
        said = (
            f"{self.mark}: {self.subject}: {self.problem}" if self.subject else f"{self.mark}: {self.problem}"
        )
        return f"{said}; {self.mend}" if self.mend else said


class Mistakes(Exception):
    """All mistakes found in one reading, sorted by place.

    `sound` is what could be read all the same, for a second look that finds more of them.
    """

    def __init__(self, items: Iterable[Mistake], sound: Any = None) -> None:
        self.items = tuple(sorted(set(items)))
        self.sound = sound
        super().__init__("\n".join(map(str, self.items)))


class ValueMistake(Exception):
    """A wrong value, raised by code that knows no file; whoever knows the place adds it.

    `offset` counts characters from the start of the offending text.
    """

    def __init__(self, problem: str, mend: str = "", offset: int = 0) -> None:
        super().__init__(problem)
        self.problem, self.mend, self.offset = problem, mend, offset


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known name most like `word`, or None when none is near."""
    found = get_close_matches(word, list(known), n=1, cutoff=0.6)
    return found[0] if found else None
