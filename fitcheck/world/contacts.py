"""What may touch: the contacts that the scene means, for pairs of solids, never whole parts."""

from __future__ import annotations

from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np

from fitcheck.parts.solids import Kind
from fitcheck.world import volumes
from fitcheck.world.bodies import Bodies, Body
from fitcheck.world.world import Contact, World, Zone

# Coordinates of a metre lose less than this, mm.
ROUNDING = 1e-9
CORNERS = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], float)


@dataclass(frozen=True, eq=False)
class Permission:
    """Two bodies may touch: why, how deep they may press, and where one may lie in the other.

    `kind` is rest, join or touches; `gives` in mm. With a `zone` one of the two is the end
    of a mated port: it may lie inside the other as deep as it likes, but only in the zone.
    """

    kind: str
    gives: float = 0.0
    zone: Zone | None = None


@dataclass(frozen=True, eq=False)
class Beyond:
    """How far an overlap sticks out of a port's zone, mm, 0 where it does not.

    `end` past the depth that the port takes, `side` past its radius, `mouth` before it.
    """

    end: float
    side: float
    mouth: float

    @property
    def most(self) -> float:
        """The worst of the three, mm."""
        return max(self.end, self.side, self.mouth)


@dataclass(frozen=True, eq=False)
class _Permissions:
    """The contacts of a world by the parts they concern, and what was asked of them, by names of bodies."""

    between: dict[tuple[str, str], list[Contact]]
    known: dict[tuple[str, str], Permission | None]


_permissions: WeakKeyDictionary[World, _Permissions] = WeakKeyDictionary()


def allowed(world: World, body_a: Body, body_b: Body) -> Permission | None:
    """What the scene permits two bodies, in either order; None when nothing.

    Several contacts may concern one pair: the port's zone counts first, else the one
    that gives most.
    """
    among = _permissions.get(world)
    if among is None:
        between: dict[tuple[str, str], list[Contact]] = {}
        for contact in world.contacts:
            for names in {(contact.a, contact.b), (contact.b, contact.a)}:
                between.setdefault(names, []).append(contact)
        among = _permissions[world] = _Permissions(between, {})
    contacts = among.between.get((body_a.part_name, body_b.part_name))
    if contacts is None:
        return None
    pair = body_a.name, body_b.name
    if pair not in among.known:
        found = [_permission(contact, body_a, body_b) for contact in contacts]
        among.known[pair] = max(
            (p for p in found if p is not None), key=lambda p: (p.zone is not None, p.gives), default=None
        )
    return among.known[pair]


def permitted(world: World, bodies: Bodies) -> set[tuple[int, int]]:
    """Pairs of bodies, the lower first, that the scene lets touch."""
    of_part: dict[str, list[int]] = {}
    for k, body in enumerate(bodies.all):
        of_part.setdefault(body.part_name, []).append(k)
    found = set()
    for contact in world.contacts:
        for i in of_part.get(contact.a, ()):
            for j in of_part.get(contact.b, ()):
                if _permission(contact, bodies.all[i], bodies.all[j]) is not None:
                    found.add((min(i, j), max(i, j)))
    return found


def _permission(contact: Contact, one: Body, other: Body) -> Permission | None:
    best = None
    for a, b in ((one, other), (other, one)):
        if (a.part_name, b.part_name) != (contact.a, contact.b):
            continue
        if contact.zone is not None and a.solid == contact.reach:
            return Permission(contact.kind, contact.gives, contact.zone)
        ours = not contact.solids_a or a.solid in contact.solids_a
        theirs = not contact.solids_b or b.solid in contact.solids_b
        if ours and theirs:
            best = Permission(contact.kind, contact.gives)
    return best


def beyond_zone(bodies: Bodies, i: int, j: int, zone: Zone) -> Beyond | None:
    """How far what two bodies share sticks out of the zone of a mated port.

    Exact for boxes and closed meshes, and at the ends of cylinders; None when a mesh is
    open (it has no inside), and neither body lies in the zone as a whole.
    """
    if bodies.answers is None:
        return _beyond(bodies, i, j, zone)[0]
    figures = zone.at.tobytes(), zone.inward.tobytes(), zone.radius, zone.depth
    key = "beyond", int(bodies.serials[i]), int(bodies.serials[j]), *figures
    return bodies.answers.of(key, lambda: _beyond(bodies, i, j, zone))[0]


def _beyond(bodies: Bodies, i: int, j: int, zone: Zone) -> tuple[Beyond | None]:
    # What is shared is no larger than either: nearly always the end of a plug fits as it is.
    if any(_lies_in(bodies, k, zone) for k in (i, j)):
        return (Beyond(0.0, 0.0, 0.0),)
    first, second = (volumes.joined(bodies, bodies.all[k].pieces, zone.at) for k in (i, j))
    if first is None or second is None:
        return (None,)
    shared = first ^ second
    # Slivers between a shoulder and the rim it lies on are no part of what goes in.
    parts = [part for part in shared.decompose() if not volumes.is_sliver(part)]
    if not parts:
        return (Beyond(0.0, 0.0, 0.0),)
    corners = np.concatenate([volumes.corners_and_faces(part)[0] for part in parts])
    along = corners @ zone.inward
    off = np.linalg.norm(corners - along[:, None] * zone.inward, axis=1)
    found = Beyond(
        end=max(float(along.max()) - zone.depth, 0.0),
        side=max(float(off.max()) - zone.radius, 0.0),
        mouth=max(-float(along.min()), 0.0),
    )
    return (found,)


def _lies_in(bodies: Bodies, body: int, zone: Zone) -> bool:
    """Is all of a body surely in a zone?"""
    pieces = bodies.all[body].pieces
    return all(_piece_lies_in(bodies, row, zone) for row in range(pieces.start, pieces.stop))


def _piece_lies_in(bodies: Bodies, row: int, zone: Zone) -> bool:
    """The same of a piece. Of a cylinder by its ends: discs, each within a ball of its radius."""
    mesh, half, turn = bodies.meshes[row], bodies.halves[row], bodies.rotations[row]
    reach, rise = 0.0, 0.0
    if mesh is not None:
        points = mesh.vertices
    elif bodies.kinds[row] == Kind.CYLINDER:
        points = half[2] * np.array([[0.0, 0.0, -1.0], [0.0, 0.0, 1.0]])
        reach = float(half[0])
        rise = reach * float(np.sqrt(max(1.0 - (turn[:, 2] @ zone.inward) ** 2, 0.0)))
    else:
        points = half * CORNERS
    at = points @ turn.T + (bodies.centres[row] - zone.at)
    along = at @ zone.inward
    off = np.linalg.norm(at - along[:, None] * zone.inward, axis=1)
    return bool(
        along.min() - rise >= -ROUNDING
        and along.max() + rise <= zone.depth + ROUNDING
        and off.max() + reach <= zone.radius + ROUNDING
    )
