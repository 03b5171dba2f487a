"""From a distance to a colour: bands with the rule's demand as one edge, and the words of the legend."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitcheck.checks.clearance import ClearanceRule
from fitcheck.world.world import World

# Overlap, four bands, far. The middle four are from the palette of Okabe and Ito, "Color Universal
# Design" (2008): told apart by readers with any common colour vision deficiency.
OVERLAP, FAR = "#7F0000", "#DDE3E8"
NEAR = ("#D55E00", "#E69F00", "#F0E442", "#56B4E9")
# Edges past the demand, mm: round figures, each at least half again the last.
ROUND = (1, 2, 5, 10, 20, 30, 50, 80, 120, 200, 300, 500)
GROWTH = 1.5
# What is demanded when no rule says so, mm: only the colours use it.
UNDEMANDED = 2.0
# Shallower than this is contact, as the interference check has it, mm.
CONTACT = 0.01


@dataclass(frozen=True)
class PairDemand:
    """A rule for two names (patterns): at least so far apart, mm."""

    between: str
    other: str
    at_least: float


@dataclass(frozen=True)
class Bands:
    """Edges of the bands, mm, ascending; the first is the demand.

    `ruled`: a rule of the scene asks for it. `pairs` have demands of their own, `ignored` none.
    """

    edges: tuple[float, float, float, float]
    ruled: bool = True
    pairs: tuple[PairDemand, ...] = ()
    ignored: tuple[tuple[str, str], ...] = ()

    @property
    def demand(self) -> float:
        """The default demand."""
        return self.edges[0]

    @property
    def far(self) -> float:
        """Beyond this a surface is pale."""
        return self.edges[-1]

    @property
    def reach(self) -> float:
        """How far to look for neighbours: any pair's own demand may lie beyond the default's bands."""
        return max([self.far, *(p.at_least for p in self.pairs)])

    def scaled(self, distance: np.ndarray, asked: np.ndarray) -> np.ndarray:
        """Distances moved so that a pair's own demand falls on the default's edge; overlap stays as it is."""
        share = np.clip(distance / np.maximum(asked, 1e-9), 0, 1)
        moved = share * self.demand + np.maximum(distance - asked, 0)
        return np.where(distance > 0, moved, distance)

    def colours(self, values: np.ndarray) -> np.ndarray:
        """(n, 3) uint8 colours of distances (n,), mm; negative: overlap."""
        palette = np.array([rgb(c) for c in (OVERLAP, *NEAR, FAR)], np.uint8)
        return palette[np.searchsorted([-CONTACT, *self.edges], values, side="right")]

    def legend(self) -> list[tuple[str, str]]:
        """(colour, words) of each band, nearest first."""
        d, *rest = (f"{e:g}" for e in self.edges)
        under = f"under {d} mm"
        if self.ruled:
            under += " or its own\ndemand: too near" if self.pairs else ":\nless than demanded"
        words = ["overlap", under]
        words += [f"{a} to {b} mm" for a, b in zip((d, *rest), rest, strict=False)]
        return list(
            zip((OVERLAP, *NEAR, FAR), [*words, f"over {rest[-1]} mm,\nor meant to touch"], strict=True)
        )


def rgb(colour: str) -> tuple[int, int, int]:
    """(red, green, blue) of `#RRGGBB`."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def edges_from(demand: float) -> tuple[float, float, float, float]:
    """The demand and three round figures above it, mm."""
    edges = [demand]
    for figure in ROUND:
        if figure >= GROWTH * edges[-1] and len(edges) < 4:
            edges.append(float(figure))
    while len(edges) < 4:
        edges.append(2 * edges[-1])
    return edges[0], edges[1], edges[2], edges[3]


def bands_of(world: World) -> Bands:
    """Bands for a world's clearance rule; with UNDEMANDED as first edge where there is none."""
    rule = ClearanceRule.model_validate(world.rules.get("clearance", {}))
    pairs = tuple(PairDemand(p.between, p.and_, p.at_least) for p in rule.pairs)
    ignored = tuple((p.between, p.and_) for p in rule.ignore)
    return Bands(edges_from(rule.default or UNDEMANDED), rule.default > 0, pairs, ignored)
