"""Templates of angles and channels: flat blanks of folded ones, one for each drilled leg of stock ones."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from fitcheck.checks.edges_asked import FoldedRule
from fitcheck.parts.features import Hole, Opening
from fitcheck.parts.solids import Extrusion, Solid
from fitcheck.sheets.bending import FLANGE, LEAST_RADIUS
from fitcheck.templates import cautions
from fitcheck.templates.drawing import Bend, Circle, Drawing, Path, Place, Spot
from fitcheck.templates.facing import Seen, outward, seen
from fitcheck.templates.flat import Laid, Leaf, laid, owned
from fitcheck.templates.legs import Blank, Leg, unfolded
from fitcheck.templates.purposes import Purposes
from fitcheck.templates.sheet import drawing_of
from fitcheck.world.world import Part, World

Section = tuple[tuple[Leg, ...], float]


def leg_drawings(
    world: World, part: Part, solid: Solid, extruded: Extrusion, section: Section, known: Purposes
) -> Iterator[Drawing]:
    """The legs of a section bought by the metre that have holes, each seen from outside the corner."""
    own, thickness = section
    for k, leg in enumerate(own):
        side = _outer_side(own, k)
        view, face = _leg_face(world, part, solid, extruded, leg, side)
        leaf = Leaf(part, solid.name, view, face, thickness, view.normal)
        on = laid(leaf, known)
        if not on.spots:
            continue
        warnings = [*cautions.large_holes(on.spots, thickness), *cautions.blind(on.spots)]
        edges = _heels(part, view, leg, k > 0, k < len(own) - 1)
        yield drawing_of(part, solid, view, on, thickness, warnings, "leg", edges, (cautions.SECTION,))


def blank_drawing(
    world: World, part: Part, solid: Solid, extruded: Extrusion, section: Section, rule: FoldedRule,
    known: Purposes,
) -> Drawing:  # fmt: skip
    """The flat blank of a folded part: its longest leg as it stands, the others turned out into its plane."""
    own, thickness = section
    flat = unfolded(own, thickness, rule.radius, rule.k)
    base = int(np.argmax([round(float(np.linalg.norm(leg.middle[1] - leg.middle[0])), 6) for leg in own]))
    view, _ = _leg_face(world, part, solid, extruded, own[base], 0)
    on_one = float(part.pose.direction(own[base].normal) @ view.normal) > 0
    lay = _Lay(part, view, own[base], extruded, flat.length)
    spots = _blank_spots(part, solid.name, section, flat, known, view, lay)
    bends = tuple(
        # Seen from the side `one`, a section that turns to the left folds away from the reader.
        Bend(
            lay.place(at, 0.0),
            lay.place(at, lay.wide),
            round(abs(turn), 6),
            rule.radius,
            (turn > 0) != on_one,
            takes,
        )
        for at, turn, takes in flat.bends
    )
    ends = ((0.0, 0.0), (flat.length, 0.0), (flat.length, lay.wide), (0.0, lay.wide))
    outline = Path(tuple(lay.place(*end) for end in ends))
    outline = outline if outline.area > 0 else Path(outline.corners[::-1])
    size = (outline.bounds[2], outline.bounds[3])
    on = Laid(size, (outline,), spots, frozenset(), ())
    warnings = [*cautions.large_holes(spots, thickness), *cautions.in_bends(spots, bends)]
    warnings += list(_flanges(own, thickness, rule))
    source = "DIN 6935" if rule.k is None else f"K {rule.k:g} as given"
    warnings.append(
        f"Blank for bends of {rule.radius:g} mm inside, by {source}; bend lines: middle of each bend."
    )
    made = drawing_of(part, solid, view, on, thickness, warnings, "blank", more=(cautions.FOLDED,))
    return replace(made, bends=bends, face=f"{made.face}, laid flat")


def _flanges(own: tuple[Leg, ...], thickness: float, rule: FoldedRule) -> Iterator[str]:
    """Flanges that a brake cannot hold, and a radius that the metal does not bear (`sheets.bending`)."""
    due = FLANGE * thickness + rule.radius
    ends = (face for leg in (own[0], own[-1]) for face in (leg.one, leg.other))
    # Outside legs, as the brake holds them: the longer face of each.
    outside = [float(np.linalg.norm(face[1] - face[0])) for face in ends]
    short = min(max(outside[:2]), max(outside[2:]))
    if short < due - 1e-6:
        yield f"A flange of {short:g} mm is short for a brake, {due:g} mm are wanted (shop rule)."
    least = LEAST_RADIUS[rule.material] * thickness if rule.material else 0.0
    if rule.radius < least - 1e-6:
        yield f"{rule.material} of {thickness:g} mm wants {least:g} mm of radius inside (shop rule)."


class _Lay:
    """From a blank's own two directions to the page."""

    def __init__(self, part: Part, view: Seen, base: Leg, extruded: Extrusion, length: float) -> None:
        self.wide = float(np.linalg.norm(extruded.along))
        self.along = view.flat(part.pose.direction(base.way))
        self.across = view.flat(part.pose.direction(extruded.along / self.wide))
        ends = [x * self.along + y * self.across for x in (0.0, length) for y in (0.0, self.wide)]
        self.low = np.min(ends, axis=0)

    def place(self, along: float, across: float) -> Place:
        """A place on the page, so far along the blank and across it."""
        x, y = along * self.along + across * self.across - self.low
        return round(float(x), 6) + 0.0, round(float(y), 6) + 0.0


