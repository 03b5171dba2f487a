"""How likely is it that all fits, and how far does a margin spread?

`±` is a bound: without further word every value within it is as likely (uniform, sigma = half the
width / sqrt 3). Where the scene says that it is so many sigmas of a normal distribution, that is
drawn. A measurement that moves several parts moves them together; different measurements are
independent. What is not measured yet has no distribution: it is held at the value drawn.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fitcheck.parts.solids import Kind
from fitcheck.tolerances.between import along, apart, candidates
from fitcheck.tolerances.margins import Demands, Margin
from fitcheck.tolerances.movement import Movement
from fitcheck.tolerances.turned import lowest

SEED = 2768
# Samples at most: of boxes and cylinders, of meshes (some 0.1 ms each), of scenes placed anew (50 ms each).
MOST, OF_MESHES, PLACED_ANEW = 1_000_000, 400, 40
# Two-sided confidence of the intervals, and its normal quantile.
CONFIDENCE, QUANTILE = 0.95, 1.959963984540054
# Statistical margins are said at so many sigmas: 99.73 % of a normal distribution.
SIGMAS = 3.0
# Beyond so many sigmas of a normal distribution nothing is drawn of interest: 7 in a million.
FARTHEST = 4.5
# A linear spread holds when the margin follows it so far, mm or as a share of the swing.
LINEAR_TO, LINEAR_SHARE = 0.01, 0.02


@dataclass(frozen=True)
class Likely:
    """A probability, with its interval of confidence; of 1 without samples it is proved."""

    share: float
    low: float
    high: float
    samples: int


@dataclass(frozen=True, eq=False)
class Spread:
    """How a margin spreads.

    Args:
        sigma: standard deviation, mm.
        rss: root of the sum of the squares of each measurement's whole share, mm.
        margin: what is to spare at `SIGMAS`, never less than at the worst end, mm.
        linear: from the slopes at the witness points; else from samples.
        low, high: interval of confidence of `margin`; both `margin` where linear.
        shares: (k,) of the variance, by measurement.
    """

    sigma: float
    rss: float
    margin: float
    linear: bool
    low: float
    high: float
    shares: np.ndarray


def sigmas_of(move: Movement, sigmas: float | None) -> np.ndarray:
    """(k,) standard deviation of each measurement, mm or degrees; 0 for what is not measured.

    Args:
        sigmas: half the width of a tolerance is so many sigmas of a normal distribution; uniform if None.
    """
    half = np.where(_measured(move), (move.high - move.low) / 2, 0.0)
    return np.asarray(half / (math.sqrt(3.0) if sigmas is None else sigmas))


def _measured(move: Movement) -> np.ndarray:
    return np.array([one.measured for one in move.measurements], bool)


def drawn_offsets(move: Movement, count: int, sigmas: float | None) -> np.ndarray:
    """(count, k) offsets of the measurements, mm or degrees, from a seed."""
    random = np.random.default_rng(SEED)
    if sigmas is None:
        found = random.uniform(move.low, move.high, (count, len(move.low)))
    else:
        found = (move.low + move.high) / 2 + random.standard_normal(
            (count, len(move.low))
        ) * sigmas_of(move, sigmas)  # fmt: skip
    return np.where(_measured(move), found, np.clip(0.0, move.low, move.high))


def affordable(move: Movement, pairs: np.ndarray) -> int:
    """How many samples of these pairs (q, 2) of rows are worth their time."""
    if move.deforms[pairs].any():
        return PLACED_ANEW
    return OF_MESHES if (move.pieces.all.kinds[pairs] == Kind.MESH).any() else MOST


def wilson(hits: int, count: int) -> tuple[float, float]:
    """Interval of confidence of a share (E. B. Wilson 1927, J. Amer. Stat. Assoc. 22, 209-212)."""
    z2 = QUANTILE**2
    share = hits / count
    middle = (share + z2 / (2 * count)) / (1 + z2 / count)
    half = QUANTILE / (1 + z2 / count) * math.sqrt(share * (1 - share) / count + z2 / (4 * count**2))
    return (0.0 if hits == 0 else middle - half), (1.0 if hits == count else middle + half)


def likely(move: Movement, demands: Demands, count: int, sigmas: float | None, anew: bool) -> Likely:
    """The probability that all demands are met, by samples of what is not proved to be met.

    Args:
        anew: also for meshes that change their shape, for which each sample is placed anew; else they
            do not count.
    """
    reach = 1.0 if sigmas is None else max(1.0, FARTHEST / sigmas)
    pairs, owners, lengths = _doubtful(move, demands, reach)
    if not anew:
        stays = ~move.deforms[pairs].any(axis=1)
        pairs, owners = pairs[stays], owners[stays]
    if not len(pairs) and not len(lengths):
        return Likely(1.0, 1.0, 1.0, 0)
    count = min(count, affordable(move, pairs))
    offsets = drawn_offsets(move, count, sigmas)
    met = np.ones(count, bool)
    for row in lengths.tolist():
        least = _least_allowed(demands, int(demands.length_of[row]))
        met &= demands.lengths_at(move, np.array([row]), offsets)[0] >= least
    for pair, owner in zip(pairs, owners.tolist(), strict=True):
        left = np.flatnonzero(met)
        found = apart(move, np.tile(pair, (len(left), 1)), offsets[left], deep=False).signed
        # An open mesh hides what it holds: it counts as met, as where it is drawn.
        met[left] = ~(found < _least_allowed(demands, owner))
    hits = int(met.sum())
    return Likely(hits / count, *wilson(hits, count), count)


def _least_allowed(demands: Demands, index: int) -> float:
    return demands.all[index].required - demands.all[index].slack


def _doubtful(move: Movement, demands: Demands, reach: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Pairs, their demands, and lengths that may miss theirs with measurements so much farther off."""
    middle = (move.low + move.high) / 2
    low, high = middle + (move.low - middle) * reach, middle + (move.high - middle) * reach
    held = np.clip(0.0, move.low, move.high)
    low, high = (np.where(_measured(move), end, held) for end in (low, high))
    allowed = np.array([one.required - one.slack for one in demands.all])
    lengths = demands.here + np.minimum(demands.slope * low, demands.slope * high).sum(axis=1)
    # Of what turns a tolerance beyond its ends may still count: it is sampled.
    short = np.flatnonzero((lengths < allowed[demands.length_of]) | demands.turns)
    if not len(demands.pairs):
        return demands.pairs, demands.pair_of, short
    tries = candidates(move, demands.pairs)
    normals = apart(move, demands.pairs, np.tile(held, (len(demands.pairs), 1))).normal
    tries = np.concatenate([np.where(np.isfinite(normals), normals, tries[:, 0])[:, None], tries], axis=1)
    count, each = tries.shape[:2]
    bound = along(move, np.repeat(demands.pairs, each, axis=0), tries.reshape(-1, 3)).least(low, high)
    least = bound.reshape(count, each).max(axis=1)
    turns = move.turns(demands.pairs).any(axis=1)
    if turns.any():
        least[turns] = lowest(move, demands.pairs[turns], low, high, normals[turns])
    loose = (move.deforms[demands.pairs] & (move.pieces.covers[demands.pairs] == demands.pairs)).any(axis=1)
    near = loose | (least < allowed[demands.pair_of])
    return demands.pairs[near], demands.pair_of[near], short


