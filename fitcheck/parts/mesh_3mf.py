"""3MF packages as they are written.

Read here, since libraries pass over a count that lies, and unfold nested copies without a bound.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from xml.parsers import expat

import numpy as np

from fitcheck.parts.mesh_written import Written, refuse_many
from fitcheck.scene.mistakes import ValueMistake

# What a packed 3MF file may unpack to, bytes: 1.4 MB were seen to become 3 GB.
UNPACKED = 256 << 20
# Parts of a package, and copies inside copies.
PACKED_PARTS = 1_000
NESTED_COPIES = 16
# ISO/IEC 25422 (3MF core), chapter 3.4: the units a model part may name; mm.
UNITS_3MF = {
    "micron": 0.001, "millimeter": 1.0, "centimeter": 10.0, "inch": 25.4, "foot": 304.8, "meter": 1000.0,
}  # fmt: skip


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
        refuse_many(total)
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
