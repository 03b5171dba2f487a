"""Moves that start from a contact a little deep: meshes against the exact depth of boxes on the way.

What touches by up to 0.01 mm is no interference, so a move may begin with it; it must still stop
there when it presses in, however slanting the faces, and go on when it leaves.
"""

from __future__ import annotations

import numpy as np
import pytest
import worlds
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation
from test_trees import placed
from worlds import bodies_of

from fitcheck.world import engine, kernels, trees
from fitcheck.world.frames import SIDES, turn_about

LIMIT = 60.0
# Deeper than a contact by what a step of the search may pass over, mm (found: 0.0135 in 6,000 moves).
DEEP = 2 * engine.CONTACT


def as_mesh(half, turn, at):
    return placed(worlds.mesh(trees.BOX_CORNERS * half, trees.BOX_FACES), turn, at)


def depths(halves, turns, at, way, steps):
    """Depth of the second box in the first after each of `steps` of the first along `way`, mm."""
    n = len(steps)
    found = kernels.measure_pairs(
        np.zeros(n + 1, int),
        np.array([halves[1]] + [halves[0]] * n),
        np.array([turns[1]] + [turns[0]] * n),
        np.vstack([at, way * steps[:, None]]),
        np.column_stack([np.arange(1, n + 1), np.zeros(n, int)]),
    )
    return found.depth


def check_move_from_a_contact(seed):
    rng = np.random.default_rng(seed)
    halves = rng.uniform(2, 20, (2, 3))
    turns = [Rotation.random(random_state=rng).as_matrix() if seed % 3 else np.eye(3)]
    turns.append(Rotation.random(random_state=rng).as_matrix())
    at = rng.normal(size=3)
    at *= rng.uniform(5, 30) / np.linalg.norm(at)
    found = kernels.measure_pairs([0, 0], halves, np.array(turns), np.array([np.zeros(3), at]), [(0, 1)])
    gap = found.distance[0] if found.distance[0] > 0 else -found.depth[0]
    at = at - found.normal[0] * (gap + rng.choice([0, 1e-6, 1e-4, 0.002, 0.006, 0.009]))
    if depths(halves, turns, at, np.zeros(3), np.zeros(1))[0] > engine.CONTACT:
        return  # deeper by another corner
    way = rng.normal(size=3)
    way = way / np.linalg.norm(way) if seed % 2 else list(SIDES.values())[rng.integers(6)]
    one, other = as_mesh(halves[0], turns[0], np.zeros(3)), as_mesh(halves[1], turns[1], at)
    travel = engine.travel(bodies_of(one, other), [0], way, LIMIT).distance
    assert depths(halves, turns, at, way, np.linspace(0, travel, 200)).max() <= DEEP
    # Nothing is in the way: it goes on.
    if depths(halves, turns, at, way, np.linspace(0, LIMIT, 200)).max() == 0:
        assert travel == LIMIT


@settings(derandomize=True, deadline=None, max_examples=200)
@given(st.integers(0, 2**32 - 1))
def test_move_from_a_contact(seed):
    check_move_from_a_contact(seed)


@pytest.mark.long
@settings(derandomize=True, deadline=None, max_examples=5000)
@given(st.integers(0, 2**32 - 1))
def test_move_from_a_contact_long(seed):
    check_move_from_a_contact(seed)


def slope(angle):
    """A block with a face that rises to the right at an angle, 50 long, its low edge at the origin."""
    x, z = 50 * np.cos(np.radians(angle)), 50 * np.sin(np.radians(angle))
    section = [(0, 0), (0, -20), (x, -20), (x, z)]
    corners = [(px, py, pz) for py in (-20, 20) for px, pz in section]
    sides = [(k, (k + 1) % 4, (k + 1) % 4 + 4, k + 4) for k in range(4)]
    faces = [(3, 2, 1, 0), (4, 5, 6, 7), *sides]
    return worlds.mesh(corners, [corner for a, b, c, d in faces for corner in ((a, c, b), (a, d, c))])


@pytest.mark.parametrize("depth", [0.0, 1e-5, 0.004, 0.008])
@pytest.mark.parametrize("angle", [30, 45, 60, 75, 85])
@pytest.mark.parametrize("mesh", [True, False])
def test_a_block_on_a_slope_stays_on_it(angle, depth, mesh):
    """Pressed into the slope it goes nowhere, to the left and up it leaves."""
    rise = np.radians(angle)
    turn = turn_about(np.array([0.0, 1, 0]), -angle)
    along, out = np.array([np.cos(rise), 0, np.sin(rise)]), np.array([-np.sin(rise), 0, np.cos(rise)])
    at = 25 * along + (5 - depth) * out
    block = as_mesh([5, 5, 5], turn, at) if mesh else placed(worlds.box([-5] * 3, [5] * 3), turn, at)
    bodies = bodies_of(block, slope(angle))
    for side, opposite, way in (
        ("right", "left", 0), ("bottom", "top", 0), ("left", "right", LIMIT), ("top", "bottom", LIMIT),
    ):  # fmt: skip
        assert engine.travel(bodies, [0], side, LIMIT).distance == pytest.approx(way, abs=1e-6)
        assert engine.travel(bodies, [1], opposite, LIMIT).distance == pytest.approx(way, abs=1e-6)
