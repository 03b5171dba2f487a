"""What each hole and cut-out of a world is for, and which holes are still to be drilled."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitcheck.checks.fastening_asked import Asked, FasteningRule, asked_of, thread_on
from fitcheck.fasteners.bores import Bore, family
from fitcheck.fasteners.joints import Lack, joints, lines
from fitcheck.fasteners.tables import THREADS, Thread
from fitcheck.parts.features import Opening
from fitcheck.world.world import Part, World

# A run that goes through a grommet goes through the hole that the grommet sits in: their middles lie this
# near, across and along the hole, mm.
ASIDE, ALONG = 1.0, 15.0


@dataclass(frozen=True, eq=False)
class Purposes:
    """What is known of the holes of a world.

    Args:
        told: full name of a hole -> what it is for, in words.
        to_drill: full name of a part -> holes that lie on it and have no partner there.
    """

    told: dict[str, str]
    to_drill: dict[str, tuple[Lack, ...]]


def purposes(world: World) -> Purposes:
    """Ask the joints of a world, with or without a rule `fastening`, and its runs."""
    asked = (
        asked_of(world) if "fastening" in world.rules else Asked(FasteningRule.model_validate({}), (), (), ())
    )
    found = joints(world, asked.named, asked.rule.found, asked.skips)
    told: dict[str, str] = {}
    for line in lines(found.all):
        thread = thread_on(asked, line)
        for bore in line.bores:
            others = dict.fromkeys(one.part for one in line.bores if one.part != bore.part)
            told |= {f"{bore.part}.{name}": _screw(bore, thread, tuple(others)) for name in bore.names}
    for part in world.parts:
        for gap in part.shape.openings.values():
            runs = _runs_through(world, part, gap)
            if runs:
                told[f"{part.name}.{gap.name}"] = f"{in_words(gap.name)}: {', '.join(runs)}"
    lacks: dict[str, list[Lack]] = {}
    for lack in found.to_drill:
        lacks.setdefault(lack.part, []).append(lack)
    return Purposes(told, {part: tuple(some) for part, some in lacks.items()})


def in_words(name: str) -> str:
    """A hole's name as words: `rear_fan_screws[1][2]` is `rear fan screws`."""
    return family(name).replace("_", " ")


def drilled_for(lack: Lack) -> tuple[float, str]:
    """Diameter to drill for a part that has a hole here, mm, and why that one.

    Its own hole's where a screw goes through it; where it is tapped, the clearance hole of its thread (ISO
    273, medium).
    """
    bore = lack.bore
    if bore.thread not in THREADS:
        return bore.diameter, f"as the hole in {bore.part}"
    return THREADS[bore.thread].clearance[1], f"clearance for {bore.thread}, medium (ISO 273)"


def _screw(bore: Bore, thread: Thread | None, others: tuple[str, ...]) -> str:
    to = f"to {', '.join(others)}" if others else ""
    if bore.thread:
        return f"{bore.thread} thread {to}".rstrip()
    name = f"{thread.name} " if thread is not None else ""
    return f"{name}screw {to}".rstrip()


def _runs_through(world: World, part: Part, gap: Opening) -> list[str]:
    """The tubes and cables that go through an opening, or through what sits in it."""
    at, axis = part.pose.point(gap.at), part.pose.direction(gap.axis)
    found = []
    for wish in world.wishes:
        for step in wish.through:
            for passage in step:
                off = passage.at - at
                along = float(off @ axis)
                aside = float(np.linalg.norm(off - along * axis))
                if abs(float(passage.axis @ axis)) > 1 - 1e-6 and aside < ASIDE and abs(along) < ALONG:
                    found.append(wish.name)
    return list(dict.fromkeys(found))
