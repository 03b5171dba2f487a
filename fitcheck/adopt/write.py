"""A mesh file to a model file beside it: read, proposed, tried, written; nothing is overwritten."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from pathlib import Path

from fitcheck.adopt.model_text import Adopted, adopted
from fitcheck.parts.build import build_shape, evaluate_model
from fitcheck.parts.meshes import UNITS, USUAL, Detail, load_mesh
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.scene.names import RESERVED
from fitcheck.scene.read import Model
from fitcheck.scene.schema import check_model
from fitcheck.scene.text import read_document

NAME = re.compile(r"[a-z][a-z0-9_]*")
# Formats that do not say their unit.
NO_UNIT = (".stl", ".obj", ".ply")


@dataclass(frozen=True)
class Wanted:
    """What is asked: the mesh file, its unit, one part of it, the model's name and file."""

    mesh: Path
    unit: str | None = None
    part: str | None = None
    name: str | None = None
    out: Path | None = None


def adopt(wanted: Wanted) -> tuple[Path, Adopted]:
    """Write the model file.

    Returns:
        Where it is, and what it proposes.

    Raises:
        ValueMistake: the mesh cannot be read; it does not say its unit; the name or place will not do.
        OSError: the file is there already (FileExistsError), or its folder cannot be written.
    """
    out, name = _place(wanted)
    folder = out.parent
    suffix = wanted.mesh.suffix.lower()
    if wanted.unit is not None and wanted.unit not in UNITS:
        raise ValueMistake(f"--unit {wanted.unit}: there is no such unit", f"write one of {', '.join(UNITS)}")
    if suffix in NO_UNIT and wanted.unit is None:
        raise _which_unit(wanted.mesh)
    for given in (wanted.mesh.name, wanted.part or ""):
        # It goes into remarks, where a new line would end the remark.
        if not given.isprintable():
            raise ValueMistake("a name with characters that cannot be printed is not written", "rename it")
    piece = load_mesh(wanted.mesh, wanted.unit, folder, Detail(part=wanted.part))
    file = wanted.mesh.resolve().relative_to(folder.resolve()).as_posix()
    keys = {"file": _quoted(file)}
    if wanted.unit is not None:
        keys["unit"] = wanted.unit
    if wanted.part is not None:
        keys["part"] = _quoted(wanted.part)
    made = adopted(name, keys, piece)
    # Tried before it is written: what would not load is our own mistake, and no file.
    document = read_document(made.text, str(out))
    model = Model(name, check_model(document), document, folder)
    build_shape(model, evaluate_model(model, {}))
    with out.open("x", encoding="utf-8") as stream:
        stream.write(made.text)
    return out, made


def _place(wanted: Wanted) -> tuple[Path, str]:
    """The file to be written, and the model's name: they are one word."""
    if wanted.out is not None and wanted.out.suffix != ".yaml":
        raise ValueMistake(f"--out {wanted.out}: a model file ends in .yaml", f"write {wanted.out.stem}.yaml")
    name = wanted.name or (wanted.out.stem if wanted.out is not None else _word(wanted.mesh.stem))
    if not NAME.fullmatch(name) or name in RESERVED:
        raise ValueMistake(
            f"`{name}` is no name of a model: small letters, digits and _", f"write --name {_word(name)}"
        )
    out = wanted.out if wanted.out is not None else wanted.mesh.with_name(f"{name}.yaml")
    if out.stem != name:
        problem = f"--name {name}: the file {out.name} must be named as its model"
        raise ValueMistake(problem, f"write --out {name}.yaml")
    if not wanted.mesh.resolve().is_relative_to(out.parent.resolve()):
        problem = f"--out {out}: the mesh must lie in the folder of its model"
        raise ValueMistake(problem, f"write --out {wanted.mesh.parent / out.name}")
    if out.exists():
        raise FileExistsError(str(out))
    return out, name


def _word(text: str) -> str:
    """The nearest name to a text."""
    word = re.sub(r"[^a-z0-9]+", "_", text.lower()).strip("_")
    word = word if word[:1].isalpha() else f"part_{word}".rstrip("_")
    return f"my_{word}" if word in RESERVED else word


def _which_unit(mesh: Path) -> ValueMistake:
    """What each unit would make of the mesh; first those that bring it near a usual part's size."""
    size = 2 * load_mesh(mesh, "mm", mesh.parent).half
    longest = float(size.max())
    said = []
    for unit in sorted(UNITS, key=lambda unit: abs(math.log(longest * UNITS[unit] / USUAL))):
        sides = " x ".join(f"{value * UNITS[unit]:.4g}" for value in size)
        said.append(f"--unit {unit} ({sides} mm)")
    kind = mesh.suffix.removeprefix(".").upper()
    return ValueMistake(f"{kind} does not say its unit", f"the likeliest first: {', '.join(said)}")


def _quoted(text: str) -> str:
    """A text as YAML takes it, whatever is in it."""
    return "'" + text.replace("'", "''") + "'" if not re.fullmatch(r"[A-Za-z][\w./-]*", text) else text
