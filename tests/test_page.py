"""The page as a file: what is in it, how exact it is, and that nothing in it asks for anything."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import shutil
import subprocess
import zlib
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from pictured import machine, report
from test_cli import run
from worlds import box, mesh, part, rod, world

from fitcheck.outputs import page as pages
from fitcheck.outputs.page.described import described
from fitcheck.outputs.page.packed import STEPS, packed, record
from fitcheck.outputs.page.refine import OFF
from fitcheck.outputs.page.results import more_of
from fitcheck.outputs.page.shapes import drawn_solids
from fitcheck.outputs.page.words import CAUTIONS
from fitcheck.outputs.pictures.bands import bands_of
from fitcheck.outputs.pictures.field import field_of
from fitcheck.outputs.pictures.surfaces import skins
from fitcheck.parts.pieces import box_piece
from fitcheck.report import check_world
from fitcheck.world.frames import Frame, turn_about

TOP = Path(__file__).resolve().parents[1]
BUILT = TOP / "fitcheck" / "outputs" / "page"
HOSTILE = "<img src=x onerror=\"document.title='ran'\"></script><script>document.title='ran'</script>"


@cache
def machine_page() -> str:
    return pages.page(machine(), report())


def embedded(text: str, name: str) -> str:
    """What stands between the tags of an embedded script, as a browser cuts it."""
    return re.search(rf'<script[^>]* id="{name}">(.*?)</script', text, re.DOTALL)[1]


def unpacked(records, data: bytes) -> list[dict[str, np.ndarray]]:
    """The shapes of a page, read again by the description of the format alone."""
    buffer, at = zlib.decompress(data), 0

    def take(kind, count, channels=1):
        nonlocal at
        found = [
            np.frombuffer(buffer, kind, count, at + k * count * np.dtype(kind).itemsize)
            for k in range(channels)
        ]
        at += channels * count * np.dtype(kind).itemsize
        return np.stack(found, axis=1)

    total = {key: sum(one[key] for one in records) for key in ("points", "triangles", "edges", "bends")}
    triangles = take("<i4", 3 * total["triangles"]).ravel()
    points, values = take("<u2", total["points"], 3), take("<i2", total["points"]).ravel()
    edges, _ = take("<u2", total["edges"], 6), take("<u2", total["bends"], 6)
    normals, _ = take("i1", total["points"], 3), take("i1", total["bends"], 6)
    assert at == len(buffer)
    shapes, start = [], dict.fromkeys(total, 0)
    for one in records:
        end = {key: start[key] + one[key] for key in total}
        shapes.append(
            {
                "triangles": np.cumsum(triangles[3 * start["triangles"] : 3 * end["triangles"]]).reshape(
                    -1, 3
                ),
                "points": one["low"] + one["step"] * points[start["points"] : end["points"]],
                "values": values[start["points"] : end["points"]] / 100,
                "edges": np.tile(one["low"], 2) + one["step"] * edges[start["edges"] : end["edges"]],
                "normals": normals[start["points"] : end["points"]] / 127,
            }
        )
        start = end
    return shapes


def volume(points, triangles) -> float:
    a, b, c = points[triangles].transpose(1, 0, 2)
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6)


def test_shapes_come_back_with_their_volumes():
    tetrahedron = mesh(
        [[0, 0, 0], [60, 0, 0], [0, 50, 0], [0, 0, 40]], [[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]]
    )
    turned = Frame(turn_about(np.array([0, 0, 1.0]), 30), np.array([300.0, -20, 7]))
    things = world(
        part("box", box([0, 0, 0], [10, 20, 30])),
        part("rod", rod([50, 0, 0], [50, 0, 80], 12), pose=turned),
        part("wedge", tetrahedron, pose=turned),
    )
    solids = drawn_solids(things, bands_of(things))
    records = [record(one) for one in solids]
    shapes = unpacked(records, packed(solids))
    # A box and a tetrahedron are exact to the steps; of a cylinder 0.1 mm sagitta leaves 12 sides or more.
    assert volume(shapes[0]["points"], shapes[0]["triangles"]) == pytest.approx(6000, rel=1e-3)
    assert volume(shapes[2]["points"], shapes[2]["triangles"]) == pytest.approx(60 * 50 * 40 / 6, rel=1e-3)
    round_one = volume(shapes[1]["points"], shapes[1]["triangles"])
    assert 0.95 * np.pi * 36 * 80 < round_one < np.pi * 36 * 80
    for one, solid, written in zip(shapes, solids, records, strict=True):
        assert np.abs(one["points"] - solid.patch.points).max() < written["step"]
        assert np.abs(one["normals"] - solid.patch.normals).max() < 0.01
        assert written["step"] * STEPS < 101  # mm: the largest side
    # In its part's own frame: the pose of the part puts it where it is in the world.
    placed = turned.point(shapes[1]["points"])
    assert placed[:, 2].min() == pytest.approx(7, abs=0.01) and placed[:, 2].max() == pytest.approx(
        87, abs=0.01
    )


def test_no_seam_opens_between_the_faces_of_a_solid():
    """Each edge is walked once each way, after splitting and counting in steps: else a cut would leak."""
    tilted = Frame(turn_about(np.array([1.0, 0, 0]), 8), np.array([0, 0, 33.0]))
    things = world(
        part("block", box([0, 0, 0], [120, 90, 30])),
        part("plate", box([0, 0, 0], [120, 90, 3]), pose=tilted),
        part("rod", rod([60, -40, 31], [60, 140, 31], 2)),
    )
    solids = drawn_solids(things, bands_of(things))
    shapes = unpacked([record(one) for one in solids], packed(solids))
    assert sum(len(one["triangles"]) for one in shapes) > 200
    for one in shapes:
        _, same = np.unique(np.round(one["points"], 6), axis=0, return_inverse=True)
        ends = same.ravel()[one["triangles"]][:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
        ends = ends[ends[:, 0] != ends[:, 1]]
        walked, count = np.unique(ends, axis=0, return_counts=True)
        back, count_back = np.unique(ends[:, ::-1], axis=0, return_counts=True)
        assert (walked == back).all() and (count == count_back).all()


def to_box(points, low, high, frame):
    """(n,) distance of points outside of a box that is turned: by its definition."""
    local = frame.inverse().point(points)
    return np.linalg.norm(np.maximum(np.maximum(low - local, local - high), 0), axis=1)


def test_colours_between_the_points_are_those_of_the_true_distance():
    """Anywhere on a face what is drawn is the distance to the other box, nine times in ten to 0.3 mm."""
    tilted = Frame(
        turn_about(np.array([1.0, 0, 0]), 11) @ turn_about(np.array([0, 1.0, 0]), 5), np.array([10, 5, 26.0])
    )
    low, high = np.zeros(3), np.array([90.0, 60, 4])
    things = world(
        part("block", box([0, 0, 0], [120, 90, 20])),
        part("plate", box_piece(low, high), pose=tilted),
        clearance={"default": 2.0},
    )
    bands = bands_of(things)
    block = drawn_solids(things, bands)[0]
    rng = np.random.default_rng(5)
    corners = block.patch.triangles[rng.integers(0, len(block.patch.triangles), 20_000)]
    share = rng.dirichlet([1, 1, 1], len(corners))
    points = np.einsum("ij,ijk->ik", share, block.patch.points[corners])
    drawn = np.einsum("ij,ij->i", share, block.values[corners])
    true = to_box(points, low, high, tilted)
    near = true < bands.far
    assert near.sum() > 4000
    off = np.abs(np.minimum(drawn, bands.far) - true)[near]
    assert np.quantile(off, 0.9) < OFF and np.quantile(off, 0.99) < 0.8 and off.max() < 1.5
    assert (drawn[true > bands.far + 1.5] >= bands.far).all()


def test_page_and_pictures_have_the_same_distances():
    """At its points the page says what the field of the pictures says there."""
    bands = bands_of(machine())
    solids = drawn_solids(machine(), bands)
    field = field_of(machine(), skins(machine().parts), bands)
    for k, one in enumerate(solids):
        placed = machine().parts[one.skin.part].pose.point(one.patch.points)
        assert np.allclose(field(placed, np.full(len(placed), k)), one.values, atol=1e-9)


def test_nothing_is_loaded_from_elsewhere_and_only_our_script_runs():
    text = machine_page()
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', text)[1]
    rules = dict(one.strip().split(" ", 1) for one in policy.split(";"))
    assert rules["default-src"] == rules["connect-src"] == "'none'"
    script = re.search(r"<script>(.*)</script>\s*</body>", text, re.DOTALL)[1]
    style = re.search(r"<style>(.*?)</style>", text, re.DOTALL)[1]
    for name, inside in (("script-src", script), ("style-src", style)):
        assert (
            rules[name] == f"'sha256-{base64.b64encode(hashlib.sha256(inside.encode()).digest()).decode()}'"
        )
    assert "</script" not in script
    assert not re.search(r"<(link|img|iframe|object|embed|base|form)\b", text)
    assert not re.search(r"\son[a-z]+\s*=\s*[\"']", text.replace(script, ""))


def test_what_a_stranger_wrote_ends_no_element():
    data = described(machine(), report(), drawn_solids(machine(), bands_of(machine())), bands_of(machine()))
    data["title"] = HOSTILE
    data["parts"][0]["name"] = HOSTILE
    written = embedded(pages.sheet(data, b""), "scene")
    assert not set("<>&") & set(written)
    assert json.loads(written) == json.loads(json.dumps(data))


def test_braces_in_a_title_are_no_places_to_fill():
    data = {"title": "{script} {shapes} {policy} {style}"}
    assert json.loads(embedded(pages.sheet(data, b"x"), "scene")) == data


def test_findings_name_their_parts_place_and_figure():
    data = json.loads(embedded(machine_page(), "scene"))
    finding = next(one for one in data["findings"] if one["check"] == "interference")
    assert [data["parts"][k]["name"] for k in finding["concerned"]] == ["card", "plug"]
    assert finding["figure"] == "overlap 6.0 mm"
    a, b = np.array(finding["ends"])
    assert np.linalg.norm(a - b) == pytest.approx(6.0)
    assert set(finding["solids"]) == {"card.body", "plug.body"}
    assert data["verdict"] == "fails" and data["lead"] == data["findings"][0]["sentence"]


def test_gaps_and_rooms_are_those_of_the_report():
    asked = check_world(machine(), facts=True)
    data = json.loads(embedded(pages.page(machine(), asked), "scene"))
    lid = {gap["side"]: gap for gap in data["gaps"] if gap["part"] == "lid"}
    assert lid["top"]["free"] == pytest.approx(1.0)  # 297 to the roof at 298
    assert np.diff(lid["top"]["ends"], axis=0)[0] == pytest.approx([0, 0, 1])
    assert lid["left"]["ends"][0] == pytest.approx([100, 250, 287])
    largest = data["rooms"][0]
    assert np.prod(largest["size"]) / 1e6 == pytest.approx(largest["litres"], abs=0.01)


def test_cautions_are_those_of_the_readme():
    readme = " ".join((TOP / "README.md").read_text("utf-8").split())
    assert all(caution in readme for caution in CAUTIONS)


@pytest.mark.skipif(
    not (shutil.which("npm") and (BUILT / "node_modules").is_dir()),
    reason="no node, or no node_modules: npm ci in fitcheck/outputs/page",
)
def test_the_built_script_is_what_the_sources_give(tmp_path):
    out = tmp_path / "page.js"
    subprocess.run(
        ["npm", "run", "build", "--", f"--outfile={out}"], cwd=BUILT, check=True, capture_output=True
    )
    assert out.read_bytes() == (BUILT / "built" / "page.js").read_bytes()


def test_locked_packages_name_no_host_and_the_licence_is_there():
    lock = (BUILT / "package-lock.json").read_text("utf-8")
    assert '"resolved"' not in lock and '"integrity"' in lock
    assert "Permission is hereby granted" in (BUILT / "built" / "LICENSE-three.txt").read_text("utf-8")


BOXES = """
title: Two boxes
parameters: {gap: 4 mm}
parts:
  case: {model: small_cube}
  pump: {model: pump, place: {rest: base, on: case.board_room.floor, left: 20, front: gap}}
