"""Ends of mated ports in their zones: what is let pass as a whole, against points all over the end."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from worlds import bodies_of, box, mesh, rod

from fitcheck.parts.solids import Kind, Piece
from fitcheck.world.contacts import beyond_zone
from fitcheck.world.world import Zone

AT = np.array([3.0, -7.0, 11.0])
RING = np.linspace(0, 2 * np.pi, 48, endpoint=False)


def turned(seed: int, square: bool) -> np.ndarray:
    """A rotation: any, or by quarter turns."""
    random = np.random.default_rng(seed)
    if square:
        turn = np.eye(3)[random.permutation(3)] * random.choice([-1.0, 1.0], 3)[:, None]
    else:
        turn, _ = np.linalg.qr(random.normal(size=(3, 3)))
    return turn * np.sign(np.linalg.det(turn))


def surface(piece: Piece) -> np.ndarray:
    """Points of a box or cylinder that hold its farthest ones: corners, or both rims."""
    half = piece.half
    if piece.kind == Kind.CYLINDER:
        rim = half[0] * np.column_stack([np.cos(RING), np.sin(RING)])
        local = np.concatenate([np.column_stack([rim, np.full(len(rim), z)]) for z in (-half[2], half[2])])
    else:
        local = half * np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)])
    return local @ piece.rotation.T + piece.centre


def sticks_out(piece: Piece, zone: Zone) -> float:
    """The farthest that a point of the piece is beyond the zone, by the zone's definition."""
    at = surface(piece) - zone.at
    along = at @ zone.inward
    off = np.sqrt(np.maximum((at**2).sum(axis=1) - along**2, 0.0))
    return float(max((-along).max(), (along - zone.depth).max(), (off - zone.radius).max()))


@settings(derandomize=True, deadline=None, max_examples=300)
@given(
    seed=st.integers(0, 10_000),
    square=st.booleans(),
    kind=st.sampled_from([Kind.BOX, Kind.CYLINDER]),
    half=st.tuples(*[st.floats(0.5, 6.0)] * 3),
    depth=st.floats(2.0, 15.0),
    radius=st.floats(1.0, 9.0),
    lift=st.floats(-2.0, 12.0),
)
def test_nothing_is_let_pass_that_sticks_out(seed, square, kind, half, depth, radius, lift):
    zone = Zone(AT, turned(seed + 1, square)[2], radius, depth)
    size = np.array(half if kind == Kind.BOX else (half[0], half[0], half[2]))
    piece = Piece(kind, size, turned(seed, square), AT + lift * zone.inward, None)
    # A block that holds the end as a whole: what they share is the end itself.
    solids = bodies_of(piece, box(AT - 60, AT + 60))
    beyond = beyond_zone(solids, 0, 1, zone)
    assert beyond is not None
    out = sticks_out(piece, zone)
    # Rims of 48 points lie inside their circle by at most 0.014 mm at 6.5 mm; so do prisms, by less.
    assert beyond.most == pytest.approx(max(out, 0.0), abs=0.03)


def test_an_end_that_just_fits_passes_against_an_open_mesh_too():
    zone = Zone(np.zeros(3), np.array([0.0, 0.0, -1.0]), 6.5, 10.0)
    lid = mesh([[-20, -20, -5], [20, -20, -5], [0, 30, -5]], [[0, 1, 2]], closed=False)
    fits, long = (rod([0, 0, -reach], [0, 0, 0], 13) for reach in (10.0, 10.1))
    assert beyond_zone(bodies_of(fits, lid), 0, 1, zone).most == 0.0
    assert beyond_zone(bodies_of(long, lid), 0, 1, zone) is None


@pytest.mark.parametrize(("start", "end"), [(0.5, -9.0), (0.0, -10.5)])
def test_before_the_mouth_and_past_the_end_count(start, end):
    zone = Zone(np.zeros(3), np.array([0.0, 0.0, -1.0]), 6.5, 10.0)
    solids = bodies_of(rod([0, 0, end], [0, 0, start], 13), box([-30, -30, -40], [30, 30, 40]))
    assert beyond_zone(solids, 0, 1, zone).most == pytest.approx(0.5)
