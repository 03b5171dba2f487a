"""Names of files that are safe in every folder, whatever a part or view is called."""

from __future__ import annotations

import re
from collections.abc import Iterable

# Names that one family of systems keeps for devices.
RESERVED = {"con", "prn", "aux", "nul", *(f"{port}{k}" for port in ("com", "lpt") for k in range(1, 10))}
LONGEST = 80


def file_names(names: Iterable[str]) -> list[str]:
    """A file's name without ending for each name, no two alike even where case does not count.

    >>> file_names(["reservoir_clamp[1].jaw", "../case", "../case", "con"])
    ['reservoir_clamp_1.jaw', 'case', 'case-2', 'part-con']
    """
    taken: set[str] = set()
    found = []
    for name in names:
        plain = _plain(name)
        own, k = plain, 1
        while own.casefold() in taken:
            k += 1
            own = f"{plain}-{k}"
        taken.add(own.casefold())
        found.append(own)
    return found


def _plain(name: str) -> str:
    """Letters, figures, dots, dashes and underscores of a name; neither hidden nor a way out of a folder."""
    plain = re.sub(r"\[(\w+)\]", r"_\1", name, flags=re.ASCII)
    plain = re.sub(r"[^A-Za-z0-9._-]+", "-", plain)
    plain = re.sub(r"\.{2,}", ".", plain)[:LONGEST].strip(".-_")
    # A device's name counts with any ending.
    return f"part-{plain}" if plain.split(".")[0].casefold() in RESERVED else plain or "unnamed"
