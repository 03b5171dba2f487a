"""Free space as points of a grid and the free straight ways between neighbours: a graph whose cuts are areas.

How many of the lines of a grid cross a surface says how large it is (Cauchy and Crofton); so the least cut of
the graph is the narrowest cross-section (Boykov and Kolmogorov, Computing geodesics and minimal surfaces via
graph cuts, 2003). Each way between neighbours is asked on the exact shapes: no sheet is too thin to stop it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from fitcheck.air.fans import Gap
from fitcheck.rays.lines import Stops, first_hits, nearest, stops
from fitcheck.world.bodies import bodies
from fitcheck.world.frames import SIDES
from fitcheck.world.world import World

# Area that a way to a neighbour stands for, along an axis, a square's diagonal, a cube's, in squares of the
# grid's pitch: the fit over all directions of a plane whose greatest error is least, 4.5 %.
WEIGHTS = (0.1478, 0.12397, 0.07793)
METRICATION = 0.045
NEIGHBOURS = tuple(way for way in product((-1, 0, 1), repeat=3) if way > (0, 0, 0))
# A place nearer to a solid than this is none of the grid's, mm: gaps thinner than twice this count as closed.
CLEAR = 1.0
# Nearer than this to a solid counts as in it, mm.
TOUCH = 0.01
# Distances in a cell are asked up to this, in pitches: more decides nothing.
KNOWN = 1.0
# How far the corners of a cell are from its middle, in pitches.
CORNER = 0.8661
# The grid begins off the corner of its region by these shares of the pitch: no plane of it lies in a face of
# what was drawn in round figures.
OFFSET = np.array([0.3719, 0.4153, 0.4337])
# How far beyond all solids the outside begins to be, in pitches.
MARGIN = 1.6


@dataclass(frozen=True, eq=False)
class Grid:
    """Points of free space, and the free ways between them.

    Args:
        world: whose.
        low: (3,) where point (0, 0, 0) stands, mm.
        pitch: mm.
        number: (i, j, k) number of the point there, -1 where it is not free.
        points: (n, 3) mm.
        outside: (n,) which lie outside of everything.
        tails, heads, areas: (m,) of each free way between two points, and the area it stands for, mm2.
        stops: what stops air.
        gaps: openings with grilles.
    """

    world: World
    low: np.ndarray
    pitch: float
    number: np.ndarray
    points: np.ndarray
    outside: np.ndarray
    tails: np.ndarray
    heads: np.ndarray
    areas: np.ndarray
    stops: Stops
    gaps: tuple[Gap, ...]


def region_of(world: World, closed: tuple[str, ...]) -> tuple[np.ndarray, np.ndarray]:
    """(2, 3) bounds of all solids, and (2, 3) 1 where the outside begins there, 0 on the closed sides."""
    boxes = bodies(world).body_bounds
    bounds = np.array([boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)])
    opened = np.ones((2, 3))
    for side in closed:
        axis = int(np.abs(SIDES[side]).argmax())
        opened[int(SIDES[side][axis] > 0), axis] = 0.0
    return bounds, opened


def stopping(world: World) -> Stops:
    """All that stops air: every solid."""
    return stops(bodies(world), np.arange(len(bodies(world).kinds)))


def grid(
    world: World, region: np.ndarray, opened: np.ndarray, pitch: float, what: Stops, grilles: tuple[Gap, ...]
) -> Grid:
    """The free space of a region (2, 3) as a graph.

    Args:
        opened: (2, 3) 1 on the sides of the region beyond which the outside begins.
        pitch: mm.
    """
    grown = region + np.array([[-1.0], [1.0]]) * MARGIN * pitch * opened
    low = grown[0] + OFFSET * pitch
    shape = np.maximum(np.floor((grown[1] - low) / pitch).astype(int) + 1, 1)
    at = low + pitch * np.stack(np.meshgrid(*map(np.arange, shape), indexing="ij"), axis=-1).reshape(-1, 3)
    points, room, full = _cells(at, pitch, what)
    free = room > CLEAR
    number = np.where(free, np.cumsum(free) - 1, -1).reshape(shape)
    points, full = points[free], full[free]
    out = ((points < region[0]) & (opened[0] > 0)) | ((points > region[1]) & (opened[1] > 0))
    outside = out.any(axis=1)
    tails, heads, areas = _ways(number, points, room[free], outside, pitch, what)
    areas = areas * np.minimum(full[tails], full[heads]) * shares(grilles, points[tails], points[heads])
    return Grid(world, low, pitch, number, points, outside, tails, heads, areas, what, grilles)


def _cells(at: np.ndarray, pitch: float, what: Stops) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Of each cell about a point of `at` (n, 3) its place with the most room (n, 3), that room (n,), and how
    much of the cell is free about it (n,).

    So a gap that is thinner than a cell has a point, and counts as wide as it is; asked at the middles only,
    it would count as a whole cell or not at all.
    """
    room, _ = nearest(what, at, pitch)
    points, full = at.copy(), np.ones(len(at))
    tight = np.flatnonzero(room < pitch * CORNER)
    corners = np.array(list(product((-0.25, 0.25), repeat=3))) * pitch
    tried = at[tight, None] + corners
    rooms = nearest(what, tried.reshape(-1, 3), KNOWN * pitch)[0].reshape(len(tight), len(corners))
    best = rooms.argmax(axis=1)
    each = np.arange(len(tight))
    points[tight], room[tight] = tried[each, best], rooms[each, best]
    apart = np.linalg.norm(tried - points[tight, None], axis=2)
    free = (rooms > TOUCH) & (room[tight, None] > CLEAR)
    doubtful = free & (rooms + room[tight, None] <= apart)
    cell, corner = np.nonzero(doubtful)
    ends = points[tight[cell]], tried[cell, corner]
    free[cell, corner] = first_hits(what, *ends, only_whether=True).free
    full[tight] = free.mean(axis=1)
    return points, room, full


