"""A new folder with files: all of them, or none."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterable
from pathlib import Path

from fitcheck.scene.mistakes import ValueMistake


def check_folder(folder: Path) -> None:
    """Look whether a folder can be made, before anything is worked out for it.

    Raises:
        ValueMistake: it is there and holds something, or is a file, or where it would be nothing can be
            written.
    """
    if folder.is_dir():
        if any(folder.iterdir()):
            raise ValueMistake("is there already, with files in it", "name another folder")
    elif folder.exists() or folder.is_symlink():
        raise ValueMistake("is a file", "name a folder")
    parent = folder if folder.is_dir() else folder.parent
    if not parent.is_dir():
        raise ValueMistake(f"there is no folder {parent} to make it in", "make that first")
    if not os.access(parent, os.W_OK | os.X_OK):
        raise ValueMistake(f"nothing can be written in {parent}", "name another folder")


def write_folder(folder: Path, files: Iterable[tuple[str, bytes]]) -> list[Path]:
    """Write files (by their names, which may have one folder in front) into a new or empty folder.

    They take shape beside it, and come there together when the last is done: what is stopped halfway leaves
    nothing.

    Raises:
        ValueMistake: as `check_folder`; a name that would leave the folder.
        OSError: the disk says no.
    """
    check_folder(folder)
    rising = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    names = []
    try:
        for name, content in files:
            parts = Path(name).parts
            if len(parts) > 2 or Path(name).is_absolute() or ".." in parts:
                raise ValueMistake(f"the file {name!r} would leave it")
            place = rising / name
            place.parent.mkdir(exist_ok=True)
            place.write_bytes(content)
            names.append(name)
        rising.chmod(0o777 & ~_umask())
        if folder.is_dir():
            folder.rmdir()
        rising.rename(folder)
    except BaseException:
        shutil.rmtree(rising, ignore_errors=True)
        raise
    return [folder / name for name in names]


def _umask() -> int:
    """What new files are not allowed to others; a temporary folder is closed to them at first."""
    mask = os.umask(0)
    os.umask(mask)
    return mask
