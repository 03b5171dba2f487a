"""STEP: volumes, places and facets against closed forms; what is refused, and that nothing else is touched.

The files are written by hand (`step_files.py`); the kernel that reads them runs in a process of its own.
"""

from __future__ import annotations

import itertools
import math
import os
import time
import tracemalloc

import manifold3d
import numpy as np
import pytest
from step_files import INCH, METRE, MM, Frame, Product, Writer, ball, block, ring, rod
from typer.testing import CliRunner

import fitcheck
from fitcheck.cli import app
from fitcheck.finding import Verdict
from fitcheck.parts.meshes import Detail, load_mesh
from fitcheck.parts.pieces import bounds
from fitcheck.scene.mistakes import ValueMistake

PLATE = Product("plate", [block((0, 0, 0), (40, 30, 5), bore=10)])


def loaded(folder, data, **detail):
    path = folder / "part.step"
    path.write_bytes(data if isinstance(data, bytes) else Writer().file(data))
    return load_mesh(path, None, folder, Detail(**detail))


def volume(piece) -> float:
    """By manifold3d, which must call it a solid."""
    mesh = piece.mesh
    assert mesh.closed, mesh.repairs
    body = manifold3d.Manifold(manifold3d.Mesh64(np.array(mesh.vertices), mesh.faces.astype(np.uint64)))
    assert body.status() == manifold3d.Error.NoError
    return body.volume()


