"""Ways of runs kept on disk: a scene whose runs were laid before is not searched again.

A file's name is a digest of all that the search is given, and of its own sources: what is read is
what would be found now, or nothing.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, fields
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from fitcheck.runs.rows import world_rows
from fitcheck.world import disk
from fitcheck.world.digest import add
from fitcheck.world.kernels.kept import fingerprint
from fitcheck.world.wishes import Flaw, LaidRun, NoWay, RunWish
from fitcheck.world.world import World

# So many scenes are kept, the last ones used.
MOST = 200


def remembered(world: World) -> tuple[LaidRun, ...] | None:
    """The runs of a world as they were laid before; None if they were not."""
    held = disk.read(_name(world))
    if held is None:
        return None
    try:
        return tuple(_run(wish, one) for wish, one in zip(world.wishes, json.loads(held), strict=True))
    except (ValueError, KeyError, TypeError):
        return None


def remember(world: World, runs: tuple[LaidRun, ...]) -> None:
    """Keep how the runs of a world were laid, whole or not at all."""
    disk.write(_name(world), json.dumps([_plain(run) for run in runs]), "ways", MOST)


def _name(world: World) -> str:
    """The file for a world."""
    rows = world_rows(world)
    found = hashlib.sha256(_sources())
    cases = [(part.name, part.bounds) for part in world.parts if part.shape.compartments]
    fastened = [(contact.kind, contact.a, contact.b) for contact in world.contacts]
    trees = (rows.trees.boxes, rows.trees.links, rows.trees.corners)
    add(found, (rows.numbers, rows.bounds, rows.body, rows.names, trees, cases, fastened, world.wishes))
    return f"ways-{found.hexdigest()[:32]}.json"


@lru_cache(maxsize=1)
def _sources() -> bytes:
    """What the search itself is."""
    found = hashlib.sha256(fingerprint("runs").encode())
    for source in sorted(Path(__file__).parent.glob("*.py")):
        found.update(source.read_bytes())
    return found.digest()


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
