"""Pictures by what is marked on them: cameras, colours, names, figures, cuts; never by a stored image."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from functools import cache, lru_cache
from itertools import combinations, pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from worlds import box, part, rod, room, world

import fitcheck
from fitcheck.finding import Finding, Verdict
from fitcheck.outputs import pictures
from fitcheck.outputs.pictures import camera, dimensions, explode, labels, paper, probe, section, surfaces
from fitcheck.outputs.pictures.bands import FAR, NEAR, OVERLAP, Bands, edges_from, rgb
from fitcheck.outputs.pictures.to_piece import distance_to_piece
from fitcheck.parts.features import Face
from fitcheck.report import Report, check_world
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.world.bodies import bodies
from fitcheck.world.engine import measure
from fitcheck.world.frames import Frame, turn_about
from fitcheck.world.world import Contact, World

SMALL = (800, 600)
SHEETS = {
    "left_panel": box([0, 0, 0], [2, 400, 300]),
    "right_panel": box([198, 0, 0], [200, 400, 300]),
    "floor": box([2, 0, 0], [198, 400, 2]),
    "roof": box([2, 0, 298], [198, 400, 300]),
    "front_panel": box([2, 0, 2], [198, 2, 298]),
    "rear_panel": box([2, 398, 2], [198, 400, 298]),
}


def case():
    return part("case", *SHEETS.values(), names=tuple(SHEETS))


def in_case(*parts, contacts=(), **rules) -> World:
    return world(
        case(), *parts, rooms=(room("case.hall", [2, 2, 2], [198, 398, 298]),), contacts=contacts, **rules
    )


@lru_cache(maxsize=1)
def machine() -> World:
    """A card 6 mm deep in a board's plug, a lid 1 mm under the roof, a pump, a bank of eight drives."""
    drives = [part(f"drive[{i + 1}]", box([120, 60, 20 + 20 * i], [180, 140, 27 + 20 * i])) for i in range(8)]
    return in_case(
        part("board", box([20, 150, 100], [22, 350, 280])),
        part("card", box([24, 200, 150], [120, 340, 170])),
        part("plug", box([40, 230, 164], [60, 250, 200])),
        part("lid", box([100, 200, 277], [160, 300, 297])),
        part("pump", rod([60, 60, 2], [60, 60, 70], 50)),
        *drives,
        contacts=[Contact("rest", "pump", "case", ("body",), ("floor",))],
        clearance={"default": 2.0},
    )


@lru_cache(maxsize=1)
def report() -> Report:
    return check_world(machine())


@cache
def drawn(look: str = "from left", **view) -> pictures.Drawn:
    return pictures.draw_view(machine(), report(), pictures.View(look, **view), SMALL)


def index(name: str, of: World | None = None) -> int:
    return [p.name for p in (of or machine()).parts].index(name)


def at(picture: pictures.Drawn, point) -> tuple[int, int]:
    """(row, column) in the pane of a world point."""
    x, y = picture.camera.pixels(np.array(point, float)) - picture.camera.pane[:2]
    return int(y), int(x)


def nearest_colour(picture: pictures.Drawn, point) -> str:
    """The legend's colour that most pixels around a world point are most like (names and lines cross it)."""
    column, row = picture.camera.pixels(np.array(point, float)).astype(int)
    patch = np.array(picture.image, float)[row - 12 : row + 13, column - 12 : column + 13].reshape(-1, 1, 3)
    palette = (OVERLAP, *NEAR, FAR)
    like = np.abs(patch - np.array([rgb(c) for c in palette])).sum(axis=2).argmin(axis=1)
    return palette[int(np.bincount(like).argmax())]


# --- camera


@pytest.mark.parametrize(
    ("look", "right", "up"),
    [
        ("from front", [1, 0, 0], [0, 0, 1]),
        ("from left", [0, -1, 0], [0, 0, 1]),  # standing at the left, the front is to the right
        ("from rear", [-1, 0, 0], [0, 0, 1]),
        ("from top", [1, 0, 0], [0, 1, 0]),
        ("from bottom", [1, 0, 0], [0, -1, 0]),
    ],
)
def test_a_view_from_one_side_is_a_plain_elevation(look, right, up):
    seen = camera.aim(look, np.array([[0, 0, 0], [200, 400, 300.0]]), (0, 0, 800, 600))
    np.testing.assert_allclose([seen.right, seen.up], [right, up], atol=1e-12)


