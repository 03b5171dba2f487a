"""Containment: is each part inside the compartment it claims?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import partial

import numpy as np

from fitcheck.checks.verdicts import mm
from fitcheck.finding import Answer, Finding, Verdict
from fitcheck.parts.solids import Kind, Piece
from fitcheck.world.bodies import bodies
from fitcheck.world.engine import CONTACT
from fitcheck.world.frames import SIDES
from fitcheck.world.world import Part, Room, World

# Directions nearer to a face or an axis than this (sine) count as on it: rounding of turns.
FLAT = 1e-12
# Corners of a mesh within this of the farthest count as equally far, mm.
LEVEL = 1e-3

QUESTION = "is each part inside the compartment it claims?"


def check_containment(world: World) -> Answer:
    """Measure how far each part sticks out of the compartment it claims.

    Exact for solids of every shape: a compartment is a box along the world's axes, so the
    farthest point of the part towards each of its six walls decides. An assembly that
    claims a compartment is measured as one.

    Returns:
        One finding for each part or assembly that claims a compartment, in scene order.
    """
    solids = bodies(world)
    place = {part.name: index for index, part in enumerate(world.parts)}
    of_piece = solids.body_parts[solids.body]

    def measured(name: str, parts: list[Part], room: Room) -> Finding:
        pieces = {part.name: solids.bounds[of_piece == place[part.name]] for part in parts}
        return _measure(name, parts, pieces, room)

    found = []
    for name, inside, parts in claimed(world):
        room = world.compartments[inside]
        key = "containment", name, inside, room.bounds.tobytes(), *(part.serial for part in parts)
        found.append(world.answers.of(key, partial(measured, name, parts, room)))
    return Answer(tuple(found))


def claimed(world: World) -> Iterator[tuple[str, str, list[Part]]]:
    """(name, compartment, parts): an assembly under its own name when all of it claims the same."""
    groups: dict[str, list[Part]] = {}
    for part in world.parts:
        if part.shape.solids:
            groups.setdefault(part.group, []).append(part)
    for group, parts in groups.items():
        claims = {part.claims for part in parts}
        if len(claims) == 1 and parts[0].claims:
            yield group, parts[0].claims, parts
            continue
        yield from ((part.name, part.claims, [part]) for part in parts if part.claims)


def _measure(name: str, parts: list[Part], pieces: Mapping[str, np.ndarray], room: Room) -> Finding:
    beyond = {}
    where = {}
    for side, direction, wall in _walls(room):
        reaches = [(_farthest(part, pieces[part.name], direction), part) for part in parts]
        (point, far), _ = max(reaches, key=lambda reach: reach[0][1])
        beyond[side] = far - wall
        where[side] = point
    out = {side: by for side, by in beyond.items() if by > CONTACT}
    details = {
        "out": {side: round(by, 6) for side, by in sorted(out.items(), key=lambda item: -item[1])},
        "to_wall": {side: round(max(-by, 0.0), 6) for side, by in beyond.items()},
    }
    if not out:
        return Finding(
            "containment", (name, room.name), Verdict.FITS, f"{name} is inside {room.name}", 0.0, 0.0,
            details=details,
        )  # fmt: skip
    worst = max(out, key=lambda side: out[side])
    others = "".join(f", {mm(by)} at the {side}" for side, by in out.items() if side != worst)
    x, y, z = where[worst]
    return Finding(
        "containment", (name, room.name), Verdict.FAILS,
        f"{name} sticks {mm(out[worst])} out of {room.name} at the {worst}{others}",
        out[worst], 0.0,
        where=((float(x), float(y), float(z)),),
        details=details,
    )  # fmt: skip


def _walls(room: Room) -> Iterator[tuple[str, np.ndarray, float]]:
    """(side, outward direction, how far out the wall lies along it) for the six walls."""
    for side, direction in SIDES.items():
        axis = int(np.abs(direction).argmax())
        end = 1 if direction[axis] > 0 else 0
        yield side, direction, float(direction[axis] * room.bounds[end, axis])


def _farthest(part: Part, bounds: np.ndarray, direction: np.ndarray) -> tuple[np.ndarray, float]:
    """The part's farthest point towards a side, and how far out it lies, mm.

    Where several pieces reach equally far (the two bosses of a radiator), the middle of theirs.
    By the bounds (n, 2, 3) of its pieces only those that come so far are asked.
    """
    ends = (bounds @ direction).max(axis=1)
    if not len(ends):
        return part.pose.origin, -np.inf
    pieces = [piece for solid in part.shape.solids.values() for piece in solid.pieces]
    points = np.array(
        [
            part.pose.point(_support(pieces[k], part.pose.rotation.T @ direction))
            for k in np.flatnonzero(ends >= ends.max() - 2 * LEVEL).tolist()
        ]
    )
    reach = points @ direction
    farthest = points[reach >= reach.max() - LEVEL]
    return farthest.mean(axis=0), float(reach.max())


def _support(piece: Piece, direction: np.ndarray) -> np.ndarray:
    """Farthest point (3,) of a piece towards a direction, both in the frame of its part.

    Where a whole face or edge lies equally far, its middle.
    """
    own = piece.rotation.T @ direction
    if piece.mesh is not None:
        along = piece.mesh.vertices @ own
        reach = piece.mesh.vertices[along >= along.max() - LEVEL].mean(axis=0)
        reach = reach + own * (along.max() - float(reach @ own))
    elif piece.kind == Kind.BOX:
        reach = np.where(np.abs(own) < FLAT, 0.0, np.sign(own)) * piece.half
    else:
        across = float(np.hypot(own[0], own[1]))
        ring = np.array([own[0], own[1], 0.0]) / across * piece.half[0] if across > FLAT else np.zeros(3)
        end = 0.0 if abs(own[2]) < FLAT else float(np.sign(own[2]) * piece.half[2])
        reach = ring + np.array([0.0, 0.0, end])
    return np.asarray(piece.rotation @ reach + piece.centre)
