"""A flat panel as a region of its plane, and what of another part lies on it or sticks out over its edge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fitcheck.parts.solids import Kind, Piece, Solid
from fitcheck.sheets.around import THICKEST, Sheet
from fitcheck.sheets.bending import Profile, profile
from fitcheck.sheets.cutouts import edges_of_none
from fitcheck.sheets.sections import axes_of, distances, inside, section
from fitcheck.world.frames import Frame
from fitcheck.world.world import Part

# A part's footprint is looked at so far above the panel's face, mm: above facets and paint, below any
# rounding of edges.
ABOVE = 0.1
# Outside by less is rounding, mm.
OUT = 1e-6
# Places along a prism at which its outline is looked at: one that no hole cuts shows it whole.
LOOKED = 7


@dataclass(frozen=True, eq=False)
class Panel:
    """A flat solid.

    Args:
        part, solid: whose it is.
        at: (3,) its middle, in the frame of the part.
        normal: (3,) unit, `axes` (2, 3) of its plane.
        thickness: mm.
        outline: (n, 2, 2) its outer edges, before holes and cut-outs.
    """

    part: Part
    solid: str
    at: np.ndarray
    normal: np.ndarray
    axes: np.ndarray
    thickness: float
    outline: np.ndarray


def panel(part: Part, solid: Solid, own: Sequence[Sheet] = ()) -> Panel | None:
    """A solid as a panel, or None where it is not one flat sheet.

    Args:
        own: its sheets with their cut-outs, which are no edges of the panel.
    """
    if len(solid.pieces) != 1 or solid.pieces[0].kind == Kind.CYLINDER:
        return None
    piece = solid.pieces[0]
    thin = int(piece.half.argmin())
    thickness = 2 * float(piece.half[thin])
    if thickness > THICKEST:
        return None
    normal = piece.rotation[:, thin]
    axes = axes_of(normal)
    whole = Solid(solid.name, (solid.blank,)) if solid.blank is not None else solid
    outline = section([whole], piece.centre, normal, axes)
    for sheet in own if solid.blank is None else ():
        places = (
            np.array([sheet.place(corner) for cut in sheet.cuts for corner in cut.core]) - piece.centre
        ) @ axes.T
        cores = np.split(places, np.cumsum([len(cut.core) for cut in sheet.cuts])[:-1])
        moved = [replace(cut, core=core) for cut, core in zip(sheet.cuts, cores, strict=True)]
        outline = edges_of_none(outline, moved)
    return Panel(part, solid.name, piece.centre, normal, axes, thickness, outline)


def footprint(on: Panel, other: Part, solids: Sequence[Solid]) -> np.ndarray:
    """(n, 2, 2) outline, in the panel's plane, of what another part has just above the panel's face."""
    there = on.part.pose.inverse() @ other.pose
    middle = np.mean([there.point(piece.centre) for solid in solids for piece in solid.pieces], axis=0)
    side = 1.0 if (middle - on.at) @ on.normal > 0 else -1.0
    height = on.at + side * on.normal * (on.thickness / 2 + ABOVE)
    moved = [Solid(solid.name, tuple(_moved(piece, there) for piece in solid.pieces)) for solid in solids]
    return section(moved, height, on.normal, on.axes)


def _moved(piece: Piece, there: Frame) -> Piece:
    return Piece(
        piece.kind, piece.half, there.rotation @ piece.rotation, there.point(piece.centre), piece.mesh
    )


def overhang(on: Panel, print_: np.ndarray) -> tuple[float, np.ndarray]:
    """How far a footprint sticks out over the panel's edge, mm, and where: (2, 3) in the world.

    Exact for panels without inward corners: there the farthest place is a corner of the footprint.
    """
    corners = print_.reshape(-1, 2)
    out = corners[~inside(on.outline, corners)]
    height = on.part.pose.point(on.at)
    if not len(out):
        return 0.0, np.array([height, height])
    off = distances(out, on.outline)
    at = int(off.min(axis=1).argmax())
    edge = on.outline[int(off[at].argmin())]
    along = edge[1] - edge[0]
    share = float(np.clip((out[at] - edge[0]) @ along / max(float(along @ along), 1e-12), 0.0, 1.0))
    ends = np.array([edge[0] + share * along, out[at]]) @ on.axes + on.at
    far = float(off[at].min())
    return (far if far > OUT else 0.0), on.part.pose.point(ends)


def width_on(on: Panel, print_: np.ndarray) -> float:
    """Width of a footprint on the panel: the shorter side of what its bounds and the panel's share, mm."""
    mine, theirs = print_.reshape(-1, 2), on.outline.reshape(-1, 2)
    low = np.maximum(mine.min(axis=0), theirs.min(axis=0))
    high = np.minimum(mine.max(axis=0), theirs.max(axis=0))
    return float(np.maximum(high - low, 0.0).min())


def folded(solid: Solid) -> tuple[Profile, float] | None:
    """A solid as a folded sheet: its profile and its width along the bends, mm; None where it is none.

    Looked for across each axis of its piece, where holes leave the outline whole.
    """
    if len(solid.pieces) != 1 or solid.pieces[0].mesh is None:
        return None
    piece = solid.pieces[0]
    for k in range(3):
        along = piece.rotation[:, k]
        axes = axes_of(along)
        for share in np.linspace(-0.98, 0.98, LOOKED):
            outline = chained(section([solid], piece.centre + share * piece.half[k] * along, along, axes))
            found = None if outline is None else profile(outline)
            if found is not None:
                return found, 2 * float(piece.half[k])
    return None


def chained(segments: np.ndarray) -> np.ndarray | None:
    """(n, 2) corners of the one closed outline that segments make; None where they make several, or none."""
    if len(segments) < 3:
        return None
    left = list(range(1, len(segments)))
    corners, end = [segments[0, 0]], segments[0, 1]
    while left:
        starts = segments[left, 0]
        nearest = int(np.linalg.norm(starts - end, axis=1).argmin())
        if np.linalg.norm(starts[nearest] - end) > 1e-6:
            return None
        corners.append(segments[left[nearest], 0])
        end = segments[left.pop(nearest), 1]
    return np.array(corners) if np.linalg.norm(end - corners[0]) <= 1e-6 else None