def test_pixels_are_millimetres_times_the_scale():
    # 200 x 300 mm in 800 x 600 pixels, 90 % filled: 0.9 * 600 / 300 = 1.8 pixels a mm.
    seen = camera.aim("from front", np.array([[0, 0, 0], [200, 400, 300.0]]), (0, 0, 800, 600))
    assert seen.scale == pytest.approx(1.8)
    np.testing.assert_allclose(seen.pixels(np.array([110, 77, 140])), [400 + 18, 300 + 18])


@pytest.mark.parametrize("look", ["from front", "from rear left", "from front left top", "from right bottom"])
def test_pixels_agree_with_the_drawing(look):
    # A 4 mm cube drawn by VTK: the middle of its pixels is where its middle should be, to half a pixel.
    bead = in_case(part("bead", box([118, 298, 198], [122, 302, 202])))
    picture = pictures.draw_view(bead, check_world(bead), look, SMALL)
    rows, columns = np.nonzero(picture.ids == 1)
    middle = [columns.mean() + 0.5, rows.mean() + 0.5]
    expected = picture.camera.pixels(np.array([120, 300, 200])) - picture.camera.pane[:2]
    np.testing.assert_allclose(middle, expected, atol=0.6)


def test_layouts_of_one_case_share_a_camera():
    other = in_case(part("pump", box([150, 300, 200], [190, 380, 290])))
    one, two = drawn(), pictures.draw_view(other, check_world(other), "from left", SMALL)
    assert one.camera.scale == two.camera.scale
    np.testing.assert_array_equal(one.camera.middle, two.camera.middle)


def test_what_sticks_far_out_of_the_case_is_in_the_picture():
    wide = in_case(part("pipe", rod([100, 200, 150], [100, 700, 150], 20)))
    picture = pictures.draw_view(wide, check_world(wide), "from left", SMALL)
    row, column = at(picture, [100, 699, 150])
    assert picture.ids[row, column] == 1


@pytest.mark.parametrize(
    ("entry", "problem"),
    [
        ({"look": "from abroad"}, "no side"),
        ({"look": "from left right"}, "twice"),
        ({"look": "left"}, "not understood"),
        ({"colour": "rainbow"}, "none of"),
        ({"cut": {"x": 1.0, "y": 2.0}}, "not understood"),
        ({"cut": {"x": 1.0}, "explode": 1}, "either cut or exploded"),
        ({"looks": "from left"}, "no 'looks'"),
    ],
)
def test_a_wrong_view_says_what_is_wrong(entry, problem):
    with pytest.raises(ValueMistake, match=problem):
        camera.as_view(entry)


def test_a_scenes_views_are_understood():
    text = """
parts:
  case: {model: small_cube}
views:
  cut: {look: from left, cut: {x: 2 cm}, hide: [case.left_panel]}
  bad: {cut: worst, colour: verdict}
  apart: {look: from front left, explode: 1 / 2}
"""
    views = fitcheck.load(text, name="cube").views
    found = {name: camera.as_view(entry, name) for name, entry in views.items()}
    assert found["cut"] == pictures.View("from left", ("x", 20.0), hide=("case.left_panel",))
    assert found["bad"] == pictures.View(cut_worst=True, colour="verdict")
    assert found["apart"] == pictures.View("from front left", explode=0.5)


def test_an_unknown_name_is_a_mistake():
    with pytest.raises(ValueMistake, match="no view is named"):
        pictures.named_view(machine(), "plinht")
    with pytest.raises(ValueMistake, match="pmup"):
        drawn(hide=("pmup",))


# --- colours


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


# --- distances and surfaces


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


# --- who is seen, and what is written


def test_the_identity_picture_names_the_part_in_front():
    picture = drawn()
    row, column = at(picture, [20, 250, 190])
    assert picture.ids[row, column] == index("board")
    row, column = at(picture, [60, 60, 40])
    assert picture.ids[row, column] == index("pump")


