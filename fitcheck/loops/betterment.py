"""The best single place for one more drain or vent."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from fitcheck.loops.drainage import Drained, most_left
from fitcheck.loops.filling import Filled, fill
from fitcheck.loops.places import DROP, Place
from fitcheck.loops.waterway import UP, Waterway

# Of so many places, the largest, one more opening is tried.
TRIED = 4


@dataclass(frozen=True, eq=False)
class Better:
    """One more opening, and what it gains.

    Args:
        node: where, and what kind: `drain` or `vent`.
        name: of the port there, empty on a run.
        owners: of the bores there.
        free: it is a port that is only plugged; elsewhere it takes a tee.
        gain: ml less, at most.
    """

    node: int
    kind: str
    name: str
    owners: tuple[str, ...]
    free: bool
    gain: float


def better_drained(
    water: Waterway, drains: Collection[int], vents: Collection[int], now: Drained, up: Sequence[float] = UP
) -> Better | None:
    """The drain or vent more that leaves least behind; None where none gains anything.

    Tried are the lowest tube and port of each large place as a drain, and the highest as a vent.
    """
    found: list[Better] = []
    for place in now.places[:TRIED]:
        for node in _ends(water, place, up, lowest=True):
            then = most_left(water, {*drains, node}, vents, up)
            found.append(_better(water, node, "drain", place, now.most - then))
        for node in _ends(water, place, up, lowest=False):
            then = most_left(water, drains, {*vents, node}, up)
            found.append(_better(water, node, "vent", place, now.most - then))
    return _best(found)


def better_filled(
    water: Waterway, vents: Collection[int], now: Filled, up: Sequence[float] = UP
) -> Better | None:
    """The vent more that leaves least air behind; None where none gains anything."""
    found: list[Better] = []
    for place in now.places[:TRIED]:
        for node in _ends(water, place, up, lowest=False):
            then = fill(water, {*vents, node}, up)
            found.append(_better(water, node, "vent", place, now.air - then.air))
    return _best(found)


def _ends(water: Waterway, place: Place, up: Sequence[float], lowest: bool) -> list[int]:
    """The lowest or highest of a place's tubes, of its ports in use and of its free ports."""
    heights = water.heights(up) if lowest else water.heights([-c for c in up])
    used = {node for node in place.nodes if water.names[node]}
    tubes: set[int] = set()
    free: set[int] = set()
    for pipe in water.pipes:
        for here, there in ((pipe.a, pipe.b), (pipe.b, pipe.a)):
            if here not in place.nodes:
                continue
            if pipe.tube:
                tubes.add(here)
            elif water.names[there]:
                (used if pipe.area > 0 else free).add(there)
    ends = [min(some, key=lambda node: (float(heights[node]), node)) for some in (tubes, used, free) if some]
    return list(dict.fromkeys(ends))


def _better(water: Waterway, node: int, kind: str, place: Place, gain: float) -> Better:
    here = [pipe for pipe in water.pipes if node in (pipe.a, pipe.b)]
    owners = tuple(dict.fromkeys(pipe.owner for pipe in here)) or place.owners
    free = bool(water.names[node]) and all(pipe.area == 0 for pipe in here)
    return Better(node, kind, water.names[node], owners, free, gain)


def _best(found: Sequence[Better]) -> Better | None:
    """The largest gain; of equal ones a free port first, then a port, then a point of a run."""
    worth = [one for one in found if one.gain > DROP]
    return min(
        worth,
        key=lambda one: (-round(one.gain, 6), not one.free, not one.name, one.kind, one.node),
        default=None,
    )
