"""What share of a surface is seen from an eye: a line from each of its points, past all that is not clear."""

from __future__ import annotations

from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np

from fitcheck.rays.lines import Stops, first_hits, stops
from fitcheck.sight.surfaces import Spread
from fitcheck.world.bodies import bodies
from fitcheck.world.world import World


@dataclass(frozen=True, eq=False)
class Seen:
    """What one eye sees of a surface.

    Args:
        visible: (n,) which of its points.
        share: of its area.
        angle: solid angle that the visible takes up, steradian.
    """

    visible: np.ndarray
    share: float
    angle: float


_opaque: WeakKeyDictionary[World, Stops] = WeakKeyDictionary()


def opaque(world: World) -> Stops:
    """All that light does not pass: every solid but the transparent ones."""
    found = _opaque.get(world)
    if found is None:
        solids = bodies(world)
        clear = np.array([_is_clear(world, body.part, body.solid) for body in solids.all], bool)
        found = _opaque[world] = stops(solids, np.flatnonzero(~clear[solids.body]))
    return found


def windows(world: World) -> np.ndarray:
    """(n,) rows of the pieces that light passes."""
    solids = bodies(world)
    clear = np.array([_is_clear(world, body.part, body.solid) for body in solids.all], bool)
    return np.flatnonzero(clear[solids.body])


def _is_clear(world: World, part: int, solid: str) -> bool:
    return world.parts[part].shape.solids[solid].transparent


def seen(among: Stops, surface: Spread, eye: np.ndarray) -> Seen:
    """What an eye at (3,) sees of a surface. Lines are straight: glass bends none."""
    ways = eye - surface.points
    far = np.linalg.norm(ways, axis=1)
    facing = (ways * surface.normals).sum(axis=1) / np.maximum(far, 1e-12)
    visible = facing > 0.0
    asked = np.flatnonzero(visible)
    ends = np.broadcast_to(eye, (len(asked), 3))
    visible[asked] = first_hits(among, surface.points[asked], ends, only_whether=True).free
    angle = float((facing[visible] / far[visible] ** 2).sum() * surface.area)
    return Seen(visible, float(visible.mean()) if len(visible) else 0.0, angle)


def hiding(among: Stops, surface: Spread, eye: np.ndarray) -> np.ndarray:
    """(k,) of each point that faces the eye and is hidden, the row of what stands first before it."""
    ways = eye - surface.points
    asked = np.flatnonzero((ways * surface.normals).sum(axis=1) > 0.0)
    rows = first_hits(among, surface.points[asked], np.broadcast_to(eye, (len(asked), 3))).rows
    return np.asarray(rows[rows >= 0])
