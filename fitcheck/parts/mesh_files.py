"""Mesh files as they are written: numbers and triangles, before anything is mended.

The only door to trimesh among the parts (OBJ, PLY, glTF; imported late). STL and 3MF are read
here: their libraries pass over a count that lies, and unfold nested copies without a bound.
Every reader takes bytes that were checked for size, and refuses with a ValueMistake.
"""

from __future__ import annotations

import io
import json
import re
import struct
import warnings
import zipfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any
from xml.parsers import expat

import numpy as np

from fitcheck.scene.mistakes import ValueMistake

# Triangles of one file: a scan that fills a case has about as many; 600 bytes each in the engine.
TRIANGLES = 2_000_000
# What a packed 3MF file may unpack to, bytes: 1.4 MB were seen to become 3 GB.
UNPACKED = 256 << 20
# Parts of a 3MF package, and values in all tables of a glTF file (a table may claim any size).
PACKED_PARTS = 1_000
TABLE_VALUES = 4 * 3 * TRIANGLES
# Copies inside copies of a 3MF file.
NESTED_COPIES = 16

# ISO/IEC 25422 (3MF core), chapter 3.4: the units a model part may name; mm.
UNITS_3MF = {
    "micron": 0.001, "millimeter": 1.0, "centimeter": 10.0, "inch": 25.4, "foot": 304.8, "meter": 1000.0,
}  # fmt: skip
# ISO/IEC 12113 (glTF 2.0), chapter 3.4: all lengths are metres.
METRE = 1000.0


@dataclass(frozen=True, eq=False)
class Written:
    """What a file holds.

    Args:
        vertices: (n, 3) float64 in the file's own unit and axes.
        faces: (m, 3) int64.
        unit: mm a unit, where the format says it.
        soup: corners are written for each triangle anew, so that merging them is no repair.
    """

    vertices: np.ndarray
    faces: np.ndarray
    unit: float | None = None
    soup: bool = False


def read_stl(data: bytes, _: Mapping[str, bytes]) -> Written:
    """STL, binary or text."""
    if len(data) >= 84:
        (count,) = struct.unpack_from("<I", data, 80)
        if len(data) == 84 + 50 * count:
            _refuse_many(count)
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
    _refuse_many(facets)
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
        raise _not_finite()
    faces = len(re.findall(rb"(?m)^[ \t]*f[ \t]", data))
    if not faces:
        raise ValueMistake("holds no faces")
    _refuse_many(faces)
    return _by_trimesh(data, "obj", "OBJ", at_least=faces, skip_materials=True)