def spread(move: Movement, demands: Demands, margin: Margin, count: int, sigmas: float | None) -> Spread:
    """How a margin spreads: linear from its witness points where that holds, else by samples."""
    each = sigmas_of(move, sigmas)
    half = np.where(_measured(move), (move.high - move.low) / 2, 0.0)
    if _is_linear(move, demands, margin):
        slope = margin.slope
        sigma = float(np.sqrt(((slope * each) ** 2).sum()))
        shares = (slope * each) ** 2 / max(sigma**2, 1e-300)
        middle = float(slope @ np.where(_measured(move), (move.low + move.high) / 2, 0.0))
        value = max(margin.drawn + middle - SIGMAS * sigma, margin.met) - margin.demand.required
        rss = float(np.sqrt(((slope * half) ** 2).sum()))
        return Spread(sigma, rss, value, True, value, value, shares)
    offsets = drawn_offsets(move, min(count, affordable(move, margin.pairs)), sigmas)
    values = np.sort(_values(move, demands, margin, offsets)) - margin.demand.required
    sigma = float(values.std(ddof=1))
    low, at, high = _quantile(values, 0.5 * math.erfc(SIGMAS / math.sqrt(2.0)))
    return Spread(
        sigma,
        math.nan,
        at,
        False,
        low,
        high,
        _shares(offsets, values_of=_values(move, demands, margin, offsets)),
    )


def _values(move: Movement, demands: Demands, margin: Margin, offsets: np.ndarray) -> np.ndarray:
    """What the demand measures at offsets (n, k)."""
    least = np.full(len(offsets), np.inf)
    for pair in margin.pairs:
        found = apart(move, np.tile(pair, (len(offsets), 1)), offsets).signed
        least = np.fmin(least, found)
    for row in margin.lengths.tolist():
        least = np.minimum(least, demands.lengths_at(move, np.array([row]), offsets)[0])
    return least


def _is_linear(move: Movement, demands: Demands, margin: Margin) -> bool:
    """Does the margin follow its slopes at the worst corner, the opposite one, and half way to both?"""
    if not np.isfinite(margin.slope).all() or not np.isfinite(margin.drawn):
        return False
    held = np.clip(0.0, move.low, move.high)
    worst = np.where(margin.slope > 0, move.low, move.high)
    best = np.where(margin.slope > 0, move.high, move.low)
    corners = [np.where(_measured(move), end * share, held) for end in (worst, best) for share in (1.0, 0.5)]
    offsets = np.array(corners)
    told = margin.drawn + offsets @ margin.slope
    swing = float(np.ptp(told))
    return bool(
        np.abs(_values(move, demands, margin, offsets) - told).max() <= max(LINEAR_TO, LINEAR_SHARE * swing)
    )


def _quantile(values: np.ndarray, share: float) -> tuple[float, float, float]:
    """A quantile of sorted samples and its interval, by the ranks of a binomial (normal approximation)."""
    count = len(values)
    middle, half = count * share, QUANTILE * math.sqrt(count * share * (1 - share))
    ranks = [int(np.clip(math.floor(r), 0, count - 1)) for r in (middle - half, middle, middle + half)]
    low, at, high = (float(values[rank]) for rank in ranks)
    return low, at, high


def _shares(offsets: np.ndarray, values_of: np.ndarray) -> np.ndarray:
    """Share of the variance that follows each measurement: squares of correlations, as far as linear."""
    spread_of = offsets.std(axis=0)
    found = np.zeros(offsets.shape[1])
    if values_of.std() > 0:
        for k in np.flatnonzero(spread_of > 0).tolist():
            found[k] = float(np.corrcoef(offsets[:, k], values_of)[0, 1]) ** 2
    return found
