"""Mesh files: what is read, what is mended, what is refused.

Good files are written by trimesh or by hand from the formats' own descriptions; volumes are
arithmetic, and closed meshes are confirmed by manifold3d and trimesh.
"""

from __future__ import annotations

import io
import json
import math
import struct
import time
import tracemalloc
import zipfile

import manifold3d
import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from fitcheck.parts import mesh_repair
from fitcheck.parts.meshes import load_mesh
from fitcheck.parts.pieces import bounds
from fitcheck.scene.mistakes import ValueMistake

# 60 x 40 x 20 with a corner at (10, 20, 30): 48000 mm3.
LOW, SIZE = np.array([10.0, 20, 30]), np.array([60.0, 40, 20])
VOLUME = 60 * 40 * 20


def block(low=LOW, size=SIZE) -> trimesh.Trimesh:
    mesh = trimesh.creation.box(size)
    mesh.apply_translation(np.add(low, np.divide(size, 2)))
    return mesh


def written(mesh: trimesh.Trimesh, folder, ending="stl", name="part"):
    path = folder / f"{name}.{ending}"
    if ending == "txt.stl":
        path.write_text(trimesh.exchange.stl.export_stl_ascii(mesh))
    elif ending == "txt.ply":
        path.write_bytes(trimesh.exchange.ply.export_ply(mesh, encoding="ascii"))
    elif ending == "gltf":
        for file, data in mesh.scene().export(file_type="gltf").items():
            (folder / file).write_bytes(data)
        (folder / "model.gltf").rename(path)
    else:
        mesh.export(path)
    return path


def as_obj(vertices, faces, folder):
    """An OBJ by hand: what is written is what is read."""
    path = folder / "part.obj"
    lines = [f"v {x!r} {y!r} {z!r}" for x, y, z in np.asarray(vertices, float).tolist()]
    lines += ["f " + " ".join(str(k + 1) for k in face) for face in faces]
    path.write_text("\n".join(lines) + "\n")
    return path


def volume(piece) -> float:
    """By manifold3d, which must call it a solid."""
    mesh = piece.mesh
    body = manifold3d.Manifold(manifold3d.Mesh64(np.array(mesh.vertices), mesh.faces.astype(np.uint64)))
    assert body.status() == manifold3d.Error.NoError
    assert mesh.closed
    assert trimesh.Trimesh(mesh.vertices, mesh.faces, process=False).is_watertight
    return body.volume()


@pytest.mark.parametrize(
    ("ending", "unit", "scale"),
    [
        ("stl", "mm", 1), ("stl", "in", 25.4), ("txt.stl", "cm", 10), ("obj", "mm", 1), ("ply", "mm", 1),
        ("txt.ply", "m", 1000), ("3mf", None, 1), ("glb", "mm", 1), ("gltf", "mm", 1), ("glb", None, 1000),
    ],
)  # fmt: skip
def test_each_format_keeps_its_place_size_and_axes(tmp_path, ending, unit, scale):
    piece = load_mesh(written(block(), tmp_path, ending), unit, tmp_path)
    assert volume(piece) == pytest.approx(VOLUME * scale**3)
    low, high = bounds([piece])
    assert low == pytest.approx(LOW * scale)
    assert high == pytest.approx((LOW + SIZE) * scale)
    assert piece.mesh.vertices.shape == (8, 3)
    assert piece.mesh.vertices.max(axis=0) == pytest.approx(piece.half)
    assert (piece.mesh.vertices.dtype, piece.mesh.faces.dtype) == (np.float64, np.int32)


@pytest.mark.parametrize("ending", ["stl", "obj", "ply"])
def test_a_format_without_unit_demands_one(tmp_path, ending):
    with pytest.raises(ValueMistake, match="does not say its unit") as caught:
        load_mesh(written(block(), tmp_path, ending), None, tmp_path)
    assert caught.value.mend == "add one of unit: mm, unit: cm, unit: m, unit: in"


