"""What is to be minded in the workshop: about one template, and about all.

All of it is common practice of the trade, without a source.
"""

from __future__ import annotations

from collections.abc import Iterator

from fitcheck.templates.drawing import Bend, Spot

# A twist drill catches in sheet thinner than this where the hole is larger than the next; above the last a
# step drill ends and a hole saw begins. All mm, common practice, no source.
THIN_SHEET = 3.0
LARGE_HOLE = 10.0
STEP_DRILL_ENDS = 30.0

CHECK_SCALE = "Before you mark anything, measure both 100 mm marks on every page."
CHECK_PARTS = "Measure your own parts and hold them to the template before you cut or drill."
WORK = "Clamp the work, centre-punch every hole, deburr all edges, wear eye protection."
COOLANT = "Leak-test with the supply unplugged from the mains; keep coolant joints away from mains parts."
GLASS = "Glass breaks: gloves and eye protection. Toughened glass cannot be cut or drilled: have it made."

WALL = "The anchors carry the whole machine: what a wall bears is for a builder to say."
MAINS = (
    "Mains comes in through this panel: it is bonded to the protective earth, and its wiring is work for "
    "those who are licensed; local codes come first."
)
FOLDED = "The blank is worked out: bend a strip of the same sheet first, and correct for what it shows."
SECTION = "Mark the legs from their outer faces; both templates share the end that they are measured from."

SCALE = (CHECK_SCALE, CHECK_PARTS)


def large_holes(spots: tuple[Spot, ...], thickness: float) -> Iterator[str]:
    """Round holes that a twist drill does not make in this sheet."""
    if thickness >= THIN_SHEET:
        return
    for low, high, tool in (
        (LARGE_HOLE, STEP_DRILL_ENDS, "use a step drill, on a backing of wood: a twist drill catches"),
        (STEP_DRILL_ENDS, float("inf"), "saw it (hole saw, jigsaw) or have it cut: no drill makes it"),
    ):
        some = [s for s in spots if s.cut and s.diameter is not None and low < s.diameter <= high]
        if some:
            numbers = ", ".join(str(s.number) for s in some)
            are = "is" if len(some) == 1 else "are"
            yield f"{_holes(len(some))} {numbers} {are} large for sheet of {thickness:g} mm: {tool}."


def blind(spots: tuple[Spot, ...]) -> Iterator[str]:
    """Holes that must not go through."""
    some = [s for s in spots if s.depth is not None]
    if some:
        each = ", ".join(f"{s.number} ({s.depth:g} mm)" for s in some)
        yield f"{_holes(len(some))} {each}: not through; set a stop on the drill."


def in_bends(spots: tuple[Spot, ...], bends: tuple[Bend, ...]) -> Iterator[str]:
    """Holes of a blank that reach into a bend."""
    for bend in bends:
        (x, y), (u, v) = bend.start, bend.end
        upright = abs(u - x) < abs(v - y)
        middle, half = (x if upright else y), bend.takes / 2
        some = [
            s for s in spots
            if s.shape.bounds[0 if upright else 1] < middle + half - 1e-6
            and s.shape.bounds[2 if upright else 3] > middle - half + 1e-6
        ]  # fmt: skip
        if some:
            numbers = ", ".join(str(s.number) for s in some)
            yield f"{_holes(len(some))} {numbers} reach into a bend: drill after bending, or move them."


def _holes(many: int) -> str:
    return "Hole" if many == 1 else "Holes"
