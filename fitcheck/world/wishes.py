"""Runs before and after they are laid: what is demanded of a tube or cable, and the way it got.

Points and directions are in world coordinates; lengths in mm, angles in degrees.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

SOFT, RIGID, CABLE = "soft tube", "rigid tube", "cable"


@dataclass(frozen=True, eq=False)
class End:
    """Where a run begins or ends.

    Args:
        place: the port as written (`pump_outlet.tube_end`).
        part: full name of the part that has it.
        at: (3,) the mouth.
        out: (3,) unit, the way the run leaves.
        owners: solids of the part that it may touch.
        stub: least straight length there.
        insertion: how deep it goes into the part; not part of the run's own length.
        plug: size (long, wide, high) of the plug that the run has there, None for a tube.
    """

    place: str
    part: str
    at: np.ndarray
    out: np.ndarray
    owners: tuple[str, ...]
    stub: float
    insertion: float = 0.0
    plug: tuple[float, float, float] | None = None


@dataclass(frozen=True, eq=False)
class Passage:
    """An opening or a hole that a run goes through.

    `at` is the middle of its mouth, `axis` points out of the material, `up` along the long side;
    the material lies `thickness` deep behind the mouth. `size` is along up, across.
    """

    place: str
    part: str
    solid: str
    at: np.ndarray
    axis: np.ndarray
    up: np.ndarray
    shape: str
    size: tuple[float, float]
    thickness: float


@dataclass(frozen=True)
class Bending:
    """How a rigid tube can be bent: which angles (None: any), and the least straight between bends.

    `cost` is how much longer the tube may be to save one bend.
    """

    angles: tuple[float, ...] | None
    straight: float
    cost: float


@dataclass(frozen=True)
class Pulled:
    """Parts that move with one end of a run while it stays connected: to which side, how far."""

    parts: tuple[str, ...]
    towards: str
    by: float


@dataclass(frozen=True, eq=False)
class RunWish:
    """What is demanded of one run.

    Args:
        name: in the scene.
        kind: soft tube, rigid tube or cable.
        outside: diameter that its way must leave free; of a flat cable the larger side.
        bore: inside diameter of a tube; 0 for a cable.
        radius: least bend radius of the centre line.
        assumed: the radius is a placeholder by size, not measured by anybody.
        start, goal: its ends.
        through: what it goes through, in order; each step holds the alternatives.
        clearance: least distance from everything that has no own demand.
        play: least distance from the solids that it goes through.
        away_from: part names and their own demands.
        bending: of a rigid tube.
        flat: width and thickness of a flat cable.
        drawn: (n, 3) corners drawn by hand between the ends; None when it is to be found.
        at_hand: the length at hand.
        pull: what is pulled out while it stays connected.
        allowance: cut on at the start and at the end.
        line: in the scene file.
    """

    name: str
    kind: str
    outside: float
    bore: float
    radius: float
    assumed: bool
    start: End
    goal: End
    through: tuple[tuple[Passage, ...], ...] = ()
    clearance: float = 1.0
    play: float = 0.5
    away_from: tuple[tuple[tuple[str, ...], float], ...] = ()
    bending: Bending | None = None
    flat: tuple[float, float] | None = None
    drawn: np.ndarray | None = None
    at_hand: float | None = None
    pull: Pulled | None = None
    allowance: tuple[float, float] = (0.0, 0.0)
    line: int = 0


@dataclass(frozen=True)
class NoWay:
    """Why a run got no way.

    Args:
        reason: narrow (nothing so thick passes), bend (no room to bend), taken (by other runs),
            outside (an end lies outside a case and no opening of the case is named), or search (none was
            found, and no reason either).
        proved: shown to be impossible; else it only was not found.
        place: the port or place where there is no room to bend.
        parts: what makes the neck, stands in the way, or takes the way.
        widest: diameter of the largest ball that passes from end to end, clearances taken off, mm.
        largest_outside: the largest outside diameter for which a way was found, same radius, mm.
        largest_radius: the largest bend radius for which a way was found, same outside, mm.
    """

    reason: str
    proved: bool
    place: str = ""
    parts: tuple[str, ...] = ()
    widest: float | None = None
    largest_outside: float | None = None
    largest_radius: float | None = None


@dataclass(frozen=True)
class Flaw:
    """What is wrong with a way that there is: which demand, the sentence, and whether it is proved."""

    demand: str
    said: str
    sure: bool = True


@dataclass(frozen=True, eq=False)
class LaidRun:
    """The way that a run got, or why it got none.

    Args:
        wish: what was demanded.
        corners: (n, 3) corners of its centre line, its ends among them; None where none was found.
        radius: of its bends.
        length: of its centre line from mouth to mouth.
        bends: how many.
        bound: proved: no way is shorter.
        least: proved least distance of its surface from the solid that counts most against its demand.
        demand: what is demanded there.
        where: (x, y, z) on the centre line there, or where the neck is.
        nearest: full name of the solid there.
        through: places that it goes through, as written.
        flaws: other demands that it does not meet.
        no_way: why, where it has none.
        notes: further sentences: how a plug is threaded, how a length at hand suffices.
        mend: something to change that was checked to help, or empty.
    """

    wish: RunWish
    corners: np.ndarray | None
    radius: float
    length: float = 0.0
    bends: int = 0
    bound: float = 0.0
    least: float = 0.0
    demand: float = 0.0
    where: tuple[float, float, float] | None = None
    nearest: str = ""
    through: tuple[str, ...] = ()
    flaws: tuple[Flaw, ...] = ()
    no_way: NoWay | None = None
    notes: tuple[str, ...] = ()
    mend: str = ""

    @property
    def name(self) -> str:
        """Of the run, in the scene."""
        return self.wish.name

    @property
    def spare(self) -> float:
        """By how much it is clear beyond what is demanded, mm; below 0 where it comes too near."""
        return self.least - self.demand