def three_mf(folder, model, unit=' unit="millimeter"', name="part.3mf", extra=()):
    path = folder / name
    space = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as package:
        package.writestr("3D/3dmodel.model", f'<model{unit} xmlns="{space}">{model}</model>')
        for file, text in extra:
            package.writestr(file, text)
    return path


def object_3mf(mesh, number=1):
    corners = "".join(f'<vertex x="{x}" y="{y}" z="{z}"/>' for x, y, z in mesh.vertices)
    faces = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in mesh.faces)
    inside = f"<mesh><vertices>{corners}</vertices><triangles>{faces}</triangles></mesh>"
    return f'<object id="{number}" type="model">{inside}</object>'


def test_3mf_units_copies_and_moves(tmp_path):
    # Two copies of a block of 1 x 2 x 3 in, one at (-y + 5, x, z), and both then at (x, -z, y + 1): a
    # component's rows come before its item's (3MF core, chapter 3.3). Before the item they reach from
    # (0, 0, 0) to (1, 2, 3) and from (3, 0, 0) to (5, 1, 3).
    one = object_3mf(block((0, 0, 0), (1, 2, 3)))
    pair = '<object id="2"><components><component objectid="1"/><component objectid="1" '
    pair += 'transform="0 1 0 -1 0 0 0 0 1 5 0 0"/></components></object>'
    item = '<item objectid="2" transform="1 0 0 0 0 1 0 -1 0 0 0 1"/>'
    model = f"<resources>{one}{pair}</resources><build>{item}</build>"
    piece = load_mesh(three_mf(tmp_path, model, ' unit="inch"'), None, tmp_path)
    assert volume(piece) == pytest.approx(2 * 6 * 25.4**3)
    assert bounds([piece]) / 25.4 == pytest.approx(np.array([[0, -3, 1], [5, 0, 3]]))


def test_3mf_unread_parts_and_default_unit(tmp_path):
    two = object_3mf(block((50, 0, 0), (9, 9, 9)), number=2)
    model = f'<resources>{object_3mf(block())}{two}</resources><build><item objectid="1"/></build>'
    piece = load_mesh(three_mf(tmp_path, model, unit=""), None, tmp_path)
    assert volume(piece) == pytest.approx(VOLUME)  # in millimetres, and only what is built


def test_gltf_moves_of_its_nodes(tmp_path):
    scene = trimesh.Scene()
    scene.add_geometry(
        block((0, 0, 0), (1, 1, 1)), transform=trimesh.transformations.translation_matrix([2, 0, 0])
    )
    scene.export(tmp_path / "part.glb")
    low, high = bounds([load_mesh(tmp_path / "part.glb", None, tmp_path)])
    assert low == pytest.approx([2000, 0, 0])
    assert high == pytest.approx([3000, 1000, 1000])


def test_a_unit_against_the_files_own_is_said(tmp_path):
    (said,) = load_mesh(written(block(), tmp_path, "3mf"), "cm", tmp_path).mesh.repairs
    assert said == "read in cm as demanded; the file itself says 1 mm a unit"


@pytest.mark.parametrize(
    ("size", "unit", "said"),
    [
        (2.4, "mm", "its longest side is 2.4 mm: perhaps the unit is in (25.4 times as large)"),
        (0.12, "mm", "its longest side is 0.12 mm: perhaps the unit is m (1000 times as large)"),
        (120, "m", "its longest side is 1.2e+05 mm: perhaps the unit is mm (1000 times as small)"),
        (240, "in", "its longest side is 6096 mm: perhaps the unit is mm (25.4 times as small)"),
    ],
)
def test_a_size_that_looks_wrong_names_the_likely_unit(tmp_path, size, unit, said):
    mesh = block((0, 0, 0), (size, size / 2, size / 4))
    assert load_mesh(written(mesh, tmp_path, "obj"), unit, tmp_path).mesh.repairs == (said,)


@pytest.mark.parametrize("size", [3.0, 50, 3000])
def test_usual_sizes_are_not_remarked_on(tmp_path, size):
    assert load_mesh(written(block(size=(size, 2, 2)), tmp_path), "mm", tmp_path).mesh.repairs == ()


