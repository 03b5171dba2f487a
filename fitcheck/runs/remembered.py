"""Ways of runs kept on disk: a scene whose runs were laid before is not searched again.

A file's name is a digest of all that the search is given, and of its own sources: what is read is
what would be found now, or nothing.
"""

from __future__ import annotations

import hashlib
import json
import os
from dataclasses import asdict, fields, is_dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from fitcheck.runs.rows import world_rows
from fitcheck.world.kernels.kept import fingerprint, folders
from fitcheck.world.wishes import Flaw, LaidRun, NoWay, RunWish
from fitcheck.world.world import World

# So many scenes are kept, the last ones used.
MOST = 200
# What a search is given and does not depend on: lines in a file.
LEFT_OUT = {"line"}


def remembered(world: World) -> tuple[LaidRun, ...] | None:
    """The runs of a world as they were laid before; None if they were not."""
    for folder in folders():
        try:
            file = folder / _name(world)
            held = json.loads(file.read_text("utf-8"))
            runs = tuple(_run(wish, one) for wish, one in zip(world.wishes, held, strict=True))
            os.utime(file)
        except (OSError, ValueError, KeyError, TypeError):
            continue
        return runs
    return None


def remember(world: World, runs: tuple[LaidRun, ...]) -> None:
    """Keep how the runs of a world were laid, whole or not at all."""
    text = json.dumps([_plain(run) for run in runs])
    for folder in folders():
        try:
            folder.mkdir(parents=True, exist_ok=True)
            half = folder / f"{_name(world)}.{os.getpid()}"
            half.write_text(text, "utf-8")
            half.replace(folder / _name(world))
            _forget(folder)
            return
        except OSError:
            continue


def _forget(folder: Path) -> None:
    kept = sorted(folder.glob("ways-*.json"), key=lambda file: file.stat().st_mtime, reverse=True)
    for old in kept[MOST:]:
        old.unlink(missing_ok=True)


def _name(world: World) -> str:
    """The file for a world."""
    rows = world_rows(world)
    found = hashlib.sha256(_sources())
    cases = [(part.name, part.bounds) for part in world.parts if part.shape.compartments]
    fastened = [(contact.kind, contact.a, contact.b) for contact in world.contacts]
    trees = (rows.trees.boxes, rows.trees.links, rows.trees.corners)
    _add(found, (rows.numbers, rows.bounds, rows.body, rows.names, trees, cases, fastened, world.wishes))
    return f"ways-{found.hexdigest()[:32]}.json"


@lru_cache(maxsize=1)
def _sources() -> bytes:
    """What the search itself is."""
    found = hashlib.sha256(fingerprint("runs").encode())
    for source in sorted(Path(__file__).parent.glob("*.py")):
        found.update(source.read_bytes())
    return found.digest()


def _add(found: Any, value: Any) -> None:
    """Add a value of plain kinds, arrays and dataclasses to a digest."""
    if isinstance(value, np.ndarray):
        found.update(f"{value.dtype}{value.shape}".encode() + np.ascontiguousarray(value).tobytes())
    elif is_dataclass(value):
        _add(found, [(f.name, getattr(value, f.name)) for f in fields(value) if f.name not in LEFT_OUT])
    elif isinstance(value, (tuple, list)):
        found.update(f"({len(value)}".encode())
        for one in value:
            _add(found, one)
    elif value is None or isinstance(value, (str, int, float)):
        found.update(repr(value).encode() + b",")
    else:
        raise TypeError(f"a {type(value).__name__} has no digest")


def _plain(run: LaidRun) -> dict[str, Any]:
    """A run without what was demanded of it."""
    plain = {f.name: getattr(run, f.name) for f in fields(run) if f.name != "wish"}
    corners = None if run.corners is None else np.asarray(run.corners, float).tolist()
    why = None if run.no_way is None else asdict(run.no_way)
    return plain | {"corners": corners, "flaws": [asdict(flaw) for flaw in run.flaws], "no_way": why}


def _run(wish: RunWish, held: dict[str, Any]) -> LaidRun:
    why = held["no_way"]
    return LaidRun(
        **held
        | {
            "wish": wish,
            "corners": None if held["corners"] is None else np.array(held["corners"], float),
            "where": None if held["where"] is None else tuple(held["where"]),
            "through": tuple(held["through"]),
            "notes": tuple(held["notes"]),
            "flaws": tuple(Flaw(**flaw) for flaw in held["flaws"]),
            "no_way": None if why is None else NoWay(**why | {"parts": tuple(why["parts"])}),
        }
    )
