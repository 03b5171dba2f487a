"""A line of holes as one screw meets it: from which side, through what, how deep, up to what."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from fitcheck.checks.fastening_asked import Asked, JointRule
from fitcheck.fasteners.bores import Bore
from fitcheck.fasteners.envelopes import tip_way
from fitcheck.fasteners.joints import Line
from fitcheck.fasteners.stack import Layer
from fitcheck.fasteners.tables import DIAMETERS_DEEP, LEAST_PITCHES, Thread
from fitcheck.world.bodies import Bodies
from fitcheck.world.world import World

# Air between mouths below this is rounding, mm.
AIR = 0.02
# Where the material is not said: the one whose demand holds in all of them.
SAFE = "aluminium"


@dataclass(frozen=True, eq=False)
class Way:
    """A line looked at from one side: the holes in order from the head on.

    Args:
        line: as strung.
        into: (3,) unit, from the head to the tip.
        clear: holes before the thread.
        tapped: the hole with the thread; None for a nut.
        beyond: holes behind the thread.
        axis: (3,) a place on the screw's axis.
    """

    line: Line
    into: np.ndarray
    clear: tuple[Bore, ...]
    tapped: Bore | None
    beyond: tuple[Bore, ...]
    axis: np.ndarray

    def ends(self, bore: Bore) -> tuple[float, float]:
        """From where to where a hole goes along the screw, mm."""
        low, high = sorted((float(bore.at @ self.into), float(bore.end @ self.into)))
        return low, high

    def place(self, along: float) -> np.ndarray:
        """(3,) the place on the axis at a height along the screw."""
        return np.asarray(self.axis + (along - self.axis @ self.into) * self.into)


def ways(line: Line) -> Iterator[Way]:
    """The sides that a screw may come from: not through its own thread, nor into one from its bottom."""
    tapped = [bore for bore in line.bores if bore.thread]
    if len(tapped) > 1:
        return
    for into in (line.way, -line.way):
        order = list(line.bores if into is line.way else line.bores[::-1])
        if not tapped:
            axis = np.mean([bore.at for bore in order], axis=0)
            yield Way(line, into, tuple(order), None, (), axis)
            continue
        at = next(k for k, bore in enumerate(order) if bore.thread)
        if at and (order[at].through or order[at].axis @ into < 0):
            yield Way(line, into, tuple(order[:at]), order[at], tuple(order[at + 1 :]), order[at].at)


def layers(world: World, asked: Asked, way: Way, rule: JointRule | None) -> Iterator[Layer]:
    """What lies between head and thread, from the head on: paint, material, air, gaskets, pads."""
    holes = (*way.clear, *(() if way.tapped is None else (way.tapped,)))
    for k, bore in enumerate(holes):
        low, high = way.ends(bore)
        if k:
            yield from _joint(world, holes[k - 1], bore, low - way.ends(holes[k - 1])[1])
        coat = asked.coat(bore.part)
        if coat:
            yield Layer(f"paint of {bore.part}", coat)
        if bore is not way.tapped:
            yield Layer(bore.part, high - low)
            if coat:
                yield Layer(f"paint of {bore.part}", coat)
    if rule is not None and rule.gasket:
        yield Layer("gasket", rule.gasket, rule.gives)


def _joint(world: World, one: Bore, other: Bore, gap: float) -> Iterator[Layer]:
    """Air between two parts, or how far one is pressed into the other, and what more a pad there gives."""
    pair = {one.part, other.part}
    gives = max((c.gives for c in world.contacts if {c.a, c.b} == pair and np.isfinite(c.gives)), default=0.0)
    if abs(gap) > AIR:
        yield Layer("air" if gap > 0 else f"{one.part} and {other.part} pressed", gap)
    left = gives + min(gap, 0.0)
    if left > 0:
        yield Layer(f"pad between {one.part} and {other.part}", 0.0, left)


def wanted(asked: Asked, way: Way, thread: Thread, rule: JointRule | None) -> tuple[float, bool]:
    """Engagement demanded, mm, and whether that is a guess because the material is not said."""
    if way.tapped is None:
        return thread.nut[1], False
    if rule is not None and rule.engagement is not None:
        return max(rule.engagement, LEAST_PITCHES * thread.pitch), False
    said, holds = asked.material(way.tapped.part)
    if holds is not None and (rule is None or rule.into is None):
        return max(holds, LEAST_PITCHES * thread.pitch), False
    said = (rule.into if rule else None) or said
    return DIAMETERS_DEEP[said or SAFE] * thread.major, not said


def free_way(
    world: World, solids: Bodies, way: Way, thread: Thread, start: float
) -> tuple[float, str, bool]:  # fmt: skip
    """From the thread's begin to what the tip must not touch, mm; what that is; is it fins or water?"""
    tapped = way.tapped
    if tapped is not None and not tapped.through:
        what = (
            f"the fins and water channels of {tapped.part}"
            if tapped.inside
            else f"the bottom of {tapped.name}"
        )
        return tapped.deep, what, tapped.inside
    last = (*way.clear, *(() if tapped is None else (tapped,)), *way.beyond)[-1]
    begin = way.ends(last)[1]
    length, hit = tip_way(solids, way.place(begin), way.into, thread.major)
    part = world.by_name.get(hit.rpartition(".")[0])
    fins = part is not None and (
        bool(part.shape.wet) or part.shape.solids[hit.rpartition(".")[2]].role == "core"
    )
    what = f"the fins and water channels of {part.name}" if fins and part is not None else hit
    return begin - start + length, what, fins