def fine() -> trimesh.Trimesh:
    return block().subdivide().subdivide()


def test_inside_out_is_turned(tmp_path):
    mesh = block()
    mesh.invert()
    piece = load_mesh(written(mesh, tmp_path, "obj"), "mm", tmp_path)
    assert volume(piece) == pytest.approx(VOLUME)
    assert piece.mesh.repairs == ("the mesh was inside out and turned (volume -48,000 → 48,000 mm³)",)


def test_faces_that_run_the_wrong_way_are_turned(tmp_path):
    mesh = fine()
    faces = mesh.faces.copy()
    faces[::5] = faces[::5, ::-1]
    piece = load_mesh(as_obj(mesh.vertices, faces, tmp_path), "mm", tmp_path)
    assert volume(piece) == pytest.approx(VOLUME)
    (said,) = piece.mesh.repairs
    assert said.startswith(f"{len(faces[::5])} faces ran the wrong way and were turned (volume ")
    assert said.endswith("→ 48,000 mm³)")


def test_unmerged_corners_are_merged_and_said(tmp_path):
    mesh = block()
    path = as_obj(mesh.vertices[mesh.faces.ravel()], np.arange(36).reshape(-1, 3), tmp_path)
    piece = load_mesh(path, "mm", tmp_path)
    assert volume(piece) == pytest.approx(VOLUME)
    assert piece.mesh.repairs == ("28 corners written more than once were merged",)


def test_corners_apart_by_rounding_are_merged_wherever_they_lie(tmp_path):
    mesh = fine()
    corners = mesh.vertices[mesh.faces.ravel()]
    noise = np.random.default_rng(3).uniform(-1e-5, 1e-5, corners.shape)
    path = as_obj(corners + noise, np.arange(len(corners)).reshape(-1, 3), tmp_path)
    piece = load_mesh(path, "mm", tmp_path)
    assert volume(piece) == pytest.approx(VOLUME, rel=1e-5)
    assert len(piece.mesh.vertices) == len(mesh.vertices)
    assert all("less than 0.0001 mm apart were merged" in said for said in piece.mesh.repairs)


def test_doubles_and_flat_triangles_are_dropped(tmp_path):
    mesh = block()
    faces = [*mesh.faces.tolist(), mesh.faces[3].tolist(), [0, 0, 1]]
    piece = load_mesh(as_obj(mesh.vertices, faces, tmp_path), "mm", tmp_path)
    assert volume(piece) == pytest.approx(VOLUME)
    assert piece.mesh.repairs == (
        "1 triangles without area were dropped",
        "1 triangles written twice were dropped",
    )


def test_a_lost_triangle_is_closed(tmp_path):
    mesh = block()
    piece = load_mesh(as_obj(mesh.vertices, mesh.faces[1:], tmp_path), "mm", tmp_path)
    assert volume(piece) == pytest.approx(VOLUME)
    (said,) = piece.mesh.repairs
    assert said.startswith("1 hole of 3 edges closed (volume ")
    assert said.endswith("→ 48,000 mm³)")


def test_a_small_flat_hole_is_closed(tmp_path):
    mesh = block().subdivide().subdivide().subdivide().subdivide()
    corner = np.argmin(np.linalg.norm(mesh.vertices - [40, 40, 50], axis=1))  # in the middle of the top
    around = np.any(mesh.faces == corner, axis=1)
    assert around.sum() >= 4
    piece = load_mesh(as_obj(mesh.vertices, mesh.faces[~around], tmp_path), "mm", tmp_path)
    assert volume(piece) == pytest.approx(VOLUME)
    assert f"1 hole of {around.sum()} edges closed" in piece.mesh.repairs[0]


def test_a_missing_side_stays_open_and_is_said(tmp_path):
    mesh = block()
    top = mesh.face_normals[:, 2] > 0.5
    piece = load_mesh(as_obj(mesh.vertices, mesh.faces[~top], tmp_path), "mm", tmp_path)
    assert not piece.mesh.closed
    assert len(piece.mesh.faces) == 10
    assert piece.mesh.repairs == (
        "not closed: 4 open edges; distances hold, but inside and depth cannot be told",
    )
    assert bounds([piece])[1] == pytest.approx(LOW + SIZE)


