"""What a mesh file holds, before anything is mended, and what any of them may not hold.

The only door to trimesh among the parts (imported late): OBJ, PLY and glTF are read by it.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Any

import numpy as np

from fitcheck.scene.mistakes import ValueMistake

# Triangles of one file: a scan that fills a case has about as many; 600 bytes each in the engine.
TRIANGLES = 2_000_000


@dataclass(frozen=True, eq=False)
class Written:
    """What a file holds.

    Args:
        vertices: (n, 3) float64 in the file's own unit and axes.
        faces: (m, 3) int64.
        unit: mm a unit, where the format says it.
        soup: corners are written for each triangle anew, so that merging them is no repair.
        error: how far facets may lie from the true surface, mm, where the reading settles it.
        said: what of the file was not read, in plain sentences.
    """

    vertices: np.ndarray
    faces: np.ndarray
    unit: float | None = None
    soup: bool = False
    error: float = 0.0
    said: tuple[str, ...] = ()


def by_trimesh(
    data: bytes,
    kind: str,
    said: str,
    at_least: int = 1,
    corners: int = 0,
    unit: float | None = None,
    **options: Any,
) -> Written:
    """Read by trimesh, nothing processed; every copy in the scene laid where it stands."""
    import trimesh

    try:
        scene = trimesh.load_scene(io.BytesIO(data), file_type=kind, process=False, **options)
        meshes = {k: m for k, m in scene.geometry.items() if isinstance(m, trimesh.Trimesh)}
        nodes = [scene.graph[node] for node in scene.graph.nodes_geometry]
        placed = [(np.asarray(move), meshes[str(name)]) for move, name in nodes if name in meshes]
        refuse_many(sum(len(mesh.faces) for _, mesh in placed))
        with np.errstate(invalid="ignore"):  # infinite corners are refused by whoever asked
            points = [np.asarray(m.vertices, float) @ move[:3, :3].T + move[:3, 3] for move, m in placed]
        starts = np.cumsum([0, *map(len, points)])
        faces = [np.asarray(mesh.faces, np.int64) + k for (_, mesh), k in zip(placed, starts, strict=False)]
    except ValueMistake:
        raise
    except Exception as error:
        # A damaged file may surface as any error of the library's own.
        raise ValueMistake(f"cannot be read as {said}: {type(error).__name__} {error}") from None
    triangles = sum(map(len, faces))
    if not triangles:
        raise ValueMistake("holds no triangles")
    if triangles < at_least or sum(map(len, points)) < corners:
        raise ValueMistake(f"says more than it holds: only {triangles:,} triangles", "export it again")
    return Written(np.concatenate(points), np.concatenate(faces), unit)


def refuse_many(triangles: int) -> None:
    if triangles > TRIANGLES:
        raise ValueMistake(f"holds {triangles:,} triangles; the limit is {TRIANGLES:,}", "simplify it")
    if triangles == 0:
        raise ValueMistake("holds no triangles")


def not_finite() -> ValueMistake:
    return ValueMistake("holds a corner that is no finite number", "export it again")


def refuse_bad_numbers(written: Written) -> None:
    """Refuse corners that are not finite and triangles that name no corner.

    Raises:
        ValueMistake: one of them.
    """
    if not np.isfinite(written.vertices).all():
        raise not_finite()
    faces = written.faces
    if len(faces) and (faces.min() < 0 or faces.max() >= len(written.vertices)):
        raise ValueMistake("holds a triangle that names a corner it does not have", "export it again")
