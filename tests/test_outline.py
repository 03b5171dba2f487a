"""Sheets, prisms, bores and tubes against closed forms, shapely, trimesh and manifold3d."""

from __future__ import annotations

import math

import manifold3d
import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from fitcheck.parts.outline import Bore, bored, extruded, hollow_cylinder, piece_triangles
from fitcheck.parts.pieces import bounds, box_piece
from fitcheck.parts.polygon import SAGITTA, Cutout, checked_outline, circle, cutout_polygon
from fitcheck.parts.solids import Kind
from fitcheck.parts.threads import major_diameter
from fitcheck.parts.tubes import tube, tube_length
from fitcheck.scene.mistakes import ValueMistake

ANGLE = np.array([[0, 0], [20, 0], [20, 2], [2, 2], [2, 20], [0, 20]], float)
PLATE = np.array([[0, 0], [300, 0], [300, 400], [0, 400]], float)
quick = settings(derandomize=True, deadline=None, max_examples=100)
many = settings(derandomize=True, deadline=None, max_examples=3000)


def solid(piece) -> trimesh.Trimesh:
    """The piece in its part's frame, shut by trimesh's own judgement and by manifold3d's."""
    vertices, faces = piece_triangles(piece)
    body = manifold3d.Manifold(manifold3d.Mesh64(np.array(vertices), np.array(faces, np.uint64)))
    assert body.status() == manifold3d.Error.NoError
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.volume == pytest.approx(body.volume(), rel=1e-12)
    return mesh


def true_shape(cutout: Cutout) -> shapely.Geometry:
    """The cut-out by shapely, its rounds far finer than ours."""
    (length, width), (x, y) = cutout.size, cutout.centre
    if cutout.shape == "rectangle":
        flat = shapely.box(-length / 2, -width / 2, length / 2, width / 2)
    else:
        run = (length - width) / 2
        core = shapely.LineString([(-run, 0), (run, 0)]) if run else shapely.Point(0, 0)
        flat = core.buffer(width / 2, quad_segs=2000)
    turned = shapely.affinity.rotate(flat, math.degrees(math.atan2(*cutout.along[::-1])), origin=(0, 0))
    return shapely.affinity.translate(turned, x, y)


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_angle_section_lies_along_each_axis(axis):
    # 20 x 2 and 18 x 2 legs, 80 long: (40 + 36) * 80 = 6080 mm3.
    piece, error = extruded(ANGLE, axis, 5, 85)
    assert (piece.kind, error) == (Kind.MESH, 0.0)
    assert solid(piece).volume == pytest.approx(6080, abs=1e-9)
    plane = [i for i in range(3) if i != axis]
    low, high = bounds([piece])
    assert (low[axis], high[axis]) == (5, 85)
    assert low[plane] == pytest.approx([0, 0])
    assert high[plane] == pytest.approx([20, 20])
    # The open corner of the angle is at (20, 20) of the outline; its heel at (0, 0) is material.
    probe = np.empty((2, 3))
    probe[:, axis] = 45
    probe[:, plane] = [[1, 1], [10, 10]]
    assert trimesh.proximity.signed_distance(solid(piece), probe)[0] == pytest.approx(1)
    assert trimesh.proximity.signed_distance(solid(piece), probe)[1] == pytest.approx(-8)
    assert np.all(np.ptp(piece.mesh.vertices, axis=0) == 2 * piece.half)
    assert np.all(piece.mesh.vertices.min(axis=0) == -piece.half)


def test_a_plain_sheet_is_a_box():
    piece, error = extruded(PLATE, 2, 0, 1.5)
    assert (piece.kind, error) == (Kind.BOX, 0.0)
    assert piece.half == pytest.approx([150, 200, 0.75])
    assert piece.centre == pytest.approx([150, 200, 0.75])
    assert np.array_equal(piece.rotation, np.eye(3))


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_a_turned_rectangle_is_a_turned_box(axis):
    # Corners of a 5 x 5 square on the 3-4-5 triangle, one extra corner on a straight edge.
    outline = np.array([[0, 0], [1.5, 2], [3, 4], [-1, 7], [-4, 3]])
    piece, _ = extruded(outline, axis, 0, 10)
    assert piece.kind == Kind.BOX
    assert np.linalg.det(piece.rotation) == pytest.approx(1)
    assert sorted(piece.half) == pytest.approx([2.5, 2.5, 5])
    plane = [i for i in range(3) if i != axis]
    low, high = bounds([piece])
    assert low[plane] == pytest.approx([-4, 0])
    assert high[plane] == pytest.approx([3, 7])


