"""The arithmetic of one screw: what lies under its head, how long it must be, what it reaches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from fitcheck.fasteners.tables import Thread, length_tolerance

# Threads beyond a nut that show it is all on, pitches: common practice.
BEYOND_NUT = 1.0
# Rounding of sums of written lengths, mm.
ROUNDING = 1e-6


@dataclass(frozen=True)
class Layer:
    """Something under the head: its name and thickness, mm; `gives` is how much of it may be pressed away."""

    name: str
    thickness: float
    gives: float = 0.0


@dataclass(frozen=True)
class Stack:
    """One screw's way, from under its head.

    Args:
        thread: its size.
        layers: what lies between head and thread, in order; washers under the head not among them.
        threaded: how deep the thread is, mm (of a nut its height).
        free: from where the thread begins to what the tip must not touch, mm; inf where nothing is behind.
        wanted: engagement demanded, mm.
        nut: the thread is that of a nut: the screw must come out of it.
    """

    thread: Thread
    layers: tuple[Layer, ...]
    threaded: float
    free: float
    wanted: float
    nut: bool = False

    @property
    def grip(self) -> float:
        """From under the head to the thread, mm, nothing pressed."""
        return sum(layer.thickness for layer in self.layers)

    @property
    def gives(self) -> float:
        """How much of the grip may be pressed away, mm."""
        return sum(layer.gives for layer in self.layers)


@dataclass(frozen=True)
class Fit:
    """A screw in a stack.

    Args:
        length: nominal, mm.
        washers: under its head.
        engagement: length of thread that holds, mm, with nothing pressed and the nominal length.
        short: what of the engagement demanded is missing, mm (0 where it is met).
        spare: from tip to what is behind, mm, with all pads pressed; below 0 it reaches in.
        tolerance: how much longer or shorter the screw may be made, mm.
    """

    length: float
    washers: int
    engagement: float
    short: float
    spare: float
    tolerance: float

    @property
    def holds(self) -> bool:
        """Enough engagement, nothing touched, at the nominal length."""
        return self.short <= ROUNDING and self.spare >= -ROUNDING

    @property
    def sure(self) -> bool:
        """The same also when the screw is as long as its tolerance lets it be."""
        return self.holds and self.spare >= self.tolerance - ROUNDING


def fit(stack: Stack, length: float, washers: int = 0) -> Fit:
    """What a screw of this length with so many washers under its head comes to.

    Engagement is what of the screw lies in the thread: from where the thread begins to the tip, no more
    than the thread is deep. In a nut all of it must be full and one pitch stand out.
    """
    into = length - stack.grip - washers * stack.thread.washer[2]
    engagement = min(max(into, 0.0), stack.threaded)
    short = max(stack.wanted - engagement, 0.0)
    if stack.nut:
        short = max(stack.threaded + BEYOND_NUT * stack.thread.pitch - into, 0.0)
    spare = stack.free - into - stack.gives
    return Fit(length, washers, engagement, short, spare, length_tolerance(length))


@dataclass(frozen=True)
class Choice:
    """The screw chosen, or the nearest to one, and what the neighbours would come to."""

    best: Fit
    longer: Fit | None = None
    shorter: Fit | None = None
    tried: tuple[Fit, ...] = field(default=())


def choose(stack: Stack, washers: Sequence[int] = (0, 1), lengths: Sequence[float] | None = None) -> Choice:
    """The standard length for a stack.

    First one that holds even at the long end of its tolerance, with the fewest washers, then the shortest;
    else one that holds at its nominal length, the one with most to spare; else the one that lacks least.

    Args:
        washers: numbers of washers that may lie under the head.
        lengths: in place of the thread's standard lengths.
    """
    tried = [fit(stack, length, n) for n in sorted(washers) for length in lengths or stack.thread.lengths]
    sure = [one for one in tried if one.sure]
    holding = [one for one in tried if one.holds]
    if sure:
        best = min(sure, key=lambda one: (one.washers, one.length))
    elif holding:
        best = max(holding, key=lambda one: (one.spare, -one.washers, -one.length))
    else:
        best = min(
            tried, key=lambda one: (max(one.short, 0.0) + max(-one.spare, 0.0), one.washers, one.length)
        )
    like = [one for one in tried if one.washers == best.washers]
    at = like.index(best)
    return Choice(
        best,
        like[at + 1] if at + 1 < len(like) else None,
        like[at - 1] if at else None,
        tuple(tried),
    )
