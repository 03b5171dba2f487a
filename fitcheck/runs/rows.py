"""Solids as rows of a few arrays, for the kernels: those of a world, and runs laid already."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np

from fitcheck.parts.solids import Kind, Mesh
from fitcheck.runs.kernels.solids import BEND, STRAIGHT
from fitcheck.runs.kernels.trees import Trees, join
from fitcheck.runs.route import Route
from fitcheck.world.bodies import Bodies, bodies
from fitcheck.world.kernels.tree import Tree, build_tree
from fitcheck.world.world import World

# Triangles a leaf of a tree holds at most: fewer make it large, more are tested in vain.
LEAF = 4


@dataclass(frozen=True, eq=False)
class Laid:
    """A run that is laid already: a ball of `radius` mm, half its outside, along its route."""

    name: str
    route: Route
    radius: float


@dataclass(frozen=True, eq=False)
class Rows:
    """Solids as rows, as in `Solids`, and (n, 2, 3) bounds; `names` of each body, the narrowest first."""

    kinds: np.ndarray
    halves: np.ndarray
    frames: np.ndarray
    centres: np.ndarray
    balls: np.ndarray
    bounds: np.ndarray
    body: np.ndarray
    roots: np.ndarray
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
    balls = np.linalg.norm(own.halves, axis=1)
    round_ = own.kinds == int(Kind.CYLINDER)
    balls[round_] = np.hypot(own.halves[round_, 0], own.halves[round_, 2])
    return Rows(
        own.kinds.astype(np.int64),
        own.halves,
        own.rotations,
        own.centres,
        balls,
        own.bounds,
        own.body,
        np.array(roots, np.int64),
        tuple((body.name, body.part_name, body.group) for body in own.all),
        trees,
    )


def laid_rows(runs: Sequence[Laid], first_body: int) -> Rows:
    """The straights and bends of laid runs, numbered as bodies from `first_body` on."""
    kinds, halves, frames, centres, balls, bounds, body = [], [], [], [], [], [], []
    for number, run in enumerate(runs):
        line = run.route.flat
        for start, way, inward, bent, length in zip(
            line.starts, line.ways, line.inwards, line.curvatures, line.lengths, strict=True
        ):
            if bent == 0.0:
                kinds.append(STRAIGHT)
                halves.append((run.radius, 0.0, length / 2))
                frames.append(_about(way))
                centre, reach, ball = start + way * length / 2, np.abs(way) * length / 2, length / 2
            else:
                turn, bend = bent * length / 2, 1 / bent
                middle = np.sin(turn) * way - np.cos(turn) * inward
                along = np.cos(turn) * way + np.sin(turn) * inward
                kinds.append(BEND)
                halves.append((bend * np.cos(turn), bend * np.sin(turn), run.radius))
                frames.append(np.column_stack([middle, along, np.cross(middle, along)]))
                centre, reach, ball = start + bend * inward, np.full(3, bend), bend
            centres.append(centre)
            balls.append(ball + run.radius)
            bounds.append([centre - reach - run.radius, centre + reach + run.radius])
            body.append(first_body + number)
    return Rows(
        np.array(kinds, np.int64),
        np.array(halves, float).reshape(-1, 3),
        np.array(frames, float).reshape(-1, 3, 3),
        np.array(centres, float).reshape(-1, 3),
        np.array(balls, float),
        np.array(bounds, float).reshape(-1, 2, 3),
        np.array(body, np.int64),
        np.full(len(body), -1),
        tuple((run.name,) for run in runs),
        join(())[0],
    )


def _about(way: np.ndarray) -> np.ndarray:
    """A frame (3, 3) whose third axis is this direction."""
    side = np.cross(way, np.eye(3)[int(np.abs(way).argmin())])
    side /= np.linalg.norm(side)
    return np.column_stack([side, np.cross(way, side), way])
