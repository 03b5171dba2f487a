"""Solids that a mesh which changes its shape surely lies in, or surely fills, over parts of the ranges.

A sheet or prism is an outline carried on, less its cut-outs; a pipe is a rod, less its bore. Outlines, places
and sizes are linear in the measurements, directions constant (`doubts.py`; here besides those of
cut-outs). Over a part of the ranges no edge of the outline moves farther than its corners, and no edge of a
cut-out farther than its middle and half of its sizes together: so the outline moved out by that, less
cut-outs as much smaller, holds every shape that the mesh takes, whatever cut-outs do to each other. The
outline moved in, less larger cut-outs, lies in all of them. Both are taken about the middle of the mesh's
bounds, which moves by itself.

Round edges are polygons inside the true ones of cut-outs and outside of pipes by `SAGITTA` at most: so
much more is allowed for. What is made here is finer, for the difference is what stays undecided.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from fitcheck.parts.features import Hole
from fitcheck.parts.outline import Cutter, offset_prism
from fitcheck.parts.pieces import NOTHING, new_mesh, square_frame
from fitcheck.parts.polygon import SAGITTA, Cutout, circle, cutout_polygon
from fitcheck.parts.solids import Kind, Piece, Pipe, Solid
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.tolerances.movement import Movement, step_of
from fitcheck.world.bodies import bodies
from fitcheck.world.world import Part, World

# Sides of round edges made here lie so near to them, mm.
FINE = 0.001
# Directions nearer than this are the same, as in `doubts.py`.
SAME = 1e-9
# Rounding of outlines, which lie on a grid of 1e-8, and of slopes, mm.
GRID = 1e-6


@dataclass(frozen=True, eq=False)
class _Cut:
    """A cut-out in the world: shape, middle of its mouth, frame (z out of the material), sizes, depth."""

    shape: str
    at: np.ndarray
    rotation: np.ndarray
    size: np.ndarray
    depth: float | None


@dataclass(frozen=True, eq=False)
class _Recipe:
    """What a mesh is made of, in the world.

    Args:
        corners: (n, 3) outline at its lower end; of a pipe the middle of one end.
        along: (3,) from there to the upper end.
        diameters: of a pipe, outside and bore.
        cuts: into the outline.
    """

    corners: np.ndarray
    along: np.ndarray
    diameters: np.ndarray | None
    cuts: tuple[_Cut, ...]

    @cached_property
    def axis(self) -> np.ndarray:
        """Unit, along."""
        return np.asarray(self.along / np.linalg.norm(self.along))

    @cached_property
    def figures(self) -> np.ndarray:
        """All that follows the measurements linearly, in one row."""
        cuts = [[*cut.at, *cut.size, *([] if cut.depth is None else [cut.depth])] for cut in self.cuts]
        numbers = [figure for cut in cuts for figure in cut]
        return np.array([*self.corners.ravel(), *self.along, *numbers, *self._diameters()])

    def _diameters(self) -> list[float]:
        return [] if self.diameters is None else list(self.diameters)

    def is_like(self, other: _Recipe) -> bool:
        """Whether only its figures differ, not its directions, nor what there is."""
        if self.figures.shape != other.figures.shape or len(self.cuts) != len(other.cuts):
            return False
        turns = [(self.axis, other.axis)]
        turns += [(a.rotation, b.rotation) for a, b in zip(self.cuts, other.cuts, strict=True)]
        kinds = all(
            a.shape == b.shape and (a.depth is None) == (b.depth is None)
            for a, b in zip(self.cuts, other.cuts, strict=True)
        )
        return kinds and all(np.allclose(a, b, rtol=0, atol=SAME) for a, b in turns)

    def at(self, figures: np.ndarray) -> _Recipe:
        """The same with other figures."""
        left = list(figures)

        def take(count: int) -> np.ndarray:
            taken = np.array(left[:count])
            del left[:count]
            return taken

        corners, along = take(self.corners.size).reshape(-1, 3), take(3)
        cuts = []
        for cut in self.cuts:
            at, size = take(3), take(2)
            depth = None if cut.depth is None else float(take(1)[0])
            cuts.append(_Cut(cut.shape, at, cut.rotation, size, depth))
        diameters = None if self.diameters is None else take(2)
        return _Recipe(corners, along, diameters, tuple(cuts))


@dataclass(frozen=True, eq=False)
class _Follows:
    """A recipe as drawn, and what each measurement does to it: (k) recipes of slopes, mm a mm."""

    drawn: _Recipe
    slopes: np.ndarray

    def at(self, offsets: np.ndarray) -> _Recipe:
        return self.drawn.at(self.drawn.figures + offsets @ self.slopes)

    def slope(self, k: int) -> _Recipe:
        return self.drawn.at(self.slopes[k])


@dataclass(eq=False)
class Held:
    """The meshes of a movement that change their shape, made when first asked for."""

    move: Movement
    known: dict[int, _Follows | None] = field(default_factory=dict)
    made: dict[tuple[int, bytes, bool], Piece | None] = field(default_factory=dict)

    def is_followed(self, row: int) -> bool:
        """Whether it is known how a mesh that changes its shape does so."""
        return self._follows(row) is not None

    def piece(self, row: int, low: np.ndarray, high: np.ndarray, inside: bool) -> Piece | None:
        """A mesh about the place of a row in the middle of offsets low to high (k,), in the world.

        Args:
            inside: it lies in every shape that the row takes; else it holds every one.

        Returns:
            None where nothing is left of it, or the row is not followed.
        """
        key = row, (np.round(np.concatenate([low, high]), 6) + 0.0).tobytes(), inside
        if key not in self.made:
            found = self._follows(row)
            self.made[key] = None if found is None else self._made(found, row, low, high, inside)
        return self.made[key]

    def points(self, row: int) -> tuple[np.ndarray, np.ndarray] | None:
        """Corners that a prism's convex hull never goes beyond: (n, 3) mm as drawn and (k, n, 3) slopes."""
        found = self._follows(row)
        if found is None or found.drawn.diameters is not None:
            return None
        every = [found.drawn, *(found.slope(k) for k in range(len(found.slopes)))]
        both = np.array([np.concatenate([one.corners, one.corners + one.along]) for one in every])
        return both[0], both[1:]

    def _follows(self, row: int) -> _Follows | None:
        if row not in self.known:
            self.known[row] = self._found(row)
        return self.known[row]

    def _found(self, row: int) -> _Follows | None:
        move = self.move
        drawn = _recipe(move.world, row) if row < len(bodies(move.world).kinds) else None
        if drawn is None:
            return None
        slopes = np.zeros((len(move.measurements), len(drawn.figures)))
        for k, (one, world) in enumerate(zip(move.measurements, move.moved, strict=True)):
            there = _recipe(world, row)
            if there is None or not drawn.is_like(there):
                return None
            slopes[k] = (there.figures - drawn.figures) / step_of(one)
        return _Follows(drawn, slopes)

    def _made(
        self, follows: _Follows, row: int, low: np.ndarray, high: np.ndarray, inside: bool
    ) -> Piece | None:
        middle, half = (low + high) / 2, (high - low) / 2
        here = follows.at(middle)
        own = self.move.centres[:, row]
        rates = [_rates(here, follows.slope(k), own[k]) for k in range(len(half))]
        strays = np.array(rates).T @ half + GRID
        frame = square_frame(here.axis)
        try:
            built = _built(here, frame, strays, -1.0 if inside else 1.0)
        except ValueMistake:
            return None
        if built is None:
            return None
        vertices, faces = built
        about = (vertices.min(axis=0) + vertices.max(axis=0)) / 2
        mesh = new_mesh(vertices - about, faces, closed=True, error=0.0)
        half_size = np.ptp(vertices, axis=0) / 2
        return Piece(Kind.MESH, half_size, frame, frame @ about, mesh)


