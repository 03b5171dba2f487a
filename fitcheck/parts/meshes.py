"""Mesh files as solids: bounded, in millimetres, mended where that helps, warned about."""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass, replace
from pathlib import Path
from urllib.parse import unquote

import numpy as np

from fitcheck.parts.mesh_files import READERS, WITH_PARTS
from fitcheck.parts.mesh_gltf import gltf_files
from fitcheck.parts.mesh_repair import mended
from fitcheck.parts.mesh_simplify import simplified
from fitcheck.parts.mesh_step import COARSEST, FACET, read_step
from fitcheck.parts.mesh_written import Written, refuse_bad_numbers
from fitcheck.parts.pieces import frozen, new_mesh
from fitcheck.parts.solids import Kind, Piece
from fitcheck.scene.mistakes import ValueMistake, nearest

# Bytes of a mesh file and the files beside it: 4 million triangles of binary STL.
FILE_BYTES = 200 << 20
UNITS = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}
# Sizes that a part of a machine hardly has, mm: below or above, the unit is likely wrong.
SMALL, LARGE = 3.0, 3000.0
# The size of a usual part, mm, in the middle of a screw and a case on a scale of ratios.
USUAL = 120.0
# Files kept as pieces in one process, by content: a batch or live view asks for them again.
KEPT = 32
_kept: dict[tuple[str, str, str | None, Detail], Piece] = {}
# STEP is read by its own module: its facets are ours to choose.
STEP = (".step", ".stp")


@dataclass(frozen=True)
class Detail:
    """What is wanted of a file besides its unit.

    Args:
        facet: how far facets may lie from the true surface, mm: STEP is cut so; of other files it is what
            their export was set to. None: 0.02 for STEP, not known for others.
        part: the one named part that is wanted of STEP or glTF.
        simplify: by how much the surface may move for fewer triangles, mm; None: not at all.
    """

    facet: float | None = None
    part: str | None = None
    simplify: float | None = None


def load_mesh(path: Path, unit: str | None, folder: Path, detail: Detail = Detail()) -> Piece:
    """A mesh file as a piece in the frame of its part, in mm, along the file's own axes.

    STL, OBJ and PLY need a unit. 3MF and glTF say theirs (glTF is in metres); one that is
    given counts instead. STEP says its own, always. No format's axes are turned: glTF's +y stays +y.

    Args:
        path: of the file.
        unit: `mm`, `cm`, `m`, `in` or None.
        folder: which the file may not leave.
        detail: its facets, one part of it, fewer triangles.

    Returns:
        A mesh piece; `mesh.closed` says whether inside and depth are defined, `mesh.error` how far it may lie
        from the true surface as far as that is known, `mesh.repairs` what was mended, what cannot be, and a
        size that looks wrong.

    Raises:
        ValueMistake: no such file, outside the folder, over a limit, empty, cut off, not
            finite, no unit, no such part.
    """
    suffix = path.suffix.lower()
    if suffix not in READERS and suffix not in STEP:
        known = ", ".join(ending.removeprefix(".").upper() for ending in (*READERS, *STEP))
        raise ValueMistake(f"{path.name} is none of the mesh files read here: {known}", "export it as STL")
    if suffix in STEP and unit is not None:
        raise ValueMistake(f"unit: {unit}: STEP says its own unit", "leave unit out")
    data = _read(path, folder)
    beside: dict[str, bytes] = {}
    if suffix == ".gltf":
        size = len(data)
        for name in gltf_files(data):
            beside[name] = _read(path.parent / unquote(name), folder, size)
            size += len(beside[name])
    digest = hashlib.blake2b(data, digest_size=16)
    for extra in beside.values():
        digest.update(extra)
    key = (digest.hexdigest(), suffix, unit, detail)
    piece = _kept.get(key)
    if piece is None:
        piece = _piece(_written(suffix, data, beside, detail), suffix, unit, detail)
        if len(_kept) >= KEPT:
            _kept.pop(next(iter(_kept)))
        _kept[key] = piece
    return piece


