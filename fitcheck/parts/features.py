"""Features of a part: named faces, ports, holes, openings, keep-clears, compartments.

All are in the frame of their part; lengths in mm, directions are unit vectors.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from fitcheck.parts.solids import Piece, Solid


@dataclass(frozen=True, eq=False)
class Face:
    """A flat rectangle on the outside of a part (or on the inside of a compartment).

    `normal` points out of the material. `along` is the direction that a face laid on
    this one brings its own `along` to. `size` is the full extent (along, across).
    `owners` are the solids that the face belongs to. `gives` is how far a pad or gasket
    may be pressed in, mm.
    """

    name: str
    centre: np.ndarray
    normal: np.ndarray
    along: np.ndarray
    size: tuple[float, float]
    owners: tuple[str, ...] = ()
    gives: float = 0.0


@dataclass(frozen=True)
class Link:
    """What a port connects to: `kind` thread, plug, slot, tube or cable; size; gender."""

    kind: str
    size: str
    gender: str  # male, female, or none where both sides are alike


@dataclass(frozen=True, eq=False)
class Port:
    """A connection: where, which way out, what fits, how deep.

    `at` is the middle of the sealing face: the mouth of a female port, the shoulder of
    a male one. `axis` points out of the part. `up` fixes the turn. `depth` is how deep
    a female port takes a male one, or how far a male one reaches past its shoulder.
    `owners` are the solids a mated part may touch; `reach` is the solid of a male port
    that goes into the other part.
    """

    name: str
    at: np.ndarray
    axis: np.ndarray
    up: np.ndarray
    link: Link
    depth: float
    owners: tuple[str, ...] = ()
    reach: str = ""


@dataclass(frozen=True, eq=False)
class Hole:
    """A drilled hole: mouth, axis out of the material, diameter, thread if tapped."""

    name: str
    at: np.ndarray
    axis: np.ndarray
    diameter: float
    depth: float | None = None
    thread: str = ""
    cuts: str = ""


@dataclass(frozen=True, eq=False)
class Opening:
    """An air or cable cut-out: shape round, slot or rectangle, size (along up, across)."""

    name: str
    at: np.ndarray
    axis: np.ndarray
    up: np.ndarray
    shape: str
    size: tuple[float, float]
    cuts: str = ""


@dataclass(frozen=True, eq=False)
class KeepClear:
    """A volume that must stay empty, and why."""

    name: str
    piece: Piece
    why: str = ""


@dataclass(frozen=True, eq=False)
class Compartment:
    """A named inner space of a case: a box along the part's axes.

    `walls` maps floor, ceiling, left_wall, right_wall, front_wall, rear_wall to the
    solid that bounds the space there, where there is one.
    """

    name: str
    low: np.ndarray
    high: np.ndarray
    walls: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class PumpShaft:
    """A pump's shaft, from the motor to the head (3,), and which ways it may point: up, level, down."""

    way: np.ndarray
    may_point: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Wet:
    """A space inside a part that coolant fills.

    Args:
        name: in the model.
        piece: box or cylinder of a wide space, None for a channel.
        line: (n, 3) centre line of a channel; its first point is the first of `ports`.
        ports: the ports that open into it; of a channel one or two.
        mouth: the channel ends in a mouth of its own, that can be opened.
        meets: other wide spaces and the corners (k, 3) of the opening to each.
        share: how much of the piece is coolant.
        bore: of the channel, or of the ways from the ports to a wide space, mm.
        unsure: the true inside is not known.
        air: the loop's air gathers here.
        metal: what the coolant touches; empty if not said.
        flow: inlet and outlet, where only one way will do.
        pump: the shaft, if it is a pump.
    """

    name: str
    piece: Piece | None
    line: np.ndarray | None
    ports: tuple[str, ...]
    mouth: bool = False
    meets: tuple[tuple[str, np.ndarray], ...] = ()
    share: float = 1.0
    bore: float = 9.0
    unsure: bool = False
    air: bool = False
    metal: str = ""
    flow: tuple[str, ...] = ()
    pump: PumpShaft | None = None


Feature = Face | Port | Hole | Opening | KeepClear | Compartment


@dataclass(frozen=True, eq=False)
class Shape:
    """All that a model makes of a set of values: solids and features by name.

    `wet` is where the coolant is; `electric` says that a leak must not land on it. `bent` names
    measurements that some of it may not follow linearly (`scene/sway.py`), `turned` those that some of it
    is turned by.
    """

    solids: dict[str, Solid] = field(default_factory=dict)
    faces: dict[str, Face] = field(default_factory=dict)
    ports: dict[str, Port] = field(default_factory=dict)
    holes: dict[str, Hole] = field(default_factory=dict)
    openings: dict[str, Opening] = field(default_factory=dict)
    keep_clear: dict[str, KeepClear] = field(default_factory=dict)
    compartments: dict[str, Compartment] = field(default_factory=dict)
    wet: dict[str, Wet] = field(default_factory=dict)
    electric: bool = False
    bent: frozenset[str] = frozenset()
    turned: frozenset[str] = frozenset()