def read_ply(data: bytes, _: Mapping[str, bytes]) -> Written:
    """PLY, text or binary."""
    header, end, _body = data[:65536].partition(b"end_header")
    if not data.startswith(b"ply") or not end:
        raise ValueMistake("is no PLY file: its header is missing")
    counts = {name: int(n) for name, n in re.findall(rb"(?m)^element\s+(\w+)\s+(\d{1,12})\s*$", header)}
    corners, faces = counts.get(b"vertex", 0), counts.get(b"face", 0)
    if not faces:
        raise ValueMistake("holds no faces: it is a cloud of points" if corners else "holds no faces")
    _refuse_many(max(faces, corners // 3))
    # A corner is at least three numbers of a byte, a face a count and three indices.
    if 3 * corners + 4 * faces > len(data):
        problem = f"says that it has {corners:,} corners and {faces:,} faces but has bytes for fewer"
        raise ValueMistake(f"{problem}: it is cut off or damaged", "export it again")
    return _by_trimesh(data, "ply", "PLY", at_least=faces, corners=corners)


def read_3mf(data: bytes, _: Mapping[str, bytes]) -> Written:
    """3MF: everything its build list names, in the file's own unit."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as package:
            return _Package(package).read()
    except zipfile.BadZipFile as error:
        raise ValueMistake(f"is no 3MF package: {error}", "export it again") from None
    except expat.ExpatError as error:
        raise ValueMistake(f"its XML is broken: {error}", "export it again") from None
    except (
        KeyError,
        ValueError,
        IndexError,
        RuntimeError,
        NotImplementedError,
        zipfile.LargeZipFile,
    ) as error:
        raise ValueMistake(f"cannot be read as 3MF: {type(error).__name__} {error}") from None


Key = tuple[str, str]


@dataclass(eq=False)
class _Object:
    corners: list[tuple[float, float, float]] = field(default_factory=list)
    triangles: list[tuple[int, int, int]] = field(default_factory=list)
    copies: list[tuple[Key, np.ndarray]] = field(default_factory=list)


class _Package:
    """A 3MF package being read; copies are counted before any is made."""

    def __init__(self, package: zipfile.ZipFile) -> None:
        entries = package.infolist()
        size = sum(entry.file_size for entry in entries)
        if len(entries) > PACKED_PARTS or size > UNPACKED:
            problem = f"unpacks to {size:,} bytes in {len(entries):,} parts"
            raise ValueMistake(f"{problem}; the limits are {UNPACKED:,} and {PACKED_PARTS:,}")
        self.package = package
        self.names = {entry.filename.lstrip("/").lower(): entry for entry in entries}
        self.objects: dict[Key, _Object] = {}
        self.build: list[tuple[Key, np.ndarray]] = []
        self.unit = 1.0

    def read(self) -> Written:
        """All triangles that the build list names."""
        models = [name for name in self.names if name.endswith(".model")]
        root = next((name for name in models if name.endswith("3dmodel.model")), models[0] if models else "")
        if not root:
            raise ValueMistake("holds no model")
        # Other parts are read when a component names them; one level of them is what the format allows.
        for path in [root, *(name for name in models if name != root)]:
            self._parse(path, path == root)
        counts: dict[Key, int] = {}
        total = sum(self._count(key, counts, 0) for key, _ in self.build)
        _refuse_many(total)
        corners: list[np.ndarray] = []
        faces: list[np.ndarray] = []
        for key, move in self.build:
            self._unfold(key, move, corners, faces)
        starts = np.cumsum([0, *map(len, corners)])
        if not faces:
            raise ValueMistake("holds no triangles")
        joined = np.concatenate([part + start for part, start in zip(faces, starts, strict=False)])
        return Written(np.concatenate(corners), joined, self.unit)

    def _parse(self, path: str, is_root: bool) -> None:
        reader = _ModelPart(self, path, is_root)
        parser = expat.ParserCreate(namespace_separator=" ")
        parser.StartElementHandler = reader.start
        parser.StartDoctypeDeclHandler = _no_doctype
        parser.Parse(self.package.read(self.names[path]), True)

    def _count(self, key: Key, counts: dict[Key, int], depth: int) -> int:
        if depth > NESTED_COPIES:
            raise ValueMistake(f"copies are nested deeper than {NESTED_COPIES}, or in a circle")
        if key not in counts:
            thing = self.objects[key]
            inner = sum(self._count(copy, counts, depth + 1) for copy, _ in thing.copies)
            counts[key] = len(thing.triangles) + inner
        return counts[key]

    def _unfold(self, key: Key, move: np.ndarray, corners: list[np.ndarray], faces: list[np.ndarray]) -> None:
        thing = self.objects[key]
        if thing.triangles:
            points = np.array(thing.corners, dtype=np.float64).reshape(-1, 3)
            corners.append(points @ move[:3] + move[3])
            faces.append(np.array(thing.triangles, dtype=np.int64))
        for copy, inner in thing.copies:
            rotated = np.vstack([inner[:3] @ move[:3], inner[3] @ move[:3] + move[3]])
            self._unfold(copy, rotated, corners, faces)


class _ModelPart:
    """The elements of one model part of a 3MF package."""

    def __init__(self, package: _Package, path: str, is_root: bool) -> None:
        self.package, self.path, self.is_root = package, path, is_root
        self.thing = _Object()

    def start(self, name: str, attributes: dict[str, str]) -> None:
        """Take the start of an element."""
        kind = name.rpartition(" ")[2]
        if kind == "vertex":
            self.thing.corners.append(
                (float(attributes["x"]), float(attributes["y"]), float(attributes["z"]))
            )
        elif kind == "triangle":
            self.thing.triangles.append((int(attributes["v1"]), int(attributes["v2"]), int(attributes["v3"])))
        elif kind == "object":
            self.thing = self.package.objects.setdefault((self.path, attributes["id"]), _Object())
        elif kind == "component":
            self.thing.copies.append((self._target(attributes), _transform(attributes)))
        elif kind == "item" and self.is_root:
            self.package.build.append((self._target(attributes), _transform(attributes)))
        elif kind == "model" and self.is_root:
            unit = attributes.get("unit", "millimeter")
            if unit not in UNITS_3MF:
                raise ValueMistake(f"its unit `{unit}` is none of {', '.join(UNITS_3MF)}")
            self.package.unit = UNITS_3MF[unit]

    def _target(self, attributes: dict[str, str]) -> Key:
        path = next((value for key, value in attributes.items() if key.endswith(" path")), self.path)
        return path.lstrip("/").lower(), attributes["objectid"]


def _no_doctype(*_: Any) -> None:
    raise ValueMistake("declares a document type, which 3MF forbids")


def _transform(attributes: dict[str, str]) -> np.ndarray:
    """(4, 3) of a row vector's move: rows for x, y, z and the shift."""
    if "transform" not in attributes:
        return np.vstack([np.eye(3), np.zeros(3)])
    return np.array([float(number) for number in attributes["transform"].split()]).reshape(4, 3)


def read_glb(data: bytes, _: Mapping[str, bytes]) -> Written:
    """glTF in one binary file."""
    if len(data) < 20 or data[:4] != b"glTF":
        raise ValueMistake("is no glTF file: its header is missing")
    version, length = struct.unpack_from("<II", data, 4)
    if version != 2:
        raise ValueMistake(f"is glTF {version}; version 2 is read", "export it as glTF 2.0")
    if length != len(data):
        problem = f"says that it has {length:,} bytes but has {len(data):,}: it is cut off or damaged"
        raise ValueMistake(problem, "export it again")
    size, kind = struct.unpack_from("<I4s", data, 12)
    if kind != b"JSON" or 20 + size > length:
        raise ValueMistake("is damaged: its first part is not its table", "export it again")
    text = json.dumps(_bare_gltf(data[20 : 20 + size])).encode()
    text += b" " * (-len(text) % 4)
    rest = data[20 + size :]
    head = struct.pack("<4sIIII", b"glTF", 2, 20 + len(text) + len(rest), len(text), 0x4E4F534A)
    return _by_trimesh(head + text + rest, "glb", "glTF", unit=METRE)


def read_gltf(data: bytes, beside: Mapping[str, bytes]) -> Written:
    """glTF as text, with the files beside it that it names."""
    text = json.dumps(_bare_gltf(data)).encode()
    return _by_trimesh(text, "gltf", "glTF", unit=METRE, resolver=dict(beside))


def gltf_files(data: bytes) -> list[str]:
    """The files beside it that a glTF text needs, as written."""
    uris = [buffer.get("uri", "") for buffer in _table(data).get("buffers", [])]
    return [uri for uri in uris if isinstance(uri, str) and uri and not uri.startswith("data:")]


def _table(data: bytes) -> dict[str, Any]:
    try:
        table = json.loads(data)
        if not isinstance(table, dict) or not all(isinstance(b, dict) for b in table.get("buffers", [])):
            raise ValueError("no table")
    except (ValueError, RecursionError, TypeError) as error:
        raise ValueMistake(f"cannot be read as glTF: {error}") from None
    return table


def _bare_gltf(data: bytes) -> dict[str, Any]:
    """The table without pictures and movements, its claims checked."""
    table = _table(data)
    packed = [one for one in table.get("extensionsRequired", []) if "compression" in str(one)]
    if packed:
        raise ValueMistake(f"is packed by {packed[0]}, which is not read", "export it without compression")
    try:
        values = sum(int(accessor.get("count", 0)) for accessor in table.get("accessors", []))
        for mesh in table.get("meshes", []):
            for primitive in mesh["primitives"]:
                primitive.pop("material", None)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise ValueMistake(f"cannot be read as glTF: {type(error).__name__} {error}") from None
    if values > TABLE_VALUES:
        raise ValueMistake(f"claims {values:,} values; the limit is {TABLE_VALUES:,}")
    for key in ("materials", "textures", "images", "samplers", "animations", "skins", "cameras"):
        table.pop(key, None)
    return table


def _by_trimesh(
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
        _refuse_many(sum(len(mesh.faces) for _, mesh in placed))
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


def _refuse_many(triangles: int) -> None:
    if triangles > TRIANGLES:
        raise ValueMistake(f"holds {triangles:,} triangles; the limit is {TRIANGLES:,}", "simplify it")
    if triangles == 0:
        raise ValueMistake("holds no triangles")


def _not_finite() -> ValueMistake:
    return ValueMistake("holds a corner that is no finite number", "export it again")


def refuse_bad_numbers(written: Written) -> None:
    """Refuse corners that are not finite and triangles that name no corner.

    Raises:
        ValueMistake: one of them.
    """
    if not np.isfinite(written.vertices).all():
        raise _not_finite()
    faces = written.faces
    if len(faces) and (faces.min() < 0 or faces.max() >= len(written.vertices)):
        raise ValueMistake("holds a triangle that names a corner it does not have", "export it again")


Reader = Callable[[bytes, Mapping[str, bytes]], Written]
READERS: dict[str, Reader] = {
    ".stl": read_stl, ".obj": read_obj, ".ply": read_ply,
    ".3mf": read_3mf, ".glb": read_glb, ".gltf": read_gltf,
}  # fmt: skip
