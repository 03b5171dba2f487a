"""Bend tables: a bent tube as points (XYZ) and as length, rotation, angle (LRA), and back.

Both are the trade's forms. XYZ lists the start, the points where the straights of the centre
line would meet, and the end. LRA lists for each bend the straight fed since the last bend (L), the
turn of the tube about its own axis since then (R), and the angle of the bend (A); a last straight
closes it. The sign of R is a convention of each workshop: here it is right-handed about the
direction of feed, from the start to the end of the tube, and 0 at the first bend.

Angles are those of the finished tube. How far a tube springs back depends on material, wall and
heat, and is not in these tables.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from fitcheck.parts.pieces import square_frame
from fitcheck.runs.route import Route
from fitcheck.runs.sheets import Cell, sheet
from fitcheck.world.frames import Frame

# Thousandths of mm and degrees: rows rebuilt from the file lie within hundredths of mm of the tube.
DECIMALS = 3
HEADER = (
    "run",
    "point",
    "x [mm]",
    "y [mm]",
    "z [mm]",
    "length [mm]",
    "rotation [deg]",
    "angle [deg]",
    "radius [mm]",
)


@dataclass(frozen=True)
class Row:
    """One bend.

    Args:
        length: straight from the end of the bend before, or from the cut end of the tube, mm.
        rotation: turn about the feed since the bend before, degrees, -180 to 180.
        angle: of the bend, degrees.
    """

    length: float
    rotation: float
    angle: float


@dataclass(frozen=True, eq=False)
class BendTable:
    """A tube as cut and bent.

    Args:
        rows: its bends in the order of feed.
        last: straight after the last bend, mm.
        radius: of the centre line in every bend, mm.
        before, after: what of the first and of the last straight is cut on beyond the centre line's
            ends, mm: what goes into the fittings, and what is trimmed.
        frame: world_from_tube; the tube is fed along its own +x from the cut end at its origin, and
            bends first about its own +z, to +y.
    """

    rows: tuple[Row, ...]
    last: float
    radius: float
    before: float
    after: float
    frame: Frame

    @property
    def cut(self) -> float:
        """Length to cut: straights, and arcs R A pi / 180 (tube-bending handbooks), mm."""
        arcs = math.fsum(math.radians(row.angle) for row in self.rows)
        return math.fsum([*(row.length for row in self.rows), self.last, self.radius * arcs])

    @property
    def developed(self) -> float:
        """Length of the centre line between its ends, without what is cut on, mm."""
        return self.cut - self.before - self.after


def bend_table(route: Route, before: float = 0.0, after: float = 0.0) -> BendTable:
    """The table of a route; corners that go straight on are no bends.

    Args:
        route: sound; its start is fed first.
        before, after: cut on at the start and at the end, mm.
    """
    bends = route.bends
    ways = [route.ways[0], *(route.ways[bend.corner] for bend in bends)]
    normals = [_normal(way, way_out) for way, way_out in pairwise(ways)]
    ends = [route.corners[0] - ways[0] * before, *(bend.end for bend in bends)]
    starts = [*(bend.start for bend in bends), route.corners[-1] + ways[-1] * after]
    lengths = [float((start - end) @ way) for end, start, way in zip(ends, starts, ways, strict=True)]
    turned = [
        0.0,
        *(_turned(a, b, way) for a, b, way in zip(normals[:-1], normals[1:], ways[1:-1], strict=True)),
    ]
    rows = tuple(
        Row(length, math.degrees(turn), math.degrees(bend.angle))
        for length, turn, bend in zip(lengths[:-1], turned, bends, strict=False)
    )
    up = normals[0] if normals else square_frame(ways[0])[:, 0]
    frame = Frame(np.stack([ways[0], np.cross(up, ways[0]), up], axis=1), ends[0])
    return BendTable(rows, lengths[-1], route.radius, before, after, frame)


def _normal(way: np.ndarray, way_out: np.ndarray) -> np.ndarray:
    """The unit axis of a bend, right-handed from one direction to the next, square to the first."""
    normal = np.cross(way, way_out)
    normal /= np.linalg.norm(normal)
    # Of a slight bend the cross product is mostly rounding.
    normal -= way * (normal @ way)
    return np.asarray(normal / np.linalg.norm(normal))


def _turned(a: np.ndarray, b: np.ndarray, way: np.ndarray) -> float:
    """Right-handed angle about `way` from a to b, radians."""
    return math.atan2(float(np.cross(a, b) @ way), float(a @ b))


def points(table: BendTable) -> np.ndarray:
    """The XYZ form: (n, 3) cut end, meeting points of the straights, cut end, world, mm."""
    at = table.frame.origin
    way, _, normal = table.frame.rotation.T
    found = [at]
    take = 0.0
    for row in table.rows:
        angle, turn = math.radians(row.angle), math.radians(row.rotation)
        reach = table.radius * math.tan(angle / 2)
        at = at + way * (take + row.length + reach)
        found.append(at)
        normal = normal * math.cos(turn) + np.cross(way, normal) * math.sin(turn)
        way = way * math.cos(angle) + np.cross(normal, way) * math.sin(angle)
        take = reach
    found.append(at + way * (take + table.last))
    return np.array(found)


def bend_sheet(tables: Mapping[str, BendTable]) -> bytes:
    """Both forms of all tubes in one file: a row for the start, for each bend, and for the end.

    Lengths stand in the row of the point they lead to. The coordinates are the scene's.
    """
    return sheet(HEADER, (row for name, table in tables.items() for row in _lines(name, table)), DECIMALS)


def _lines(name: str, table: BendTable) -> list[list[Cell]]:
    first, *corners, end = points(table).tolist()
    lines: list[list[Cell]] = [[name, "start", *first, None, None, None, None]]
    for k, (corner, row) in enumerate(zip(corners, table.rows, strict=True), start=1):
        turn = round(row.rotation, DECIMALS)
        # A half turn is one and the same to either side.
        lines.append(
            [name, f"bend {k}", *corner, row.length, 180.0 if turn == -180 else turn, row.angle, table.radius]
        )
    return [*lines, [name, "end", *end, table.last, None, None, None]]
