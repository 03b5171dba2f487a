"""Templates as data: which face, which way up, where each hole lies, against places worked out by hand."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
import trimesh
from template_scenes import FOLDED, PLATE, at, drawn, one, scene_file

import fitcheck
from fitcheck.parts.mirror import mirrored
from fitcheck.parts.pieces import bounds
from fitcheck.scene.mistakes import Mistakes, ValueMistake
from fitcheck.scene.read import library
from fitcheck.templates.made import templates
from fitcheck.world.frames import SIDES, Frame


# Where the plain hole, 10 along x and 20 along y of the plate's own 100 x 60, comes to lie on the page.
@pytest.mark.parametrize(
    ("turns", "face", "up", "edges", "place"),
    [
        # As it is: seen from above, left is left, the front below.
        ("", "top", "rear", ("left", "front"), (10, 20)),
        # Turned over about y, x runs to the left and its face looks down. Seen from below with the front up,
        # left stays left: 100 - 10 from there; from the rear, below on the page, 60 - 20.
        (", turns: [{about: y, by: 180}]", "bottom", "front", ("left", "rear"), (90, 40)),
        # Stood up, y running up: seen from the front, left is left.
        (", turns: [{about: x, by: 90}]", "front", "top", ("left", "bottom"), (10, 20)),
        # Stood on its head, face to the rear: seen from there the right is at the left, and y runs down.
        (", turns: [{about: x, by: -90}]", "rear", "top", ("right", "bottom"), (90, 40)),
        # x runs up and the face looks to the left: seen from there the rear is at the left.
        (", turns: [{about: y, by: -90}]", "left", "top", ("rear", "bottom"), (40, 10)),
        # x runs down and the face looks to the right: the front is at the left.
        (", turns: [{about: y, by: 90}]", "right", "top", ("front", "bottom"), (20, 90)),
        # A quarter turn where it lies: x runs to the rear, y to the left; from the left 60 - 20, from the front 10.
        (", turn: 90", "top", "rear", ("left", "front"), (40, 10)),
        # The mirror image in x, lying: from the left 100 - 10.
        (", mirror: x", "top", "rear", ("left", "front"), (90, 20)),
    ],
)  # fmt: skip
def test_places_by_hand(tmp_path, turns, face, up, edges, place):
    drawing = one(tmp_path, PLATE.format(turns=turns, more=""))
    assert drawing.face.startswith(f"face to the {face}")
    assert drawing.up == up
    assert (drawing.datum.left, drawing.datum.bottom) == edges
    assert at(drawing, "plain") == place


def test_a_leaning_plate_keeps_its_own_edges(tmp_path):
    drawing = one(tmp_path, PLATE.format(turns=", turns: [{about: z, by: 10}, {about: x, by: 20}]", more=""))
    assert drawing.face.endswith("seen from above, leaning")
    assert at(drawing, "plain") == (10, 20)
    assert drawing.size == (100, 60)


def test_edges_have_names_of_their_own_at_45_degrees(tmp_path):
    drawing = one(tmp_path, PLATE.format(turns=", turn: 45", more=""))
    edges = drawing.datum
    assert len({edges.left, edges.bottom, edges.right, edges.top}) == 4
    assert sorted(drawing.size) == [60, 100]


def test_a_case_is_seen_from_outside(tmp_path):
    """The hole is drilled from inside; 30 from the front is 200 - 30 from the rear, which lies at the left."""
    drawing = one(tmp_path, "  case: {model: odd_case}\n")
    assert drawing.face == "outside face, seen from the left"
    assert at(drawing, "from_inside") == (170, 80)


def test_kinds_taps_and_notes(tmp_path):
    drawing = one(tmp_path, PLATE.format(turns="", more=""))
    rows = {spot.hole.rpartition(".")[2]: spot for spot in drawing.spots}
    assert {name: spot.kind for name, spot in rows.items()} == {
        "plain": "hole", "tapped": "tapped hole", "blind": "blind hole", "post_top": "stand-off",
        "long_slot": "slot", "window": "cut-out", "notch": "cut-out",
    }  # fmt: skip
    assert (rows["tapped"].thread, rows["tapped"].tap_drill) == ("M4", 3.3)  # 4 - 0.7
    assert (rows["blind"].depth, rows["blind"].cut) == (1.2, False)
    assert (rows["post_top"].diameter, rows["post_top"].note) == (6.0, "its hole M3")
    assert rows["window"].size == "10 × 20"
    assert [spot.number for spot in drawing.spots] == list(range(1, 8))


def test_a_notch_is_part_of_the_outline(tmp_path):
    drawing = one(tmp_path, PLATE.format(turns="", more=""))
    (number,) = drawing.merged
    assert drawing.spots[number - 1].hole == "plate.notch"
    (loop,) = drawing.loops
    # 6 of its 12 mm of width lie in the plate, 8 high; four corners come in.
    assert loop.area == pytest.approx(100 * 60 - 6 * 8)
    assert {(94.0, 4.0), (94.0, 12.0)} <= set(loop.corners)


def test_areas_are_those_of_the_model(tmp_path):
    """Area times thickness, less the blind hole, against the volume of the mesh that the engine measures."""
    drawing = one(tmp_path, PLATE.format(turns="", more=""))
    world = fitcheck.load(tmp_path / "scene.yaml")
    (piece,) = world.by_name["plate"].shape.solids["plate"].pieces
    volume = trimesh.Trimesh(piece.mesh.vertices, piece.mesh.faces, process=False).volume
    blind = np.pi * 1.5**2 * 1.2
    # Round cut-outs of the mesh are polygons inside the true circles, by 0.005 mm at most.
    rims = np.pi * (4.5 + 3.3 + 3 + 5) * 0.005 * 2
    assert 0 <= volume - (drawing.area * 2 - blind) < rims


@pytest.mark.parametrize("scene", ["dome_render", "cabinet_wall", "field_cube"])
def test_demo_panels_from_their_named_edges(scene):
    """Every hole of every panel square to the world, from the edges that the template names, is at its place.

    The part's bounds and the names of the edges are all that is used to go back.
    """
    world = fitcheck.load(f"scenes/{scene}.yaml")
    seen = 0
    for drawing in templates(world).drawings:
        if drawing.kind != "sheet":
            continue
        part, _, solid = drawing.name.rpartition(".")
        placed = world.by_name[part]
        pieces = placed.shape.solids[solid].pieces
        corners = np.concatenate([
            placed.pose.point((p.mesh.vertices if p.mesh is not None else np.array(
                [[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)]) * p.half) @ p.rotation.T + p.centre)
            for p in pieces
        ])  # fmt: skip
        features = {**placed.shape.holes, **placed.shape.openings}
        for spot in drawing.spots:
            if spot.kind == "to drill":
                continue
            true = placed.pose.point(features[spot.hole.removeprefix(f"{part}.")].at)
            for along, edge in zip(spot.at, (drawing.datum.left, drawing.datum.bottom), strict=True):
                out = SIDES[edge]
                assert (corners @ out).max() - along == pytest.approx(true @ out, abs=1e-5)
                seen += 1
    assert seen > 20


def test_alike_parts_are_one_mirrored_ones_are_not(tmp_path):
    parts = (
        "  a: {repeat: {i: 2}, model: odd_plate, place: {at: [i * 200, 0, 0]}}\n"
        "  b: {model: odd_plate, place: {at: [900, 0, 0], mirror: x}}\n"
    )
    found = drawn(tmp_path, parts).drawings
    assert [drawing.parts for drawing in found] == [("a[1].plate", "a[2].plate"), ("b.plate",)]


def test_a_blank_by_hand(tmp_path):
    """20, 40 and 30 outside, t 2, r 2, K 0.4: each bend allows pi/2 (2 + 0.8) = 4.39823, and deducts 2 (2 + 2) - that.

    Flats: 20 - 4, 40 - 8, 30 - 4. From the left end: 16, bend, 32, bend, 26.
    """
    drawing = one(tmp_path, "  bent: {model: odd_channel}\n", FOLDED)
    allowance = np.pi / 2 * 2.8
    assert drawing.kind == "blank"
    assert drawing.size == pytest.approx((16 + 32 + 26 + 2 * allowance, 80), abs=1e-5)
    assert drawing.face == "face to the top, seen from above, laid flat"
    lines = sorted(bend.start[0] for bend in drawing.bends)
    assert lines == pytest.approx([16 + allowance / 2, 48 + 1.5 * allowance], abs=1e-5)
    assert all(bend.up and bend.angle == 90 and bend.radius == 2 for bend in drawing.bends)
    # 12 above the underside is 8 below the left flange's end; 25 from the outside is 21 from the tangent at 4;
    # 21 above the underside is 17 above the tangent.
    assert at(drawing, "low") == pytest.approx((8, 10), abs=1e-5)
    assert at(drawing, "middle") == pytest.approx((16 + allowance + 21, 30), abs=1e-5)
    assert at(drawing, "high") == pytest.approx((48 + 2 * allowance + 17, 60), abs=1e-5)


def test_a_blank_seen_from_below_bends_down(tmp_path):
    """Turned over, its holes' side looks down: left and right, front and rear change places; bends still rise to the reader."""
    drawing = one(
        tmp_path,
        "  bent: {model: odd_channel, place: {at: [0, 0, 0], turns: [{about: y, by: 180}]}}\n",
        FOLDED,
    )
    assert drawing.face == "face to the bottom, seen from below, laid flat"
    assert all(bend.up for bend in drawing.bends)
    wide = drawing.size[0]
    # Turned about y, the left flange lies at the right; seen from below with the front up.
    assert at(drawing, "low") == pytest.approx((wide - 8, 70), abs=1e-5)