def test_cut_sheet_volume_by_arithmetic():
    cuts = [
        Cutout("grille", "round", (150, 200), (114, 114)),
        Cutout("notch", "slot", (0, 50), (40, 8)),
        Cutout("gland", "rectangle", (60, 300), (55, 20), (0.6, 0.8)),
    ]
    piece, error = extruded(PLATE, 2, 0, 1.5, cuts)
    # The slot's middle is on the edge: half of it is cut, a round of 8 and 32 x 8 in all.
    true = (300 * 400 - math.pi * 57**2 - (32 * 8 + math.pi * 16) / 2 - 55 * 20) * 1.5
    assert 0 < error <= SAGITTA
    assert 0 <= solid(piece).volume - true < error * (math.pi * 114 + math.pi * 8) * 1.5
    # One round of 236 sides, half a slot and two straight cut-outs: no face is split for nothing.
    assert len(piece.mesh.faces) < 1300


def test_a_tube_through_the_hole_stays_clear():
    piece, _ = extruded(PLATE, 2, 0, 1.5, [Cutout("gland", "round", (100, 100), (20, 20))])
    angles = np.linspace(0, 2 * math.pi, 721)
    wall = np.stack([100 + 10.001 * np.cos(angles), 100 + 10.001 * np.sin(angles), 0 * angles + 0.75], 1)
    tube_wall = wall.copy()
    tube_wall[:, :2] = 100 + (wall[:, :2] - 100) * (9.99 / 10.001)
    distance = trimesh.proximity.signed_distance(solid(piece), np.concatenate([wall, tube_wall]))
    assert np.all(distance[:721] > 0)  # just outside the circle is material everywhere
    # Just inside is free, and nowhere nearer to material than the true circle by more than the sagitta.
    assert np.all(distance[721:] < -(0.01 - SAGITTA) + 1e-9)
    assert np.all(distance[721:] > -0.01 - 1e-9)


@pytest.mark.parametrize("radius", [0.3, 1.5, 2.15, 10, 57, 100, 400])
@pytest.mark.parametrize("outward", [False, True])
def test_circle_keeps_to_its_side(radius, outward):
    points, error = circle(radius, outward)
    reach = np.linalg.norm(points, axis=1)
    middles = np.linalg.norm((points + np.roll(points, 1, axis=0)) / 2, axis=1)
    assert error <= SAGITTA
    if outward:
        assert middles == pytest.approx(np.full(len(points), radius))
        assert reach - radius == pytest.approx(np.full(len(points), error), abs=1e-12)
    else:
        assert reach == pytest.approx(np.full(len(points), radius))
        assert radius - middles == pytest.approx(np.full(len(points), error), abs=1e-12)
    assert np.abs(points).max() >= radius - 1e-12  # a point or side at each of the four outermost places


cutouts = st.builds(
    lambda shape, x, y, length, width, turn: Cutout(
        "cut",
        shape,
        (x, y),
        (width, width) if shape == "round" else (max(length, width), width),
        (math.cos(turn), math.sin(turn)),
    ),
    st.sampled_from(["round", "slot", "rectangle"]),
    st.integers(-10, 110),
    st.integers(-10, 90),
    st.integers(4, 60),
    st.sampled_from([2.0, 4.3, 8.0, 20.0]),
    st.sampled_from([0.0, math.pi / 2, 0.3, 2.0]),
)


def compare_cutouts(cuts):
    plate = shapely.box(0, 0, 100, 80)
    shapes = [true_shape(cut) for cut in cuts]
    outside = any(plate.intersection(shape).area < 1e-3 for shape in shapes)
    left = plate.difference(shapely.union_all(shapes))
    outline = np.array([[0, 0], [100, 0], [100, 80], [0, 80]], float)
    if outside or left.area < 1e-3:
        return
    piece, error = extruded(outline, 2, 0, 2, cuts)
    vertices, faces = piece_triangles(piece)
    volume = trimesh.Trimesh(vertices, faces, process=False).volume
    rounds = sum(math.pi * cut.size[1] for cut in cuts if cut.shape != "rectangle")
    # Ours is larger by at most a sagitta along every round; the oracle's own rounds are a
    # ten thousandth as coarse.
    assert -1e-3 <= volume / 2 - left.area <= error * rounds + 1e-3
    for cut, shape in zip(cuts, shapes, strict=True):
        ours = shapely.Polygon(cutout_polygon(cut)[0])
        assert shape.buffer(1e-5).contains(ours)
        assert ours.hausdorff_distance(shape) <= SAGITTA + 1e-5


