"""Fewer triangles within a stated length: both ways measured by trimesh, its own nearest points on dense samples."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from fitcheck.parts import mesh_simplify
from fitcheck.parts.mesh_simplify import simplified
from fitcheck.parts.meshes import Detail, load_mesh
from fitcheck.parts.pieces import bounds
from fitcheck.scene.mistakes import ValueMistake

BOX = trimesh.creation.box((60, 40, 3))


def rough(mesh, by, seed=0):
    """The same with every corner moved by up to so much."""
    mesh.vertices += np.random.default_rng(seed).uniform(-by, by, mesh.vertices.shape)
    return mesh


def fine(mesh, times):
    for _ in range(times):
        mesh = mesh.subdivide()
    return mesh


MESHES = {
    "sphere": lambda: trimesh.creation.icosphere(subdivisions=4, radius=50),
    "rough sphere": lambda: rough(trimesh.creation.icosphere(subdivisions=4, radius=50), 0.1),
    "rough sheet": lambda: rough(fine(BOX.copy(), 4), 0.05),
    "torus": lambda: trimesh.creation.torus(30, 8, major_sections=96, minor_sections=48),
    "ring": lambda: trimesh.creation.annulus(10, 20, 5, sections=300),
    "fine box": lambda: fine(BOX.copy(), 4),
    "needle": lambda: rough(fine(trimesh.creation.cylinder(0.4, 80, sections=24), 2), 0.02),
}


def furthest(one, other, count=4000) -> float:
    """How far points of the first surface lie from the second at most, mm."""
    spread = trimesh.sample.sample_surface(one, count, seed=1)[0]
    points = np.vstack([spread, one.vertices, one.triangles_center])
    return float(trimesh.proximity.closest_point(other, points)[1].max())


def pair(name, tolerance):
    mesh = MESHES[name]()
    vertices, faces, error, said = simplified(
        np.array(mesh.vertices), mesh.faces.astype(np.int64), True, tolerance
    )
    return mesh, trimesh.Trimesh(vertices, faces, process=False), error, said


@pytest.mark.parametrize(
    ("name", "tolerance"),
    [
        pytest.param(
            name, tolerance, marks=[pytest.mark.long] * (tolerance != 0.5 or name in ("ring", "needle"))
        )
        for name in MESHES
        for tolerance in (0.5, 0.1, 0.05)
    ],
)
def test_the_surface_moves_by_no_more_than_is_stated(name, tolerance):
    mesh, fewer, error, said = pair(name, tolerance)
    assert fewer.is_watertight
    off = max(furthest(mesh, fewer), furthest(fewer, mesh))
    assert off <= error + 1e-9
    assert error in (0.0, tolerance)
    if error:
        assert len(fewer.faces) < len(mesh.faces)
        assert f"{len(mesh.faces):,} → {len(fewer.faces):,} triangles (volume " in said
    else:
        assert len(fewer.faces) == len(mesh.faces)


def test_flat_sides_lose_all_that_is_too_many():
    _, fewer, error, _ = pair("fine box", 0.01)
    assert (len(fewer.faces), error) == (12, 0.01)
    assert fewer.volume == pytest.approx(60 * 40 * 3)


@pytest.mark.parametrize(
    "worse",
    [
        lambda vertices, faces, _: (vertices, faces[:-3]),  # a hole
        lambda vertices, faces, _: (vertices * (1, 1, 0.5), faces),  # half the volume
        lambda *_: None,
    ],
)
def test_what_makes_it_worse_is_undone(monkeypatch, worse):
    mesh = MESHES["fine box"]()

    def coarser(vertices, faces, tolerance):
        return worse(np.array(BOX.vertices), BOX.faces.astype(np.int64), tolerance)

    monkeypatch.setattr(mesh_simplify, "coarser", coarser)
    given = np.array(mesh.vertices), mesh.faces.astype(np.int64)
    vertices, faces, error, said = simplified(*given, True, 0.1)
    assert vertices is given[0]
    assert faces is given[1]
    assert error == 0.0
    assert "undone" in said or "nothing to leave out" in said


def test_an_open_mesh_and_a_foolish_tolerance_are_refused(tmp_path):
    mesh = BOX.copy()
    mesh.update_faces(np.arange(12) > 1)
    mesh.export(tmp_path / "open.stl")
    with pytest.raises(ValueMistake, match="is not closed, and only closed meshes can be simplified"):
        load_mesh(tmp_path / "open.stl", "mm", tmp_path, Detail(simplify=0.1))
    BOX.export(tmp_path / "box.stl")
    for tolerance in (0.0, -1.0, 50.0):
        with pytest.raises(ValueMistake, match=r"is outside 0\.0001 to 10 mm"):
            load_mesh(tmp_path / "box.stl", "mm", tmp_path, Detail(simplify=tolerance))


def test_the_tolerance_counts_with_the_facets_that_are_stated(tmp_path):
    MESHES["torus"]().export(tmp_path / "torus.stl")
    piece = load_mesh(tmp_path / "torus.stl", "mm", tmp_path, Detail(facet=0.03, simplify=0.5))
    assert piece.mesh.error == pytest.approx(0.53)
    assert piece.mesh.repairs[0].startswith("simplified to 0.5 mm: 9,216 → ")
    assert piece.mesh.repairs[1].startswith("its facets lie within 0.53 mm of the true surface")
    assert bounds([piece])[1][:2] == pytest.approx((38, 38), abs=0.5)


def test_200_000_triangles_become_a_tenth():
    sphere = trimesh.creation.uv_sphere(radius=50, count=[226, 226])
    vertices, faces = np.array(sphere.vertices), sphere.faces.astype(np.int64)
    _, fewer, error, _ = simplified(vertices, faces, True, 0.5)
    assert (error, len(fewer) < len(faces) / 10) == (0.5, True)
