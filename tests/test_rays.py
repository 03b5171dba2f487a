"""Lines through worlds, held against an oracle that asks every piece by itself."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ray_oracles import first, random_piece
from worlds import bodies_of, box, mesh, rod

from fitcheck.parts.solids import Kind
from fitcheck.rays.lines import first_hits, nearest, stops

ICE = mesh([[0, 0, 0], [9, 0, 0], [0, 9, 0], [0, 0, 9]], [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])


def lines(pieces, starts, ends, **how):
    solids = bodies_of(*pieces)
    return first_hits(
        stops(solids, np.arange(len(pieces))), np.array(starts, float), np.array(ends, float), **how
    )


@pytest.mark.parametrize(
    ("piece", "start", "end", "share"),
    [
        (box([10, 0, 0], [20, 5, 5]), [0, 2, 2], [100, 2, 2], 0.10),
        (box([10, 0, 0], [20, 5, 5]), [15, 2, 2], [100, 2, 2], 0.0),  # starts inside
        (box([10, 0, 0], [20, 5, 5]), [0, 2, 2], [9, 2, 2], np.inf),  # too short
        (box([10, 0, 0], [20, 5, 5]), [0, 5, 2], [100, 5, 2], np.inf),  # along a face from outside: free
        (rod([0, 0, 0], [0, 0, 10], 8), [-10, 0, 5], [10, 0, 5], 0.30),
        (rod([0, 0, 0], [0, 0, 10], 8), [1, 1, 30], [1, 1, -10], 0.50),  # by the end, along the axis
        (rod([0, 0, 0], [0, 0, 10], 8), [4, -9, 5], [4, 9, 5], np.inf),  # touches the side only
        (ICE, [1, 1, -10], [1, 1, 10], 0.50),
        (ICE, [1, 1, 1], [1, 1, -9], 0.10),  # from inside out: its shell
        (ICE, [4.5, 4.5, -5], [4.5, 4.5, 5], 0.50),  # by an edge
    ],
)  # fmt: skip
def test_where_a_line_stops(piece, start, end, share):
    assert lines([piece], [start], [end]).shares[0] == pytest.approx(share)


def test_no_line_slips_between_two_triangles():
    # A square of two triangles, lines through points of its diagonal.
    square = mesh([[0, 0, 0], [7, 0, 0], [7, 7, 0], [0, 7, 0]], [[0, 1, 2], [0, 2, 3]], closed=False)
    along = np.linspace(0.01, 6.99, 997)
    begin = np.column_stack([along - 0.3, along + 0.1, np.full(997, -1.0)])
    end = np.column_stack([along + 0.3, along - 0.1, np.full(997, 1.0)])
    assert not lines([square], begin, end).free.any()


def test_nothing_stops_no_line():
    assert lines([], [[0, 0, 0]], [[1, 1, 1]]).free.all()


@settings(derandomize=True, deadline=None, max_examples=60)
@given(seed=st.integers(0, 10**6), count=st.integers(1, 12))
def test_as_every_piece_by_itself(seed, count):
    rng = np.random.default_rng(seed)
    pieces = [random_piece(rng) for _ in range(count)]
    starts, ends = rng.uniform(-60, 60, (2, 40, 3))
    found = lines(pieces, starts, ends)
    whether = lines(pieces, starts, ends, only_whether=True)
    for k in range(len(starts)):
        share, which = first(pieces, starts[k], ends[k])
        assert found.shares[k] == pytest.approx(share, abs=1e-9)
        if which >= 0 and share > 0:
            assert found.rows[k] == which
        assert whether.free[k] == (which < 0)


def far_off(piece, point):
    """Distance of a point to a box or cylinder by its faces; to a mesh by many points of its triangles."""
    own = (point - piece.centre) @ piece.rotation
    if piece.kind == Kind.MESH:
        u, v = np.meshgrid(np.linspace(0, 1, 60), np.linspace(0, 1, 60))
        inside = (u + v <= 1 + 1e-9).ravel()
        u, v = u.ravel()[inside], v.ravel()[inside]
        corners = np.asarray(piece.mesh.vertices)[piece.mesh.faces]
        places = (
            corners[:, :1]
            + u[:, None] * (corners[:, 1:2] - corners[:, :1])
            + v[:, None] * (corners[:, 2:] - corners[:, :1])
        )
        return np.linalg.norm(places.reshape(-1, 3) - own, axis=1).min()
    beyond = np.abs(own) - piece.half
    if piece.kind == Kind.CYLINDER:
        beyond = np.array([np.hypot(own[0], own[1]) - piece.half[0], beyond[2]])
    return np.linalg.norm(np.maximum(beyond, 0)) + min(beyond.max(), 0)


@settings(derandomize=True, deadline=None, max_examples=60)
@given(seed=st.integers(0, 10**6), count=st.integers(1, 10))
def test_the_nearest_piece(seed, count):
    rng = np.random.default_rng(seed)
    pieces = [random_piece(rng) for _ in range(count)]
    solids = bodies_of(*pieces)
    points = rng.uniform(-60, 60, (12, 3))
    found, rows = nearest(stops(solids, np.arange(count)), points, 50.0)
    for k, point in enumerate(points):
        each = [far_off(piece, point) for piece in pieces]
        # Sampled triangles are never nearer than they are, and farther by no more than the samples are apart.
        assert min(each) - 1.0 <= found[k] + 1e-9 or found[k] == 50
        assert found[k] <= min(*each, 50.0, 50.0) + 1e-9
        assert (rows[k] < 0) == (found[k] == 50.0)
