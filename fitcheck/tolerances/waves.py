"""Sums of sines and cosines of measured angles: values, slopes, and how much they can bend.

A part turned by an angle t about an axis that stands still goes round in a circle: every figure of its
direction and place is a + b sin(p t) + c (1 - cos(p t)), p degrees of turn to a degree of what was measured.
A turn inside a turn, or a length that moves an axis, multiplies such sums. So all is a sum of terms, each a
product of waves of different measurements; a length is the wave that is a straight line.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

LINE, SINE, COSINE = 0, 1, 2
# A turn of one degree to a degree, radians.
DEGREE = np.pi / 180


@dataclass(frozen=True)
class Wave:
    """How something follows one measurement: 0 as drawn.

    Args:
        of: which measurement.
        kind: LINE, SINE or COSINE (1 - cos).
        pace: radians a degree; 1 for a line.
        kink: 0 up to that offset, and a wave of what is beyond; none if it is one wave all over.
    """

    of: int
    kind: int = LINE
    pace: float = 1.0
    kink: float | None = None


def waves_of_angle(of: int, paces: Iterable[float], kink: float | None) -> tuple[Wave, ...]:
    """All waves of one angle: sine and cosine for each pace (degrees a degree), once more beyond a kink."""
    kinks = (None,) if kink is None else (None, kink)
    return tuple(
        Wave(of, kind, pace * DEGREE, end) for end in kinks for pace in paces for kind in (SINE, COSINE)
    )


@dataclass(frozen=True, eq=False)
class Sums:
    """The terms that figures are sums of.

    Args:
        waves: the waves, w of them.
        terms: (t, o) rows of waves whose product a term is; w where there is no further one.
        count: of the measurements, k.
    """

    waves: tuple[Wave, ...]
    terms: np.ndarray
    count: int

    def at(self, offsets: np.ndarray) -> np.ndarray:
        """(q, t) the terms at offsets (q, k)."""
        return np.asarray(self._factors(self._values(offsets)).prod(axis=2))

    def slopes(self, offsets: np.ndarray) -> np.ndarray:
        """(q, t, k) their slopes there."""
        values = self._factors(self._values(offsets))
        slopes = self._factors(self._slopes(offsets), last=0.0)
        found = np.zeros((len(offsets), len(self.terms), self.count))
        for at in range(self.terms.shape[1]):
            others = np.delete(values, at, axis=2).prod(axis=2)
            for t, k in enumerate(self._owners(at).tolist()):
                if k >= 0:
                    found[:, t, k] += slopes[:, t, at] * others[:, t]
        return found

    def rates(self, low: np.ndarray, high: np.ndarray) -> np.ndarray:
        """(t, k) how steep they can be at most within offsets low to high (k,)."""
        least, steep, _ = self._most(low, high)
        found = np.zeros((len(self.terms), self.count))
        for t, k, at in self._places():
            others = [row for a, row in enumerate(self.terms[t]) if a != at]
            found[t, k] += steep[self.terms[t, at]] * least[others].prod()
        return found

    def bends(self, low: np.ndarray, high: np.ndarray) -> np.ndarray:
        """(t, k, k) how large their second derivatives can be at most within offsets low to high (k,)."""
        least, steep, bent = self._most(low, high)
        found = np.zeros((len(self.terms), self.count, self.count))
        for t, k, at in self._places():
            row = self.terms[t]
            others = [one for a, one in enumerate(row) if a != at]
            found[t, k, k] += bent[row[at]] * least[others].prod()
            for u, j, by in self._places():
                if u == t and by != at:
                    rest = [one for a, one in enumerate(row) if a not in (at, by)]
                    found[t, k, j] += steep[row[at]] * steep[row[by]] * least[rest].prod()
        return found

    def _places(self) -> list[tuple[int, int, int]]:
        """(term, measurement, which factor) of each factor of each term."""
        return [
            (t, self.waves[row].of, at)
            for t, rows in enumerate(self.terms.tolist())
            for at, row in enumerate(rows)
            if row < len(self.waves)
        ]

    def _owners(self, at: int) -> np.ndarray:
        """(t,) whose wave that factor is; -1 for none."""
        of = np.array([wave.of for wave in self.waves] + [-1])
        return np.asarray(of[self.terms[:, at]])

    def _factors(self, waves: np.ndarray, last: float = 1.0) -> np.ndarray:
        """(q, t, o) the factors of the terms, of waves (q, w)."""
        return np.asarray(np.column_stack([waves, np.full(len(waves), last)])[:, self.terms])

    def _beyond(self, offsets: np.ndarray) -> np.ndarray:
        """(q, w) what each wave is of."""
        of = np.array([wave.of for wave in self.waves], int)
        kinks = np.array([np.nan if wave.kink is None else wave.kink for wave in self.waves])
        x = np.asarray(offsets, float)[:, of]
        return np.where(np.isnan(kinks), x, np.maximum(x - kinks, 0.0))

    def _values(self, offsets: np.ndarray) -> np.ndarray:
        zero = np.zeros((1, self.count))
        return np.asarray(self._raw(self._beyond(offsets)) - self._raw(self._beyond(zero)))

    def _raw(self, x: np.ndarray) -> np.ndarray:
        kind, pace = self._kinds()
        # 1 - cos(x) as 2 sin(x / 2)^2: small angles keep their figures.
        waved = np.where(kind == SINE, np.sin(pace * x), 2 * np.sin(pace * x / 2) ** 2)
        return np.asarray(np.where(kind == LINE, x, waved))

    def _slopes(self, offsets: np.ndarray) -> np.ndarray:
        kind, pace = self._kinds()
        x = self._beyond(offsets)
        kinked = np.array([wave.kink is not None for wave in self.waves], bool)
        steep = np.where(kind == LINE, 1.0, pace * np.where(kind == SINE, np.cos(pace * x), np.sin(pace * x)))
        return np.asarray(np.where(kinked & (x == 0), 0.0, steep))

    def _kinds(self) -> tuple[np.ndarray, np.ndarray]:
        return (
            np.array([wave.kind for wave in self.waves], int),
            np.array([wave.pace for wave in self.waves], float),
        )

    def _most(self, low: np.ndarray, high: np.ndarray) -> np.ndarray:
        """(3, w + 1) the most that each wave, its slope and its second derivative come to, either way."""
        ends = self._beyond(np.array([low, high]))
        reach = np.abs(ends).max(axis=0)
        start = np.abs(self._raw(self._beyond(np.zeros((1, self.count))))[0])
        kind, pace = self._kinds()
        sine = np.sin(np.minimum(pace * reach, np.pi / 2))
        cosine = 1 - np.cos(np.minimum(pace * reach, np.pi))
        value = np.where(kind == LINE, reach, np.where(kind == SINE, sine, cosine)) + start
        slope = np.where(kind == LINE, 1.0, pace * np.where(kind == SINE, 1.0, sine))
        bend = np.where(kind == LINE, 0.0, pace**2 * np.where(kind == SINE, sine, 1.0))
        return np.column_stack([np.array([value, slope, bend]), [1.0, 0.0, 0.0]])
