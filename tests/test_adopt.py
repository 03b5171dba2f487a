"""Meshes turned into model files: every hole found where it was drilled, none invented, the file loads.

Meshes are made by manifold3d with holes of known place, axis, diameter and depth.
"""

from __future__ import annotations

import math

import manifold3d
import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from step_files import Frame, Product, Writer, block
from typer.testing import CliRunner

from fitcheck.adopt.flats import inner_flats, outer_sides
from fitcheck.adopt.holes import round_holes
from fitcheck.adopt.surface import surface_of
from fitcheck.cli import app
from fitcheck.parts.build import build_shape, evaluate_model
from fitcheck.scene.read import read_model

Body = manifold3d.Manifold
UP = (0, 0, 1)


def along(axis) -> np.ndarray:
    """(3, 3) a turn that takes z to `axis`."""
    return trimesh.geometry.align_vectors(UP, np.divide(axis, np.linalg.norm(axis)))[:3, :3]


def rod(at, axis, diameter, length, sides=48) -> Body:
    """A cylinder from `at` along `axis`, its facets' corners on the circle."""
    turn = np.column_stack([along(axis), at])
    return Body.cylinder(length, diameter / 2, diameter / 2, sides).transform(turn)


def plate(size=(60, 40, 20)) -> Body:
    return Body.cube(size)


def arrays(body: Body) -> tuple[np.ndarray, np.ndarray]:
    mesh = body.to_mesh64()
    return np.array(mesh.vert_properties)[:, :3], np.array(mesh.tri_verts).astype(np.int64)


def surface(body: Body):
    return surface_of(*arrays(body))


def holes(body: Body):
    return round_holes(surface(body))


def written(body: Body, folder, name="part.stl", scale=1.0):
    vertices, faces = arrays(body)
    trimesh.Trimesh(vertices * scale, faces, process=False).export(folder / name)
    return folder / name


def run(*arguments):
    return CliRunner().invoke(app, ["adopt", *map(str, arguments)])


def test_a_through_hole():
    (one,) = holes(plate() - rod((12, 13, -5), UP, 4.3, 50))
    assert (one.at, one.axis) == (pytest.approx((12, 13, 20)), pytest.approx(UP))
    assert (one.diameter, one.depth, one.through) == (pytest.approx(4.3), pytest.approx(20), True)
    assert one.flattened == pytest.approx(2.15 * (1 - math.cos(math.pi / 48)))


@pytest.mark.parametrize("axis", [(0, 0, 1), (0, 0, -1), (0, 1, 0), (-1, 0, 0)])
def test_a_blind_hole_points_out_of_its_mouth(axis):
    # From the middle of the side that `axis` comes out of, 6 deep.
    mouth = np.array([30, 20, 10]) + np.multiply(axis, [30, 20, 10])
    (one,) = holes(plate() - rod(mouth - np.multiply(axis, 6), axis, 5, 30))
    assert (one.at, one.axis) == (pytest.approx(tuple(mouth)), pytest.approx(axis, abs=1e-9))
    assert (one.diameter, one.depth, one.through) == (pytest.approx(5), pytest.approx(6), False)


def test_a_tilted_hole_by_trigonometry():
    # Along (0, 1, 0.2) through (30, 0, 8): in at y = 0, out at y = 40, z = 16.
    axis = np.array([0, 1, 0.2]) / math.hypot(1, 0.2)
    (one,) = holes(plate() - rod(np.array([30, 0, 8]) - 20 * axis, axis, 5, 100))
    assert one.at == pytest.approx((30, 40, 16), abs=1e-6)
    assert one.axis == pytest.approx(tuple(axis))
    assert (one.diameter, one.depth) == (pytest.approx(5), pytest.approx(40 * math.hypot(1, 0.2)))


def test_a_counterbore_is_two_holes_and_a_cone_ends_one():
    body = plate() - rod((20, 20, 12), UP, 10, 20) - rod((20, 20, -1), UP, 5, 20)
    wide, narrow = holes(body)
    assert (wide.diameter, wide.depth, wide.through) == (pytest.approx(10), pytest.approx(8), False)
    assert (narrow.diameter, narrow.depth, narrow.through) == (pytest.approx(5), pytest.approx(12), True)
    drilled = rod((20, 20, 8), UP, 6, 20) + Body.cylinder(2, 0, 3, 48).translate((20, 20, 6))
    (one,) = holes(plate() - drilled)
    assert (one.diameter, one.depth, one.through) == (pytest.approx(6), pytest.approx(12), False)


