"""One scene being looked at: its file, its values, what is known of them, and what is new for the page."""

from __future__ import annotations

import json
import struct
import threading
import zlib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from fitcheck.live.controls import Control, controls_of
from fitcheck.live.kept_values import NotKept, keep_values
from fitcheck.live.quick import Quick, QuickAnswers
from fitcheck.live.said import said
from fitcheck.live.thorough import Answered, Asked, Thorough
from fitcheck.outputs.page.packed import distances, packed
from fitcheck.scene.files import decoded
from fitcheck.scene.mistakes import Mistakes, ValueMistake
from fitcheck.scene.saved import EVERY, Signature, signature
from fitcheck.scene.text import read_document

# The thorough answer is asked for when values rest so long, s.
IDLE = 0.4
# A page that waits for news is answered after so long in any case, s.
PATIENCE = 20.0
# So long may a value be, characters; as in a scene.
VALUE = 200


class Wrong(Exception):
    """What was asked makes no sense; says why."""


class Viewing:
    """A scene and its page.

    Args:
        path: of the scene file.
        given: values of parameters to begin with, as typed.

    Raises:
        Mistakes: the scene cannot be built.
    """

    def __init__(self, path: Path, given: Mapping[str, str]) -> None:
        self.path = path
        self._busy, self._news = threading.Lock(), threading.Condition()
        self._told: dict[str, tuple[int, bytes]] = {}
        self._count = self._number = 0
        self._ends = threading.Event()
        self._waiting: threading.Timer | None = None
        self._bytes = path.read_bytes()
        self.document = read_document(decoded(self._bytes, str(path)), str(path))
        self._signature = signature(path, self.document)
        self._answers = QuickAnswers(self.document, path.parent)
        self.values = dict(given)
        self.quick = self._answers.of(self.values)
        self._thorough = Thorough(self._hear)
        threading.Thread(target=self._watch, daemon=True).start()
        self._want_thorough()

    def end(self) -> None:
        """Stop watching and asking."""
        self._ends.set()
        if self._waiting is not None:
            self._waiting.cancel()
        self._thorough.end()

    # --- what the page asks ---

    def page(self) -> tuple[dict[str, Any], bytes]:
        """The page's data and shapes as things stand; it asks for news from `live.seen` on."""
        with self._busy:
            data = self._dressed(self.quick)
            with self._news:
                data["live"]["seen"] = self._count
            return data, packed([one.drawn for one in self.quick.solids], level=1)

    def ask(self, values: Mapping[str, str], known: Iterable[str]) -> bytes:
        """The quick answer for other values; `known` are the shapes and values that the page has.

        Raises:
            Wrong: no such parameter, or no value.
        """
        values = {name: typed for name, typed in self._sound(values).items() if typed != self._written(name)}
        with self._busy:
            try:
                quick = self._answers.of(values)
            except (Mistakes, ValueMistake) as wrong:
                return body({"wrong": said(wrong)})
            self.values, self.quick = values, quick
            answer = self._body(quick, set(known))
        self._want_thorough()
        return answer

    def keep(self, values: Mapping[str, str]) -> dict[str, Any]:
        """Write values into the file.

        Raises:
            Wrong: the file was not written, and why.
        """
        values = self._sound(values)
        with self._busy:
            changed = {name: typed for name, typed in values.items() if typed != self._written(name)}
            try:
                if changed:
                    self._bytes = keep_values(self.path, self._bytes, changed)
            except NotKept as why:
                raise Wrong(str(why)) from None
            # What we wrote is seen as a change of the file like any other.
            self._signature = self._others(self._signature)
        return {"kept": sorted(changed)}

    def news(self, seen: int) -> bytes | None:
        """The next thing that happened after `seen`; None if nothing does for a while."""
        with self._news:
            self._news.wait_for(lambda: self._after(seen) is not None or self._ends.is_set(), PATIENCE)
            return self._after(seen)

    # --- inside ---

    @property
    def controls(self) -> list[Control]:
        """Of the scene as the file has it."""
        return controls_of(self.document.data)

    def _written(self, name: str) -> str:
        return next(control.written for control in self.controls if control.name == name)

    def _sound(self, values: Mapping[str, str]) -> dict[str, str]:
        known = {control.name for control in self.controls}
        for name, typed in values.items():
            if name not in known or not isinstance(typed, str):
                raise Wrong(f"the scene has no parameter {name!r} with such a value")
            if len(typed) > VALUE or any(ord(letter) < 32 for letter in typed):
                raise Wrong(f"{name}: the value is too long, or no single line")
        return {name: typed for name, typed in values.items() if typed.strip()}

    def _dressed(self, quick: Quick) -> dict[str, Any]:
        live = {
            "file": self.path.name,
            "controls": [control.plain for control in self.controls],
            "values": self.values,
        }
        keys = [[one.form.key, one.values_key] for one in quick.solids]
        return quick.data | {"live": live, "keys": keys}

    def _body(self, quick: Quick, known: set[str]) -> bytes:
        new = {one.form.key: one for one in quick.solids if f"s{one.form.key}" not in known}
        fresh = [
            k
            for k, one in enumerate(quick.solids)
            if one.form.key not in new and f"v{one.form.key}.{one.values_key}" not in known
        ]
        # A shape that stands twice is sent once, but its values for each.
        firsts = {id(one) for one in new.values()}
        fresh += [k for k, one in enumerate(quick.solids) if one.form.key in new and id(one) not in firsts]
        data = self._dressed(quick) | {"shapes": list(new), "fresh": fresh}
        values = b"".join(distances(quick.solids[k].drawn.values).tobytes() for k in fresh)
        return body(data, packed([one.drawn for one in new.values()], level=1), zlib.compress(values, 1))

    def _want_thorough(self) -> None:
        """Ask for the thorough answer once values rest; the newest wins."""
        with self._news:
            self._number += 1
            asked = Asked(
                self._number,
                decoded(self._bytes, str(self.path)),
                str(self.path),
                str(self.path.parent),
                self.values,
            )
            if self._waiting is not None:
                self._waiting.cancel()
            self._waiting = threading.Timer(IDLE, self._thorough.ask, [asked])
            self._waiting.daemon = True
            self._waiting.start()

    def _hear(self, answered: Answered) -> None:
        if answered.number != self._number:
            return
        if answered.saying:
            self._tell("saying", body({"saying": answered.saying}))
        elif answered.wrong:
            self._tell("saying", body({"wrong": answered.wrong}))
        else:
            self._tell("thorough", body(json.loads(answered.data) | {"thorough": True}, answered.shapes))

    def _tell(self, kind: str, told: bytes) -> None:
        with self._news:
            self._count += 1
            if kind == "file":
                self._told.clear()
            self._told[kind] = (self._count, told)
            self._news.notify_all()

    def _after(self, seen: int) -> bytes | None:
        newer = [one for one in self._told.values() if one[0] > seen]
        if not newer:
            return None
        count, told = min(newer, key=lambda one: one[0])
        return struct.pack("<I", count) + told

    def _watch(self) -> None:
        while not self._ends.wait(EVERY):
            now = signature(self.path, self.document)
            if now != self._signature:
                self._changed(now)

    def _changed(self, now: Signature) -> None:
        """The file, or one it needs, was saved: show it as it is now, or say what is wrong with it."""
        with self._busy:
            try:
                data = self.path.read_bytes()
                document = read_document(decoded(data, str(self.path)), str(self.path))
                others = self._others(now) != self._others(self._signature)
                answers = self._answers.at(document, anew=others)
                quick = answers.of({})
            except (Mistakes, ValueMistake) as wrong:
                return self._tell("broken", body({"wrong": said(wrong)}))
            except OSError as why:
                words = f"{self.path.name} cannot be read: {why.strerror or why}"
                return self._tell("broken", body({"wrong": words}))
            finally:
                self._signature = now
            self._bytes, self.document, self._answers = data, document, answers
            self.values, self.quick = {}, quick
            told = self._body(quick, set())
        self._tell("file", told)
        self._want_thorough()

    def _others(self, of: Signature) -> Signature:
        """A signature without the scene's own file."""
        return {path: about for path, about in of.items() if path != self.path}


def body(data: Mapping[str, Any], shapes: bytes = b"", values: bytes = b"") -> bytes:
    """An answer: the lengths of data and shapes, then data (JSON), shapes and values (deflated)."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode()
    return struct.pack("<II", len(text), len(shapes)) + text + shapes + values
