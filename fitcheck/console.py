"""What every command says and how it ends: output, refusals, exit codes."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from typing import NoReturn, TypeVar

import typer

T = TypeVar("T")

# Exit codes besides those of the verdict: a wrong call or file, a crash, a key that stops the program, a
# reader that went away.
WRONG, CRASH, INTERRUPTED, PIPE = 2, 70, 130, 141


def reading(work: Callable[[], T]) -> T:
    """Do work that reads files; their mistakes end the program with exit code 2."""
    from fitcheck.outputs.text import mistakes_text
    from fitcheck.scene.mistakes import Mistakes

    try:
        return work()
    except Mistakes as wrong:
        refuse(mistakes_text(wrong, pointing=sys.stderr.isatty()))


def refuse(message: str, code: int = WRONG) -> NoReturn:
    """Say why not, and end."""
    tell(message + "\n")
    raise typer.Exit(code)


def say(text: str) -> None:
    """Write to standard output; a reader that went away ends us with 141, never with 1."""
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise SystemExit(PIPE) from None


def tell(text: str) -> None:
    """Write to standard error."""
    sys.stderr.write(text)
    sys.stderr.flush()


def colour() -> bool:
    """Whether what is said may have colours."""
    return sys.stdout.isatty() and "NO_COLOR" not in os.environ


def announce_compilation() -> None:
    """The very first run compiles the geometry kernels: say what the wait is for."""
    from fitcheck.world.kernels import is_compiled

    if not is_compiled():
        tell("compiling the geometry kernels; this happens once and takes up to a minute …\n")