def test_a_stock_channel_has_a_template_for_each_drilled_leg(tmp_path):
    found = drawn(tmp_path, "  bar: {model: odd_channel}\n").drawings
    places = {
        drawing.name: (at(drawing, drawing.spots[0].hole.rpartition(".")[2]), drawing.size)
        for drawing in found
    }
    # Left flange seen from the left: the rear is at the left, 80 - 10; heights from the corner.
    assert places["bar.channel left"] == ((70, 12), (80, 20))
    # The base seen from below, the front up: 25 from the left; 80 - 30 from the rear.
    assert places["bar.channel bottom"] == ((25, 50), (40, 80))
    assert places["bar.channel right"] == ((60, 21), (80, 30))
    heels = {drawing.name: drawing.datum.bottom for drawing in found if "bottom" not in drawing.name}
    assert heels == {"bar.channel left": "bottom corner", "bar.channel right": "bottom corner"}


def test_a_block_and_its_drilled_side():
    text = "parts:\n  clamp: {model: tube_clamp, with: {diameter: 56, stand: 6}}\n"
    plan, back = templates(fitcheck.load(text, name="clamp")).drawings
    assert plan.spots[0].shape.diameter == 56
    assert [(spot.at, spot.thread, spot.depth) for spot in back.spots] == [
        # 64 wide, holes 0.6 * 56 = 33.6 apart, in the middle of 16.
        ((15.2, 8.0), "M4", 5.0), ((48.8, 8.0), "M4", 5.0),
    ]  # fmt: skip
    assert back.face.startswith("face to the rear (back)")


