"""Which boxes along the axes may be met on the way, and from where on."""

from __future__ import annotations

import numpy as np

from fitcheck.world.kernels.native import bare_entry
from fitcheck.world.kernels.vectors import Floats, Ints


@bare_entry
def met_on_the_way(
    boxes: Floats,
    movers: Ints,
    stayers: Ints,
    way: Floats,
    limit: float,
    contact: float,
    pairs: Ints,
    enters: Floats,
) -> int:
    """Pairs of boxes of which the first, moved, comes to overlap the second by more than a contact.

    Along each axis a move is within reach of the other from where it enters to where it
    leaves; what is left before the start, or entered beyond the limit, is passed.

    Args:
        boxes: (n, 2, 3) low and high corners, mm.
        movers, stayers: rows of boxes.
        way: (3,) unit.
        limit: mm.
        contact: mm; boxes that overlap by no more pass each other.
        pairs: (k, 2) filled with rows, mover by mover; room for all.
        enters: (k,) filled with where each pair begins to overlap, mm; below 0 before the start.

    Returns:
        How many pairs there are.
    """
    count = 0
    for a in movers:
        for b in stayers:
            enter, leave = -np.inf, np.inf
            for k in range(3):
                before = boxes[b, 0, k] - boxes[a, 1, k] + contact
                after = boxes[b, 1, k] - boxes[a, 0, k] - contact
                if way[k] == 0.0:
                    if before >= 0.0 or after <= 0.0:
                        leave = -np.inf
                else:
                    x, y = before / way[k], after / way[k]
                    enter = max(enter, min(x, y))
                    leave = min(leave, max(x, y))
            if enter < leave and leave > 0.0 and enter <= limit + contact:
                pairs[count, 0], pairs[count, 1] = a, b
                enters[count] = enter
                count += 1
    return count
