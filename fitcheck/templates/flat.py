"""One flat face on the page: its outline, and what of a part's holes and cut-outs is marked out on it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fitcheck.fasteners.bores import WIDEST_SLOT
from fitcheck.parts.features import Hole, Opening
from fitcheck.parts.outline import left_of
from fitcheck.parts.polygon import Cutout
from fitcheck.parts.solids import Kind, Solid
from fitcheck.templates.drawing import Circle, Datum, Path, Place, Shape, Spot
from fitcheck.templates.facing import SQUARE, Seen
from fitcheck.templates.purposes import Purposes, drilled_for, in_words
from fitcheck.templates.tapping import tap_drill
from fitcheck.world.world import Part

# A mouth lies on a face as exactly as cut-outs are drawn, mm.
ON_FACE = 0.05
# An edge at least this long, or this share of its side, is one to put a rule against, mm.
RULED, RULED_SHARE = 20.0, 0.5


@dataclass(frozen=True, eq=False)
class Leaf:
    """A flat face of a solid that is marked out.

    Args:
        part, solid: whose it is.
        view: how it lies on the page.
        outline: (n, 3) corners in the world, of either sense.
        thickness: of the material behind it, mm.
        normal: (3,) out of the face, in the world.
        through: its holes are cut out of the outline (a sheet), and do not only start there (a block).
    """

    part: Part
    solid: str
    view: Seen
    outline: np.ndarray
    thickness: float
    normal: np.ndarray
    through: bool = True

    @property
    def height(self) -> float:
        """Where the face lies along its normal, mm."""
        return float(self.outline[0] @ self.normal)


@dataclass(frozen=True)
class Laid:
    """A leaf on the page: its outlines and its table, from the datum."""

    size: tuple[float, float]
    loops: tuple[Path, ...]
    spots: tuple[Spot, ...]
    merged: frozenset[int]
    inner: tuple[Path, ...]


def owned(feature: Hole | Opening, solid: str) -> bool:
    """Is a hole cut into this solid, by its own name or that of the repeat it is of?"""
    return feature.cuts == solid or (feature.cuts != "" and solid.startswith(f"{feature.cuts}["))


def laid(leaf: Leaf, known: Purposes) -> Laid:
    """A leaf with all its holes on the page, numbered by kind and then from the datum on."""
    corners = _counter_clockwise(leaf.view.flat(leaf.outline))
    low, high = corners.min(axis=0), corners.max(axis=0)
    corners = corners - low
    found = sorted(_spots(leaf, known, low), key=lambda s: (_family_order(leaf.part, s), *_row(s)))
    spots = tuple(replace(spot, number=k) for k, spot in enumerate(found, 1))
    loops, inner, merged = _outlines(corners, spots)
    size = high - low
    return Laid((_exact(size[0]), _exact(size[1])), loops, spots, merged, inner)


def datum(edges: tuple[str, str, str, str], loops: Iterable[Path], size: tuple[float, float]) -> Datum:
    """What the page's edges are called, and at which of the two datum sides a straight edge lies."""
    squares = []
    for axis in (0, 1):
        straight = sum(
            abs(b[1 - axis] - a[1 - axis])
            for loop in loops
            for a, b in zip(loop.corners, loop.corners[1:] + loop.corners[:1], strict=True)
            if max(abs(a[axis]), abs(b[axis])) < ON_FACE
        )
        squares.append(straight >= min(RULED, RULED_SHARE * size[1 - axis]))
    left, bottom, right, top = edges
    return Datum(left, bottom, right, top, squares[0], squares[1])


def _spots(leaf: Leaf, known: Purposes, low: np.ndarray) -> Iterable[Spot]:
    shape = leaf.part.shape
    features: list[Hole | Opening] = [*shape.holes.values(), *shape.openings.values()]
    for feature in features:
        axis = leaf.part.pose.direction(feature.axis)
        along = float(axis @ leaf.normal)
        if abs(along) <= SQUARE:
            continue
        if not leaf.through and along < 0:
            continue  # a hole of a block is marked on the face that it is entered from
        at = leaf.part.pose.point(feature.at)
        if owned(feature, leaf.solid) or (not feature.cuts and isinstance(feature, Hole)):
            spot = _spot(leaf, feature, known, at, along > 0, low)
            if spot is not None:
                yield spot
    for lack in known.to_drill.get(leaf.part.name, ()):
        if (
            leaf.through
            and -leaf.thickness - ON_FACE <= float(lack.at @ leaf.normal) - leaf.height <= ON_FACE
        ):
            diameter, why = drilled_for(lack)
            place = _place(leaf, lack.at, low)
            if _within(leaf, lack.at):
                yield Spot(
                    0, place, Circle(place, diameter), "to drill", f"{diameter:g}", f"for {lack.bore.part}",
                    lack.bore.name, diameter, cut=False, note=f"not in the model; {why}",
                )  # fmt: skip


