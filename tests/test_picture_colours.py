"""Colours of pictures: bands, what counts, distances and the surfaces that carry them."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pictured import SMALL, nearest_colour
from worlds import box, part, rod, world

from fitcheck.outputs import pictures
from fitcheck.outputs.pictures import looks, surfaces
from fitcheck.outputs.pictures.bands import FAR, NEAR, OVERLAP, Bands, edges_from, rgb
from fitcheck.outputs.pictures.to_piece import distance_to_piece
from fitcheck.report import check_world
from fitcheck.world.bodies import bodies
from fitcheck.world.engine import measure
from fitcheck.world.frames import Frame, turn_about
from fitcheck.world.world import Contact, World


@pytest.mark.parametrize(
    ("demand", "edges"),
    [(2, (2, 5, 10, 20)), (1, (1, 2, 5, 10)), (8, (8, 20, 30, 50)), (0.5, (0.5, 1, 2, 5))],
)
def test_the_demand_is_the_first_edge(demand, edges):
    assert edges_from(demand) == edges


def test_legend_says_the_edges_and_shows_the_colours():
    bands = Bands(edges_from(3.0))
    values = np.array([-1, 1.5, 4, 7.5, 15, 30.0])  # one inside each band of 3, 5, 10, 20
    assert [tuple(c) for c in bands.colours(values)] == [rgb(colour) for colour, _ in bands.legend()]
    words = [text for _, text in bands.legend()]
    assert words[0] == "overlap"
    assert [w.split("\n")[0] for w in words[1:]] == [
        "under 3 mm:",
        "3 to 5 mm",
        "5 to 10 mm",
        "10 to 20 mm",
        "over 20 mm,",
    ]


def test_a_pairs_own_demand_falls_on_the_defaults_edge():
    bands = Bands(edges_from(2.0))
    distances, asked = np.array([7.9, 8.1, 1.9, -3.0]), np.array([8.0, 8.0, 2.0, 8.0])
    moved = bands.scaled(distances, asked)
    assert (moved < 2).tolist() == [True, False, True, True]
    assert moved[3] == -3.0


@lru_cache(maxsize=1)
def pairs_at_known_gaps() -> tuple[World, dict[float, np.ndarray]]:
    """Five pairs of plates face to face; seen from the left, the middle of each pair's left plate."""
    gaps = {1.0: 20, 3.5: 75, 7.5: 130, 15.0: 185, 60.0: 240}
    plates, spots = [], {}
    for gap, z in gaps.items():
        plates.append(part(f"near_{z}", box([100, 100, z], [104, 300, z + 40])))
        plates.append(part(f"back_{z}", box([104 + gap, 100, z], [108 + gap, 300, z + 40])))
        spots[gap] = np.array([104.0, 200.0, z + 20.0])
    return world(*plates, clearance={"default": 2.0}), spots


def test_each_gap_has_its_legends_colour_in_the_drawing():
    # Seen from the right with the back plates hidden: the faces that look into the gaps.
    plates, spots = pairs_at_known_gaps()
    hide = tuple(p.name for p in plates.parts if p.name.startswith("back"))
    picture = pictures.draw_view(plates, check_world(plates), pictures.View("from right", hide=hide), SMALL)
    found = [nearest_colour(picture, spot) for spot in spots.values()]
    assert found == [*NEAR, FAR]


def test_what_may_touch_is_not_coloured():
    parts = [part("foot", box([50, 50, 50], [90, 90, 90])), part("seat", box([50, 50, 30], [90, 90, 50]))]
    meant = [Contact("rest", "foot", "seat", ("body",), ("body",))]
    for contacts, colour in ((meant, FAR), ([], NEAR[0])):
        pair = world(*parts, contacts=contacts, clearance={"default": 2.0})
        view = pictures.View("from bottom", hide=("seat",))
        picture = pictures.draw_view(pair, check_world(pair), view, SMALL)
        assert nearest_colour(picture, [70, 70, 50]) == colour


def test_parts_of_one_assembly_are_their_models_business_until_they_clash():
    for z, colour in ((49.0, FAR), (45.0, OVERLAP)):
        parts = [
            part("a.top", box([50, 50, z - 0.5], [90, 90, 90])),
            part("a.low", box([50, 50, 30], [90, 90, 48])),
        ]
        pair = world(*parts, clearance={"default": 2.0})
        picture = pictures.draw_view(
            pair, check_world(pair), pictures.View("from bottom", hide=("a.low",)), SMALL
        )
        assert nearest_colour(picture, [70, 70, z - 0.5]) == colour


