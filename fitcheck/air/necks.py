"""Where the way of the air is narrowest: a cut of a graph finds it, a section measures it exactly."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
import rustworkx

from fitcheck.air.fans import Gap
from fitcheck.air.flow import BOUNDLESS, UNIT, Cut, Flow
from fitcheck.air.grid import METRICATION, Grid, distinct
from fitcheck.air.grid import grid as space
from fitcheck.air.section import Section, flat_outline, narrowest
from fitcheck.air.ways import Mouth, Through
from fitcheck.rays.lines import first_hits

# A section, or a finer grid, is believed when its area is that of the cut within this share: a plane that
# passes the rim of its opening comes out larger.
ALIKE = 0.25
# Pieces of a cut that are a smaller share of it are not measured one by one, nor those of fewer ways.
WORTH, FEWEST = 0.05, 4
# A finer grid has at most so many points, and is fine enough when the area changes by no more than this.
MOST_POINTS, STABLE = 60_000, 0.03
BOUNDLESS_AREA = BOUNDLESS * UNIT
# Of a patch that bends more than this (what is left of its ways when they are added up) no plane is sought.
SLANTED = 0.3
# How deep below its face a sheet is cut open to measure its opening, mm.
INTO = 0.2
# Ways that look ahead by this (cosine) are asked where they end; so many times those farthest off are left
# out until all lie in a plane, within this, mm.
FACING, TRIMMED, LEVEL = 0.5, 6, 0.05
ALL_WAYS = tuple(way for way in product((-1, 0, 1), repeat=3) if any(way))


@dataclass(frozen=True, eq=False)
class Patch:
    """One place of a neck.

    Args:
        area: mm2.
        middle: (3,) mm.
        outline: (n, 3) corners, none where it is a few scattered ways, mm.
        error: by how much the area may be off, mm2; 0 where it was measured on the exact shapes.
        gap: the opening that it lies in, or empty.
        through: the core that it is, or empty.
    """

    area: float
    middle: np.ndarray
    outline: np.ndarray
    error: float
    gap: str = ""
    through: str = ""


@dataclass(frozen=True, eq=False)
class Neck:
    """The narrowest cross-section of a way.

    Args:
        area: mm2, that of the rings of blades included as far as these are the narrowest.
        patches: where it is, the largest first; none where the rings are the narrowest.
        rings: area of the rings in it, mm2.
        cut: what the graph says of it, mm2.
    """

    area: float
    patches: tuple[Patch, ...]
    rings: float
    cut: float

    @property
    def error(self) -> float:
        """By how much the area may be off, mm2."""
        return sum(patch.error for patch in self.patches)


def measured(
    grid: Grid, cut: Cut, gaps: Sequence[Gap], mouths: Sequence[Mouth] = (), cores: Sequence[Through] = ()
) -> Neck:
    """A cut measured on the exact shapes, as far as it is made of plane cross-sections.

    Args:
        mouths: the sources; what of their rings lies in the cut is the narrowest itself.
        cores: ways that the cut may cross.
    """
    rings = sum(float(mouth.areas[~cut.before[mouth.nodes]].sum()) for mouth in mouths)
    tied = np.concatenate(
        [np.zeros(0, int), *(m.nodes for m in mouths), *(n for c in cores for n in (c.tails, c.heads))]
    )
    patches = [*_in_space(grid, cut, gaps, tied), *(p for core in cores if (p := _in_core(grid, core, cut)))]
    patches.sort(key=lambda patch: -patch.area)
    area = rings + sum(patch.area for patch in patches)
    return Neck(area, tuple(patches), rings, cut.area)


def _in_core(grid: Grid, core: Through, cut: Cut) -> Patch | None:
    crossing = cut.before[core.tails] != cut.before[core.heads]
    area = float(core.areas[crossing].sum())
    if not crossing.any():
        return None
    middles = (grid.points[core.tails[crossing]] + grid.points[core.heads[crossing]]) / 2
    return Patch(area, middles.mean(axis=0), flat_outline(middles), 0.0, through=core.core.name)


def _in_space(grid: Grid, cut: Cut, gaps: Sequence[Gap], tied: np.ndarray) -> list[Patch]:
    crossing = np.flatnonzero(cut.before[grid.tails] != cut.before[grid.heads])
    if not len(crossing):
        return []
    tails, heads = grid.tails[crossing], grid.heads[crossing]
    forward = cut.before[tails]
    start, end = np.where(forward, tails, heads), np.where(forward, heads, tails)
    of = _patches_of(start, end)
    sizes = np.bincount(of, grid.areas[crossing])
    found = []
    for k in np.flatnonzero(sizes >= WORTH * cut.area):
        mine = of == k
        areas = grid.areas[crossing[mine]]
        found.append(_patch(grid, cut, (start[mine], end[mine], areas), gaps, tied))
    rest = sizes[of] < WORTH * cut.area
    if rest.any():
        areas = grid.areas[crossing[rest]]
        area = float(areas.sum())
        found.append(
            Patch(area, _middle(grid, start[rest], end[rest], areas), np.empty((0, 3)), METRICATION * area)
        )
    return found


def _patches_of(start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """(m,) which connected piece of a cut each of its ways belongs to: those with a point in common."""
    graph = rustworkx.PyGraph()
    nodes, place = np.unique(np.concatenate([start, end]), return_inverse=True)
    graph.add_nodes_from(range(len(nodes)))
    pairs = zip(place[: len(start)].tolist(), place[len(start) :].tolist(), strict=True)
    graph.add_edges_from_no_data(list(pairs))
    label = np.zeros(len(nodes), int)
    for k, members in enumerate(rustworkx.connected_components(graph)):
        label[list(members)] = k
    return np.asarray(label[place[: len(start)]])


def _patch(
    grid: Grid,
    cut: Cut,
    ways: tuple[np.ndarray, np.ndarray, np.ndarray],
    gaps: Sequence[Gap],
    tied: np.ndarray,
) -> Patch:
    """One connected piece of a cut: as a plane section that is like what the graph says of it, at first or by
    finer grids; else as these say.

    Args:
        ways: (start, end, areas) of the ways of the grid that it crosses.
    """
    start, end, areas = ways
    by_graph = float(areas.sum())
    middle = _middle(grid, start, end, areas)
    gap = _gap_at(gaps, middle, grid.pitch)
    name, share = ("", 1.0) if gap is None else (gap.name, gap.share)
    sections = [] if len(start) < FEWEST else list(_sections(grid, ways, middle, gap))

    def like(area: float) -> Patch | None:
        # Each of them leaves no way past: the least is the narrowest.
        alike = [s for s in sections if abs(s.area * share - area) <= ALIKE * max(area, s.area * share)]
        least = min(alike, key=lambda one: one.area, default=None)
        if least is None:
            return None
        return Patch(least.area * share, least.middle, least.outline, 0.0, name)

    known = like(by_graph)
    if known is not None:
        return known
    area, error = _refined(grid, cut, start, end, by_graph, tied)
    places = (grid.points[start] + grid.points[end]) / 2
    return like(area) or Patch(area, middle, flat_outline(places), error, name)


def _middle(grid: Grid, start: np.ndarray, end: np.ndarray, areas: np.ndarray) -> np.ndarray:
    both = (grid.points[start] + grid.points[end]) / 2
    return np.asarray((both * areas[:, None]).sum(axis=0) / areas.sum())


def _refined(
    grid: Grid, cut: Cut, start: np.ndarray, end: np.ndarray, area: float, tied: np.ndarray
) -> tuple[float, float]:
    """Area of a piece of a cut by finer grids about it until it stays the same, and its error, mm2.

    Farther from it than two pitches all stays before or behind the cut as it was found.
    """
    first, error = area, METRICATION * area
    near = _near(grid, np.concatenate([start, end]))
    held = np.argwhere(near)
    region = grid.low + grid.pitch * (np.array([held.min(axis=0) - 0.5, held.max(axis=0) + 0.5]))
    pitch = grid.pitch / 2
    while np.prod((region[1] - region[0]) / pitch) <= MOST_POINTS and len(start) >= FEWEST:
        finer = space(grid.world, region, np.zeros((2, 3)), pitch, grid.stops, grid.gaps)
        found = _cut_again(grid, cut, near, finer, tied)
        if found is None:
            break
        if abs(found.area - first) > ALIKE * max(found.area, first):
            # What is known to lie before it takes up too much of so small a place for a finer grid.
            area, error = first, ALIKE * first
            break
        change = abs(found.area - area)
        area, error = found.area, max(METRICATION * found.area, change)
        if change <= STABLE * area:
            break
        pitch = pitch / 2
    return area, error


def _near(grid: Grid, nodes: np.ndarray) -> np.ndarray:
    """(i, j, k) which places of the grid are at most two steps from the nodes."""
    marked = np.zeros(len(grid.points) + 1, bool)
    marked[nodes] = True
    near = np.asarray(marked[grid.number])
    for _ in range(2):
        for axis in range(3):
            grown = near.copy()
            ahead, back = [slice(None)] * 3, [slice(None)] * 3
            ahead[axis], back[axis] = slice(1, None), slice(None, -1)
            grown[tuple(ahead)] |= near[tuple(back)]
            grown[tuple(back)] |= near[tuple(ahead)]
            near = grown
    return near


def _cut_again(grid: Grid, cut: Cut, near: np.ndarray, finer: Grid, tied: np.ndarray) -> Cut | None:
    """The cut in a finer grid, between what lay before and behind the coarse one away from it."""
    cell = (
        np.rint((finer.points - grid.low) / grid.pitch).astype(int).clip(0, np.array(grid.number.shape) - 1)
    )
    i, j, k = cell.T
    coarse = grid.number[i, j, k]
    fixed = np.zeros(len(grid.points) + 1, bool)
    fixed[tied] = True
    known = (coarse >= 0) & (~_inner(near)[i, j, k] | (fixed[coarse] & cut.before[coarse]))
    # A thin sheet may part a place from the point that its cell is known by.
    asked = np.flatnonzero(known)
    ends = finer.points[asked], grid.points[coarse[asked]]
    known[asked] = first_hits(grid.stops, *ends, only_whether=True).free
    before = known & cut.before[coarse]
    sources, sinks = np.flatnonzero(before), np.flatnonzero(known & ~before)
    if not len(sources) or not len(sinks):
        return None
    none = np.zeros(0, int)
    graph = Flow(
        len(finer.points), (finer.tails, finer.heads, finer.areas), (none, none, none), sinks, sources
    )
    return graph.cut(np.full(len(sources), BOUNDLESS_AREA))


def _inner(near: np.ndarray) -> np.ndarray:
    """(i, j, k) those of `near` whose six neighbours are near, too."""
    inner = near.copy()
    for axis in range(3):
        for shift in (1, -1):
            inner &= np.roll(near, shift, axis)
    return inner


def _sections(
    grid: Grid, ways: tuple[np.ndarray, np.ndarray, np.ndarray], middle: np.ndarray, gap: Gap | None
) -> Iterator[Section]:
    """Sections to be tried: in an opening's sheet, in the flat thing about the neck, square to the cut."""
    start, end, areas = ways
    a, b = grid.points[start], grid.points[end]
    seeds = np.stack([a, b])
    normal = ((b - a) / np.linalg.norm(b - a, axis=1)[:, None] * areas[:, None]).sum(axis=0)
    if np.linalg.norm(normal) < SLANTED * areas.sum():
        return
    normal /= np.linalg.norm(normal)
    planes = []
    if gap is not None and abs(normal @ gap.axis) > np.cos(np.radians(25.0)):
        planes.append((middle - ((middle - gap.at) @ gap.axis + INTO) * gap.axis, gap.axis, 0.0))
    for nodes, ahead in ((start, normal), (end, -normal)):
        flat = _flat(grid, distinct(nodes), ahead)
        if flat is not None:
            at, square = flat
            planes.append((middle - ((middle - at) @ square - INTO) * square, square, 0.0))
    planes.append((middle, normal, grid.pitch))
    for at, square, unsure in planes:
        found = narrowest(grid.stops, seeds, at, square, unsure)
        if found is not None:
            yield found


