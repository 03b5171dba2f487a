"""All templates of a world: every sheet, panel, mount and bracket that somebody has to make."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from fitcheck.checks.edges_asked import EdgesRule, FoldedRule
from fitcheck.checks.names import Chosen, choose
from fitcheck.checks.support import SupportRule
from fitcheck.parts.solids import Extrusion, Solid
from fitcheck.sheets.around import THICKEST
from fitcheck.templates import cautions
from fitcheck.templates.drawing import Drawing
from fitcheck.templates.flat import box_outline
from fitcheck.templates.legs import legs
from fitcheck.templates.measured import other_values, with_measurements
from fitcheck.templates.purposes import Purposes, purposes
from fitcheck.templates.sections import blank_drawing, leg_drawings
from fitcheck.templates.sheet import block_drawings, sheet_drawing
from fitcheck.world.world import Part, World

# A thin box of one of these roles is a panel, too.
PANELS = ("sheet", "glass", "metal", "frame")
# A part with a solid of such a name takes mains voltage.
MAINS = "mains"
ANY_INDEX = re.compile(r"\[\d+\]")


@dataclass(frozen=True)
class Stock:
    """A piece of the cut list: what it is cut from, and how large.

    Args:
        name: of the part and its solid.
        what: sheet, folded sheet, section, block.
        made_of: the role in the model.
        size: outer sizes, mm: of a sheet thickness, length, width; of a section its outer sizes and length.
        parts: all that are made so.
    """

    name: str
    what: str
    made_of: str
    size: tuple[float, ...]
    parts: tuple[str, ...]


@dataclass(frozen=True)
class Templates:
    """All drawings of a world, and what is cut to a length and needs none."""

    drawings: tuple[Drawing, ...]
    stock: tuple[Stock, ...] = field(default=())


def templates(world: World, pattern: str | None = None) -> Templates:
    """Draw all that is made, like parts once; or what a pattern names.

    Parts that take a plug, a tube or coolant are bought: they are drawn only where they are named. Drawings
    on which something moves with an uncertain length say so.

    Args:
        pattern: a name as in rules: `case`, `case.midplate`, `bracket*`.

    Raises:
        ValueMistake: nothing has that name.
    """
    chosen = None if pattern is None else choose(world, pattern)
    drawings, stock = _all(world, chosen)
    if drawings and world.uncertain:
        at = {name: _all(other, chosen)[0] for name, other in other_values(world).items()}
        drawings = with_measurements(world, drawings, at)
    return Templates(tuple(_alike(drawings)), tuple(_alike_stock(stock)))


def _all(world: World, chosen: Chosen | None) -> tuple[list[Drawing], list[Stock]]:
    """Every part's own drawings and stock."""
    known = purposes(world)
    drawings: list[Drawing] = []
    stock: list[Stock] = []
    for part in world.parts:
        if chosen is None and _bought(part):
            continue
        for solid in part.shape.solids.values():
            if chosen is not None and not chosen.holds(part.name, solid.name):
                continue
            extruded = _extrusion(solid)
            if extruded is None:
                continue
            made = list(_drawn(world, part, solid, extruded, known))
            drawings += made
            piece = _stock(part, solid, extruded, _folded(world, part), made)
            stock.append(replace(piece, size=tuple(round(value, 3) for value in piece.size)))
    return [_cautioned(world, drawing) for drawing in drawings], stock


def _cautioned(world: World, drawing: Drawing) -> Drawing:
    """With the cautions that follow from what a panel's holes are for: wall anchors, a mains inlet."""
    rule = SupportRule.model_validate(world.rules["support"]) if "support" in world.rules else None
    anchors = rule.anchors if rule is not None else ()
    said = []
    if any(s.hole in anchors or "anchor" in s.hole.rpartition(".")[2] for s in drawing.spots):
        said.append(cautions.WALL)
    mains = {p.name for p in world.parts if any(name.startswith(MAINS) for name in p.shape.solids)}
    if any(s.what_for.endswith(f"to {name}") for s in drawing.spots for name in mains):
        said.append(cautions.MAINS)
    return replace(drawing, cautions=(*drawing.cautions, *said))


