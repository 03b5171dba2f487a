"""Views: cameras, sections, verdicts and exploded views, against arithmetic."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from pictured import SMALL, at, drawn, in_case, index, machine, report
from worlds import box, part, rod, world

import fitcheck
from fitcheck.outputs import pictures
from fitcheck.outputs.pictures import camera, dimensions, explode, section
from fitcheck.outputs.pictures.bands import NEAR, OVERLAP, rgb
from fitcheck.parts.features import Face
from fitcheck.report import check_world
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.world.world import Contact, World


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


def test_a_cut_bend_has_no_seams():
    """Two rods that make a knee, cut along both axes: between them no line is drawn, round them one is."""
    legs = rod([100, 100, 150], [100, 200, 150], 40), rod([100, 190, 160], [100, 260, 230], 40)
    bent = part("tube", legs[0])
    solid = bent.shape.solids["body"]
    bent.shape.solids["body"] = replace(solid, pieces=legs, role="tube")
    laid = in_case(bent)
    picture = pictures.draw_view(laid, check_world(laid), {"cut": {"x": 100.0}, "colour": "role"}, SMALL)

    def darkest(y, z, reach):
        column, row = picture.camera.pixels(np.array([100.0, y, z])).astype(int)
        patch = np.array(picture.image)[row - reach : row + reach + 1, column - reach : column + reach + 1]
        return int(patch.sum(axis=2).min())

    line = 3 * 140
    # The end of the first rod lies at y = 200, in the second; its own side is at z = 130.
    assert darkest(200, 158, 4) > line
    assert darkest(130, 130, 4) < line


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


def test_failing_parts_are_hatched_in_the_verdict_picture():
    picture = drawn("from right", colour="verdict")
    rows, columns = np.nonzero(picture.ids == index("lid"))
    left, top = picture.camera.pane[:2]
    pixels = np.array(picture.image)[rows + top, columns + left].astype(int)
    light = (pixels[:, 0] > 200) & (pixels[:, 1] > 100)  # the lines: more than half white
    assert 0.2 < light.mean() < 0.45  # 3 of 9 pixels, less what names and figures cover
    dark = (pixels[:, 0] > 140) & (pixels[:, 1] < 60)  # the verdict's red
    assert 0.4 < dark.mean() < 0.7
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
