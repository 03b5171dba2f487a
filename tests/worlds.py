"""Tiny worlds built by hand for the tests of the checks."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from fitcheck.parts.features import KeepClear, Shape
from fitcheck.parts.pieces import box_piece, cylinder_piece, new_mesh
from fitcheck.parts.solids import Kind, Piece, Solid
from fitcheck.world.bodies import Bodies, bodies
from fitcheck.world.frames import IDENTITY, Frame
from fitcheck.world.world import Part, Room, World


def box(low: Any, high: Any) -> Piece:
    return box_piece(np.array(low, float), np.array(high, float))


def rod(start: Any, end: Any, diameter: float) -> Piece:
    return cylinder_piece(np.array(start, float), np.array(end, float), diameter)


def mesh(vertices: Any, faces: Any, closed: bool = True) -> Piece:
    points = np.array(vertices, float)
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    half = (points.max(axis=0) - points.min(axis=0)) / 2
    return Piece(Kind.MESH, half, np.eye(3), middle, new_mesh(points - middle, np.array(faces), closed, 0.0))


def part(
    name: str,
    *pieces: Piece,
    group: str = "",
    claims: str = "",
    host: str = "",
    says: Mapping[str, float] | None = None,
    keep_clear: Mapping[str, Piece] | None = None,
    pose: Frame = IDENTITY,
    names: tuple[str, ...] = (),
) -> Part:
    """A part whose solids are `body`, `body_2` … (or `names`), one piece each."""
    called = names or tuple("body" if i == 0 else f"body_{i + 1}" for i in range(len(pieces)))
    solids = {n: Solid(n, (piece,)) for n, piece in zip(called, pieces, strict=True)}
    kept = {n: KeepClear(n, piece, "room for a hand") for n, piece in (keep_clear or {}).items()}
    return Part(
        name, group or name.split(".")[0], "thing", pose, Shape(solids=solids, keep_clear=kept),
        claims=claims, host=host, says=dict(says or {}),
    )  # fmt: skip


def room(name: str, low: Any, high: Any) -> Room:
    return Room(name, name.rpartition(".")[0], np.array([low, high], float))


def world(*parts: Part, rooms: tuple[Room, ...] = (), contacts: Any = (), **rules: Any) -> World:
    return World(
        "test", parts, tuple(contacts), {r.name: r for r in rooms}, rules,
        lines={name: 10 + i for i, name in enumerate(rules)},
    )  # fmt: skip


def bodies_of(*pieces: Piece) -> Bodies:
    """Each piece as the one solid of a part of its own: p0, p1 …"""
    return bodies(world(*(part(f"p{k}", piece) for k, piece in enumerate(pieces))))
