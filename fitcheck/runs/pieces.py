"""A centre line cut into straights and bends, each with its own frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

# A corner turned by less is straight, radians: over 1 m it leads 1e-6 mm astray.
STRAIGHT = 1e-9


@dataclass(frozen=True, eq=False)
class Pieces:
    """Straights and bends in their order along a line, mm and radians.

    A point at distance s into a piece is `start + s ahead` on a straight, and
    `start + radius (sin a ahead + (1 - cos a) side)` with a = s / radius on a bend.

    Args:
        start: (n, 3) where each begins.
        ahead: (n, 3) unit direction there.
        side: (n, 3) unit, from there to the bend's centre; square to `ahead`.
        radius: (n,) of a bend, 0 of a straight.
        length: (n,).
        begin: (n,) how far along the line each begins.
    """

    start: np.ndarray
    ahead: np.ndarray
    side: np.ndarray
    radius: np.ndarray
    length: np.ndarray
    begin: np.ndarray

    def __len__(self) -> int:
        return len(self.length)


def pieces(corners: np.ndarray, radius: float) -> Pieces:
    """Cut a polyline (n, 3), whose inner corners are rounded with `radius`, into its pieces.

    A bend takes R tan(a / 2) of both legs; what is left of a leg may be nothing. A leg that
    is too short for its bends is walked backwards by what is missing, so that the line still
    holds together: `Route.is_sound` says whether there is one.
    """
    points = np.asarray(corners, float)
    legs = np.diff(points, axis=0)
    sizes = np.linalg.norm(legs, axis=1)
    ways = legs / sizes[:, None]
    starts, aheads, sides, radii, lengths = [], [], [], [], []

    def add(start: np.ndarray, ahead: np.ndarray, side: np.ndarray, bend: float, length: float) -> None:
        if length != 0.0:
            starts.append(start), aheads.append(ahead), sides.append(side)
            radii.append(bend), lengths.append(length)

    taken = 0.0
    for k, way in enumerate(ways):
        turn, take, side = 0.0, 0.0, _square(way)
        if k + 1 < len(ways):
            across = ways[k + 1] - way * (way @ ways[k + 1])
            sine = float(np.linalg.norm(across))
            turn = float(np.arctan2(sine, way @ ways[k + 1]))
            if turn > STRAIGHT:
                take, side = radius * np.tan(turn / 2), across / sine
        left = float(sizes[k]) - taken - take
        add(points[k] + taken * way, way if left > 0 else -way, side, 0.0, abs(left))
        if turn > STRAIGHT:
            add(points[k + 1] - take * way, way, side, radius, radius * turn)
        taken = take
    along = np.concatenate([[0.0], np.cumsum(lengths)])[:-1]
    return Pieces(
        np.array(starts, float).reshape(-1, 3),
        np.array(aheads, float).reshape(-1, 3),
        np.array(sides, float).reshape(-1, 3),
        np.array(radii, float),
        np.array(lengths, float),
        along,
    )


def _square(way: np.ndarray) -> np.ndarray:
    """Any unit direction square to this one."""
    across = np.cross(way, np.eye(3)[int(np.abs(way).argmin())])
    return np.asarray(across / np.linalg.norm(across))
