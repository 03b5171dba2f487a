"""A model file's text for a mesh: its solid, its size, faces and holes as proposed, ports as remarks."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from fitcheck.adopt.flats import SIDES, inner_flats, outer_sides
from fitcheck.adopt.holes import RoundHole, round_holes
from fitcheck.adopt.surface import Surface, surface_of
from fitcheck.parts.solids import Piece

# G1/4 by ISO 228-1, from memory: 13.157 mm major, 11.445 mm minor diameter; drilled with 11.8 mm before it
# is tapped.
G_QUARTER, G_MINOR, G_MAJOR = 11.8, 11.445, 13.157
# A bore this near to that drill may be such a port, mm.
PORT_NEAR = 0.36
# Holes that are listed: a perforated sheet has thousands, which nobody screws into.
MOST = 500
# Decimals of lengths, and of directions.
MM, UNIT = 4, 8


@dataclass(frozen=True)
class Adopted:
    """A model file's text, and what it proposes, for the person who asked."""

    text: str
    size: tuple[float, float, float]
    sides: tuple[str, ...]
    holes: tuple[RoundHole, ...]
    ports: int
    notes: tuple[str, ...]


def adopted(name: str, mesh_keys: dict[str, str], piece: Piece) -> Adopted:
    """The text of a model file `name` whose one solid is this mesh.

    Args:
        name: of the model.
        mesh_keys: the keys of the entry `mesh`, as they are to be written: file, unit …
        piece: the mesh in the frame of its part.
    """
    assert piece.mesh is not None
    surface = surface_of(piece.mesh.vertices + piece.centre, piece.mesh.faces.astype(np.int64))
    sides = outer_sides(surface)
    holes = round_holes(surface) if piece.mesh.closed else []
    low, high = piece.centre - piece.half, piece.centre + piece.half
    lines = [
        f"# Proposed from the mesh {mesh_keys['file']}: look at every value, and measure your own part.",
        f"# Its box: x {_mm(low[0])} to {_mm(high[0])}, y {_mm(low[1])} to {_mm(high[1])}, "
        f"z {_mm(low[2])} to {_mm(high[2])}; {_size(2 * piece.half)} mm.",
        f"# {len(piece.mesh.faces):,} triangles.",
        *(f"# Reading it: {said}." for said in piece.mesh.repairs),
        f"model: {name}",
        f"summary: {name.replace('_', ' ')}, a mesh of {_size(2 * piece.half)} mm",
        "frame: the mesh file's own origin and axes",
        "solids:",
        f"  body: {{mesh: {{{', '.join(f'{key}: {value}' for key, value in mesh_keys.items())}}}}}",
    ]
    if sides:
        lines += ["faces:", *(f"  {SIDES[side]}: {_side(side, share)}" for side, share in sides.items())]
    lines += _inner(surface)
    if holes:
        lines += ["holes:", *(_hole(number, hole) for number, hole in enumerate(holes[:MOST], 1))]
    if len(holes) > MOST:
        lines.append(f"# {len(holes) - MOST:,} more, none of them wider than hole_{MOST}.")
    ports = [hole for hole in holes[:MOST] if abs(hole.diameter - G_QUARTER) <= PORT_NEAR]
    lines += _ports(ports)
    return Adopted(
        text="\n".join(lines) + "\n",
        size=_three(2 * piece.half),
        sides=tuple(SIDES[side] for side in sides),
        holes=tuple(holes),
        ports=len(ports),
        notes=piece.mesh.repairs,
    )


def _side(side: str, share: float) -> str:
    return f"{{of: body, side: {side}}}  # {100 * share:.3g} % of the rectangle is flat there"


def _inner(surface: Surface) -> Iterator[str]:
    for flat in inner_flats(surface):
        where = f"middle {_point(flat.at)}, normal {_axis(flat.normal)}"
        yield f"# A flat of {flat.area:.4g} mm² inside the box: {where}"


def _hole(number: int, hole: RoundHole) -> str:
    deep = "" if hole.through else f", depth: {_mm(hole.depth)}"
    kind = f"through {_mm(hole.depth)} mm" if hole.through else "blind"
    said = f"# {kind}; facets up to {hole.flattened:.2g} mm inside this circle"
    keys = f"at: {_point(hole.at)}, axis: {_axis(hole.axis)}, diameter: {_mm(hole.diameter)}{deep}"
    return f"  hole_{number}: {{{keys}}}  {said}"


def _ports(holes: list[RoundHole]) -> Iterator[str]:
    if not holes:
        return
    yield f"# Perhaps ports: bores near the {G_QUARTER:g} mm that G1/4 is drilled with. From memory:"
    yield f"# G1/4 thread {G_MAJOR:g} mm major, {G_MINOR:g} mm minor, ISO 228-1. Confirm each on the part"
    yield "# before you take the # away:"
    yield "# ports:"
    for number, hole in enumerate(holes, 1):
        keys = f"at: {_point(hole.at)}, axis: {_axis(hole.axis)}, thread: G1/4, gender: female"
        deep = f"depth: {_mm(hole.depth)}, of: body"
        yield f"#   port_{number}: {{{keys}, {deep}}}  # {_mm(hole.diameter)} mm measured"


def _axis(axis: tuple[float, float, float]) -> str:
    """`+x` where the direction is that, within a thousandth of a degree; else three numbers."""
    k = int(np.abs(axis).argmax())
    if np.abs(np.delete(axis, k)).max() < 2e-5:
        return f"{'+' if axis[k] > 0 else '-'}{'xyz'[k]}"
    return f"[{', '.join(f'{round(value, UNIT) + 0.0:.{UNIT}f}' for value in axis)}]"


def _point(at: tuple[float, float, float]) -> str:
    return f"[{', '.join(map(_mm, at))}]"


def _size(size: np.ndarray) -> str:
    return " x ".join(f"{value:.2f}" for value in size)


def _three(values: np.ndarray) -> tuple[float, float, float]:
    x, y, z = values.tolist()
    return x, y, z


def _mm(value: float) -> str:
    """A length with no more decimals than it needs; no minus before nothing."""
    return f"{round(float(value), MM) + 0.0:.{MM}f}".rstrip("0").rstrip(".")
