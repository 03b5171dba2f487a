"""Shapes as bytes: few, since a page is sent by mail and opened on a phone."""

from __future__ import annotations

import base64
import json
import zlib
from collections.abc import Sequence
from typing import Any
from weakref import WeakKeyDictionary

import numpy as np

from fitcheck.outputs.page.shapes import Drawn
from fitcheck.outputs.pictures.tessellate import Patch

# Coordinates are counted in steps of the shape's largest side over this: 0.01 mm of a case of 660 mm.
STEPS = 65535
# Middles of edges often lie halfway between two steps: a hair more, and the faces beside one agree.
HALF = 0.5 + 1e-4
# Distances are counted in hundredths of a millimetre, from overlaps to far; this one is no distance.
HUNDREDTH, DEEPEST, NOTHING_NEAR = 100, -300.0, 32767


_records: WeakKeyDictionary[Patch, dict[str, Any]] = WeakKeyDictionary()


def record(drawn: Drawn) -> dict[str, Any]:
    """How many points, triangles and lines a shape has, and how its coordinates are counted."""
    found = _records.get(drawn.patch)
    if found is None:
        found = _records[drawn.patch] = _record(drawn.patch)
    return found


def _record(patch: Patch) -> dict[str, Any]:
    low, step = _grid(patch)
    return {
        "points": len(patch.points),
        "triangles": len(patch.triangles),
        "edges": len(patch.edges),
        "bends": len(patch.bends),
        "low": [round(float(x), 5) for x in low],
        "step": step,
    }


def packed(solids: Sequence[Drawn], level: int = 9) -> bytes:
    """All shapes, deflated: channel by channel, each for all shapes in turn (`unpack` in src/data.js)."""
    patches = [solid.patch for solid in solids]
    points = [_counted(patch, patch.points) for patch in patches]
    edges = [_counted(patch, patch.edges).reshape(-1, 6) for patch in patches]
    bends = [_counted(patch, patch.bends).reshape(-1, 6) for patch in patches]
    normals = [_direction(patch.normals) for patch in patches]
    sides = [_direction(patch.bend_normals).reshape(-1, 6) for patch in patches]
    channels = [
        *(np.diff(patch.triangles.astype("<i4").ravel(), prepend=0).astype("<i4") for patch in patches),
        *_planes(points, 3),
        *(distances(solid.values) for solid in solids),
        *_planes(edges, 6),
        *_planes(bends, 6),
        *_planes(normals, 3),
        *_planes(sides, 6),
    ]
    return zlib.compress(b"".join(channel.tobytes() for channel in channels), level)


def distances(values: np.ndarray) -> np.ndarray:
    """(n,) int16 of distances (n,), mm."""
    held = np.clip(values, DEEPEST, -DEEPEST) * HUNDREDTH
    return np.asarray(np.where(np.isfinite(values), np.round(held), NOTHING_NEAR).astype("<i2"))


def _grid(patch: Patch) -> tuple[np.ndarray, float]:
    every = np.concatenate([patch.points, patch.edges.reshape(-1, 3), patch.bends.reshape(-1, 3)])
    low = np.round(every.min(axis=0), 5)
    return low, max(float((every.max(axis=0) - low).max()), 1e-3) / STEPS


def _counted(patch: Patch, points: np.ndarray) -> np.ndarray:
    low, step = _grid(patch)
    return np.asarray(np.clip(np.floor((points - low) / step + HALF), 0, STEPS).astype("<u2"))


def _direction(normals: np.ndarray) -> np.ndarray:
    return np.round(normals * 127).astype(np.int8)


def _planes(rows: Sequence[np.ndarray], width: int) -> list[np.ndarray]:
    joined = np.concatenate(rows) if rows else np.zeros((0, width))
    return [np.ascontiguousarray(joined[:, k]) for k in range(width)]


def text64(data: bytes) -> str:
    """Bytes as text that may stand in a page."""
    return base64.b64encode(data).decode("ascii")


def json_in_html(data: Any) -> str:
    """Plain data as text that ends no element of a page, whatever is in it."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
