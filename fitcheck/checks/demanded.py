"""What the other checks demand of pieces that move, as distances of pairs and as lengths along an axis.

Asked at other values of the measurements: least distances and interferences of pairs of solids, solids
and keep-clear volumes, parts in their compartments, room beside parts, free travel. What does not move
against each other is left to its own check.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from fitcheck.checks.clearance import ClearanceRule, demanded
from fitcheck.checks.containment import claimed
from fitcheck.checks.gap_lengths import gap_lengths
from fitcheck.checks.joined_lengths import joined_lengths
from fitcheck.checks.room_lengths import room_lengths
from fitcheck.checks.verdicts import ROUNDING
from fitcheck.tolerances.between import along, candidates, farthest
from fitcheck.tolerances.margins import Demand, Demands
from fitcheck.tolerances.movement import STILL, Movement
from fitcheck.tolerances.turned import as_bodies, lowest, strays
from fitcheck.world.bodies import bounds_gap
from fitcheck.world.contacts import allowed
from fitcheck.world.engine import CONTACT
from fitcheck.world.frames import SIDES

# Pairs are followed that may come as near as this to their demand, mm: for the ranking of margins.
SPARE = 2.0


@dataclass
class _Gathered:
    """Demands as they are found."""

    move: Movement
    all: list[Demand] = field(default_factory=list)
    pairs: list[np.ndarray] = field(default_factory=list)
    pair_of: list[int] = field(default_factory=list)
    here: list[float] = field(default_factory=list)
    slope: list[np.ndarray] = field(default_factory=list)
    length_of: list[int] = field(default_factory=list)
    sure: list[bool] = field(default_factory=list)
    ends: list[np.ndarray] = field(default_factory=list)
    towards: list[np.ndarray] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)
    joined: list[tuple[int, int]] = field(default_factory=list)

    def demand(self, one: Demand) -> int:
        self.all.append(one)
        return len(self.all) - 1

    def finished(self) -> Demands:
        k = len(self.move.measurements)
        pairs, pair_of = np.concatenate([np.zeros((0, 2), int), *self.pairs]), np.array(self.pair_of, int)
        near = _may_come_near(self.move, pairs, [self.all[of] for of in self.pair_of])
        return Demands(
            tuple(self.all),
            pairs[near],
            pair_of[near],
            np.array(self.here, float),
            np.array(self.slope, float).reshape(len(self.slope), k),
            np.array(self.length_of, int),
            np.array(self.sure, bool),
            np.array(self.ends, int).reshape(len(self.ends), 2),
            np.array(self.towards, float).reshape(len(self.towards), 3),
            tuple(self.left_out),
        )


def _may_come_near(move: Movement, pairs: np.ndarray, demands: list[Demand]) -> np.ndarray:
    """(q,) pairs of rows that their own axes do not prove to stay farther apart than is of interest.

    Of what is meant to touch only that it is not missed is of interest: depths of meshes take long.
    """
    enough = np.array([one.required + (-one.slack if one.contact else SPARE) for one in demands])
    tries = candidates(move, pairs)
    count, each = tries.shape[:2]
    least = along(move, np.repeat(pairs, each, axis=0), tries.reshape(-1, 3)).least(move.low, move.high)
    unheld = (move.deforms[pairs] & (move.pieces.covers[pairs] == pairs)).any(axis=1)
    apart_at_least = np.where(unheld, -np.inf, least.reshape(count, each).max(axis=1))
    turns = move.turns(pairs).any(axis=1) & ~unheld
    if turns.any():
        none = np.full((int(turns.sum()), 3), np.nan)
        apart_at_least[turns] = lowest(move, pairs[turns], move.low, move.high, none)
    near = np.asarray(apart_at_least < enough)
    if "tolerance" not in move.world.rules:
        # Their depths take a second each: only for those who ask.
        near &= ~(unheld & np.array([one.contact for one in demands], bool))
    return near


def demands_of(move: Movement) -> Demands:
    """All demands of a world on what its measurements move, within reach of their ranges."""
    gathered = _Gathered(move)
    motion = _motion(move)
    _of_solids(gathered, motion)
    _of_volumes(gathered, motion)
    _of_compartments(gathered)
    for demand, here, slope, sure, ends, towards in (
        *joined_lengths(move, gathered.joined, gathered.left_out),
        *room_lengths(move, gathered.left_out),
        *gap_lengths(move, gathered.left_out),
    ):
        gathered.length_of += [gathered.demand(demand)] * len(here)
        gathered.here += here.tolist()
        gathered.slope += list(slope)
        gathered.sure += sure.tolist()
        gathered.ends += list(ends)
        gathered.towards += [towards] * len(here)
    return gathered.finished()


@dataclass(frozen=True, eq=False)
class _Motion:
    """How bodies move: least and most slope of their middles (m, k, 3), growth (m, k), what deforms.

    Of a scene in which something turns also which bodies do, how far each moves at most, mm, and as
    what (m,): those that keep their shape and move as one body have the same number.
    """

    least: np.ndarray
    most: np.ndarray
    grows: np.ndarray
    loose: np.ndarray
    reach: np.ndarray
    turns: np.ndarray
    strays: np.ndarray
    moves_as: np.ndarray

    def against(self, i: np.ndarray, j: np.ndarray) -> np.ndarray:
        """How far pairs of bodies may move against each other at most, mm; nan where they do not."""
        ways = np.maximum(self.most[i] - self.least[j], self.most[j] - self.least[i])
        rate = np.linalg.norm(np.maximum(ways, 0.0), axis=2) + self.grows[i] + self.grows[j]
        # What changes its shape moves at least as its bounds do; its holes may move as the measurement does.
        rate = rate + self.loose[i] + self.loose[j]
        far = (rate * self.reach).sum(axis=1)
        turns = self.turns[i] | self.turns[j]
        together = self.moves_as[i] == self.moves_as[j]
        far = np.where(turns, np.where(together, 0.0, self.strays[i] + self.strays[j]), far)
        return np.where(far <= STILL, np.nan, far)


def _motion(move: Movement) -> _Motion:
    bodies = move.pieces.all
    starts = np.array([body.pieces.start for body in bodies.all], int)
    centres = move.centres.transpose(1, 0, 2)
    grows = np.linalg.norm(move.halves, axis=2).T
    reach = np.maximum(np.abs(move.low), np.abs(move.high))
    turns = np.logical_or.reduceat(move.turns(np.arange(len(bodies.kinds))), starts)
    return _Motion(
        np.minimum.reduceat(centres, starts, axis=0),
        np.maximum.reduceat(centres, starts, axis=0),
        np.maximum.reduceat(grows, starts, axis=0),
        np.logical_or.reduceat(move.deforms, starts)[:, None],
        reach,
        turns,
        np.maximum.reduceat(strays(move), starts) if turns.any() else np.zeros(len(starts)),
        as_bodies(move) if turns.any() else np.arange(len(starts)),
    )


def _of_solids(gathered: _Gathered, motion: _Motion) -> None:
    """Solids of different parts: the clearance demanded, or at least no interference."""
    move = gathered.move
    bodies, world, count = move.pieces.all, move.world, move.pieces.solids
    first, second = np.triu_indices(count, 1)
    different = bodies.body_parts[first] != bodies.body_parts[second]
    first, second = first[different], second[different]
    far = motion.against(first, second)
    moving = ~np.isnan(far)
    first, second, far = first[moving], second[moving], far[moving]
    gap = bounds_gap(bodies.body_bounds[first], bodies.body_bounds[second])
    close = gap <= _most_demanded(move) + far + SPARE
    pairs = list(zip(first[close].tolist(), second[close].tolist(), strict=True))
    for (i, j), (required, rule), way in zip(
        pairs, demanded(world, bodies, pairs), far[close].tolist(), strict=True
    ):
        a, b = bodies.all[i], bodies.all[j]
        permission = allowed(world, a, b)
        if permission is not None and permission.zone is not None:
            gathered.joined.append((i, j))
            continue
        slack = ROUNDING if rule else CONTACT
        touching = permission is not None
        if permission is not None:
            required, rule, slack = -permission.gives, "", CONTACT
        check = "clearance" if rule else "interference"
        names = (a.part_name, b.part_name)
        _add_pairs(
            gathered, (i, j), way, Demand(check, names, (a.name, b.name), required, slack, rule, touching)
        )


def _most_demanded(move: Movement) -> float:
    rule = ClearanceRule.model_validate(move.world.rules.get("clearance", {}))
    return max([rule.default, *(pair.at_least for pair in rule.pairs)])


def _add_pairs(gathered: _Gathered, pair: tuple[int, int], way: float, demand: Demand) -> None:
    """All pairs of pieces of two bodies that may come near their demand."""
    bodies = gathered.move.pieces.all
    a, b = bodies.all[pair[0]].pieces, bodies.all[pair[1]].pieces
    rows = np.array([(m, n) for m in range(a.start, a.stop) for n in range(b.start, b.stop)])
    gap = bounds_gap(bodies.bounds[rows[:, 0]], bodies.bounds[rows[:, 1]])
    rows = rows[gap <= demand.required + way + SPARE]
    if len(rows):
        gathered.pairs.append(rows)
        gathered.pair_of += [gathered.demand(demand)] * len(rows)


def _of_volumes(gathered: _Gathered, motion: _Motion) -> None:
    """Keep-clear volumes and every solid that has no leave to be in them."""
    move = gathered.move
    bodies, count = move.pieces.all, move.pieces.solids
    names = np.array([body.part_name for body in bodies.all[:count]])
    for (part, name), volume in move.pieces.kept.items():
        others = np.flatnonzero(names != part)
        far = motion.against(np.full(len(others), volume), others)
        gap = bounds_gap(bodies.body_bounds[volume], bodies.body_bounds[others])
        close = gap <= far + SPARE  # never of what does not move: far is nan
        if not close.any():
            continue
        mine = [bodies.all[k] for k in np.flatnonzero(names == part).tolist()]
        for k, way in zip(others[close].tolist(), far[close].tolist(), strict=True):
            body, volume_name = bodies.all[k], f"{part}.{name}"
            if not any(allowed(move.world, body, one) for one in mine):
                names_of = (body.part_name, volume_name)
                demand = Demand("keep_clear", names_of, (body.name, volume_name), 0.0, CONTACT)
                _add_pairs(gathered, (k, volume), way, demand)


def _of_compartments(gathered: _Gathered) -> None:
    """Each part that claims a compartment against its six walls; what turns against what is beyond them."""
    move = gathered.move
    bodies = move.pieces.all
    for name, room, parts in claimed(move.world):
        rows = bodies.rows([k for k, b in enumerate(bodies.all) if b.part_name in {p.name for p in parts}])
        wall = bodies.all[move.pieces.rooms[room]].pieces.start
        held = np.where(move.deforms[rows], move.pieces.covers[rows], rows)
        if (move.deforms[held]).any():
            gathered.left_out.append(f"containment of {name}: a mesh of it changes its shape")
        demand: int | None = None
        turning = move.turns(rows) & ~move.deforms[held]
        if turning.any():
            demand = gathered.demand(Demand("containment", (name, room), (name, room), 0.0, CONTACT))
            beyond = [bodies.all[k].pieces.start for k in move.pieces.walls[room]]
            gathered.pairs.append(np.array([(row, end) for row in held[turning] for end in beyond]))
            gathered.pair_of += [demand] * (int(turning.sum()) * len(beyond))
        held = held[~turning]
        for direction in SIDES.values() if len(held) else ():
            out, out_slope = farthest(move, held, np.tile(direction, (len(held), 1)))
            end, end_slope = farthest(move, np.array([wall]), direction[None])
            spare, slope = end - out, end_slope - out_slope
            moving = np.abs(slope).max(axis=1, initial=0.0) > STILL
            near = list(_near_walls(move, spare, slope, moving))
            if near:
                if demand is None:
                    demand = gathered.demand(Demand("containment", (name, room), (name, room), 0.0, CONTACT))
                gathered.length_of += [demand] * len(near)
                gathered.here += spare[near].tolist()
                gathered.slope += list(slope[near])
                gathered.sure += [True] * len(near)
                gathered.ends += [np.array([-1, -1])] * len(near)
                gathered.towards += [direction] * len(near)


def _near_walls(move: Movement, spare: np.ndarray, slope: np.ndarray, moving: np.ndarray) -> Iterator[int]:
    """Of lengths to one wall those that may be the least: all others stay longer."""
    if not moving.any():
        return
    low = spare + np.minimum(slope * move.low, slope * move.high).sum(axis=1)
    high = spare + np.maximum(slope * move.low, slope * move.high).sum(axis=1)
    yield from np.flatnonzero(moving & (low <= high.min()) & (low <= SPARE)).tolist()
