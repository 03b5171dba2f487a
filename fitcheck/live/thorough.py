"""All that takes longer, asked when nothing moves: tubes, cables, every check, fine colours.

In a process of its own, so that quick answers wait for nothing; it lays down what it is at when it hears of
newer values.
"""

from __future__ import annotations

import contextlib
import json
import multiprocessing
import os
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

# How much the process gives way to others, the one that answers at once among them.
POLITE = 10


@dataclass(frozen=True)
class Asked:
    """A question to the process: `number` tells it from earlier ones."""

    number: int
    text: str
    name: str
    folder: str
    values: Mapping[str, str]


@dataclass(frozen=True)
class Answered:
    """Its answer, or (while `data` is empty) what it is at; `wrong`: why there is none."""

    number: int
    saying: str = ""
    wrong: str = ""
    data: str = ""
    shapes: bytes = b""


class Superseded(Exception):
    """Newer values are waiting."""


class Thorough:
    """The process and the thread that hears it; `hear` is called in that thread."""

    def __init__(self, hear: Callable[[Answered], None]) -> None:
        self._hear = hear
        context = multiprocessing.get_context("spawn")
        self._ours, theirs = context.Pipe()
        self._process = context.Process(target=_work, args=(theirs,), daemon=True)
        self._process.start()
        theirs.close()
        threading.Thread(target=self._listen, daemon=True).start()

    def ask(self, asked: Asked) -> None:
        """Ask; what was asked before is laid down."""
        with contextlib.suppress(OSError):  # it was ended
            self._ours.send(asked)

    def end(self) -> None:
        """End the process."""
        self._process.terminate()

    def _listen(self) -> None:
        while True:
            try:
                answered = self._ours.recv()
            except (EOFError, OSError):
                return
            self._hear(answered)


def _work(pipe: Connection) -> None:
    """Answer questions until nobody asks any more; the quick answers go before."""
    if hasattr(os, "nice"):
        os.nice(POLITE)
    try:
        asked = pipe.recv()
        while True:
            while pipe.poll():
                asked = pipe.recv()
            try:
                pipe.send(_answer(asked, pipe))
            except Superseded:
                continue
            asked = pipe.recv()
    except (EOFError, KeyboardInterrupt, BrokenPipeError):
        return


def _answer(asked: Asked, pipe: Connection) -> Answered:
    """All about a scene with these values.

    Raises:
        Superseded: something newer was asked.
    """
    from fitcheck.live.said import said
    from fitcheck.scene.mistakes import Mistakes, ValueMistake

    def say(words: str) -> None:
        if pipe.poll():
            raise Superseded
        pipe.send(Answered(asked.number, saying=words))

    try:
        return Answered(asked.number, data=(found := _found(asked, say))[0], shapes=found[1])
    except (Mistakes, ValueMistake) as wrong:
        return Answered(asked.number, wrong=said(wrong))


def _found(asked: Asked, say: Callable[[str], None]) -> tuple[str, bytes]:
    from fitcheck.checks import RULE_TYPES
    from fitcheck.outputs.page.described import described
    from fitcheck.outputs.page.packed import packed
    from fitcheck.outputs.page.shapes import drawn_solids
    from fitcheck.outputs.pictures.bands import bands_of
    from fitcheck.report import check_world
    from fitcheck.runs.lay import laid
    from fitcheck.scene.read import scene_of
    from fitcheck.scene.text import read_document
    from fitcheck.world.forest import prepare
    from fitcheck.world.resolve import resolve

    document = read_document(asked.text, asked.name)
    world = resolve(scene_of(document, Path(asked.folder), asked.values, RULE_TYPES))
    prepare(world)
    world = laid(world, lambda number, run: say(f"laying runs: {number} of {len(world.wishes)}, {run}"))
    report = check_world(world, True, lambda check: say(f"asking: {check.replace('_', ' ')}"))
    say("drawing")
    bands = bands_of(world)
    solids = drawn_solids(world, bands)
    data: dict[str, Any] = described(world, report, solids, bands)
    return json.dumps(data, ensure_ascii=False, allow_nan=False), packed(solids, level=1)
