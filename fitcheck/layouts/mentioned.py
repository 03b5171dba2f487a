"""What of a scene besides its parts follows what varies: where that may be wrong, layouts cannot be built.

A part notes itself what it reads. Of parameters, rules, views and contacts it is read here from their text: a
name that happens to be a word of theirs counts as well, which costs work and no truth. A rule that names a
part is wrong where there is none of that name: it follows what brings the part in, or tells how many.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from fnmatch import fnmatchcase
from typing import Any

from fitcheck.layouts.read import Layouts

# Names, and patterns of names.
WORD = re.compile(r"[A-Za-z_*?][\w*?]*")
# Sums, differences and products of what is sound are sound, if no range is set to them.
SOUND = re.compile(r"[\w\s.+*-]*")
ELSEWHERE = ("rules", "views", "touches")
NONE: frozenset[int] = frozenset()


def followed_elsewhere(layouts: Layouts) -> set[frozenset[int]]:
    """The wheels that each parameter that may be wrong, rule, view and contact follows, where it does any."""
    said = _Said(layouts)
    data = layouts.scene.data
    found = {said.by_words(value) for value in said.parameters.values() if not _always_sound(value)}
    for section in ELSEWHERE:
        for item in _items(data.get(section) or {}):
            found.add(said.by_words(item) | said.by_parts(item))
    return found - {NONE}


class _Said:
    """What follows what, by what is written."""

    def __init__(self, layouts: Layouts) -> None:
        choices, data = layouts.choices, layouts.scene.data
        self.parameters: dict[str, Any] = data.get("parameters") or {}
        self._wheel_of = {name: at for at, wheel in enumerate(choices.wheels) for name in wheel.names}
        self._known: dict[str, frozenset[int]] = {}
        # Lengths say where a part is and how large, not whether it is there.
        counting = {
            at
            for at, wheel in enumerate(choices.wheels)
            if not all(re.fullmatch(r"[-+.\d]+\s*[A-Za-z\"']+", str(v)) for row in wheel.rows for v in row)
        }
        self._there: dict[str, frozenset[int]] = {
            name: self.by_words(entry) & counting for name, entry in (data.get("parts") or {}).items()
        }
        for name, options in layouts.file.alternatives.items():
            for option in options.values():
                for part in (*option.parts, *option.without):
                    self._there[part] = self._there.get(part, NONE) | {self._wheel_of[name]}

    def by_words(self, value: Any, on_the_way: tuple[str, ...] = ()) -> frozenset[int]:
        """The wheels that anything named in a value follows, through other parameters too."""
        words = {word for text in _texts(value) for word in WORD.findall(text)}
        return NONE.union(*(self._by_word(word, on_the_way) for word in words))

    def _by_word(self, word: str, on_the_way: tuple[str, ...]) -> frozenset[int]:
        if word in self._wheel_of:
            return frozenset({self._wheel_of[word]})
        if word not in self.parameters or word in on_the_way:
            return NONE
        if word not in self._known:
            self._known[word] = self.by_words(self.parameters[word], (*on_the_way, word))
        return self._known[word]

    def by_parts(self, value: Any) -> frozenset[int]:
        """The wheels by which the parts that a value names, or may name by a pattern, are there or not."""
        words = {word for text in _texts(value) for word in WORD.findall(text)}
        named = (
            wheels
            for name, wheels in self._there.items()
            if any(word == name or (not word.isidentifier() and fnmatchcase(name, word)) for word in words)
        )
        return NONE.union(*named)


def _always_sound(value: Any) -> bool:
    return not isinstance(value, dict) and SOUND.fullmatch(str(value)) is not None


def _items(section: Any) -> Iterator[Any]:
    """What is wrong or right by itself: the entries of a list, or of what has a name."""
    if isinstance(section, dict):
        for value in section.values():
            yield from value if isinstance(value, list) else [value]
    else:
        yield from section


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        for key, one in value.items():
            yield str(key)
            yield from _texts(one)
    elif isinstance(value, list):
        for one in value:
            yield from _texts(one)
    elif isinstance(value, str):
        yield value
