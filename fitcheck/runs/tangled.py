"""Ends so near each other that a run between them cannot but pass through itself."""

from __future__ import annotations

import numpy as np

from fitcheck.runs.bounds import lower_bound
from fitcheck.runs.demands import legs
from fitcheck.world.wishes import RunWish

# Places along both ends are looked at this far apart, mm.
STEP = 0.5


def tangled(wish: RunWish) -> np.ndarray | None:
    """Where (3,) a run passes through itself whatever way it takes, proved; None where that is not proved.

    A line nowhere bent tighter than R has turned by at most u / R after u mm, so after s mm it is
    within the integral of 2 sin(u / 2 R), 4 R (1 - cos(s / 2 R)), of the point straight on. Where the
    straight lines on from both ends come nearer to each other than the outside less both, the run meets
    itself there: but for one so short that the two places are less than half a turn, pi R, apart along it,
    which counts as one bend (`certify.self_apart`). The proved bound of its length rules that out.
    """
    ends, radius = legs(wish), wish.radius
    bound = lower_bound(ends.start.free, ends.start.out, ends.goal.free, -ends.goal.out, radius)
    first, second = (np.arange(-end.stub, radius, STEP) for end in (ends.start, ends.goal))
    ahead, back = (
        end.free + along[:, None] * end.out for end, along in ((ends.start, first), (ends.goal, second))
    )
    apart = np.linalg.norm(ahead[:, None] - back, axis=2)
    apart += _astray(first, radius)[:, None] + _astray(second, radius)
    apart[bound - first[:, None] - second < np.pi * radius] = np.inf
    i, j = np.unravel_index(int(apart.argmin()), apart.shape)
    return (ahead[i] + back[j]) / 2 if apart[i, j] < wish.outside else None


def _astray(along: np.ndarray, radius: float) -> np.ndarray:
    """How far from straight on a line may be after so many mm (n,); before its free end it is straight."""
    return np.asarray(4 * radius * (1 - np.cos(np.maximum(along, 0.0) / (2 * radius))))
