"""Pairs with a mesh, all over a part of the ranges: is a demand surely met, or surely missed?

No move of two pieces against each other changes their distance by more than its length, nor how deep a
ball lies in both. So what is measured in the middle of a part decides all of it, if it meets or misses
the demand by more than the pieces can move from there (`between.rates`). Depths that the engine gives of
meshes are ways out, and prove nothing; a ball that both hold does: they are as deep in each other as it
is wide. Of meshes that change their shape, `held.py` has what holds them and what they hold.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from fitcheck.parts.solids import Kind, Piece
from fitcheck.tolerances.between import along, candidates
from fitcheck.tolerances.held import Held
from fitcheck.tolerances.movement import Movement
from fitcheck.tolerances.piercing import pierces_by
from fitcheck.world.bodies import Bodies, bodies, with_probes
from fitcheck.world.engine import CONTACT, measure
from fitcheck.world.pairs import apart_by
from fitcheck.world.volumes import joined, widest_ball
from fitcheck.world.world import World

# Parts of the other measurements' ranges that are looked at for one pair and part of the range, at most.
PARTS = 60
# Solids that are held against each other for one range, at most: some milliseconds each.
QUESTIONS = 1_000
# Beyond what is asked a ball is not looked for, mm.
MORE = 1e-3

_NOTHING = World("", ())


@dataclass(eq=False)
class Throughout:
    """Questions about pairs of rows of which at least one is a mesh."""

    move: Movement
    held: Held = field(init=False)
    worst: dict[tuple[int, int], np.ndarray] = field(default_factory=dict)
    questions: int = 0

    def __post_init__(self) -> None:
        self.held = Held(self.move)

    def why_not(self, pair: tuple[int, int]) -> str:
        """What keeps a pair from being decided at all; empty if nothing does."""
        for row in pair:
            if self.move.deforms[row] and not self.held.is_followed(row):
                return "a mesh of theirs changes its shape in a way that is not followed"
            mesh = self.move.pieces.all.meshes[row]
            if mesh is not None and not mesh.closed:
                return "a mesh of theirs is not closed"
        return "the range was not halved any further" if self.questions > QUESTIONS else ""

    def may_tell(self, pair: tuple[int, int], least: float) -> bool:
        """Whether a smaller part may decide what a larger one does not."""
        followed = all(not self.move.deforms[row] or self.held.is_followed(row) for row in pair)
        if not followed or self.questions > QUESTIONS:
            return False
        return least >= -CONTACT or not self.why_not(pair)

    def met(self, pair: tuple[int, int], least: float, low: np.ndarray, high: np.ndarray, along: int) -> bool:
        """Whether a pair is proved at least so far apart (below 0: no deeper in each other) all over a part.

        Args:
            least: mm.
            low, high: (k,) offsets; the part is halved across all measurements but `along`.
        """
        parts = [(low, high)]
        rate = self._rate(pair).copy()
        rate[along] = 0.0
        looked = 0
        while parts:
            part = parts.pop()
            looked += 1
            if self._met(pair, least, *part):
                continue
            width = rate * (part[1] - part[0])
            if looked + len(parts) >= PARTS or width.max() < MORE or self.questions > QUESTIONS:
                return False
            if looked == 1 and self._missed_in_the_middle(pair, least, low, high, along):
                return False
            cut = int(width.argmax())
            middle = (part[0][cut] + part[1][cut]) / 2
            below, above = part[1].copy(), part[0].copy()
            below[cut] = above[cut] = middle
            parts += [(above, part[1]), (part[0], below)]
        return True

    def missed(
        self, pair: tuple[int, int], least: float, low: np.ndarray, high: np.ndarray, along: int
    ) -> bool:
        """Whether a pair is proved nearer than that (below 0: deeper) at every value of one measurement.

        Args:
            along: which one; the others are where the pair is nearest, as far as was found.
        """
        pinned_low, pinned_high = low.copy(), high.copy()
        free = [k for k in np.flatnonzero((high > low) & (self._rate(pair) > 0)).tolist() if k != along]
        if free:
            known = self.worst.get(pair)
            corner = known if known is not None else self._nearest(pair, low, high, free)
            self.worst[pair] = corner
            pinned_low[free] = pinned_high[free] = np.clip(corner, low, high)[free]
        return self._missed(pair, least, pinned_low, pinned_high)

    def _missed_in_the_middle(
        self, pair: tuple[int, int], least: float, low: np.ndarray, high: np.ndarray, along: int
    ) -> bool:
        """Whether there is nothing to prove: it is missed in the middle, the others at their worst."""
        first, last = low.copy(), high.copy()
        first[along] = last[along] = (low[along] + high[along]) / 2
        return self.missed(pair, least, first, last, along)

    # --- one part ---

    def _met(self, pair: tuple[int, int], least: float, low: np.ndarray, high: np.ndarray) -> bool:
        if self._by_direction(pair, least, low, high, None):
            return True
        two = self._two(pair, low, high, inside=False)
        if two is None:
            return False
        strays = self._rate(pair) @ (high - low) / 2
        distance = float(apart_by(two, np.array([[0, 1]]))[0])
        if np.isnan(distance):
            return False
        if distance > 0 and distance - strays >= least:
            return True
        if distance <= 0:
            return False
        (found,) = measure(two, [(0, 1)])
        return self._by_direction(pair, least, low, high, found.normal)

    def _missed(self, pair: tuple[int, int], least: float, low: np.ndarray, high: np.ndarray) -> bool:
        two = self._two(pair, low, high, inside=True)
        if two is None:
            return False
        strays = float(self._rate(pair) @ (high - low)) / 2
        distance = float(apart_by(two, np.array([[0, 1]]))[0])
        if np.isnan(distance):
            return False
        if max(distance, 0.0) + strays < least:
            return True
        if np.isfinite(distance):
            return False
        solids = [joined(two, body.pieces, two.centres[0]) for body in two.all]
        if solids[0] is None or solids[1] is None:
            # Surfaces that no push as long as a contact frees are told as an interference of unknown depth.
            return least == -CONTACT and pierces_by(two) > strays + CONTACT
        return widest_ball(solids[0], solids[1], strays - least + MORE) > strays - least

    def _by_direction(
        self,
        pair: tuple[int, int],
        least: float,
        low: np.ndarray,
        high: np.ndarray,
        normal: np.ndarray | None,
    ) -> bool:
        """Whether one direction (3,), or their own axes, proves two far enough apart."""
        rows = np.array([pair])
        tries = candidates(self.move, rows)[0] if normal is None else np.asarray(normal)[None]
        if not np.isfinite(tries).all():
            return False
        if not self._changing(pair, low, high):
            return bool(
                (along(self.move, np.repeat(rows, len(tries), 0), tries).least(low, high) >= least).any()
            )
        ends = []
        for row, sign in zip(pair, (1.0, -1.0), strict=True):
            points = self._points(row)
            if points is None:
                return False
            ends.append((sign * points[0] @ tries.T, sign * np.einsum("knd,td->knt", points[1], tries)))
        (a, a_slope), (b, b_slope) = ends
        # Every corner of the one to every corner of the other: linear each, least in a corner of the ranges.
        here = -b[None, :] - a[:, None]
        slope = -b_slope[:, None, :] - a_slope[:, :, None]
        reach = np.minimum(slope * low[:, None, None, None], slope * high[:, None, None, None])
        return bool(((here + reach.sum(axis=0)).min(axis=(0, 1)) >= least).any())

    def _points(self, row: int) -> tuple[np.ndarray, np.ndarray] | None:
        """Corners whose convex hull a row never leaves: (n, 3) mm as drawn and (k, n, 3) slopes."""
        move = self.move
        if move.deforms[row]:
            return self.held.points(row)
        pieces = move.pieces.all
        mesh = pieces.meshes[row]
        turn, centre = pieces.rotations[row], pieces.centres[row]
        if mesh is not None:
            return mesh.vertices @ turn.T + centre, np.repeat(
                move.centres[:, row][:, None], len(mesh.vertices), 1
            )
        # Of a cylinder the box about it.
        signs = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], float)
        grows = np.einsum("nd,kd->knd", signs, move.halves[:, row]) @ turn.T
        return (signs * pieces.halves[row]) @ turn.T + centre, grows + move.centres[:, row][:, None]

    # --- pieces ---

    def _rate(self, pair: tuple[int, int]) -> np.ndarray:
        """(k,) how far the two move against each other besides what changes a mesh's shape, mm a mm."""
        move = self.move
        found = np.linalg.norm(move.centres[:, pair[1]] - move.centres[:, pair[0]], axis=1)
        for row in pair:
            if move.pieces.all.kinds[row] != Kind.MESH:
                found = found + np.linalg.norm(move.halves[:, row], axis=1)
        return np.asarray(found)

    def _changing(self, pair: tuple[int, int], low: np.ndarray, high: np.ndarray) -> bool:
        return any(self._changes(row, low, high) for row in pair)

    def _changes(self, row: int, low: np.ndarray, high: np.ndarray) -> bool:
        """Whether a row has another shape than as drawn anywhere in a part."""
        if not self.move.deforms[row]:
            return False
        return bool(self.move.changed_by[(low != 0) | (high != 0), row].any())

    def _two(self, pair: tuple[int, int], low: np.ndarray, high: np.ndarray, inside: bool) -> Bodies | None:
        """Both in the middle of a part; None where nothing surely lies in one."""
        self.questions += 1
        two = [self._piece(row, low, high, inside) for row in pair]
        if two[0] is None or two[1] is None:
            return None
        return with_probes(bodies(_NOTHING), [(two[0],), (two[1],)])

    def _piece(self, row: int, low: np.ndarray, high: np.ndarray, inside: bool) -> Piece | None:
        if self._changes(row, low, high):
            return self.held.piece(row, low, high, inside)
        move, middle = self.move, (low + high) / 2
        pieces = move.pieces.all
        half = pieces.halves[row] + (0.0 if move.deforms[row] else middle @ move.halves[:, row])
        centre = pieces.centres[row] + middle @ move.centres[:, row]
        kind = Kind(int(pieces.kinds[row]))
        return Piece(kind, half, pieces.rotations[row], centre, pieces.meshes[row])

    def _nearest(
        self, pair: tuple[int, int], low: np.ndarray, high: np.ndarray, free: list[int]
    ) -> np.ndarray:
        """(k,) a corner of the free measurements where the two are near: each at the end that is nearer."""
        here = (low + high) / 2
        for k in free:
            tries = []
            for end in (low[k], high[k]):
                there = here.copy()
                there[k] = end
                tries.append((self._near(pair, there), end))
            here[k] = min(tries)[1]
        return np.asarray(here)

    def _near(self, pair: tuple[int, int], offsets: np.ndarray) -> float:
        """How far two are apart, mm; below 0 the ball that both hold."""
        two = self._two(pair, offsets, offsets, inside=True)
        if two is None:
            return np.inf
        distance = float(apart_by(two, np.array([[0, 1]]))[0])
        if distance != -np.inf:
            return distance if np.isfinite(distance) else 0.0
        solids = [joined(two, body.pieces, two.centres[0]) for body in two.all]
        if solids[0] is None or solids[1] is None:
            return 0.0
        return -widest_ball(solids[0], solids[1], np.inf)