def test_hidden_parts_are_neither_seen_nor_named():
    picture = drawn(hide=("board", "drive"))
    gone = {index("board"), *(index(f"drive[{i}]") for i in range(1, 9))}
    assert not gone & set(np.unique(picture.ids).tolist())
    assert not any(w.text.startswith(("board", "drive[")) for w in picture.written if w.kind == "label")
    row, column = at(picture, [24, 270, 160])
    assert picture.ids[row, column] == index("card")  # which the board hid


def test_show_leaves_all_else_out():
    picture = drawn(show=("pump",))
    assert set(np.unique(picture.ids).tolist()) == {-1, index("pump")}


def test_a_name_points_to_where_its_part_is_seen():
    picture = drawn()
    assert len(picture.labels) >= 4
    for label in picture.labels:
        x, y = np.array(label.at) - picture.camera.pane[:2]
        assert picture.ids[int(y), int(x)] == label.part


def test_parts_behind_others_are_not_named():
    picture = drawn(hide=("case.left_panel",))
    assert "plug" not in [w.text for w in picture.written if w.kind == "label"]  # wholly behind the board


VIEWS = [
    {},
    {"look": "from front left top"},
    {"look": "from right", "colour": "verdict"},
    {"look": "from top", "colour": "role"},
    {"look": "", "cut_worst": True},
    {"look": "from front left", "explode": 1.0},
]


@pytest.mark.parametrize("view", VIEWS)
def test_no_text_covers_another_or_leaves_the_picture(view):
    picture = drawn(**view)
    frame = (0.0, 0.0, *map(float, SMALL))
    assert {"title", "verdict", "lead", "legend", "scale", "label"} <= {w.kind for w in picture.written}
    for words in picture.written:
        assert paper.inside(words.box, frame), words
    for one, other in combinations(picture.written, 2):
        assert not paper.overlap(one.box, other.box, -1.0), (one, other)


