"""The placed scene in other programs' formats, read back by our own readers and by trimesh."""

from __future__ import annotations

import io
import json
import math
import struct
import subprocess
import sys
from pathlib import Path

import pytest
import trimesh
from worlds import box, mesh, part, rod, world

from fitcheck.outputs.placed_files import FORMATS, placed_file
from fitcheck.parts.meshes import load_mesh

TOP = Path(__file__).resolve().parents[1]
CORNERS = [[x, y, z] for x in (0, 20) for y in (0, 20) for z in (0, 20)]
SIDES = [
    [0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1],
    [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3],
]  # fmt: skip


def machine():
    """A box, a rod, two pieces in each other as one solid, a cube as triangles."""
    plus = part("plus", box([100, 0, 0], [130, 10, 10]), names=("body",))
    return world(
        part("block", box([0, 0, 0], [10, 20, 30])), part("rod", rod([50, 0, 0], [50, 0, 40], 12)), plus,
        part("cube", mesh([[x, y + 60, z] for x, y, z in CORNERS], SIDES)),
    )  # fmt: skip


VOLUME = 10 * 20 * 30 + math.pi * 36 * 40 + 30 * 10 * 10 + 20**3


@pytest.mark.parametrize("kind", [".glb", ".stl", ".3mf"])
def test_read_back_by_our_own_reader(tmp_path, kind):
    file = tmp_path / f"machine{kind}"
    file.write_bytes(placed_file(machine(), kind))
    piece = load_mesh(file, "mm" if kind == ".stl" else None, tmp_path)
    assert piece.mesh.closed
    again = trimesh.Trimesh(piece.mesh.vertices, piece.mesh.faces, process=False)
    # The rod's facets miss its circle by at most 0.005 mm.
    assert again.volume == pytest.approx(VOLUME, rel=2e-3)
    low, high = piece.centre - piece.half, piece.centre + piece.half
    if kind == ".glb":
        # +y up, the front to +z: (x, z, -y).
        assert low == pytest.approx([0, 0, -80], abs=0.01)
        assert high == pytest.approx([130, 40, 6], abs=0.01)
    else:
        assert low == pytest.approx([0, -6, 0], abs=0.01)
        assert high == pytest.approx([130, 80, 40], abs=0.01)


def test_gltf_has_a_node_for_each_part_and_solid_in_metres():
    data = placed_file(machine(), ".glb")
    scene = trimesh.load_scene(io.BytesIO(data), file_type="glb")
    assert {"block", "block.body", "rod", "rod.body", "machine"} <= set(scene.graph.nodes)
    move, name = scene.graph["block.body"]
    corners = trimesh.transform_points(scene.geometry[name].vertices, move)
    assert corners.min(axis=0) == pytest.approx([0, 0, -0.02], abs=1e-9)
    assert corners.max(axis=0) == pytest.approx([0.01, 0.03, 0], abs=1e-9)
    (length,) = struct.unpack_from("<I", data, 12)
    table = json.loads(data[20 : 20 + length])
    assert table["asset"]["generator"].startswith("fitcheck")
    assert b"http" not in data[20 : 20 + length]


def test_3mf_says_millimetres_and_names_each_solid():
    import zipfile

    with zipfile.ZipFile(io.BytesIO(placed_file(machine(), ".3mf"))) as held:
        text = held.read("3D/3dmodel.model").decode()
    assert 'unit="millimeter"' in text
    for name in ("block.body", "rod.body", "cube.body"):
        assert f'name="{name}"' in text


@pytest.mark.parametrize("kind", list(FORMATS))
def test_same_scene_same_bytes(kind):
    assert placed_file(machine(), kind) == placed_file(machine(), kind)


def test_an_open_mesh_is_written_as_it_is(tmp_path):
    open_one = world(part("bowl", mesh(CORNERS, SIDES[:-2], closed=False)))
    file = tmp_path / "bowl.stl"
    file.write_bytes(placed_file(open_one, ".stl"))
    assert struct.unpack_from("<I", file.read_bytes(), 80)[0] == 10
    assert not load_mesh(file, "mm", tmp_path).mesh.closed


@pytest.mark.parametrize("kind", list(FORMATS))
def test_nothing_at_all_is_not_written(kind):
    with pytest.raises(ValueError, match="no solid"):
        placed_file(world(), kind)


def command(*words):
    code = "from fitcheck.cli import run; run()"
    return subprocess.run(
        [sys.executable, "-c", code, *map(str, words)], capture_output=True, text=True, cwd=TOP
    )


def test_the_command(tmp_path):
    scene = tmp_path / "scene.yaml"
    scene.write_text("parts: {fan: {model: fan}}\n")
    done = command("export", scene, "--out", tmp_path / "fan.glb")
    assert (done.returncode, done.stdout, done.stderr) == (0, "", f"wrote {tmp_path}/fan.glb\n")
    wrong = command("export", scene, "--out", tmp_path / "fan.dae")
    assert (wrong.returncode, wrong.stderr) == (
        2,
        f"--out {tmp_path}/fan.dae: write fan.glb, fan.stl, fan.3mf\n",
    )
    nowhere = command("export", scene, "--out", tmp_path / "no" / "fan.stl")
    assert (nowhere.returncode, nowhere.stderr) == (
        2,
        f"--out {tmp_path}/no/fan.stl: No such file or directory\n",
    )