def test_a_bulging_hole_stays_open(tmp_path):
    mesh = trimesh.creation.icosphere(subdivisions=1, radius=20)
    cap = np.any(mesh.faces == 0, axis=1)
    assert not load_mesh(as_obj(mesh.vertices, mesh.faces[~cap], tmp_path), "mm", tmp_path).mesh.closed


def test_a_cavity_stays_a_cavity(tmp_path):
    outer, inner = block((0, 0, 0), (10, 10, 10)), block((2, 2, 2), (3, 3, 3))
    inner.invert()
    hollow = trimesh.util.concatenate([outer, inner])
    piece = load_mesh(written(hollow, tmp_path, "obj"), "mm", tmp_path)
    assert (volume(piece), piece.mesh.repairs) == (pytest.approx(1000 - 27), ())
    hollow.invert()
    piece = load_mesh(written(hollow, tmp_path, "obj"), "mm", tmp_path)
    assert volume(piece) == pytest.approx(1000 - 27)
    assert piece.mesh.repairs == ("2 of 2 shells were inside out and turned (volume -973 → 973 mm³)",)


def test_one_of_two_shells_inside_out(tmp_path):
    one, other = block((0, 0, 0), (10, 10, 10)), block((20, 0, 0), (5, 5, 5))
    other.invert()
    piece = load_mesh(written(trimesh.util.concatenate([one, other]), tmp_path, "obj"), "mm", tmp_path)
    assert volume(piece) == pytest.approx(1125)
    assert piece.mesh.repairs == ("1 of 2 shells were inside out and turned (volume 875 → 1,125 mm³)",)


def test_overlapping_solids_are_joined(tmp_path):
    pair = trimesh.util.concatenate([block((0, 0, 0), (10, 10, 10)), block((6, 3, 3), (10, 4, 4))])
    piece = load_mesh(written(pair, tmp_path, "obj"), "mm", tmp_path)
    # 1000 + 160 - 4 x 4 x 4.
    assert volume(piece) == pytest.approx(1096)
    assert piece.mesh.repairs == ("solids that overlap in the file were joined (volume 1,160 → 1,096 mm³)",)


cells = st.sets(st.tuples(*[st.integers(0, 2)] * 3), min_size=1, max_size=14)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(cells, st.booleans())
def test_bodies_that_touch_stay_bodies(tmp_path_factory, cells, inside_out):
    """Cubes on a grid share sides, edges and corners, and each stays what it is: volumes add up."""
    folder = tmp_path_factory.mktemp("cubes")
    cubes = trimesh.util.concatenate([block(np.multiply(cell, 10), (10, 10, 10)) for cell in cells])
    if inside_out:
        cubes.invert()
    piece = load_mesh(written(cubes, folder), "mm", folder)
    assert volume(piece) == pytest.approx(1000 * len(cells))
    assert len(piece.mesh.repairs) == inside_out


def test_a_mend_that_makes_no_solid_is_undone(tmp_path, monkeypatch):
    mesh = block()
    mesh.invert()
    monkeypatch.setattr(mesh_repair, "is_solid", lambda *_: False)
    piece = load_mesh(written(mesh, tmp_path), "mm", tmp_path)
    assert not piece.mesh.closed
    assert mesh_repair.volume(piece.mesh.vertices, piece.mesh.faces) == pytest.approx(-VOLUME)
    assert piece.mesh.repairs == (
        "turning its shells made no solid of it and was undone",
        "its surface touches or crosses itself; inside and depth cannot be told",
    )


def test_an_open_sheet_is_no_solid(tmp_path):
    piece = load_mesh(
        as_obj([[0, 0, 0], [9, 0, 0], [9, 9, 0], [0, 9, 0]], [[0, 1, 2, 3]], tmp_path), "mm", tmp_path
    )
    assert not piece.mesh.closed
    assert len(piece.mesh.faces) == 2


