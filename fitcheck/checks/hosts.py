"""Which part carries which: what moves along when a part is moved."""

from __future__ import annotations

from fitcheck.world.world import World


def host_groups(world: World) -> dict[str, str]:
    """The scene's own part that each scene part is placed against; those in the world have none.

    From `Part.host`; where a world says none, from its contacts: a resting part hangs on
    what it rests on first, of two joined parts the later in the scene on the earlier.
    """
    order = {part.group: i for i, part in reversed(list(enumerate(world.parts)))}
    hosts: dict[str, str] = {}
    for part in world.parts:
        host = group_of(world, part.host)
        if host and host != part.group:
            hosts.setdefault(part.group, host)
    if not hosts:
        for contact in world.contacts:
            guest, host = group_of(world, contact.a), group_of(world, contact.b)
            if contact.kind == "join" and order.get(guest, 0) < order.get(host, 0):
                guest, host = host, guest
            if contact.kind in ("rest", "join") and guest and host and guest != host:
                hosts.setdefault(guest, host)
    return hosts


def group_of(world: World, name: str) -> str:
    """The scene's own part that a full name (of a part, a feature, a solid) belongs to, or empty."""
    if not name:
        return ""
    if name in world.by_name:
        return world.by_name[name].group
    groups = {part.group for part in world.parts}
    pieces = name.split(".")
    ahead = (".".join(pieces[:n]) for n in range(len(pieces), 0, -1))
    return next((start for start in ahead if start in groups), "")


def carried(world: World) -> dict[str, tuple[str, ...]]:
    """For each scene part: itself and all that moves along with it, in scene order."""
    hosts = host_groups(world)
    groups = list(dict.fromkeys(part.group for part in world.parts))
    chains = {group: _chain(hosts, group) for group in groups}
    return {group: tuple(g for g in groups if group in chains[g]) for group in groups}


def _chain(hosts: dict[str, str], group: str) -> list[str]:
    """The part, its host, the host's host and so on; a made-up circle ends where it closes."""
    chain = [group]
    while (above := hosts.get(chain[-1])) is not None and above not in chain:
        chain.append(above)
    return chain


def enclosing(world: World) -> frozenset[str]:
    """The scene parts that have compartments: cases, in which the others stand."""
    return frozenset(group_of(world, room.part) for room in world.compartments.values())
