"""How pieces turn with angles that are not known exactly: found from the scene placed anew, held against it.

Directions and places of pieces are sums of waves (`waves.py`). Which ones: each angle is put at several
values by itself, then those together that do not simply add up, and the sums are fitted to that. They are
taken as true only if they also say what comes of the scene at values that they were not fitted to, alone and
all together: a turn about an axis that stands still does; what jumps, slides or changes its shape with the
angle does not. A ruler laid to an edge of something turned reads another corner beyond a quarter turn; such
a kink is looked for at the value drawn, at quarter turns, and where something comes to stand along an axis of
the world.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import combinations, product

import numpy as np

from fitcheck.tolerances.waves import Sums, Wave, waves_of_angle
from fitcheck.world.bodies import Bodies
from fitcheck.world.world import Measurement

# The scene placed anew may lie off the sums by so much: mm, and entries of rotations.
FOLLOWS, FOLLOWS_TURN = 1e-7, 1e-9
# So often an angle is put elsewhere, on both sides of the value drawn or of a kink, evenly. On one side that
# is four times and the value itself: a curve of the same kind with a kink meets one without in four at most.
VALUES = 8
# Samples beyond the waves of one angle that must agree before it is believed.
SPARE = 2
# Placings anew for all angles together, at most; values tried at the end of all measurements at once.
PLACINGS, TRIED = 300, 8
# Kinks looked for within one range; with more of them only at the value drawn.
KINKS = 6

# The pieces at offsets (k,), None where the scene cannot be built so, or has other shapes there.
Place = Callable[[np.ndarray], "Bodies | None"]


@dataclass(frozen=True, eq=False)
class Samples:
    """Where n pieces stand at s offsets: (s, k), (s, n, 3, 3) world_from_piece, (s, n, 3) mm."""

    offsets: np.ndarray
    rotations: np.ndarray
    centres: np.ndarray


@dataclass(frozen=True, eq=False)
class Turning:
    """How pieces turn, as sums of the terms of `sums`.

    Args:
        turns: (n,) rows that an angle moves.
        rotations, centres: (t, n, 3, 3), (t, n, 3) what each term counts, mm.
        samples: the scene placed anew; `fit` (t, s) makes sums of what was sampled.
        kinks: offsets at which a measurement's waves begin anew, by measurement.
    """

    sums: Sums
    turns: np.ndarray
    rotations: np.ndarray
    centres: np.ndarray
    samples: Samples
    fit: np.ndarray
    kinks: dict[int, float]

    def placed(self, rows: np.ndarray, offsets: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Rotations (q, 3, 3) and centres (q, 3) of rows (q,) at offsets (q, k)."""
        terms = self.sums.at(offsets)
        return (
            np.einsum("qt,tqij->qij", terms, self.rotations[:, rows]),
            np.einsum("qt,tqi->qi", terms, self.centres[:, rows]),
        )

    def fitted(self, sampled: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """What each term counts of figures (s, q, ...), (t, q, ...); and (q,) how far the samples lie off."""
        flat = sampled.reshape(len(sampled), -1)
        counts = self.fit @ flat
        off = np.abs(self.sums.at(self.samples.offsets) @ counts - flat).reshape(sampled.shape)
        worst = off.max(axis=tuple(a for a in range(off.ndim) if a != 1), initial=0.0)
        return counts.reshape(len(counts), *sampled.shape[1:]), worst

    def cells(self, low: np.ndarray, high: np.ndarray) -> list[tuple[np.ndarray, np.ndarray]]:
        """Offsets low to high (k,) in parts that no kink lies inside of."""
        parts = [(low, high)]
        for k, kink in self.kinks.items():
            for start, end in list(parts):
                if start[k] < kink < end[k]:
                    parts.remove((start, end))
                    left, right = end.copy(), start.copy()
                    left[k] = right[k] = kink
                    parts += [(start, left), (right, end)]
        return parts


def turning_of(
    measurements: Sequence[Measurement],
    low: np.ndarray,
    high: np.ndarray,
    steps: np.ndarray,
    place: Place,
) -> tuple[Turning | None, list[str]]:
    """How all pieces follow the angles among measurements (k), and the names of those they do not follow.

    Args:
        low, high: (k,) ends, as offsets from the values drawn.
        steps: (k,) offsets at which the scene was placed with one length alone moved.
        place: places the scene anew.
    """
    search = _Search(measurements, low, high, steps, place)
    found: Turning | None = None
    angles = [k for k, one in enumerate(measurements) if one.angle]
    followed = [k for k in angles if search.follows(k)]
    if followed and search.interplay(followed):
        found = search.fitted(followed)
    if found is None:
        followed = []
    return found, [measurements[k].name for k in angles if k not in followed]


@dataclass
class _Search:
    measurements: Sequence[Measurement]
    low: np.ndarray
    high: np.ndarray
    steps: np.ndarray
    place: Place
    # What was placed, by its offsets; the waves of each measurement, and where it is put for products.
    seen: dict[bytes, tuple[np.ndarray, Bodies]] = field(default_factory=dict)
    waves: dict[int, tuple[Wave, ...]] = field(default_factory=dict)
    nodes: dict[int, list[float]] = field(default_factory=dict)
    kinks: dict[int, float] = field(default_factory=dict)
    together: list[tuple[int, ...]] = field(default_factory=list)

    # --- one angle alone ---

    def follows(self, k: int) -> bool:
        """Whether all pieces follow an angle alone as sums of waves."""
        inside = self._kinks_of(k)
        for kink in (None, *inside):
            values = self._values(k, 0.0 if kink is None else kink)
            placed = [self._placed({k: value}) for value in values]
            if any(one is None for one in placed):
                return False
            offsets = np.array([[0.0], *([value] for value in values)])
            sampled = _figures([self._drawn(), *(one for one in placed if one is not None)])
            for paces in self._paces(k, values):
                waves = waves_of_angle(0, paces, kink)
                if len(values) < len(waves) + SPARE:
                    continue
                if _fits(Sums(waves, _alone(len(waves)), 1), offsets, sampled):
                    self.waves[k] = waves_of_angle(k, paces, kink)
                    few = VALUES // len(waves)
                    # As few as fix the waves; beside a kink elsewhere 0 may be one of them.
                    self.nodes[k] = values if kink else values[few - 1 :: few]
                    if kink is not None:
                        self.kinks[k] = kink
                    return True
        return False

    def _kinks_of(self, k: int) -> list[float]:
        low, high, nominal = self.low[k], self.high[k], self.measurements[k].nominal
        first, last = np.ceil((nominal + low) / 90), np.floor((nominal + high) / 90)
        quarters = [90 * quarter - nominal for quarter in np.arange(first, last + 1)]
        found = [0.0, *quarters, *self._aligned(k)]
        inside = [float(one) for one in dict.fromkeys(np.round(found, 9)) if low < one < high]
        return inside if len(inside) <= KINKS else inside[:1]

    def _aligned(self, k: int) -> Iterator[float]:
        """Offsets at which a piece that turns about an axis of the world comes to stand along the others."""
        far = self.high[k] if self.high[k] > -self.low[k] else self.low[k]
        there = self._placed({k: float(far)})
        if there is None:
            return
        drawn = self._drawn().rotations
        relative = np.einsum("nij,nkj->nik", there.rotations, drawn)
        for about in range(3):
            still = np.abs(relative[:, about, about] - 1) < FOLLOWS_TURN
            moved = still & (np.abs(relative - np.eye(3)).max(axis=(1, 2)) > FOLLOWS_TURN)
            one, other = (about + 1) % 3, (about + 2) % 3
            for turn in np.unique(drawn[moved].round(9), axis=0):
                for axis in turn.T:
                    if np.hypot(axis[one], axis[other]) > 0.5:
                        off = np.degrees(np.arctan2(axis[other], axis[one])) % 90
                        yield from (-off, 90 - off)

    def _values(self, k: int, start: float) -> list[float]:
        """Offsets at which an angle is put, on both sides of a start."""
        ends = [end for end in (self.low[k], self.high[k]) if abs(end - start) > 0]
        each = VALUES // len(ends)
        return [float(start + (n + 1) / each * (end - start)) for end in ends for n in range(each)]

    def _paces(self, k: int, values: list[float]) -> Iterator[tuple[float, ...]]:
        """Degrees that pieces may turn for a degree of the measurement."""
        yield (1.0,)
        far = max(values, key=abs)
        there = self._placed({k: far})
        assert there is not None
        relative = np.einsum("nij,nkj->nik", there.rotations, self._drawn().rotations)
        cosine = np.clip((np.trace(relative, axis1=1, axis2=2) - 1) / 2, -1, 1)
        paces = sorted({round(float(p), 4) for p in np.degrees(np.arccos(cosine)) / abs(far)} - {0.0})
        if 0 < len(paces) <= 2:
            yield tuple(paces)
        yield (1.0, 2.0)

    # --- what does not simply add up ---

    def interplay(self, angles: list[int]) -> bool:
        """Find which measurements act on each other, and place what that takes; false if it is too much."""
        self.waves.update({k: (Wave(k),) for k, one in enumerate(self.measurements) if not one.angle})
        self.nodes.update({k: [float(self.steps[k])] for k in self.waves if k not in angles})
        met: set[frozenset[int]] = set()
        for k in angles:
            others = [j for j in self.waves if j != k]
            if not self._adds_up(k, others):
                met |= {frozenset((k, j)) for j in others if not self._adds_up(k, [j])}
        groups = [tuple(sorted(pair)) for pair in met]
        for three in combinations(sorted({k for pair in met for k in pair}), 3):
            if sum(k not in angles for k in three) <= 1 and all(
                frozenset(pair) in met for pair in combinations(three, 2)
            ):
                groups.append(three)
        self.together = sorted(groups)
        asked = sum(int(np.prod([len(self.nodes[k]) for k in group])) for group in groups)
        if asked > PLACINGS:
            return False
        return all(
            self._placed(dict(zip(group, values, strict=True))) is not None
            for group in self.together
            for values in product(*(self.nodes[k] for k in group))
        )

    def _adds_up(self, k: int, others: list[int]) -> bool:
        """Whether others, at their ends, move all pieces alike wherever an angle is."""
        moved = {j: float(self.high[j] if self.high[j] > 0 else self.low[j]) for j in others}
        if not moved:
            return True
        for end in (self.low[k], self.high[k]):
            four = [self._placed(at) for at in ({}, {k: end}, moved, {k: end, **moved})]
            if any(one is None for one in four):
                return False
            none, alone, rest, both = _figures([one for one in four if one is not None])
            if not _same(both - rest, alone - none):
                return False
        return True

    # --- all together ---

    def fitted(self, angles: list[int]) -> Turning | None:
        """The sums that all samples agree with; None where they do not."""
        used = sorted(self.waves)
        waves = tuple(wave for k in used for wave in self.waves[k])
        rows = {k: [w for w, wave in enumerate(waves) if wave.of == k] for k in used}
        groups = [(k,) for k in used] + self.together
        products = [()] + [one for group in groups for one in product(*(rows[k] for k in group))]
        terms = np.full((len(products), max(map(len, products), default=1) or 1), len(waves))
        for t, one in enumerate(products):
            terms[t, : len(one)] = one
        sums = Sums(waves, terms, len(self.measurements))
        for j in used:
            if j not in angles and self._placed({j: self.nodes[j][0]}) is None:
                return None
        # What was tried of angles that are not followed is of no use here.
        unused = [k for k in range(len(self.measurements)) if k not in used]
        self.seen = {key: one for key, one in self.seen.items() if not one[0][unused].any()}
        known = len(self.seen)
        random = np.random.default_rng(2768)
        for share in random.uniform(0.0, 1.0, (TRIED, len(self.low))):
            # Some at the ends, the others anywhere.
            share = np.where(random.uniform(size=len(share)) < 0.3, np.round(share), share)
            offsets = self.low + share * (self.high - self.low)
            if self._placed({k: float(offsets[k]) for k in used}) is None:
                return None
        offsets = np.array([one for one, _ in self.seen.values()])
        figures = _figures([one for _, one in self.seen.values()])
        fit = _fit(sums, offsets[:known])
        if fit is None:
            return None
        fit = np.column_stack([fit, np.zeros((len(fit), len(offsets) - known))])
        counts = np.einsum("ts,s...->t...", fit, figures)
        if not _same(np.einsum("st,t...->s...", sums.at(offsets), counts), figures):
            return None
        by_angle = [t for t, one in enumerate(products) if any(waves[w].of in angles for w in one)]
        moved = np.abs(counts[by_angle]).max(axis=(0, 2), initial=0.0) > FOLLOWS
        turned, centres = _apart(counts)
        samples = Samples(offsets, *_apart(figures))
        return Turning(sums, moved, turned, centres, samples, fit, dict(self.kinks))

    # --- placing ---

    def _drawn(self) -> Bodies:
        here = self._placed({})
        assert here is not None
        return here

    def _placed(self, moved: dict[int, float]) -> Bodies | None:
        offsets = np.zeros(len(self.measurements))
        for k, value in moved.items():
            offsets[k] = value
        key = np.round(offsets, 9).tobytes()
        if key not in self.seen:
            found = self.place(offsets)
            if found is None:
                return None
            self.seen[key] = (offsets, found)
        return self.seen[key][1]


def _figures(placed: Sequence[Bodies]) -> np.ndarray:
    """(s, n, 12) rotations and centres of all pieces."""
    return np.array([np.concatenate([one.rotations.reshape(-1, 9), one.centres], axis=1) for one in placed])


def _apart(figures: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(..., 12) as rotations (..., 3, 3) and centres (..., 3)."""
    return figures[..., :9].reshape(*figures.shape[:-1], 3, 3), figures[..., 9:]


def _same(one: np.ndarray, other: np.ndarray) -> bool:
    off = np.abs(one - other)
    return bool(off[..., :9].max(initial=0.0) <= FOLLOWS_TURN and off[..., 9:].max(initial=0.0) <= FOLLOWS)


def _alone(count: int) -> np.ndarray:
    """Terms of a constant and each wave alone."""
    return np.array([[count], *([w] for w in range(count))])


def _fit(sums: Sums, offsets: np.ndarray) -> np.ndarray | None:
    """(t, s) what makes sums of samples at offsets (s, k), by least squares; None if they do not fix it."""
    terms = sums.at(offsets)
    size = np.abs(terms).max(axis=0)
    if (size == 0).any() or np.linalg.matrix_rank(terms / size, tol=1e-11) < len(size):
        return None
    return np.asarray(np.linalg.pinv(terms / size, rcond=1e-13) / size[:, None])


def _fits(sums: Sums, offsets: np.ndarray, sampled: np.ndarray) -> bool:
    fit = _fit(sums, offsets)
    if fit is None:
        return False
    counts = np.einsum("ts,s...->t...", fit, sampled)
    return _same(np.einsum("st,t...->s...", sums.at(offsets), counts), sampled)
