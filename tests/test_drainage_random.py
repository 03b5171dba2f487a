"""Drainage of random tube networks: properties, and oracles that work in other ways."""

from __future__ import annotations

import itertools
import math

import networkx as nx
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import minimum_spanning_tree
from waterways import BORE, legs, network

from fitcheck.loops.drainage import drain
from fitcheck.loops.filling import fill
from fitcheck.world.frames import turn_about

QUICK = settings(derandomize=True, deadline=None, max_examples=150)
LONG = settings(derandomize=True, deadline=None, max_examples=4000)
# Heights on a coarse grid, so that ties and level tubes are common; and any that differ by more than rounding.
heights = st.one_of(
    st.integers(0, 6).map(lambda k: 50.0 * k), st.integers(0, 300_000).map(lambda k: k / 1000)
)
points = st.tuples(
    st.integers(-9, 9).map(lambda k: 40.0 * k), st.integers(-9, 9).map(lambda k: 40.0 * k), heights
)


@st.composite
def networks(draw, most=8):
    """Nodes, ways (connected, some meshes), drain, vents."""
    nodes = draw(st.lists(points, min_size=3, max_size=most, unique_by=lambda p: p[:2]))
    n = len(nodes)
    ways = [(draw(st.integers(0, k - 1)), k) for k in range(1, n)]
    ways += draw(st.lists(st.tuples(st.integers(0, n - 1), st.integers(0, n - 1)), max_size=3))
    drain_at = draw(st.integers(0, n - 1))
    vents = draw(
        st.lists(st.integers(0, n - 1).filter(lambda k: k != drain_at), min_size=1, max_size=2, unique=True)
    )
    return nodes, ways, drain_at, vents


def near(a, b):
    return abs(a - b) < 1e-6 + 1e-9 * abs(b)


@given(networks())
@QUICK
def test_the_range_is_in_order(case):
    nodes, ways, at, vents = case
    left = drain(network(nodes, ways), [at], vents)
    assert -1e-9 <= left.least <= left.likely + 1e-9 <= left.most + 2e-9 <= left.total + 3e-9
    assert near(sum(p.most for p in left.places), left.most)
    assert near(sum(p.likely for p in left.places), left.likely)


@given(networks(), st.integers(0, 7))
@QUICK
def test_a_vent_more_never_keeps_more(case, more):
    nodes, ways, at, vents = case
    assume(more < len(nodes) and more != at)
    water = network(nodes, ways)
    before, after = drain(water, [at], vents), drain(water, [at], [*vents, more])
    for side in ("most", "least", "likely"):
        assert getattr(after, side) <= getattr(before, side) + 1e-9
    assert fill(water, [*vents, more]).air <= fill(water, vents).air + 1e-9


@given(networks(), st.floats(0, 200))
@QUICK
def test_raising_the_drain_never_drains_more(case, raised):
    """A hose of no volume from the drain, its end held higher and higher."""
    nodes, ways, at, vents = case

    def left(end):
        x, y, z = nodes[at]
        water = network([*nodes, (x, y, z + end)], ways)
        hose = len(nodes)
        plumbed = type(water)(water.points, water.names, (*water.pipes, _hose(at, hose)), (), water.index)
        return drain(plumbed, [hose], vents)

    lower, higher = left(0.0), left(raised)
    for side in ("most", "least", "likely"):
        assert getattr(higher, side) >= getattr(lower, side) - 1e-9


def _hose(a, b):
    from fitcheck.loops.waterway import Pipe

    return Pipe(a, b, 0.0, 0.0, "hose")


@given(networks(), st.permutations(range(8)), st.floats(-180, 180), st.floats(-500, 500))
@QUICK
def test_names_place_and_heading_do_not_matter(case, order, heading, shift):
    nodes, ways, at, vents = case
    order = [k for k in order if k < len(nodes)]
    where = {old: new for new, old in enumerate(order)}
    turn = turn_about(np.array([0.0, 0.0, 1.0]), heading)
    moved = [tuple(turn @ nodes[k] + shift) for k in order]
    swapped = [(where[b], where[a]) for a, b in reversed(ways)]
    one = drain(network(nodes, ways), [at], vents)
    two = drain(network(moved, swapped), [where[at]], [where[k] for k in vents])
    for side in ("most", "least", "likely"):
        assert getattr(one, side) == pytest.approx(getattr(two, side), abs=1e-6)


def chopped(nodes, ways, pieces=60):
    """Points along all tubes: heights, neighbours, and the volume that each stands for, ml."""
    z, edges, volume = [p[2] for p in nodes], [], [0.0] * len(nodes)
    for a, b in sorted({(min(w), max(w)) for w in ways if w[0] != w[1]}):
        length = math.dist(nodes[a], nodes[b])
        last = a
        for k in range(pieces):
            z.append(nodes[a][2] + (nodes[b][2] - nodes[a][2]) * (k + 0.5) / pieces)
            volume.append(BORE * length / pieces / 1000)
            edges.append((last, len(z) - 1))
            last = len(z) - 1
        edges.append((last, b))
    return np.array(z), edges, np.array(volume)


def on_a_way(nodes, ways, ends):
    """Edges on some simple path from one open end to another, by listing all simple paths."""
    graph = nx.Graph([w for w in ways if w[0] != w[1]])
    found = set()
    for a, b in itertools.combinations(sorted(set(ends)), 2):
        if a in graph and b in graph:
            for path in nx.all_simple_paths(graph, a, b):
                found |= {tuple(sorted(step)) for step in itertools.pairwise(path)}
    return found