def _recipe(world: World, row: int) -> _Recipe | None:
    """What a row of the solids of a world is made of, if it is known."""
    solids = bodies(world)
    body = solids.all[int(solids.body[row])]
    part = world.parts[body.part]
    solid = part.shape.solids[body.solid]
    if solid.pipe is not None:
        return _pipe(solid.pipe, solids.rotations[row][:, 2], solids.centres[row])
    if solid.extruded is None:
        return None
    turn = part.pose.rotation
    corners = solid.extruded.corners @ turn.T + part.pose.origin
    return _Recipe(corners, turn @ solid.extruded.along, None, _cuts(part, solid))


def _pipe(pipe: Pipe, axis: np.ndarray, middle: np.ndarray) -> _Recipe:
    along = pipe.length * axis
    return _Recipe((middle - along / 2)[None], along, np.array([pipe.diameter, pipe.bore]), ())


def _cuts(part: Part, solid: Solid) -> tuple[_Cut, ...]:
    made = []
    for name in solid.cut_by:
        feature = part.shape.holes.get(name) or part.shape.openings[name]
        at = part.pose.rotation @ feature.at + part.pose.origin
        if isinstance(feature, Hole):
            size, shape, depth = np.full(2, feature.diameter), "round", feature.depth
            frame = square_frame(feature.axis)
        else:
            size, shape, depth = np.array(feature.size, float), feature.shape, None
            frame = np.stack([feature.up, np.cross(feature.axis, feature.up), feature.axis], axis=1)
        made.append(_Cut(shape, at, part.pose.rotation @ frame, size, depth))
    return tuple(made)