@given(st.lists(cutouts, min_size=1, max_size=4))
@quick
def test_any_cutouts_against_shapely(cuts):
    compare_cutouts(cuts)


@pytest.mark.long
@given(st.lists(cutouts, min_size=1, max_size=4))
@many
def test_very_many_cutouts_against_shapely(cuts):
    compare_cutouts(cuts)


@pytest.mark.parametrize(
    ("outline", "problem"),
    [
        ([[0, 0], [1, 0]], "at least 3 corners"),
        ([[0, 0], [10, 10], [10, 0], [0, 10]], "crosses or touches itself: its edges 1-2 and 3-4"),
        ([[0, 0], [10, 0], [10, 0], [0, 10]], "corners 2 and 3 of the outline are the same"),
        ([[0, 0], [10, 0], [0, 10], [0, 0]], "corners 4 and 1 of the outline are the same"),
        ([[0, 0], [10, 0], [20, 0]], "crosses or touches itself"),
        ([[0, 0], [10, 0], [10, 10], [5, 0], [0, 10]], "crosses or touches itself"),
        ([[0, 0], [10, 0], [10, 5], [10, -5], [5, 9]], "crosses or touches itself"),
    ],
)
def test_bad_outlines_are_refused(outline, problem):
    with pytest.raises(ValueMistake, match=problem):
        extruded(np.array(outline, float), 2, 0, 1)


def compare_outline(corners):
    points = np.array(corners, float)
    valid = shapely.Polygon(points).is_valid and shapely.LinearRing(points).is_simple
    if not valid:
        with pytest.raises(ValueMistake):
            checked_outline(points)
        return
    kept = shapely.Polygon(checked_outline(points))
    assert kept.exterior.is_ccw
    assert kept.equals(shapely.Polygon(points))


@given(st.lists(st.tuples(st.integers(0, 6), st.integers(0, 6)), min_size=3, max_size=8, unique=True))
@quick
def test_outlines_are_refused_just_when_shapely_calls_them_invalid(corners):
    compare_outline(corners)


@pytest.mark.long
@given(st.lists(st.tuples(st.integers(0, 6), st.integers(0, 6)), min_size=3, max_size=8, unique=True))
@many
def test_very_many_outlines_against_shapely(corners):
    compare_outline(corners)


@pytest.mark.parametrize(
    ("cut", "problem"),
    [
        (Cutout("a", "round", (400, 0), (10, 10)), "lies outside"),
        (Cutout("a", "round", (305, 0), (10, 10)), "lies outside"),  # only touches the edge
        (Cutout("a", "rectangle", (150, 200), (300, 400)), "leaves nothing"),
        (Cutout("a", "slot", (150, 200), (8, 40)), "shorter than its width"),
        (Cutout("a", "rectangle", (150, 200), (0, 40)), "nothing to cut"),
    ],
)
def test_bad_cutouts_are_refused(cut, problem):
    with pytest.raises(ValueMistake, match=problem):
        extruded(PLATE, 2, 0, 1.5, [cut])


def test_no_thickness_is_refused():
    with pytest.raises(ValueMistake, match="no thickness"):
        extruded(PLATE, 2, 1.5, 1.5)


def test_hollow_cylinder_is_never_thinner_than_real():
    piece, error = hollow_cylinder(20, 12, 40)
    mesh = solid(piece)
    true = math.pi * (10**2 - 6**2) * 40
    assert 0 < error <= SAGITTA
    assert 0 < mesh.volume - true < error * math.pi * 32 * 40
    radii = np.linalg.norm(mesh.vertices[:, :2], axis=1)
    outer = radii > 8
    assert radii[~outer] == pytest.approx(np.full((~outer).sum(), 6))
    assert 10 < radii[outer].min() <= radii[outer].max() <= 10 + SAGITTA
    assert bounds([piece])[1][2] == 20


@pytest.mark.parametrize(("diameter", "bore"), [(10, 10), (10, 12), (10, 0)])
def test_a_bore_needs_a_wall(diameter, bore):
    with pytest.raises(ValueMistake, match="leaves no wall"):
        hollow_cylinder(diameter, bore, 5)


def drill(at, axis, up, depth=None, diameter=4.0):
    return Bore(
        Cutout("screw", "round", (0, 0), (diameter, diameter)),
        np.array(at, float),
        np.array(axis, float),
        np.array(up, float),
        depth,
    )