def test_holes_of_a_guest_are_to_be_drilled():
    text = (
        "parts:\n  panel: {model: flat_panel, with: {columns: 0}}\n"
        "  foot: {model: foot, place: {rest: upper_face, on: panel.underside, left: 20, front: 30}}\n"
    )
    (drawing,) = templates(fitcheck.load(text, name="feet")).drawings
    (spot,) = drawing.spots
    foot = fitcheck.load(text, name="feet").by_name["foot"]
    middle = foot.pose.point(foot.shape.holes["screw"].at)
    assert (spot.kind, spot.cut) == ("to drill", False)
    assert spot.at == pytest.approx((middle[0] + 100, middle[1] + 60))
    assert "foot" in spot.what_for


def test_what_is_bought_is_drawn_only_by_name():
    world = fitcheck.load("scenes/field_cube.yaml")
    names = {drawing.name.partition(".")[0] for drawing in templates(world).drawings}
    assert "radiator" not in names
    assert {drawing.name for drawing in templates(world, "block").drawings} == {
        "block.bracket",
        "block.cold_plate",
    }
    with pytest.raises(ValueMistake, match="blok"):
        templates(world, "blok")


@pytest.mark.parametrize(
    ("with_", "said"),
    [
        ("thickness: 2, cut_out: round, cut_long: 10", None),
        ("thickness: 2, cut_out: round, cut_long: 12", "use a step drill"),
        ("thickness: 2, cut_out: round, cut_long: 31", "no drill makes it"),
        ("thickness: 3, cut_out: round, cut_long: 31", None),
        ("thickness: 2, cut_out: rectangle, cut_long: 31", None),
    ],
)
def test_large_holes_in_thin_sheet(with_, said):
    text = f"parts:\n  panel: {{model: flat_panel, with: {{{with_}}}}}\n"
    (drawing,) = templates(fitcheck.load(text, name="panel")).drawings
    large = [one for one in drawing.warnings if "large for sheet" in one]
    assert (said is None and not large) or (said is not None and said in large[0])


