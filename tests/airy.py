"""Fans, plates with holes and tunnels built by hand, for the tests of the air."""

from __future__ import annotations

from typing import Any

import manifold3d
import numpy as np
from worlds import box, mesh, rod, world

from fitcheck.parts.features import Opening, Shape
from fitcheck.parts.solids import Piece, Solid
from fitcheck.world.frames import IDENTITY, Frame
from fitcheck.world.world import Part, World

INSIDE = 240.0  # of a tunnel, across
SHEET = 2.0


def whole(
    name: str, solids: dict[str, tuple[Piece, str]], openings: Any = (), pose: Frame = IDENTITY
) -> Part:
    """A part of these solids, each with its role."""
    made = {key: Solid(key, (piece,), role) for key, (piece, role) in solids.items()}
    return Part(
        name, name.split(".")[0], "thing", pose, Shape(solids=made, openings={o.name: o for o in openings})
    )


def fan(name: str, at: Any, intake: Any, outer: float = 60.0, hub: float = 20.0, depth: float = 25.0) -> Part:
    """A fan in a square frame, the middle of its blades at a place, air coming from the direction `intake`."""
    at, way = np.array(at, float), np.array(intake, float)
    side = np.roll(np.abs(way), 1)
    turn = np.column_stack([side, np.cross(way, side), way])
    frame = plate(2 * outer + 8, depth, [round_hole(0, 0, outer + 1)])
    solids = {
        "frame": (Piece(frame.kind, frame.half, np.eye(3), frame.centre, frame.mesh), "frame"),
        "blades": (rod([0, 0, -1], [0, 0, 1], 2 * outer), "blade"),
        "motor": (rod([0, 0, -depth / 2], [0, 0, -1], 2 * hub), "body"),
    }
    mouth = Opening(
        "mouth",
        np.array([0, 0, depth / 2]),
        np.array([0, 0, 1.0]),
        np.array([1.0, 0, 0]),
        "round",
        (2 * outer + 2, 2 * outer + 2),
        "frame",
    )
    return whole(name, solids, [mouth], Frame(turn, at))


Hole = tuple[str, float, float, float, float]


def round_hole(x: float, y: float, radius: float) -> Hole:
    """A disc about a place."""
    return "round", x, y, radius, radius


def square_hole(x: float, y: float, wide: float, high: float) -> Hole:
    """A rectangle about a place."""
    return "rectangle", x, y, wide, high


def plate(size: float, thick: float, holes: list[Hole]) -> Piece:
    """A square plate in the plane z 0 with holes through it; a round one has 360 corners, 5e-5 less area."""
    flat = manifold3d.CrossSection.square([size, size], True)
    for shape, x, y, a, b in holes:
        cut = (
            manifold3d.CrossSection.circle(a, 360)
            if shape == "round"
            else manifold3d.CrossSection.square([a, b], True)
        )
        flat = flat - cut.translate([x, y])
    made = manifold3d.Manifold.extrude(flat, thick).translate([0, 0, -thick / 2]).to_mesh()
    return mesh(made.vert_properties[:, :3], made.tri_verts)


def standing(
    name: str, x: float, holes: list[Hole], openings: Any = (), turn: Any = None, size: float = INSIDE
) -> Part:
    """A plate across a tunnel along x: its own x looks to the world's y, its y up; `turn` (3, 3) tilts it."""
    upright = np.array([[0, 0, 1.0], [1.0, 0, 0], [0, 1.0, 0]])
    pose = Frame(upright if turn is None else turn @ upright, np.array([x, 0, 0.0]))
    return whole(name, {"sheet": (plate(size, SHEET, holes), "sheet")}, openings, pose)


def opening(name: str, shape: str, size: tuple[float, float], at: Any = (0, 0, SHEET / 2)) -> Opening:
    """An opening of a standing plate."""
    return Opening(
        name, np.array(at, float), np.array([0, 0, 1.0]), np.array([1.0, 0, 0]), shape, size, "sheet"
    )


def tunnel(*ends: Part, length: float = 500.0, more: tuple[Part, ...] = (), **rule: Any) -> World:
    """Four walls along x from 0, plates at its ends or within, a fan at the far end that blows out."""
    half, wall = INSIDE / 2, INSIDE / 2 + SHEET
    walls = {
        "front": (box([0, -wall, -wall], [length, -half, wall]), "sheet"),
        "rear": (box([0, half, -wall], [length, wall, wall]), "sheet"),
        "floor": (box([0, -half, -wall], [length, half, -half]), "sheet"),
        "roof": (box([0, -half, half], [length, half, wall]), "sheet"),
    }
    last = standing("last", length - 1, [round_hole(0, 0, 61)])
    blower = fan("fan", [length - SHEET - 12.5, 0, 0], [-1, 0, 0])
    return world(whole("walls", walls), last, blower, *ends, *more, ventilation=rule)
