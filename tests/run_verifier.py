"""Is a laid run what it says? Worked out anew from its corners and its radius, by none of fitcheck's kernels.

The centre line is rebuilt as points that stand dense; distances are those of other libraries (`run_oracles.py`).
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

import numpy as np
from run_oracles import piece_distance
from scipy.spatial import cKDTree

from fitcheck.parts.solids import Piece
from fitcheck.world.frames import Frame
from fitcheck.world.wishes import End, LaidRun, Passage, RunWish
from fitcheck.world.world import Part, World

# Points on a centre line stand so far apart, mm.
STEP = 1.0
# By so much, mm, may a length be off by rounding of what is written and of these points.
ROUNDING = 1e-3


def faults(world: World) -> list[str]:
    """What is wrong with the runs of a laid world; one without a way is not asked."""
    runs = [run for run in world.laid if run.corners is not None]
    lines = {run.name: centre_line(run)[0] for run in runs}
    found = [f"{run.name}: {said}" for run in runs for said in run_faults(world, run)]
    for one, other in combinations(runs, 2):
        due = (one.wish.outside + other.wish.outside) / 2 + max(one.wish.clearance, other.wish.clearance)
        apart = float(cKDTree(lines[one.name]).query(lines[other.name])[0].min())
        if apart < due - ROUNDING:
            found.append(f"{one.name} and {other.name} are {due - apart:.4f} mm too near")
    return found


def run_faults(world: World, run: LaidRun) -> list[str]:
    """What is wrong with one run that has a way, other runs aside."""
    points, straights = centre_line(run)
    return [
        *_shape(run, points, straights),
        *_ends(run, points, straights),
        *_bent(run.wish, run, straights),
        *_passages(run, points),
        *_itself(run, points),
        *_clear(world, run, points),
    ]


def centre_line(run: LaidRun, step: float = STEP) -> tuple[np.ndarray, np.ndarray]:
    """(n, 3) points along a run's polyline with its corners rounded, and the straights left over, mm.

    A corner that turns by t takes r tan(t / 2) of both its legs.
    """
    legs = np.diff(run.corners, axis=0)
    lengths = np.linalg.norm(legs, axis=1)
    ways = legs / lengths[:, None]
    turns = _angles(ways[:-1], ways[1:])
    takes = np.concatenate([[0], run.radius * np.tan(turns / 2), [0]])
    straights = lengths - takes[:-1] - takes[1:]
    points = [run.corners[:1]]
    for k, (way, length) in enumerate(zip(ways, lengths, strict=True)):
        along = np.linspace(takes[k], length - takes[k + 1], int(max(straights[k], 0) / step) + 2)[:, None]
        points.append(run.corners[k] + along * way)
        if k < len(turns) and turns[k] > 1e-9:
            inward = ways[k + 1] - way * np.cos(turns[k])
            inward /= np.linalg.norm(inward)
            begin = run.corners[k] + way * (length - takes[k + 1])
            angles = np.linspace(0, turns[k], int(run.radius * turns[k] / step) + 2)[:, None]
            points.append(begin + run.radius * (np.sin(angles) * way + (1 - np.cos(angles)) * inward))
    dense = np.concatenate([*points, run.corners[-1:]])
    apart = np.linalg.norm(np.diff(dense, axis=0), axis=1)
    return dense[np.concatenate([[True], apart > 1e-3])], straights


def _angles(ones: np.ndarray, others: np.ndarray) -> np.ndarray:
    """(n,) between unit vectors, radians; right for the smallest too."""
    return np.arctan2(np.linalg.norm(np.cross(ones, others), axis=-1), np.sum(ones * others, axis=-1))


def _shape(run: LaidRun, points: np.ndarray, straights: np.ndarray) -> Iterator[str]:
    """It is one line, nowhere bent tighter than demanded, and as long as it says."""
    if run.radius < run.wish.radius:
        yield f"bent with {run.radius}, {run.wish.radius} are demanded"
    if straights.min() < -1e-6:
        yield f"its bends lack {-straights.min():.4f} mm"
    chords = np.linalg.norm(np.diff(points, axis=0), axis=1)
    if chords.max() > STEP + ROUNDING:
        yield f"a jump of {chords.max():.3f} mm"
    # Three points in a row lie on a circle of four times their area over the product of their distances.
    a, b = np.diff(points[:-1], axis=0), np.diff(points[1:], axis=0)
    bent = 2 * np.linalg.norm(np.cross(a, b), axis=1)
    bent /= np.linalg.norm(a, axis=1) * np.linalg.norm(b, axis=1) * np.linalg.norm(a + b, axis=1)
    if bent.max(initial=0) > (1 + 1e-4) / run.wish.radius:
        yield f"a bend of radius {1 / bent.max():.3f}"
    if abs(chords.sum() - run.length) > 1e-3 * run.length:
        yield f"{chords.sum():.2f} mm long, it says {run.length:.2f}"
    if run.bound > run.length + 1e-6:
        yield f"shorter by {run.bound - run.length:.6f} mm than what is said to be proved"


def _ends(run: LaidRun, points: np.ndarray, straights: np.ndarray) -> Iterator[str]:
    """It begins at its ports and leaves each straight, for its stub at least."""
    for end, first, second, straight in (
        (run.wish.start, *run.corners[:2], straights[0]),
        (run.wish.goal, *run.corners[:-3:-1], straights[-1]),
    ):
        if np.abs(first - end.at).max() > 1e-6:
            yield f"begins {first - end.at} off {end.place}"
        way = (second - first) / np.linalg.norm(second - first)
        if _angles(way, end.out) > 1e-6:
            yield f"leaves {end.place} {np.degrees(_angles(way, end.out)):.4f} degrees off"
        if straight < end.stub - 1e-6:
            yield f"straight for {straight:.4f} mm at {end.place}, {end.stub} are demanded"


def _bent(wish: RunWish, run: LaidRun, straights: np.ndarray) -> Iterator[str]:
    """A rigid tube has only bends and straights that can be made."""
    if wish.bending is None:
        return
    ways = np.diff(run.corners, axis=0)
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    turns = np.degrees(_angles(ways[:-1], ways[1:]))
    for turn in turns:
        if wish.bending.angles and min(abs(turn - angle) for angle in wish.bending.angles) > 1e-3:
            yield f"a bend of {turn:.3f} degrees"
    if straights[1:-1].min(initial=np.inf) < wish.bending.straight - 1e-6:
        yield f"only {straights[1:-1].min():.4f} mm straight between two bends"


def _passages(run: LaidRun, points: np.ndarray) -> Iterator[str]:
    """It goes through one opening of each step, in order, within the size left free."""
    since = -1
    for place, step in zip(run.through, run.wish.through, strict=True):
        (passage,) = [one for one in step if one.place == place]
        behind = passage.at - passage.axis * passage.thickness
        crossed = [_crossing(points, at, passage, since) for at in (passage.at, behind)]
        if None in crossed:
            yield f"does not go through {place}"
            return
        for at, _ in crossed:
            short = _short(run.wish, passage, at)
            if short > ROUNDING:
                yield f"{short:.4f} mm beyond what {place} leaves free"
        since = max(index for _, index in crossed)


def _crossing(
    points: np.ndarray, plane: np.ndarray, passage: Passage, since: int
) -> tuple[np.ndarray, int] | None:
    """Where the line crosses a plane nearest to the opening, after an index, and there the index."""
    heights = (points - plane) @ passage.axis
    found = [
        (points[k] + (points[k + 1] - points[k]) * heights[k] / (heights[k] - heights[k + 1]) - plane, k)
        for k in range(max(since, 0), len(points) - 1)
        if heights[k] * heights[k + 1] <= 0 and heights[k] != heights[k + 1]
    ]
    return min(found, key=lambda one: float(np.linalg.norm(one[0]))) if found else None


def _short(wish: RunWish, passage: Passage, at: np.ndarray) -> float:
    """How far a run reaches beyond what an opening leaves free, mm, if it goes through its plane at a place.

    A flat cable may lie along the long side.
    """
    x, y = abs(float(at @ passage.up)), abs(float(at @ np.cross(passage.axis, passage.up)))
    wide, thick = wish.flat or (wish.outside, wish.outside)
    long, narrow = passage.size
    if passage.shape == "round":
        return float(np.hypot(x, y) + np.hypot(wide, thick * bool(wish.flat)) / 2 + wish.play - long / 2)
    return max(x + wide / 2 + wish.play - long / 2, y + thick / 2 + wish.play - narrow / 2)


def _itself(run: LaidRun, points: np.ndarray) -> Iterator[str]:
    """Places half a turn or more apart along it are its diameter apart; nearer ones cannot meet."""
    chords = np.linalg.norm(np.diff(points, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(chords)])
    pairs = cKDTree(points).query_pairs(run.wish.outside - ROUNDING, output_type="ndarray")
    if len(pairs):
        far = np.abs(along[pairs[:, 0]] - along[pairs[:, 1]]) > np.pi * run.radius
        if far.any():
            yield f"passes through itself at {np.round(points[pairs[far][0, 0]], 1)}"


def _clear(world: World, run: LaidRun, points: np.ndarray) -> Iterator[str]:
    """Of every solid it keeps the distance demanded; what it sits in it may touch."""
    wish = run.wish
    runs = {other.name for other in world.laid}
    for part in (one for one in world.parts if one.name not in runs):
        own = _beyond_stubs(wish, part, points)
        for name, solid in part.shape.solids.items():
            due = wish.outside / 2 + _demand(run, part.name, name)
            yield from _too_near(part, f"{part.name}.{name}", solid.pieces, own, due)
        if part.name not in (wish.start.part, wish.goal.part):
            for name, kept in part.shape.keep_clear.items():
                said = f"what {part.name}.{name} keeps clear"
                yield from _too_near(part, said, (kept.piece,), points, wish.outside / 2)


def _too_near(
    part: Part, name: str, pieces: tuple[Piece, ...], points: np.ndarray, due: float
) -> Iterator[str]:
    for piece in pieces:
        own = (part.pose @ Frame(piece.rotation, piece.centre)).inverse().point(points)
        off = np.linalg.norm(np.maximum(np.abs(own) - piece.half, 0.0), axis=1)
        near = points[off < due]
        if len(near):
            least = float(piece_distance(piece, part.pose, near).min())
            if least < due - ROUNDING:
                yield f"{due - least:.4f} mm too near {name}"


def _beyond_stubs(wish: RunWish, part: Part, points: np.ndarray) -> np.ndarray:
    """The points that a part stands in the way of: all, but of what it sits in not its straight end there."""
    for end in (wish.start, wish.goal):
        if end.part == part.name:
            points = points[_off_stub(wish, end, points)]
    return points


def _off_stub(wish: RunWish, end: End, points: np.ndarray) -> np.ndarray:
    along = (points - end.at) @ end.out
    aside = np.linalg.norm(points - end.at - along[:, None] * end.out, axis=1)
    # As far as its own round end would reach back into the mouth, and half a millimetre.
    straight = max(end.stub, wish.outside / 2 + 0.5)
    return (along > straight) | (along < -1e-6) | (aside > 1e-6)


def _demand(run: LaidRun, part: str, solid: str) -> float:
    """The distance demanded from a solid, beyond half the outside, mm."""
    wish = run.wish
    if part in (wish.start.part, wish.goal.part):
        return 0.0
    for parts, least in wish.away_from:
        if part in parts or f"{part}.{solid}" in parts:
            return least
    taken = [one for step, place in zip(wish.through, run.through, strict=True)
             for one in step if one.place == place]  # fmt: skip
    if any(one.part == part and one.solid in (solid, "") for one in taken):
        thick = min(wish.flat) if wish.flat else wish.outside
        return wish.play - (wish.outside - thick) / 2
    return wish.clearance
