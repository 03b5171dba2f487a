"""Which files a scene is made of, and have they changed?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

from fitcheck.scene.text import Document

# Endings of files that hold a mesh, or what one is made of.
MESHES = (".stl", ".obj", ".ply", ".3mf", ".gltf", ".glb", ".step", ".stp")
# Looked at so often, s: an edit is seen well within a second.
EVERY = 0.15

Signature = Mapping[Path, tuple[int, int, int]]


def is_mesh(path: Path) -> bool:
    """Whether a file holds a mesh, by its name."""
    return path.suffix.lower() in MESHES


def files_of(path: Path, document: Document | None) -> Iterator[Path]:
    """The scene, and in its own model folders every model and mesh file; these may come and go."""
    yield path
    folders = document.data.get("model_folders") if document is not None else None
    for name in folders if isinstance(folders, list) else ():
        folder = path.parent / str(name)
        if folder.is_dir() and folder.resolve().is_relative_to(path.parent.resolve()):
            yield from (one for one in sorted(folder.iterdir()) if one.suffix == ".yaml" or is_mesh(one))


def signature(path: Path, document: Document | None) -> Signature:
    """What tells a changed file: its identity, time and size; a file that is missing has none."""
    found = {}
    for one in files_of(path, document):
        try:
            about = one.stat()
        except OSError:
            continue
        found[one] = (about.st_ino, about.st_mtime_ns, about.st_size)
    return found