def test_a_hole_cut_by_another_keeps_its_depth():
    crossed = plate() - rod((20, 20, 12), UP, 12, 20) - rod((20, -1, 13), (0, 1, 0), 3, 50)
    wide, narrow = holes(crossed)
    assert (wide.diameter, wide.depth, wide.through) == (pytest.approx(12), pytest.approx(8), False)
    assert (narrow.diameter, narrow.depth, narrow.through) == (pytest.approx(3), pytest.approx(40), True)


def stadium(length, diameter):
    ends = [rod((20 + x, 20, -1), UP, diameter, 40) for x in (0, length)]
    return ends[0] + ends[1] + Body.cube((length, diameter, 40)).translate((20, 20 - diameter / 2, -1))


NOT_HOLES = {
    "boss": lambda: plate() + rod((20, 20, 20), UP, 8, 10),
    "slot": lambda: plate() - stadium(15, 5),
    "hexagon": lambda: plate() - rod((20, 20, -1), UP, 8, 40, sides=6),
    "octagon": lambda: plate() - rod((20, 20, -1), UP, 8, 40, sides=8),
    "half at the edge": lambda: plate() - rod((20, 0, -1), UP, 8, 40),
    "cut by the edge": lambda: plate() - rod((20, 3, -1), UP, 8, 40),
    "bowl": lambda: plate() - Body.sphere(8, 64).translate((20, 20, 20)),
    "cone": lambda: plate() - Body.cylinder(22, 3, 6, 64).translate((20, 20, -1)),
    "void": lambda: plate() - rod((20, 20, 5), UP, 8, 10),
    "rod": lambda: rod((0, 0, 0), UP, 30, 50),
    "ball": lambda: Body.sphere(20, 128),
    "oval": lambda: plate() - rod((0, 0, -1), UP, 8, 40).scale((1.3, 1, 1)).translate((20, 20, 0)),
}


@pytest.mark.parametrize("name", NOT_HOLES)
def test_what_is_no_round_hole_is_not_invented(name):
    assert holes(NOT_HOLES[name]()) == []


@st.composite
def drilled(draw):
    """A plate anywhere at any turn, with holes in cells of a grid, so that none meets another."""
    rows, columns = draw(st.integers(1, 3)), draw(st.integers(1, 4))
    thick = draw(st.floats(1.5, 25))
    body, truth = Body.cube((20 * columns, 20 * rows, thick)), []
    for row in range(rows):
        for column in range(columns):
            if not draw(st.booleans()):
                continue
            diameter = draw(st.floats(1, 15))
            middle = np.array([20 * column + 10 + draw(st.floats(-1.5, 1.5)), 20 * row + 10, 0])
            sides = draw(st.integers(12, 90))
            blind = draw(st.booleans())
            depth = thick * draw(st.floats(0.2, 0.8)) if blind else thick
            body -= rod(middle + np.array([0, 0, thick - depth if blind else -1]), UP, diameter, 60, sides)
            truth.append((middle + np.array([0, 0, thick]), diameter, depth, not blind))
    turn = trimesh.transformations.random_rotation_matrix(np.array([draw(st.floats(0, 1)) for _ in range(3)]))
    move = turn[:3, :3], np.array([draw(st.floats(-300, 300)) for _ in range(3)])
    return body, truth, move


