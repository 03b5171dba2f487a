"""A cloth split only where a colour would be wrong without: small enough to be sent, true to the pictures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fitcheck.outputs.pictures.surfaces import (
    ROUNDS,
    Cloth,
    Measure,
    may_change,
    split_triangles,
    triangle_edges,
    with_middles,
)

# A split is kept where it moves the drawn distance by more, mm: a third of the narrowest demand in use.
OFF = 0.3
# Shorter edges are split only where the demand may be crossed, mm.
SHORT = 6.0
# An edge this long is split in any case, mm: both its ends and its middle may miss what stands beside it.
LONG = 40.0


def sparsely_refined(plain: Cloth, measure: Measure, demand: float, far: float) -> Cloth:
    """As `refined`, but a middle whose distance is what its edge's ends say (within OFF) is left out.

    Over a flat face beside another, which pictures split into squares of 3 mm, nothing is split: the page
    has a fifth of the pictures' triangles. Beyond `far` and deep inside, how far makes no difference.
    """
    now = replace(plain, values=measure(plain.points, plain.owner))
    measured = np.isfinite(now.values[now.triangles]).all(axis=1)
    done, active = [now.triangles[~measured]], now.triangles[measured]
    for _ in range(ROUNDS):
        edges, of_triangle = triangle_edges(active)
        asked = np.flatnonzero(may_change(now, edges, demand, far, SHORT))
        tried = with_middles(now, edges[asked], measure)
        wrong = _is_wrong(tried, edges[asked], len(now.points), far)
        marked = np.zeros(len(edges), bool)
        marked[asked[wrong]] = True
        touched = marked[of_triangle].any(axis=1)
        done.append(active[~touched])
        if not touched.any():
            break
        middle_of_edge = np.where(marked, len(now.points) + np.cumsum(marked) - 1, -1)
        active = split_triangles(active[touched], middle_of_edge[of_triangle[touched]])
        kept = np.concatenate([np.ones(len(now.points), bool), wrong])
        now = Cloth(
            tried.points[kept], tried.normals[kept], now.triangles, tried.owner[kept], tried.values[kept]
        )
    else:
        done.append(active)
    return replace(now, triangles=np.concatenate(done))


def _is_wrong(tried: Cloth, edges: np.ndarray, first: int, far: float) -> np.ndarray:
    """(k,) bool: edges (k, 2) whose middles, the points from `first` on, say else than their ends."""
    a, b = edges.T
    ends = np.clip(tried.values[a], -OFF, far + OFF) + np.clip(tried.values[b], -OFF, far + OFF)
    off = np.abs(np.clip(tried.values[first:], -OFF, far + OFF) - ends / 2)
    length = np.linalg.norm(tried.points[a] - tried.points[b], axis=1)
    return np.asarray((off > OFF) | (length > LONG))
