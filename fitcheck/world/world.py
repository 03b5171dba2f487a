"""The placed scene: parts with poses, the pieces the engine asks about, contacts."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from itertools import count
from typing import Any

import numpy as np

from fitcheck.parts.features import Face, Shape
from fitcheck.parts.solids import Piece, Solid
from fitcheck.scene.loop_entries import LoopEntry
from fitcheck.world.frames import Frame
from fitcheck.world.kept import Kept
from fitcheck.world.wishes import LaidRun, RunWish


@dataclass(frozen=True, eq=False)
class Part:
    """One model placed under a name.

    Args:
        name: full name; a part of an assembly is `stack.fan[2]`.
        group: name of the scene's own part it belongs to (`stack`).
        model: name of its model.
        pose: world_from_part.
        shape: solids and features in the part's frame (mirrored already).
        values: the model's parameters and derived lengths, by name.
        claims: full name of the compartment it should be inside, or empty.
        line: line of the part in the scene file.
        says: offsets as written, for mends (`{"front": 16.0}`), world side to mm.
        host: the part that its placement is measured from (rests on, joins, `of`) and
            that carries it along when moved; empty when it stands in the world.
        serial: a number that no other part of any world has.
    """

    name: str
    group: str
    model: str
    pose: Frame
    shape: Shape
    values: dict[str, Any] = field(default_factory=dict)
    claims: str = ""
    line: int = 0
    says: dict[str, float] = field(default_factory=dict)
    host: str = ""
    serial: int = field(init=False, default_factory=count().__next__)

    @cached_property
    def bounds(self) -> np.ndarray:
        """(2, 3) world bounds of all solids, mm; a point at the origin if it has none."""
        boxes = [piece_bounds(p, self.pose) for s in self.shape.solids.values() for p in s.pieces]
        if not boxes:
            return np.array([self.pose.origin, self.pose.origin])
        return np.array([np.min([b[0] for b in boxes], axis=0), np.max([b[1] for b in boxes], axis=0)])


@dataclass(frozen=True, eq=False)
class Zone:
    """Where a mated port may lie inside its host: a cylinder from `at` along `inward`."""

    at: np.ndarray
    inward: np.ndarray
    radius: float
    depth: float


@dataclass(frozen=True, eq=False)
class Contact:
    """A contact that the scene means: these solids may touch, and no others for it.

    `a` and `b` are part names, `solids_a` and `solids_b` the solids concerned (empty
    means all of the part). `gives` is how deep they may press into each other (pads).
    `zone` is set for a joined port: the solid `reach` of part `a` may lie inside the
    solids of `b`, but only within the zone.
    """

    kind: str  # rest, join, touches
    a: str
    b: str
    solids_a: tuple[str, ...] = ()
    solids_b: tuple[str, ...] = ()
    gives: float = 0.0
    reach: str = ""
    zone: Zone | None = None


@dataclass(frozen=True, eq=False)
class Room:
    """A compartment in the world: its full name, (2, 3) bounds, and six inward faces."""

    name: str
    part: str
    bounds: np.ndarray
    faces: dict[str, Face] = field(default_factory=dict)


@dataclass(frozen=True)
class Placed:
    """One piece of the world: whose it is."""

    part: int
    solid: str


@dataclass(frozen=True)
class Measurement:
    """A length or an angle that was written with its uncertainty.

    Args:
        name: of the parameter, or part and key (`pump.height`); one text is one measurement, however
            many parts it moves.
        low, nominal, high: ends, and the value as drawn, mm or degrees; `high` inf where nobody knows it.
        line: in the scene file.
        measured: a figure with a tolerance; else a range that nobody measured yet.
        general: taken from a table of general tolerances, not written.
        angle: degrees, not mm.
    """

    name: str
    low: float
    nominal: float
    high: float
    line: int = 0
    measured: bool = True
    general: bool = False
    angle: bool = False

    @property
    def unit(self) -> str:
        """What its figures are in."""
        return "deg" if self.angle else "mm"


@dataclass
class Trace:
    """What was noted when a world was placed: what rests on its measurements, and how.

    Args:
        taken: values that measurements were taken at, mm or degrees, where not as drawn.
        bent: names that some place or part may not follow linearly (`scene/sway.py`).
        turned: names that something is turned by.
        looked: by the places that arithmetic looked up, what they came to.
        outermost: by where it was asked, bounds (n, 2, 3) of the pieces of which the outermost was looked
            up; several where the same words were asked of several.
    """

    taken: Mapping[str, float] = field(default_factory=dict)
    bent: set[str] = field(default_factory=set)
    turned: set[str] = field(default_factory=set)
    looked: dict[str, float] = field(default_factory=dict)
    outermost: dict[str, tuple[np.ndarray, ...]] = field(default_factory=dict)

    def take(self, other: Trace) -> None:
        """Note all that another has noted."""
        self.bent |= other.bent
        self.turned |= other.turned
        self.looked.update(other.looked)
        for asked, boxes in other.outermost.items():
            known = self.outermost.get(asked, ())
            new = tuple(one for one in boxes if not any(one is held for held in known))
            self.outermost[asked] = known + new


@dataclass(frozen=True, eq=False)
class World:
    """All that checks see.

    Args:
        title: of the scene.
        parts: leaves, in scene order; an assembly's own solids come before its parts.
        contacts: what may touch.
        compartments: by full name (`case.plinth`).
        rules: what the builder demands, by check name; values already in mm and degrees.
        views: as in the scene file, values already evaluated.
        uncertain: lengths and angles written with an uncertainty.
        parameters: the scene's parameters as resolved.
        lines: rule name -> line in the scene file.
        wishes: tubes and cables that are to be laid.
        laid: how they were laid, in the same order; empty until then. Those that got a way are parts too.
        loops: what is asked of the coolant's loops, by name; values already plain.
        elsewhere: the same scene placed at other values of its measurements, by name, with `runs=True`
            with what its tubes, cables and loops are to be; raises Mistakes where it cannot be built so.
            None for a world that no scene file says.
        trace: what was noted on the way of what rests on measurements.
        answers: what was found out about some of the parts, by their serials; may be that of many worlds.
    """

    title: str
    parts: tuple[Part, ...]
    contacts: tuple[Contact, ...] = ()
    compartments: dict[str, Room] = field(default_factory=dict)
    rules: dict[str, Any] = field(default_factory=dict)
    views: dict[str, Any] = field(default_factory=dict)
    uncertain: tuple[Measurement, ...] = ()
    parameters: dict[str, Any] = field(default_factory=dict)
    lines: dict[str, int] = field(default_factory=dict)
    wishes: tuple[RunWish, ...] = ()
    laid: tuple[LaidRun, ...] = ()
    loops: dict[str, LoopEntry] = field(default_factory=dict)
    elsewhere: Callable[..., World] | None = None
    trace: Trace = field(default_factory=Trace)
    answers: Kept = field(default_factory=Kept)

    @cached_property
    def by_name(self) -> dict[str, Part]:
        """Parts by full name."""
        return {part.name: part for part in self.parts}


def piece_bounds(piece: Piece, world_from_part: Frame) -> np.ndarray:
    """(2, 3) exact world bounds of a placed piece, mm."""
    return bounds_at(piece, world_from_part.rotation @ piece.rotation, world_from_part.point(piece.centre))


def bounds_at(piece: Piece, rotation: np.ndarray, centre: np.ndarray) -> np.ndarray:
    """The same by where the piece itself stands: world_from_piece (3, 3) and its middle (3,)."""
    if piece.mesh is not None:
        corners = piece.mesh.vertices @ rotation.T + centre
        return np.array([corners.min(axis=0), corners.max(axis=0)])
    if piece.kind == 0:
        reach = np.abs(rotation) @ piece.half
    else:
        # A disc of radius r with axis a reaches r sqrt(1 - a_k^2) along axis k.
        axis = rotation[:, 2]
        reach = piece.half[0] * np.sqrt(np.clip(1 - axis**2, 0, 1)) + np.abs(axis) * piece.half[2]
    return np.array([centre - reach, centre + reach])


def placed_solids(part: Part) -> list[Solid]:
    """The part's solids in a fixed order (the model's)."""
    return list(part.shape.solids.values())
