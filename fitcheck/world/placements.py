"""Many placements of a few bodies among others: which interfere, how near is each to the others?

What a placement leaves as it is is asked once. Boxes and cylinders are answered by one kernel for all
placements. For meshes what is known of one placement bounds the next: no distance changes by more than
the bodies move against each other, and bodies whose surfaces do not meet on the way stay apart, or one in
the other. Only where these bounds leave it open are triangles asked.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence

import numpy as np

from fitcheck.world import pairs, trees
from fitcheck.world.bodies import Bodies, near
from fitcheck.world.couples import MESH, Couples
from fitcheck.world.engine import measure
from fitcheck.world.kernels.bodies import Bodies as Pieces
from fitcheck.world.kernels.bodies import make_scratch
from fitcheck.world.kernels.survey import survey
from fitcheck.world.memory import REMEMBERED, Memory, surely_deep
from fitcheck.world.nested import inside
from fitcheck.world.pairs import CONTACT, FLUSH, TOUCHING, measure_rows
from fitcheck.world.portion import Near, Portion

# Placements asked in one go: first few, so that the next have something to start from.
FIRST, MOST = 16, 4096
# Rows of one go, at most: placements times pairs.
ROWS = 400_000
# A distance asked for is worth more to later placements if it is known so far, mm.
KNOWN_TO = 20.0
# Bounds are kept off their own rounding, mm.
ROUNDING = 1e-7


class Placements:
    """Groups of bodies that take many placements among the others.

    Args:
        bodies: all, as they stand.
        groups: indices of the bodies that move together, for each group.
        left_out: pairs of bodies (the lower first) that are not asked: those that may touch.

    A mesh that is not closed has no inside: what may lie in it counts as free here; the checks say `unknown`.
    """

    def __init__(
        self, bodies: Bodies, groups: Sequence[Collection[int]], left_out: Collection[tuple[int, int]] = ()
    ) -> None:
        self.bodies = bodies
        self.groups = [sorted(group) for group in groups]
        group_of = np.full(len(bodies), -1)
        for k, group in enumerate(self.groups):
            group_of[group] = k
        i, j = np.nonzero(np.triu(bodies.body_parts[:, None] != bodies.body_parts, 1))
        moves = (group_of[i] != group_of[j]) & ((group_of[i] >= 0) | (group_of[j] >= 0))
        out = set(left_out)
        asked = [pair for pair in zip(i[moves].tolist(), j[moves].tolist(), strict=True) if pair not in out]
        self._pairs = self._piece_pairs(np.array(asked, int).reshape(-1, 2))
        self._left_out = out
        self._group_of = group_of
        piece_group = group_of[bodies.body]
        self._movers = np.flatnonzero(piece_group >= 0)
        self._mover_groups = piece_group[self._movers]
        frames = np.ascontiguousarray(bodies.rotations, float)
        self._own = Pieces(bodies.kinds.astype(np.int64), np.ascontiguousarray(bodies.halves, float), frames)
        self._memories: dict[tuple[int, int], Memory] = {}
        self._trees: dict[int, trees.Tree] = {}

    # --- questions ---

    def interfere(self, turns: np.ndarray, shifts: np.ndarray) -> np.ndarray:
        """Which placements have two bodies deeper in each other than a contact.

        Args:
            turns, shifts: (l, g, 3, 3) and (l, g, 3) of each group in each placement: world_from_world.

        Returns:
            (l,) bool.
        """
        found = np.zeros(len(turns), bool)
        if self.still(0.0).interferes.any():
            return np.ones(len(turns), bool)
        for part in self._portions(len(turns), 0.0, turns, shifts):
            found[part.numbers] = part.clashing
            for chosen, which, lower in part.meshed():
                open_ones = ~found[part.numbers[chosen]]
                chosen, lower = chosen[open_ones], lower[open_ones]
                if len(chosen):
                    clash, _ = self._mesh_pair(part, which, chosen, lower, 0.0)
                    found[part.numbers[chosen[clash]]] = True
        return found

    def near(self, turns: np.ndarray, shifts: np.ndarray, within: float, free_only: bool = False) -> Near:
        """Distances of all pairs with a body that moves, nearer than `within`, mm.

        Those of bodies that stay are the same in all placements: `still` gives them.

        Args:
            turns, shifts: as for `interfere`.
            within: mm.
            free_only: measure only placements that have no interference.
        """
        left = np.arange(len(turns))
        if free_only:
            left = left[~self.interfere(turns, shifts)]
        rows = [Near(np.empty(0, int), np.empty((0, 2), int), np.empty(0), np.empty(0, bool))]
        for part in self._portions(len(left), within, turns[left], shifts[left]):
            rows.append(part.plain())
            for chosen, which, lower in part.meshed():
                clash, distance = self._mesh_pair(part, which, chosen, lower, within)
                close = (distance <= within) | clash
                pair = np.broadcast_to(part.bodies_of(which), (int(close.sum()), 2))
                rows.append(Near(part.numbers[chosen[close]], pair, distance[close], clash[close]))
        found = Near(*(np.concatenate(column) for column in zip(*rows, strict=True)))
        return self._by_bodies(found._replace(placement=left[found.placement]))

    def still(self, within: float) -> Near:
        """Pairs of bodies that stay, nearer than `within`: once for all placements, their number -1."""
        stay = self._group_of < 0
        chosen = [
            (i, j)
            for i, j in near(self.bodies, within).tolist()
            if (i, j) not in self._left_out
            and ((stay[i] and stay[j]) or self._group_of[i] == self._group_of[j])
        ]
        measured = measure(self.bodies, chosen, within)
        kept = [(pair, m) for pair, m in zip(chosen, measured, strict=True) if not m.beyond]
        return Near(
            np.full(len(kept), -1),
            np.array([pair for pair, _ in kept], int).reshape(-1, 2),
            np.array([m.distance for _, m in kept]),
            np.array([m.interferes for _, m in kept], bool),
        )

    # --- how they are asked ---

    def _piece_pairs(self, asked: np.ndarray) -> np.ndarray:
        """(p, 2) pairs of pieces: boxes first, then cylinders, then meshes, which take longest."""
        pieces = [np.arange(body.pieces.start, body.pieces.stop) for body in self.bodies.all]
        rows = [np.stack(np.meshgrid(pieces[i], pieces[j]), -1).reshape(-1, 2) for i, j in asked.tolist()]
        flat = np.concatenate([np.empty((0, 2), int), *rows])
        hardest = self.bodies.kinds[flat].max(axis=1, initial=0)
        return np.ascontiguousarray(flat[np.argsort(hardest, kind="stable")], np.int64)

    def _portions(self, count: int, reach: float, turns: np.ndarray, shifts: np.ndarray) -> Iterator[Portion]:
        turns, shifts = np.ascontiguousarray(turns, float), np.ascontiguousarray(shifts, float)
        begun, size = 0, FIRST
        while begun < count:
            numbers = np.arange(begun, min(begun + size, count))
            rows = self._possible(turns[numbers], shifts[numbers], reach)
            numbers = numbers[: max(1, ROWS // max(len(rows), 1))]
            yield self._asked(numbers, rows, reach, turns[numbers], shifts[numbers])
            begun = int(numbers[-1]) + 1
            size = min(size * 4, MOST)

    def _possible(self, turns: np.ndarray, shifts: np.ndarray, reach: float) -> np.ndarray:
        """Pairs whose bounds come within reach in any of these placements, if bounds are taken together."""
        low, high = self.bodies.bounds[:, 0].copy(), self.bodies.bounds[:, 1].copy()
        middles = self.bodies.centres
        for k, row in enumerate(self._movers.tolist()):
            group = self._mover_groups[k]
            centres = turns[:, group] @ middles[row] + shifts[:, group]
            extent = self.bodies.rotations[row] * self.bodies.halves[row]
            out = np.abs(turns[:, group] @ extent).sum(axis=-1)
            low[row], high[row] = (centres - out).min(axis=0), (centres + out).max(axis=0)
        i, j = self._pairs[:, 0], self._pairs[:, 1]
        apart = np.maximum(low[i] - high[j], low[j] - high[i]).max(axis=1, initial=-np.inf)
        return np.ascontiguousarray(self._pairs[apart <= reach])

    def _asked(
        self, numbers: np.ndarray, rows: np.ndarray, reach: float, turns: np.ndarray, shifts: np.ndarray
    ) -> Portion:
        own, count = self._own, len(numbers)
        frames, centres = own.frames.copy(), np.ascontiguousarray(self.bodies.centres.copy(), float)
        bounds = np.ascontiguousarray(self.bodies.bounds.copy(), float)
        meshed = (own.kinds[rows] == MESH).any(axis=1).astype(np.int64)
        boxes = Pieces(np.where(own.kinds == MESH, 0, own.kinds), own.halves, frames)
        clashing = np.zeros(count, np.int64)
        found = np.empty((count * len(rows), 2), np.int64)
        figures = np.empty((count * len(rows), 2))
        many = survey(
            Pieces(own.kinds, own.halves, frames), centres, bounds, boxes, own,
            np.ascontiguousarray(self.bodies.centres, float), self._movers.astype(np.int64),
            self._mover_groups.astype(np.int64), rows, meshed,
            np.ascontiguousarray(turns), np.ascontiguousarray(shifts),
            float(reach), CONTACT, FLUSH, int(reach == 0.0), make_scratch(), clashing, found, figures,
        )  # fmt: skip
        return Portion(
            self.bodies,
            self._group_of,
            numbers,
            rows,
            meshed,
            clashing > 0,
            found[:many],
            figures[:many],
            turns,
            shifts,
        )

    def _by_bodies(self, found: Near) -> Near:
        """The least of all pairs of pieces of two bodies."""
        order = np.lexsort((found.distance, ~found.interferes, *found.bodies.T[::-1], found.placement))
        keys = np.column_stack([found.placement, found.bodies])[order]
        first = np.ones(len(order), bool)
        first[1:] = (keys[1:] != keys[:-1]).any(axis=1)
        return Near(*(column[order[first]] for column in found))

    # --- meshes ---

    def _mesh_pair(
        self, part: Portion, which: int, chosen: np.ndarray, lower: np.ndarray, reach: float
    ) -> tuple[np.ndarray, np.ndarray]:
        """One pair of pieces in many placements.

        Returns:
            (q,) whether they interfere, and (q,) their distance, inf where it is beyond reach.
        """
        i, j = part.pairs[which].tolist()
        couples = part.couples(which, chosen)
        first, second = int(couples.which[0, 0]), int(couples.which[0, 1])
        memory = self._memories.get((i, j))
        if memory is None:
            row = (j, i)[int(couples.swapped[0])]
            memory = self._memories[i, j] = Memory.of(self.bodies.halves[row])
        clash, distance = np.zeros(len(chosen), bool), np.full(len(chosen), np.inf)
        free = np.zeros(len(chosen), bool)
        at_most = np.full(len(chosen), np.inf)
        left = np.arange(len(chosen))
        if memory.count:
            moved = memory.moved(couples.rotations, couples.shifts)
            known = memory.count
            bounds = (memory.least[:known] - moved).max(axis=1) - ROUNDING
            free = bounds > 0.0
            lower = np.maximum(lower, bounds)
            clash = ((memory.deep[:known] - moved) > CONTACT + ROUNDING).any(axis=1)
            distance[clash] = 0.0
            beyond = free & (lower > reach) if reach > 0 else free
            left = np.flatnonzero(~clash & ~beyond)
            at_most = (memory.most[:known] + moved).min(axis=1) + ROUNDING
        if not len(left):
            return clash, distance
        ask = reach if reach > 0 else KNOWN_TO
        limits = np.minimum(ask, at_most[left])
        found, points = pairs.nearest(couples, lower[left], np.arange(len(left)), limits, left)
        most = np.where(np.isnan(points[:, 0, 0]), np.inf, found)
        distance[left] = most
        settled = (found > TOUCHING) & free[left]
        for at in np.flatnonzero(~settled | (memory.count < REMEMBERED)).tolist():
            k = int(left[at])
            place = couples.rotations[k], couples.shifts[k]
            if settled[at] or (found[at] > TOUCHING and self._is_free(couples, k, first, second)):
                memory.add(*place, float(found[at]), float(most[at]))
                continue
            clash[k], distance[k] = self._decided(part, which, int(chosen[k]), couples, k, memory)
        return clash, distance

    def _decided(
        self, part: Portion, which: int, placement: int, couples: Couples, k: int, memory: Memory
    ) -> tuple[bool, float]:
        """Whether a pair whose surfaces meet, or of which one lies in the other, interferes; its distance."""
        place = couples.rotations[k], couples.shifts[k]
        known = memory.count
        if known:
            moved = memory.moved(place[0][None], place[1][None])[0]
            if ((memory.deep[:known] - moved) > CONTACT + ROUNDING).any():
                return True, 0.0
        first, second = (couples.trees[at] for at in couples.which[0].tolist())
        deep = surely_deep(first, second, trees.Pose(*place))
        if deep > CONTACT + ROUNDING:
            memory.add(*place, -np.inf, np.inf, deep)
            return True, 0.0
        bodies = part.two_of(which, np.array([placement]))
        found = measure_rows(bodies, np.array([[0, 1]]), np.zeros(1, int), np.array([KNOWN_TO]))[0]
        return found.interferes, found.distance

    def _is_free(self, couples: Couples, k: int, first: int, second: int) -> bool:
        pose = trees.Pose(couples.rotations[k], couples.shifts[k])
        return inside(couples.trees[first], couples.trees[second], pose) is False
