"""The placed scene as a file for other programs: glTF, STL or 3MF, tubes and cables included.

Round surfaces have facets that miss them by at most 0.005 mm (`world/prisms.py`). The same scene gives the
same bytes.
"""

from __future__ import annotations

import io
import re
import uuid
import zipfile
from collections.abc import Callable
from typing import Any

import numpy as np

from fitcheck import __version__
from fitcheck.world import volumes
from fitcheck.world.bodies import Bodies, bodies
from fitcheck.world.world import World

# ISO/IEC 12113 (glTF 2.0), chapter 3.4: metres, +y up, the front to +z. Ours: mm, +z up, the front to -y.
GLTF_FROM_WORLD = np.array([[0.001, 0, 0, 0], [0, 0, 0.001, 0], [0, -0.001, 0, 0], [0, 0, 0, 1]])
WHOLE = np.eye(4)


def placed_file(world: World, kind: str) -> bytes:
    """The file's content.

    Args:
        world: with its runs laid, where they are to be in it.
        kind: `.glb` (metres, +y up, a node for each part and each of its solids), `.stl` (mm, +z up, all
            as one mesh) or `.3mf` (mm, +z up, an object for each solid).

    Raises:
        ValueError: there is no solid in it.
    """
    if not len(bodies(world)):
        raise ValueError("there is no solid in it")
    return FORMATS[kind](world)


def _glb(world: World) -> bytes:
    from trimesh.exchange import gltf

    def signed(tree: dict[str, Any]) -> None:
        tree["asset"]["generator"] = f"fitcheck {__version__}"

    write: Any = gltf.export_glb
    return bytes(write(_scene(world, GLTF_FROM_WORLD), tree_postprocessor=signed))


def _stl(world: World) -> bytes:
    import trimesh
    from trimesh.exchange import stl

    meshes = [_triangles(bodies(world), k) for k in range(len(bodies(world)))]
    write: Any = stl.export_stl
    head = f"fitcheck {__version__}, millimetres".encode().ljust(80)
    return head + bytes(write(trimesh.util.concatenate(meshes)))[80:]


def _three_mf(world: World) -> bytes:
    written = bytes(_scene(world, WHOLE).export(file_type="3mf"))
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(written)) as given,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for entry in given.infolist():
            data = _numbered(given.read(entry))
            new.writestr(zipfile.ZipInfo(entry.filename, (1980, 1, 1, 0, 0, 0)), data, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def _numbered(data: bytes) -> bytes:
    """Identities that are drawn by lot when 3MF is written, drawn by their order instead."""
    known: dict[bytes, bytes] = {}

    def identity(found: re.Match[bytes]) -> bytes:
        new = str(uuid.uuid5(uuid.NAMESPACE_OID, str(len(known)))).encode()
        return b'UUID="' + known.setdefault(found[1], new) + b'"'

    return re.sub(rb'UUID="([0-9a-f-]{36})"', identity, data)


FORMATS: dict[str, Callable[[World], bytes]] = {".glb": _glb, ".stl": _stl, ".3mf": _three_mf}


def _scene(world: World, root: np.ndarray) -> Any:
    """All solids, in the world's axes, below a node for each part; those below one that holds `root`."""
    import trimesh

    solids = bodies(world)
    scene: Any = trimesh.Scene()
    scene.graph.update(frame_to="machine", frame_from=scene.graph.base_frame, matrix=root)
    for part in dict.fromkeys(body.part_name for body in solids.all):
        scene.graph.update(frame_to=part, frame_from="machine", matrix=WHOLE)
    for k, body in enumerate(solids.all):
        mesh = _triangles(solids, k)
        mesh.metadata.clear()
        scene.add_geometry(mesh, node_name=body.name, geom_name=body.name, parent_node_name=body.part_name)
    scene.units = "mm"
    return scene


def _triangles(solids: Bodies, k: int) -> Any:
    """A body as one closed surface; where a mesh of it is open, all its surfaces as they are."""
    import trimesh

    body = solids.all[k]
    whole = volumes.joined(solids, body.pieces, np.zeros(3))
    if whole is not None:
        corners, faces = volumes.corners_and_faces(whole)
        return trimesh.Trimesh(corners, faces, process=False)
    parts = []
    for row in range(body.pieces.start, body.pieces.stop):
        mesh = solids.meshes[row]
        if mesh is None:
            piece = volumes.solid_of(int(solids.kinds[row]), solids.halves[row], None)
            assert piece is not None
            corners, faces = volumes.corners_and_faces(piece)
        else:
            corners, faces = mesh.vertices, mesh.faces
        placed = corners @ solids.rotations[row].T + solids.centres[row]
        parts.append(trimesh.Trimesh(placed, faces, process=False))
    return trimesh.util.concatenate(parts)
