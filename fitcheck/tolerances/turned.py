"""Pairs of pieces that turn: how far apart at the least, and how far they move against each other.

As in `between.py` two pieces are at least as far apart as they are along any one direction, but what they
turn with bends that. Within a part of the ranges, of half widths r about its middle, each figure lies off
its tangent by at most the sum of |second derivatives| r r / 2; so the way along a direction is bounded by a
linear one less what its bends may take, and the bound comes nearer with the square of the part's width.

A direction may turn with what it belongs to: it stands still in the world, or to one of the two pieces. What
turns together does not move at all that way, and the flat of a turned piece keeps its normal. Each of these
three frames is used for a pair only where the two in it are held against the samples (`turning.py`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fitcheck.parts.solids import Kind
from fitcheck.tolerances.movement import STILL, Movement
from fitcheck.tolerances.turning import FOLLOWS, FOLLOWS_TURN

# Parts of ranges that are worked out at once: some hundred figures in memory for each and each term.
BATCH = 500
# What is seen from a piece is off by so much more than the two are in the world.
ROUNDED = 4
# Steeper than anything, mm a degree: not known yet.
BEYOND = 1e30
# A term that counts less is not there.
NOTHING = 1e-13


@dataclass(frozen=True, eq=False)
class _Seen:
    """Pairs as seen from one frame, in counts of terms: (t, q, 3, 3) frame_from_piece, (t, q, 3) between.

    `sound` (q,) tells where the samples agree; `curls` and `rates` bound how they bend and how steep they
    are: (q, k, k) and (q, k) of the first piece's directions, of the other's, and of the way between, mm.
    """

    first: np.ndarray
    second: np.ndarray
    between: np.ndarray
    sound: np.ndarray
    curls: tuple[np.ndarray, ...]
    rates: tuple[np.ndarray, ...]


def lowest(
    move: Movement, pairs: np.ndarray, low: np.ndarray, high: np.ndarray, normals: np.ndarray
) -> np.ndarray:
    """(q,) what distances of pairs (q, 2) never go below within offsets low to high (k,), at one look, mm."""
    turned, count = Turned(move, pairs, low, high), len(pairs)
    found = np.full(count, np.inf)
    for start, end in turned.turning.cells(low, high):
        ends = np.tile(start, (count, 1)), np.tile(end, (count, 1))
        found = np.minimum(found, turned.least(np.arange(count), *ends, normals).bound)
    return found


@dataclass(frozen=True, eq=False)
class Spans:
    """Ways along one direction, (q,): as drawn, least and most, mm; (q, k) slopes as drawn."""

    here: np.ndarray
    least: np.ndarray
    most: np.ndarray
    slope: np.ndarray


def spans(move: Movement, pairs: np.ndarray, direction: np.ndarray) -> Spans:
    """How far pairs (q, 2) are apart along a direction (3,) of the world, at one look."""
    turned, count = turned_of(move, pairs), len(pairs)
    owner, normals = np.arange(count), np.tile(direction, (count, 1))
    still = np.zeros((count, len(move.low)))
    drawn = turned.ways(owner, still, still, normals)
    least, most = np.full(count, np.inf), np.full(count, -np.inf)
    for start, end in turned.turning.cells(move.low, move.high):
        found = turned.ways(owner, np.tile(start, (count, 1)), np.tile(end, (count, 1)), normals)
        least, most = np.minimum(least, found.least[:, 0]), np.maximum(most, found.most[:, 0])
    return Spans(drawn.least[:, 0], least, most, drawn.slope[:, 0])


def turned_of(move: Movement, pairs: np.ndarray) -> Turned:
    """Pairs (q, 2) within the whole ranges; kept, for parts of a range are asked one after the other."""
    key = pairs.tobytes(), move.low.tobytes(), move.high.tobytes()
    if key not in move.kept:
        move.kept[key] = Turned(move, pairs, move.low, move.high)
    return move.kept[key]  # type: ignore[no-any-return]


def strays(move: Movement) -> np.ndarray:
    """(n,) how far any point of each row can be from where it is drawn at most, mm."""
    rows = np.arange(len(move.pieces.all.kinds))
    reach = np.maximum(np.abs(move.low), np.abs(move.high))
    slopes = np.linalg.norm(move.centres, axis=2) + np.linalg.norm(move.halves, axis=2)
    found = slopes.T @ reach + move.deforms * reach.sum()
    turning, turns = move.turning, move.turns(rows)
    if turning is not None and turns.any():
        rates = turning.sums.rates(move.low, move.high)
        moved = np.linalg.norm(turning.centres[:, turns], axis=2)
        turned = np.linalg.norm(turning.rotations[:, turns], ord=2, axis=(2, 3))
        far = radii(move, rows[turns], reach)
        grows = np.linalg.norm(move.halves[:, turns], axis=2).T @ reach
        found[turns] = (moved + turned * far).T @ (rates @ reach) + grows + move.deforms[turns] * reach.sum()
    return np.asarray(found)


def radii(move: Movement, rows: np.ndarray, reach: np.ndarray) -> np.ndarray:
    """(q,) how far points of rows are from their middles at most, with measurements off by up to (k,), mm."""
    far = np.linalg.norm(move.pieces.all.halves[rows], axis=1)
    for at in np.flatnonzero(move.pieces.all.kinds[rows] == Kind.MESH).tolist():
        mesh = move.pieces.all.meshes[int(rows[at])]
        assert mesh is not None
        far[at] = np.linalg.norm(mesh.vertices, axis=1).max()
    return np.asarray(far + np.linalg.norm(move.halves[:, rows], axis=2).T @ reach)


def as_bodies(move: Movement) -> np.ndarray:
    """(m,) a number for each body, the same for those that keep their shape and move as one."""
    assert move.turning is not None
    sampled = move.turning.samples
    turns = np.einsum("snij,nkj->snik", sampled.rotations, sampled.rotations[0])
    shifts = sampled.centres - np.einsum("snij,nj->sni", turns, sampled.centres[0])
    keeps = ~move.deforms & (np.abs(move.halves).max(axis=(0, 2), initial=0.0) <= STILL)
    known: dict[bytes, int] = {}
    found = []
    for number, body in enumerate(move.pieces.all.all):
        rows = range(body.pieces.start, body.pieces.stop)
        keys = {
            (turns[:, r].round(8) + 0.0).tobytes() + (shifts[:, r].round(6) + 0.0).tobytes() for r in rows
        }
        one = len(keys) == 1 and bool(keeps[body.pieces].all())
        found.append(known.setdefault(keys.pop(), number) if one else number)
    return np.array(found)


@dataclass(frozen=True, eq=False)
class _Along:
    """The way along directions, (m, d): least and most, mm; (m, d, k): slopes, what of the least is lost."""

    least: np.ndarray
    most: np.ndarray
    slope: np.ndarray
    lost: np.ndarray


@dataclass(frozen=True, eq=False)
class Least:
    """What came of m parts of the ranges.

    Args:
        bound: (m,) mm, below 0 a depth that is not exceeded.
        corner: (m, k) where it is met, if anywhere.
        lost: (m, k) how much of it the bends with each measurement take, roughly.
    """

    bound: np.ndarray
    corner: np.ndarray
    lost: np.ndarray


class Turned:
    """Pairs (q, 2) of rows, within offsets low to high (k,)."""

    def __init__(self, move: Movement, pairs: np.ndarray, low: np.ndarray, high: np.ndarray) -> None:
        assert move.turning is not None
        self.move, self.turning = move, move.turning
        # A sheet that changes its shape is taken as the box before its holes were cut.
        self.rows = np.where(move.deforms[pairs], move.pieces.covers[pairs], pairs)
        self._bends, self._rates = self.turning.sums.bends(low, high), self.turning.sums.rates(low, high)
        sampled = self.turning.samples
        turns = [sampled.rotations[:, self.rows[:, side]] for side in (0, 1)]
        apart = sampled.centres[:, self.rows[:, 1]] - sampled.centres[:, self.rows[:, 0]]
        none = np.broadcast_to(np.eye(3), turns[0].shape)
        relative = np.einsum("sqji,sqjk->sqik", turns[0], turns[1])
        frames = (
            self._seen(turns[0], turns[1], apart),
            self._seen(none, relative, np.einsum("sqji,sqj->sqi", turns[0], apart)),
            self._seen(relative.transpose(0, 1, 3, 2), none, np.einsum("sqji,sqj->sqi", turns[1], apart)),
        )
        used = np.zeros(len(self._bends), bool)
        for seen in frames:
            for counts in (seen.first, seen.second, seen.between):
                used |= np.abs(counts.reshape(len(counts), -1)).max(axis=1, initial=0.0) > NOTHING
        self.used = np.flatnonzero(used)
        self.frames = tuple(
            replace(seen, first=seen.first[used], second=seen.second[used], between=seen.between[used])
            for seen in frames
        )
        self.grows = move.halves[:, self.rows].transpose(1, 2, 0, 3)
        self.rate = self._steepest(low, high)

    def _seen(self, first: np.ndarray, second: np.ndarray, between: np.ndarray) -> _Seen:
        counts, off, curls, rates = [], [], [], []
        for figures, enough in ((first, FOLLOWS_TURN), (second, FOLLOWS_TURN), (between, FOLLOWS)):
            one, worst = self.turning.fitted(figures)
            size = np.linalg.norm(one, ord=2, axis=(2, 3)) if one.ndim == 4 else np.linalg.norm(one, axis=2)
            size = np.where(size > NOTHING, size, 0.0)
            counts.append(one)
            off.append(worst <= ROUNDED * enough)
            curls.append(np.einsum("tq,tkj->qkj", size, self._bends))
            rates.append(np.einsum("tq,tk->qk", size, self._rates))
        sound = np.asarray(np.logical_and.reduce(off))
        return _Seen(counts[0], counts[1], counts[2], sound, tuple(curls), tuple(rates))

    def _steepest(self, low: np.ndarray, high: np.ndarray) -> np.ndarray:
        """(q, k) how far a point of the one can move against any of the other at most, mm a mm or degree."""
        grown = np.linalg.norm(self.grows, axis=3).sum(axis=1)
        most = np.maximum(np.abs(low), np.abs(high))
        reach = np.stack([radii(self.move, self.rows[:, side], most) for side in (0, 1)], axis=1)
        found = np.full(grown.shape, BEYOND)
        for seen in self.frames:
            first, second, between = seen.rates
            rate = between + first * reach[:, :1] + second * reach[:, 1:] + grown
            better = (rate * (high - low)).sum(axis=1) < (found * (high - low)).sum(axis=1)
            better = seen.sound & (better | (found >= BEYOND).all(axis=1))
            found[better] = rate[better]
        loose = np.asarray(self.move.deforms[self.rows].any(axis=1))
        return np.where(loose[:, None] | (found >= BEYOND), np.inf, found)

    def least(self, owner: np.ndarray, low: np.ndarray, high: np.ndarray, normals: np.ndarray) -> Least:
        """The greatest lower bound of distances of pairs `owner` (m,) within low to high (m, k), mm.

        Args:
            normals: (m, 3) a direction of the world worth trying, in the middle; nan for none.
        """
        none = np.full(len(owner), -np.inf)
        found = Least(none, (low + high) / 2, np.zeros_like(low))
        for start in range(0, len(owner), BATCH):
            part = slice(start, start + BATCH)
            one = self._least(owner[part], low[part], high[part], normals[part])
            found.bound[part], found.corner[part], found.lost[part] = one.bound, one.corner, one.lost
        return found

    def slopes(self, normals: np.ndarray) -> np.ndarray:
        """(q, k) of the way along world directions (q, 3), as drawn, mm a mm or degree."""
        count = len(self.rows)
        still = np.zeros((count, len(self.move.low)))
        return self.ways(np.arange(count), still, still, normals).slope[:, 0]

    def ways(self, owner: np.ndarray, low: np.ndarray, high: np.ndarray, normals: np.ndarray) -> _Along:
        """The way of pairs `owner` (m,) along world directions (m, 3) within low to high (m, k)."""
        middle, half = (low + high) / 2, (high - low) / 2
        terms, slopes = self.turning.sums.at(middle), self.turning.sums.slopes(middle)
        return self._along(
            self.frames[0], owner, middle, half, normals[:, None], terms[:, self.used], slopes[:, self.used]
        )

    def towards(self, owner: np.ndarray, low: np.ndarray, high: np.ndarray, normals: np.ndarray) -> Least:
        """The least way of pairs along world directions (m, 3), as `least` of any."""
        found = self.ways(owner, low, high, normals)
        leads = found.slope[:, 0]
        corner = np.where(leads > STILL, low, np.where(leads < -STILL, high, (low + high) / 2))
        return Least(found.least[:, 0], corner, found.lost[:, 0])

    def _least(self, owner: np.ndarray, low: np.ndarray, high: np.ndarray, normals: np.ndarray) -> Least:
        middle, half = (low + high) / 2, (high - low) / 2
        terms = self.turning.sums.at(middle)[:, self.used]
        slopes = self.turning.sums.slopes(middle)[:, self.used]
        bound, corner, lost = np.full(len(owner), -np.inf), middle.copy(), np.zeros_like(middle)
        world = [np.einsum("mt,tmij->mij", terms, turn[:, owner]) for turn in
                 (self.frames[0].first, self.frames[0].second)]  # fmt: skip
        for at, seen in enumerate(self.frames):
            held = None if at == 0 else world[at - 1]
            own = normals if held is None else np.einsum("mji,mj->mi", held, normals)
            tries = (
                own[:, None] if held is None else np.concatenate([own[:, None], _axes(len(owner))], axis=1)
            )
            known = np.isfinite(tries).all(axis=2) & seen.sound[owner][:, None]
            tries = np.where(np.isfinite(tries), tries, np.array([1.0, 0.0, 0.0]))
            found = self._along(seen, owner, middle, half, tries, terms, slopes)
            least = np.where(known, found.least, -np.inf)
            best = least.argmax(axis=1)
            row = np.arange(len(owner))
            better = least[row, best] > bound
            bound[better] = least[row, best][better]
            leads = found.slope[row, best]
            there = np.where(leads > STILL, low, np.where(leads < -STILL, high, middle))
            corner[better] = there[better]
            lost[better] = found.lost[row, best][better]
        return Least(bound, corner, lost)

    def _along(
        self,
        seen: _Seen,
        owner: np.ndarray,
        middle: np.ndarray,
        half: np.ndarray,
        tries: np.ndarray,
        terms: np.ndarray,
        slopes: np.ndarray,
    ) -> _Along:
        """The way along directions (m, d, 3) of a frame."""
        between = np.einsum("mt,tmi->mi", terms, seen.between[:, owner])
        between_slope = np.einsum("mtk,tmi->mki", slopes, seen.between[:, owner])
        value = np.einsum("mi,mdi->md", between, tries)
        slope = np.einsum("mki,mdi->mdk", between_slope, tries)
        lost = np.einsum("mk,mkj,mj->m", half, seen.curls[2][owner], half)[:, None] / 2
        blame, under = np.zeros_like(slope), lost
        for side, (turn, sign) in enumerate(((seen.first, 1.0), (seen.second, -1.0))):
            counts = turn[:, owner]
            here = sign * np.einsum("mt,tmji->mji", terms, counts)
            swung = sign * np.einsum("mtk,tmji->mkji", slopes, counts)
            own = np.einsum("mji,mdj->mdi", here, tries)
            swing = np.einsum("mkji,mdj->mdki", swung, tries)
            curl = np.einsum("mk,mkj,mj->m", half, seen.curls[side][owner], half) / 2
            out, out_slope, bent, less = self._support(
                self.rows[owner, side], owner, side, middle, half, own, swing, curl
            )
            value, slope, lost, under = value - out, slope - out_slope, lost + bent, under + less
            swings = np.linalg.norm(swing, axis=3) * half[:, None]
            blame = blame + swings * (bent / np.maximum(swings.sum(axis=2), 1e-300))[:, :, None]
        swing_of = (np.abs(slope) * half[:, None]).sum(axis=2)
        return _Along(value - swing_of - lost, value + swing_of + under, slope, blame)

    def _support(
        self,
        rows: np.ndarray,
        owner: np.ndarray,
        side: int,
        middle: np.ndarray,
        half: np.ndarray,
        own: np.ndarray,
        swing: np.ndarray,
        curl: np.ndarray,
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """How far out pieces reach along their own directions (m, d, 3): value, slopes, how much more, less.

        Directions are off their tangents by up to `curl` (m,).
        """
        pieces = self.move.pieces.all
        grows = self.grows[owner, side]
        size = pieces.halves[rows] + np.einsum("mk,mki->mi", middle, grows)
        more = np.einsum("mk,mki->mi", half, np.abs(grows))
        drift = np.einsum("mdki,mk->mdi", np.abs(swing), half)
        weight, sign = np.abs(own), np.sign(own)
        swung = sign[:, :, None] * swing
        extra = 2 * np.maximum(drift - weight, 0.0)
        steps = drift.copy()
        spread = np.linalg.norm(size + more, axis=1)
        for at in np.flatnonzero(pieces.kinds[rows] == Kind.CYLINDER).tolist():
            # Across: |v + d| <= |v| + v.d / |v| + min(|d|^2 / (2 |v|), 2 |d|).
            across = own[at, :, :2]
            length = np.linalg.norm(across, axis=1)
            unit = across / np.maximum(length, 1e-300)[:, None]
            step = np.linalg.norm(drift[at, :, :2], axis=1)
            weight[at, :, 0], weight[at, :, 1] = length, 0.0
            swung[at, :, :, 0] = np.einsum("di,dki->dk", unit, swing[at, :, :, :2])
            swung[at, :, :, 1] = 0.0
            extra[at, :, 0] = np.minimum(step**2 / (2 * np.maximum(length, 1e-300)), 2 * step)
            steps[at, :, 0] = step
            extra[at, :, 1] = steps[at, :, 1] = 0.0
            spread[at] = np.linalg.norm((size + more)[at][[0, 2]])
        value = np.einsum("mdi,mi->md", weight, size)
        slope = np.einsum("mdki,mi->mdk", swung, size) + np.einsum("mdi,mki->mdk", weight, grows)
        lost = np.einsum("mdi,mi->md", extra, size + more) + np.einsum("mdi,mi->md", steps, more)
        # Reaches are convex in the direction: below tangents are only products, and what directions bend.
        under = np.einsum("mdi,mi->md", steps, more) + (curl * spread)[:, None]
        lost += (curl * spread)[:, None]
        for at in np.flatnonzero(pieces.kinds[rows] == Kind.MESH).tolist():
            mesh = pieces.meshes[int(rows[at])]
            assert mesh is not None
            far = mesh.vertices @ own[at].T
            lead = far.argmax(axis=0)
            value[at] = far.max(axis=0)
            slope[at] = np.einsum("dki,di->dk", swing[at], mesh.vertices[lead])
            step = np.linalg.norm(drift[at], axis=1) + curl[at]
            ways = np.linalg.norm(mesh.vertices[:, None] - mesh.vertices[lead][None], axis=2)
            gained = (far - value[at] + step * ways).max(axis=0)
            lost[at] = gained + curl[at] * np.linalg.norm(mesh.vertices, axis=1).max()
            under[at] = curl[at] * np.linalg.norm(mesh.vertices, axis=1).max()
        return value, slope, lost, under


def _axes(count: int) -> np.ndarray:
    """(count, 6, 3) the sides of a piece in its own frame."""
    return np.broadcast_to(np.concatenate([np.eye(3), -np.eye(3)]), (count, 6, 3))
