"""Mends: which way a part can be moved out of another, and whether it then stands well.

A mend is said only when the part, moved, is free of everything, keeps the contacts that
its placement means, and leaves no compartment that it claims.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from math import ceil

import numpy as np

from fitcheck.checks.clashes import Clash, clashes_among
from fitcheck.checks.hosts import carried, enclosing, host_groups
from fitcheck.checks.verdicts import ROUNDING, mm, towards
from fitcheck.world.bodies import Bodies, bounds_gap
from fitcheck.world.contacts import allowed
from fitcheck.world.engine import CONTACT, measure, overlap, side_moves
from fitcheck.world.frames import OPPOSITE, SIDES
from fitcheck.world.world import Part, World

# Written offsets are mended in steps of this, mm: what a ruler shows.
STEP = 0.1


@dataclass(frozen=True, eq=False)
class Move:
    """How a part gets free of another.

    Args:
        mover: name of what moves: a scene part with all that it carries, or a sub-part.
        bodies: the bodies that move.
        ways: side -> least move to that side, mm, shortest first; empty when unknown.
        pushing: those bodies of the mover that must get free, and `against` what of.
        hits: what the shortest move would run into, as (part that moves, solid that it hits).
    """

    mover: str
    bodies: tuple[int, ...] = ()
    ways: dict[str, float] = field(default_factory=dict)
    hits: tuple[tuple[str, str], ...] = ()
    pushing: tuple[int, ...] = ()
    against: tuple[int, ...] = ()

    @property
    def shortest(self) -> str:
        return next(iter(self.ways))


def mover_of(world: World, a: str, b: str) -> str:
    """Which of two parts a builder would move.

    Not what carries the other, nor a part with compartments (a case), nor one without a
    placement; else the smaller; else the later in the scene.
    """
    one, other = world.by_name[a], world.by_name[b]
    carries = carried(world)
    if one.group != other.group:
        for part, guest in ((one, other), (other, one)):
            if guest.group in carries.get(part.group, ()):
                return guest.name
    return min((other, one), key=lambda part: _weight(world, part)).name


def _weight(world: World, part: Part) -> tuple[bool, bool, bool, float]:
    group = [p for p in world.parts if p.group == part.group]
    case = part.group in enclosing(world)
    size = float(np.prod(part.bounds[1] - part.bounds[0]))
    placed = bool(part.says) or part.group in host_groups(world)
    return case, part.name == part.group and len(group) > 1, not placed, size


def moves_away(
    world: World, solids: Bodies, mover: str, names: tuple[str, str], found: Sequence[Clash]
) -> Move:
    """The least moves to the six sides that free the mover from the other part's clashing solids."""
    part = world.by_name[mover]
    other = names[1] if names[0] == mover else names[0]
    inside = part.group == world.by_name[other].group
    moving = carried(world)[part.group]
    name = mover if inside else part.group
    bodies = tuple(
        k
        for k, body in enumerate(solids.all)
        if (body.part_name == mover if inside else body.group in moving)
    )
    theirs = sorted({k for clash in found for k in clash.pair if solids.all[k].part_name != mover})
    ours = _pushing(world, solids, mover, theirs, found)
    span = solids.body_bounds[:, 1].max(axis=0) - solids.body_bounds[:, 0].min(axis=0)
    if any(np.isnan(clash.depth) for clash in found):
        return Move(name, bodies)
    ways = side_moves(solids, ours, theirs, float(2 * span.max()))
    ways = dict(sorted(ways.items(), key=lambda item: (round(item[1], 6), list(SIDES).index(item[0]))))
    if not ways:
        return Move(name, bodies)
    side = next(iter(ways))
    hits = _hits(world, solids, bodies, ways[side] * SIDES[side])
    return Move(name, bodies, ways, hits, tuple(ours), tuple(theirs))


def _pushing(
    world: World, solids: Bodies, mover: str, theirs: Sequence[int], found: Sequence[Clash]
) -> list[int]:
    """Bodies of the mover that must get free: all but those pressed or joined as meant."""
    clashing = {k for clash in found for k in clash.pair}
    own = [k for k, body in enumerate(solids.all) if body.part_name == mover]
    return [k for k in own if k in clashing or not any(_meant(world, solids, k, other) for other in theirs)]