def test_hole_through_one_leg_of_an_angle():
    piece, _ = extruded(ANGLE, 2, 0, 80)
    cut, error = bored(piece, [drill([12, 2, 40], [0, 1, 0], [0, 0, 1])], 0.0)
    # The leg is 2 thick: 6080 - pi 2^2 2 mm3.
    volume = solid(cut).volume
    assert 0 <= volume - (6080 - math.pi * 4 * 2) <= error * math.pi * 4 * 2
    assert error <= SAGITTA


def test_blind_hole_stops_at_its_depth():
    cut, error = bored(
        box_piece(np.zeros(3), np.array([20.0, 20, 10])), [drill([10, 10, 10], [0, 0, 1], [1, 0, 0], 6)], 0.0
    )
    volume = solid(cut).volume
    assert 0 <= volume - (4000 - math.pi * 4 * 6) <= error * math.pi * 4 * 6


def test_hole_inside_a_wider_one_is_no_mistake():
    block = box_piece(np.zeros(3), np.array([20.0, 20, 10]))
    holes = [drill([10, 10, 10], [0, 0, 1], [1, 0, 0], 6, d) for d in (8.0, 4.0)]
    cut, error = bored(block, holes, 0.0)
    assert 0 <= solid(cut).volume - (4000 - math.pi * 16 * 6) <= error * math.pi * 8 * 6


def test_bore_beside_the_solid_is_refused():
    with pytest.raises(ValueMistake, match="lies outside"):
        bored(box_piece(np.zeros(3), np.ones(3)), [drill([5, 5, 1], [0, 0, 1], [1, 0, 0])], 0.0)


def test_same_input_same_bytes():
    cuts = [Cutout("a", "round", (30.1, 40.7), (50, 50)), Cutout("b", "slot", (60, 60), (70, 9), (1, 1))]
    first, second = (extruded(PLATE, 2, 0, 1.5, cuts)[0].mesh for _ in range(2))
    assert first.key == second.key
    assert first.vertices.tobytes() == second.vertices.tobytes()


def rounded(path, radius):
    """The axis with its rounded corner in fine steps, and across it: out of the bend, and beside it."""
    (a, b, c) = (np.array(p, float) for p in path)
    u, v = (b - a) / np.linalg.norm(b - a), (c - b) / np.linalg.norm(c - b)
    turn = math.acos(u @ v)
    take = radius * math.tan(turn / 2)
    start, end = b - u * take, b + v * take
    inward = v - u * (u @ v)
    inward /= np.linalg.norm(inward)
    middle = start + inward * radius
    t = np.linspace(0, turn, 20001)[:, None]
    out = -inward * np.cos(t) + u * np.sin(t)
    arc = middle + out * radius
    line = np.concatenate([np.linspace(a, start, 2001), arc, np.linspace(end, c, 2001)])
    return line, arc, out, np.cross(u, inward)


def inside_pieces(points, pieces):
    held = np.zeros(len(points), bool)
    for piece in pieces:
        own = (points - piece.centre) @ piece.rotation
        held |= (np.hypot(own[:, 0], own[:, 1]) <= piece.half[0]) & (np.abs(own[:, 2]) <= piece.half[2])
    return held


@pytest.mark.parametrize(
    ("path", "radius", "diameter"),
    [
        ([[0, 0, 0], [0, 0, 50], [50, 0, 50]], 24, 16),
        ([[0, 0, 0], [60, 0, 0], [90, 40, 0]], 48, 16),
        ([[0, 0, 0], [0, 100, 0], [30, 20, 40]], 20, 13),
        ([[0, 0, 0], [0, 0, 50], [50, 0, 50]], 8, 16),  # tightest: half the diameter
    ],
)
def test_bend_holds_the_true_tube_and_hardly_more(path, radius, diameter):
    pieces, error = tube(np.array(path, float), diameter, radius)
    assert 0 < error <= SAGITTA
    line, arc, out, side = rounded(path, radius)
    rng = np.random.default_rng(1)
    bend = [piece for piece in pieces if piece.half[2] < 3]
    pick = rng.integers(0, len(bend), 600)
    angle, along = rng.uniform(0, 2 * math.pi, 600), rng.uniform(-1, 1, 600)
    # The skins of the bend's cylinders are at most `error` outside the true tube.
    skin = np.array(
        [
            bend[k].centre + bend[k].rotation @ (bend[k].half * [math.cos(f), math.sin(f), z])
            for k, f, z in zip(pick, angle, along, strict=True)
        ]
    )
    far = [np.linalg.norm(line - point, axis=1).min() for point in skin]
    assert max(far) <= diameter / 2 + error + 1e-5
    # The true tube's skin, a ten thousandth further in, is inside: all along the bend, all round it.
    at = rng.integers(0, len(arc), 20000)
    angle = rng.uniform(0, 2 * math.pi, (20000, 1))
    true = arc[at] + (diameter / 2 - 1e-4) * (out[at] * np.cos(angle) + side * np.sin(angle))
    assert inside_pieces(true, pieces).all()