def _blank_spots(
    part: Part, solid: str, section: Section, flat: Blank, known: Purposes, view: Seen, lay: _Lay
) -> tuple[Spot, ...]:
    """All holes of a folded part where they lie on its blank: each leg's own page, moved and turned."""
    own, thickness = section
    extruded = part.shape.solids[solid].extruded
    assert extruded is not None
    found: list[Spot] = []
    base_out = _side_seen(part, view, own)
    for k, leg in enumerate(own):
        # The leg's face on the side that is seen, with its own page laid along the blank's directions.
        out = part.pose.direction(leg.normal) * base_out
        way, across = part.pose.direction(leg.way), part.pose.direction(extruded.along) / lay.wide
        page = Seen(out, way, across, "", "", ("", "", "", ""))
        face = leg.one if base_out > 0 else leg.other
        corners = np.array([face[0], face[1], face[1] + extruded.along, face[0] + extruded.along])
        leaf = Leaf(part, solid, page, part.pose.point(corners), thickness, out)
        start = float(page.flat(part.pose.point(leg.middle[0]))[0])
        low = page.flat(leaf.outline).min(axis=0)
        for spot in laid(leaf, known).spots:
            found.append(_moved(spot, lay, flat.along(k, float(low[0]) - start)))
    found.sort(key=lambda s: (round(s.at[1], 3), round(s.at[0], 3)))
    return tuple(replace(spot, number=n) for n, spot in enumerate(found, 1))


def _moved(spot: Spot, lay: _Lay, start: float) -> Spot:
    """A spot of one leg on the blank, whose own page starts so far along it."""

    def place(x: float, y: float) -> Place:
        return lay.place(start + x, y)

    at = place(*spot.at)
    if isinstance(spot.shape, Circle):
        return replace(spot, at=at, shape=Circle(at, spot.shape.diameter))
    path = Path(tuple(place(*corner) for corner in spot.shape.corners), spot.shape.round_after)
    # A leg that is turned over goes round the other way; a slot's first and third edge stay its round ends.
    return replace(spot, at=at, shape=path if path.area > 0 else Path(path.corners[::-1], path.round_after))


def _side_seen(part: Part, view: Seen, own: tuple[Leg, ...]) -> int:
    """1 where the reader sees the faces `one` of a section, -1 for the others."""
    along = [float(part.pose.direction(leg.normal) @ view.normal) for leg in own]
    return 1 if max(along) > -min(along) else -1


def _outer_side(own: tuple[Leg, ...], k: int) -> int:
    """Which face of a leg lies outside its corners: 1 `one`, -1 `other`, 0 where they differ."""
    turns = [own[j].turn for j in (k - 1, k) if 0 <= j < len(own) - 1]
    return int(np.sign(sum(np.sign(turns))))


def _leg_face(
    world: World, part: Part, solid: Solid, extruded: Extrusion, leg: Leg, side: int
) -> tuple[Seen, np.ndarray]:
    """How a leg lies on the page, and the corners (4, 3) in the world of the face that is seen."""
    normal = part.pose.direction(leg.normal) * (side or 1)
    outside = False
    if side == 0:
        both: list[Hole | Opening] = [*part.shape.holes.values(), *part.shape.openings.values()]
        axes = [part.pose.direction(one.axis) for one in both if owned(one, solid.name)]
        normal, outside = outward(world, part, part.pose.point(leg.middle.mean(axis=0)), normal, axes)
    face = leg.one if float(part.pose.direction(leg.normal) @ normal) > 0 else leg.other
    corners = part.pose.point(
        np.array([face[0], face[1], face[1] + extruded.along, face[0] + extruded.along])
    )
    edges = np.roll(corners, -1, axis=0) - corners
    return seen(part, normal, outside, corners[0], solid.name, edges), corners


def _heels(part: Part, view: Seen, leg: Leg, starts: bool, ends: bool) -> tuple[str, str, str, str]:
    """The page's edges by name, those that lie at a corner of the section told as such."""
    way = part.pose.direction(leg.way)
    names = list(view.edges)
    for at, out in enumerate((-view.right, -view.up, view.right, view.up)):
        along = float(out @ way)
        if (starts and along < -0.9) or (ends and along > 0.9):
            names[at] = f"{names[at]} corner"
    return names[0], names[1], names[2], names[3]
