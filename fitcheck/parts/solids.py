"""Solids of a part: what the geometry engine measures between."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np


class Kind(IntEnum):
    """The three kinds the engine knows; every other solid is made of these."""

    BOX = 0
    CYLINDER = 1
    MESH = 2


@dataclass(frozen=True, eq=False)
class Mesh:
    """Triangles in the piece's own frame, centred on the middle of their bounds.

    Args:
        vertices: (n, 3) float64, mm.
        faces: (m, 3) int32, outward by the right-hand rule when closed.
        closed: a watertight, outward surface: only then inside and depth are defined.
        error: how far the facets may lie from the true surface, mm.
        key: name of the content; equal keys share one engine object.
        repairs: what was mended on import, in plain sentences.
    """

    vertices: np.ndarray
    faces: np.ndarray
    closed: bool
    error: float
    key: str
    repairs: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Piece:
    """One box, cylinder or mesh, placed in the frame of its part.

    Args:
        kind: what it is.
        half: (3,) half sizes along the piece's own axes, mm. A cylinder's axis is its
            own z and its half sizes are (radius, radius, half length). A mesh has the
            half sizes of its bounds.
        rotation: (3, 3) part_from_piece.
        centre: (3,) in the part's frame, mm.
        mesh: the triangles, for a mesh.
    """

    kind: Kind
    half: np.ndarray
    rotation: np.ndarray
    centre: np.ndarray
    mesh: Mesh | None = None


@dataclass(frozen=True, eq=False)
class Extrusion:
    """What a sheet or prism was extruded from, before any hole was cut.

    Args:
        corners: (n, 3) outline at its lower end, in the part's frame, mm; of either sense.
        along: (3,) from there to its upper end, mm; square to the outline.
        flat: written as a sheet, not as a prism.
    """

    corners: np.ndarray
    along: np.ndarray
    flat: bool


@dataclass(frozen=True)
class Pipe:
    """What a hollow cylinder about its piece's own z was made from: diameters and length, mm."""

    diameter: float
    bore: float
    length: float


@dataclass(frozen=True, eq=False)
class Solid:
    """A named solid of a part.

    Args:
        name: its name in the model.
        pieces: what the engine measures; a tube along a path has several.
        role: what it is made for, for the pictures: one of `ROLES`.
        error: how far the pieces may lie from the true surface, mm (0 when exact).
            Round cut-outs in sheets lie on the safe side: never larger than drawn.
        transparent: glass or clear plastic.
        blank: of a sheet with cut-outs the sheet before they were cut, a box in the part's frame.
        extruded: of a sheet or prism its outline as written: what a template is drawn from.
        cut_by: names of the part's holes and openings that are cut into it.
        pipe: of a hollow cylinder what it was made from.
    """

    name: str
    pieces: tuple[Piece, ...]
    role: str = "body"
    error: float = 0.0
    transparent: bool = False
    blank: Piece | None = None
    extruded: Extrusion | None = None
    cut_by: tuple[str, ...] = ()
    pipe: Pipe | None = None


# Surface kinds for the pictures; a model names one of them for each solid.
ROLES = (
    "body",
    "sheet",
    "frame",
    "core",
    "blade",
    "board",
    "connector",
    "thread",
    "fitting",
    "tube",
    "liquid",
    "glass",
    "rubber",
    "metal",
)
