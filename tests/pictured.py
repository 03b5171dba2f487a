"""One machine in a case, drawn, for the tests of pictures."""

from __future__ import annotations

from functools import cache, lru_cache

import numpy as np
from worlds import box, part, rod, room, world

from fitcheck.outputs import pictures
from fitcheck.outputs.pictures.bands import FAR, NEAR, OVERLAP, rgb
from fitcheck.report import Report, check_world
from fitcheck.world.world import Contact, World

SMALL = (800, 600)
SHEETS = {
    "left_panel": box([0, 0, 0], [2, 400, 300]),
    "right_panel": box([198, 0, 0], [200, 400, 300]),
    "floor": box([2, 0, 0], [198, 400, 2]),
    "roof": box([2, 0, 298], [198, 400, 300]),
    "front_panel": box([2, 0, 2], [198, 2, 298]),
    "rear_panel": box([2, 398, 2], [198, 400, 298]),
}


def case():
    return part("case", *SHEETS.values(), names=tuple(SHEETS))


def in_case(*parts, contacts=(), **rules) -> World:
    return world(
        case(), *parts, rooms=(room("case.hall", [2, 2, 2], [198, 398, 298]),), contacts=contacts, **rules
    )


@lru_cache(maxsize=1)
def machine() -> World:
    """A card 6 mm deep in a board's plug, a lid 1 mm under the roof, a pump, a bank of eight drives."""
    drives = [part(f"drive[{i + 1}]", box([120, 60, 20 + 20 * i], [180, 140, 27 + 20 * i])) for i in range(8)]
    return in_case(
        part("board", box([20, 150, 100], [22, 350, 280])),
        part("card", box([24, 200, 150], [120, 340, 170])),
        part("plug", box([40, 230, 164], [60, 250, 200])),
        part("lid", box([100, 200, 277], [160, 300, 297])),
        part("pump", rod([60, 60, 2], [60, 60, 70], 50)),
        *drives,
        contacts=[Contact("rest", "pump", "case", ("body",), ("floor",))],
        clearance={"default": 2.0},
    )


@lru_cache(maxsize=1)
def report() -> Report:
    return check_world(machine())


@cache
def drawn(look: str = "from left", **view) -> pictures.Drawn:
    return pictures.draw_view(machine(), report(), pictures.View(look, **view), SMALL)


def index(name: str, of: World | None = None) -> int:
    return [p.name for p in (of or machine()).parts].index(name)


def at(picture: pictures.Drawn, point) -> tuple[int, int]:
    """(row, column) in the pane of a world point."""
    x, y = picture.camera.pixels(np.array(point, float)) - picture.camera.pane[:2]
    return int(y), int(x)


def nearest_colour(picture: pictures.Drawn, point) -> str:
    """The legend's colour that most pixels around a world point are most like (names and lines cross it)."""
    column, row = picture.camera.pixels(np.array(point, float)).astype(int)
    patch = np.array(picture.image, float)[row - 12 : row + 13, column - 12 : column + 13].reshape(-1, 1, 3)
    palette = (OVERLAP, *NEAR, FAR)
    like = np.abs(patch - np.array([rgb(c) for c in palette])).sum(axis=2).argmin(axis=1)
    return palette[int(np.bincount(like).argmax())]
