"""The file that results are written to as they come: one JSON object a line, the first says of what.

A line is whole or it is not there: what was torn off while it was written is cut off when the file
is opened again, and that layout is asked once more.
"""

from __future__ import annotations

import hashlib
import json
import os
from array import array
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Any, BinaryIO

import numpy as np

from fitcheck import __version__
from fitcheck.layouts.read import Layouts
from fitcheck.layouts.whole_file import whole_file
from fitcheck.scene.mistakes import Mark, Mistake, Mistakes
from fitcheck.scene.read import Model, scene_of
from fitcheck.scene.saved import is_mesh

# Raised when a key changes its meaning or goes; new keys do not raise it.
FORMAT = "fitcheck-layouts/1"


def digest(layouts: Layouts, models: dict[str, Model]) -> str:
    """A name of all that results rest on: both files, the models, mesh files beside them, the version."""
    found = hashlib.sha256(f"{FORMAT} {__version__}\n".encode())
    documents = [layouts.document, layouts.scene, *(models[name].document for name in sorted(models))]
    for document in documents:
        found.update("\n".join(document.lines).encode() + b"\0")
    folders = {layouts.scene_path.parent.resolve()}
    for file in sorted(path for folder in folders for path in folder.rglob("*") if is_mesh(path)):
        found.update(f"{file.name} {file.stat().st_size} {file.stat().st_mtime_ns}\0".encode())
    return found.hexdigest()[:16]


class Journal:
    """A file of results, opened to go on where it stopped.

    Args:
        path: of the file; made if it is not there.
        head: what it is about; that of a file that is there must be the same.
        anew: throw away what is there.

    Raises:
        Mistakes: the file is about something else, or is no such file.
        OSError: it cannot be read or written.
    """

    def __init__(self, path: Path, head: dict[str, Any], anew: bool = False) -> None:
        self.path = path
        self.head = {"format": FORMAT, **head}
        self.done: set[int] = set()
        # The number of each layout and where its line begins, in the order in which they came.
        self._lines = array("q")
        self._file: BinaryIO = self._opened(anew)

    def _opened(self, anew: bool) -> BinaryIO:
        if anew or not self.path.exists() or self.path.stat().st_size == 0:
            self._file = self.path.open("wb")
            self._put(self.head)
            return self._file
        file: BinaryIO = self.path.open("r+b")
        end = 0
        for at, line in enumerate(file):
            record = _whole(line)
            if record is None:
                break
            if at == 0:
                self._same(record)
            else:
                self.done.add(record["layout"])
                self._lines.extend((record["layout"], end))
            end += len(line)
        if end == 0:
            file.close()
            raise self._refused("holds no results of layouts")
        file.seek(end)
        file.truncate()
        return file

    def _same(self, head: dict[str, Any]) -> None:
        if head.get("format") != FORMAT:
            raise self._refused("holds no results of layouts")
        if head != self.head:
            raise self._refused(
                "holds results of other layouts: a file, a model, an option or the program has changed since"
            )

    def _refused(self, said: str) -> Mistakes:
        mend = "give --anew to begin again, or another --out"
        return Mistakes([Mistake(Mark(str(self.path), 1, 1), "", said, mend)])

    def write(self, record: dict[str, Any]) -> None:
        """Add a line, and hand it to the system at once."""
        at = self._file.tell()
        self._put(record)
        self._lines.extend((record["layout"], at))

    def _put(self, record: dict[str, Any]) -> None:
        self._file.write(json.dumps(record, ensure_ascii=False, separators=(",", ":")).encode() + b"\n")
        self._file.flush()

    def settle(self) -> None:
        """Put the lines of the closed file in the order of the layouts, whoever asked them, and how fast.

        Raises:
            OSError: there is no room for it; the file stays as it was, with every line.
        """
        lines = np.array(self._lines).reshape(-1, 2)
        if (np.diff(lines[:, 0]) > 0).all():
            return
        starts = lines[np.argsort(lines[:, 0]), 1]
        with self.path.open("rb") as came, whole_file(self.path) as file:
            file.write(came.readline())
            for start in starts.tolist():
                came.seek(start)
                file.write(came.readline())

    def __iter__(self) -> Iterator[dict[str, Any]]:
        """All results; in the order of the layouts once they are settled."""
        with self.path.open("rb") as file:
            next(file, None)
            for line in file:
                record = _whole(line)
                if record is not None:
                    yield record

    def __enter__(self) -> Journal:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, why: BaseException | None, trace: TracebackType | None
    ) -> None:
        if not self._file.closed:
            self._file.flush()
            os.fsync(self._file.fileno())
            self._file.close()


def _whole(line: bytes) -> dict[str, Any] | None:
    """The object of a line; None for one that was torn."""
    if not line.endswith(b"\n"):
        return None
    try:
        found = json.loads(line)
    except ValueError:
        return None
    return found if isinstance(found, dict) else None


def models_of(layouts: Layouts) -> dict[str, Model]:
    """The models of the scene as it is written.

    Raises:
        Mistakes: the scene has mistakes that no layout mends.
    """
    from fitcheck.checks import RULE_TYPES

    return scene_of(layouts.scene, layouts.scene_path.parent, {}, RULE_TYPES).models
