"""What is taken out when a rule names a part: all that is fastened to it, and what is then in its way."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from fitcheck.checks.hosts import carried, enclosing
from fitcheck.checks.names import Chosen, choose
from fitcheck.motions.moving import Joint, Moving, Pad, Pair
from fitcheck.world.bodies import Bodies, bodies, bounds_gap
from fitcheck.world.contacts import allowed, permitted
from fitcheck.world.engine import CONTACT, measure
from fitcheck.world.world import World


def taken_out(
    world: World,
    said: Sequence[str],
    along: Sequence[str] | None = None,
    before: Sequence[str] = (),
    guides: Sequence[str] = (),
) -> Moving:
    """What moves when a part is taken out, and what is then in its way.

    Args:
        world: with its runs laid.
        said: names of what is taken out: parts, assemblies, single solids, patterns.
        along: what comes with it; None for all that is fastened to it (placed on it or joined to it).
        before: what is taken out before, with what is fastened to it.
        guides: what it may touch on its way.

    Raises:
        ValueMistake: no part or solid has such a name.
    """
    solids = bodies(world)
    chosen = [choose(world, name) for name in said]
    if along is None:
        out = _with_fastened(world, chosen)
    else:
        out = _solids(chosen + [choose(world, name) for name in along])
    gone = _with_fastened(world, [choose(world, name) for name in before]) - _solids(chosen)
    out -= gone
    loosened = []
    for run in world.laid:
        held = run.wish.start.part, run.wish.goal.part
        ends = [any(part == end for part, _ in out) for end in held]
        hangs = any(part in held for part, _ in gone)
        own = {(body.part_name, body.solid) for body in solids.all if body.part_name == run.name}
        if own & (out | gone):
            continue
        if all(ends):
            out |= own
        elif any(ends) or hangs:
            loosened.append(run.name)
            gone |= own
    movers = [k for k, body in enumerate(solids.all) if (body.part_name, body.solid) in out]
    stayers = [k for k, body in enumerate(solids.all) if (body.part_name, body.solid) not in out | gone]
    named = [choose(world, name) for name in guides]
    free = {(i, j) for i in movers for j in stayers if any(_holds(one, solids, j) for one in named)}
    touching, joints, pads = _contacts(world, solids, movers, stayers)
    parts = dict.fromkeys(solids.all[k].group for k in movers)
    return Moving(
        solids, tuple(movers), tuple(stayers), frozenset(free | touching), joints, pads,
        tuple(loosened), tuple(parts),
    )  # fmt: skip


def _holds(chosen: Chosen, solids: Bodies, body: int) -> bool:
    return chosen.holds(solids.all[body].part_name, solids.all[body].solid)


def _solids(chosen: Collection[Chosen]) -> set[tuple[str, str]]:
    return {(part, solid) for one in chosen for part, names in one.solids.items() for solid in names}


def _with_fastened(world: World, chosen: Collection[Chosen]) -> set[tuple[str, str]]:
    """The solids meant, and those of all parts that are placed on them or joined to them.

    Of a case only what rests on the solids meant comes along: a side panel leaves with its fans.
    """
    found = _solids(chosen)
    cases = enclosing(world)
    taken = carried(world)
    groups: dict[str, None] = {}
    for one in chosen:
        for part in one.solids:
            group = world.by_name[part].group
            if part in one.whole and group not in cases:
                groups |= dict.fromkeys(_carried_by(world, part, group, taken))
            else:
                groups |= dict.fromkeys(
                    g for guest in on_solids(world, part, one.solids[part]) for g in taken[guest]
                )
    for placed in world.parts:
        if placed.group in groups and placed.group not in cases:
            found |= {(placed.name, solid) for solid in placed.shape.solids}
    return found


def _carried_by(world: World, part: str, group: str, taken: dict[str, tuple[str, ...]]) -> list[str]:
    """What comes along with one part: with a part of an assembly only what hangs on that part."""
    whole = all(other.name == part for other in world.parts if other.group == group)
    if whole:
        return list(taken[group])
    guests = [other.group for other in world.parts if other.host and _within(other.host, part)]
    return [group for guest in dict.fromkeys(guests) if guest != group for group in taken[guest]]


def _within(name: str, part: str) -> bool:
    return name == part or name.startswith(f"{part}.")


def on_solids(world: World, part: str, named: tuple[str, ...]) -> list[str]:
    """Scene parts that rest on, or are joined to, some solids of a part and no others of it."""
    found = []
    for contact in world.contacts:
        if contact.kind == "touches":
            continue
        for guest, host, solids in (
            (contact.a, contact.b, contact.solids_b),
            (contact.b, contact.a, contact.solids_a),
        ):
            placed = world.by_name.get(guest)
            if host == part and placed is not None and solids and set(solids) <= set(named):
                found.append(placed.group)
    own = world.by_name[part].group
    return [group for group in dict.fromkeys(found) if group != own]


def _contacts(
    world: World, solids: Bodies, movers: list[int], stayers: list[int]
) -> tuple[set[Pair], tuple[Joint, ...], tuple[Pad, ...]]:
    """Pairs that touch by leave, pairs joined, and pairs that press into each other."""
    inside, others = set(movers), set(stayers)
    touching: set[Pair] = set()
    joints, pads = [], []
    for a, b in sorted(permitted(world, solids)):
        if a in inside and b in others:
            i, j = a, b
        elif b in inside and a in others:
            i, j = b, a
        else:
            continue
        permission = allowed(world, solids.all[i], solids.all[j])
        if permission is None:
            continue
        close = bounds_gap(solids.body_bounds[i], solids.body_bounds[j]) <= CONTACT
        if permission.zone is not None:
            if close:
                away = leaves(world, solids, i, j, permission.zone.inward)
                joints.append(Joint((i, j), away, permission.zone.depth))
            continue
        touching.add((i, j))
        if permission.gives > 0 and close:
            (found,) = measure(solids, [(i, j)], 0.0)
            if found.interferes and found.depth <= permission.gives + CONTACT:
                pads.append(Pad((i, j), found.normal))
    return touching, tuple(joints), tuple(pads)


def leaves(world: World, solids: Bodies, i: int, j: int, inward: np.ndarray) -> np.ndarray:
    """The end that lies in the other's port is drawn out against the port's inward axis."""
    mover, stayer = solids.all[i], solids.all[j]
    plugged = any(
        contact.zone is not None
        and (contact.a, contact.reach, contact.b) == (mover.part_name, mover.solid, stayer.part_name)
        for contact in world.contacts
    )
    return -inward if plugged else inward
