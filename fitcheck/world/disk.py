"""Small files kept between runs of the program, where compiled code is kept: whole, or not there at all."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from fitcheck.world.kernels.kept import folders


def read(name: str) -> str | None:
    """What a file holds; None where there is none. It counts as used now."""
    for folder in folders():
        file = folder / name
        try:
            held = file.read_text("utf-8")
        except (OSError, ValueError):
            continue
        with contextlib.suppress(OSError):
            os.utime(file)
        return held
    return None


def write(name: str, text: str, kind: str, most: int) -> None:
    """Keep a file where it can be kept; of those that begin like `kind` only the last `most` used."""
    for folder in folders():
        try:
            folder.mkdir(parents=True, exist_ok=True)
            half = folder / f"{name}.{os.getpid()}"
            half.write_text(text, "utf-8")
            half.replace(folder / name)
            _forget(folder, kind, most)
            return
        except OSError:
            continue


def _forget(folder: Path, kind: str, most: int) -> None:
    kept = list(folder.glob(f"{kind}-*.json"))
    if len(kept) > most:
        kept.sort(key=lambda file: file.stat().st_mtime, reverse=True)
        for old in kept[most:]:
            old.unlink(missing_ok=True)
