"""Extruded outlines with cut-outs, and hollow cylinders, as closed meshes.

The only door to manifold3d among the parts. Round edges become polygons on the safe side:
a cut-out's corners lie on its true circle and a hollow cylinder's outer wall goes round its
own, so the material is never smaller than the real one and no clearance is flattered.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import manifold3d
import numpy as np

from fitcheck.parts.pieces import NOTHING, frozen, mesh_piece
from fitcheck.parts.polygon import STRAIGHT, CutMistake, Cutout, checked_outline, circle, cutout_polygon
from fitcheck.parts.solids import Kind, Piece
from fitcheck.scene.mistakes import ValueMistake

# Cut-outs nearer to an edge or to each other than this have no web between them, mm.
NEXT_TO = 0.01


@dataclass(frozen=True, eq=False)
class Bore:
    """A cut-out put in space, for one that does not run along the outline's own axis.

    `axis` points out of the material, `up` is the direction of the first extent, `depth`
    how far in it goes from `at` (None: right through everything, both ways).
    """

    cutout: Cutout
    at: np.ndarray
    axis: np.ndarray
    up: np.ndarray
    depth: float | None = None


def extruded(
    outline: np.ndarray, axis: int, low: float, high: float, cutouts: Sequence[Cutout] = ()
) -> tuple[Piece, float]:
    """A prism between two heights, with cut-outs right through it.

    Args:
        outline: (n, 2) corners in either sense, mm, in the two axes other than `axis` in the
            order x, y, z.
        axis: 0, 1 or 2: what it is extruded along.
        low: where it starts along that axis, mm.
        high: where it ends.
        cutouts: in the outline's plane; they may overlap, and run over the edge.

    Returns:
        A box if it is one, else a closed mesh; and how far its facets lie from the true surface, mm.

    Raises:
        ValueMistake: an outline that crosses itself or holds no area, no thickness.
        CutMistake: a cut-out that is outside or leaves nothing.
    """
    corners = checked_outline(outline)
    if high - low < NOTHING:
        raise ValueMistake(f"goes from {low:g} to {high:g}: no thickness", "let the second be larger")
    box = _box_of(corners, axis, low, high)
    if box is not None and not cutouts:
        return box, 0.0
    section = _section(corners)
    error = 0.0
    blades = []
    for cutout in cutouts:
        blade, sagitta = cutout_polygon(cutout)
        cutter = _section(blade)
        if (section ^ cutter).area() < NOTHING:
            raise CutMistake(cutout.name, "lies outside the solid it cuts")
        blades.append(cutter)
        error = max(error, sagitta)
    if blades:
        section = section - manifold3d.CrossSection.batch_boolean(blades, manifold3d.OpType.Add)
        if section.area() < NOTHING:
            raise CutMistake(cutouts[-1].name, "leaves nothing of the solid it cuts")
    vertices, faces = _arrays(section.extrude(high - low))
    return mesh_piece(*_along(vertices, faces, axis, low), error), error


def hollow_cylinder(diameter: float, bore: float, length: float) -> tuple[Piece, float]:
    """A tube about its own z, middle at the origin: outer wall round the true one, bore inside its own.

    Raises:
        ValueMistake: a bore that leaves no wall, no length.
    """
    if not 0 < bore < diameter - NOTHING:
        raise ValueMistake(f"bore {bore:g} leaves no wall in diameter {diameter:g}", "")
    if length < NOTHING:
        raise ValueMistake("has no length", "")
    outer, outside = circle(diameter / 2, outward=True)
    inner, inside = circle(bore / 2)
    vertices, faces = _arrays((_section(outer) - _section(inner)).extrude(length))
    vertices = vertices - [0, 0, length / 2]
    return mesh_piece(vertices, faces, max(outside, inside)), max(outside, inside)


def bored(piece: Piece, bores: Sequence[Bore], error: float) -> tuple[Piece, float]:
    """A box or mesh with cut-outs in any direction, in the frame of the part.

    Raises:
        CutMistake: a cut-out that is outside, or leaves nothing.
    """
    vertices, faces = piece_triangles(piece)
    body = _manifold(vertices, faces)
    cutters = []
    reach = float(np.linalg.norm(np.ptp(vertices, axis=0))) + 1.0
    middle = (vertices.min(axis=0) + vertices.max(axis=0)) / 2
    for bore in bores:
        blade, sagitta = cutout_polygon(bore.cutout)
        # From just outside the material on the mouth's side to the depth, or through all of it.
        far = float(np.linalg.norm(bore.at - middle)) + reach
        deep = far if bore.depth is None else bore.depth
        cutter = _section(blade).extrude(far + deep).translate([0, 0, -deep])
        axis = np.asarray(bore.axis, float)
        rotation = np.stack([bore.up, np.cross(axis, bore.up), axis], axis=1)
        cutter = cutter.transform(np.column_stack([rotation, bore.at]))
        # Asked of the whole body, so that a hole inside a wider one is no mistake.
        if (body ^ cutter).volume() < NOTHING:
            raise CutMistake(bore.cutout.name, "lies outside the solid it cuts")
        cutters.append(cutter)
        error = max(error, sagitta)
    body = body - manifold3d.Manifold.batch_boolean(cutters, manifold3d.OpType.Add)
    if body.volume() < NOTHING:
        raise CutMistake(bores[-1].cutout.name, "leaves nothing of the solid it cuts")
    return mesh_piece(*_arrays(body), error), error


@dataclass(frozen=True, eq=False)
class Cutter:
    """A cut-out as a prism in space.

    Args:
        polygon: (n, 2) corners counter-clockwise, mm.
        at: (3,) where the plane of the polygon lies; `rotation` (3, 3), its z out of the material.
        depth: how far in it goes from there, mm; None for right through, both ways.
    """

    polygon: np.ndarray
    at: np.ndarray
    rotation: np.ndarray
    depth: float | None = None

    @property
    def is_straight(self) -> bool:
        """Whether it goes right through along z."""
        return self.depth is None and abs(float(self.rotation[2, 2])) > 1 - NOTHING**2

    @property
    def flat(self) -> np.ndarray:
        """(n, 2) corners seen along z, counter-clockwise."""
        seen = (self.polygon @ self.rotation[:, :2].T + self.at)[:, :2]
        return np.asarray(seen if self.rotation[2, 2] > 0 else seen[::-1])


def offset_prism(
    outline: np.ndarray, low: float, high: float, by: float, cutters: Sequence[Cutter]
) -> tuple[np.ndarray, np.ndarray] | None:
    """A prism along z whose outline (n, 2) is moved out by so many mm (in, below 0), with cut-outs.

    Corners stay sharp, or are cut off no nearer than that: it holds every point within `by` of the
    outline, or none within `-by` of what lies outside.

    Returns:
        Vertices (n, 3), mm, and outward faces (m, 3); None if nothing is left.
    """
    ahead = np.roll(outline, -1, axis=0)
    turns = float((outline[:, 0] * ahead[:, 1] - outline[:, 1] * ahead[:, 0]).sum())
    section = _section(outline if turns > 0 else outline[::-1]).offset(by, manifold3d.JoinType.Miter)
    straight = [cutter for cutter in cutters if cutter.is_straight]
    if straight:
        blades = [_section(cutter.flat) for cutter in straight]
        section = section - manifold3d.CrossSection.batch_boolean(blades, manifold3d.OpType.Add)
    if high - low < NOTHING or section.area() < NOTHING:
        return None
    body = section.extrude(high - low).translate([0, 0, low])
    aslant = [cutter for cutter in cutters if not cutter.is_straight]
    if aslant:
        around = np.array(body.bounding_box()).reshape(2, 3)
        reach, middle = float(np.linalg.norm(around[1] - around[0])) + 1.0, around.mean(axis=0)
        bodies = [_blade(cutter, float(np.linalg.norm(cutter.at - middle)) + reach) for cutter in aslant]
        body = body - manifold3d.Manifold.batch_boolean(bodies, manifold3d.OpType.Add)
    return None if body.volume() < NOTHING else _arrays(body)


def _blade(cutter: Cutter, far: float) -> manifold3d.Manifold:
    """What a cut-out takes away, beginning so far outside."""
    deep = far if cutter.depth is None else cutter.depth
    body = _section(cutter.polygon).extrude(far + deep).translate([0, 0, -deep])
    return body.transform(np.column_stack([cutter.rotation, cutter.at]))


def piece_triangles(piece: Piece) -> tuple[np.ndarray, np.ndarray]:
    """Vertices (n, 3) in the part's frame and faces (m, 3), outward, of a box or mesh piece."""
    if piece.mesh is not None:
        return piece.mesh.vertices @ piece.rotation.T + piece.centre, piece.mesh.faces
    vertices, faces = _arrays(manifold3d.Manifold.cube((1.0, 1.0, 1.0), True))
    return (2 * vertices * piece.half) @ piece.rotation.T + piece.centre, faces


