"""Waterways for the tests of loops: worked by hand, and at random."""

from __future__ import annotations

import itertools
import math

import numpy as np

from fitcheck.loops.waterway import Plumber, Waterway
from fitcheck.parts.pieces import box_piece

# A bore of 10 mm, mm².
BORE = math.pi * 25


def legs(*heights: float, bore: float = BORE) -> Waterway:
    """Vertical legs one after the other: the first node is the vent, the last the drain, apart sideways
    by nothing; a level way between them holds nothing."""
    plumber = Plumber()
    nodes = [plumber.node((0, 0, z), f"n{k}") for k, z in enumerate(heights)]
    for a, b in itertools.pairwise(nodes):
        plumber.pipe(a, b, bore, f"leg{b}")
    return plumber.waterway()


def radiator_loop(low_port: float = 500) -> tuple[Waterway, dict[str, int]]:
    """A reservoir with a vent on top and its outlet at 300, a tube down to a pump at 60, up to a radiator's
    port at 500; the radiator is a box from z 480 to 520 of 300 ml; its return falls into the reservoir's air."""
    plumber = Plumber()
    vent, outlet, back = (
        plumber.node((0, 0, z), n) for z, n in ((420, "vent"), (300, "outlet"), (400, "back"))
    )
    # 1 mm² on the ground would do; the reservoir itself drains to its outlet.
    plumber.tank(
        "reservoir", [box_piece(np.array([-20, -20, 300]), np.array([20, 20, 420]))], [vent, outlet, back]
    )
    pump = plumber.node((100, 0, 60), "pump")
    plumber.pipe(outlet, pump, BORE, "tube_a", length=240)
    port, other = plumber.node((200, 0, low_port), "port"), plumber.node((300, 0, 500), "other")
    plumber.pipe(pump, port, BORE, "tube_b", length=low_port - 60)
    # 100 x 75 x 40 mm: 300 ml.
    plumber.tank("radiator", [box_piece(np.array([200, 0, 480]), np.array([300, 75, 520]))], [port, other])
    plumber.pipe(other, back, BORE, "tube_c", length=100)
    return plumber.waterway(), plumber.index


def network(nodes: list[tuple[int, int, int]], ways: list[tuple[int, int]], bore: float = 10.0) -> Waterway:
    """Straight tubes between points; doubled ways are kept once."""
    plumber = Plumber()
    for k, at in enumerate(nodes):
        plumber.node(at, f"n{k}")
    for a, b in sorted({(min(way), max(way)) for way in ways if way[0] != way[1]}):
        plumber.pipe(a, b, math.pi * bore**2 / 4, f"tube{a}_{b}")
    return plumber.waterway()


def row_of_tanks(
    tanks: list[tuple[int, int, int]], ways: list[tuple[int, int]], width: int = 10, gap: int = 7
) -> tuple[Waterway, list[list[int]]]:
    """Square tanks side by side, each joined to the next by a thin tube.

    Args:
        tanks: (floor, ceiling, height of a port at its left) of each.
        ways: (height out of one tank, height into the next); the tube goes level, upright, level between them.
        width: edge of each tank, mm.
        gap: between neighbours, mm.

    Returns:
        The waterway, and for each tank its openings: at its left port, and where the tubes end.
    """
    plumber = Plumber()
    openings = []
    for k, (floor, ceiling, port) in enumerate(tanks):
        x = k * (width + gap)
        mine = [
            plumber.node((x, width / 2, port), f"port{k}"),
            plumber.node((x + width / 2, width / 2, ceiling), f"top{k}"),
        ]
        for way, end, at in (
            (ways[k - 1] if k else None, 1, x),
            (ways[k] if k < len(ways) else None, 0, x + width),
        ):
            if way is not None:
                mine.append(plumber.node((at, width / 2, way[end]), f"way{k}{'in' if end else 'out'}"))
        low, high = np.array([x, 0, floor], float), np.array([x + width, width, ceiling], float)
        plumber.tank(f"tank{k}", [box_piece(low, high)], mine)
        openings.append(mine)
    for k, (out, into) in enumerate(ways):
        middle = k * (width + gap) + width + gap / 2
        a, b = plumber.node((middle, width / 2, out)), plumber.node((middle, width / 2, into))
        # So thin that what they hold does not count beside the tanks.
        plumber.pipe(plumber.index[f"way{k}out"], a, 1e-9, f"tube{k}")
        plumber.pipe(a, b, 1e-9, f"tube{k}")
        plumber.pipe(b, plumber.index[f"way{k + 1}in"], 1e-9, f"tube{k}")
    return plumber.waterway(), openings