@given(networks(most=7))
@settings(QUICK, max_examples=120)
def test_most_against_a_spanning_tree_of_chopped_tubes(case):
    """Minimax paths are the paths of a minimum spanning tree; air paths are listed one by one."""
    nodes, ways, at, vents = case
    z, edges, volume = chopped(nodes, ways)
    low = z.min() - 1
    weights = [max(z[a], z[b]) - low for a, b in edges]
    a, b = np.array(edges).T
    tree = minimum_spanning_tree(csr_matrix((weights, (a, b)), shape=(len(z), len(z))))
    tree = nx.from_scipy_sparse_array(tree)
    spill = {at: z[at]}
    for one, other in nx.bfs_edges(tree, at):
        spill[other] = max(spill[one], z[other])
    aired = on_a_way(nodes, ways, [at, *vents])
    stays, k = 0.0, len(nodes)
    for way in sorted({(min(w), max(w)) for w in ways if w[0] != w[1]}):
        for _ in range(60):
            stays += volume[k] if way not in aired or z[k] < spill[k] - 1e-9 else 0.0
            k += 1
    one_piece = max((math.dist(nodes[a], nodes[b]) for a, b in ways), default=0) * BORE / 60 / 1000
    left = drain(network(nodes, ways), [at], vents)
    assert left.most == pytest.approx(stays, abs=len(ways) * one_piece)


zigzag = st.lists(st.integers(0, 60).map(lambda k: 10.0 * k), min_size=2, max_size=9)


@given(zigzag)
@QUICK
def test_a_single_line_walked_step_by_step(levels):
    """A front that walks down the line from the vent, 1 mm a step, and stops at the drain's height."""
    assume(all(a != b for a, b in itertools.pairwise(levels)))
    foot = levels[-1]
    steps = []  # middle height of each mm, and whether it rises
    for a, b in itertools.pairwise(levels):
        sign = 1 if b > a else -1
        steps += [(a + sign * (k + 0.5), b > a) for k in range(int(abs(b - a)))]
    spill, highest = [], foot
    for height, _ in reversed(steps):
        highest = max(highest, height)
        spill.append(highest)
    spill.reverse()
    pooled = [height < least - 0.25 for (height, _), least in zip(steps, spill, strict=True)]
    # The first place not above the drain ends the front's walk: a corner, or a step.
    ends = [levels[0]] + [z + (0.5 if rises else -0.5) for z, rises in steps[:-1]]
    stop = next((k for k, z in enumerate(ends) if z <= foot), len(steps))
    least = sum(pool for k, pool in enumerate(pooled) if k >= stop)
    likely = sum(
        pool for k, (pool, (_, rises)) in enumerate(zip(pooled, steps, strict=True)) if k >= stop or rises
    )
    left = drain(legs(*levels), [len(levels) - 1], [0])
    mm = BORE / 1000
    assert left.most == pytest.approx(sum(pooled) * mm, abs=2 * len(levels) * mm)
    assert left.least == pytest.approx(least * mm, abs=2 * len(levels) * mm)
    assert left.likely == pytest.approx(likely * mm, abs=2 * len(levels) * mm)
    thin = drain(legs(*levels, bore=math.pi * 4), [len(levels) - 1], [0])
    assert thin.likely == pytest.approx(thin.least)


@given(zigzag, st.floats(0, 30), st.sampled_from([0, 1]))
@QUICK
def test_filling_is_draining_upside_down(levels, lean, way):
    assume(all(a != b for a, b in itertools.pairwise(levels)))
    air = fill(legs(*levels), [0]).air
    upside_down = legs(*[-z for z in levels][::-1])
    assert air == pytest.approx(drain(upside_down, [len(levels) - 1], [0]).most)


def test_a_bottle_upside_down_holds_all():
    """A capped branch above a tee: 200 mm of it stay although nothing stands in its way."""
    water = network([(0, 0, 400), (0, 0, 200), (0, 0, 0), (50, 0, 400)], [(0, 1), (1, 2), (1, 3)])
    left = drain(water, [2], [0])
    branch = math.dist((0, 0, 200), (50, 0, 400)) * BORE / 1000
    assert (left.most, left.least) == (pytest.approx(branch), 0)
    (place,) = left.places
    assert (place.why, place.owners) == ("no air comes in", ("tube1_3",))
    assert drain(water, [2], [0, 3]).most == pytest.approx(0)


def test_no_vent_keeps_all():
    left = drain(legs(400, 100, 250, 0), [3], [])
    assert not left.vented
    assert left.most == left.likely == left.total


@pytest.mark.long
@given(networks(most=7))
@LONG
def test_most_against_a_spanning_tree_many_times(case):
    test_most_against_a_spanning_tree_of_chopped_tubes.hypothesis.inner_test(case)


@pytest.mark.long
@given(zigzag)
@LONG
def test_single_lines_many_times(levels):
    test_a_single_line_walked_step_by_step.hypothesis.inner_test(levels)


@pytest.mark.long
@given(networks(most=8), st.integers(0, 7))
@LONG
def test_vents_many_times(case, more):
    test_a_vent_more_never_keeps_more.hypothesis.inner_test(case, more)


@pytest.mark.long
@given(networks(most=8), st.floats(0, 200))
@LONG
def test_raised_drains_many_times(case, raised):
    test_raising_the_drain_never_drains_more.hypothesis.inner_test(case, raised)