def _bought(part: Part) -> bool:
    shape = part.shape
    return bool(shape.ports or shape.wet or shape.electric)


def _extrusion(solid: Solid) -> Extrusion | None:
    """What a solid was extruded from; a thin box of sheet counts."""
    if solid.extruded is not None or solid.role not in PANELS:
        return solid.extruded
    box = box_outline(solid)
    if box is None or float(np.linalg.norm(box[1])) > THICKEST:
        return None
    return Extrusion(box[0], box[1], flat=True)


def _drawn(world: World, part: Part, solid: Solid, extruded: Extrusion, known: Purposes) -> Iterator[Drawing]:
    thickness = float(np.linalg.norm(extruded.along))
    if extruded.flat or thickness <= THICKEST:
        yield sheet_drawing(world, part, solid, extruded, known)
        return
    section = legs(extruded)
    if section is None:
        yield from block_drawings(world, part, solid, extruded, known)
        return
    rule = _folded(world, part)
    if rule is None:
        yield from leg_drawings(world, part, solid, extruded, section, known)
    else:
        yield blank_drawing(world, part, solid, extruded, section, rule, known)


def _folded(world: World, part: Part) -> FoldedRule | None:
    """How a part is folded, where the scene says so."""
    if "edges" not in world.rules:
        return None
    rule = EdgesRule.model_validate(world.rules["edges"])
    return next((one for one in rule.folded if part.name in choose(world, one.of).solids), None)


def _stock(
    part: Part, solid: Solid, extruded: Extrusion, rule: FoldedRule | None, made: Sequence[Drawing]
) -> Stock:
    name = f"{part.name}.{solid.name}"
    long = float(np.linalg.norm(extruded.along))
    across = _across(extruded)
    sheet = extruded.flat or long <= THICKEST
    if sheet:
        return Stock(name, "sheet", solid.role, (long, max(across), min(across)), (name,))
    section = legs(extruded)
    if section is not None and rule is not None:
        size = made[0].size
        return Stock(name, "folded sheet", solid.role, (section[1], max(size), min(size)), (name,))
    what = "block" if section is None else "section"
    wall = () if section is None else (section[1],)
    return Stock(name, what, solid.role, (*across, *wall, long), (name,))


def _across(extruded: Extrusion) -> tuple[float, float]:
    """Outer sizes of an outline, along its longest edge and across it, mm."""
    edges = np.roll(extruded.corners, -1, axis=0) - extruded.corners
    first = edges[int(np.linalg.norm(edges, axis=1).argmax())]
    first = first / np.linalg.norm(first)
    along = extruded.along / np.linalg.norm(extruded.along)
    sizes = np.ptp(extruded.corners @ np.array([first, np.cross(along, first)]).T, axis=0)
    return float(sizes[0]), float(sizes[1])


def _alike(drawings: Sequence[Drawing]) -> Iterator[Drawing]:
    """Drawings that say the same of several parts as one; mirror images never say the same."""
    groups: dict[Drawing, list[Drawing]] = {}
    for one in drawings:
        groups.setdefault(_bare(one), []).append(one)
    for group in groups.values():
        yield replace(group[0], parts=tuple(name for one in group for name in one.parts))


def _bare(drawing: Drawing) -> Drawing:
    """A drawing without the names that differ between like parts."""
    spots = tuple(
        replace(spot, hole=_plain(spot.hole), what_for=_plain(spot.what_for), note=_plain(spot.note))
        for spot in drawing.spots
    )
    warnings = tuple(map(_plain, drawing.warnings))
    return replace(drawing, name=_plain(drawing.name), parts=(), spots=spots, warnings=warnings)


def _plain(name: str) -> str:
    """A text without the indices of parts."""
    return ANY_INDEX.sub("", name)


def _alike_stock(stock: Sequence[Stock]) -> Iterator[Stock]:
    groups: dict[Stock, list[Stock]] = {}
    for one in stock:
        groups.setdefault(replace(one, name=_plain(one.name), parts=()), []).append(one)
    for group in groups.values():
        yield replace(group[0], parts=tuple(name for one in group for name in one.parts))
