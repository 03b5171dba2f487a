"""Placing: where a rest, a join, or an absolute placement puts a part.

Pure geometry: faces, ports and points come in numbers, a frame comes out. What the scene
file wrote, and where, is known one room further (`resolve`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fitcheck.parts.features import Face, Link, Port
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.world.frames import OPPOSITE, SIDES, Frame, turn_about

# A side word must lie in the face's plane at least this much (sine of 6 degrees): below
# it, "left" on a floor that faces left would be a matter of rounding.
IN_PLANE = 0.1
# Two rulers nearer to parallel than this (sine) do not fix a place.
PARALLEL = 1e-3


@dataclass(frozen=True, eq=False)
class Ruler:
    """One measured offset: along `towards`, my point lies `apart` beyond theirs.

    `mine` and `theirs` are points relative to the middle of my face (turned as it will
    stand) and of the host face, mm.
    """

    towards: np.ndarray
    mine: np.ndarray
    theirs: np.ndarray
    apart: float


def moved_face(face: Face, frame: Frame) -> Face:
    """The same face, given in the outer frame of `outer_from_inner`."""
    return replace(
        face,
        centre=frame.point(face.centre),
        normal=frame.direction(face.normal),
        along=frame.direction(face.along),
    )


def moved_port(port: Port, frame: Frame) -> Port:
    """The same port, given in the outer frame of `outer_from_inner`."""
    return replace(
        port, at=frame.point(port.at), axis=frame.direction(port.axis), up=frame.direction(port.up)
    )


def rest_rotation(mine: Face, host: Face, turn: float) -> np.ndarray:
    """Rotation (3, 3) that lays my face on the host face.

    Normals opposed, my `along` on the host's `along`, then turned by `turn` degrees about
    the host's normal (counter-clockwise seen from outside the host).
    """
    own = np.column_stack([mine.along, np.cross(mine.normal, mine.along), mine.normal])
    there = np.column_stack([host.along, np.cross(-host.normal, host.along), -host.normal])
    return _clean(turn_about(host.normal, turn) @ there @ own.T)


def join_frame(mine: Port, host: Port, turn: float) -> Frame:
    """Frame that joins my port to the host's: mouths meet, axes opposed, `up` on `up`."""
    own = np.column_stack([mine.up, np.cross(mine.axis, mine.up), mine.axis])
    there = np.column_stack([host.up, np.cross(-host.axis, host.up), -host.axis])
    rotation = _clean(turn_about(host.axis, turn) @ there @ own.T)
    return Frame(rotation, host.at - rotation @ mine.at)


def rest_frame(mine: Face, host: Face, rotation: np.ndarray, rulers: Sequence[Ruler], lift: float) -> Frame:
    """Frame of a part that rests: turned by `rotation`, shifted in the plane by rulers.

    Raises:
        ValueMistake: the rulers do not fix exactly one place.
    """
    if len(rulers) > 2:
        raise ValueMistake(
            f"{len(rulers)} rulers for the two directions of the face; give one for each direction"
        )
    if (
        len(rulers) < 2
        or abs(float(np.dot(np.cross(rulers[0].towards, rulers[1].towards), host.normal))) < PARALLEL
    ):
        raise ValueMistake(_missing(host, rulers))
    rows = np.array([r.towards for r in rulers] + [host.normal])
    due = [float(r.towards @ (r.theirs - r.mine)) + r.apart for r in rulers] + [lift]
    shift = np.linalg.solve(rows, np.array(due))
    return Frame(rotation, host.centre + shift - rotation @ mine.centre)


def edge_ruler(side: str, offset: float, mine: Face, host: Face, rotation: np.ndarray) -> Ruler:
    """Ruler of the short form: my edge on that side lies `offset` inside the host's edge."""
    return Ruler(
        towards=-in_plane(side, host),
        mine=edge_point(side, mine, host, rotation),
        theirs=edge_point(side, host, host, np.eye(3)),
        apart=offset,
    )


def centre_ruler(host: Face, other: Ruler) -> Ruler:
    """Ruler that centres in the direction that `other` leaves open."""
    return Ruler(np.cross(host.normal, other.towards), np.zeros(3), np.zeros(3), 0.0)


