"""Who moves, who stays, and who may touch whom on the way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitcheck.world.bodies import Bodies

Pair = tuple[int, int]


@dataclass(frozen=True, eq=False)
class Joint:
    """A port of a moving part that is joined to one of a part that stays, or the other way round.

    `pair` (mover, stayer); `leaves` (3,) unit: the only way the mover can be drawn out of it; `depth` mm
    after which it is out.
    """

    pair: Pair
    leaves: np.ndarray
    depth: float


@dataclass(frozen=True, eq=False)
class Pad:
    """A soft contact: `pair` (mover, stayer), and (3,) unit from the mover to the stayer."""

    pair: Pair
    normal: np.ndarray


@dataclass(frozen=True, eq=False)
class Moving:
    """One part to be taken out, made ready.

    Args:
        solids: all bodies of the world.
        movers: indices of the bodies that move.
        stayers: indices of those that may be run into.
        guides: pairs (mover, stayer) that may touch all the way, but not press into each other.
        joints: pairs that are plugged or screwed together.
        pads: pairs that press into each other as they stand, as they may.
        loosened: runs that are taken off one of their fittings or plugs first.
        parts: the scene's own parts that move, in scene order.
    """

    solids: Bodies
    movers: tuple[int, ...]
    stayers: tuple[int, ...]
    guides: frozenset[Pair]
    joints: tuple[Joint, ...]
    pads: tuple[Pad, ...]
    loosened: tuple[str, ...]
    parts: tuple[str, ...]

    @property
    def excused(self) -> frozenset[Pair]:
        """Pairs that lie in each other as they stand, and may."""
        return frozenset([joint.pair for joint in self.joints] + [pad.pair for pad in self.pads])