def surface_points(piece, pose: Frame) -> np.ndarray:
    """Points on a piece's surface about 0.5 mm apart, from its size alone."""
    x, _, z = piece.half
    if piece.kind == 1:
        turn, height = np.meshgrid(np.linspace(0, 2 * np.pi, 200), np.linspace(-z, z, int(4 * z)))
        side = [x * np.cos(turn), x * np.sin(turn), height]
        radius, angle = np.meshgrid(np.linspace(0, x, int(2 * x) + 2), np.linspace(0, 2 * np.pi, 200))
        cap = [radius * np.cos(angle), radius * np.sin(angle)]
        faces = [side, [*cap, np.full(radius.shape, z)], [*cap, np.full(radius.shape, -z)]]
    else:
        faces = []
        for k in range(3):
            u, v = [n for n in range(3) if n != k]
            grid = np.meshgrid(
                *(np.linspace(-piece.half[n], piece.half[n], int(4 * piece.half[n]) + 2) for n in (u, v))
            )
            for sign in (-1, 1):
                face = [np.full(grid[0].shape, sign * piece.half[k])] * 3
                face[u], face[v] = grid[0], grid[1]
                faces.append(face)
    own = np.concatenate([np.stack([np.ravel(c) for c in f], axis=1) for f in faces])
    return pose.point(own @ piece.rotation.T + piece.centre)


@given(st.data())
@settings(derandomize=True, deadline=None, max_examples=40)
def test_distance_to_a_piece_is_that_to_its_nearest_surface_point(data):
    # Oracle: the nearest of points strewn over the surface, which lies at most 0.5 mm off the true nearest.
    size = [data.draw(st.integers(2, 12)) for _ in range(3)]
    whole = st.integers(-20, 20)
    piece = data.draw(
        st.sampled_from([box(np.negative(size), size), rod([0, 0, -size[2]], [0, 0, size[2]], 2 * size[0])])
    )
    angle = data.draw(st.integers(0, 359))
    pose = Frame(turn_about(np.array([0.6, 0.0, 0.8]), angle), np.array([3.0, -2.0, 5.0]))
    points = np.array([[data.draw(whole) for _ in range(3)] for _ in range(5)], float)
    found = distance_to_piece(piece, pose @ Frame(piece.rotation, piece.centre), points, np.inf)
    strewn = surface_points(piece, pose)
    for point, distance in zip(points, found, strict=True):
        nearest = float(np.linalg.norm(strewn - point, axis=1).min())
        assert nearest - 0.5 <= abs(distance) <= nearest + 1e-9


def test_a_mesh_is_measured_to_its_facets():
    # A sphere of 1,280 facets, edges under 1.7 mm: at most r (1 - cos(1.7 / sqrt(3) / r)) = 0.05 mm inside.
    import trimesh
    from worlds import mesh

    ball = trimesh.creation.icosphere(subdivisions=3, radius=10)
    piece = mesh(ball.vertices, ball.faces)
    points = np.array([[30, 0, 0], [0, 0, 12], [0, 3, 0], [8, 0, 0]], float)
    found = distance_to_piece(piece, Frame(piece.rotation, piece.centre), points, 50.0)
    np.testing.assert_allclose(found, [20, 2, -7, -2], atol=0.05)


def test_the_field_reaches_the_engines_least_distance():
    # The engine measures exactly; the coloured points lie on the same surfaces, at most FINE apart.
    skew = Frame(turn_about(np.array([0.6, 0.0, 0.8]), 33.0), np.array([0.0, 0.0, 31.0]))
    pair = world(
        part("low", box([-30, -30, 0], [30, 30, 10])),
        part("skew", box([-20, -10, -10], [20, 10, 10]), pose=skew),
        clearance={"default": 4.0},
    )
    (truth,) = measure(bodies(pair), [(0, 1)])
    scene = pictures.Studio(pair, check_world(pair)).scene
    least = float(scene.measured.values.min())
    assert truth.distance - 1e-9 <= least <= truth.distance + 1.0