def centre_rulers(host: Face) -> tuple[Ruler, Ruler]:
    """Rulers that centre in both directions of the host face."""
    first = Ruler(host.along, np.zeros(3), np.zeros(3), 0.0)
    return first, centre_ruler(host, first)


def edge_point(side: str, face: Face, host: Face, rotation: np.ndarray) -> np.ndarray:
    """Point of a face's outline furthest to a side, relative to its middle, turned."""
    along = rotation @ face.along * (face.size[0] / 2)
    across = rotation @ np.cross(face.normal, face.along) * (face.size[1] / 2)
    corners = np.array([along + across, along - across, -along + across, -along - across])
    reach = corners @ in_plane(side, host)
    furthest = corners[reach >= reach.max() - 1e-9]
    return np.asarray(furthest.mean(axis=0))


def in_plane(side: str, host: Face) -> np.ndarray:
    """Unit direction (3,) of a side of the world within the plane of a face.

    Raises:
        ValueMistake: the side lies across the face (top of a floor).
    """
    direction = SIDES[side] - (SIDES[side] @ host.normal) * host.normal
    length = float(np.linalg.norm(direction))
    if length < IN_PLANE:
        raise ValueMistake(
            f"{side} points out of the face {host.name}; in its plane lie {', '.join(sides_of(host))}"
        )
    return np.asarray(direction / length)


def sides_of(host: Face) -> list[str]:
    """Side words that lie in the plane of a face."""
    return [s for s, d in SIDES.items() if np.linalg.norm(d - (d @ host.normal) * host.normal) >= IN_PLANE]


def leaned(frame: Frame, mine: Face, host: Face, side: str, degrees: float) -> Frame:
    """The same part tipped towards a side about the edge of its resting face there."""
    towards = in_plane(side, host)
    pivot = frame.point(mine.centre) + edge_point(side, mine, host, frame.rotation)
    tip = turn_about(np.cross(host.normal, towards), degrees)
    return Frame(_clean(tip @ frame.rotation), tip @ (frame.origin - pivot) + pivot)


def absolute_frame(at: np.ndarray, turns: Sequence[tuple[str, float]], point: np.ndarray) -> Frame:
    """Frame of a part turned about world axes in order, with its `point` brought to `at`."""
    rotation = np.eye(3)
    for axis, degrees in turns:
        rotation = turn_about(np.eye(3)["xyz".index(axis)], degrees) @ rotation
    rotation = _clean(rotation)
    return Frame(rotation, at - rotation @ point)


def check_link(mine: Link, theirs: Link) -> None:
    """Refuse a join that cannot be made.

    Raises:
        ValueMistake: kind (thread to plug), size, or gender do not go together.
    """
    if mine.kind != theirs.kind:
        raise ValueMistake(f"a {mine.kind} ({mine.size}) does not join a {theirs.kind} ({theirs.size})")
    if mine.size != theirs.size:
        raise ValueMistake(f"{mine.kind} {mine.size} does not join {mine.kind} {theirs.size}")
    if {mine.gender, theirs.gender} not in ({"male", "female"}, {"none"}):
        raise ValueMistake(f"{mine.gender} to {theirs.gender} does not join ({mine.kind} {mine.size})")


def _missing(host: Face, rulers: Sequence[Ruler]) -> str:
    """Say in which directions the place is still open."""
    pairs = [("left", "right"), ("front", "rear"), ("bottom", "top")]
    free = [pair for pair in pairs if pair[0] in sides_of(host)]
    if len(rulers) == 1:
        free = [p for p in free if abs(in_plane(p[0], host) @ rulers[0].towards) < 0.9]
    elif len(rulers) == 2:
        return "both rulers measure the same direction; give one for each direction of the face"
    ways = " and ".join(f"{a}–{OPPOSITE[a]}" for a, _ in free)
    words = ", ".join(f"{word}:" for pair in free for word in pair)
    centre = "across" if len(rulers) == 1 else "both"
    return f"nothing says where it lies {ways}; give one of {words}, or centre: {centre}"


def _clean(rotation: np.ndarray) -> np.ndarray:
    """Rotation with entries within rounding of 0 and 1 made exact.

    Square placements are the rule; without this a quarter turn leaves 6e-17 in a matrix,
    and a box counts as turned.
    """
    near = np.round(rotation)
    return np.where(np.abs(rotation - near) < 1e-12, near + 0.0, rotation)
