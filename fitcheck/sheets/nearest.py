"""What each hole and cut-out of a sheet is nearest to, and what the handbook wants there."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from fitcheck.sheets.around import Sheet
from fitcheck.sheets.cutouts import ON_EDGE, Cut


@dataclass(frozen=True)
class Factors:
    """Least distances.

    Args:
        edge: hole's middle to an edge, in its diameters (EN 1993-1-8 table 3.3: 1.2).
        pitch: between middles of holes, in the larger diameter (the same: 2.2).
        web: material left beside a cut-out, in thicknesses (shop rule: 2).
        bend: a hole's edge from the tangent of a bend, in thicknesses, and its radius besides (shop rule: 2).
        bend_cutout: the same of a cut-out (shop rule: 3).
    """

    edge: float = 1.2
    pitch: float = 2.2
    web: float = 2.0
    bend: float = 2.0
    bend_cutout: float = 3.0


@dataclass(frozen=True, eq=False)
class Nearness:
    """One distance of one hole or cut-out.

    Args:
        kind: `edge`, `pitch`, `rim` (a cut-out to an edge), `web` (to another), `bend`.
        cut: of what.
        other: name of the other cut-out, or empty for an edge or bend.
        measured, wanted: mm.
        where: (2, 3) the places that it lies between, in the frame of the part.
    """

    kind: str
    cut: Cut
    other: str
    measured: float
    wanted: float
    where: np.ndarray


def nearness(sheet: Sheet, factors: Factors, radius: float | None = 0.0) -> Iterator[Nearness]:
    """Each hole's and cut-out's nearest edge, neighbour and bend.

    A cut-out that opens into the sheet's edge is a notch: nothing is asked of it there; nor of two cut-outs
    that open into each other, which are one.

    Args:
        radius: inside radius of its bends, mm; None where nothing is asked of bends.
    """
    yield from _edges(sheet, factors)
    yield from _neighbours(sheet, factors)
    if radius is not None:
        yield from _bends(sheet, factors, radius)


def rim(sheet: Sheet, cut: Cut) -> Nearness:
    """The least material left around a cut-out, to edges, bends, other cut-outs; 0 where it runs into one."""
    found = [Nearness("rim", cut, "", np.inf, 0.0, np.array([sheet.place(cut.core[0])] * 2))]
    for segments, legs in ((sheet.edges, np.zeros(len(sheet.edges))), (sheet.bends, sheet.legs)):
        if len(segments):
            gaps = np.array([cut.gap_to_edge(segment[None])[0] for segment in segments]) - legs
            at = int(gaps.argmin())
            found.append(Nearness("rim", cut, "", float(gaps[at]), 0.0, _between(sheet, cut, segments[at])))
    for other in sheet.cuts:
        if other is not cut:
            gap = cut.gap_to(other)
            found.append(Nearness("rim", cut, other.name, gap, 0.0, _between_cuts(sheet, cut, other)))
    least = min(found, key=lambda near: near.measured)
    return replace(least, measured=max(least.measured, 0.0))


def _edges(sheet: Sheet, factors: Factors) -> Iterator[Nearness]:
    if not len(sheet.edges):
        return
    for cut in sheet.cuts:
        gap, at = cut.gap_to_edge(sheet.edges)
        where = _between(sheet, cut, sheet.edges[at])
        if cut.is_hole:
            due = factors.edge * 2 * cut.radius
            yield Nearness("edge", cut, "", gap + cut.radius, due, where)
        elif gap > ON_EDGE:
            yield Nearness("rim", cut, "", gap, factors.web * sheet.thickness, where)


def _neighbours(sheet: Sheet, factors: Factors) -> Iterator[Nearness]:
    """Of each the neighbour with least to spare, each pair once.

    Neighbours are asked in the order of a bound by the circles about them, until none that is left can be
    worse.
    """
    circles = _Circles.of(sheet.cuts)
    told: set[tuple[int, int]] = set()
    for i, one in enumerate(sheet.cuts):
        bound = circles.least_spare(i, sheet, factors)
        worst: tuple[float, int, Nearness] | None = None
        for j in np.argsort(bound, kind="stable").tolist():
            if bound[j] == np.inf or (worst is not None and bound[j] > worst[0]):
                break
            found = _pair(sheet, one, sheet.cuts[j], factors)
            if found is not None and (worst is None or found.measured - found.wanted < worst[0]):
                worst = found.measured - found.wanted, j, found
        if worst is not None and (key := (min(i, worst[1]), max(i, worst[1]))) not in told:
            told.add(key)
            yield worst[2]


@dataclass(frozen=True, eq=False)
class _Circles:
    """Circles about the cut-outs of a sheet: middles (n, 2), sizes and radii (n,), which are holes (n,)."""

    middles: np.ndarray
    sizes: np.ndarray
    radii: np.ndarray
    holes: np.ndarray

    @staticmethod
    def of(cuts: tuple[Cut, ...]) -> _Circles:
        middles = [cut.core.mean(axis=0) for cut in cuts]
        sizes = [
            float(np.linalg.norm(cut.core - middle, axis=1).max()) + cut.radius
            for cut, middle in zip(cuts, middles, strict=True)
        ]
        radii, holes = [cut.radius for cut in cuts], [cut.is_hole for cut in cuts]
        return _Circles(
            np.array(middles).reshape(-1, 2), np.array(sizes), np.array(radii), np.array(holes, bool)
        )

    def least_spare(self, i: int, sheet: Sheet, factors: Factors) -> np.ndarray:
        """(n,) what is to spare between cut-out i and each other at the least; inf for itself."""
        apart = np.linalg.norm(self.middles - self.middles[i], axis=1) - self.sizes - self.sizes[i]
        mine, wide = self.radii[i], 2 * np.maximum(self.radii, self.radii[i])
        if self.holes[i]:
            spare = np.where(
                self.holes,
                apart + mine + self.radii - factors.pitch * wide,
                apart + mine - factors.edge * 2 * mine,
            )
        else:
            spare = apart + np.where(
                self.holes, self.radii * (1 - 2 * factors.edge), -factors.web * sheet.thickness
            )
        spare[i] = np.inf
        return np.asarray(spare)


def _pair(sheet: Sheet, one: Cut, other: Cut, factors: Factors) -> Nearness | None:
    gap = one.gap_to(other)
    where = _between_cuts(sheet, one, other)
    if one.is_hole and other.is_hole:
        wide = 2 * max(one.radius, other.radius)
        return Nearness(
            "pitch", one, other.name, gap + one.radius + other.radius, factors.pitch * wide, where
        )
    if one.is_hole or other.is_hole:
        hole, opening = (one, other) if one.is_hole else (other, one)
        # A cut-out's edge is an edge of the sheet.
        return Nearness("edge", hole, opening.name, gap + hole.radius, factors.edge * 2 * hole.radius, where)
    if gap <= ON_EDGE:
        return None
    return Nearness("web", one, other.name, gap, factors.web * sheet.thickness, where)


def _bends(sheet: Sheet, factors: Factors, radius: float) -> Iterator[Nearness]:
    for cut in sheet.cuts if len(sheet.bends) else ():
        gaps = np.array([cut.gap_to_edge(segment[None])[0] for segment in sheet.bends]) - sheet.legs - radius
        at = int(gaps.argmin())
        factor = factors.bend if cut.is_hole else factors.bend_cutout
        where = _between(sheet, cut, sheet.bends[at])
        yield Nearness("bend", cut, "", float(gaps[at]), factor * sheet.thickness + radius, where)


def _between(sheet: Sheet, cut: Cut, segment: np.ndarray) -> np.ndarray:
    """The places on a cut-out's core and on an edge that are nearest, (2, 3) in the frame of the part."""
    along = segment[1] - segment[0]
    tried = [(p, _on(segment[0], along, p)) for p in cut.core]
    tried += [(_on(e[0], e[1] - e[0], p), p) for e in cut.edges for p in segment]
    core, edge = min(tried, key=lambda pair: float(np.linalg.norm(pair[0] - pair[1])))
    return np.array([sheet.place(_grown(cut, core, edge)), sheet.place(edge)])


def _between_cuts(sheet: Sheet, one: Cut, other: Cut) -> np.ndarray:
    tried = [(p, _on(e[0], e[1] - e[0], p)) for p in one.core for e in other.edges]
    tried += [(_on(e[0], e[1] - e[0], p), p) for e in one.edges for p in other.core]
    a, b = min(tried, key=lambda pair: float(np.linalg.norm(pair[0] - pair[1])))
    return np.array([sheet.place(_grown(one, a, b)), sheet.place(_grown(other, b, a))])


def _grown(cut: Cut, core: np.ndarray, towards: np.ndarray) -> np.ndarray:
    """From a cut-out's core to its edge; a hole is measured from its middle."""
    off = towards - core
    length = float(np.linalg.norm(off))
    return core if cut.is_hole or length == 0 else core + off / length * cut.radius


def _on(start: np.ndarray, along: np.ndarray, place: np.ndarray) -> np.ndarray:
    square = float(along @ along)
    share = 0.0 if square == 0 else float(np.clip((place - start) @ along / square, 0.0, 1.0))
    return np.asarray(start + share * along)
