"""Templates of flat sheets and of blocks: which face, which way up, what is on it, what to mind."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from fitcheck.checks.edges_asked import EdgesRule
from fitcheck.parts.features import Hole, Opening
from fitcheck.parts.solids import Extrusion, Solid
from fitcheck.sheets.around import sheets
from fitcheck.sheets.nearest import Factors, nearness
from fitcheck.templates import cautions
from fitcheck.templates.drawing import Drawing, Spot
from fitcheck.templates.facing import Seen, outward, seen, side_of
from fitcheck.templates.flat import Laid, Leaf, datum, laid, owned
from fitcheck.templates.purposes import Purposes
from fitcheck.world.world import Part, World

ROUNDING = 1e-6
# How a distance that is missed is said, by its kind (`sheets.nearest`).
MISSED = {
    "edge": "from its middle to {to}", "pitch": "from its middle to that of {to}",
    "rim": "from {to}", "web": "from {to}",
}  # fmt: skip


def sheet_drawing(world: World, part: Part, solid: Solid, extruded: Extrusion, known: Purposes) -> Drawing:
    """The template of a flat sheet."""
    thickness = float(np.linalg.norm(extruded.along))
    corners = part.pose.point(extruded.corners)
    way = part.pose.direction(extruded.along / thickness)
    middle = corners.mean(axis=0) + way * thickness / 2
    normal, outside = outward(world, part, middle, way, _entered(part, solid.name))
    face = corners + way * thickness if float(normal @ way) > 0 else corners
    view = seen(part, normal, outside, face[0], solid.name, _edges(corners))
    on = laid(Leaf(part, solid.name, view, face, thickness, normal), known)
    warnings = [*cautions.large_holes(on.spots, thickness), *cautions.blind(on.spots)]
    warnings += _notches(on) + list(_near(world, part, solid.name, on.spots))
    return drawing_of(part, solid, view, on, thickness, warnings)


def block_drawings(
    world: World, part: Part, solid: Solid, extruded: Extrusion, known: Purposes
) -> Iterator[Drawing]:
    """The templates of a block: its outline, and each side that has holes of its own."""
    length = float(np.linalg.norm(extruded.along))
    corners = part.pose.point(extruded.corners)
    way = part.pose.direction(extruded.along / length)
    normal, outside = outward(world, part, corners.mean(axis=0), way, _entered(part, solid.name))
    face = corners + way * length if float(normal @ way) > 0 else corners
    view = seen(part, normal, outside, face[0], solid.name, _edges(corners))
    plan = laid(Leaf(part, solid.name, view, face, length, normal), known)
    if plan.spots or len(plan.loops[0].corners) != 4:
        yield drawing_of(part, solid, view, plan, length, list(cautions.blind(plan.spots)), kind="block")
    for k in range(len(corners)):
        a, b = corners[k], corners[(k + 1) % len(corners)]
        out = np.cross(b - a, way)
        out = out / np.linalg.norm(out)
        if _turns_clockwise(corners, way):
            out = -out
        side = np.array([a, b, b + way * length, a + way * length])
        view = seen(part, out, False, a, solid.name, _edges(side))
        on = laid(Leaf(part, solid.name, view, side, length, out, through=False), known)
        if on.spots:
            yield drawing_of(part, solid, view, on, length, list(cautions.blind(on.spots)), kind="side")


def drawing_of(
    part: Part, solid: Solid, view: Seen, on: Laid, thickness: float, warnings: Sequence[str],
    kind: str = "sheet", edges: tuple[str, str, str, str] | None = None, more: Sequence[str] = (),
) -> Drawing:  # fmt: skip
    """A drawing from what lies on the page; the cautions follow from what it is made of.

    Args:
        edges: names of the page's edges in place of the view's.
        more: cautions besides.
    """
    glass = solid.transparent or solid.role == "glass"
    said = [*cautions.SCALE, cautions.GLASS if glass else cautions.WORK, cautions.COOLANT, *more]
    own = f"{part.name}.{solid.name}"
    # Several drawings of one solid are told apart by the side that they show.
    name = own if kind in ("sheet", "block", "blank") else f"{own} {side_of(view.normal)[0]}"
    return Drawing(
        name, (own,), round(thickness, 6), solid.role, view.face, view.upwards,
        datum(edges or view.edges, on.loops, on.size), on.size, on.loops, on.spots, on.merged, on.inner,
        warnings=tuple(warnings), cautions=tuple(said), kind=kind,
    )  # fmt: skip


def _entered(part: Part, solid: str) -> list[np.ndarray]:
    """The axes, in the world, of all holes and cut-outs of a solid."""
    both: list[Hole | Opening] = [*part.shape.holes.values(), *part.shape.openings.values()]
    return [part.pose.direction(one.axis) for one in both if owned(one, solid)]


def _edges(corners: np.ndarray) -> np.ndarray:
    """(n, 3) the edges of an outline."""
    return np.asarray(np.roll(corners, -1, axis=0) - corners)


def _turns_clockwise(corners: np.ndarray, way: np.ndarray) -> bool:
    """Whether an outline goes clockwise seen from the end that `way` points to."""
    middle = corners.mean(axis=0)
    nxt = np.roll(corners, -1, axis=0)
    return float((np.cross(corners - middle, nxt - middle) @ way).sum()) < 0


def _notches(on: Laid) -> list[str]:
    numbers = ", ".join(str(spot.number) for spot in on.spots if spot.number in on.merged)
    if not numbers:
        return []
    return [f"{numbers}: open into the edge or into each other; drawn as one outline."]


def _near(world: World, part: Part, solid: str, spots: Sequence[Spot]) -> Iterator[str]:
    """Holes and cut-outs nearer to edges and to each other than the handbooks want."""
    factors = Factors()
    if "edges" in world.rules:
        rule = EdgesRule.model_validate(world.rules["edges"])
        factors = Factors(rule.edge, rule.pitch, rule.web, rule.bend, rule.bend_cutout)
    numbers = {spot.hole.removeprefix(f"{part.name}."): spot.number for spot in spots}
    for sheet in sheets(world, part):
        if sheet.solid != solid:
            continue
        for near in nearness(sheet, factors, None):
            if near.measured < near.wanted - ROUNDING and near.cut.name in numbers:
                to = f"number {numbers[near.other]}" if near.other in numbers else "an edge"
                said = MISSED[near.kind].format(to=to)
                far = f"{numbers[near.cut.name]}: {near.measured:.1f} mm {said}"
                yield f"{far}; {near.wanted:.1f} mm are wanted."
