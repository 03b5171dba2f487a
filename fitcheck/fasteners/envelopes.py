"""Room for a screw's head, its key and nut, and for what it reaches: free-standing pieces asked of the world.

The rooms are those of common practice: a straight driver behind the head, or a hexagon key that is swung by
the sixty degrees a hexagon needs; a nut held by a socket along the screw, or by an open spanner from one
side.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace

import numpy as np

from fitcheck.fasteners.tables import Head, Thread, key_arms
from fitcheck.parts.solids import Kind, Piece
from fitcheck.world.bodies import Bodies, bounds_gap, with_probe
from fitcheck.world.engine import CONTACT, sweep_probe
from fitcheck.world.frames import IDENTITY
from fitcheck.world.pairs import apart_by, measure_rows
from fitcheck.world.world import piece_bounds

# A driver: diameter and length of its shank, of its handle (common practice: shank 6 to 8, handle 25 to 35,
# a blade of 75 and more, 160 to 260 overall).
SHANK, SHANK_LONG = 7.0, 85.0
HANDLE, HANDLE_LONG = 30.0, 90.0
# A hexagon key turns by sixty degrees a grip (360 / 6); it is as thick as its hexagon over the corners.
GRIP = 60.0
CORNERS = 2 / np.sqrt(3)
# Ways a key or spanner is tried to point.
TRIED = 12
# A socket round a nut, in widths over flats, and its length; a spanner's jaw: width in widths over flats,
# length and thickness beyond the nut (common practice).
SOCKET, SOCKET_LONG = 1.5, 50.0
JAW, JAW_LONG = 2.2, 90.0
# A tip is followed so far, mm: no standard screw here is longer.
TIP = 80.0
SLICE = 2 * CONTACT


def rod(start: np.ndarray, way: np.ndarray, diameter: float, length: float) -> Piece:
    """A cylinder from a place (3,) along a way (3,) unit, in the world, mm."""
    half = np.array([diameter / 2, diameter / 2, length / 2])
    return Piece(Kind.CYLINDER, half, _frame(way, across(way)[0]), start + way * length / 2)


def across(way: np.ndarray) -> np.ndarray:
    """(2, 3) unit axes across a way, along the world's where it is."""
    first = np.cross(way, np.eye(3)[int(np.abs(way).argmin())])
    first = first / np.linalg.norm(first)
    return np.array([first, np.cross(way, first)])


def _frame(way: np.ndarray, first: np.ndarray) -> np.ndarray:
    frame = np.column_stack([first, np.cross(way, first), way])
    near = np.round(frame)
    return np.where(np.abs(frame - near) < 1e-12, near + 0.0, frame)


def in_the_way(solids: Bodies, piece: Piece, ignore: Collection[int] = ()) -> str:
    """Name of a solid that a piece interferes with, or empty.

    Asked is whether the piece less the contact tolerance meets anything, which needs no depth. What hides in
    an open mesh is not seen.
    """
    within = bounds_gap(piece_bounds(piece, IDENTITY), solids.body_bounds) <= 0.0
    within[list(ignore)] = False
    close = np.flatnonzero(within)
    if not len(close):
        return ""
    figures = (array.tobytes() for array in (piece.half, piece.rotation, piece.centre))
    key = ("in the way", int(piece.kind), *figures, *solids.serials[close].tolist())

    def asked() -> tuple[int, ...]:
        return tuple(int(solids.serials[k]) for k in _met(solids, piece, close))

    hits = asked() if solids.answers is None else solids.answers.of(key, asked)
    return next((solids.all[k].name for k in close.tolist() if int(solids.serials[k]) in hits), "")


def _met(solids: Bodies, piece: Piece, close: np.ndarray) -> list[int]:
    """Which of some bodies a piece interferes with."""
    among = with_probe(solids, replace(piece, half=piece.half - CONTACT))
    own = len(among.kinds) - 1
    rows = solids.rows(close)
    rows = rows[bounds_gap(among.bounds[own], among.bounds[rows]) <= 0.0]
    asked = np.column_stack([rows, np.full(len(rows), own)])
    meshed = among.kinds[rows] == Kind.MESH
    hit = np.zeros(len(rows), bool)
    if meshed.any():
        hit[meshed] = apart_by(among, asked[meshed]) < 0
    if not meshed.all():
        plain = asked[~meshed]
        found = measure_rows(among, plain, np.arange(len(plain)), np.zeros(len(plain)))
        hit[~meshed] = found.depth > 0
    return sorted(set(solids.body[rows[hit]].tolist()))


