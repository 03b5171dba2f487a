"""Many placements asked together, each as the engine answers it alone."""

from dataclasses import replace
from pathlib import Path

import crowds
import numpy as np
import pytest
import worlds

import fitcheck
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.world.bodies import near
from fitcheck.world.engine import measure
from fitcheck.world.placements import Placements

WITHIN = 20.0
# Poses are rounded where meshes are asked, mm.
SAME = 1e-6


def placed(bodies, groups, turns, shifts):
    """The bodies as they stand in one placement."""
    rotations, centres = bodies.rotations.copy(), bodies.centres.copy()
    for group, turn, shift in zip(groups, turns, shifts, strict=True):
        rows = bodies.rows(group)
        rotations[rows] = turn @ rotations[rows]
        centres[rows] = centres[rows] @ turn.T + shift
    # Bounds of boxes about the pieces: never too small.
    out = (np.abs(rotations) @ bodies.halves[..., None])[..., 0]
    out = np.where((bodies.kinds == 1)[:, None], np.linalg.norm(bodies.halves, axis=1)[:, None], out)
    bounds = np.stack([centres - out, centres + out], axis=1)
    whole = np.array([[bounds[b.pieces, 0].min(0), bounds[b.pieces, 1].max(0)] for b in bodies.all])
    return replace(
        bodies, rotations=rotations, centres=centres, bounds=bounds, body_bounds=whole, answers=None
    )


def alone(bodies, groups, turns, shifts, within):
    """{pair: (distance, interferes)} of all pairs with a body that moves, from the engine."""
    here = placed(bodies, groups, turns, shifts)
    group_of = {body: k for k, group in enumerate(groups) for body in group}
    pairs = [(i, j) for i, j in near(here, within).tolist() if group_of.get(i, -1) != group_of.get(j, -1)]
    found = zip(pairs, measure(here, pairs, within), strict=True)
    return {pair: (m.distance, m.interferes) for pair, m in found if not m.beyond}


def compared(bodies, groups, turns, shifts, chosen):
    many = Placements(bodies, groups)
    clashing = many.interfere(turns, shifts)
    found = many.near(turns, shifts, WITHIN)
    again = Placements(bodies, groups).near(turns, shifts, WITHIN, free_only=True)
    assert set(again.placement.tolist()) <= set(np.flatnonzero(~clashing).tolist())
    still = many.still(0.0).interferes.any()
    seen = 0
    for number in chosen:
        expected = alone(bodies, groups, turns[number], shifts[number], WITHIN)
        assert clashing[number] == (still or any(clash for _, clash in expected.values()))
        rows = np.flatnonzero(found.placement == number)
        got = {tuple(found.bodies[k].tolist()): k for k in rows.tolist()}
        edge = {pair for pair, (distance, _) in expected.items() if distance > WITHIN - SAME}
        assert set(got) - edge == set(expected) - edge
        for pair in set(got) & set(expected):
            assert found.distance[got[pair]] == pytest.approx(expected[pair][0], abs=SAME)
            assert found.interferes[got[pair]] == expected[pair][1]
        if not clashing[number]:
            kept = again.placement == number
            assert np.array_equal(again.bodies[kept], found.bodies[rows])
            assert again.distance[kept] == pytest.approx(found.distance[rows], abs=SAME)
        seen += len(expected)
    return seen, clashing


@pytest.mark.parametrize("askew", [0.0, 20.0])
def test_placements_as_the_engine_answers_each(askew):
    bodies = crowds.crowd(30, faces=300, seed=3)
    groups, turns, shifts = crowds.slides(bodies, 120, movers=4, most=25.0, seed=4, askew=askew)
    seen, clashing = compared(bodies, groups, turns, shifts, range(0, 120, 6))
    assert seen > 40
    assert 0 < clashing.sum() < len(clashing)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(40))
def test_thousands_of_placements(seed):
    bodies = crowds.crowd(20 + seed, faces=200 + 20 * seed, seed=100 + seed)
    movers, askew = 2 + seed % 5, (0.0, 5.0, 90.0)[seed % 3]
    groups, turns, shifts = crowds.slides(bodies, 400, movers, most=10.0 + 2 * seed, seed=seed, askew=askew)
    compared(bodies, groups, turns, shifts, range(0, 400, 4))


def test_groups_move_as_one_and_what_may_touch_is_left_out():
    pieces = [worlds.box([x, 0, 0], [x + 10, 10, 10]) for x in (0, 10, 40)]
    bodies = worlds.bodies_of(*pieces)
    groups = [[0, 1]]
    turns, shifts = np.eye(3)[None, None], np.array([[[15.0, 0, 0]]])
    found = Placements(bodies, groups).near(turns, shifts, WITHIN)
    assert found.bodies.tolist() == [[0, 2], [1, 2]]
    assert found.distance.tolist() == [15.0, 5.0]
    into = np.array([[[22.0, 0, 0]]])
    assert Placements(bodies, groups).interfere(turns, into).tolist() == [True]
    assert Placements(bodies, groups, [(1, 2)]).interfere(turns, into).tolist() == [False]
    # They touch each other as they stand: a contact, asked once.
    assert Placements(bodies, groups).still(0.0).bodies.tolist() == [[0, 1]]


def test_a_part_wholly_inside_a_mesh_interferes_wherever_it_came_from():
    import trimesh

    ball = trimesh.creation.icosphere(subdivisions=2, radius=50.0)
    bodies = worlds.bodies_of(worlds.mesh(ball.vertices, ball.faces), worlds.box([-5, -5, -5], [5, 5, 5]))
    shifts = np.zeros((60, 1, 3))
    shifts[:, 0, 0] = np.r_[np.linspace(100, 60, 20), np.linspace(0, 40, 20), np.linspace(41, 100, 20)]
    turns = np.broadcast_to(np.eye(3), (60, 1, 3, 3))
    clashing = Placements(bodies, [[1]]).interfere(turns, shifts)
    # The ball's corners lie on its sphere, its facets a little inside: between these the engine decides.
    sure = np.abs(np.abs(shifts[:, 0, 0]) - 53) > 3
    assert np.array_equal(clashing[sure], (shifts[:, 0, 0] < 53)[sure])


def test_parts_of_a_scene_in_many_places():
    """A pump stands where it is drawn, far off nothing is near; lifted through the roof it interferes."""
    world = fitcheck.load(Path(__file__).resolve().parents[1] / "scenes/field_cube.yaml")
    many = fitcheck.placements(world, [["pump", "pump_inlet", "pump_outlet", "pump_fill", "pump_plug"]])
    shifts = np.zeros((3, 1, 3))
    shifts[1, 0, 0], shifts[2, 0, 2] = 5000.0, 60.0
    turns = np.broadcast_to(np.eye(3), (3, 1, 3, 3))
    lifted = placed(many.bodies, many.groups, turns[2], shifts[2])
    pump = [k for k, body in enumerate(lifted.all) if body.group.startswith("pump")]
    others = [k for k in range(len(lifted)) if k not in pump]
    hits = [m for m in measure(lifted, [(i, j) for i in pump for j in others], 0.0) if m.interferes]
    assert many.interfere(turns, shifts).tolist() == [False, False, bool(hits)]
    assert hits
    found = many.near(turns, shifts, 5.0)
    assert {0} <= set(found.placement.tolist()) <= {0, 2}
    with pytest.raises(ValueMistake):
        fitcheck.placements(world, [["pmup"]])