def _meant(world: World, solids: Bodies, i: int, j: int) -> bool:
    """May these two lie in each other, as a pad or the end of a port does?"""
    leave = allowed(world, solids.all[i], solids.all[j])
    return leave is not None and (leave.gives > 0 or leave.zone is not None)


def shortest_move(solids: Bodies, away: Move, lead: Clash) -> float:
    """The shortest move found that frees the mover from the other part, mm.

    That of the two solids that are deepest in each other, when it frees all of the part;
    else the shortest of the six sides.
    """
    if not away.ways or lead.beyond is not None:
        return lead.depth
    sign = 1.0 if lead.pair[1] in away.pushing else -1.0
    after = solids.shifted(away.pushing, sign * (lead.depth + ROUNDING) * lead.measured.normal)
    pairs = [(i, j) for i in away.pushing for j in away.against]
    if not any(m.interferes for m in measure(after, pairs, 0.0)):
        return lead.depth
    return max(away.ways[away.shortest], lead.depth)


def _hits(world: World, solids: Bodies, moving: Sequence[int], by: np.ndarray) -> tuple[tuple[str, str], ...]:
    """(part that moves, solid that it would clash with), each pair once, in order."""
    after = solids.shifted(moving, by)
    ours, theirs = np.array(sorted(moving)), np.setdiff1d(np.arange(len(solids)), moving)
    close = bounds_gap(after.body_bounds[ours][:, None], after.body_bounds[theirs][None]) <= 0.0
    a, b = np.nonzero(close)
    pairs = np.sort(np.column_stack([ours[a], theirs[b]]), axis=1)
    settled = {(i, j): _surely(world, after, i, j) for i, j in pairs.tolist()}
    open_ = np.array([pair for pair, hit in settled.items() if hit is None], int).reshape(-1, 2)
    hit = {pair for pair, sure in settled.items() if sure}
    hit |= {clash.pair for clash in clashes_among(world, after, open_)}
    inside = set(moving)
    ordered = (pair if pair[0] in inside else pair[::-1] for pair in settled if pair in hit)
    return tuple(dict.fromkeys((after.all[i].part_name, after.all[j].name) for i, j in ordered))


def _surely(world: World, solids: Bodies, i: int, j: int) -> bool | None:
    """Do two bodies, one of them with a mesh, interfere? None when their volume does not tell.

    No line of the overlap along the way out is longer than the depth. So the volume is at
    most the depth times the area of the overlap seen along it, which no direction makes
    larger than the diagonal of the three faces of its bounds.
    """
    pieces = (*solids.meshes[solids.all[i].pieces], *solids.meshes[solids.all[j].pieces])
    if all(mesh is None for mesh in pieces) or allowed(world, solids.all[i], solids.all[j]) is not None:
        return None
    shared = overlap(solids, i, j)
    if not shared.known:
        return None
    if shared.bounds is None:
        return False
    x, y, z = shared.bounds[1] - shared.bounds[0]
    return True if shared.volume > CONTACT * float(np.linalg.norm([y * z, z * x, x * y])) else None


def mend(world: World, solids: Bodies, away: Move) -> str:
    """What to write to get free, or nothing when no side helps.

    The mover's own offsets are tried first, then those of what it is placed against.
    """
    demand = _default_clearance(world)
    for mover in _carriers(world, solids, away):
        part = next(p for p in world.parts if mover.mover in (p.group, p.name))
        free = part.group not in host_groups(world) and not part.says
        for side, way in away.ways.items():
            offset = _offset(part, side, way + demand) if mover.mover == part.group else None
            if offset is None and not free:
                continue
            by = way + demand if offset is None else offset[2]
            if _stands_well(world, solids, mover, by * SIDES[side], demand):
                if offset is None:
                    return f"move {mover.mover} {mm(by)} {towards(side)}"
                return f"set {offset[0]} of {mover.mover} to {offset[1]:.1f} mm"
    return ""