def samples(piece, most=4000) -> np.ndarray:
    """(t, 40, 3) points spread over triangles, their corners and edges' middles among them, mm."""
    spread = np.random.default_rng(0).dirichlet((1, 1, 1), 33)
    middles = [[0.5, 0.5, 0], [0, 0.5, 0.5], [0.5, 0, 0.5]]
    weights = np.vstack([np.eye(3), middles, [[1 / 3] * 3], spread])
    triangles = (piece.mesh.vertices + piece.centre)[piece.mesh.faces]
    step = max(1, len(triangles) // most)
    return np.einsum("kj,njd->nkd", weights, triangles[::step])


@pytest.mark.parametrize(("unit", "scale"), [(MM, 1.0), (METRE, 1000.0), (INCH, 25.4)])
def test_a_file_says_its_unit(tmp_path, unit, scale):
    size = np.array([40.0, 30, 5]) / (1000 if unit == METRE else 1)
    bore = size[1] / 3
    data = Writer(unit).file(Product("plate", [block((0, 0, 0), size, bore)]))
    piece = loaded(tmp_path, data)
    assert bounds([piece])[1] == pytest.approx(size * scale, rel=1e-6)
    exact = (size[0] * size[1] - math.pi * bore**2 / 4) * size[2] * scale**3
    # Facets of the bore leave up to so much of it filled.
    filled = math.pi * bore * size[2] * scale**2 * piece.mesh.error
    assert exact <= volume(piece) * (1 + 1e-6) <= exact + filled


LONG_FACETS = [*itertools.product((0.5, 0.1, 0.02), (3, 25, 60)), (0.0125, 60), (0.05, 300)]


@pytest.mark.parametrize(
    ("facet", "radius"), [(0.1, 10), *(pytest.param(*row, marks=pytest.mark.long) for row in LONG_FACETS)]
)
def test_facets_keep_within_the_length_that_is_stated(tmp_path, facet, radius):
    """Measured against the exact cylinder, sphere and torus."""
    at = np.array([7, -3, 2])

    def most(product, off) -> float:
        piece = loaded(tmp_path, Product("part", [product]), facet=facet)
        assert facet <= piece.mesh.error <= facet + 1e-3
        worst = float(np.abs(off(samples(piece) - at)).max())
        assert 0.02 * facet < worst <= piece.mesh.error
        assert volume(piece) > 0
        return worst

    def off_wall(points):
        wall = points[np.ptp(points[:, :3, 2], axis=1) > 1]
        return np.hypot(wall[..., 0], wall[..., 1]) - radius

    def off_ring(points):
        return np.hypot(np.hypot(points[..., 0], points[..., 1]) - radius, points[..., 2]) - radius / 3

    # The cylinder is cut at a fifth of what is stated: half of what the kernel is asked.
    assert most(rod(at, radius, 50), off_wall) < 0.25 * facet
    most(ball(at, radius), lambda points: np.linalg.norm(points, axis=-1) - radius)
    most(ring(at, radius, radius / 3), off_ring)


def test_finer_facets_are_more(tmp_path):
    many, few = (len(loaded(tmp_path, PLATE, facet=facet).mesh.faces) for facet in (0.01, 0.5))
    assert many > 2 * few


LEFT, UP = Frame((50, 0, 0), (0, 0, -1), (0, 1, 0)), Frame((0, 200, 0), (0, 1, 0), (0, 0, 1))
SIDE = Frame((5, 5, 5), (1, 0, 0), (0, 1, 0))


def assembly() -> Product:
    """Two pairs of brackets with a bolt each, the second pair turned; one more bolt beside them."""
    bolt = Product("bolt", [rod((0, 0, 0), 2, 8)])
    bracket = Product("bracket", [block((0, 0, 0), (20, 10, 2), 4)])
    pair = Product("pair", [], [("left", bracket, Frame()), ("right", bracket, LEFT), ("bolt", bolt, SIDE)])
    return Product(
        "machine",
        [],
        [("one", pair, Frame((0, 0, 100))), ("two", pair, UP), ("bolt", bolt, Frame((-50, 0, 0)))],
    )


BRACKET, BOLT = 20 * 10 * 2 - math.pi * 4 * 2, math.pi * 4 * 8
# Where each copy stands, by products of the frames it is nested in; sizes of the box about it.
PLACES = {
    "left[2]": (UP.matrix(), (20, 10, 2)),
    "right[1]": (Frame((0, 0, 100)).matrix() @ LEFT.matrix(), (20, 10, 2)),
    "right[2]": (UP.matrix() @ LEFT.matrix(), (20, 10, 2)),
}


def test_an_assembly_as_a_whole(tmp_path):
    # The bolts stand in the brackets' corners, 5 mm off their bores' middles: they reach 0 to 13, above their sides.
    piece = loaded(tmp_path, assembly())
    apart = volume(loaded(tmp_path, assembly(), part="bolt[3]"))
    assert apart == pytest.approx(BOLT, rel=0.02)
    assert volume(piece) == pytest.approx(4 * BRACKET + 3 * BOLT, rel=2e-3)


@pytest.mark.parametrize("name", PLACES)
def test_a_copy_stands_where_nested_placements_put_it(tmp_path, name):
    move, size = PLACES[name]
    piece = loaded(tmp_path, assembly(), part=name)
    corners = np.array(np.meshgrid(*((0, s) for s in size))).reshape(3, -1).T
    at = corners @ move[:3, :3].T + move[:3, 3]
    assert bounds([piece]) == pytest.approx(np.array([at.min(axis=0), at.max(axis=0)]), abs=1e-4)
    assert volume(piece) == pytest.approx(BRACKET, rel=1e-3)


def test_a_part_with_parts_is_all_of_them(tmp_path):
    assert volume(loaded(tmp_path, assembly(), part="two")) == pytest.approx(2 * BRACKET + BOLT, rel=2e-3)


@pytest.mark.parametrize(
    ("name", "problem", "mend"),
    [
        ("bolt", "part: bolt: there are 3 of that name", "write one of bolt[1], bolt[2], bolt[3]"),
        (
            "tow",
            "the file has no such part; it has machine, one, left[1], right[1], bolt[1], two",
            "write two",
        ),
        ("zzz", "the file has no such part", ""),
    ],
)
def test_an_unknown_part_names_those_there_are(tmp_path, name, problem, mend):
    with pytest.raises(ValueMistake) as caught:
        loaded(tmp_path, assembly(), part=name)
    assert problem in caught.value.problem
    assert caught.value.mend == mend


def test_bodies_that_touch_stay_bodies(tmp_path):
    """Three cubes in an L share sides and an edge: 3 x 1000 mm³, and nothing is mended."""
    cube = Product("cube", [block((0, 0, 0), (10, 10, 10))])
    three = [("a", cube, Frame()), ("b", cube, Frame((10, 0, 0))), ("c", cube, Frame((0, 0, 10)))]
    piece = loaded(tmp_path, Product("three", [], three))
    assert volume(piece) == pytest.approx(3000)
    (said,) = piece.mesh.repairs
    assert said == "its facets lie within 0.02001 mm of the true surface; clearances count that"
    within = Product("one", [block((0, 0, 0), (10, 10, 10)), block((5, 5, 5), (20, 20, 10))])
    assert volume(loaded(tmp_path, within)) == pytest.approx(1000 + 15 * 15 * 5 - 5**3)


SCENE = """
model_folders: [own]
parts:
  a: {{model: rod}}
  b: {{model: wall, place: {{at: [{at}, 0, 0]}}}}
rules: {{clearance: {{default: {demand} mm}}}}
"""


@pytest.mark.parametrize(
    ("demand", "verdict"), [(1.97, Verdict.FITS), (1.99, Verdict.TIGHT), (2.01, Verdict.FAILS)]
)
def test_a_clearance_met_only_as_drawn_is_tight(tmp_path, demand, verdict):
    """A rod of radius 10 whose facets have a corner at +x, and a wall 2 mm from there."""
    own = tmp_path / "own"
    own.mkdir()
    (own / "rod.step").write_bytes(Writer().file(Product("rod", [rod((0, 0, 0), 10, 50)])))
    (own / "rod.yaml").write_text("model: rod\nsolids: {rod: {mesh: {file: rod.step, facet: 0.02 mm}}}\n")
    wall = "model: wall\nsolids: {wall: {box: {low: [0, -20, 0], high: [5, 20, 50]}}}\n"
    (own / "wall.yaml").write_text(wall)
    scene = tmp_path / "scene.yaml"
    scene.write_text(SCENE.format(at=12, demand=demand))
    report = fitcheck.check(scene)
    assert report.verdict == verdict
    said = [finding.sentence for finding in report.findings if finding.check == "clearance"]
    drawn = [
        "a.rod and b.wall are 2.00 mm apart, 2.0 mm are demanded: only as drawn, its facets may be 0.02 mm off"
    ]
    assert (said == drawn) == (verdict == Verdict.TIGHT)
    assert report.notes == (
        "a.rod: its facets lie within 0.02004 mm of the true surface; clearances count that",
    )


def test_a_broken_file_is_told_at_its_place_in_the_model(tmp_path):
    own = tmp_path / "own"
    own.mkdir()
    (own / "rod.step").write_bytes(b"ISO-10303-21;")
    (own / "rod.yaml").write_text("model: rod\nsolids:\n  rod: {mesh: {file: rod.step}}\n")
    (tmp_path / "scene.yaml").write_text("model_folders: [own]\nparts: {a: {model: rod}}\n")
    done = CliRunner().invoke(app, ["check", str(tmp_path / "scene.yaml")])
    assert done.exit_code == 2
    assert "rod.yaml:3:" in done.output
    assert ": file: cannot be read as STEP: it is cut off" in done.output
    assert "Traceback" not in done.output


def test_the_same_content_is_converted_once(tmp_path):
    first = loaded(tmp_path, PLATE)
    assert loaded(tmp_path, PLATE) is first
    assert loaded(tmp_path, PLATE, facet=0.1) is not first


def test_facets_out_of_reason_and_units_are_refused(tmp_path):
    for facet in (0.0, 1e-5, 100):
        with pytest.raises(ValueMistake, match=r"is outside 0\.002 to 10 mm"):
            loaded(tmp_path, PLATE, facet=facet)
    with pytest.raises(ValueMistake, match="STEP says its own unit"):
        load_mesh(tmp_path / "part.step", "mm", tmp_path)


def test_only_step_and_gltf_name_parts(tmp_path):
    (tmp_path / "a.stl").write_bytes(b"solid")
    with pytest.raises(ValueMistake, match="STL names no parts"):
        load_mesh(tmp_path / "a.stl", "mm", tmp_path, Detail(part="x"))


# --- hostile files ------------------------------------------------------------------------

GOOD = Writer().file(PLATE)
TAIL = b"\nENDSEC;\nEND-ISO-10303-21;\n"
HEAD = GOOD[: GOOD.index(b"DATA;") + 5]
HOSTILE = {
    "garbage": (b"\0" * (100 << 20), "does not begin with ISO-10303-21"),
    "empty header": (b"ISO-10303-21;", "it is cut off"),
    "cut": (GOOD[:-300], "it is cut off"),
    "cut inside": (GOOD[:-2000] + TAIL, "cannot be read as STEP"),
    "no data": (b"ISO-10303-21;\nHEADER;\nENDSEC;\nDATA;" + TAIL, "cannot be read as STEP"),
    "noise": (HEAD + np.random.default_rng(1).bytes(1 << 20) + TAIL, "cannot be read as STEP"),
    "deep": (HEAD + b"#1=X(" + b"(" * 300_000 + TAIL, "cannot be read as STEP"),
    "closed deep": (HEAD + b"#1=X(" + b"(" * 100_000 + b")" * 100_000 + b");" + TAIL, "cannot be read as STEP"),
    "circle": (HEAD + b"#1=CLOSED_SHELL('',(#1));\n#2=MANIFOLD_SOLID_BREP('',#2);" + TAIL, "cannot be read as STEP"),
    "huge numbers": (GOOD.replace(b"40.0", b"1.E308"), None),
    "not a number": (GOOD.replace(b"40.0", b"NAN"), "takes more than 60 s"),
}  # fmt: skip


# Each asks the kernel, which takes a second to start; the last one keeps it busy until it is stopped.
SLOW = {"cut inside", "no data", "circle", "closed deep", "huge numbers", "not a number"}


@pytest.mark.parametrize("name", [pytest.param(n, marks=[pytest.mark.long] * (n in SLOW)) for n in HOSTILE])
def test_a_hostile_file_ends_in_an_error_in_bounded_memory(tmp_path, capfd, name):
    data, problem = HOSTILE[name]
    path = tmp_path / "part.step"
    path.write_bytes(data)
    tracemalloc.start()
    start = time.monotonic()
    try:
        with pytest.raises(ValueMistake) as caught:
            load_mesh(path, None, tmp_path)
        assert problem is None or problem in caught.value.problem
        assert len(caught.value.problem) < 300
    finally:
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
    assert time.monotonic() - start < 150
    assert peak < 2 * len(data) + (32 << 20)
    # The kernel prints what it thinks of a file: not here.
    assert capfd.readouterr() == ("", "")


def outside_reference(name: str) -> bytes:
    """An assembly of a plate and a product whose geometry is said to lie in another file."""
    to = Writer()
    child = Product("child")
    top = Product("top", [], [("plate", PLATE, Frame()), ("child", child, Frame((99, 0, 0)))])
    text = to.file(top)
    definition = to.made[id(child)][0]
    first = len(to.lines)
    kind = to.add("DOCUMENT_TYPE('geometry')")
    document = to.add(f"DOCUMENT_FILE('{name}','','',{kind},'',$)")
    reference = to.add(f"APPLIED_DOCUMENT_REFERENCE({document},'',({definition}))")
    must = to.add("OBJECT_ROLE('mandatory',$)")
    to.add(f"ROLE_ASSOCIATION({must},{reference})")
    role = to.add("IDENTIFICATION_ROLE('external document id and location',$)")
    source = to.add("EXTERNAL_SOURCE(IDENTIFIER(''))")
    to.add(f"APPLIED_EXTERNAL_IDENTIFICATION_ASSIGNMENT('{name}',{role},{source},({document}))")
    item = to.add("DESCRIPTIVE_REPRESENTATION_ITEM('data format','STEP AP214')")
    form = to.add(f"REPRESENTATION('document format',({item}),{to.context})")
    told = to.add(f"PROPERTY_DEFINITION('document property','',{document})")
    to.add(f"PROPERTY_DEFINITION_REPRESENTATION({told},{form})")
    to.add(f"DOCUMENT_REPRESENTATION_TYPE('digital',{document})")
    added = "\n".join(to.lines[first:]).encode() + b"\nENDSEC;\nEND-ISO"
    return text.replace(b"\nENDSEC;\nEND-ISO", b"\n" + added)


@pytest.mark.parametrize("where", ["beside", "anywhere"])
def test_another_file_is_not_opened(tmp_path, monkeypatch, where):
    """The kernel follows such a name when it is let: opening a pipe without a writer would wait for ever."""
    monkeypatch.chdir(tmp_path)
    pipe = tmp_path / "child.step"
    os.mkfifo(pipe)
    start = time.monotonic()
    piece = loaded(tmp_path, outside_reference("child.step" if where == "beside" else str(pipe)))
    assert time.monotonic() - start < 30
    assert bounds([piece])[1] == pytest.approx((40, 30, 5))
    assert "it names other files, which are not read" in piece.mesh.repairs


def test_a_file_out_of_the_folder_is_refused(tmp_path):
    inner = tmp_path / "inner"
    inner.mkdir()
    (tmp_path / "part.step").write_bytes(GOOD)
    with pytest.raises(ValueMistake, match="lies outside the folder"):
        load_mesh(inner / ".." / "part.step", None, inner)


@pytest.mark.parametrize(
    ("kernel", "problem"),
    [
        ("raise ImportError", "STEP is read by a library that is not installed"),
        ("import os, signal; os.kill(os.getpid(), signal.SIGSEGV)", "cannot be read as STEP"),
        ("import os, signal; os.kill(os.getpid(), signal.SIGXCPU)", "takes more than 60 s or 4 GB"),
        ("def load(*_, **__): return bytes(8 << 30)", "cannot be read as STEP"),
        ("def load(*_, **__): return bytes(300 << 20)", "cannot be read as STEP"),
        ("def load(*_, **__): return b'glTF' * 9", "glTF"),
    ],
)
def test_a_kernel_that_fails_is_our_own_error(tmp_path, monkeypatch, capfd, kernel, problem):
    """Another module in the kernel's place: it is missing, crashes, takes too much, talks nonsense."""
    (tmp_path / "cascadio.py").write_text(f"print('noise')\n{kernel}\n")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    # Content of its own, so that what was converted before is not taken.
    with pytest.raises(ValueMistake, match=problem):
        loaded(tmp_path, GOOD.replace(b"ENDSEC", b"/*" + kernel.encode() + b"*/ENDSEC", 1))
    assert capfd.readouterr() == ("", "")