def agree(found, truth, move, within):
    """Each hole found once: middle of a mouth, axis, diameter, depth, kind."""
    assert len(found) == len(truth)
    rotation, origin = move
    for at, diameter, depth, through in truth:
        mouth = rotation @ at + origin
        axis = rotation[:, 2]
        mouths = [mouth, mouth - depth * axis] if through else [mouth]
        near = [h for h in found if min(np.linalg.norm(np.subtract(h.at, m)) for m in mouths) < 0.05]
        assert len(near) == 1
        one = near[0]
        assert min(np.linalg.norm(np.subtract(one.at, m)) for m in mouths) < within
        assert abs(np.dot(one.axis, axis)) == pytest.approx(1, abs=1e-4)
        assert one.diameter == pytest.approx(diameter, abs=2 * within)
        assert one.depth == pytest.approx(depth, abs=2 * within)
        assert one.through == through
        if not through:
            assert np.dot(one.axis, axis) > 0


@settings(max_examples=60, deadline=None, derandomize=True)
@given(drilled())
def test_every_hole_of_random_plates_is_found_and_none_invented(case):
    body, truth, (rotation, origin) = case
    turned = body.transform(np.column_stack([rotation, origin]))
    vertices, faces = arrays(turned)
    agree(round_holes(surface_of(vertices, faces)), truth, (rotation, origin), 1e-5)
    # In single numbers, as STL has them: 3e-5 mm at 500 mm.
    single = vertices.astype(np.float32).astype(float)
    agree(round_holes(surface_of(single, faces)), truth, (rotation, origin), 0.01)


def test_flat_sides_and_flats_inside():
    # A step in the top: 40 x 40 of 60 x 40 at full height, the rest 8 lower.
    body = plate() - Body.cube((20, 50, 8)).translate((40, -1, 12))
    shares = outer_sides(surface(body))
    assert shares == pytest.approx(
        {"-x": 1, "+x": 12 / 20, "-y": 1 - 160 / 1200, "+y": 1 - 160 / 1200, "-z": 1, "+z": 40 / 60}
    )
    lower, riser = inner_flats(surface(body))
    assert (lower.at, lower.normal, lower.area) == (
        pytest.approx((50, 20, 12)),
        pytest.approx(UP),
        pytest.approx(800),
    )
    assert (riser.at, riser.normal) == (pytest.approx((40, 20, 16)), pytest.approx((1, 0, 0)))
    # A ball has a flat at no side.
    assert outer_sides(surface(Body.sphere(20, 128))) == {}


def bracket() -> Body:
    body = plate() - rod((12, 13, -5), UP, 4.3, 50) - rod((40, 20, 8), UP, 11.8, 30)
    return body - rod((30, -20, 4), (0, 1, 0), 3, 100)


@pytest.mark.parametrize(("unit", "scale"), [("mm", 1.0), ("in", 1 / 25.4)])
def test_the_written_model_loads_and_has_its_sides_and_holes(tmp_path, unit, scale):
    mesh = written(bracket(), tmp_path, "My Bracket.stl", scale)
    done = run(mesh, "--unit", unit)
    assert done.exit_code == 0, done.output
    out = tmp_path / "my_bracket.yaml"
    model = read_model(out)
    shape = build_shape(model, evaluate_model(model, {}))
    assert set(shape.faces) == {
        "left_side",
        "right_side",
        "front_side",
        "rear_side",
        "bottom_side",
        "top_side",
    }
    assert shape.faces["top_side"].size == pytest.approx((60, 40), abs=1e-3)
    assert len(shape.holes) == 3
    port, screw, cross = (shape.holes[f"hole_{k}"] for k in (1, 2, 3))
    assert (port.diameter, port.depth) == (pytest.approx(11.8, abs=1e-3), pytest.approx(12, abs=1e-3))
    assert (screw.diameter, screw.depth) == (pytest.approx(4.3, abs=1e-3), None)
    assert screw.at == pytest.approx((12, 13, 20), abs=1e-3)
    assert cross.axis == pytest.approx((0, 1, 0))
    # A port is a remark until it is confirmed.
    text = out.read_text()
    assert shape.ports == {}
    assert "ISO 228-1. Confirm each" in text
    assert "#   port_1: {at: [40, 20, 20], axis: +z, thread: G1/4" in text
    confirmed = text.replace("# ports:", "ports:").replace("#   port_1", "  port_1")
    out.write_text(confirmed)
    model = read_model(out)
    assert build_shape(model, evaluate_model(model, {})).ports["port_1"].at == pytest.approx(
        (40, 20, 20), abs=1e-3
    )


