"""Of two pieces whose surfaces are free: does one lie in the other?"""

from __future__ import annotations

import numpy as np

from fitcheck.world import kernels
from fitcheck.world.forest import planted
from fitcheck.world.kernels.crossings import UNSURE, turns_about
from fitcheck.world.kernels.tree import DEPTH
from fitcheck.world.trees import Pose, Tree

# Winding numbers of closed meshes are whole; how far one may be off to be read so.
WHOLE = 0.1
# Open meshes: a winding number between these leaves open whether a point is inside.
OUTSIDE, INSIDE = 0.25, 0.75


def inside(first: Tree, second: Tree, pose: Pose) -> bool | None:
    """Does any shell of one lie in the other?

    None when a mesh is open, or the pieces touch, in a way that leaves it undecided.
    """
    back = Pose(pose.rotation.T, -pose.rotation.T @ pose.shift)
    answers = [_any_inside(first, second.shells, pose), _any_inside(second, first.shells, back)]
    if True in answers:
        return True
    return None if None in answers else False


def _any_inside(around: Tree, shells: np.ndarray, pose: Pose) -> bool | None:
    """Does any of shells, (s, 6, 3) points of each, lie in a piece?"""
    points = shells @ pose.rotation.T + pose.shift
    reached = ((points >= around.bounds[0]) & (points <= around.bounds[1])).all(axis=(1, 2))
    undecided = False
    for shell in points[reached]:
        answer = point_inside(around, shell)
        if answer:
            return True
        undecided |= answer is None
    return None if undecided else False


def point_inside(around: Tree, points: np.ndarray) -> bool | None:
    """Are these points of one shell inside? The first clear answer counts.

    Winding number as a test for open meshes: Jacobson, Kavan and Sorkine-Hornung 2013.
    """
    if around.closed:
        forest, roots = planted([around])
        for point in points:
            turns = np.empty(1, np.int64)
            turns_about(forest, roots, point[None], np.empty(DEPTH + 2, np.int64), turns)
            if turns[0] != UNSURE:
                return bool(turns[0] != 0)
    for winding in kernels.winding_number(around.triangles, points):
        if around.closed and abs(winding - round(winding)) < WHOLE:
            return bool(round(winding) != 0)
        if not around.closed and not OUTSIDE < winding < INSIDE:
            return bool(winding >= INSIDE)
    return None