def binary_stl(mesh=None, count=None, trail=b"", header=b""):
    data = trimesh.exchange.stl.export_stl(block() if mesh is None else mesh)
    count = struct.unpack_from("<I", data, 80)[0] if count is None else count
    return header.ljust(80) + struct.pack("<I", count) + data[84:] + trail


def text_stl(old="", new=""):
    return trimesh.exchange.stl.export_stl_ascii(block()).replace(old, new, 1).encode()


def glb_of(**changes):
    scene = json.loads(block().scene().export(file_type="gltf")["model.gltf"])
    scene.update(changes)
    text = json.dumps(scene).encode()
    text += b" " * (-len(text) % 4)
    return struct.pack("<4sIIII", b"glTF", 2, 20 + len(text), len(text), 0x4E4F534A) + text


PLY = b"ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\n"
PLY += b"element face 1\nproperty list uchar int vertex_indices\nend_header\n"
GLB = block().scene().export(file_type="glb")

F70 = struct.pack("<f", 70)

BAD = {
    "empty.stl": (b"", "is empty"),
    "short.stl": (b"abc", "is no STL file"),
    "nothing.stl": (b" " * 80 + bytes(4), "holds no triangles"),
    "cut.stl": (binary_stl()[:-20], "says that it has 12 triangles but has bytes for 11.6"),
    "few.stl": (binary_stl(count=3), "says that it has 3 triangles but has bytes for 12"),
    "huge.stl": (binary_stl(count=4_000_000_000), "says that it has 4,000,000,000 triangles"),
    "trail.stl": (binary_stl(trail=b"more"), "cut off or damaged"),
    "solid.stl": (binary_stl(header=b"solid part")[:-50], "12 triangles but has bytes for 11"),
    "nan.stl": (binary_stl().replace(F70, struct.pack("<f", math.nan)), "no finite number"),
    "inf.stl": (binary_stl().replace(F70, struct.pack("<f", -math.inf)), "no finite number"),
    "ended.txt.stl": (text_stl()[: text_stl().rindex(b"endsolid")], "36 corners, no endsolid"),
    "cut.txt.stl": (text_stl()[:700], "ends in the middle"),
    "lost.txt.stl": (text_stl(old="vertex", new="vrtex"), "12 whole triangles, 35 corners"),
    "nan.txt.stl": (text_stl(old="vertex 10.0", new="vertex nan"), "no finite number"),
    "word.txt.stl": (text_stl(old="vertex 10.0", new="vertex ten"), "not all numbers"),
    "empty.txt.stl": (b"solid x facet\nendsolid x\n", "holds no triangles"),
    "empty.obj": (b"v 0 0 0\nv 1 0 0\nv 0 1 0\n", "holds no faces"),
    "nan.obj": (b"v 0 0 0\nv nan 0 0\nv 0 1 0\nv 0 0 1\nf 1 3 4\nf 1 2 3\n", "no finite number"),
    "inf.obj": (b"v 0 0 0\nv 1 -inf 0\nv 0 1 0\nf 1 2 3\n", "no finite number"),
    "huge.obj": (b"v 0 0 0\nv 1e999 0 0\nv 0 1 0\nf 1 2 3\n", "no finite number"),
    "beyond.obj": (b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9\n", "cannot be read as OBJ|corner it does not have"),
    "flat.obj": (b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 1 2\n", "holds no triangle with an area"),
    "cloud.ply": (PLY.replace(b"face 1", b"face 0") + b"0 0 0\n1 0 0\n0 1 0\n", "it is a cloud of points"),
    "nan.ply": (PLY + b"0 0 0\n1 nan 0\n0 1 0\n3 0 1 2\n", "no finite number|cannot be read as PLY"),
    "cut.ply": (PLY + b"0 0 0\n1 0 0\n", "cannot be read as PLY|says more than it holds|holds no triangles"),
    "lying.ply": (PLY.replace(b"vertex 3", b"vertex 900000") + b"0 0 0\n", "has bytes for fewer"),
    "many.ply": (PLY.replace(b"face 1", b"face 99000000"), "the limit is 2,000,000"),
    "none.ply": (b"ply\n", "header is missing"),
    "cut.glb": (GLB[:-40], "says that it has"),
    "none.glb": (b"glTF", "header is missing"),
    "old.glb": (GLB[:4] + struct.pack("<I", 1) + GLB[8:], "is glTF 1; version 2 is read"),
    "text.glb": (GLB.replace(b"JSON", b"JUNK"), "is damaged"),
    "claims.glb": (
        glb_of(accessors=[{"componentType": 5126, "count": 10**12, "type": "VEC3"}]),
        "claims 1,000,000,000,000 values",
    ),
    "packed.glb": (glb_of(extensionsRequired=["KHR_draco_mesh_compression"]), "is packed by KHR_draco"),
    "deep.gltf": (b'{"a":' + b"[" * 100000, "cannot be read as glTF"),
    "list.gltf": (b"[]", "cannot be read as glTF"),
    "none.3mf": (b"PK nothing", "is no 3MF package"),
    "part.igs": (b"S      1", "is none of the mesh files read here: STL, OBJ, PLY, 3MF, GLB, GLTF, STEP, STP"),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_bad_files_are_refused(tmp_path, name):
    data, problem = BAD[name]
    (tmp_path / name).write_bytes(data)
    with pytest.raises(ValueMistake, match=problem):
        load_mesh(tmp_path / name, "mm", tmp_path)


def three_mf_cases():
    cube = object_3mf(block())
    one = f'<resources>{cube}</resources><build><item objectid="1"/></build>'
    twice = "<component objectid='{0}'/><component objectid='{0}'/>"
    pairs = [
        f"<object id='{k}'><components>{twice.format(k - 1)}</components></object>" for k in range(2, 40)
    ]
    doubling = f"<resources>{cube}{''.join(pairs)}</resources>"
    circle = f"<object id='1'><components>{twice.format(1)}</components></object>"
    return {
        "circle": (one.replace(cube, circle), "nested deeper than 16, or in a circle"),
        "nested": (doubling + "<build><item objectid='39'/></build>", "nested deeper than 16"),
        # Object 16 holds the cube 2^15 times.
        "copies": (
            doubling + "<build>" + "<item objectid='16'/>" * 91 + "</build>",
            f"{91 * 12 << 15:,} triangles",
        ),
        "unknown": (one.replace('<item objectid="1"', '<item objectid="7"'), "cannot be read as 3MF"),
        "nan": (one.replace('x="70.0"', 'x="nan"', 1), "no finite number"),
        "word": (one.replace('x="70.0"', 'x="ten"', 1), "cannot be read as 3MF"),
        "beyond": (one.replace('v1="1"', 'v1="99"', 1), "corner it does not have"),
        "nothing": ("<resources/><build/>", "holds no triangles"),
        "broken": ("<resources>", "its XML is broken"),
        "move": (one.replace('"1"/></build>', '"1" transform="1 0 0"/></build>'), "cannot be read as 3MF"),
    }


@pytest.mark.parametrize("case", three_mf_cases())
def test_bad_3mf_files_are_refused(tmp_path, case):
    model, problem = three_mf_cases()[case]
    with pytest.raises(ValueMistake, match=problem):
        load_mesh(three_mf(tmp_path, model), None, tmp_path)


def test_3mf_bomb_is_refused_before_it_is_unpacked(tmp_path):
    path = three_mf(tmp_path, "<build/>", extra=[("3D/other.model", "0" * (300 << 20))])
    assert path.stat().st_size < 1 << 20
    tracemalloc.start()
    start = time.process_time()
    with pytest.raises(ValueMistake, match="unpacks to 314,57"):
        load_mesh(path, None, tmp_path)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert time.process_time() - start < 1
    assert peak < 10 << 20


def test_3mf_whose_directory_lies_is_refused(tmp_path):
    path = three_mf(tmp_path, "<build/>", extra=[("3D/other.model", "0" * 100_000)])
    # The sizes stand little-endian in both headers: the package claims 100 bytes in place of 100,000.
    path.write_bytes(path.read_bytes().replace(struct.pack("<I", 100_000), struct.pack("<I", 100)))
    with pytest.raises(ValueMistake, match=r"is no 3MF package|cannot be read as 3MF"):
        load_mesh(path, None, tmp_path)


def test_3mf_entities_are_refused(tmp_path):
    path = tmp_path / "part.3mf"
    with zipfile.ZipFile(path, "w") as package:
        package.writestr("3D/3dmodel.model", '<!DOCTYPE m [<!ENTITY a "aaaa">]><model>&a;</model>')
    with pytest.raises(ValueMistake, match="declares a document type"):
        load_mesh(path, None, tmp_path)


def test_files_must_stay_in_the_folder(tmp_path):
    folder = tmp_path / "models"
    folder.mkdir()
    outside = written(block(), tmp_path)
    (folder / "link.stl").symlink_to(outside)
    for path in (folder / ".." / "part.stl", folder / "link.stl", outside, folder / "/etc/hosts.stl"):
        with pytest.raises(ValueMistake, match="outside the folder"):
            load_mesh(path, "mm", folder)


def test_gltf_buffers_must_stay_in_the_folder(tmp_path):
    folder = tmp_path / "models"
    folder.mkdir()
    path = written(block(), folder, "gltf")
    table = json.loads(path.read_text())
    (tmp_path / "secret.bin").write_bytes(bytes(1000))
    table["buffers"][0]["uri"] = "../secret.bin"
    path.write_text(json.dumps(table))
    with pytest.raises(ValueMistake, match=r"secret\.bin lies outside the folder"):
        load_mesh(path, "mm", folder)
    table["buffers"][0]["uri"] = "..%2Fsecret.bin"
    path.write_text(json.dumps(table))
    with pytest.raises(ValueMistake, match="outside the folder"):
        load_mesh(path, "mm", folder)


def test_a_missing_file_names_the_nearest(tmp_path):
    written(block(), tmp_path, name="bracket")
    with pytest.raises(ValueMistake, match=r"there is no file braket\.stl") as caught:
        load_mesh(tmp_path / "braket.stl", "mm", tmp_path)
    assert caught.value.mend == "write bracket.stl"


def test_too_large_a_file_is_refused_unread(tmp_path):
    path = tmp_path / "part.stl"
    with path.open("wb") as file:
        file.truncate((200 << 20) + 1)
    with pytest.raises(ValueMistake, match="209,715,201 bytes; the limit is 209,715,200"):
        load_mesh(path, "mm", tmp_path)


def test_a_part_too_far_away_is_refused(tmp_path):
    with pytest.raises(ValueMistake, match="mm far; the limit is 3,000,000 mm"):
        load_mesh(written(block((1e7, 0, 0)), tmp_path, "obj"), "mm", tmp_path)


def test_the_same_content_is_read_once(tmp_path):
    first = load_mesh(written(block(), tmp_path), "mm", tmp_path)
    assert load_mesh(written(block(), tmp_path, name="copy"), "mm", tmp_path) is first
    assert load_mesh(tmp_path / "part.stl", "cm", tmp_path) is not first


def test_text_stl_of_a_solid_named_after_a_vertex(tmp_path):
    path = tmp_path / "part.stl"
    path.write_bytes(text_stl().replace(b"solid ", b"solid vertex endfacet ", 1))
    assert volume(load_mesh(path, "mm", tmp_path)) == pytest.approx(VOLUME)


def test_200_000_triangles_keep_their_volume(tmp_path):
    sphere = trimesh.creation.uv_sphere(radius=50, count=[226, 226])
    assert len(sphere.faces) > 200_000
    data = io.BytesIO(trimesh.exchange.stl.export_stl(sphere)).getvalue()
    (tmp_path / "part.stl").write_bytes(data)
    piece = load_mesh(tmp_path / "part.stl", "mm", tmp_path)
    assert piece.mesh.closed
    assert len(piece.mesh.faces) == len(sphere.faces)
    assert volume(piece) == pytest.approx(4 / 3 * math.pi * 50**3, rel=1e-3)