def test_holes_too_near_an_edge_are_told():
    # 60 wide, 52 between the holes: 4 from the edge, 1.2 * 4.5 wanted.
    text = "parts:\n  panel: {model: flat_panel, with: {width: 60, length: 60, columns: 2, rows: 1, column_pitch: 52}}\n"
    (drawing,) = templates(fitcheck.load(text, name="panel")).drawings
    assert "1: 4.0 mm from its middle to an edge; 5.4 mm are wanted." in drawing.warnings


def test_holes_in_bends_and_blind_ones_are_told(tmp_path):
    folded = "rules: {edges: {folded: [{of: bent, radius: 18 mm}]}}\n"
    drawing = one(tmp_path, "  bent: {model: odd_channel}\n", folded)
    assert any("reach into a bend" in said for said in drawing.warnings)
    plate = one(tmp_path, PLATE.format(turns="", more=""))
    assert any(
        said.startswith("Hole 4 (1.2 mm)") or "(1.2 mm): not through" in said for said in plate.warnings
    )


def test_glass_is_told():
    world = fitcheck.load("scenes/cabinet_wall.yaml")
    (drawing,) = templates(world, "case.door_glass").drawings
    assert any("Toughened glass" in said for said in drawing.cautions)
    (panel,) = templates(world, "case.shelf").drawings
    assert not any("glass" in said.lower() for said in panel.cautions)


def test_anchors_and_mains_are_told():
    world = fitcheck.load("scenes/cabinet_wall.yaml")
    said = {drawing.name: " ".join(drawing.cautions) for drawing in templates(world, "case").drawings}
    assert [name for name, words in said.items() if "carry the whole machine" in words] == ["case.back_panel"]
    assert [name for name, words in said.items() if "Mains comes in" in words] == ["case.right_panel"]


def test_every_template_has_the_cautions(tmp_path):
    drawing = one(tmp_path, PLATE.format(turns="", more=""))
    said = " ".join(drawing.cautions)
    for word in ("100 mm marks", "deburr", "eye protection", "unplugged"):
        assert word in said


def test_same_scene_same_drawings(tmp_path):
    file = scene_file(tmp_path, PLATE.format(turns="", more=""))
    assert templates(fitcheck.load(file)) == templates(fitcheck.load(file))


def all_turns():
    """The 24 ways that a box can stand square to the world."""
    found = []
    for x, y in itertools.permutations(range(3), 2):
        for a, b in itertools.product((1.0, -1.0), repeat=2):
            turn = np.zeros((3, 3))
            turn[x, 0], turn[y, 1] = a, b
            turn[:, 2] = np.cross(turn[:, 0], turn[:, 1])
            found.append(turn)
    return found


@pytest.mark.parametrize("axis", [None, "x", "y", "z"])
def test_no_template_is_mirrored(tmp_path, axis):
    """All 24 square turns, and those of its mirror images: what the words say makes a right-handed page.

    Page's right and up, from the names of its left and lower edge, and the side it is seen from must be
    right-handed; and each hole measured from those edges of the part's bounds must be where it is.
    """
    plain = fitcheck.load(scene_file(tmp_path, PLATE.format(turns="", more="")))
    (part,) = plain.parts
    shape = part.shape if axis is None else mirrored(part.shape, axis)
    for turn in all_turns():
        placed = replace(part, shape=shape, pose=Frame(turn, np.array([5.0, -7.0, 3.0])))
        (drawing,) = templates(replace(plain, parts=(placed,))).drawings
        right, up = -SIDES[drawing.datum.left], -SIDES[drawing.datum.bottom]
        face = drawing.face.split()[3].strip(",")
        assert np.cross(right, up) == pytest.approx(SIDES[face])
        # Holes are entered from the local +z (its mirror image: -z), and that is what is shown.
        entered = turn @ [0, 0, -1.0 if axis == "z" else 1.0]
        assert SIDES[face] == pytest.approx(entered)
        corners = placed.shape.solids["plate"].extruded.corners @ turn.T + placed.pose.origin
        for name, hole in shape.holes.items():
            true = placed.pose.point(hole.at)
            along = [(true - corners) @ way for way in (right, up)]
            assert at(drawing, name) == pytest.approx([off.max() for off in along], abs=1e-5)