def test_without_a_unit_it_asks_and_writes_nothing(tmp_path):
    mesh = written(bracket(), tmp_path, scale=1 / 25.4)
    done = run(mesh)
    assert done.exit_code == 2
    assert "STL does not say its unit" in done.output
    assert "the likeliest first: --unit in (60 x 40 x 20 mm), --unit cm (23.62 x" in done.output
    assert [one.name for one in tmp_path.iterdir()] == ["part.stl"]


def test_a_step_file_says_its_unit_and_names_its_parts(tmp_path):
    block_ = Product("plate", [block((0, 0, 0), (40, 30, 5), bore=10)])
    pair = Product("pair", [], [("a", block_, Frame()), ("b", block_, Frame((0, 0, 50)))])
    (tmp_path / "part.step").write_bytes(Writer().file(pair))
    done = run(tmp_path / "part.step", "--part", "b", "--name", "upper")
    assert done.exit_code == 0, done.output
    text = (tmp_path / "upper.yaml").read_text()
    assert "  body: {mesh: {file: part.step, part: b}}" in text
    assert "  hole_1: {at: [20, 15, 55], axis: +z, diameter: 10}  # through 5 mm;" in text
    assert "# Reading it: its facets lie within 0.0200" in text


@pytest.mark.parametrize(
    ("arguments", "problem"),
    [
        (["--unit", "ft"], "--unit ft: there is no such unit; write one of mm, cm, m, in"),
        (["--unit", "mm", "--name", "Top"], "`Top` is no name of a model"),
        (["--unit", "mm", "--name", "top"], "write --name my_top"),
        (["--unit", "mm", "--out", "x.txt"], "a model file ends in .yaml"),
        (["--unit", "mm", "--part", "lid"], "STL names no parts"),
    ],
)
def test_wrong_calls_are_refused(tmp_path, arguments, problem):
    mesh = written(plate(), tmp_path)
    done = run(mesh, *arguments)
    assert done.exit_code == 2
    assert problem in done.output
    assert [one.name for one in tmp_path.iterdir()] == ["part.stl"]


def test_a_size_that_looks_wrong_is_said_at_once(tmp_path):
    done = run(written(plate(), tmp_path, scale=0.01), "--unit", "mm")
    assert done.exit_code == 0, done.output
    said = "its longest side is 0.6 mm: perhaps the unit is "
    assert f"note: {said}" in done.output
    assert f"# Reading it: {said}" in (tmp_path / "part.yaml").read_text()


def test_nothing_is_overwritten_and_the_mesh_stays_in_reach(tmp_path):
    mesh = written(plate(), tmp_path)
    (tmp_path / "part.yaml").write_text("mine")
    done = run(mesh, "--unit", "mm")
    assert (done.exit_code, (tmp_path / "part.yaml").read_text()) == (2, "mine")
    assert "is there already; name another file with --out" in done.output
    (tmp_path / "own").mkdir()
    done = run(mesh, "--unit", "mm", "--out", tmp_path / "own" / "part.yaml")
    assert done.exit_code == 2
    assert "the mesh must lie in the folder of its model" in done.output
    done = run(tmp_path / "prt.stl", "--unit", "mm", "--name", "other")
    assert done.exit_code == 2
    assert "there is no file prt.stl; write part.stl" in done.output


def test_a_name_that_would_end_a_remark_is_refused(tmp_path):
    mesh = written(plate(), tmp_path)
    evil = mesh.rename(tmp_path / "part.stl\nmodel: evil.stl")
    done = run(evil, "--unit", "mm", "--name", "part")
    assert done.exit_code == 2
    assert "a name with characters that cannot be printed" in done.output
    assert not (tmp_path / "part.yaml").exists()


def test_an_open_mesh_gets_no_holes(tmp_path):
    vertices, faces = arrays(bracket())
    trimesh.Trimesh(vertices, faces[20:], process=False).export(tmp_path / "part.ply")
    done = run(tmp_path / "part.ply", "--unit", "mm")
    assert done.exit_code == 0, done.output
    text = (tmp_path / "part.yaml").read_text()
    assert "holes:" not in text
    assert "not closed" in text
