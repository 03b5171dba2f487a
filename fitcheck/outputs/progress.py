"""What is being done now, in one line of a terminal; nothing of it stays."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TextIO

# Back to the start of the line, and clear it.
WIPE = "\r\x1b[K"


@contextmanager
def rewritten_line(stream: TextIO, silent: bool = False) -> Iterator[Callable[[str], None]]:
    """A function that writes a text in the place of the one before; the last one is wiped at the end.

    It writes nothing where the stream is no terminal, or one that cannot clear a line.
    """
    if silent or not _can_wipe(stream):
        yield lambda text: None
        return

    written = False

    def write(text: str) -> None:
        nonlocal written
        written = True
        # A line that wraps could not be wiped.
        wide = os.get_terminal_size(stream.fileno()).columns or 80
        stream.write(WIPE + text[: wide - 1])
        stream.flush()

    try:
        yield write
    finally:
        if written:
            stream.write(WIPE)
            stream.flush()


def instead(stream: TextIO) -> str:
    """What is written before a line that is to stay, in the place of one that may stand there now."""
    return WIPE if _can_wipe(stream) else ""


def _can_wipe(stream: TextIO) -> bool:
    return stream.isatty() and os.environ.get("TERM") != "dumb"
