"""Who is told when the compiler is waited for: never where code is loaded that was kept on disk."""

from __future__ import annotations

from collections.abc import Callable

# Told whose kernels are compiled, "world" or "runs", each time before it begins.
Tell = Callable[[str], None]

_told: list[Tell] = []


def tell_of_waits(tell: Tell | None) -> None:
    """From now on tell this one, in the place of who was told before; None: nobody."""
    _told[:] = [] if tell is None else [tell]


def wait_begins(room: str) -> None:
    """Something of a room, "world" or "runs", is going to be compiled."""
    for tell in _told:
        tell(room)
