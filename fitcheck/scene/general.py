"""General tolerances: how far a length or an angle may be off that is written without one.

ISO 2768-1:1989, table 1 (linear dimensions but for broken edges), by class: f fine, m medium, c coarse,
v very coarse. The figures were taken from public pages that print the table, not from the
standard itself: f, m, v from three; c above 6 mm from two, below from one (another has the 0.15 and 0.2
of the withdrawn DIN 7168 there).

Table 3 (angles), by the length of the shorter leg: from memory; no public page was held against it.
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

# Upper ends of the ranges of the shorter leg, mm; the last has none.
LEG_UP_TO = (10.0, 50.0, 120.0, 400.0)
# Plus and minus, minutes of arc. From memory.
MINUTES: dict[str, tuple[int, ...]] = {
    "f": (60, 30, 20, 10, 5),
    "m": (60, 30, 20, 10, 5),
    "c": (90, 60, 30, 15, 10),
    "v": (180, 120, 60, 30, 20),
}
# Angles that only say which side something faces, degrees, and what rounding leaves of one.
QUARTER, ON_IT = 90.0, 1e-9


def plus_minus_angle(grade: str, degrees: float, leg: float) -> float | None:
    """How far an angle of that class may be off either way, degrees; None for a quarter turn.

    A quarter turn chooses a face; how square that is made is not a matter of this table.

    Args:
        leg: the shorter of the two, mm.
    """
    off = abs(degrees - QUARTER * round(degrees / QUARTER))
    if off < ON_IT:
        return None
    return MINUTES[grade][bisect_left(LEG_UP_TO, leg)] / 60


def plus_minus(grade: str, nominal: float) -> float | None:
    """How far a length of that class may be off either way, mm; None where the table has no figure."""
    size = abs(nominal)
    if size < LEAST or size > UP_TO[-1]:
        return None
    return PLUS_MINUS[grade][bisect_left(UP_TO, size)]


@dataclass(frozen=True)
class General:
    """Which lengths and angles of a scene take which class.

    Lengths of parts that the scene writes as plain figures with `with`, and its parameters that are plain
    figures with a unit of length: what a workshop would hold the drawing's general tolerance on. Not
    what models take by default, nor what is calculated, nor where parts are placed: that is measured
    at the machine, not drawn.

    Angles that turn a part in its placement (`turn`, `turns`, `lean`) and are a plain figure, or the name of
    a parameter that is one: somebody made that angle, with a jig or by a drawing, and each part so turned is
    off by itself. Its legs are the part and what it stands on or is joined to, each as long as its longest
    side across the axis of the turn; of a part placed in the room, the part alone. A quarter turn takes none.

    Args:
        grade: f, m, c or v.
        of: names of parts (`drive*` for several) whose lengths alone take it; empty for all, and parameters.
    """

    grade: str
    of: tuple[str, ...] = ()

    def holds(self, section: str, name: str) -> bool:
        """Whether it holds for what is written of a part (`parts`) or for a parameter (`parameters`)."""
        if not self.of:
            return True
        return section == "parts" and any(
            name.startswith(said[:-1]) if said.endswith("*") else name == said.partition("[")[0]
            for said in self.of
        )
