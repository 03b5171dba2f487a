"""Solids as rows of a few arrays, for the kernels: those of a world, and runs laid already."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import ArrayLike

from fitcheck.parts.solids import Mesh
from fitcheck.runs.kernels.solids import BEND, CENTRE, COLUMNS, EXTRA, HALF, KIND, ROOT, STRAIGHT
from fitcheck.runs.kernels.trees import Trees, join
from fitcheck.runs.route import Route
from fitcheck.world.bodies import Bodies, bodies
from fitcheck.world.kernels.tree import Tree, build_tree
from fitcheck.world.world import World

# Triangles a leaf of a tree holds at most: fewer make it large, more are tested in vain.
LEAF = 4


@dataclass(frozen=True, eq=False)
class Laid:
    """A run that is laid already: a ball along a rounded polyline.

    Args:
        name: of the run.
        corners: (n, 3) of its centre line, mm.
        bend: radius its inner corners are rounded with, mm.
        radius: half its outside diameter, mm.
    """

    name: str
    corners: np.ndarray
    bend: float
    radius: float

    @cached_property
    def route(self) -> Route:
        """Its centre line."""
        return Route(self.corners, self.bend)

    @cached_property
    def pieces(self) -> tuple[np.ndarray, np.ndarray]:
        """Its straights and bends as rows (n, COLUMNS), and their bounds (n, 2, 3), mm."""
        return _pieces(self)


@dataclass(frozen=True, eq=False)
class Rows:
    """Solids as rows, as in `Solids`, their extras left out.

    Args:
        numbers: (n, COLUMNS).
        bounds: (n, 2, 3) mm.
        body: (n,) whose each is, an index into `names`.
        names: of each body, the narrowest first: its own, its part's, its group's.
        trees: of the meshes.
    """

    numbers: np.ndarray
    bounds: np.ndarray
    body: np.ndarray
    names: tuple[tuple[str, ...], ...]
    trees: Trees


_trees: WeakKeyDictionary[Mesh, Tree] = WeakKeyDictionary()


def _tree(mesh: Mesh) -> Tree:
    found = _trees.get(mesh)
    if found is None:
        found = _trees[mesh] = build_tree(np.asarray(mesh.vertices, float)[mesh.faces], LEAF)
    return found


_made: WeakKeyDictionary[World, Rows] = WeakKeyDictionary()


def world_rows(world: World) -> Rows:
    """The rows of the world's own solids, made on first use."""
    found = _made.get(world)
    if found is None:
        found = _made[world] = _collect(bodies(world))
    return found


def _collect(own: Bodies) -> Rows:
    meshes = {mesh.key: mesh for mesh in own.meshes if mesh is not None}
    trees, first = join([_tree(mesh) for mesh in meshes.values()])
    root = dict(zip(meshes, first, strict=True))
    roots = [-1 if mesh is None else root[mesh.key] for mesh in own.meshes]
    return Rows(
        _numbers(own.rotations, own.centres, own.halves, own.kinds, roots),
        own.bounds,
        own.body,
        tuple((body.name, body.part_name, body.group) for body in own.all),
        trees,
    )


def laid_rows(runs: Sequence[Laid], first_body: int) -> Rows:
    """The straights and bends of laid runs, numbered as bodies from `first_body` on."""
    counts = [len(run.pieces[0]) for run in runs]
    return Rows(
        np.concatenate([np.empty((0, COLUMNS)), *(run.pieces[0] for run in runs)]),
        np.concatenate([np.empty((0, 2, 3)), *(run.pieces[1] for run in runs)]),
        first_body + np.repeat(np.arange(len(runs)), counts),
        tuple((run.name,) for run in runs),
        join(())[0],
    )


def _pieces(run: Laid) -> tuple[np.ndarray, np.ndarray]:
    """Straights and bends as rows (n, COLUMNS), and their bounds (n, 2, 3)."""
    kinds, halves, frames, centres, bounds = [], [], [], [], []
    line = run.route.flat
    for start, way, inward, bent, length in zip(
        line.starts, line.ways, line.inwards, line.curvatures, line.lengths, strict=True
    ):
        if bent == 0.0:
            kinds.append(STRAIGHT)
            halves.append((run.radius, 0.0, length / 2))
            frames.append(_about(way))
            centre, reach = start + way * length / 2, np.abs(way) * length / 2
        else:
            turn, bend = bent * length / 2, 1 / bent
            middle = np.sin(turn) * way - np.cos(turn) * inward
            along = np.cos(turn) * way + np.sin(turn) * inward
            kinds.append(BEND)
            halves.append((bend * np.cos(turn), bend * np.sin(turn), run.radius))
            frames.append(np.column_stack([middle, along, np.cross(middle, along)]))
            centre, reach = start + bend * inward, np.full(3, bend)
        centres.append(centre)
        bounds.append([centre - reach - run.radius, centre + reach + run.radius])
    numbers = _numbers(np.array(frames), np.array(centres), np.array(halves), kinds, -1)
    return numbers, np.array(bounds, float).reshape(-1, 2, 3)


def _numbers(
    frames: np.ndarray, centres: np.ndarray, halves: np.ndarray, kinds: ArrayLike, roots: ArrayLike
) -> np.ndarray:
    """Frames (n, 3, 3) world_from_solid, centres and half sizes (n, 3) as `Solids` has them."""
    count = len(frames)
    numbers = np.zeros((count, COLUMNS))
    numbers[:, :CENTRE] = frames.reshape(count, 3, 3).transpose(0, 2, 1).reshape(count, 9)
    numbers[:, CENTRE:HALF] = centres.reshape(count, 3)
    numbers[:, HALF:EXTRA] = halves.reshape(count, 3)
    numbers[:, KIND] = kinds
    numbers[:, ROOT] = roots
    return numbers


def _about(way: np.ndarray) -> np.ndarray:
    """A frame (3, 3) whose third axis is this direction."""
    side = np.cross(way, np.eye(3)[int(np.abs(way).argmin())])
    side /= np.linalg.norm(side)
    return np.column_stack([side, np.cross(way, side), way])
