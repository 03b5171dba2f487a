"""Bodies: every solid of a world as rows of a few arrays, and which come near."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from functools import partial
from weakref import WeakKeyDictionary

import numpy as np

from fitcheck.parts.solids import Kind, Mesh, Piece
from fitcheck.world.frames import IDENTITY
from fitcheck.world.kept import Kept
from fitcheck.world.world import Part, World, bounds_at, piece_bounds

# A serial of a body is that of its part and so many bits for its number among the part's solids.
SOLIDS = 16


@dataclass(frozen=True, eq=False)
class Body:
    """One solid of one part, as the engine names it.

    `name` is part and solid (`case.floor`); `part` its index in the world's parts; `pieces`
    its rows in the arrays of `Bodies`; `bounds` (2, 3) in the world, mm; `error` how far
    its pieces may lie from the true surface, mm.
    """

    name: str
    part: int
    part_name: str
    group: str
    solid: str
    pieces: slice
    bounds: np.ndarray
    error: float


@dataclass(frozen=True, eq=False)
class Bodies:
    """All solids of a world; the arrays have one row a piece, in world coordinates, mm.

    Args:
        kinds: (n,) `Kind`.
        halves: (n, 3) half sizes along the piece's own axes.
        rotations: (n, 3, 3) world_from_piece.
        centres: (n, 3).
        bounds: (n, 2, 3).
        body: (n,) index into `all`.
        meshes: the triangles of each piece, or None.
        all: the bodies, in the order of the world's parts and their solids.
        body_bounds: (m, 2, 3) of the bodies.
        body_parts: (m,) index of each body's part.
        serials: (m,) a number for each body that no other has, but the same one in another world.
        answers: what was found out about bodies, by their serials; None where they were moved.
    """

    kinds: np.ndarray
    halves: np.ndarray
    rotations: np.ndarray
    centres: np.ndarray
    bounds: np.ndarray
    body: np.ndarray
    meshes: tuple[Mesh | None, ...]
    all: tuple[Body, ...]
    body_bounds: np.ndarray
    body_parts: np.ndarray
    serials: np.ndarray
    answers: Kept | None

    def __len__(self) -> int:
        return len(self.all)

    def rows(self, chosen: Collection[int] | np.ndarray) -> np.ndarray:
        """Rows of all pieces of these bodies."""
        mask = np.zeros(len(self.all), bool)
        mask[sorted(chosen)] = True
        return np.flatnonzero(mask[self.body])

    def shifted(self, chosen: Collection[int] | np.ndarray, by: np.ndarray) -> Bodies:
        """The same world with these bodies moved by (3,) mm."""
        rows, bodies = self.rows(chosen), np.asarray(sorted(chosen), int)
        centres, bounds, body_bounds = self.centres.copy(), self.bounds.copy(), self.body_bounds.copy()
        centres[rows] += by
        bounds[rows] += by
        body_bounds[bodies] += by
        return replace(self, centres=centres, bounds=bounds, body_bounds=body_bounds, answers=None)


_made: WeakKeyDictionary[World, Bodies] = WeakKeyDictionary()


def bodies(world: World) -> Bodies:
    """All solids of the world, made on first use."""
    found = _made.get(world)
    if found is None:
        found = _made[world] = _collect(world)
    return found


@dataclass(frozen=True, eq=False)
class _Rows:
    """The solids of one part: rows of `Bodies`, and for each solid its name, bounds, error and rows."""

    kinds: np.ndarray
    halves: np.ndarray
    rotations: np.ndarray
    centres: np.ndarray
    bounds: np.ndarray
    meshes: tuple[Mesh | None, ...]
    solids: tuple[tuple[str, np.ndarray, float, int], ...]


def _collect(world: World) -> Bodies:
    rows = [world.answers.of(("rows", part.serial), partial(_rows, part)) for part in world.parts]
    found: list[Body] = []
    start = 0
    for index, (part, own) in enumerate(zip(world.parts, rows, strict=True)):
        for solid, bounds, error, count in own.solids:
            place = slice(start, start + count)
            name = f"{part.name}.{solid}"
            found.append(Body(name, index, part.name, part.group, solid, place, bounds, error))
            start += count
    counts = [body.pieces.stop - body.pieces.start for body in found]
    own_numbers = [
        np.arange(len(own.solids)) + (part.serial << SOLIDS)
        for part, own in zip(world.parts, rows, strict=True)
    ]
    return Bodies(
        kinds=np.concatenate([np.zeros(0, int), *(own.kinds for own in rows)]),
        halves=np.concatenate([np.zeros((0, 3)), *(own.halves for own in rows)]),
        rotations=np.concatenate([np.zeros((0, 3, 3)), *(own.rotations for own in rows)]),
        centres=np.concatenate([np.zeros((0, 3)), *(own.centres for own in rows)]),
        bounds=np.concatenate([np.zeros((0, 2, 3)), *(own.bounds for own in rows)]),
        body=np.repeat(np.arange(len(found)), counts).astype(int),
        meshes=tuple(mesh for own in rows for mesh in own.meshes),
        all=tuple(found),
        body_bounds=np.array([body.bounds for body in found], float).reshape(-1, 2, 3),
        body_parts=np.array([body.part for body in found], int),
        serials=np.concatenate([np.zeros(0, int), *own_numbers]),
        answers=world.answers,
    )


def _rows(part: Part) -> _Rows:
    solids = [solid for solid in part.shape.solids.values() if solid.pieces]
    pieces = [piece for solid in solids for piece in solid.pieces]
    turn = part.pose.rotation
    rotations = turn @ np.array([piece.rotation for piece in pieces], float).reshape(-1, 3, 3)
    inside = np.array([piece.centre for piece in pieces], float).reshape(-1, 3, 1)
    centres = (turn @ inside)[..., 0] + part.pose.origin
    bounds = _bounds(pieces, rotations, centres)
    told, start = [], 0
    for solid in solids:
        own = bounds[start : start + len(solid.pieces)]
        start += len(solid.pieces)
        error = max([solid.error, *(piece.mesh.error for piece in solid.pieces if piece.mesh is not None)])
        around = np.array([own[:, 0].min(axis=0), own[:, 1].max(axis=0)])
        told.append((solid.name, around, error, len(solid.pieces)))
    return _Rows(
        kinds=np.array([int(piece.kind) for piece in pieces], int),
        halves=np.array([piece.half for piece in pieces], float).reshape(-1, 3),
        rotations=rotations,
        centres=centres,
        bounds=bounds,
        meshes=tuple(piece.mesh for piece in pieces),
        solids=tuple(told),
    )


def _bounds(pieces: list[Piece], rotations: np.ndarray, centres: np.ndarray) -> np.ndarray:
    """(n, 2, 3) exact bounds of placed pieces, as `bounds_at` gives them, all at once."""
    halves = np.array([piece.half for piece in pieces], float).reshape(-1, 3)
    kinds = np.array([int(piece.kind) for piece in pieces], int)
    reach = (np.abs(rotations) @ halves[..., None])[..., 0]
    axis = rotations[:, :, 2]
    disc = halves[:, :1] * np.sqrt(np.clip(1 - axis**2, 0, 1)) + np.abs(axis) * halves[:, 2:]
    reach = np.where((kinds == Kind.CYLINDER)[:, None], disc, reach)
    bounds = np.stack([centres - reach, centres + reach], axis=1)
    for k in np.flatnonzero(kinds == Kind.MESH).tolist():
        bounds[k] = bounds_at(pieces[k], rotations[k], centres[k])
    return bounds


def with_probe(bodies: Bodies, piece: Piece) -> Bodies:
    """The same bodies and, last, a piece of no part that stands in world coordinates."""
    return with_probes(bodies, [(piece,)])


def with_probes(bodies: Bodies, probes: Sequence[Sequence[Piece]]) -> Bodies:
    """The same bodies and, after them, one more for each tuple of pieces in world coordinates."""
    if not probes:
        return bodies
    rows, last = len(bodies.kinds), len(bodies)
    pieces = [piece for probe in probes for piece in probe]
    around = np.array([piece_bounds(piece, IDENTITY) for piece in pieces]).reshape(-1, 2, 3)
    made: list[Body] = []
    for probe in probes:
        place = slice(rows, rows + len(probe))
        own = around[rows - len(bodies.kinds) :][: len(probe)]
        bounds = np.array([own[:, 0].min(axis=0), own[:, 1].max(axis=0)])
        error = max(0.0 if piece.mesh is None else piece.mesh.error for piece in probe)
        made.append(Body("probe", -1, "", "", "probe", place, bounds, error))
        rows += len(probe)
    owners = np.repeat(np.arange(last, last + len(made)), [len(probe) for probe in probes]).astype(int)
    return Bodies(
        kinds=np.append(bodies.kinds, [int(piece.kind) for piece in pieces]),
        halves=np.concatenate([bodies.halves, *([piece.half] for piece in pieces)]),
        rotations=np.concatenate([bodies.rotations, *([piece.rotation] for piece in pieces)]),
        centres=np.concatenate([bodies.centres, *([piece.centre] for piece in pieces)]),
        bounds=np.concatenate([bodies.bounds, around]),
        body=np.append(bodies.body, owners),
        meshes=(*bodies.meshes, *(piece.mesh for piece in pieces)),
        all=(*bodies.all, *made),
        body_bounds=np.concatenate([bodies.body_bounds, *([body.bounds] for body in made)]),
        body_parts=np.append(bodies.body_parts, np.full(len(made), -1)),
        serials=np.append(bodies.serials, np.full(len(made), -1)),
        answers=None,
    )


def near(bodies: Bodies, reach: float | np.ndarray = 0.0) -> np.ndarray:
    """Pairs of bodies of different parts whose bounds come within reach.

    Args:
        reach: mm, for all or (m, m) for each pair.

    Returns:
        (k, 2) indices, the lower first, in order.
    """
    low, high = bodies.body_bounds[:, 0], bodies.body_bounds[:, 1]
    first, second = np.nonzero(np.triu(bodies.body_parts[:, None] != bodies.body_parts, 1))
    for axis in range(3):
        gap = np.maximum(low[first, axis] - high[second, axis], low[second, axis] - high[first, axis])
        close = gap <= (reach if np.ndim(reach) == 0 else np.asarray(reach)[first, second])
        first, second = first[close], second[close]
    return np.column_stack([first, second])


def bounds_gap(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Distance of bounds (..., 2, 3), mm: never above that of what they hold."""
    apart = np.maximum(a[..., 0, :] - b[..., 1, :], b[..., 0, :] - a[..., 1, :])
    return np.asarray(np.sqrt((np.maximum(apart, 0.0) ** 2).sum(axis=-1)))