def _section(corners: np.ndarray) -> manifold3d.CrossSection:
    return manifold3d.CrossSection([np.ascontiguousarray(corners, dtype=np.float64)])


def _manifold(vertices: np.ndarray, faces: np.ndarray) -> manifold3d.Manifold:
    mesh = manifold3d.Mesh64(
        np.ascontiguousarray(vertices, dtype=np.float64), np.ascontiguousarray(faces, dtype=np.uint64)
    )
    return manifold3d.Manifold(mesh)


def _arrays(body: manifold3d.Manifold) -> tuple[np.ndarray, np.ndarray]:
    assert body.status() == manifold3d.Error.NoError, body.status()
    mesh = body.to_mesh64()
    return np.array(mesh.vert_properties[:, :3]), np.array(mesh.tri_verts, dtype=np.int32)


def _along(vertices: np.ndarray, faces: np.ndarray, axis: int, low: float) -> tuple[np.ndarray, np.ndarray]:
    """Triangles extruded along their z from 0, laid along a part's axis from `low`."""
    # The plane's axes come in the order x, y, z; only along y is that order left-handed.
    order = {0: [2, 0, 1], 1: [0, 2, 1], 2: [0, 1, 2]}[axis]
    laid = (vertices + np.array([0.0, 0.0, low]))[:, order]
    return laid, faces[:, ::-1] if axis == 1 else faces


