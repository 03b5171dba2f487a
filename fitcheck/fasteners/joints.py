"""Joints of a world: patterns of holes that face each other, and the lines that screws go through them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from fitcheck.fasteners.bores import Bore, bores, covers, family
from fitcheck.fasteners.patterns import APART, Facing, Pattern, facing, offset, patterns
from fitcheck.world.world import Part, World

# A hole counts as covered where this share of its radius lies over material.
COVERED = 0.7
# Mouths of holes that the scene names itself may be so far apart, mm: a gasket that is not drawn, a spacer.
NAMED_APART = 10.0


@dataclass(frozen=True, eq=False)
class Named:
    """Two sets of holes that the scene says belong together: part name -> names of holes, None for all."""

    mine: dict[str, tuple[str, ...] | None]
    theirs: dict[str, tuple[str, ...] | None]


@dataclass(frozen=True, eq=False)
class Joint:
    """Two patterns that face each other; `named` is the index of what the scene says of them, -1 if found."""

    facing: Facing
    named: int = -1


@dataclass(frozen=True, eq=False)
class Lack:
    """A hole without a partner: where one would have to be in `part`, (3,), and the hole itself."""

    bore: Bore
    part: str
    at: np.ndarray
    joint: Joint | None = None


@dataclass(frozen=True, eq=False)
class Joints:
    """All joints of a world.

    Args:
        all: in the order of the scene.
        missing: holes of a joint whose partner lacks.
        to_drill: holes of a part that rests on another which has no holes there at all.
        unmet: indices of what the scene names and no holes of which face each other.
    """

    all: tuple[Joint, ...]
    missing: tuple[Lack, ...]
    to_drill: tuple[Lack, ...]
    unmet: tuple[int, ...]


def joints(
    world: World, named: Sequence[Named] = (), found: bool = True,
    skip: Callable[[str, str], bool] = lambda a, b: False,
) -> Joints:  # fmt: skip
    """The joints that the scene names, and those of parts that rest on or touch each other.

    Args:
        named: what the scene names.
        found: look for others where parts rest on each other.
        skip: says of two part names that nothing is asked of them.
    """
    by_name, unmet = _named(world, named)
    all_ = list(by_name)
    taken = {frozenset((joint.facing.mine.part, joint.facing.theirs.part)) for joint in by_name}
    to_drill: list[Lack] = []
    for guest, host, rests in _pairs(world) if found else ():
        if skip(guest.name, host.name) or frozenset((guest.name, host.name)) in taken:
            continue
        facings, undrilled = _between(world, guest, host, _gives(world, guest, host))
        all_ += [Joint(one) for one in facings]
        to_drill += undrilled if rests else ()
    missing = [lack for joint in all_ for lack in _missing(world, joint)]
    return Joints(tuple(all_), tuple(missing), tuple(_without_partners(to_drill, all_)), unmet)


def _named(world: World, named: Sequence[Named]) -> tuple[list[Joint], tuple[int, ...]]:
    """The joints that the scene names, and the indices of what it names in vain."""
    found: list[Joint] = []
    unmet = []
    for at, one in enumerate(named):
        here: list[Facing] = []
        for a, b in product(one.mine, one.theirs):
            if a != b:
                mine, theirs = _of(world, a, one.mine[a]), _of(world, b, one.theirs[b])
                here += _facings(mine, theirs, NAMED_APART) or _facings(mine, theirs, NAMED_APART, asked=True)
        # Named assemblies face each other in some of their parts; a pair far off is no joint of theirs.
        nearest = min((one.size for one in here), default=0.0)
        found += [Joint(one, at) for one in here if one.size <= nearest + 1.0]
        if not here:
            unmet.append(at)
    return found, tuple(unmet)


def _gives(world: World, one: Part, other: Part) -> float:
    """How far pads between two parts may be pressed in, mm."""
    pair = {one.name, other.name}
    return max((c.gives for c in world.contacts if {c.a, c.b} == pair and np.isfinite(c.gives)), default=0.0)


def _between(
    world: World, guest: Part, host: Part, gives: float
) -> tuple[tuple[Facing, ...], tuple[Lack, ...]]:
    """Patterns of two parts that face each other, and holes of the guest that the host has none for."""

    def work_out() -> tuple[tuple[Facing, ...], tuple[Lack, ...]]:
        mine, theirs = patterns(bores(world, guest)), patterns(bores(world, host))
        kept = _facings(mine, theirs, APART, gives=gives)
        joined = [one.mine for one in kept]
        return tuple(kept), tuple(_undrilled(mine, joined, host))

    return world.answers.of(("holes between", guest.serial, host.serial, gives), work_out)


def _facings(
    mine: list[Pattern], theirs: list[Pattern], apart: float, asked: bool = False, gives: float = 0.0
) -> list[Facing]:
    found = [facing(one, other, asked, apart, gives) for one, other in product(mine, theirs)]
    return _best([one for one in found if one is not None])


def _of(world: World, part: str, names: tuple[str, ...] | None) -> list[Pattern]:
    own = bores(world, world.by_name[part])
    return patterns([b for b in own if names is None or set(names) & set(b.names)])


def _pairs(world: World) -> Iterator[tuple[Part, Part, bool]]:
    """Parts that rest on or touch each other, each pair once, and whether the first rests on the second."""
    seen: set[frozenset[str]] = set()
    for contact in world.contacts:
        pair = frozenset((contact.a, contact.b))
        if contact.kind not in ("rest", "touches") or pair in seen or len(pair) < 2:
            continue
        seen.add(pair)
        a, b = world.by_name[contact.a], world.by_name[contact.b]
        if a.shape.solids and b.shape.solids:
            yield a, b, contact.kind == "rest"


def _best(facings: list[Facing]) -> list[Facing]:
    """Of several patterns that face one and the same holes those that pair most of them; no hole twice."""
    kept: list[Facing] = []
    used: set[str] = set()
    for one in sorted(facings, key=lambda f: (-len(f.pairs), f.size)):
        holes = {one.mine.bores[i].name for i, _ in one.pairs} | {
            one.theirs.bores[j].name for _, j in one.pairs
        }
        if not holes & used:
            used |= holes
            kept.append(one)
    return [one for one in facings if any(one is k for k in kept)]


def _missing(world: World, joint: Joint) -> Iterator[Lack]:
    """Holes without a partner whose place on the other part is solid.

    Told of the pattern that is paired best, and of one that lies on the other part with all its holes (a
    board on a tray): a panel with a grid of holes is no pattern that wants a partner for each.
    """
    f = joint.facing
    share, other = len(f.pairs) / len(f.mine.bores), len(f.pairs) / len(f.theirs.bores)
    sides = (
        (f.mine, {i for i, _ in f.pairs}, f.theirs.part, share >= other),
        (f.theirs, {j for _, j in f.pairs}, f.mine.part, other >= share),
    )
    for pattern, paired, part, best in sides:
        lacks = list(_lacks(world, joint, pattern, paired, part))
        if best or len({lack.bore.name for lack in lacks}) == len(pattern.bores) - len(paired):
            yield from lacks


def _lacks(world: World, joint: Joint, pattern: Pattern, paired: set[int], part: str) -> Iterator[Lack]:
    others = bores(world, world.by_name[part])
    for k, bore in enumerate(pattern.bores):
        if k in paired:
            continue
        for place, way in _mouths(bore):
            if not covers(world.by_name[part], place, way, COVERED * bore.diameter / 2, joint.facing.apart):
                continue
            if not any(np.linalg.norm(offset(bore, one, way)) <= bore.diameter for one in others):
                yield Lack(bore, part, place, joint)


def _mouths(bore: Bore) -> list[tuple[np.ndarray, np.ndarray]]:
    """Places (3,) of its open ends, and the ways (3,) out of them."""
    return [(bore.at, bore.axis)] + ([(bore.end, -bore.axis)] if bore.through else [])


def _undrilled(mine: list[Pattern], joined: list[Pattern], other: Part) -> Iterator[Lack]:
    """Holes of patterns without any joint that lie on the other part's material."""
    for pattern in mine:
        if any(pattern is one for one in joined):
            continue
        for bore in pattern.bores:
            for place, way in _mouths(bore):
                if covers(other, place, way, COVERED * bore.diameter / 2, 0.0):
                    yield Lack(bore, other.name, place)


