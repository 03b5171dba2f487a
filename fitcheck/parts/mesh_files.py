"""Mesh files as they are written: numbers and triangles, before anything is mended.

Every reader takes bytes that were checked for size, and refuses with a ValueMistake. STL is read
here: its libraries pass over a count that lies.
"""

from __future__ import annotations

import re
import struct
import warnings
from collections.abc import Callable, Mapping

import numpy as np

from fitcheck.parts.mesh_3mf import read_3mf
from fitcheck.parts.mesh_gltf import read_glb, read_gltf
from fitcheck.parts.mesh_written import Written, by_trimesh, not_finite, refuse_many
from fitcheck.scene.mistakes import ValueMistake


def read_stl(data: bytes, _: Mapping[str, bytes]) -> Written:
    """STL, binary or text."""
    if len(data) >= 84:
        (count,) = struct.unpack_from("<I", data, 80)
        if len(data) == 84 + 50 * count:
            refuse_many(count)
            records = np.frombuffer(data, dtype=[("_", "<3f4"), ("corners", "<9f4"), ("a", "<u2")], offset=84)
            return _soup(records["corners"].astype(np.float64).reshape(-1, 3))
    if re.search(rb"(?i)\bfacet\b", data[:4096]):
        return _text_stl(data)
    if len(data) < 84:
        raise ValueMistake("is no STL file: neither its text nor its 84 bytes of header")
    (count,) = struct.unpack_from("<I", data, 80)
    holds = (len(data) - 84) / 50
    problem = f"says that it has {count:,} triangles but has bytes for {holds:,.6g}: it is cut off or damaged"
    raise ValueMistake(problem, "export it again")


def _text_stl(data: bytes) -> Written:
    text = data.lower().replace(b"\r", b"\n")
    facets = text.count(b"endfacet")
    pieces = text.split(b"vertex")[1:]
    if len(pieces) != 3 * facets:
        # A solid may be named after a vertex or facet; the slower way looks at line starts only.
        facets = len(re.findall(rb"(?m)^[ \t]*endfacet\b", text))
        pieces = re.split(rb"(?m)^[ \t]*vertex(?=[ \t])", text)[1:]
    ended = b"endsolid" in text[-4096:]
    if len(pieces) != 3 * facets or not ended:
        problem = f"ends in the middle: {facets:,} whole triangles, {len(pieces):,} corners"
        raise ValueMistake(f"{problem}{'' if ended else ', no endsolid'}", "export it again")
    refuse_many(facets)
    lines = b" ".join([piece.partition(b"\n")[0] for piece in pieces])
    return _soup(_numbers(lines.decode("ascii", "replace"), 3 * len(pieces)).reshape(-1, 3))


def _numbers(text: str, count: int) -> np.ndarray:
    with warnings.catch_warnings():
        # A word that is no number ends the reading: by a warning or an error, as numpy's version has it.
        warnings.simplefilter("ignore")
        try:
            found = np.fromstring(text, dtype=np.float64, sep=" ")
        except ValueError:
            found = np.empty(0)
    if len(found) != count:
        raise ValueMistake("holds a corner whose three values are not all numbers", "export it again")
    return found


def _soup(corners: np.ndarray) -> Written:
    return Written(corners, np.arange(len(corners)).reshape(-1, 3), soup=True)


def read_obj(data: bytes, _: Mapping[str, bytes]) -> Written:
    """Wavefront OBJ: its triangles and polygons, whatever they are made of."""
    # Checked in the text: a library may drop a corner that is not a number, and close the hole.
    if re.search(rb"(?im)^v[ \t][^\n#]*\b(nan|inf)", data):
        raise not_finite()
    faces = len(re.findall(rb"(?m)^[ \t]*f[ \t]", data))
    if not faces:
        raise ValueMistake("holds no faces")
    refuse_many(faces)
    return by_trimesh(data, "obj", "OBJ", at_least=faces, skip_materials=True)


def read_ply(data: bytes, _: Mapping[str, bytes]) -> Written:
    """PLY, text or binary."""
    header, end, _body = data[:65536].partition(b"end_header")
    if not data.startswith(b"ply") or not end:
        raise ValueMistake("is no PLY file: its header is missing")
    counts = {name: int(n) for name, n in re.findall(rb"(?m)^element\s+(\w+)\s+(\d{1,12})\s*$", header)}
    corners, faces = counts.get(b"vertex", 0), counts.get(b"face", 0)
    if not faces:
        raise ValueMistake("holds no faces: it is a cloud of points" if corners else "holds no faces")
    refuse_many(max(faces, corners // 3))
    # A corner is at least three numbers of a byte, a face a count and three indices.
    if 3 * corners + 4 * faces > len(data):
        problem = f"says that it has {corners:,} corners and {faces:,} faces but has bytes for fewer"
        raise ValueMistake(f"{problem}: it is cut off or damaged", "export it again")
    return by_trimesh(data, "ply", "PLY", at_least=faces, corners=corners)


Reader = Callable[[bytes, Mapping[str, bytes]], Written]
READERS: dict[str, Reader] = {
    ".stl": read_stl, ".obj": read_obj, ".ply": read_ply,
    ".3mf": read_3mf, ".glb": read_glb, ".gltf": read_gltf,
}  # fmt: skip
# Those whose files name their parts take the name of the one that is wanted.
WITH_PARTS: dict[str, Callable[[bytes, Mapping[str, bytes], str], Written]] = {
    ".glb": read_glb,
    ".gltf": read_gltf,
}
