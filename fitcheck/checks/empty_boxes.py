"""Empty boxes: which largest boxes are left in each compartment; does a wanted box fit, where?"""

from __future__ import annotations

from typing import Any

import numpy as np
from pydantic import Field

from fitcheck.checks.largest_boxes import THIN, largest_boxes
from fitcheck.checks.spaces import Covers, Space, described
from fitcheck.checks.wanted_boxes import WantedBox, place_wanted
from fitcheck.finding import Answer
from fitcheck.scene.rules import Count, Length, Rule
from fitcheck.world.bodies import bodies
from fitcheck.world.world import World

QUESTION = "which largest empty boxes are left in each compartment; does a wanted box fit, where?"


class EmptyBoxesRule(Rule):
    """What to look for in the empty space."""

    wanted: list[WantedBox] = Field(default_factory=list, description="Boxes that must find a place.")
    least_side: Length = Field(20.0, description="Empty boxes thinner than this are not listed.")
    count: Count = Field(3, description="How many empty boxes to list for each compartment.")


def check_empty_boxes(world: World) -> Answer:
    """Find the largest empty boxes of each compartment, and a place for each wanted box.

    The boxes lie along the world's axes and do not overlap each other. They are found among
    boxes that cover the solids, best first, and their faces are then moved out until they
    touch: exact where everything stands square, never too large anywhere.

    Returns:
        Facts: by compartment the boxes with size and place. Findings: one for each wanted box.
    """
    rule = EmptyBoxesRule.model_validate(world.rules.get("empty_boxes", {}))
    solids = bodies(world)
    boxes = Covers(world, solids)
    spaces = {name: Space(room, solids, boxes) for name, room in world.compartments.items()}
    facts = {}
    not_checked = []
    for name, space in spaces.items() if rule.count > 0 else ():
        found = largest_boxes(space.room.bounds, space.covers, np.full(3, rule.least_side), rule.count)
        facts[name] = _listed(space, found.boxes)
        if not found.complete:
            not_checked.append(
                f"empty_boxes: {name} is too crowded, larger empty boxes may exist than listed"
            )
    findings = tuple(
        place_wanted(world, spaces, wanted, f"empty_boxes.wanted[{i}]")
        for i, wanted in enumerate(rule.wanted, 1)
    )
    return Answer(findings, facts, tuple(not_checked))


def _listed(space: Space, boxes: tuple[np.ndarray, ...]) -> tuple[dict[str, Any], ...]:
    out = []
    taken: list[np.ndarray] = []
    for box in boxes:
        grown = _apart(space.grown(box), box, [b for b in (*taken, *boxes) if b is not box])
        taken.append(grown)
        out.append(described(grown))
    return tuple(out)


def _apart(grown: np.ndarray, kept: np.ndarray, others: list[np.ndarray]) -> np.ndarray:
    """The grown box drawn back to where the boxes listed beside it begin."""
    for other in others:
        if ((other[0] < grown[1] - THIN) & (other[1] > grown[0] + THIN)).all():
            grown = kept
    return grown