def _spot(
    leaf: Leaf, feature: Hole | Opening, known: Purposes, at: np.ndarray, facing: bool, low: np.ndarray
) -> Spot | None:
    """A hole or opening as a row of the table; None where it does not belong to this face."""
    off = float(at @ leaf.normal) - leaf.height
    place = _place(leaf, at, low)
    full = f"{leaf.part.name}.{feature.name}"
    what_for = known.told.get(full, in_words(feature.name))
    if isinstance(feature, Opening):
        if not (-leaf.thickness if leaf.through else 0) - ON_FACE <= off <= ON_FACE:
            return None
        shape, size = _opening(leaf, feature, place)
        screw = feature.shape == "slot" and feature.size[1] <= WIDEST_SLOT
        wide = feature.size[0] if isinstance(shape, Circle) else None
        return Spot(0, place, shape, "slot" if screw else "cut-out", size, what_for, full, wide)
    deep = feature.depth
    mouth_here = abs(off) <= ON_FACE if facing else abs(off + leaf.thickness) <= ON_FACE
    if not mouth_here:
        return _stand_off(leaf, feature, at, place, full)
    if not _within(leaf, at):
        return None
    through = deep is None or deep >= leaf.thickness - ON_FACE
    kind = "tapped hole" if feature.thread else "hole" if through else "blind hole"
    note = "" if through or facing else "from the other face"
    drill = tap_drill(feature.thread) if feature.thread else None
    if drill is not None and abs(drill - feature.diameter) > 0.1:
        note = f"drawn {feature.diameter:g}"
    return Spot(
        0, place, Circle(place, feature.diameter), kind, f"{feature.diameter:g}", what_for, full,
        feature.diameter, feature.thread, drill, None if through else deep,
        cut=through and leaf.through and owned(feature, leaf.solid), note=note,
    )  # fmt: skip


def _stand_off(leaf: Leaf, hole: Hole, at: np.ndarray, place: Place, full: str) -> Spot | None:
    """A post of the part that stands on this sheet, with a hole in it: where it goes, to be marked."""
    if not leaf.through:
        return None
    for solid in leaf.part.shape.solids.values():
        post = solid.pieces[0]
        if len(solid.pieces) != 1 or post.kind != Kind.CYLINDER:
            continue
        axis = leaf.part.pose.rotation @ post.rotation[:, 2]
        middle = leaf.part.pose.point(post.centre)
        aside = (at - middle) - float((at - middle) @ axis) * axis
        ends = [float((middle + s * post.half[2] * axis) @ leaf.normal) - leaf.height for s in (-1, 1)]
        on = min(min(abs(end), abs(end + leaf.thickness)) for end in ends) <= ON_FACE
        square = abs(float(axis @ leaf.normal)) > SQUARE
        if on and square and float(np.linalg.norm(aside)) < ON_FACE and _within(leaf, at):
            wide = 2 * float(post.half[0])
            below = max(ends) < -ON_FACE
            inside = f"its hole {hole.thread}" if hole.thread else f"its hole {hole.diameter:g}"
            return Spot(
                0, place, Circle(place, wide), "stand-off", f"{wide:g}",
                f"middle of {solid.name.replace('_', ' ')}", full, wide, cut=False,
                note=f"{inside}{'; on the other face' if below else ''}",
            )  # fmt: skip
    return None


def _opening(leaf: Leaf, gap: Opening, place: Place) -> tuple[Shape, str]:
    """The true shape of an opening on the page, and its size in words."""
    long, wide = gap.size
    if gap.shape == "round" or (gap.shape == "slot" and long - wide < 1e-6):
        return Circle(place, long), f"{long:g}"
    u = leaf.view.flat(leaf.part.pose.direction(gap.up))
    v = np.array([-u[1], u[0]])
    middle = np.array(place)
    reach = (long - wide) / 2 if gap.shape == "slot" else long / 2
    signs = ((1, -1), (1, 1), (-1, 1), (-1, -1))
    corners = tuple(_pair(middle + a * reach * u + b * wide / 2 * v) for a, b in signs)
    # Across the page first, as x is told before y.
    across, up = (long, wide) if abs(u[0]) >= abs(u[1]) else (wide, long)
    return Path(corners, frozenset((0, 2)) if gap.shape == "slot" else frozenset()), f"{across:g} × {up:g}"


