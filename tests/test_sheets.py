"""Sheets in their plane against shapely, published bend examples, and outlines folded by arithmetic."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapes import shape
from worlds import box, part, rod, world

from fitcheck.parts.outline import extruded
from fitcheck.parts.polygon import Cutout
from fitcheck.parts.solids import Solid
from fitcheck.sheets.around import sheets
from fitcheck.sheets.bending import bend_allowance, bend_deduction, neutral_fibre, profile
from fitcheck.sheets.cutouts import Cut
from fitcheck.sheets.nearest import Factors, nearness, rim
from fitcheck.sheets.panels import folded, footprint, overhang, panel
from fitcheck.sheets.sections import axes_of, distances, inside, section
from fitcheck.world.frames import Frame, turn_about

UP = np.array([0.0, 0.0, 1.0])
# Quarter circles of shapely's buffers: 64 sides are 3e-4 of the radius short.
SIDES = 64


def cut(x, y, turn, long, wide, kind):
    """The same cut-out for us and for shapely."""
    way = np.array([np.cos(turn), np.sin(turn)])
    middle = np.array([x, y], float)
    if kind == "round":
        return Cut("c", middle[None], wide / 2, True), shapely.Point(middle).buffer(wide / 2, SIDES)
    if kind == "slot":
        ends = np.array([middle - way * long / 2, middle + way * long / 2])
        return Cut("c", ends, wide / 2, True), shapely.LineString(ends).buffer(wide / 2, SIDES)
    aside = np.array([-way[1], way[0]]) * wide / 2
    corners = np.array(
        [way * long / 2 + aside, -way * long / 2 + aside, -way * long / 2 - aside, way * long / 2 - aside]
    )
    return Cut("c", middle + corners, 0.0, False), shapely.Polygon(middle + corners)


whole = st.integers(-60, 60)
cuts = st.builds(
    cut, whole, whole, st.sampled_from([0.0, np.pi / 2, 0.4, 2.1]), st.integers(3, 40), st.integers(2, 30),
    st.sampled_from(["round", "slot", "rectangle"]),
)  # fmt: skip


@settings(derandomize=True, deadline=None, max_examples=400)
@given(one=cuts, other=cuts)
def test_material_between_cut_outs_is_that_of_shapely(one, other):
    ours, theirs = one[0].gap_to(other[0]), one[1].distance(other[1])
    if theirs == 0:
        assert ours <= 0.02
    else:
        assert ours == pytest.approx(theirs, abs=0.01)
    assert other[0].gap_to(one[0]) == pytest.approx(ours, abs=1e-9)


@settings(derandomize=True, deadline=None, max_examples=200)
@given(one=cuts, ends=st.tuples(whole, whole, whole, whole))
def test_material_to_an_edge_is_that_of_shapely(one, ends):
    line = np.array(ends, float).reshape(2, 2)
    assume(np.linalg.norm(line[1] - line[0]) > 1)
    ours, _ = one[0].gap_to_edge(line[None])
    theirs = one[1].distance(shapely.LineString(line))
    assert ours == pytest.approx(theirs, abs=0.01) if theirs > 0 else ours <= 0.02


@settings(derandomize=True, deadline=None, max_examples=60)
@given(
    corners=st.lists(st.tuples(whole, whole), min_size=3, max_size=7, unique=True), seed=st.integers(0, 9999),
    axis=st.integers(0, 2),
)  # fmt: skip
def test_sections_are_the_outlines_that_were_extruded(corners, seed, axis):
    hull = shapely.MultiPoint(corners).convex_hull
    assume(isinstance(hull, shapely.Polygon) and hull.area > 200)
    outline = np.array(hull.exterior.coords)[:-1]
    middle = np.array(hull.representative_point().coords[0])
    radius = min(5.0, hull.exterior.distance(shapely.Point(middle)) / 2)
    piece, _ = extruded(
        outline, axis, 3.0, 5.0, [Cutout("h", "round", tuple(middle), (2 * radius, 2 * radius))]
    )
    normal = np.eye(3)[axis]
    plane = [k for k in range(3) if k != axis]
    axes = np.eye(3)[plane] if axis != 1 else np.eye(3)[plane][::-1]
    at = 4.0 * normal
    segments = section([Solid("s", (piece,))], at, normal, axes)
    rings = shapely.polygonize([shapely.LineString(np.round(one, 9)) for one in segments])
    area = max(ring.area for ring in rings.geoms)
    expected = hull.difference(shapely.Point(middle).buffer(radius, SIDES))
    assert area == pytest.approx(expected.area, abs=0.2)
    assert segments.reshape(-1, 2).min(axis=0) == pytest.approx(
        np.min(outline if axis != 1 else outline[:, ::-1], axis=0)
    )
    # Material lies to the left of every segment.
    points = np.random.default_rng(seed).uniform(-60, 60, (50, 2))
    theirs = [expected.contains(shapely.Point(p if axis != 1 else p[::-1])) for p in points]
    near = distances(points, segments).min(axis=1) < 0.05
    assert (inside(segments, points) == np.array(theirs))[~near].all()
    turned = segments[:, 1] - segments[:, 0]
    aside = (
        segments.mean(axis=1)
        + 1e-4 * np.column_stack([-turned[:, 1], turned[:, 0]]) / np.linalg.norm(turned, axis=1)[:, None]
    )
    assert inside(segments, aside).all()


def test_sections_of_boxes_and_cylinders():
    axes = axes_of(UP)
    square = section([Solid("b", (box([0, 0, 0], [4, 6, 2]),))], np.array([0, 0, 1.0]), UP, axes)
    assert np.ptp(square.reshape(-1, 2), axis=0) == pytest.approx([4, 6])
    ring = section([Solid("r", (rod([0, 0, 0], [0, 0, 9], 10),))], np.array([0, 0, 1.0]), UP, axes)
    assert np.linalg.norm(ring.reshape(-1, 2), axis=1) == pytest.approx(5, abs=0.01)
    assert not len(section([Solid("b", (box([0, 0, 0], [4, 6, 2]),))], np.array([0, 0, 3.0]), UP, axes))


# DIN 6935 worked example of a public page: 50 + 50, r = 2, s = 2: K 0.325, BA 4.1626, BD 3.8374, flat 96.1626; the
# other rows by the same formula on a pocket calculator.
@pytest.mark.parametrize(
    ("radius", "thick", "k", "allowance", "deduction"),
    [
        (2.0, 2.0, 0.325, 4.162610, 3.837390), (1.0, 1.0, 0.325, 2.081305, 1.918695),
        (3.0, 1.5, 0.400257, 5.655473, 3.344527), (1.0, 1.5, 0.280977, 2.232833, 2.767167),
        (6.0, 1.0, 0.5, 10.210176, 3.789824),
    ],
)  # fmt: skip
def test_bends_by_the_worked_examples(radius, thick, k, allowance, deduction):
    assert neutral_fibre(radius, thick) == pytest.approx(k, abs=1e-6)
    assert bend_allowance(90, radius, thick) == pytest.approx(allowance, abs=1e-6)
    assert bend_deduction(90, radius, thick) == pytest.approx(deduction, abs=1e-6)


def test_the_blank_of_the_worked_example():
    angle = profile(np.array([[0, 0], [50, 0], [50, 2], [2, 2], [2, 50], [0, 50]], float))
    assert angle.bends == pytest.approx([90])
    assert angle.legs == pytest.approx((50, 50))
    assert angle.blank(2.0) == pytest.approx(96.162610, abs=1e-6)  # 50 + 50 - 3.837390


def walked(legs, bends, thick):
    """A folded sheet with sharp corners by walking along its middle line: outline, and outside legs at its ends."""
    way, at = 0.0, np.zeros(2)
    left, right = [], []
    turns = [*bends, None]
    for k, (leg, turn) in enumerate(zip(legs, turns, strict=True)):
        ahead = np.array([np.cos(way), np.sin(way)])
        normal = np.array([-ahead[1], ahead[0]])
        if k == 0:
            left.append(at + normal * thick / 2)
            right.append(at - normal * thick / 2)
        at = at + leg * ahead
        if turn is None:
            left.append(at + normal * thick / 2)
            right.append(at - normal * thick / 2)
            break
        miter = np.tan(np.radians(turn) / 2) * thick / 2
        left.append(at + normal * thick / 2 - ahead * miter)
        right.append(at - normal * thick / 2 + ahead * miter)
        way += np.radians(turn)
    return np.array(right + left[::-1])


@settings(derandomize=True, deadline=None, max_examples=150)
@given(
    legs=st.lists(st.integers(20, 80), min_size=2, max_size=4), data=st.data(), thick=st.sampled_from([0.8, 1.5, 3.0]),
    radius=st.sampled_from([1.0, 2.0, 5.0]),
)  # fmt: skip
def test_blanks_of_folded_profiles_leg_by_leg(legs, data, thick, radius):
    bends = [data.draw(st.sampled_from([-90.0, -60.0, 45.0, 90.0])) for _ in legs[1:]]
    outline = walked(legs, bends, thick)
    assume(shapely.Polygon(outline).is_valid)
    found = profile(outline)
    assert found is not None
    assert sorted(found.bends) == pytest.approx(sorted(map(abs, bends)))
    # By the handbook: straight lengths from tangent to tangent, and the arcs of the neutral fibre. A straight ends
    # where its bend begins: (r + t / 2) tan(A / 2) before the corner of the middle line.
    flat = float(sum(legs))
    for bend in map(abs, bends):
        flat -= 2 * (radius + thick / 2) * np.tan(np.radians(bend) / 2)
        flat += np.radians(bend) * (radius + neutral_fibre(radius, thick) * thick)
    assert found.blank(radius) == pytest.approx(flat, abs=1e-6)


@pytest.mark.parametrize(
    "outline",
    [
        [[0, 0], [50, 0], [50, 2], [0, 2]],  # flat
        [[0, 0], [50, 0], [50, 3], [2, 3], [2, 50], [0, 50]],  # two thicknesses
        [[0, 0], [30, 0], [15, 20]],
    ],
)
def test_what_is_no_folded_sheet(outline):
    assert profile(np.array(outline, float)) is None


def test_models_of_folded_sheets():
    found, width = folded(shape("corner_bracket", width=40, leg_y=30, leg_z=25).solids["angle"])
    assert (found.thickness, width) == (pytest.approx(2), pytest.approx(40))
    assert sorted(found.legs) == pytest.approx([25, 30])
    assert found.middle == pytest.approx(29 + 24)
    assert folded(shape("flat_panel").solids["panel"]) is None


def test_a_bend_is_told_from_an_edge():
    bracket = part("bracket", box([0, 0, 0], [1, 1, 1]))
    made = type(bracket)("bracket", "bracket", "corner_bracket", bracket.pose, shape("corner_bracket"))
    lying, standing = sheets(world(made), made)
    for leg in (lying, standing):
        assert leg.thickness == pytest.approx(2)
        # One side of each leg goes on into the other, 2 thick; three are free.
        assert leg.legs == pytest.approx(np.full(len(leg.legs), 2.0), abs=1e-6)
        assert len(leg.bends)
        assert {n.kind for n in nearness(leg, Factors())} == {"edge", "pitch", "bend"}
        bend = next(n for n in nearness(leg, Factors(), radius=1.0) if n.kind == "bend")
        # Hole's middle at (25 + 2) / 2 from the outer corner, the leg 2, the tangent 1 farther: 13.5 - 2.25 - 2 - 1.
        assert bend.measured == pytest.approx(8.25)
        assert bend.wanted == pytest.approx(2 * 2 + 1)
        edge = min((n for n in nearness(leg, Factors()) if n.kind == "edge"), key=lambda n: n.measured)
        assert edge.measured == pytest.approx(7)  # (30 - 16) / 2 from the ends
        assert rim(leg, leg.cuts[0]).measured == pytest.approx(7 - 2.25)


@settings(derandomize=True, deadline=None, max_examples=80)
@given(seed=st.integers(0, 10_000), many=st.integers(2, 25))
def test_least_to_spare_is_found_among_many(seed, many):
    """The neighbours are asked in the order of a bound; asking all pairs gives the same."""
    random = np.random.default_rng(seed)
    holes = []
    for k in range(many):
        made, _ = cut(
            *random.integers(-200, 200, 2), random.uniform(0, 3), random.integers(3, 60), random.integers(2, 12),
            random.choice(["round", "slot", "rectangle"]),
        )  # fmt: skip
        holes.append(Cut(f"c{k}", made.core, made.radius, made.is_hole))
    flat = part("p", box([0, 0, 0], [1, 1, 1]))
    from fitcheck.sheets.around import Sheet
    from fitcheck.sheets.nearest import _pair

    sheet = Sheet(
        flat.name, "body", 2.0, np.zeros(3), axes_of(UP), UP, tuple(holes), np.zeros((0, 2, 2)), np.zeros((0, 2, 2)),
        np.zeros(0),
    )  # fmt: skip
    found = [n.measured - n.wanted for n in nearness(sheet, Factors())]
    pairs = [_pair(sheet, a, b, Factors()) for k, a in enumerate(holes) for b in holes[:k]]
    spare = [n.measured - n.wanted for n in pairs if n is not None]
    assert min(found, default=0) == pytest.approx(min(spare, default=0))


@settings(derandomize=True, deadline=None, max_examples=120)
@given(
    x=st.integers(-40, 140), y=st.integers(-40, 100), size=st.tuples(st.integers(5, 60), st.integers(5, 60)),
    turn=st.sampled_from([0.0, 90.0, 30.0, 45.0]), round_=st.booleans(),
)  # fmt: skip
def test_overhang_is_the_farthest_place_outside(x, y, size, turn, round_):
    plate = part("plate", box([0, 0, 0], [100, 60, 2]))
    pose = Frame(turn_about(UP, turn), np.array([x, y, 2.0]))
    piece = rod([0, 0, 0], [0, 0, 9], size[0]) if round_ else box([0, 0, 0], [*size, 9])
    thing = part("thing", piece, pose=pose)
    on = panel(plate, plate.shape.solids["body"])
    out, _ = overhang(on, footprint(on, thing, [thing.shape.solids["body"]]))
    if round_:
        theirs = shapely.Point(x, y).buffer(size[0] / 2, SIDES)
    else:
        theirs = affinity.translate(affinity.rotate(shapely.box(0, 0, *size), turn, origin=(0, 0)), x, y)
    region = shapely.box(0, 0, 100, 60)
    expected = max(region.distance(shapely.Point(p)) for p in theirs.exterior.coords)
    assert out == pytest.approx(expected, abs=0.01 if round_ else 1e-6)


def test_no_panel():
    thick = part("t", box([0, 0, 0], [50, 50, 20]))
    assert panel(thick, thick.shape.solids["body"]) is None
    stick = part("s", rod([0, 0, 0], [0, 0, 2], 40))
    assert panel(stick, stick.shape.solids["body"]) is None
