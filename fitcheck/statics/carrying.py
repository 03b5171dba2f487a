"""What carries what: contacts that the scene means, as far as they reach."""

from __future__ import annotations

from collections import deque
from collections.abc import Collection, Iterable
from dataclasses import dataclass

import numpy as np

from fitcheck.world.bodies import Bodies, bodies, bounds_gap
from fitcheck.world.engine import measure
from fitcheck.world.world import Contact, World

# Contacts that leave a gap of no more than this still carry, mm: less than a sheet of paper.
REACHES = 0.05
# How far from a part that hangs in the air something is looked for that might carry it, mm.
NEAR = 200.0


@dataclass(frozen=True, eq=False)
class Hold:
    """One contact between two parts, as it is.

    Args:
        a, b: part names, `a` the one that was placed.
        kind: rest, join, touches, or run for a tube or cable on its fitting.
        gap: mm between the solids meant; 0 where they touch.
        low, high: (3,) bounds of what they share, or of the gap between them.
        side: the axis and sign of the world from a to b, where their bounds touch; None for a joint.
    """

    a: str
    b: str
    kind: str
    gap: float
    low: np.ndarray
    high: np.ndarray
    side: np.ndarray | None

    @property
    def carries(self) -> bool:
        """Does the one bear on the other?"""
        return self.gap <= REACHES


def holds(world: World) -> tuple[Hold, ...]:
    """Every contact of the scene between two parts, measured."""
    solids = bodies(world)
    of_part: dict[str, list[int]] = {}
    for k, body in enumerate(solids.all):
        of_part.setdefault(body.part_name, []).append(k)
    runs = {run.name for run in world.laid}
    # Of a joint the end that goes in holds, not the rims that touch round it.
    deep = {(contact.a, contact.b) for contact in world.contacts if contact.zone is not None}
    found = (
        _hold(solids, of_part, contact, runs)
        for contact in world.contacts
        if contact.kind != "join" or contact.zone is not None or (contact.a, contact.b) not in deep
    )
    return tuple(hold for hold in found if hold is not None)


def _hold(solids: Bodies, of_part: dict[str, list[int]], contact: Contact, runs: set[str]) -> Hold | None:
    ours = [
        k
        for k in of_part.get(contact.a, ())
        if not contact.solids_a or solids.all[k].solid in (*contact.solids_a, contact.reach)
    ]
    theirs = [
        k
        for k in of_part.get(contact.b, ())
        if not contact.solids_b or solids.all[k].solid in contact.solids_b
    ]
    if not ours or not theirs or contact.a == contact.b:
        return None
    kind = "run" if runs & {contact.a, contact.b} else contact.kind
    zone = contact.zone
    if zone is not None and np.isfinite([zone.radius, zone.depth]).all():
        ends = np.array([zone.at, zone.at + zone.depth * zone.inward])
        reach = zone.radius * np.sqrt(np.clip(1 - zone.inward**2, 0, 1))
        return Hold(contact.a, contact.b, kind, 0.0, ends.min(axis=0) - reach, ends.max(axis=0) + reach, None)
    pairs = np.array([(i, j) for i in ours for j in theirs])
    gaps = bounds_gap(solids.body_bounds[pairs[:, 0]], solids.body_bounds[pairs[:, 1]])
    pairs = pairs[gaps <= gaps.min() + NEAR]
    measured = measure(solids, pairs)
    k = min(range(len(pairs)), key=lambda k: (measured[k].distance, -measured[k].depth))
    # A board lies on all its posts: what is shared reaches round all that are as near as the nearest.
    least = measured[k].distance
    near = pairs[[one.distance <= least + REACHES for one in measured]]
    a, b = solids.body_bounds[near[:, 0]], solids.body_bounds[near[:, 1]]
    between = np.sort(np.stack([np.maximum(a[:, 0], b[:, 0]), np.minimum(a[:, 1], b[:, 1])]), axis=0)
    i, j = pairs[k]
    gap = 0.0 if contact.kind == "join" else float(measured[k].distance)
    side = None if contact.kind == "join" else _side(solids.body_bounds[i], solids.body_bounds[j])
    low, high = between[0].min(axis=0), between[1].max(axis=0)
    return Hold(contact.a, contact.b, kind, gap, low, high, side)


def _side(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Where the second box lies from the first: along the axis on which they overlap least."""
    apart = np.array([b[0] - a[1], a[0] - b[1]])
    sign, axis = np.unravel_index(int(apart.argmax()), apart.shape)
    side = np.zeros(3)
    side[axis] = 1.0 if sign == 0 else -1.0
    return side


def carried_by(held: Iterable[Hold], ground: Collection[str], kinds: Collection[str]) -> set[str]:
    """All parts that hang together with the ground by contacts of some kinds that carry."""
    beside: dict[str, list[str]] = {}
    for hold in held:
        if hold.carries and hold.kind in kinds:
            beside.setdefault(hold.a, []).append(hold.b)
            beside.setdefault(hold.b, []).append(hold.a)
    seen, open_ = set(ground), deque(ground)
    while open_:
        new = [name for name in beside.get(open_.popleft(), ()) if name not in seen]
        seen.update(new)
        open_.extend(new)
    return seen


def groups(names: Collection[str], held: Iterable[Hold]) -> list[list[str]]:
    """Parts that hang together among themselves, each group in the order of the names."""
    left = list(names)
    inside = [hold for hold in held if hold.a in names and hold.b in names]
    found = []
    while left:
        together = carried_by(inside, [left[0]], ("rest", "join", "touches", "run"))
        found.append([name for name in left if name in together])
        left = [name for name in left if name not in together]
    return found
