"""A file that is written whole or not at all: what was there before stays until all is written."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO


@contextmanager
def whole_file(path: Path) -> Iterator[BinaryIO]:
    """A file to write to, beside the one meant, which takes its place at the end.

    Where the work fails, or the disk is full, the file that was there is left as it was.

    Raises:
        OSError: it cannot be written.
    """
    # A link stays a link: what it leads to is written.
    meant = path.resolve()
    if meant.exists() and not meant.is_file():
        with meant.open("wb") as file:
            yield file
        return
    part = meant.with_name(f"{meant.name}.part")
    try:
        with part.open("wb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, meant)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
