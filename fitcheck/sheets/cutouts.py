"""Holes and cut-outs of a sheet as shapes in its plane, and how much material is left between them.

Each is a point, a segment or a rectangle grown by a radius: distances are exact, whatever facets it is drawn
with.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitcheck.sheets.sections import distances

# A segment of a drawn outline belongs to a cut-out where both its ends lie so near the cut-out's edge, mm.
ON_EDGE = 0.02


@dataclass(frozen=True, eq=False)
class Cut:
    """A hole or cut-out in the plane of its sheet.

    Args:
        name: of the hole or opening in the model.
        core: (n, 2) a point, the two ends of a slot's middle line, or the corners of a rectangle in order.
        radius: grown by this, mm; 0 for a rectangle.
        is_hole: a screw goes through it; else it is for air, cables, a window.
    """

    name: str
    core: np.ndarray
    radius: float
    is_hole: bool

    @property
    def edges(self) -> np.ndarray:
        """(m, 2, 2) segments of the core; of a point one without length."""
        return np.stack([self.core, np.roll(self.core, -1, axis=0)], axis=1)

    def near(self, points: np.ndarray) -> np.ndarray:
        """(n,) distance of points (n, 2) from its edge, mm; inside it below 0."""
        off = distances(points, self.edges).min(axis=1)
        if len(self.core) > 2:
            off = np.where(_within(self.core, points), -off, off)
        return np.asarray(off - self.radius)

    def owns(self, segments: np.ndarray) -> np.ndarray:
        """(n,) whether drawn segments (n, 2, 2) are part of its edge."""
        ends = [np.abs(self.near(segments[:, k])) <= ON_EDGE for k in (0, 1)]
        return np.asarray(ends[0] & ends[1])

    def gap_to(self, other: Cut) -> float:
        """Material left between two cut-outs, mm; below 0 where they run into each other (not how far)."""
        return _cores_apart(self, other) - self.radius - other.radius

    def gap_to_edge(self, segments: np.ndarray) -> tuple[float, int]:
        """Material left to the nearest of segments (n, 2, 2), mm, and which that is."""
        off = _segments_apart(self.edges, segments).min(axis=0)
        nearest = int(off.argmin())
        return float(off[nearest]) - self.radius, nearest


def edges_of_none(segments: np.ndarray, cuts: Sequence[Cut]) -> np.ndarray:
    """The drawn segments (n, 2, 2) that are part of no cut-out's edge."""
    segments = segments[np.argsort(segments[:, 0, 0], kind="stable")]
    starts = segments[:, 0, 0]
    free = np.ones(len(segments), bool)
    for cut in cuts:
        reach = cut.radius + ON_EDGE
        low = int(np.searchsorted(starts, cut.core[:, 0].min() - reach))
        high = int(np.searchsorted(starts, cut.core[:, 0].max() + reach, side="right"))
        free[low:high] &= ~cut.owns(segments[low:high])
    return np.asarray(segments[free])


def _within(corners: np.ndarray, points: np.ndarray) -> np.ndarray:
    """(n,) whether points lie in a convex polygon of either sense."""
    along = np.roll(corners, -1, axis=0) - corners
    off = points[:, None] - corners
    cross = along[:, 0] * off[..., 1] - along[:, 1] * off[..., 0]
    return np.asarray((cross > 0).all(axis=1) | (cross < 0).all(axis=1))


def _cores_apart(one: Cut, other: Cut) -> float:
    for a, b in ((one, other), (other, one)):
        if len(a.core) > 2 and bool(_within(a.core, b.core).any()):
            return 0.0
    return float(_segments_apart(one.edges, other.edges).min())


def _segments_apart(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """(n, m) distances of segments (n, 2, 2) from segments (m, 2, 2); 0 where they cross."""
    apart = np.minimum(
        np.minimum(distances(one[:, 0], other), distances(one[:, 1], other)),
        np.minimum(distances(other[:, 0], one), distances(other[:, 1], one)).T,
    )
    return np.where(_cross(one, other), 0.0, apart)


def _cross(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """(n, m) whether segments cross, each the line of the other."""

    def side(line: np.ndarray, points: np.ndarray) -> np.ndarray:
        along = line[:, 1] - line[:, 0]
        off = points[None] - line[:, None, 0]
        return np.asarray(along[:, None, 0] * off[..., 1] - along[:, None, 1] * off[..., 0])

    a = side(one, other[:, 0]) * side(one, other[:, 1]) < 0
    b = side(other, one[:, 0]) * side(other, one[:, 1]) < 0
    return np.asarray(a & b.T)
