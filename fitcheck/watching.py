"""A scene asked anew whenever it is saved, with what changed since the last time it could be read."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from pathlib import Path

import yaml
from watchfiles import Change, watch

from fitcheck import check_world, load
from fitcheck.console import announce_compilation, colour, given_values, refuse, say, tell
from fitcheck.layouts.compare import compare
from fitcheck.outputs.changes import changes_text
from fitcheck.outputs.progress import rewritten_line
from fitcheck.outputs.text import mistakes_text, report_text
from fitcheck.report import Report
from fitcheck.runs.lay import laid
from fitcheck.scene.mistakes import Mistakes, ValueMistake

# What a scene is read from: files with other endings may be written beside it without being heard.
ENDINGS = (".yaml", ".yml", ".stl", ".obj", ".ply", ".3mf", ".glb", ".gltf", ".bin", ".step", ".stp")
# Saves so near to each other are one, ms: an editor writes a file in several steps.
TOGETHER = 150
# How long a look for saves takes, ms, and how often it is looked while nothing else is done, s.
LOOK, BETWEEN = 5, 0.05
# So many folders are watched at most.
FOLDERS = 200


class Saved(Exception):
    """Something was saved while a check was under way: its answer would be about what is gone."""


class Saves:
    """What is saved in the folders that a scene is read from.

    The folders are watched, not the files: many editors write another file and rename it.
    """

    def __init__(self, scene: Path) -> None:
        self.scene = scene
        self.folders: tuple[Path, ...] = ()
        self._seen: Iterator[set[tuple[Change, str]]] = iter(())
        self._waiting = False
        self.follow()

    def follow(self) -> None:
        """Watch the folders that the scene names now."""
        folders = tuple(sorted(_folders(self.scene)))
        if folders != self.folders:
            self.folders = folders
            self._seen = watch(
                *folders, recursive=False, watch_filter=lambda _, path: path.lower().endswith(ENDINGS),
                debounce=TOGETHER, rust_timeout=LOOK, yield_on_timeout=True, raise_interrupt=True,
            )  # fmt: skip
            # It begins to listen when it is first asked.
            self._waiting = self._waiting or bool(next(self._seen))

    def any(self) -> bool:
        """Whether something was saved since it was last waited for."""
        self._waiting = self._waiting or bool(next(self._seen))
        return self._waiting

    def wait(self) -> None:
        """Come back when something was saved."""
        while not self.any():
            time.sleep(BETWEEN)
        self._waiting = False


def _folders(scene: Path) -> set[Path]:
    """The scene's own folder, and those of its models with what lies in them."""
    found = {scene.parent.resolve()}
    try:
        said = (yaml.safe_load(scene.read_text("utf-8")) or {}).get("model_folders") or []
        for name in said:
            models = scene.parent / str(name)
            if models.is_dir():
                found |= {models.resolve(), *(one.resolve() for one in models.rglob("*/"))}
    except (OSError, ValueError, AttributeError, TypeError, RecursionError, yaml.YAMLError):
        pass  # half written, or wrong: that is told by whoever reads it
    return set(sorted(found)[:FOLDERS])


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
        saves.follow()
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
