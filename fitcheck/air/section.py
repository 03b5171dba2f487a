"""A plane cross-section of free space, measured on the exact shapes: where a cut says that it is narrow."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from fitcheck.air.grid import distinct
from fitcheck.rays.kernels import compiled
from fitcheck.rays.lines import Stops, first_hits

# Squares that a section is measured in, edge at least, mm, and how many across it at most.
FINEST, ACROSS = 0.75, 160
# How far the plane's place is moved at first, in pitches of the cut's grid.
MOVES = (0.0, -0.25, 0.25, -0.5, 0.5, -0.75, 0.75)
# Then tilts and places about the best, halved so many times.
FIRST_TILT, HALVINGS = 8.0, 6
# A plane must reach this share of the seeds that the best plane reaches.
MOST_SEEDS = 0.99
# Turn of the squares in the plane, radians: rows that run along a rim would count it by whole squares.
SKEW = 0.4637
# Corners of the outline that is drawn.
CORNERS = 48


@dataclass(frozen=True, eq=False)
class Section:
    """A plane cross-section.

    Args:
        area: mm2.
        middle: (3,) of it, mm.
        normal: (3,) unit vector.
        outline: (n, 3) corners of its outline, as seen from the middle, mm.
    """

    area: float
    middle: np.ndarray
    normal: np.ndarray
    outline: np.ndarray


def narrowest(
    what: Stops, seeds: np.ndarray, middle: np.ndarray, normal: np.ndarray, pitch: float
) -> Section | None:
    """The least plane section of free space near a place, by its tilt and offset; None where none has an end.

    Args:
        seeds: (2, n, 3) both ends of free ways that lead through it, mm.
        middle, normal: (3,) of the plane to begin with.
        pitch: how sure the place is, mm; 0 where the plane is known, and is only to be measured.
    """
    radius = float(np.linalg.norm(seeds[0] - middle, axis=1).max()) + max(2.5 * pitch, 10 * FINEST)
    fine = max(2 * radius / ACROSS, FINEST)
    coarse = max(2 * radius / 60, FINEST)
    best = _best_move(what, seeds, middle, normal, (pitch, radius, coarse))
    if best is None:
        return None
    turn, move, area, whole = best
    tilt, step = FIRST_TILT, pitch / 8
    frame = _frame(normal)
    for _ in range(HALVINGS if pitch else 0):
        for a, b, c in (
            (tilt, 0, 0),
            (-tilt, 0, 0),
            (0, tilt, 0),
            (0, -tilt, 0),
            (0, 0, step),
            (0, 0, -step),
        ):
            tried = turn + np.array([a, b])
            new = _tilted(frame, tried)
            found = _area(what, seeds, middle + (move + c) * new[2], new, radius, coarse)
            if found is not None and found[0] < area - 1e-6 and found[2] >= whole:
                turn, move, area = tried, move + c, found[0]
        tilt, step = tilt / 2, step / 2
    final = _tilted(frame, turn)
    at = middle + move * final[2]
    measured = _area(what, seeds, at, final, radius, fine)
    if measured is None:
        return None
    return _section(measured[:2], at, final, radius, fine)


def _best_move(
    what: Stops, seeds: np.ndarray, middle: np.ndarray, normal: np.ndarray, sizes: tuple[float, float, float]
) -> tuple[np.ndarray, float, float, float] | None:
    """(tilts, move, area, least number of seeds) of the best plane along the normal.

    Nearly square ones are tried square as well. A plane that leaves out seeds that another one reaches is not
    all of a cut.
    """
    pitch, radius, coarse = sizes
    frame = _frame(normal)
    tried = []
    for tilts, move in product(_squares(frame) if pitch else [np.zeros(2)], MOVES if pitch else (0.0,)):
        new = _tilted(frame, tilts)
        found = _area(what, seeds, middle + move * pitch * new[2], new, radius, coarse)
        if found is not None:
            tried.append((tilts, move * pitch, found[0], found[2]))
    most = MOST_SEEDS * max((count for *_, count in tried), default=0)
    whole = [(tilts, move, area, most) for tilts, move, area, count in tried if count >= most]
    return min(whole, key=lambda one: one[2], default=None)


def _squares(frame: np.ndarray) -> list[np.ndarray]:
    """Tilts that leave the plane as it is, and that bring it square to the world where it nearly is."""
    found = [np.zeros(2)]
    axis = int(np.abs(frame[2]).argmax())
    aim = np.zeros(3)
    aim[axis] = np.sign(frame[2, axis])
    if frame[2] @ aim > np.cos(np.radians(20.0)) and frame[2] @ aim < 1 - 1e-9:
        along, across, ahead = frame @ aim
        found.append(np.degrees([np.arctan2(along, ahead), np.arctan2(across, np.hypot(along, ahead))]))
    return found


def _frame(normal: np.ndarray) -> np.ndarray:
    """(3, 3) rows: two directions of the plane, and its normal."""
    side = np.cross(normal, np.eye(3)[int(np.abs(normal).argmin())])
    side /= np.linalg.norm(side)
    other = np.cross(normal, side)
    along = np.cos(SKEW) * side + np.sin(SKEW) * other
    return np.array([along, np.cross(normal, along), normal])


def _tilted(frame: np.ndarray, tilts: np.ndarray) -> np.ndarray:
    """The frame turned so that its normal leans by these degrees to its first, then its second direction."""
    a, b = np.radians(tilts)
    ahead = np.array([np.sin(a) * np.cos(b), np.sin(b), np.cos(a) * np.cos(b)])
    return _frame(ahead @ frame)


def _area(
    what: Stops, seeds: np.ndarray, at: np.ndarray, frame: np.ndarray, radius: float, edge: float
) -> tuple[float, np.ndarray, int] | None:
    """Area, squares reached and number of seeds of the section through a place; None when it has no end, or
    nothing is free.

    It is filled from where the ways cross it, and from squares straight before points that they begin at, as
    far as nothing is between.
    """
    reach = int(np.ceil(radius / edge))
    side = 2 * reach + 1
    from_plane = [(end - at) @ frame[2] for end in seeds]
    crossing = (from_plane[0] > 0) != (from_plane[1] > 0)
    part = (from_plane[0] / np.where(crossing, from_plane[0] - from_plane[1], 1.0))[crossing]
    begin, end = seeds[0][crossing], seeds[1][crossing]
    places = np.concatenate([begin + part[:, None] * (end - begin), distinct(seeds[0])])
    flat = (places - at) @ frame[:2].T
    squares = np.unique(np.rint(flat / edge).astype(np.int64) + reach, axis=0, return_index=True)
    cells, chosen = squares
    middles = at + ((cells - reach) * edge) @ frame[:2]
    good = np.asarray(((cells > 0) & (cells < side - 1)).all(axis=1))
    good[good] = first_hits(what, places[chosen[good]], middles[good], only_whether=True).free
    cells = cells[good]
    if not len(cells):
        return None
    filled = np.zeros((side, side), np.int64)
    todo = np.zeros(side * side + 1, np.int64)
    filled[cells[:, 0], cells[:, 1]] = 1
    todo[: len(cells)] = cells[:, 0] * side + cells[:, 1]
    numbers = np.concatenate([at, frame[0], frame[1], [edge, reach]])
    area = compiled.free_area(what.pieces, numbers, filled, todo, len(cells))
    return None if area < 0 else (area, filled, len(cells))


def _section(
    measured: tuple[float, np.ndarray], at: np.ndarray, frame: np.ndarray, radius: float, edge: float
) -> Section:
    area, filled = measured
    reach = int(np.ceil(radius / edge))
    squares = (np.argwhere(filled > 0) - reach) * edge
    places = at + squares @ frame[:2]
    return Section(area, places.mean(axis=0), frame[2], outline(places, frame[:2]))


def outline(places: np.ndarray, plane: np.ndarray) -> np.ndarray:
    """(n, 3) those of places (m, 3) that lie farthest out from their middle in a plane (2, 3)."""
    flat = (places - places.mean(axis=0)) @ plane.T
    turn, far = np.arctan2(flat[:, 1], flat[:, 0]), np.hypot(flat[:, 0], flat[:, 1])
    sector = np.floor((turn + np.pi) / (2 * np.pi) * CORNERS).astype(int) % CORNERS
    farthest = []
    for k in range(CORNERS):
        inside = np.flatnonzero(sector == k)
        if len(inside):
            farthest.append(inside[int(far[inside].argmax())])
    return places[farthest]


def flat_outline(places: np.ndarray) -> np.ndarray:
    """(n, 3) the outline of places (m, 3) across the direction in which they are spread least."""
    if len(places) < 3:
        return np.empty((0, 3))
    return outline(places, np.linalg.svd(places - places.mean(axis=0), full_matrices=False)[2][:2])
