"""glTF files as they are written: in one binary file, or as text with files beside it."""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping
from typing import Any

from fitcheck.parts.mesh_parts import keep_only
from fitcheck.parts.mesh_written import TRIANGLES, Written, by_trimesh
from fitcheck.scene.mistakes import ValueMistake

# Values in all tables of a file, which may claim any size.
TABLE_VALUES = 4 * 3 * TRIANGLES
# ISO/IEC 12113 (glTF 2.0), chapter 3.4: all lengths are metres.
METRE = 1000.0


def read_glb(data: bytes, _: Mapping[str, bytes], part: str | None = None) -> Written:
    """glTF in one binary file; all of it, or one named part."""
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
    text = json.dumps(_bare_gltf(data[20 : 20 + size], part)).encode()
    text += b" " * (-len(text) % 4)
    rest = data[20 + size :]
    head = struct.pack("<4sIIII", b"glTF", 2, 20 + len(text) + len(rest), len(text), 0x4E4F534A)
    return by_trimesh(head + text + rest, "glb", "glTF", unit=METRE)


def read_gltf(data: bytes, beside: Mapping[str, bytes], part: str | None = None) -> Written:
    """glTF as text, with the files beside it that it names; all of it, or one named part."""
    text = json.dumps(_bare_gltf(data, part)).encode()
    return by_trimesh(text, "gltf", "glTF", unit=METRE, resolver=dict(beside))


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


def _bare_gltf(data: bytes, part: str | None) -> dict[str, Any]:
    """The table without pictures and movements, its claims checked; of one part if that is named."""
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
    if part is not None:
        keep_only(table, part)
    return table
