"""What a search of routes is asked, and what it found: poses, ways through holes, limits."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from fitcheck.runs.route import Route


@dataclass(frozen=True, eq=False)
class Pose:
    """An end of a run.

    Args:
        at: (3,) where it begins, mm.
        out: (3,) unit, the way the run leaves: at either end away from the fitting.
        stub: the straight it keeps there, mm; on it nothing is in its way.
    """

    at: np.ndarray
    out: np.ndarray
    stub: float = 0.0

    @property
    def free(self) -> np.ndarray:
        """(3,) where it may begin to bend, mm."""
        return np.asarray(self.at + self.out * self.stub)


@dataclass(frozen=True, eq=False)
class Way:
    """A hole that a run goes through, in either sense.

    Args:
        at: (3,) the middle of the hole, half way through the sheet, mm.
        axis: (3,) unit, square to the sheet.
        half: the run stays straight so far to both sides of `at`, mm.
        up: (3,) unit, along the hole's first size.
        play: how far the centre line may stand off the middle along `up` and across it, mm.
        name: what the caller knows it by.
    """

    at: np.ndarray
    axis: np.ndarray
    half: float
    up: np.ndarray = field(default_factory=lambda: np.array([0.0, 0.0, 1.0]))
    play: tuple[float, float] = (0.0, 0.0)
    name: str = ""


@dataclass(frozen=True, eq=False)
class Legs:
    """From where to where a run goes, and through which holes: for each step its alternatives."""

    start: Pose
    goal: Pose
    through: tuple[tuple[Way, ...], ...] = ()


@dataclass(frozen=True)
class Limits:
    """How long a search goes on, all counted in steps and none in seconds.

    Args:
        rounds: how often it is tried, finer and longer each time, before it gives up.
        after: expansions after the first route found, to find a shorter one.
        tries: moves of corners tried to make a route shorter.
    """

    rounds: int = 3
    after: int = 300
    tries: int = 4_000


@dataclass(frozen=True, eq=False)
class Found:
    """What a search found.

    Args:
        route: from end to end, clear and no tighter than its radius; None if none was found.
        expansions: of the search from the start, and of that from the goal.
        exhausted: of both, whether nothing was left to try (else the search was cut short).
        reached: of both, the (3,) place nearest to the other end that it came to, mm.
        blocked: of both, index into the obstacles' names of what is nearest there; -1 nothing.
        leg: which part of the way failed, from 0; between ends and holes in order.
        through: for each step which of its alternatives the route takes.
    """

    route: Route | None
    expansions: tuple[int, int] = (0, 0)
    exhausted: tuple[bool, bool] = (False, False)
    reached: tuple[np.ndarray | None, np.ndarray | None] = (None, None)
    blocked: tuple[int, int] = (-1, -1)
    leg: int = 0
    through: tuple[int, ...] = ()

    @property
    def expansions_forward(self) -> int:
        """Of the search from the start."""
        return self.expansions[0]

    @property
    def expansions_backward(self) -> int:
        """Of the search from the goal."""
        return self.expansions[1]
