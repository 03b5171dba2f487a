"""Built-in models as shapes, and what can be asked of a shape without fitcheck's engine.

Inside is decided by arithmetic for boxes and cylinders and by the winding number for triangles; overlap by
manifold3d, where a cylinder is a prism of 180 sides drawn inside it (at radius 100 it lacks 0.015 mm).
"""

from __future__ import annotations

from functools import cache
from typing import Any

import manifold3d
import numpy as np

import fitcheck
from fitcheck.parts.build import build_shape, evaluate_model
from fitcheck.parts.features import Shape
from fitcheck.parts.solids import Kind, Piece, Solid
from fitcheck.scene.amounts import Amount
from fitcheck.scene.expression import evaluate
from fitcheck.scene.quantity import arithmetic
from fitcheck.scene.read import Model, library, read_model
from fitcheck.world.frames import Frame
from fitcheck.world.world import World, piece_bounds

SIDES_OF_PRISM = 180
HERE = Frame(np.eye(3), np.zeros(3))


@cache
def model(name: str) -> Model:
    """A built-in model by name."""
    return read_model(library()[name], f"{name}.yaml")


def written(value: Any) -> Amount | str | bool:
    """A value as a test writes it: 16 is 16 mm or a count, `mini_itx` a choice."""
    return Amount(float(value), bare=True) if isinstance(value, int | float) else value


def values(name: str, **given: Any) -> dict[str, Amount | str | bool]:
    """All values of a built-in model."""
    return evaluate_model(model(name), {key: written(value) for key, value in given.items()})


def shape(name: str, **given: Any) -> Shape:
    """A built-in model built with these values."""
    return build_shape(model(name), values(name, **given))


def placed(parts: str) -> World:
    """The world of a scene that has only these parts, one flow mapping a line."""
    return fitcheck.load(f"parts:\n{parts}", name="scene")


def settings(name: str) -> list[tuple[str, Any]]:
    """Every choice of every parameter, and both ends of every range, one at a time."""
    plain = values(name)

    def end(raw: Any) -> float:
        return float(evaluate(arithmetic(raw), lambda other: plain[other]).value)

    found: list[tuple[str, Any]] = []
    for parameter, entry in model(name).file.parameters.items():
        found += [(parameter, choice) for choice in entry.choices or []]
        found += [(parameter, end(raw)) for raw in entry.range or [] if raw is not None]
    return found


def bounds(made: Shape, *solids: str) -> np.ndarray:
    """(2, 3) bounds of some solids, or of all, mm."""
    chosen = [made.solids[name] for name in solids] or list(made.solids.values())
    boxes = [piece_bounds(piece, HERE) for solid in chosen for piece in solid.pieces]
    return np.array([np.min([box[0] for box in boxes], axis=0), np.max([box[1] for box in boxes], axis=0)])


def size(made: Shape, *solids: str) -> np.ndarray:
    """(3,) extents of some solids, or of all, mm."""
    low, high = bounds(made, *solids)
    return np.asarray(high - low)


def inside(solid: Solid, points: np.ndarray) -> np.ndarray:
    """(n,) whether points (n, 3) lie in a solid."""
    return np.any([_inside(piece, points) for piece in solid.pieces], axis=0)


def _inside(piece: Piece, points: np.ndarray) -> np.ndarray:
    own = (points - piece.centre) @ piece.rotation
    bounded = np.all(np.abs(own) <= piece.half, axis=1)
    if piece.kind == Kind.BOX or not bounded.any():
        return bounded
    if piece.kind == Kind.CYLINDER:
        return (np.hypot(own[:, 0], own[:, 1]) <= piece.half[0]) & (np.abs(own[:, 2]) <= piece.half[2])
    assert piece.mesh is not None
    bounded[bounded] = _winding(piece.mesh.vertices[piece.mesh.faces], own[bounded]) > 0.5
    return bounded


def _winding(triangles: np.ndarray, points: np.ndarray) -> np.ndarray:
    """(n,) winding numbers: solid angles of the triangles (Van Oosterom and Strackee 1983) over 4 pi."""
    total = np.zeros(len(points))
    for k, point in enumerate(points):
        a, b, c = np.moveaxis(triangles - point, 1, 0)
        la, lb, lc = (np.linalg.norm(v, axis=1) for v in (a, b, c))
        top = np.einsum("ij,ij->i", a, np.cross(b, c))
        dot = np.einsum
        below = (
            la * lb * lc
            + dot("ij,ij->i", a, b) * lc
            + dot("ij,ij->i", b, c) * la
            + dot("ij,ij->i", c, a) * lb
        )
        total[k] = np.arctan2(top, below).sum() / (2 * np.pi)
    return total


def body(piece: Piece) -> manifold3d.Manifold:
    """A piece as a closed body for manifold3d."""
    if piece.kind == Kind.BOX:
        made = manifold3d.Manifold.cube(tuple(2 * piece.half), True)
    elif piece.kind == Kind.CYLINDER:
        radius, _, half = piece.half
        made = manifold3d.Manifold.cylinder(2 * half, radius, radius, SIDES_OF_PRISM, True)
    else:
        assert piece.mesh is not None
        # The binding refuses read-only arrays.
        vertices, faces = piece.mesh.vertices.copy(), piece.mesh.faces.astype(np.uint64)
        made = manifold3d.Manifold(manifold3d.Mesh64(vert_properties=vertices, tri_verts=faces))
    assert made.status() == manifold3d.Error.NoError
    return made.transform(np.column_stack([piece.rotation, piece.centre]))


def overlap(a: Solid, b: Solid) -> float:
    """Least side of the bounds of what two solids share, mm: 0 when they only touch."""
    deepest = 0.0
    for one in a.pieces:
        for other in b.pieces:
            (low, high), (low_b, high_b) = piece_bounds(one, HERE), piece_bounds(other, HERE)
            meet = np.min(np.minimum(high, high_b) - np.maximum(low, low_b))
            if meet <= deepest:
                continue
            shared = body(one) ^ body(other)
            if shared.volume() > 1e-9:
                box = np.array(shared.bounding_box()).reshape(2, 3)
                deepest = max(deepest, float(np.min(box[1] - box[0])))
    return deepest
