"""General tolerances: how far a length may be off that is written without one.

ISO 2768-1:1989, table 1 (linear dimensions but for broken edges), by class: f fine, m medium, c coarse,
v very coarse. The figures were taken from public pages that print the table, not from the
standard itself: f, m, v from three; c above 6 mm from two, below from one (another has the 0.15 and 0.2
of the withdrawn DIN 7168 there).
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass

# Upper ends of the ranges, mm: each is over the one before and up to its own; the first begins at 0.5.
LEAST = 0.5
UP_TO = (3.0, 6.0, 30.0, 120.0, 400.0, 1000.0, 2000.0, 4000.0)
# Plus and minus, mm; None where the standard has no figure: the tolerance has to be written.
PLUS_MINUS: dict[str, tuple[float | None, ...]] = {
    "f": (0.05, 0.05, 0.1, 0.15, 0.2, 0.3, 0.5, None),
    "m": (0.1, 0.1, 0.2, 0.3, 0.5, 0.8, 1.2, 2.0),
    "c": (0.2, 0.3, 0.5, 0.8, 1.2, 2.0, 3.0, 4.0),
    "v": (None, 0.5, 1.0, 1.5, 2.5, 4.0, 6.0, 8.0),
}


def plus_minus(grade: str, nominal: float) -> float | None:
    """How far a length of that class may be off either way, mm; None where the table has no figure."""
    size = abs(nominal)
    if size < LEAST or size > UP_TO[-1]:
        return None
    return PLUS_MINUS[grade][bisect_left(UP_TO, size)]


@dataclass(frozen=True)
class General:
    """Which lengths of a scene take which class.

    Lengths of parts that the scene writes as plain figures with `with`, and its parameters that are plain
    figures with a unit of length: what a workshop would hold the drawing's general tolerance on. Not
    what models take by default, nor what is calculated, nor where parts are placed: that is measured
    at the machine, not drawn.

    Args:
        grade: f, m, c or v.
        of: names of parts (`drive*` for several) whose lengths alone take it; empty for all, and parameters.
    """

    grade: str
    of: tuple[str, ...] = ()

    def holds(self, section: str, name: str) -> bool:
        """Whether it holds for lengths of a part (`parts`) or for a parameter (`parameters`)."""
        if not self.of:
            return True
        return section == "parts" and any(
            name.startswith(said[:-1]) if said.endswith("*") else name == said.partition("[")[0]
            for said in self.of
        )
