"""Which corners of a mesh hang together: sets joined face by face.

Tarjan, Efficiency of a good but not linear set union algorithm, J. ACM 22, 1975, with
paths halved.
"""

from __future__ import annotations

from fitcheck.world.kernels.native import bare_entry, native
from fitcheck.world.kernels.vectors import Ints


@native
def least_of(label: Ints, k: int) -> int:
    """The corner that stands for the set of corner k: its least."""
    while label[k] != k:
        label[k] = label[label[k]]
        k = label[k]
    return k


@bare_entry
def join_corners(faces: Ints, label: Ints) -> None:
    """Fill label (n,), given as 0 to n - 1, with the least corner that each hangs together with.

    Args:
        faces: (m, 3) corners.
    """
    for k in range(len(faces)):
        for m in range(1, 3):
            a, b = least_of(label, faces[k, 0]), least_of(label, faces[k, m])
            label[max(a, b)] = min(a, b)
    for k in range(len(label)):
        label[k] = least_of(label, k)
