"""Where coolant or air stays: what hangs together becomes one place with a name."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from fitcheck.loops.attitude import Attitude
from fitcheck.parts.solids import Kind, Piece

# Less than this is a drop, ml.
DROP = 1e-6


@dataclass(frozen=True, eq=False)
class Place:
    """One pool of coolant, or one pocket of air.

    Args:
        owners: the runs and parts it lies in, the largest share first.
        at: its lowest point (the highest of a pocket of air), (3,) mm.
        nodes: numbers of its nodes; of a tank all openings.
        most, least, likely: ml.
        why: in a few words.
    """

    owners: tuple[str, ...]
    at: np.ndarray
    nodes: tuple[int, ...]
    most: float
    least: float
    likely: float
    why: str


Stays = tuple[float, float, float]


def places(
    here: Attitude,
    pipes: Sequence[Stays],
    tanks: Sequence[Stays],
    why: Callable[[frozenset[int]], str],
    holding: Callable[[int], bool],
) -> tuple[Place, ...]:
    """Group what stays, mm³ for each piece of bore and each tank, into places, the largest first."""
    of: dict[int, int] = {}

    def root(node: int) -> int:
        while of.setdefault(node, node) != node:
            of[node] = of[of[node]]
            node = of[node]
        return node

    wet = [k for k, stay in enumerate(pipes) if stay[0] > 0]
    for k in wet:
        pipe = here.pipes[k]
        held = [node for node in (pipe.a, pipe.b) if holding(node)]
        for node in held[1:]:
            of[root(node)] = root(held[0])
    filled = [(node, k) for k, node in enumerate(here.tank_nodes) if tanks[k][0] > 0]
    for node, k in filled:
        root(node)
        for opening in here.water.tanks[k].openings:
            if holding(opening):
                of[root(opening)] = root(node)
    groups: dict[int, list[tuple[str, Stays, tuple[int, ...]]]] = {}
    for k in wet:
        pipe = here.pipes[k]
        held = [node for node in (pipe.a, pipe.b) if holding(node)]
        if held:
            groups.setdefault(root(held[0]), []).append((pipe.owner, pipes[k], tuple(held)))
    for node, k in filled:
        groups.setdefault(root(node), []).append((here.water.tanks[k].owner, tanks[k], (node,)))
    found = [_place(here, members, why) for members in groups.values()]
    kept = [place for place in found if place.most > DROP]
    return tuple(sorted(kept, key=lambda place: (-place.most, place.owners)))


def _place(
    here: Attitude, members: list[tuple[str, Stays, tuple[int, ...]]], why: Callable[[frozenset[int]], str]
) -> Place:
    nodes = frozenset(node for _, _, held in members for node in held)
    shares: dict[str, float] = {}
    for owner, stay, _ in members:
        shares[owner] = shares.get(owner, 0.0) + stay[0]
    owners = tuple(sorted(shares, key=lambda owner: (-shares[owner], owner)))
    most, least, likely = (sum(stay[k] for _, stay, _ in members) / 1000 for k in range(3))
    known, at = _lowest(here, nodes)
    return Place(owners, at, known, most, least, likely, why(nodes))


def _lowest(here: Attitude, nodes: frozenset[int]) -> tuple[tuple[int, ...], np.ndarray]:
    """The nodes of a place that the waterway has, and the place's lowest point."""
    first = here.tank_nodes.start
    tanks = [here.water.tanks[node - first] for node in sorted(nodes) if node >= first]
    openings = [node for tank in tanks for node in tank.openings]
    known = sorted(node for node in {*nodes, *openings} if node < len(here.water.points))
    corners = [corner for node in known for corner in here.water.points[node]]
    own = len(here.water.points)
    corners += [here.cuts[node - own] for node in sorted(nodes) if own <= node < first]
    corners += [lowest_point(piece, here.up) for tank in tanks for piece in tank.pieces]
    return tuple(known), np.asarray(min(corners, key=lambda corner: float(corner @ here.up)))


def lowest_point(piece: Piece, up: np.ndarray) -> np.ndarray:
    """A lowest point of a box or cylinder; the middle of its lowest edge or face where there are many."""
    lean = up @ piece.rotation
    towards = np.where(np.abs(lean) > 1e-9, np.sign(lean), 0.0)
    if piece.kind == Kind.CYLINDER and towards[:2].any():
        towards[:2] = lean[:2] / np.linalg.norm(lean[:2])
    return np.asarray(piece.centre - piece.rotation @ (towards * piece.half))
