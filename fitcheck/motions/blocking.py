"""Who stops whom: which units another one would run into on its way out, side by side of the world.

A unit is what comes out as one thing. That j stops i on its way to one side is that i stops j on its
way to the opposite one, so half of the sides are asked (directional blocking graphs: Wilson and
Latombe 1994, Geometric reasoning about mechanical assembly).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from fitcheck.motions.moving import Joint, Pad, Pair
from fitcheck.motions.straight import ALONG, FACES, SPARE
from fitcheck.parts.solids import Kind
from fitcheck.world import kernels, moves
from fitcheck.world.bodies import Bodies
from fitcheck.world.engine import CONTACT
from fitcheck.world.frames import OPPOSITE, SIDES
from fitcheck.world.kernels.sweep import met_on_the_way


@dataclass(frozen=True)
class Unit:
    """What comes out as one thing: its name, its bodies, and whether it may be taken off at any time.

    `loose`: a tube or cable, which is pulled off its ends. `fixed`: it never leaves.
    """

    name: str
    bodies: tuple[int, ...]
    loose: bool = False
    fixed: bool = False


@dataclass(frozen=True)
class Drawn:
    """A unit drawn off its joints: to which side, how far (mm), and who stops it on that way."""

    side: str
    way: float
    stops: frozenset[int]


@dataclass(frozen=True, eq=False)
class Blocking:
    """Who stops whom.

    Args:
        solids: all bodies.
        units: by their number.
        joints: of their bodies, each both ways round: the first of a pair the one that is moved.
        pads: likewise.
        stops: for each side, for each unit, the numbers of those that stop it.
        nearest: for each unit the sides of the world, the one that it has the shortest way out to first.
    """

    solids: Bodies
    units: tuple[Unit, ...]
    joints: Mapping[Pair, Joint]
    pads: Mapping[Pair, Pad]
    stops: dict[str, tuple[frozenset[int], ...]]
    nearest: tuple[tuple[str, ...], ...]
    _first: dict[int, Drawn | None] = field(default_factory=dict)
    _then: dict[tuple[int, str], frozenset[int]] = field(default_factory=dict)

    def drawn_off(self, unit: int) -> Drawn | None:
        """How a unit comes off its joints, and who stops it on that way.

        None for one without a joint, or with joints that do not come off together to one side.
        """
        if unit not in self._first:
            self._first[unit] = self._drawn_off(unit)
        return self._first[unit]

    def then_to(self, unit: int, other: str) -> frozenset[int]:
        """Who stops a unit that was drawn off its joints on its way on to a side, or before."""
        drawn = self.drawn_off(unit)
        if drawn is None:
            raise ValueError("no joint")
        if (unit, other) not in self._then:
            movers = set(self.units[unit].bodies)
            away = self.solids.shifted(self.units[unit].bodies, drawn.way * SIDES[drawn.side])
            free = frozenset(pair for pair in (*self.joints, *self.pads) if pair[0] in movers)
            rows, others = self._rows(unit)
            then = _stopped(self, away, rows, others, SIDES[other], _reach(self.solids), released=free)
            self._then[unit, other] = drawn.stops | {j for _, j in then}
        return self._then[unit, other]

    def _drawn_off(self, unit: int) -> Drawn | None:
        movers = set(self.units[unit].bodies)
        own = [joint for (i, j), joint in self.joints.items() if i in movers and j not in movers]
        sides = [s for s, way in SIDES.items() if all(float(one.leaves @ way) >= ALONG for one in own)]
        if not own or not sides:
            return None
        (side,), way = sides, max(joint.depth for joint in own) + SPARE
        always = frozenset[int].intersection(*(self.stops[side][unit] for side in SIDES))
        rows, others = self._rows(unit)
        first = {j for _, j in _stopped(self, self.solids, rows, others, SIDES[side], way)}
        return Drawn(side, way, frozenset(first) | always)

    def _rows(self, unit: int) -> tuple[np.ndarray, np.ndarray]:
        """Rows of the pieces of a unit, and of all others."""
        owner = _owners(self)
        return np.flatnonzero(owner == unit), np.flatnonzero((owner != unit) & (owner >= 0))


def blocking(
    solids: Bodies,
    units: Sequence[Unit],
    joints: Sequence[Joint],
    pads: Sequence[Pad],
    tied: Collection[tuple[int, int]] = (),
) -> Blocking:
    """Ask every pair of units that may meet.

    Args:
        joints, pads: of all bodies, each both ways round.
        tied: (i, j): i goes nowhere before j is gone.
    """
    stops = {side: [set[int]() for _ in units] for side in SIDES}
    low, high = solids.body_bounds[:, 0].min(axis=0), solids.body_bounds[:, 1].max(axis=0)

    def way(unit: Unit, side: str) -> float:
        around = solids.body_bounds[list(unit.bodies)]
        return float(
            max(
                (high - around[:, 0].min(axis=0)) @ SIDES[side],
                (low - around[:, 1].max(axis=0)) @ SIDES[side],
            )
        )

    nearest = tuple(tuple(sorted(SIDES, key=lambda side: way(unit, side))) for unit in units)
    bare = Blocking(
        solids, tuple(units), {one.pair: one for one in joints}, {one.pair: one for one in pads}, {}, nearest
    )
    rows = np.flatnonzero(_owners(bare) >= 0)
    for side in ("right", "rear", "top"):
        for i, j in _stopped(bare, solids, rows, rows, SIDES[side], _reach(solids)):
            stops[side][i].add(j)
            stops[OPPOSITE[side]][j].add(i)
    for i, j in tied:
        for side in SIDES:
            stops[side][i].add(j)
    return Blocking(
        solids, bare.units, bare.joints, bare.pads,
        {side: tuple(map(frozenset, found)) for side, found in stops.items()}, nearest,
    )  # fmt: skip


def _reach(solids: Bodies) -> float:
    """Farther than anything has to go, mm."""
    return float(np.ptp(solids.body_bounds.reshape(-1, 3), axis=0).max()) + 1.0


def _owners(blocks: Blocking) -> np.ndarray:
    """(n,) the unit of each piece, -1 for none."""
    of_body = np.full(len(blocks.solids), -1)
    for i, unit in enumerate(blocks.units):
        of_body[list(unit.bodies)] = i
    return np.asarray(of_body[blocks.solids.body])


def _stopped(
    blocks: Blocking,
    solids: Bodies,
    movers: np.ndarray,
    stayers: np.ndarray,
    towards: np.ndarray,
    limit: float,
    released: frozenset[Pair] = frozenset(),
) -> set[tuple[int, int]]:
    """Pairs of units of which the first runs into the second, or is held by it, on its way to a side.

    Args:
        movers, stayers: rows of pieces.
        released: pairs of bodies that are joined or pressed together no more.
    """
    owner = _owners(blocks)
    fixed = np.array([unit.fixed for unit in blocks.units])
    room = np.empty((len(movers) * len(stayers), 2), np.int64)
    enters = np.empty(len(room))
    # Whole boxes, not less a contact: what touches already may press.
    count = met_on_the_way(solids.bounds, movers, stayers, towards, limit, 0.0, room, enters)
    order = np.argsort(enters[:count], kind="stable")
    pairs = room[:count][order]
    a, b = owner[pairs[:, 0]], owner[pairs[:, 1]]
    pairs = pairs[(a != b) & ~(fixed[a] & fixed[b])]
    found, pairs = _held(blocks, solids, owner, pairs, towards, released)
    simple = (solids.kinds[pairs] != Kind.MESH).all(axis=1)
    found |= _met(solids, owner, pairs[simple], towards, limit, found)
    for i, j in pairs[~simple].tolist():
        pair = int(owner[i]), int(owner[j])
        if pair not in found and (
            moves.interfere(solids, i, j) or moves.slide(solids, i, j, towards, limit) < limit
        ):
            found.add(pair)
    return found


def _met(
    solids: Bodies,
    owner: np.ndarray,
    pairs: np.ndarray,
    towards: np.ndarray,
    limit: float,
    known: set[tuple[int, int]],
) -> set[tuple[int, int]]:
    """Pairs of units of which a box or cylinder runs into one; of each the first few are asked first."""
    count = len(owner) + 1
    code = owner[pairs[:, 0]] * count + owner[pairs[:, 1]]
    open_ = ~np.isin(code, [i * count + j for i, j in known])
    pairs, code = pairs[open_], code[open_]
    found: set[tuple[int, int]] = set()
    lot = 1
    while len(pairs):
        rank = _rank(code)
        now = rank < lot
        ways = kernels.travel_pairs(
            solids.kinds, solids.halves, solids.rotations, solids.centres, pairs[now], towards, limit, CONTACT
        )
        hit = sorted(set(code[now][ways < np.inf].tolist()))
        found |= {divmod(one, count) for one in hit}
        left = ~now & ~np.isin(code, hit)
        pairs, code, lot = pairs[left], code[left], 4 * lot
    return found


def _rank(code: np.ndarray) -> np.ndarray:
    """(k,) how many before each have the same code."""
    order = np.argsort(code, kind="stable")
    ordered = code[order]
    starts = np.flatnonzero(np.r_[True, ordered[1:] != ordered[:-1]])
    rank = np.empty(len(code), int)
    rank[order] = np.arange(len(code)) - np.repeat(starts, np.diff(np.r_[starts, len(code)]))
    return rank


def _held(
    blocks: Blocking,
    solids: Bodies,
    owner: np.ndarray,
    pairs: np.ndarray,
    towards: np.ndarray,
    released: frozenset[Pair],
) -> tuple[set[tuple[int, int]], np.ndarray]:
    """Units held by a joint or a pad to this side, and the pairs of pieces that are not so connected."""
    held = sorted({*blocks.joints, *blocks.pads} - released)
    count = len(solids) + 1
    code = solids.body[pairs[:, 0]] * count + solids.body[pairs[:, 1]]
    connected = np.isin(code, [i * count + j for i, j in held])
    found = set()
    for one in sorted(set(code[connected].tolist())):
        pair = divmod(one, count)
        joint, pad = blocks.joints.get(pair), blocks.pads.get(pair)
        if (joint is not None and float(joint.leaves @ towards) < ALONG) or (
            pad is not None and float(pad.normal @ towards) > FACES
        ):
            i, j = (int(owner[solids.all[body].pieces.start]) for body in pair)
            found.add((i, j))
    return found, pairs[~connected]
