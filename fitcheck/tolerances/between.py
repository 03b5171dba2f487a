"""Two pieces at any values of the measurements: how far apart they are, and how far at the least.

The distance of two pieces is never below how far they are apart along any one direction n,

    s(m) = least n . b - greatest n . a, over points a of the one and b of the other;

overlapping pieces have s <= -depth the same way. For boxes and cylinders whose sizes and places are linear
and whose directions are constant, s is linear in the measurements for every n (the support of a
box is |R^T n| . half sizes, that of a cylinder r |n across| + h |n along|), and so is that of a mesh
which keeps its shape: at its least in a corner of their ranges. With n from the witness points as drawn,
s is the distance as drawn and its slope that of the distance. What pieces that turn are bounded by is in
`turned.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitcheck.parts.solids import Kind
from fitcheck.scene.mistakes import Mistakes
from fitcheck.tolerances.movement import Movement
from fitcheck.world import kernels
from fitcheck.world.bodies import Bodies, Body
from fitcheck.world.engine import measure
from fitcheck.world.pairs import apart_by

# Rows of pairs that are measured at once.
BATCH = 20_000


@dataclass(frozen=True, eq=False)
class Apart:
    """What was measured of pairs of pieces, one row each.

    Args:
        signed: (q,) least distance, mm; below 0 the depth. nan where an open mesh hides it.
        normal: (q, 3) unit, from the first to the second; nan where touching pieces give none.
    """

    signed: np.ndarray
    normal: np.ndarray


def apart(move: Movement, pairs: np.ndarray, offsets: np.ndarray, deep: bool = True) -> Apart:
    """Measure pairs (q, 2) of rows, each at its own offsets (q, k) of the measurements, mm.

    For meshes that change their shape the scene is placed anew. Unless `deep`, meshes that touch are
    not asked how deep: -inf.
    """
    signed, normal = np.full(len(pairs), np.nan), np.full((len(pairs), 3), np.nan)
    anew = move.deforms[pairs].any(axis=1)
    for start in range(0, len(pairs), BATCH):
        rows = np.arange(start, min(start + BATCH, len(pairs)))
        rows = rows[~anew[rows]]
        if len(rows):
            two = _two(move, pairs[rows], offsets[rows])
            signed[rows], normal[rows] = _measured(two, deep)
    keys, owner = np.unique(np.round(offsets[anew], 6), axis=0, return_inverse=True)
    placed = np.flatnonzero(anew)
    for at_key, key in enumerate(keys):
        rows = placed[owner.ravel() == at_key]
        try:
            pieces = move.built(key)
        except Mistakes:
            continue
        of = pairs[rows].T.ravel()
        two = _together(pieces, pairs[rows], pieces.centres[of], pieces.halves[of], pieces.rotations[of])
        signed[rows], normal[rows] = _measured(two, deep)
    return Apart(signed, normal)


def _two(move: Movement, pairs: np.ndarray, offsets: np.ndarray) -> Bodies:
    """Rows of pairs (q, 2) at offsets (q, k) as bodies of their own: all first ones, then all others."""
    rows = pairs.T.ravel()
    pieces = move.pieces.all
    twice = np.concatenate([offsets, offsets])
    centres = pieces.centres[rows] + np.einsum("qk,kqd->qd", twice, move.centres[:, rows])
    halves = pieces.halves[rows] + np.einsum("qk,kqd->qd", twice, move.halves[:, rows])
    rotations = pieces.rotations[rows]
    turns = move.turns(rows)
    if move.turning is not None and turns.any():
        rotations[turns], centres[turns] = move.turning.placed(rows[turns], twice[turns])
    return _together(pieces, pairs, centres, halves, rotations)


def _together(
    pieces: Bodies, pairs: np.ndarray, centres: np.ndarray, halves: np.ndarray, rotations: np.ndarray
) -> Bodies:
    rows = pairs.T.ravel()
    # Wide enough for any turn: nothing is ruled out by these bounds that may matter.
    reach = np.linalg.norm(halves, axis=1)[:, None] * np.ones(3)
    bounds = np.stack([centres - reach, centres + reach], axis=1)
    count = np.arange(len(rows))
    meshed = bool((pieces.kinds[rows] == Kind.MESH).any())
    made = tuple(
        Body(f"p{k}", k, f"p{k}", f"p{k}", "", slice(k, k + 1), bounds[k], 0.0) for k in count.tolist()
    ) if meshed else ()  # fmt: skip
    return Bodies(
        kinds=pieces.kinds[rows],
        halves=halves,
        rotations=rotations,
        centres=centres,
        bounds=bounds,
        body=count,
        meshes=tuple(pieces.meshes[row] for row in rows.tolist()) if meshed else (),
        all=made,
        body_bounds=bounds,
        body_parts=count,
        serials=np.full(len(rows), -1),
        answers=None,
    )


def _measured(two: Bodies, deep: bool) -> tuple[np.ndarray, np.ndarray]:
    """Signed distances (q,) and normals (q, 3) of the first half of bodies to the other."""
    count = len(two.kinds) // 2
    asked = np.column_stack([np.arange(count), np.arange(count, 2 * count)])
    plain = (two.kinds[asked] != Kind.MESH).all(axis=1)
    signed, normal = np.full(count, np.nan), np.full((count, 3), np.nan)
    if plain.any():
        kinds = np.where(two.kinds == Kind.MESH, int(Kind.BOX), two.kinds)
        found = kernels.measure_pairs(kinds, two.halves, two.rotations, two.centres, asked[plain])
        signed[plain] = np.where(found.depth > 0, -found.depth, found.distance)
        normal[plain] = found.normal
    others = np.flatnonzero(~plain)
    if len(others) and not deep:
        signed[others] = apart_by(two, asked[others])
        return signed, normal
    for row, one in zip(others.tolist(), measure(two, asked[others]) if len(others) else (), strict=True):
        if one.decided and not np.isnan(one.depth):
            signed[row] = -one.depth if one.depth > 0 else one.distance
            normal[row] = one.normal
    return signed, normal


@dataclass(frozen=True, eq=False)
class Along:
    """How far pairs are apart along a direction, linear in the measurements: here + slope . offsets.

    Args:
        here: (q,) mm, as drawn.
        slope: (q, k) mm a mm.
    """

    here: np.ndarray
    slope: np.ndarray

    def least(self, low: np.ndarray, high: np.ndarray) -> np.ndarray:
        """(q,) the least within offsets low to high, (k,) or (q, k)."""
        return np.asarray(self.here + np.minimum(self.slope * low, self.slope * high).sum(axis=-1))

    def worst(self, low: np.ndarray, high: np.ndarray) -> np.ndarray:
        """(q, k) the corner where it is least; a measurement that does not matter stays as drawn."""
        none = np.clip(0.0, low, high)
        return np.where(self.slope > 0, low, np.where(self.slope < 0, high, none))


def along(move: Movement, pairs: np.ndarray, normals: np.ndarray) -> Along:
    """How far pairs (q, 2) of rows are apart along unit normals (q, 3), from the first to the second.

    A mesh that deforms is taken as the box that surely holds it, if there is one.
    """
    first, second = move.pieces.covers[pairs].T
    first = np.where(move.deforms[pairs[:, 0]], first, pairs[:, 0])
    second = np.where(move.deforms[pairs[:, 1]], second, pairs[:, 1])
    a, a_slope = farthest(move, first, normals)
    b, b_slope = farthest(move, second, -normals)
    return Along(-b - a, -b_slope - a_slope)


def farthest(move: Movement, rows: np.ndarray, normals: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """How far out rows (q,) reach along normals (q, 3): (q,) as drawn, mm, and (q, k) slopes."""
    pieces = move.pieces.all
    own = np.einsum("qji,qj->qi", pieces.rotations[rows], normals)
    weights = np.abs(own)
    round_ones = pieces.kinds[rows] == Kind.CYLINDER
    weights[round_ones, 0] = np.hypot(own[round_ones, 0], own[round_ones, 1])
    weights[round_ones, 1] = 0.0
    here = (weights * pieces.halves[rows]).sum(axis=1)
    slope = np.einsum("qd,kqd->qk", weights, move.halves[:, rows])
    for at_row in np.flatnonzero(pieces.kinds[rows] == Kind.MESH).tolist():
        mesh = pieces.meshes[int(rows[at_row])]
        assert mesh is not None
        here[at_row] = float((mesh.vertices @ own[at_row]).max())
        slope[at_row] = 0.0
    here = here + (normals * pieces.centres[rows]).sum(axis=1)
    slope = slope + np.einsum("qd,kqd->qk", normals, move.centres[:, rows])
    return here, slope


def candidates(move: Movement, pairs: np.ndarray) -> np.ndarray:
    """(q, 12, 3) directions worth trying between pairs: the axes of both, either way."""
    turns = move.pieces.all.rotations[pairs]
    axes = np.concatenate([turns[:, 0].transpose(0, 2, 1), turns[:, 1].transpose(0, 2, 1)], axis=1)
    return np.concatenate([axes, -axes], axis=1)


def rates(move: Movement, pairs: np.ndarray) -> np.ndarray:
    """(q, k) how far a point of the one can move against any of the other at most, mm a mm.

    A mesh that deforms has no such rate: inf. Of pieces that turn: `turned.Turned.rate`.
    """
    between = move.centres[:, pairs[:, 1]] - move.centres[:, pairs[:, 0]]
    grown = sum(np.linalg.norm(move.halves[:, pairs[:, side]], axis=-1) for side in (0, 1))
    found = (np.linalg.norm(between, axis=-1) + grown).T
    return np.where(move.deforms[pairs].any(axis=1)[:, None], np.inf, found)