def test_outlines_as_written_are_those_of_the_pieces():
    """Of all models: the outline that templates are drawn from has the bounds of what the engine measures."""
    seen = 0
    for name in library():
        if name in ("grommet",):
            continue
        try:
            world = fitcheck.load(f"parts:\n  it: {{model: {name}}}\n", name=name)
        except Mistakes:  # a model that must be given something
            continue
        for part in world.parts:
            for solid in part.shape.solids.values():
                if solid.extruded is None:
                    continue
                corners = np.concatenate(
                    [solid.extruded.corners, solid.extruded.corners + solid.extruded.along]
                )
                written = np.array([corners.min(axis=0), corners.max(axis=0)])
                assert bounds(solid.pieces) == pytest.approx(written, abs=1e-6), f"{name}.{solid.name}"
                seen += 1
    assert seen > 40


def test_turned_solids_are_drawn_as_they_stand(tmp_path):
    file = scene_file(tmp_path, "  it: {model: odd_turned}\n")
    world = fitcheck.load(file)
    for solid in world.parts[0].shape.solids.values():
        corners = np.concatenate([solid.extruded.corners, solid.extruded.corners + solid.extruded.along])
        written = np.array([corners.min(axis=0), corners.max(axis=0)])
        assert bounds(solid.pieces) == pytest.approx(written, abs=1e-6), solid.name
    leaning, upright = templates(world).drawings
    assert (leaning.size, leaning.thickness) == ((100, 60), 2)
    # The prism's z now runs to the front: it is a triangle seen from there or from behind, 3 thick.
    assert (upright.size, upright.thickness) == ((50, 40), 3)
    assert upright.area == pytest.approx(1000)


def test_what_moves_with_a_measurement_is_told():
    """In the cabinet the filling hole stands half a core behind the air gap; the radiator's core is 30 ± 0.5."""
    world = fitcheck.load("scenes/cabinet_wall.yaml")
    (roof,) = templates(world, "case.roof_panel").drawings
    (number,) = [s.number for s in roof.spots if s.hole == "case.fill_hole_opening"]
    (said,) = [one for one in roof.warnings if "core" in one]
    assert (
        said == f"Number {number} goes with core, drawn at 30 mm (29.5 to 30.5): measure that before you cut."
    )
    (left,) = templates(world, "case.left_panel").drawings
    assert not any("measure that" in one for one in left.warnings)


def test_a_size_that_is_not_known_is_told():
    text = "parameters: {wide: 100 .. 120 mm}\nparts:\n  panel: {model: flat_panel, with: {width: wide, columns: 0}}\n"
    (drawing,) = templates(fitcheck.load(text, name="panel")).drawings
    assert drawing.size == (120, 120)
    assert (
        "Its size goes with wide, drawn at 120 mm (100 to 120, not measured yet): measure that before you cut."
        in drawing.warnings
    )


def test_short_flanges_and_sharp_bends_are_told(tmp_path):
    """The left flange is 20; 4 * 2 + 13 are wanted. Aluminium of 2 wants 3 inside."""
    text = "rules: {{edges: {{folded: [{{of: bent, radius: {radius}, material: aluminium}}]}}}}\n"
    long = one(tmp_path, "  bent: {model: odd_channel}\n", text.format(radius="13 mm"))
    assert "A flange of 20 mm is short for a brake, 21 mm are wanted (shop rule)." in long.warnings
    sharp = one(tmp_path, "  bent: {model: odd_channel}\n", text.format(radius="2 mm"))
    assert "aluminium of 2 mm wants 3 mm of radius inside (shop rule)." in sharp.warnings
    right = one(tmp_path, "  bent: {model: odd_channel}\n", text.format(radius="3 mm"))
    assert not any("shop rule" in said for said in right.warnings)