def _read(path: Path, folder: Path, taken: int = 0) -> bytes:
    """The bytes of a file inside the folder, its size checked first."""
    root = folder.resolve()
    try:
        real = path.resolve()
        if not real.is_relative_to(root):
            raise ValueMistake(
                f"{path.name} lies outside the folder of the file that names it", "copy it there"
            )
        if not real.exists():
            near = nearest(path.name, [one.name for one in path.parent.iterdir()])
            raise ValueMistake(f"there is no file {path.name}", f"write {near}" if near else "")
        if not real.is_file():
            raise ValueMistake(f"{path.name} is not a file")
        size = real.stat().st_size + taken
        if size > FILE_BYTES:
            raise ValueMistake(f"{path.name} has {size:,} bytes; the limit is {FILE_BYTES:,}", "simplify it")
        data = real.read_bytes()
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise ValueMistake(f"{path.name} cannot be read: {why}") from None
    if not data:
        raise ValueMistake(f"{path.name} is empty")
    return data


def _written(suffix: str, data: bytes, beside: dict[str, bytes], detail: Detail) -> Written:
    if suffix in STEP:
        return read_step(data, FACET if detail.facet is None else detail.facet, detail.part)
    if detail.facet is not None and not 0 <= detail.facet <= COARSEST:
        raise ValueMistake(f"facet {detail.facet:g} mm is outside 0 to {COARSEST:g} mm")
    if detail.part is None:
        written = READERS[suffix](data, beside)
    elif suffix in WITH_PARTS:
        written = WITH_PARTS[suffix](data, beside, detail.part)
    else:
        kind = suffix.removeprefix(".").upper()
        raise ValueMistake(
            f"part: {detail.part}: {kind} names no parts, only STEP and glTF do", "leave part out"
        )
    return replace(written, error=detail.facet or 0.0)


def _piece(written: Written, suffix: str, unit: str | None, detail: Detail) -> Piece:
    refuse_bad_numbers(written)
    scale, said = _scale(written, suffix, unit)
    corners = written.vertices * scale
    if np.abs(corners).max() > 1000 * LARGE:
        raise ValueMistake(
            f"reaches {np.abs(corners).max():,.4g} mm far; the limit is {1000 * LARGE:,.0f} mm"
        )
    vertices, faces, closed, mends = mended(corners, written.faces, written.soup)
    if not len(faces):
        raise ValueMistake("holds no triangle with an area")
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    said += _size_warning(float((high - low).max()), scale)
    error = written.error
    if detail.simplify is not None:
        vertices, faces, moved, done = simplified(vertices, faces, closed, detail.simplify)
        error += moved
        said.append(done)
    if error:
        said.append(f"its facets lie within {error:.4g} mm of the true surface; clearances count that")
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    centre = (low + high) / 2
    mesh = new_mesh(vertices - centre, faces, closed, error, (*written.said, *mends, *said))
    return Piece(Kind.MESH, frozen((high - low) / 2), frozen(np.eye(3)), frozen(centre), mesh)


def _scale(written: Written, suffix: str, unit: str | None) -> tuple[float, list[str]]:
    """mm a unit of the file's numbers, and what is odd about it."""
    kind = suffix.removeprefix(".").upper()
    if unit is None:
        if written.unit is None:
            raise ValueMistake(f"{kind} does not say its unit", f"add one of unit: {', unit: '.join(UNITS)}")
        return written.unit, []
    said = []
    if written.unit is not None and written.unit != UNITS[unit]:
        said.append(f"read in {unit} as demanded; the file itself says {written.unit:g} mm a unit")
    return UNITS[unit], said


def _size_warning(size: float, scale: float) -> list[str]:
    """What a size that looks wrong may mean: the unit that brings it nearest to a usual part."""
    if SMALL <= size <= LARGE:
        return []

    def oddity(unit: str) -> float:
        return abs(math.log(size / scale * UNITS[unit] / USUAL))

    likely = min(UNITS, key=oddity)
    problem = f"its longest side is {size:.4g} mm"
    if UNITS[likely] == scale:
        return [f"{problem}: look whether the unit is right"]
    ratio = UNITS[likely] / scale
    factor = f"{ratio:g} times as large" if ratio > 1 else f"{1 / ratio:g} times as small"
    return [f"{problem}: perhaps the unit is {likely} ({factor})"]