def first_hit(solids: Bodies, pieces: Iterator[Piece], ignore: Collection[int] = ()) -> str:
    """Name of what the first of the pieces that is not free interferes with, or empty."""
    return next((hit for piece in pieces if (hit := in_the_way(solids, piece, ignore))), "")


def head_room(thread: Thread, head: Head, washers: int, seat: np.ndarray, out: np.ndarray) -> Iterator[Piece]:
    """The washers and the head on a seat (3,), `out` the way the screw comes from."""
    _, wide, thick = thread.washer
    if washers:
        yield rod(seat, out, wide, washers * thick)
    yield rod(seat + out * washers * thick, out, head.diameter, head.height)


def key_way(
    solids: Bodies, head: Head, top: np.ndarray, out: np.ndarray, ignore: Collection[int] = ()
) -> tuple[str, str]:
    """How a screw is turned, `driver` or `key`, or empty; and what is in the way of a driver.

    Args:
        top: (3,) middle of the head's upper side.
        out: (3,) unit, the way the screw comes from.
        ignore: bodies that are not there yet.
    """
    driver = (
        rod(top, out, min(SHANK, head.diameter), SHANK_LONG),
        rod(top + out * SHANK_LONG, out, HANDLE, HANDLE_LONG),
    )
    hit = first_hit(solids, iter(driver), ignore)
    if not hit:
        return "driver", ""
    thick = head.key * CORNERS
    short, long = key_arms(head.key)
    if in_the_way(solids, rod(top, out, thick, short), ignore):
        return "", hit
    axes = across(out)
    for angle in np.arange(TRIED) * 2 * np.pi / TRIED:
        if not first_hit(solids, _swing(top + out * (short - thick), out, axes, angle, thick, long), ignore):
            return "key", hit
    return "", hit


def _swing(
    at: np.ndarray, out: np.ndarray, axes: np.ndarray, middle: float, thick: float, long: float
) -> Iterator[Piece]:
    """The long arm of a key over one grip, as bars side by side that leave no gap at its end."""
    half = np.radians(GRIP) / 2
    for angle in np.arange(middle - half, middle + half + 1e-9, np.arctan2(thick, long) / 1.5):
        way = np.cos(angle) * axes[0] + np.sin(angle) * axes[1]
        size = np.array([long / 2, thick / 2, thick / 2])
        turn = np.column_stack([way, np.cross(out, way), out])
        yield Piece(Kind.BOX, size, turn, at + way * long / 2 + out * thick / 2)


def nut_room(thread: Thread, seat: np.ndarray, out: np.ndarray) -> Piece:
    """A nut on its seat (3,), `out` away from the sheet."""
    _, height, corners = thread.nut
    return rod(seat, out, corners, height)


def nut_hold(
    solids: Bodies, thread: Thread, seat: np.ndarray, out: np.ndarray, ignore: Collection[int] = ()
) -> tuple[str, str]:
    """How a nut is held, `socket` or `spanner`, or empty; and what is in the way of a socket."""
    flats, height, _ = thread.nut
    hit = in_the_way(solids, rod(seat, out, SOCKET * flats, SOCKET_LONG), ignore)
    if not hit:
        return "socket", ""
    axes = across(out)
    for angle in np.arange(TRIED) * 2 * np.pi / TRIED:
        way = np.cos(angle) * axes[0] + np.sin(angle) * axes[1]
        size = np.array([(JAW_LONG + flats) / 2, JAW * flats / 2, height / 2])
        middle = seat + out * height / 2 + way * (JAW_LONG - flats) / 2
        jaw = Piece(Kind.BOX, size, np.column_stack([way, np.cross(out, way), out]), middle)
        if not in_the_way(solids, jaw, ignore):
            return "spanner", hit
    return "", hit


def tip_way(
    solids: Bodies, start: np.ndarray, way: np.ndarray, diameter: float, ignore: Collection[int] = ()
) -> tuple[float, str]:
    """How far a screw's tip gets from a place (3,) along a way, mm, and what stops it (inf, empty)."""
    piece = rod(start, way, diameter, SLICE)
    found = sweep_probe(solids, piece, way, TIP, ignore)
    if found.against is None:
        return float("inf"), ""
    return (0.0 if found.overlaps else found.distance + SLICE), solids.all[found.against].name
