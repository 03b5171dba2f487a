"""Level and volume of boxes and cylinders against polyhedra clipped by another library, and closed forms."""

from __future__ import annotations

import math

import manifold3d
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitcheck.loops.volumes import below, whole
from fitcheck.loops.waterway import centre_line
from fitcheck.parts.pieces import box_piece, cylinder_piece
from fitcheck.world.frames import turn_about

QUICK = settings(derandomize=True, deadline=None, max_examples=120)
UP = np.array([0.0, 0.0, 1.0])
ROUND = manifold3d.Manifold.cylinder(100, 30, 30, 720)


def directions():
    return (
        st.tuples(*[st.floats(-1, 1)] * 3)
        .filter(lambda v: math.hypot(*v) > 0.1)
        .map(lambda v: np.array(v) / math.hypot(*v))
    )


def clipped(solid, up, level) -> float:
    """Volume below the level, cut by a half space."""
    return solid.trim_by_plane([-float(c) for c in up], -float(level)).volume()


@given(
    up=st.one_of(directions(), st.sampled_from([UP, -UP, np.array([1.0, 0, 0])])), level=st.floats(-40, 60)
)
@QUICK
def test_box(up, level):
    piece = box_piece(np.array([-10.0, -20, 0]), np.array([30.0, 5, 12]))
    solid = manifold3d.Manifold.cube([40, 25, 12]).translate([-10, -20, 0])
    assert below(piece, up, level) == pytest.approx(clipped(solid, up, level), abs=0.02)
    assert below(piece, up, level) + below(piece, -up, -level) == pytest.approx(whole(piece))


@given(
    up=st.one_of(directions(), st.sampled_from([UP, -UP, np.array([1.0, 0, 0])])), level=st.floats(-40, 120)
)
@QUICK
def test_cylinder(up, level):
    """A prism of 720 sides has 1.3e-5 less volume."""
    piece = cylinder_piece(np.array([0.0, 0, 0]), np.array([0.0, 0, 100]), 60.0)
    assert below(piece, up, level) == pytest.approx(clipped(ROUND, up, level), abs=6)
    assert whole(piece) == pytest.approx(math.pi * 900 * 100)


def test_cylinder_wedge():
    """A hoof cut through a diameter of the base, h high at the rim: 2 r² h / 3 (Archimedes)."""
    piece = cylinder_piece(np.array([0.0, 0, 0]), np.array([0.0, 0, 200]), 60.0)
    up = np.array([-math.sin(0.5), 0.0, math.cos(0.5)])
    rim = 30 * math.tan(0.5)
    assert below(piece, up, 0.0) == pytest.approx(2 * 30**2 * rim / 3)


@pytest.mark.parametrize("lean", [1e-12, 1e-9, 1e-8, 1e-7, 1e-6, 1e-4])
def test_hardly_leaning(lean):
    """A level 2 mm over the floor stays 2 mm deep, on the base as on the side."""
    up = np.array([math.sin(lean), 0.0, math.cos(lean)])
    box = box_piece(np.array([-50.0, -50, 0]), np.array([50.0, 50, 40]))
    assert below(box, up, 2.0) == pytest.approx(2 * 100 * 100, rel=1e-6)
    rod = cylinder_piece(np.array([0.0, 0, 0]), np.array([0.0, 0, 40]), 60.0)
    assert below(rod, up, 2.0) == pytest.approx(2 * math.pi * 900, rel=1e-6)
    flat = np.array([math.cos(lean), 0.0, math.sin(lean)])
    assert below(rod, flat, 0.0) == pytest.approx(math.pi * 900 * 20, rel=1e-3)


@given(st.floats(10, 170), st.floats(10, 60), directions())
@QUICK
def test_a_bend_is_parted_at_its_extremes(angle, radius, up):
    """Length L - 2 R tan(a/2) + R a; and no point of the true arc is higher or lower than the nodes."""
    leg = 60 * math.tan(math.radians(85)) + 50
    out = turn_about(UP, angle) @ np.array([1.0, 0, 0])
    corners = np.array([[-leg, 0, 0], [0, 0, 0], leg * out])
    pieces = centre_line(corners, radius, [up])
    half = math.radians(angle) / 2
    assert sum(length for _, length in pieces) == pytest.approx(
        2 * (leg - radius * math.tan(half)) + 2 * radius * half
    )
    start = corners[1] - radius * math.tan(half) * np.array([1.0, 0, 0])
    centre = start + radius * np.array([0.0, 1, 0])
    turns = np.linspace(0, 2 * half, 2001)
    arc = centre + radius * np.stack([np.sin(turns), -np.cos(turns), 0 * turns], axis=1)
    nodes = np.array([corners[0], *[point for point, _ in pieces]]) @ up
    assert (arc @ up).max() <= nodes.max() + 1e-9
    assert (arc @ up).min() >= nodes.min() - 1e-9
    # Monotone between the nodes: every turn of the heights' sense happens at a node.
    heights = arc @ up
    for k in np.flatnonzero(np.diff(np.sign(np.diff(heights)))):
        assert np.abs(nodes - heights[k + 1]).min() < 1e-3
