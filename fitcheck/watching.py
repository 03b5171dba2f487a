"""A scene asked anew whenever it is saved, with what changed since the last time it could be read."""

from __future__ import annotations

import sys
import time
from pathlib import Path

from fitcheck import check_world, load
from fitcheck.console import announce_compilation, colour, given_values, refuse, say, tell
from fitcheck.layouts.compare import compare
from fitcheck.outputs.changes import changes_text
from fitcheck.outputs.progress import rewritten_line
from fitcheck.outputs.text import mistakes_text, report_text
from fitcheck.report import Report
from fitcheck.runs.lay import laid
from fitcheck.scene.files import read_file
from fitcheck.scene.mistakes import Mistakes, ValueMistake
from fitcheck.scene.saved import EVERY, Signature, signature
from fitcheck.scene.text import Document, read_document


class Saved(Exception):
    """Something was saved while a check was under way: its answer would be about what is gone."""


class Saves:
    """What is saved of the files that a scene is made of."""

    def __init__(self, scene: Path) -> None:
        self.scene = scene
        self._read: tuple[object, Document | None] = (None, None)
        self._seen = self._now()

    def any(self) -> bool:
        """Whether something was saved since it was last waited for."""
        return self._now() != self._seen

    def wait(self) -> None:
        """Come back when something was saved, and nothing more is being written."""
        while not self.any():
            time.sleep(EVERY)
        while (now := self._now()) != self._seen:
            self._seen = now
            time.sleep(EVERY)

    def _now(self) -> Signature:
        own = signature(self.scene, None)
        if own != self._read[0]:
            self._read = own, _document(self.scene)
        return signature(self.scene, self._read[1])


def _document(scene: Path) -> Document | None:
    """The scene as it is written; None where it cannot be read: that is told by whoever reads it in full."""
    try:
        return read_document(read_file(scene), str(scene))
    except Mistakes:
        return None


def run_watch(scene: Path, given: list[str] | None) -> None:
    """Ask a scene, and again after each save, until a key stops it. Nothing is written to any file."""
    values = given_values(given)
    if not scene.is_file():
        refuse(f"{scene}: there is no such file to watch")
    announce_compilation()
    saves, last = Saves(scene), None
    while True:
        try:
            last = _asked(scene, values, last, saves)
        except Saved:
            saves.wait()
            continue
        tell(f"watching {scene}; Ctrl-C stops it\n")
        saves.wait()


def _asked(scene: Path, values: dict[str, str], last: Report | None, saves: Saves) -> Report | None:
    """The report of a scene that can be read; else that of before, and what is wrong with it."""
    with rewritten_line(sys.stderr) as write:

        def begin(what: str) -> None:
            if saves.any():
                raise Saved
            write(what)

        try:
            world = laid(load(scene, values), lambda number, run: begin(f"laying runs: {number}, {run}"))
            report = check_world(world, False, lambda name: begin(f"asking: {name}"), fast=True)
        except Mistakes as wrong:
            said = mistakes_text(wrong, pointing=sys.stderr.isatty())
        except ValueMistake as wrong:
            said = f"{scene}: {wrong.problem}" + (f"; {wrong.mend}" if wrong.mend else "")
        else:
            said = ""
    if said:
        tell(said.rstrip("\n") + "\n")
        if last is not None:
            tell(f"what could be read last: {last.verdict}\n")
        return last
    if last is None:
        say(report_text(report, colour=colour()))
    else:
        say(changes_text(last, report, compare(last, report)))
    return report