def _ways(
    number: np.ndarray, points: np.ndarray, room: np.ndarray, outside: np.ndarray, pitch: float, what: Stops
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Free ways between neighbours, no two of them outside, and the area that each stands for."""
    to = _neighbours(number, len(points))
    for way in NEIGHBOURS:
        tails = np.flatnonzero(to[way] >= 0)
        heads = to[way][tails]
        # Two balls without a solid in them that overlap hold the way between their middles.
        apart = np.linalg.norm(points[tails] - points[heads], axis=1)
        inside = ~(outside[tails] & outside[heads])
        doubtful = np.flatnonzero((room[tails] + room[heads] <= apart) & inside)
        ends = points[tails[doubtful]], points[heads[doubtful]]
        stopped = doubtful[~first_hits(what, *ends, only_whether=True).free]
        to[_back(way)][heads[stopped]] = -1
        to[way][tails[stopped]] = -1
    more = _along_walls(to)
    found = []
    for way in NEIGHBOURS:
        tails = np.flatnonzero(to[way] >= 0)
        heads = to[way][tails]
        inside = ~(outside[tails] & outside[heads])
        tails, heads = tails[inside], heads[inside]
        weight = WEIGHTS[_steps(way) - 1] + more[way][tails] + more[_back(way)][heads]
        found.append((tails, heads, weight * pitch**2))
    tails, heads, areas = (np.concatenate([one[k] for one in found]) for k in range(3))
    return tails, heads, areas


Way = tuple[int, ...]


def _back(way: Way) -> Way:
    return tuple(-step for step in way)


def _steps(way: Way) -> int:
    return sum(map(abs, way))


def _neighbours(number: np.ndarray, count: int) -> dict[Way, np.ndarray]:
    """By way, (n,) the neighbour of each point there, -1 where none is free."""
    found = {}
    for way in (*NEIGHBOURS, *map(_back, NEIGHBOURS)):
        mine = tuple(slice(max(-d, 0), n - max(d, 0)) for d, n in zip(way, number.shape, strict=True))
        theirs = tuple(slice(max(d, 0), n - max(-d, 0)) for d, n in zip(way, number.shape, strict=True))
        a, b = number[mine].ravel(), number[theirs].ravel()
        found[way] = np.full(count, -1)
        found[way][a[a >= 0]] = b[a >= 0]
    return found


def _along_walls(to: dict[Way, np.ndarray]) -> dict[Way, np.ndarray]:
    """By way, (n,) what each way takes over of the slanting ones that a wall along it stops.

    Without it a channel would lose, at each of its walls, a quarter of a pitch of its width: lines that cross
    its section and then end in the wall. Half of each such line goes on along the wall, the other half is
    that which comes from the wall's far side. At a rim no way takes over: there the line is stopped by right.
    """
    more = {way: np.zeros(len(points)) for way, points in to.items()}
    for way, points in to.items():
        if _steps(way) == 1:
            continue
        left = points < 0
        for fewer in range(_steps(way) - 1, 0, -1):
            parts = [part for part in to if _steps(part) == fewer and _is_part(part, way)]
            passing = np.array([to[part] >= 0 for part in parts])
            single = left & (passing.sum(axis=0) == 1)
            for part, passes in zip(parts, passing, strict=True):
                more[part][single & passes] += WEIGHTS[_steps(way) - 1] / 2
            left = left & (passing.sum(axis=0) == 0)
    return more


def _is_part(part: Way, way: Way) -> bool:
    return all(a in (0, b) for a, b in zip(part, way, strict=True))


def distinct(values: np.ndarray) -> np.ndarray:
    """Values (n,) or rows (n, k), each once, sorted; without an index numpy would import masked arrays."""
    return np.asarray(np.unique(values, axis=None if values.ndim == 1 else 0, return_index=True)[0])


def shares(grilles: tuple[Gap, ...], begin: np.ndarray, end: np.ndarray) -> np.ndarray:
    """(n,) open share of the grilles that lines from begin (n, 3) to end (n, 3) pass."""
    found = np.ones(len(begin))
    for gap in grilles:
        before, after = (begin - gap.at) @ gap.axis, (end - gap.at) @ gap.axis
        crossing = np.flatnonzero((before > 0) != (after > 0))
        part = before[crossing] / (before[crossing] - after[crossing])
        place = begin[crossing] + part[:, None] * (end[crossing] - begin[crossing])
        found[crossing[gap.holds(place)]] *= gap.share
    return found


def attached(grid: Grid, places: np.ndarray, ways: np.ndarray) -> np.ndarray:
    """(n,) the point of the grid that is next to places (n, 3) on the side of ways (n, 3); -1 for none.

    It is one of those about the places half a pitch and one and a half along the way, to which a straight
    line is free.
    """
    corners = np.array(list(product((0, 1), repeat=3)))
    tried = []
    for far in (0.5, 1.5):
        cell = np.floor((places + far * grid.pitch * ways - grid.low) / grid.pitch).astype(int)
        tried.append(cell[:, None, :] + corners)
    cells = np.concatenate(tried, axis=1)
    inside = ((cells >= 0) & (cells < grid.number.shape)).all(axis=2)
    held = cells.clip(0, np.array(grid.number.shape) - 1)
    found = np.where(inside, grid.number[held[..., 0], held[..., 1], held[..., 2]], -1)
    place, _ = np.nonzero(found >= 0)
    node = found[found >= 0]
    ahead = ((grid.points[node] - places[place]) * ways[place]).sum(axis=1)
    node, place = node[ahead > 0], place[ahead > 0]
    free = first_hits(grid.stops, places[place], grid.points[node], only_whether=True).free
    node, place = node[free], place[free]
    aim = places[place] + 0.75 * grid.pitch * ways[place]
    far_off = np.linalg.norm(grid.points[node] - aim, axis=1)
    order = np.lexsort((far_off, place))
    first = (
        np.concatenate([[True], place[order][1:] != place[order][:-1]]) if len(order) else np.zeros(0, bool)
    )
    chosen = np.full(len(places), -1)
    chosen[place[order][first]] = node[order][first]
    return chosen