"""


def test_the_command_writes_a_page_with_layouts_and_plot(tmp_path):
    scene, out, table, plot = (tmp_path / name for name in ("two.yaml", "two.html", "all.csv", "all.png"))
    scene.write_text(BOXES)
    table.write_text("layout,gap [mm],verdict\n1,4,fits\n2,5.5,fails\n", encoding="utf-8-sig")
    plot.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(8))
    done = run("page", str(scene), "--out", str(out), "--layouts", str(table), "--plot", str(plot))
    assert done.returncode == 0 and done.stderr.endswith("MB)\n"), done.stderr
    data = json.loads(embedded(out.read_text("utf-8"), "scene"))
    assert data["layouts"]["rows"] == [[1, 4, "fits"], [2, 5.5, "fails"]]
    assert data["plots"][0]["data"].startswith("data:image/png;base64,iVBORw0KGgo")
    assert str(tmp_path) not in out.read_text("utf-8")


def test_results_are_read_as_they_came(tmp_path):
    """Lines of a batch that several processes wrote: in the order of the layouts, one that cannot be built too."""
    lines = [
        {"format": "head"},
        {"layout": 2, "values": {"gap": "5 mm"}, "verdict": None, "mistakes": ["no"]},
        {"layout": 1, "values": {"gap": "4 mm"}, "verdict": "fits", "figures": {"room": 61.25}},
    ]
    (tmp_path / "all.jsonl").write_text("".join(json.dumps(one) + "\n" for one in lines))
    table = more_of(tmp_path / "all.jsonl", [])["layouts"]
    assert table["columns"] == ["layout", "gap", "verdict", "room", "sentence"]
    assert table["rows"] == [[1, "4 mm", "fits", 61.25, ""], [2, "5 mm", "cannot be built", None, ""]]


def test_a_scene_with_nothing_solid_has_a_page():
    """Places to measure from may stand alone; there is nothing to draw, and that is no fault."""
    empty = world(part("point"))
    text = pages.page(empty, check_world(empty))
    assert json.loads(embedded(text, "scene"))["solids"] == []


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--out", "two.txt"], "--out two.txt: write two.html"),
        (["--out", "two.html", "--layouts", "no.csv"], "--layouts no.csv: No such file or directory"),
        (
            ["--out", "two.html", "--layouts", "x.png"],
            "--layouts x.png: write a .csv or .jsonl that fitcheck batch wrote",
        ),
        (
            ["--out", "two.html", "--plot", "two.yaml"],
            "--plot two.yaml: is no PNG; name a picture that fitcheck batch --plot drew",
        ),
    ],
)
def test_a_wrong_call_says_what_to_write(tmp_path, words, said):
    (tmp_path / "two.yaml").write_text(BOXES)
    done = run("page", "two.yaml", *words, cwd=tmp_path)
    assert (done.returncode, done.stderr) == (2, said + "\n")
    assert not (tmp_path / "two.html").exists()


@pytest.mark.long
def test_the_demo_is_small_enough_to_be_sent(tmp_path):
    out = tmp_path / "dome.html"
    assert run("page", "scenes/dome_render.yaml", "--out", str(out)).returncode == 0
    assert out.stat().st_size < 5_000_000