def test_a_plate_through_a_thin_plate_is_found_between_far_corners():
    # Their corners are over 60 mm apart; the 2 x 2 mm they share lies in the middle of large triangles.
    pair = world(
        part("upright", box([99, 0, 0], [101, 200, 200])),
        part("lying", box([0, 0, 63], [200, 200, 65])),
        clearance={"default": 2.0},
    )
    scene = pictures.Studio(pair, check_world(pair)).scene
    inside = scene.measured.points[scene.measured.values < -0.3]
    assert len(inside) > 20
    assert np.abs(inside[:, [0, 2]] - [100, 64]).max() <= 1.0
    assert np.ptp(inside[:, 1]) > 190  # along the whole line


def test_refining_keeps_the_surface_whole():
    plates, _ = pairs_at_known_gaps()
    scene = pictures.Studio(plates, check_world(plates)).scene

    def area(cloth):
        a, b, c = (cloth.points[cloth.triangles[:, k]] for k in range(3))
        return float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2)

    assert len(scene.measured.triangles) > 2 * len(scene.plain.triangles)
    assert area(scene.measured) == pytest.approx(area(scene.plain))
    # No corner lies on another triangle's edge: inside one box face each edge has two owners, on its rim one.
    ends = np.sort(scene.measured.triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    _, count = np.unique(ends, axis=0, return_counts=True)
    rim = np.unique(ends, axis=0)[count == 1]
    assert count.max() == 2
    pieces = [p for q in plates.parts for solid in q.shape.solids.values() for p in solid.pieces]
    all_edges = sum(4 * float((2 * piece.half).sum()) for piece in pieces)
    rim_length = np.linalg.norm(np.diff(scene.measured.points[rim], axis=1), axis=2).sum()
    assert rim_length == pytest.approx(2 * all_edges)


@given(st.lists(st.tuples(st.booleans(), st.booleans(), st.booleans()), min_size=1, max_size=6))
@settings(derandomize=True, deadline=None, max_examples=60)
def test_split_triangles_cover_the_same_area(marks):
    corners = np.array([[0, 0, 0], [4, 0, 0], [1, 3, 0.0]])
    points = np.concatenate([corners + np.array([10 * i, 0, 0]) for i in range(len(marks))])
    triangles = np.arange(len(points)).reshape(-1, 3)
    middles = np.full((len(marks), 3), -1)
    for row, mark in enumerate(marks):
        for k in range(3):
            if mark[k]:
                middles[row, k] = len(points)
                a, b = triangles[row, k], triangles[row, (k + 1) % 3]
                points = np.concatenate([points, [(points[a] + points[b]) / 2]])
    split = surfaces.split_triangles(triangles, middles)
    a, b, c = (points[split[:, k]] for k in range(3))
    turned = np.cross(b - a, c - a)[:, 2] / 2
    assert (turned > 0).all()  # none turned over
    assert turned.sum() == pytest.approx(6.0 * len(marks))
    assert len(split) == sum(1 + sum(mark) for mark in marks)


def test_a_cable_is_drawn_and_named_as_one():
    """Both are runs, round and bent; only one of them carries water."""
    runs = [
        part(name, rod([10, y, 20], [10, y, 80], 12), names=(name,))
        for name, y in (("tube", 20), ("cable", 60))
    ]
    for run in runs:
        ((name, solid),) = run.shape.solids.items()
        run.shape.solids[name] = replace(solid, role="tube")
    laid = world(*runs)
    picture = pictures.draw_view(laid, check_world(laid), pictures.View("from left", colour="role"), SMALL)
    words = {said.text for said in picture.written if said.kind == "legend"}
    assert {"tube", "cable"} <= words
    left, top = (int(edge) for edge in picture.camera.pane[:2])
    seen = []
    for run in range(2):
        rows, columns = np.nonzero(picture.ids == run)
        # Half of what is seen of a rod is neither lit edge nor a line.
        seen.append(np.median(np.asarray(picture.image, float)[rows + top, columns + left], axis=0))
    assert [closest(colour) for colour in seen] == ["tube", "cable"]
    # Told apart by lightness alone, too.
    assert seen[0].mean() - seen[1].mean() > 40


def closest(colour):
    """The role whose colour is most like one that was drawn, whatever the light makes of it."""

    def unlike(role):
        own = np.array(looks.ROLE_COLOURS[role], float)
        return np.abs(colour - own * (colour.sum() / own.sum())).max() + np.abs(colour - own).max()

    return min(("tube", "cable", "body", "frame", "rubber", "sheet"), key=unlike)
