"""Where eyes are: one place, or a box of places of which the one that sees most or least is sought."""

from __future__ import annotations

from collections.abc import Callable
from itertools import product

import numpy as np

# Times that the step between places tried is halved about the best one.
HALVINGS = 3


def places(box: np.ndarray) -> np.ndarray:
    """(n, 3) eyes spread over a box (2, 3): its corners, the middles of edges and faces, its middle."""
    low, high = box
    ways = [[a] if a == b else [a, (a + b) / 2, b] for a, b in zip(low.tolist(), high.tolist(), strict=True)]
    return np.array(list(product(*ways)))


def worst(box: np.ndarray, measure: Callable[[np.ndarray], float]) -> tuple[np.ndarray, float]:
    """The eye of a box (2, 3) at which a measure is highest, as far as it was found, and the measure there.

    All `places` are tried, then places about the best of them, nearer and nearer.
    """
    tried = places(box)
    found = [measure(eye) for eye in tried]
    at = int(np.argmax(found))
    best, most = tried[at], found[at]
    step = (box[1] - box[0]) / 4
    for _ in range(HALVINGS if len(tried) > 1 else 0):
        for way in np.concatenate([np.diag(step), -np.diag(step)]):
            eye = np.clip(best + way, box[0], box[1])
            value = measure(eye)
            if value > most:
                best, most = eye, value
        step = step / 2
    return best, most
