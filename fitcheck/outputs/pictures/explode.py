"""Exploded views: each part moves along the way it was put on, with all that was put on it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fitcheck.world.world import Contact, Part, World

# Faces of one contact lie in one plane but for pads and lifts, mm.
PLANE = 5.0
# How far a part moves off its host at explode 1: a share of its own depth that way, and a step, mm.
SHARE, STEP, MOST = 0.5, 35.0, 160.0


def moves(world: World, case: set[int], explode: float) -> tuple[np.ndarray, np.ndarray]:
    """(n, 3) how far each part moves, mm, and how far its host does; hosts stay, what sits on them moves.

    A part's way is the normal of the face it rests on, or its port's axis; a part carries everything
    whose chain of hosts leads to it. Parts of the case, and parts without a host, stay.
    """
    host: dict[int, tuple[int, np.ndarray]] = {}
    index = {part.name: i for i, part in enumerate(world.parts)}
    for contact in world.contacts:
        a, b = index.get(contact.a), index.get(contact.b)
        if a is None or b is None or contact.kind == "touches" or a in host or a in case:
            continue
        way = off_axis(world, contact, world.parts[a], world.parts[b])
        if not _leads_to(host, b, a):
            host[a] = (b, np.zeros(3) if way is None else way)
    for i, part in enumerate(world.parts):
        carrier = _carrier(world, part)
        if i not in host and i not in case and carrier is not None and not _leads_to(host, carrier, i):
            host[i] = (carrier, np.zeros(3))
    moved = np.zeros((len(world.parts), 3))
    for i in range(len(world.parts)):
        at = i
        while at in host:
            carrier, way = host[at]
            moved[i] += explode * _step(world.parts[at], way) * way
            at = carrier
    carried = np.array([moved[host[i][0]] if i in host else moved[i] for i in range(len(world.parts))])
    return moved, carried.reshape(-1, 3)


def _carrier(world: World, part: Part) -> int | None:
    """The part that one without a contact rides along with: its host, or that assembly's first part."""
    for index, other in enumerate(world.parts):
        if part.host and part.host in (other.name, other.group):
            return index
    return None


def _leads_to(host: dict[int, tuple[int, np.ndarray]], start: int, goal: int) -> bool:
    while start in host:
        if start == goal:
            return True
        start = host[start][0]
    return start == goal


def _step(part: Part, way: np.ndarray) -> float:
    deep = float(np.abs(way) @ (part.bounds[1] - part.bounds[0]))
    return min(STEP + SHARE * deep, MOST)


def off_axis(world: World, contact: Contact, a: Part, b: Part) -> np.ndarray | None:
    """Unit world vector along which part a comes off part b, or None where no faces tell."""
    if contact.zone is not None:
        return np.asarray(-contact.zone.inward / np.linalg.norm(contact.zone.inward))
    best, found = PLANE, None
    walls = [
        (face.centre, face.normal)
        for room in world.compartments.values()
        if room.part == b.name
        for face in room.faces.values()
    ]
    for mine in _faces(a, contact.solids_a):
        for theirs in [*_faces(b, contact.solids_b), *walls]:
            apart = abs(float((mine[0] - theirs[0]) @ theirs[1]))
            if float(mine[1] @ theirs[1]) < -0.999 and apart < best:
                best, found = apart, np.asarray(theirs[1])
    return found


def _faces(part: Part, solids: Sequence[str]) -> list[tuple[np.ndarray, np.ndarray]]:
    own = [f for f in part.shape.faces.values() if not solids or not f.owners or set(f.owners) & set(solids)]
    return [(part.pose.point(f.centre), part.pose.direction(f.normal)) for f in own]