def test_too_many_parts_are_counted_not_crammed():
    crowd = [
        part(
            f"chip[{i + 1}]",
            box([20 + 20 * (i % 8), 50, 20 + 30 * (i // 8)], [34 + 20 * (i % 8), 60, 40 + 30 * (i // 8)]),
        )
        for i in range(64)
    ]
    many = in_case(*crowd)
    picture = pictures.draw_view(many, check_world(many), "from front", (1600, 1200))
    assert [label.text for label in picture.labels] == ["chip (64)"]
    unlike = world(*[replace(p, name=f"chip_{i}") for i, p in enumerate(crowd)])
    picture = pictures.draw_view(unlike, check_world(unlike), "from front", (1600, 1200))
    (more,) = [w.text for w in picture.written if w.kind == "more"]
    assert 20 < len(picture.labels) <= 2 * labels.MOST
    assert more == f"+ {64 - len(picture.labels)} more parts"


def test_parts_in_findings_are_named_first():
    picture = drawn("from right")
    strong = {label.part for label in picture.labels if label.strong}
    assert {index("card"), index("lid")} <= strong


@given(st.lists(st.tuples(st.integers(0, 400), st.integers(0, 400)), min_size=2, max_size=9, unique=True))
@settings(derandomize=True, deadline=None, max_examples=100)
def test_lines_to_names_do_not_cross(spots):
    places = sorted(((float(x), float(y)) for x, y in spots), key=lambda p: p[1])
    heights = labels.spread([y for _, y in places], 20, 0, 400)
    assert all(b - a >= 20 - 1e-9 for a, b in pairwise(heights))
    order = labels.uncrossed(-50.0, heights, places)
    assert sorted(order) == list(range(len(places)))

    def side(p, q, r):
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    lines = [((-50.0, y), places[k]) for y, k in zip(heights, order, strict=True)]
    for (a, b), (c, d) in combinations(lines, 2):
        assert not (side(a, b, c) * side(a, b, d) < 0 and side(c, d, a) * side(c, d, b) < 0)


# --- figures


def test_figures_say_what_is_missing():
    def figure(check, measured, required, verdict=Verdict.FAILS):
        return dimensions.figure(Finding(check, ("a", "b"), verdict, "", measured, required))

    assert figure("interference", 22.0, 0.0) == "overlap 22.0 mm"
    assert figure("clearance", 1.4, 2.0) == "1.4 mm (needs 2.0)"
    assert figure("clearance", 2.4, 2.0, Verdict.TIGHT) == "2.4 mm (needs 2.0, tight)"
    assert figure("containment", 3.0, 0.0) == "sticks out 3.0 mm"


def test_a_dimension_ends_at_the_projected_witness_points():
    picture = drawn()
    (lid,) = [d for d in picture.dims if "lid" in d.finding.parts]
    assert lid.text == "1.0 mm (needs 2.0)"  # 298 - 297, demanded 2
    expected = picture.camera.pixels(np.array(lid.finding.where))
    np.testing.assert_allclose([lid.a, lid.b], expected)
    assert {round(p[2]) for p in lid.finding.where} == {297, 298}


def test_an_overlap_is_dimensioned_along_its_shortest_way_out():
    # card up to z = 170, plug from 164: 6 mm, the plug goes up.
    (finding,) = [f for f in report().findings if f.check == "interference"]
    points = dimensions.ends(finding)
    assert sorted(points[:, 2].round(6).tolist()) == [164, 170]
    np.testing.assert_allclose(points[0, :2], points[1, :2])
    assert "overlap 6.0 mm" in [w.text for w in drawn().written if w.kind == "figure"]


def test_what_sticks_out_is_dimensioned_from_the_wall():
    finding = Finding(
        "containment",
        ("a", "case.hall"),
        Verdict.FAILS,
        "",
        5.0,
        0.0,
        where=((203.0, 1.0, 2.0),),
        details={"out": {"right": 5.0}},
    )
    np.testing.assert_array_equal(dimensions.ends(finding), [[203, 1, 2], [198, 1, 2]])


def test_a_distance_along_the_eye_is_ringed_not_drawn_as_a_line():
    finding = Finding(
        "clearance", ("a", "b"), Verdict.FAILS, "", 10.0, 20.0, where=((0.0, 0.0, 0.0), (0.0, 10.0, 0.0))
    )
    bounds = np.array([[0, 0, 0], [200, 400, 300.0]])
    flat = [
        dimensions.dimension(finding, camera.aim(look, bounds, (0, 0, 800, 600))).flat
        for look in ("from front", "from left")
    ]
    assert flat == [True, False]


def test_the_header_leads_with_the_worst_finding():
    written = {w.kind: w.text for w in drawn().written}
    assert written["verdict"] == "FAILS"
    assert report().findings[0].sentence.split()[0] in written["lead"]


# --- sections


def test_a_cut_face_has_the_area_of_the_cross_section():
    # Cut at x = 60, through the pump's axis: 50 mm across, 68 mm high.
    picture = drawn(cut=("x", 60.0), hide=("case", "drive", "lid", "board"))
    area = (picture.ids == index("pump")).sum() / picture.camera.scale**2
    assert area == pytest.approx(50 * 68, rel=0.01)


@pytest.mark.parametrize("axis", ["y", "z"])
def test_round_cuts_have_the_area_of_a_circle(axis):
    along = {"y": [0, 1, 0], "z": [0, 0, 1]}[axis]
    start = np.array([100, 200, 150]) - 50 * np.array(along)
    tube = in_case(part("tube", rod(start, start + 100 * np.array(along), 80)))
    picture = pictures.draw_view(
        tube, check_world(tube), {"cut": {axis: 180.0 if axis == "y" else 150.0}}, SMALL
    )
    area = (picture.ids == 1).sum() / picture.camera.scale**2
    assert area == pytest.approx(np.pi * 40**2, rel=0.01)  # 48 sides: 0.3 % less


def test_winding_fills_what_two_shells_share_once_and_leaves_holes():
    def ring(low, high, turn):
        (x0, y0), (x1, y1) = low, high
        corners = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]][::turn], float)
        return np.stack([corners, np.roll(corners, -1, axis=0)], axis=1)

    both = np.concatenate([ring((2, 2), (12, 12), 1), ring((7, 7), (17, 17), 1)])
    (_, _), mask = section.filled(both, (20, 20))
    assert mask.sum() == 100 + 100 - 25
    holed = np.concatenate([ring((2, 2), (12, 12), 1), ring((5, 5), (9, 9), -1)])
    (_, _), mask = section.filled(holed, (20, 20))
    assert mask.sum() == 100 - 16