def _outlines(
    corners: np.ndarray, spots: Sequence[Spot]
) -> tuple[tuple[Path, ...], tuple[Path, ...], frozenset[int]]:
    """Outer outlines, closed cut-outs that several spots make together, and which spots those are."""
    whole = Path(tuple(_pair(corner) for corner in corners))
    cuts = {spot.number: _cutout(spot) for spot in spots if spot.cut}
    merged, regions = left_of(corners, list(cuts.values()))
    if not merged:
        return (whole,), (), frozenset()
    numbers = list(cuts)
    paths = [Path(tuple(_pair(corner) for corner in region)) for region in regions]
    return (
        tuple(path for path in paths if path.area > 0),
        tuple(path for path in paths if path.area < 0),
        frozenset(numbers[k] for k in merged),
    )


def _cutout(spot: Spot) -> Cutout:
    if isinstance(spot.shape, Circle):
        return Cutout(str(spot.number), "round", spot.at, (spot.shape.diameter, spot.shape.diameter))
    a, b, c, _ = (np.array(corner) for corner in spot.shape.corners)
    wide, long = float(np.linalg.norm(b - a)), float(np.linalg.norm(c - b))
    way = (b - c) / long
    if spot.shape.round_after:
        return Cutout(str(spot.number), "slot", spot.at, (long + wide, wide), (float(way[0]), float(way[1])))
    return Cutout(str(spot.number), "rectangle", spot.at, (long, wide), (float(way[0]), float(way[1])))


def _within(leaf: Leaf, at: np.ndarray) -> bool:
    """Whether a place in the world, seen along the normal, lies within the leaf's outline."""
    corners = leaf.view.flat(leaf.outline)
    x, y = leaf.view.flat(at)
    a, b = corners, np.roll(corners, -1, axis=0)
    crosses = (a[:, 1] > y) != (b[:, 1] > y)
    with np.errstate(divide="ignore", invalid="ignore"):
        at_x = a[:, 0] + (y - a[:, 1]) * (b[:, 0] - a[:, 0]) / (b[:, 1] - a[:, 1])
    return bool(np.count_nonzero(crosses & (x < at_x)) % 2)


def _place(leaf: Leaf, at: np.ndarray, low: np.ndarray) -> Place:
    return _pair(leaf.view.flat(at) - low)


def _family_order(part: Part, spot: Spot) -> tuple[int, str]:
    """Holes first, then what stands on it, what is still to be drilled, and cut-outs last; by family."""
    kinds = ("hole", "tapped hole", "blind hole", "slot", "stand-off", "to drill", "cut-out")
    return kinds.index(spot.kind), in_words(spot.hole)


def _row(spot: Spot) -> tuple[float, float]:
    return round(spot.at[1], 3), round(spot.at[0], 3)


def _counter_clockwise(corners: np.ndarray) -> np.ndarray:
    nxt = np.roll(corners, -1, axis=0)
    area = float((corners[:, 0] * nxt[:, 1] - nxt[:, 0] * corners[:, 1]).sum())
    return corners if area > 0 else corners[::-1]


def _pair(place: np.ndarray) -> Place:
    return _exact(place[0]), _exact(place[1])


def _exact(value: float) -> float:
    """Rounded to a millionth of a mm, so that the same part gives the same bytes wherever it stands."""
    return round(float(value), 6) + 0.0


def box_outline(solid: Solid) -> tuple[np.ndarray, np.ndarray] | None:
    """A thin box as an extrusion: corners (4, 3) at its lower end, the way (3,) up, in the part's frame."""
    if len(solid.pieces) != 1 or solid.pieces[0].kind != Kind.BOX:
        return None
    piece = solid.pieces[0]
    thin = int(piece.half.argmin())
    u, v = (k for k in range(3) if k != thin)
    a, b, n = (piece.rotation[:, k] * piece.half[k] for k in (u, v, thin))
    corners = piece.centre - n + np.array([-a - b, a - b, a + b, b - a])
    return corners, 2 * n
