"""Worlds in which one tube is to be laid, made at random: of clutter, or about a tube that is known to fit.

In the second kind a smooth tube is drawn first, and boxes, rods, plates with a hole for it and meshes are put
round it, each as near as it may be and a little farther: so there is a way.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import trimesh
from run_oracles import body_distances, meshed, plate, round_hole, turned
from run_verifier import centre_line
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation
from worlds import box, part, rod, world

from fitcheck.parts.features import Compartment
from fitcheck.parts.solids import Piece
from fitcheck.world.frames import IDENTITY, Frame
from fitcheck.world.wishes import SOFT, End, LaidRun, RunWish
from fitcheck.world.world import Part, World

OUTSIDE, RADIUS, CLEARANCE, STUB = 13.0, 40.0, 2.0, 15.0
# What is built about a tube stands so much farther off than it must, mm.
MARGIN = 0.5
# What the axis of that tube keeps from everything, mm.
NEED = OUTSIDE / 2 + CLEARANCE + MARGIN
# Edge of the room in which tubes are drawn, mm.
ROOM = 360.0


def wish(start: tuple[Any, Any], goal: tuple[Any, Any], **changed: Any) -> RunWish:
    """A tube between two mouths, each a place and the way that the tube leaves, in fittings of `fittings`."""
    ends = []
    for name, (at, out) in zip(("start", "goal"), (start, goal), strict=True):
        way = np.array(out, float)
        ends.append(
            End(f"{name}.port", name, np.array(at, float), way / np.linalg.norm(way), ("body",), STUB)
        )
    plain = RunWish("tube", SOFT, OUTSIDE, 10.0, RADIUS, False, *ends, clearance=CLEARANCE)
    return replace(plain, **changed)


def fittings(asked: RunWish) -> tuple[Part, ...]:
    """What a tube sits on: a rod of its size behind each mouth."""
    return tuple(
        part(end.part, rod(end.at - 20 * end.out, end.at, asked.outside)) for end in (asked.start, asked.goal)
    )


def asked_in(asked: RunWish, *parts: Part) -> World:
    """A world with one run that is not laid yet."""
    return replace(world(*fittings(asked), *parts), wishes=(asked,))


def mouth(rng: np.random.Generator, room: float = ROOM) -> tuple[np.ndarray, np.ndarray]:
    """A place in the room and a direction, each anyhow."""
    out = rng.normal(size=3)
    return rng.uniform(0, room, 3), out / np.linalg.norm(out)


def cluttered(rng: np.random.Generator, count: int = 14) -> World:
    """A tube to be laid among things anywhere; both its straight ends and their fittings are clear of them."""
    asked = wish(mouth(rng), mouth(rng))
    ends = np.concatenate(
        [
            end.at + np.linspace(-20, STUB + OUTSIDE, 30)[:, None] * end.out
            for end in (asked.start, asked.goal)
        ]
    )
    found: list[Part] = []
    while len(found) < count:
        thing = part(f"p{len(found)}", any_piece(rng), pose=turned(rng, rng.uniform(0, ROOM, 3)))
        if _least(thing, ends) > OUTSIDE / 2 + CLEARANCE + MARGIN:
            found.append(thing)
    return asked_in(asked, *found)


def any_piece(rng: np.random.Generator) -> Piece:
    """A box, a rod, a sheet with or without holes, a ball, a ring or half a bowl."""
    half = rng.uniform(5, 45, 3)
    choice = rng.integers(7)
    if choice < 2:
        return box(-half, half)
    if choice < 4:
        return rod((0, 0, -2 * half[2]), (0, 0, 2 * half[2]), half[0])
    if choice == 4:
        holes = [
            round_hole(rng.uniform(12, 40), *rng.uniform(-40, 40, 2), sides=64)
            for _ in range(rng.integers(3))
        ]
        return plate(1.5, *holes, size=rng.uniform(150, 240))
    if choice == 5:
        return meshed(trimesh.creation.torus(half.max() + 8, rng.uniform(4, 8), 24, 12))
    ball = trimesh.creation.icosphere(2, half[0])
    return meshed(ball) if rng.integers(2) else meshed(ball.slice_plane((0, 0, 0), (0, 0, 1)), closed=False)


def drawn(rng: np.random.Generator) -> LaidRun:
    """A smooth tube of two to five bends that does not come back to itself."""
    while True:
        turns = rng.uniform(0.2, 1.8, rng.integers(2, 6))
        takes = np.concatenate([[0.0], RADIUS * np.tan(turns / 2), [0.0]])
        way, at = Rotation.random(rng=rng), np.zeros(3)
        corners = [at]
        for k in range(len(turns) + 1):
            end = STUB + 2 if k in (0, len(turns)) else 0.0
            at = at + way.apply([1, 0, 0]) * (takes[k] + takes[k + 1] + end + rng.exponential(40.0))
            corners.append(at)
            if k < len(turns):
                way = way * Rotation.from_rotvec([rng.uniform(-np.pi, np.pi), 0, 0])
                way = way * Rotation.from_rotvec([0, 0, turns[k]])
        line = np.array(corners)
        line += ROOM / 2 - (line.min(axis=0) + line.max(axis=0)) / 2
        ends = [(line[0], line[1] - line[0]), (line[-1], line[-2] - line[-1])]
        run = LaidRun(wish(*ends), line, RADIUS)
        points, straights = centre_line(run, 2.0)
        if np.ptp(line, axis=0).max() < ROOM and straights.min() >= 0 and _keeps_off_itself(run, points):
            return run


def _keeps_off_itself(run: LaidRun, points: np.ndarray) -> bool:
    """Also of its fittings, with room to spare."""
    ends = [end.at - np.arange(0, 21, 2.0)[::-1, None] * end.out for end in (run.wish.start, run.wish.goal)]
    dense = np.concatenate([ends[0], points, ends[1][::-1]])
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(dense, axis=0), axis=1))])
    pairs = cKDTree(dense).query_pairs(OUTSIDE + 2 * CLEARANCE, output_type="ndarray")
    return not np.any(np.abs(along[pairs[:, 0]] - along[pairs[:, 1]]) > np.pi * RADIUS)


def solvable(rng: np.random.Generator, count: int = 30) -> tuple[World, LaidRun]:
    """A tube drawn, and a world about it.

    Every other one is closed in by six walls as near as they may be, and every other one parted by a sheet with
    a hole just for the tube.
    """
    run = drawn(rng)
    line = centre_line(run, 1.0)[0]
    found: list[Part] = []
    if rng.integers(2):
        found.append(case(np.concatenate([line, _behind(run)]), NEED))
    if rng.integers(2):
        found += _sheet(rng, run, line)
    for _ in range(40 * count):
        if len(found) >= count:
            break
        thing = part(f"p{len(found)}", any_piece(rng), pose=turned(rng, rng.uniform(-20, ROOM + 20, 3)))
        # Points 1 mm apart may miss half of that at most.
        if _least(thing, line) > NEED + 0.5 and _least(thing, _behind(run)) > 1.0 + OUTSIDE / 2:
            found.append(thing)
    return asked_in(run.wish, *found), run


def case(points: np.ndarray, off: float, pose: Frame = IDENTITY) -> Part:
    """Six walls of 1.5 mm round points, so far off the outermost, mm; both in the frame of the case."""
    low, high = points.min(axis=0) - off, points.max(axis=0) + off
    walls = {}
    for axis in range(3):
        for side, at in (("low", low[axis] - 1.5), ("high", high[axis])):
            ends = np.array([low - 1.5, high + 1.5])
            ends[:, axis] = at, at + 1.5
            walls[f"{'xyz'[axis]}_{side}"] = box(*ends)
    made = part("case", *walls.values(), names=tuple(walls), pose=pose)
    return replace(made, shape=replace(made.shape, compartments={"hall": Compartment("hall", low, high)}))


def _sheet(rng: np.random.Generator, run: LaidRun, line: np.ndarray) -> list[Part]:
    """A sheet square across a straight of the tube, larger than the case, where nothing else of it is in its way."""
    straights = centre_line(run, 1.0)[1]
    ways = np.diff(run.corners, axis=0)
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    turns = np.arccos(np.clip(np.sum(ways[:-1] * ways[1:], axis=1), -1, 1))
    takes = np.concatenate([[0.0], RADIUS * np.tan(turns / 2)])
    for k in rng.permutation(np.flatnonzero(straights > 12)):
        turn, _ = Rotation.align_vectors([ways[k]], [[0, 0, 1]])
        at = run.corners[k] + (takes[k] + straights[k] / 2) * ways[k]
        sheet = part(
            "sheet",
            plate(2.0, round_hole(2 * NEED + 0.2, sides=64), size=2 * ROOM),
            pose=Frame(turn.as_matrix(), at),
        )
        if _least(sheet, np.concatenate([line, _behind(run)])) > NEED - 1e-6:
            return [sheet]
    return []


def _behind(run: LaidRun) -> np.ndarray:
    return np.concatenate(
        [end.at - np.linspace(0, 20, 20)[:, None] * end.out for end in (run.wish.start, run.wish.goal)]
    )


def _least(thing: Part, points: np.ndarray) -> float:
    """Least distance of a part from points, below 0 where it holds one."""
    (solid,) = thing.shape.solids.values()
    (piece,) = solid.pieces
    reach = np.linalg.norm(piece.half)
    far = np.linalg.norm(points - thing.pose.point(piece.centre), axis=1) - reach
    if far.min() > 30.0:
        return float(far.min())
    if piece.mesh is not None and piece.mesh.closed and _holds(piece, thing.pose.inverse().point(points)):
        return -1.0
    return float(
        body_distances(world(thing), points[far < far.min() + 2 * reach])[f"{thing.name}.{solid.name}"].min()
    )


def _holds(piece: Piece, points: np.ndarray) -> bool:
    """Whether a closed mesh holds any of the points, by trimesh's rays."""
    assert piece.mesh is not None
    own = trimesh.Trimesh(piece.mesh.vertices, piece.mesh.faces, process=False)
    return bool(own.contains((points - piece.centre) @ piece.rotation).any())