def test_length_by_handbook_arithmetic():
    # Two legs of 50, one square bend of R 24: 50 + 50 - 2 * 24 + 24 pi / 2 = 89.6991 mm.
    path = np.array([[0, 0, 0], [0, 0, 50], [50, 0, 50]], float)
    assert tube_length(path, 24) == pytest.approx(52 + 12 * math.pi)
    pieces, _ = tube(path, 16, 24)
    assert [2 * pieces[0].half[2], 2 * pieces[-1].half[2]] == pytest.approx([26, 26])
    assert np.allclose(pieces[0].half[:2], 8)


def test_tube_bounds_are_those_of_its_outside():
    pieces, error = tube(np.array([[0, 0, 0], [0, 0, 50], [50, 0, 50]], float), 16, 24)
    low, high = bounds(pieces)
    assert low == pytest.approx([-8, -8, 0], abs=error + 1e-9)
    assert high == pytest.approx([50, 8, 58], abs=error + 1e-9)


def test_a_straight_tube_is_one_cylinder_and_needs_no_radius():
    pieces, error = tube(np.array([[0, 0, 0], [0, 0, 50]], float), 16)
    assert (len(pieces), pieces[0].kind, error) == (1, Kind.CYLINDER, 0.0)
    assert pieces[0].half == pytest.approx([8, 8, 25])


@pytest.mark.parametrize(
    ("path", "diameter", "radius", "problem", "mend"),
    [
        ([[0, 0, 0]], 16, 24, "at least 2 points", ""),
        ([[0, 0, 0], [0, 0, 0], [9, 0, 0]], 4, 4, "points 1 and 2 of the path are the same", "drop one"),
        ([[0, 0, 0], [0, 0, 50], [0, 0, 10]], 16, 24, "turns straight back at point 2", "beside"),
        ([[0, 0, 0], [0, 0, 50], [50, 0, 50]], 16, 0, "below half the diameter", "write 8 to 50"),
        (
            [[0, 0, 0], [0, 0, 50], [50, 0, 50]],
            16,
            51,
            "take 51 of it",
            "largest bend_radius that fits is 50",
        ),
        # The middle leg of 40 gives to two square bends: R + R <= 40.
        (
            [[0, 0, 0], [0, 0, 90], [40, 0, 90], [40, 90, 90]],
            8,
            24,
            "from point 2 to 3 is 40 long",
            "fits is 20",
        ),
        ([[0, 0, 0], [0, 0, 5], [50, 0, 5]], 16, 24, "take 24 of it", "make the legs longer"),
    ],
)
def test_bad_tubes_are_refused_with_the_mend(path, diameter, radius, problem, mend):
    with pytest.raises(ValueMistake, match=problem) as caught:
        tube(np.array(path, float), diameter, radius)
    assert mend in caught.value.mend


def try_offer(path, radius):
    try:
        tube(np.array(path, float), 8, radius)
    except ValueMistake as mistake:
        if "that fits is" not in mistake.mend:
            return
        largest = float(mistake.mend.split()[-1])
        tube(np.array(path, float), 8, largest)
        with pytest.raises(ValueMistake):
            tube(np.array(path, float), 8, largest + 0.011)


@given(
    st.lists(st.tuples(*[st.integers(-40, 40)] * 3), min_size=3, max_size=5),
    st.integers(5, 60),
)
@quick
def test_the_radius_offered_is_accepted_and_no_larger_one(path, radius):
    try_offer(path, radius)


@pytest.mark.long
@given(
    st.lists(st.tuples(*[st.integers(-40, 40)] * 3), min_size=3, max_size=5),
    st.integers(5, 60),
)
@many
def test_very_many_radii_offered(path, radius):
    try_offer(path, radius)


@pytest.mark.parametrize(
    ("size", "major"),
    # Basic major diameters: ISO 228-1 table 1; ISO 724; ASME B1.1 (0.1380 in).
    [("G1/8", 9.728), ("G1/4", 13.157), ("G3/8", 16.662), ("M3", 3.0), ("6-32", 3.505)],
)
def test_thread_sizes_of_the_standards(size, major):
    assert major_diameter(size) == pytest.approx(major, abs=5e-4)


def test_unknown_thread_names_the_nearest():
    with pytest.raises(ValueMistake) as caught:
        major_diameter("G1/44")
    assert caught.value.mend == "did you mean G1/4?"