def _carriers(world: World, solids: Bodies, away: Move) -> Iterator[Move]:
    """The same ways for the mover, then for what carries it, then for what carries that."""
    yield away
    hosts, carries, cases = host_groups(world), carried(world), enclosing(world)
    seen = {away.mover}
    group = hosts.get(away.mover)
    while group is not None and group not in cases | seen:
        bodies = tuple(k for k, body in enumerate(solids.all) if body.group in carries[group])
        yield Move(group, bodies, away.ways)
        seen.add(group)
        group = hosts.get(group)


def _default_clearance(world: World) -> float:
    rule = world.rules.get("clearance")
    found = rule.get("default", 0.0) if isinstance(rule, dict) else getattr(rule, "default", 0.0)
    return float(found or 0.0)


def _offset(part: Part, side: str, way: float) -> tuple[str, float, float] | None:
    """(key, new value, move) of the written offset that moves a part to a side by at least `way`."""
    if side in part.says:
        written = part.says[side]
        value = np.floor((written - way) / STEP + ROUNDING) * STEP
        return side, float(value), written - float(value)
    opposite = OPPOSITE[side]
    if opposite in part.says:
        written = part.says[opposite]
        value = ceil((written + way) / STEP - ROUNDING) * STEP
        return opposite, float(value), float(value) - written
    return None


def _stands_well(world: World, solids: Bodies, away: Move, by: np.ndarray, demand: float) -> bool:
    """Moved, is it still inside, free of everything, and where its contacts hold?"""
    if not _stays_inside(world, solids, away, by) or _hits(world, solids, away.bodies, by):
        return False
    moving = set(away.bodies)
    after = solids.shifted(away.bodies, by)
    for contact in world.contacts:
        pairs = _contact_pairs(after, contact.a, contact.b, contact.solids_a, contact.solids_b)
        split = [(i, j) for i, j in pairs if (i in moving) != (j in moving)]
        if not split:
            continue
        if contact.kind == "join" or (
            contact.kind == "rest" and min(m.distance for m in measure(after, split)) > CONTACT
        ):
            return False
    return _keeps_apart(world, after, moving, demand)


def _contact_pairs(
    solids: Bodies, a: str, b: str, solids_a: tuple[str, ...], solids_b: tuple[str, ...]
) -> list[tuple[int, int]]:
    ours = [k for k, x in enumerate(solids.all) if x.part_name == a and (not solids_a or x.solid in solids_a)]
    theirs = [
        k for k, x in enumerate(solids.all) if x.part_name == b and (not solids_b or x.solid in solids_b)
    ]
    return [(i, j) for i in ours for j in theirs]


def _stays_inside(world: World, solids: Bodies, away: Move, by: np.ndarray) -> bool:
    """Is every part within the compartment it claims, and within the bounds of the scene?"""
    scene = np.array([solids.body_bounds[:, 0].min(axis=0), solids.body_bounds[:, 1].max(axis=0)])
    for name in dict.fromkeys(solids.all[k].part_name for k in away.bodies):
        part = world.by_name[name]
        low, high = world.compartments[part.claims].bounds if part.claims else scene
        out = np.concatenate([low - (part.bounds[0] + by), part.bounds[1] + by - high])
        if out.max() > CONTACT:
            return False
    return True


def _keeps_apart(world: World, after: Bodies, moving: set[int], demand: float) -> bool:
    """Is everything of other parts at least the default clearance away from what moved?"""
    if demand <= 0:
        return True
    ours, theirs = np.array(sorted(moving)), np.setdiff1d(np.arange(len(after)), sorted(moving))
    a, b = np.nonzero(bounds_gap(after.body_bounds[ours][:, None], after.body_bounds[theirs][None]) < demand)
    pairs = [
        (int(i), int(j))
        for i, j in zip(ours[a], theirs[b], strict=True)
        if after.all[i].group != after.all[j].group and allowed(world, after.all[i], after.all[j]) is None
    ]
    return not pairs or min(m.distance for m in measure(after, pairs, demand)) >= demand - ROUNDING
