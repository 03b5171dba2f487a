"""One template as plain data: outlines, holes, bends, datum edges, what is said beside them.

Lengths in mm on the page: x to the right and y up from the datum, the lower left corner of the outline's
bounds. Outputs draw this and add nothing of their own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

Place = tuple[float, float]


@dataclass(frozen=True)
class Circle:
    """A true circle."""

    middle: Place
    diameter: float

    @property
    def area(self) -> float:
        """Its area, mm2."""
        return math.pi * self.diameter**2 / 4

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Least x and y, greatest x and y."""
        (x, y), r = self.middle, self.diameter / 2
        return x - r, y - r, x + r, y + r


@dataclass(frozen=True)
class Path:
    """A closed outline of straights and half circles.

    Args:
        corners: in order; the last is joined to the first.
        round_after: numbers of the corners from which a half circle, bulging to the right of the way, leads
            to the next: the two ends of a slot that is gone round counter-clockwise.
    """

    corners: tuple[Place, ...]
    round_after: frozenset[int] = frozenset()

    @property
    def area(self) -> float:
        """Its area, mm2; above 0 counter-clockwise."""
        pairs = list(zip(self.corners, self.corners[1:] + self.corners[:1], strict=True))
        flat = sum(a[0] * b[1] - b[0] * a[1] for a, b in pairs) / 2
        return flat + sum(math.pi * math.dist(*pairs[k]) ** 2 / 8 for k in self.round_after)

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Least x and y, greatest x and y."""
        xs, ys = [x for x, _ in self.corners], [y for _, y in self.corners]
        for k in self.round_after:
            a, b = self.corners[k], self.corners[(k + 1) % len(self.corners)]
            r = math.dist(a, b) / 2
            # The half circle reaches its full radius towards every side that it faces.
            for values, middle, faces in (
                (xs, (a[0] + b[0]) / 2, b[1] - a[1]),
                (ys, (a[1] + b[1]) / 2, a[0] - b[0]),
            ):
                if faces:
                    values.append(middle + math.copysign(r, faces))
        return min(xs), min(ys), max(xs), max(ys)


Shape = Circle | Path


@dataclass(frozen=True)
class Spot:
    """A hole, cut-out or mark: a row of the table.

    Args:
        number: as written beside it.
        at: its middle.
        shape: as cut or drilled; what is only marked has the circle that stands there.
        kind: hole, tapped hole, blind hole, slot, cut-out, stand-off, to drill.
        size: in words (`4.5`, `60 × 30`).
        what_for: in words.
        hole: full name of the hole or opening in the scene.
        diameter: of what is round.
        thread: tapped into it, or empty.
        tap_drill: mm; None where there is no thread, or its pitch is not known.
        depth: of a blind hole, from the face named in `note`.
        cut: it goes through: part of what is cut.
        note: what else is to be known.
    """

    number: int
    at: Place
    shape: Shape
    kind: str
    size: str
    what_for: str
    hole: str
    diameter: float | None = None
    thread: str = ""
    tap_drill: float | None = None
    depth: float | None = None
    cut: bool = True
    note: str = ""


@dataclass(frozen=True)
class Bend:
    """A bend of a folded part, on its flat blank: a line across it, in the middle of the bend.

    `up` is towards the reader. `takes` is how wide the bend is on the blank, between its tangents, mm.
    """

    start: Place
    end: Place
    angle: float
    radius: float
    up: bool
    takes: float


@dataclass(frozen=True)
class Datum:
    """The two edges that all places are measured from, and the other two, by what they are in the case.

    `square_x`, `square_y`: a straight edge of the part lies along that side, to put a rule against.
    """

    left: str
    bottom: str
    right: str
    top: str
    square_x: bool = True
    square_y: bool = True


@dataclass(frozen=True)
class Drawing:
    """A template.

    Args:
        name: of the part and its solid (`case.left_panel`).
        parts: all that are made by it, by name; mirror images are others.
        thickness: of the sheet, mm.
        made_of: sheet, glass, frame, metal …: the role in the model.
        face: which face is seen (`outside face, seen from the left`).
        up: what lies up on the page.
        datum: the edges.
        size: (wide, high) of the bounds.
        loops: outer outlines, counter-clockwise; holes that run into an edge or each other are cut out of
            them already.
        spots: the table.
        merged: numbers of spots that are part of `loops` (notches) or lie in other spots' cuts.
        inner: closed cut-outs that several spots make together.
        bends: of a blank.
        warnings: what is to be minded about this part.
        cautions: what is to be minded about all work of this kind.
    """

    name: str
    parts: tuple[str, ...]
    thickness: float
    made_of: str
    face: str
    up: str
    datum: Datum
    size: tuple[float, float]
    loops: tuple[Path, ...]
    spots: tuple[Spot, ...] = ()
    merged: frozenset[int] = frozenset()
    inner: tuple[Path, ...] = ()
    bends: tuple[Bend, ...] = ()
    warnings: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    kind: str = field(default="sheet")

    @property
    def cuts(self) -> tuple[Shape, ...]:
        """All closed outlines within the outer ones, each once."""
        return (*(s.shape for s in self.spots if s.cut and s.number not in self.merged), *self.inner)

    @property
    def area(self) -> float:
        """Material that is left, mm2."""
        return sum(loop.area for loop in self.loops) - sum(abs(cut.area) for cut in self.cuts)