def _without_partners(lacks: list[Lack], all_: list[Joint]) -> Iterator[Lack]:
    """Those whose hole is in no joint with any part."""
    joined = {
        bore.name
        for joint in all_
        for bore in (
            *(joint.facing.mine.bores[i] for i, _ in joint.facing.pairs),
            *(joint.facing.theirs.bores[j] for _, j in joint.facing.pairs),
        )
    }
    yield from (lack for lack in lacks if lack.bore.name not in joined)


@dataclass(frozen=True, eq=False)
class Line:
    """A screw's line: the holes on it in order along `way`, and the joints it comes from."""

    bores: tuple[Bore, ...]
    way: np.ndarray
    joints: tuple[Joint, ...]

    @property
    def kin(self) -> tuple[str, ...]:
        """What lines of one pattern have in common: parts and families of their holes."""
        return tuple(f"{bore.part}.{family(bore.names[0])}" for bore in self.bores)


def lines(all_: Sequence[Joint]) -> list[Line]:
    """The holes of all joints strung on lines: what faces each other in any joint belongs to one screw."""
    order: dict[str, Bore] = {}
    parent: dict[str, str] = {}
    of: dict[str, list[Joint]] = {}

    def root(k: str) -> str:
        while parent[k] != k:
            k = parent[k]
        return k

    for joint in all_:
        f = joint.facing
        for i, j in f.pairs:
            a, b = f.mine.bores[i], f.theirs.bores[j]
            for bore in (a, b):
                order.setdefault(bore.name, bore)
                parent.setdefault(bore.name, bore.name)
                of.setdefault(bore.name, []).append(joint)
            parent[root(b.name)] = root(a.name)
    groups: dict[str, list[str]] = {}
    for k in order:
        groups.setdefault(root(k), []).append(k)
    found = []
    for members in groups.values():
        way = of[members[0]][0].facing.mine.way
        strung = sorted((order[k] for k in members), key=lambda b: float((b.at + b.end) @ way))
        own = list({id(joint): joint for k in members for joint in of[k]}.values())
        found.append(Line(tuple(strung), way, tuple(own)))
    return found