def _box_of(corners: np.ndarray, axis: int, low: float, high: float) -> Piece | None:
    """The box that a four-cornered right-angled outline makes, else None."""
    if len(corners) != 4:
        return None
    edges = np.roll(corners, -1, axis=0) - corners
    dots = np.sum(edges * np.roll(edges, -1, axis=0), axis=1)
    square = np.sum(edges**2, axis=1)
    if np.any(dots**2 > STRAIGHT * square * np.roll(square, -1)):
        return None
    length, width = np.sqrt(square[:2])
    plane = [i for i in range(3) if i != axis]
    rotation = np.zeros((3, 3))
    rotation[plane, 0] = edges[0] / length
    rotation[axis, 2] = 1.0
    rotation[:, 1] = np.cross(rotation[:, 2], rotation[:, 0])
    centre = np.empty(3)
    centre[plane] = corners.mean(axis=0)
    centre[axis] = (low + high) / 2
    half = np.array([length, width, high - low]) / 2
    if np.all(np.isin(rotation, (-1.0, 0.0, 1.0))):
        # Square to the part's axes: name the half sizes by them.
        half, rotation = np.abs(rotation) @ half, np.eye(3)
    return Piece(Kind.BOX, frozen(half), frozen(rotation), frozen(centre))


def is_solid(vertices: np.ndarray, faces: np.ndarray) -> bool:
    """Whether closed triangles bound a solid for manifold3d, with a volume above 0."""
    body = _manifold(vertices, faces)
    return bool(body.status() == manifold3d.Error.NoError and body.volume() > 0)


def coarser(
    vertices: np.ndarray, faces: np.ndarray, tolerance: float
) -> tuple[np.ndarray, np.ndarray] | None:
    """Closed triangles with corners left out, surfaces moved by less than `tolerance`; None if that fails."""
    body = _manifold(vertices, faces).simplify(tolerance)
    return _arrays(body) if body.status() == manifold3d.Error.NoError and not body.is_empty() else None


def united(vertices: np.ndarray, faces: np.ndarray) -> tuple[np.ndarray, np.ndarray] | None:
    """The union of the shells of closed triangles, or None where no two of them overlap."""
    body = _manifold(vertices, faces)
    if body.status() != manifold3d.Error.NoError:
        return None
    shells = body.decompose()
    whole = manifold3d.Manifold.batch_boolean(shells, manifold3d.OpType.Add)
    before, after = sum(shell.volume() for shell in shells), whole.volume()
    if whole.status() != manifold3d.Error.NoError or before - after <= NOTHING * before:
        return None
    return _arrays(whole)


def left_of(outline: np.ndarray, cutouts: Sequence[Cutout]) -> tuple[list[int], list[np.ndarray]]:
    """What cut-outs make of an outline's own edge, where they run over it or into each other.

    Args:
        outline: (n, 2) corners counter-clockwise, mm.
        cutouts: in its plane.

    Returns:
        The numbers of the cut-outs that touch the edge or another one, and the outlines that are left
        when only these are cut: (m, 2) each, counter-clockwise outside, clockwise where they make a hole.
    """
    whole = _section(outline)
    blades = [_section(cutout_polygon(cutout)[0]) for cutout in cutouts]
    # Grown a little: what only touches leaves no web, either.
    grown = [blade.offset(NEXT_TO, manifold3d.JoinType.Miter) for blade in blades]
    bounds = np.array([blade.bounds() for blade in grown]).reshape(-1, 4)
    merged = []
    for k, blade in enumerate(grown):
        near = np.all(bounds[:, :2] <= bounds[k, 2:], axis=1) & np.all(bounds[:, 2:] >= bounds[k, :2], axis=1)
        others = [j for j in np.flatnonzero(near).tolist() if j != k]
        out = (blade - whole).area() > NOTHING
        if out or any((blade ^ blades[j]).area() > NOTHING for j in others):
            merged.append(k)
    section = whole
    if merged:
        section = whole - manifold3d.CrossSection.batch_boolean(
            [blades[k] for k in merged], manifold3d.OpType.Add
        )
    return merged, [np.array(polygon) for polygon in section.to_polygons()]