def test_the_worst_cut_shows_the_overlap():
    picture = drawn("", cut_worst=True)
    axis, value = picture.view.cut
    (finding,) = [f for f in report().findings if f.check == "interference"]
    points = dimensions.ends(finding)
    assert abs(points[0, "xyz".index(axis)] - value) <= section.INTO
    assert axis in "xy"  # the 6 mm lie along z, so the plane holds z
    spot = [50.0, 240.0, 167.0]
    spot["xyz".index(axis)] = value
    row, column = at(picture, spot)
    pane = np.array(picture.image)[picture.camera.pane[1] :, picture.camera.pane[0] :]
    around = pane[row - 4 : row + 5, column - 4 : column + 5].reshape(-1, 3).astype(int)
    assert (np.abs(around - rgb(OVERLAP)).sum(axis=1) < 30).any()


def test_cut_outlines_have_the_colours_of_their_distances():
    # Cut at z = 100 seen from the top: plates 15 mm and exactly 20 mm off; far ones keep a thin line.
    plates = world(
        part("a", box([0, 0, 0], [60, 200, 200])),
        part("b", box([75, 0, 0], [135, 200, 200])),
        part("c", box([155, 0, 0], [215, 200, 200])),
        clearance={"default": 2.0},
    )
    picture = pictures.draw_view(
        plates, check_world(plates), pictures.View("from top", cut=("z", 100.0)), SMALL
    )
    pixels = np.array(picture.image).astype(int)
    for x, blue in ((60, True), (75, True), (135, False), (155, False)):
        column, row = picture.camera.pixels(np.array([x, 40.0, 100.0])).astype(int)
        strip = pixels[row, column - 3 : column + 4]
        assert (np.abs(strip - rgb(NEAR[3])).sum(axis=1) < 30).any() == blue


def test_a_cut_takes_the_half_towards_the_eye_away():
    picture = drawn("from left", cut=("x", 130.0))
    assert index("pump") not in np.unique(picture.ids)  # x up to 85
    assert index("drive[1]") in np.unique(picture.ids)  # x from 120
    other = drawn("from right", cut=("x", 90.0))
    assert index("drive[1]") not in np.unique(other.ids)
    assert index("pump") in np.unique(other.ids)


def test_a_short_dimension_is_shown_magnified():
    picture = drawn("", cut_worst=True)
    near = picture.detail
    assert near.factor >= 2
    assert near.camera.scale == pytest.approx(near.factor * picture.camera.scale)
    left, top, right, bottom = near.camera.pane
    for end, main in ((near.dim.a, picture.dims[0].a), (near.dim.b, picture.dims[0].b)):
        assert left < end[0] < right
        assert top < end[1] < bottom
        assert near.shows[0] < main[0] < near.shows[2]
    length = np.linalg.norm(np.subtract(near.dim.a, near.dim.b))
    assert length == pytest.approx(6.0 * near.camera.scale)  # the overlap is 6 mm
    assert drawn().detail is None  # no section, so the place lies behind others


# --- verdicts, exploded views


def test_failing_parts_are_hatched_in_the_verdict_picture():
    picture = drawn("from right", colour="verdict")
    rows, columns = np.nonzero(picture.ids == index("lid"))
    left, top = picture.camera.pane[:2]
    pixels = np.array(picture.image)[rows + top, columns + left].astype(int)
    red = (pixels[:, 0] - pixels[:, 1]) > 60
    assert 0.4 < red.mean() < 0.9  # some of it lines of white
    assert any("hatched" in w.text for w in picture.written if w.kind == "legend")