def _rates(here: _Recipe, slope: _Recipe, own: np.ndarray) -> list[float]:
    """How far edges stray from a mesh that only moves with its middle, mm a mm of one measurement.

    Returns:
        Of the outline across, its lower and its upper end along; outside and bore of a pipe; of each cut-out
        across and along its axis.
    """
    axis = here.axis
    strays = slope.corners - own
    along = strays @ axis
    across = float(np.linalg.norm(strays - along[:, None] * axis, axis=1).max())
    upper = along + slope.along @ axis
    found = [across, float(np.abs(along).max()), float(np.abs(upper).max())]
    if slope.diameters is not None:
        found += (np.abs(slope.diameters) / 2).tolist()
    for cut in slope.cuts:
        way = cut.at - own
        out = float(way @ cut.rotation[:, 2])
        side = float(np.linalg.norm(way - out * cut.rotation[:, 2]))
        found += [side + float(np.abs(cut.size).max()) / 2, abs(out) + abs(cut.depth or 0.0)]
    return found


def _built(
    here: _Recipe, frame: np.ndarray, strays: np.ndarray, sign: float
) -> tuple[np.ndarray, np.ndarray] | None:
    """Vertices in `frame` and faces of a recipe, larger (1) or smaller (-1) by what its edges may stray."""
    across, lower, upper = strays[:3]
    flat = here.corners @ frame
    low, high = float(flat[0, 2]), float(flat[0, 2] + here.along @ here.axis)
    ends = low - sign * lower, high + sign * upper
    if here.diameters is not None:
        outside, bore = here.diameters / 2 + [sign * (across + strays[3]), -sign * (across + strays[4])]
        if sign > 0:
            outside, bore = outside + SAGITTA, bore - SAGITTA
        outline = (
            circle(outside, outward=sign > 0, sagitta=FINE)[0] + flat[0, :2] if outside > NOTHING else None
        )
        if outline is None:
            return None
        hole = [] if bore <= NOTHING else [circle(bore, outward=sign < 0, sagitta=FINE)[0]]
        cutters = [Cutter(one, flat[0] + [0, 0, 1e-3], np.eye(3)) for one in hole]
        return offset_prism(outline, *ends, 0.0, cutters)
    cutters = []
    for k, cut in enumerate(here.cuts):
        side, out = strays[3 + 2 * k : 5 + 2 * k]
        made = _cutter(cut, frame, float(side), float(out), sign)
        if made is not None:
            cutters.append(made)
    return offset_prism(flat[:, :2], *ends, sign * float(across), cutters)


def _cutter(cut: _Cut, frame: np.ndarray, side: float, out: float, sign: float) -> Cutter | None:
    """A cut-out in `frame`, smaller (1) or larger (-1) by what its edges may stray; None if none is left."""
    ends = np.zeros(2)
    if cut.shape != "rectangle":
        # Drawn up to a sagitta too small; and larger ones so that no side of theirs lies inside.
        ends -= sign * (SAGITTA if sign > 0 else FINE)
    size = cut.size + 2 * (ends - sign * side)
    depth = None if cut.depth is None else cut.depth - sign * out
    if size.min() < 2 * NOTHING or (depth is not None and depth < NOTHING):
        return None
    polygon, _ = cutout_polygon(Cutout("", cut.shape, (0.0, 0.0), (float(size[0]), float(size[1]))), FINE)
    return Cutter(polygon, cut.at @ frame, frame.T @ cut.rotation, depth)
