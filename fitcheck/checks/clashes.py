"""Clashes: which solids of different parts are deeper in each other than the scene permits.

Asked once for a world; `interference` reports them, `clearance` leaves their parts out.
"""

from __future__ import annotations

from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np

from fitcheck.world.bodies import Bodies, bodies, near
from fitcheck.world.contacts import Beyond, allowed, beyond_zone
from fitcheck.world.engine import CONTACT, Measured, measure
from fitcheck.world.world import World


@dataclass(frozen=True, eq=False)
class Clash:
    """Two bodies that interfere, or may.

    Args:
        pair: their indices, the lower first.
        measured: what the engine says of them.
        permitted: how deep the scene lets them press into each other, mm.
        beyond: for the end of a mated port, how far it leaves the port's zone.
        decided: false when an open mesh leaves open whether they interfere at all.
    """

    pair: tuple[int, int]
    measured: Measured
    permitted: float = 0.0
    beyond: Beyond | None = None
    decided: bool = True

    @property
    def depth(self) -> float:
        """How deep, or how far out of its zone, mm; nan when an open mesh hides it."""
        return self.measured.depth if self.beyond is None else self.beyond.most


_found: WeakKeyDictionary[World, tuple[Clash, ...]] = WeakKeyDictionary()


def clashes(world: World) -> tuple[Clash, ...]:
    """All clashes, in the order of the bodies."""
    known = _found.get(world)
    if known is None:
        solids = bodies(world)
        known = _found[world] = tuple(clashes_among(world, solids, near(solids, 0.0)))
    return known


def clashes_among(world: World, solids: Bodies, pairs: np.ndarray) -> list[Clash]:
    """Which of these pairs (k, 2) of bodies clash."""
    found = []
    for (i, j), measured in zip(pairs.tolist(), measure(solids, pairs, 0.0), strict=True):
        if measured.interferes or not measured.decided:
            clash = _judged(world, solids, (i, j), measured)
            if clash is not None:
                found.append(clash)
    return found


def _judged(world: World, solids: Bodies, pair: tuple[int, int], measured: Measured) -> Clash | None:
    i, j = pair
    permission = allowed(world, solids.all[i], solids.all[j])
    if permission is None:
        return Clash(pair, measured, decided=measured.interferes)
    if permission.zone is not None:
        beyond = beyond_zone(solids, i, j, permission.zone)
        if beyond is None:
            return Clash(pair, measured, decided=False)
        return Clash(pair, measured, beyond=beyond) if beyond.most > CONTACT else None
    if measured.depth <= permission.gives + CONTACT and measured.decided:
        return None
    return Clash(pair, measured, permission.gives, decided=measured.interferes)