def stack() -> World:
    up = Face(
        "fan_face",
        np.array([50.0, 50.0, 30.0]),
        np.array([0.0, 0.0, 1.0]),
        np.array([1.0, 0.0, 0.0]),
        (100.0, 100.0),
        ("body",),
    )
    down = Face(
        "back",
        np.array([50.0, 50.0, 30.0]),
        np.array([0.0, 0.0, -1.0]),
        np.array([1.0, 0.0, 0.0]),
        (100.0, 100.0),
        ("body",),
    )
    radiator = part("stack.radiator", box([0, 0, 0], [100, 100, 30]))
    fan = part("stack.fan", box([0, 0, 30], [100, 100, 55]))
    grille = part("grille", box([0, 0, 55], [100, 100, 58]))
    radiator.shape.faces["fan_face"] = up
    fan.shape.faces["back"] = down
    contacts = (
        Contact("rest", "stack.fan", "stack.radiator", ("body",), ("body",)),
        Contact("rest", "grille", "stack.fan", ("body",), ("body",)),
    )
    return world(radiator, fan, grille, contacts=contacts)


def test_fans_lift_off_their_radiator_and_carry_what_sits_on_them():
    moved, carried = explode.moves(stack(), set(), 1.0)
    np.testing.assert_array_equal(moved[0], 0)
    assert moved[1, 2] > 0
    np.testing.assert_array_equal(moved[1, :2], 0)
    np.testing.assert_array_equal(moved[2], moved[1])  # no faces tell its way: it rides along
    np.testing.assert_array_equal(carried, [moved[0], moved[0], moved[1]])
    assert not explode.moves(stack(), set(), 0.0)[0].any()


# --- files, machines that cannot draw


def test_nothing_makes_no_picture():
    with pytest.raises(pictures.NoPicture, match="nothing to draw"):
        pictures.render(world(part("empty")), Report("empty", Verdict.FITS))


def test_what_a_view_hides_wholly_is_still_a_picture():
    picture = drawn(hide=tuple(p.name for p in machine().parts))
    assert set(np.unique(picture.ids).tolist()) == {-1}
    assert picture.labels == []


def test_the_default_set_is_two_files(tmp_path):
    written = pictures.render_file(machine(), report(), tmp_path / "all.png", size=SMALL)
    assert [p.name for p in written] == ["all.png", "all-worst-place.png"]
    assert all(p.read_bytes().startswith(b"\x89PNG") for p in written)


def test_without_a_place_to_show_there_is_only_the_overview():
    fits = Report("empty", Verdict.FITS)
    assert [v.name for v in pictures.default_views(fits)] == ["overview"]


SCRIPT = """
import sys
sys.path.insert(0, sys.argv[2])
from test_pictures import SMALL, machine, report
from fitcheck.outputs import pictures
pictures.render_file(machine(), report(), sys.argv[1], "from front left", SMALL)
"""


def test_another_process_draws_the_same_bytes_in_silence(tmp_path):
    here = pictures.render_file(machine(), report(), tmp_path / "here.png", "from front left", SMALL)[0]
    there = tmp_path / "there.png"
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT, str(there), str(Path(__file__).parent)],
        capture_output=True,
        check=True,
    )
    assert done.stderr == b""
    assert done.stdout == b""
    assert there.read_bytes() == here.read_bytes()


@pytest.fixture
def fresh_probe():
    probe._start.cache_clear()
    probe._failure.cache_clear()
    yield
    probe._start.cache_clear()
    probe._failure.cache_clear()


@pytest.mark.usefixtures("fresh_probe")
def test_without_the_library_there_is_a_mend_not_a_crash(monkeypatch):
    def missing(name):
        raise OSError(name)

    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setattr(probe.ctypes, "CDLL", missing)
    with pytest.raises(pictures.NoPicture, match="install libegl1 and libgl1-mesa-dri"):
        pictures.render(machine(), report(), size=SMALL)


@pytest.mark.usefixtures("fresh_probe")
def test_a_driver_that_dies_is_found_out_by_a_child(monkeypatch):
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setattr(probe, "_DRAW_A_LITTLE", "import os, signal; os.kill(os.getpid(), signal.SIGSEGV)")
    with pytest.raises(pictures.NoPicture, match="without a screen failed"):
        pictures.render(machine(), report(), size=SMALL)