def _flat(grid: Grid, nodes: np.ndarray, ahead: np.ndarray) -> tuple[np.ndarray, np.ndarray] | None:
    """(place, normal ahead) of the flat thing about a neck, from where ways from the points before it end.

    None where they do not end in a plane.
    """
    steps = np.array([way for way in ALL_WAYS if np.array(way) @ ahead > FACING * np.linalg.norm(way)], float)
    begin = np.repeat(grid.points[nodes], len(steps), axis=0)
    way = np.tile(steps, (len(nodes), 1)) * grid.pitch
    met = first_hits(grid.stops, begin, begin + way)
    on = begin[~met.free] + met.shares[~met.free, None] * way[~met.free]
    if len(on) < FEWEST:
        return None
    for _ in range(TRIMMED):
        at = on.mean(axis=0)
        square = np.linalg.svd(on - at, full_matrices=False)[2][2]
        off = np.abs((on - at) @ square)
        if off.max() < LEVEL:
            break
        on = on[off <= np.sort(off)[int(0.8 * (len(off) - 1))]]
        if len(on) < FEWEST:
            return None
    if off.max() > LEVEL or abs(square @ ahead) < FACING:
        return None
    return at, square * np.sign(square @ ahead)


def _gap_at(gaps: Sequence[Gap], middle: np.ndarray, pitch: float) -> Gap | None:
    """The opening that a place lies in, the least of them; None when it lies in none."""
    near = [
        gap
        for gap in gaps
        if abs((middle - gap.at) @ gap.axis) <= 1.25 * pitch and bool(gap.holds(middle[None], 0.5)[0])
    ]
    return min(near, key=lambda gap: gap.area, default=None)
