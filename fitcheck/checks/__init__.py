"""The checks: one question each, listed here; the same word names file, function, report and rule."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from fitcheck.checks import (
    access,
    assembly_order,
    at_once,
    clearance,
    containment,
    drainage,
    edges,
    edges_asked,
    empty_boxes,
    fastening,
    gaps,
    interference,
    keep_clear,
    loop,
    removal,
    room,
    run,
    sight,
    support,
    tolerance,
    ventilation,
)
from fitcheck.checks.causes import caused
from fitcheck.finding import Answer
from fitcheck.world.world import World


@dataclass(frozen=True)
class Check:
    """One row of the table of checks.

    Args:
        name: the word for it everywhere.
        question: what it asks, as one sentence.
        run: the check itself, a pure function of the world.
        rule: type of what stands under its name in `rules`; None when it has no rule.
        how: how the answer is measured.
        exact: how far it may be off.
        marks: what a picture marks for its findings.
        optional: without a rule it gives facts only, and can be left out where nobody reads them.
    """

    name: str
    question: str
    run: Callable[[World], Answer]
    rule: Any
    how: str
    exact: str
    marks: str
    optional: bool = False


CHECKS: tuple[Check, ...] = (
    Check(
        "containment", containment.QUESTION, containment.check_containment, None,
        "the part's farthest point beyond each of the six walls of the compartment",
        "exact for every shape; meshes to their facets",
        "the point that sticks out farthest",
    ),
    Check(
        "interference", interference.QUESTION, interference.check_interference, None,
        "the shortest move in any direction that frees the two solids deepest in each other",
        "boxes and cylinders to the engine's table; with a mesh a true way out, not proved the shortest",
        "a place in the overlap",
    ),
    Check(
        "room", room.QUESTION, room.check_room, list[room.RoomRule],
        "the thing's silhouette, or a stated cross-section, swept from the part's side to the first touch",
        "exact for boxes and closed meshes; below 0.02 mm it counts as none",
        "where the room begins and what ends it",
    ),
    Check(
        "clearance", clearance.QUESTION, clearance.check_clearance, clearance.ClearanceRule,
        "least distance of the two nearest solids that are not meant to touch",
        "boxes and cylinders to the engine's table; meshes to their facets",
        "the two nearest points",
    ),
    Check(
        "run", run.QUESTION, run.check_run, None,
        "a way of straights and arcs, found by search, then followed on the exact shapes",
        "least distance proved to 0.01 mm; that no way is shorter only as far as the bound says",
        "where the run comes nearest to what it must keep away from, or the neck",
    ),
    Check(
        "loop", loop.QUESTION, loop.check_loop, None,
        "what is joined to what, followed round; heights of ports; pressure loss by handbook formulas",
        "joints and heights as placed; the pressure loss is an estimate with its range",
        "the joint or pump that is at fault",
    ),
    Check(
        "drainage", drainage.QUESTION, drainage.check_drainage, None,
        "levels that liquid and air stand at along the centre lines, by the highest place on every way out",
        "a range: least by a perfect siphon, most by gravity; bores count by their centre lines",
        "where liquid or air stays",
    ),
    Check(
        "keep_clear", keep_clear.QUESTION, keep_clear.check_keep_clear, keep_clear.KeepClearRule,
        "depth of the solid that is deepest in the volume",
        "as interference",
        "a place where it reaches in",
    ),
    Check(
        "fastening", fastening.QUESTION, fastening.check_fastening, fastening.FasteningRule,
        "offsets of holes across their direction against their play; lengths of the standard's series",
        "offsets and lengths as drawn; rooms for keys and nuts are those of common practice",
        "the hole that is worst off; head and tip of a screw",
    ),
    Check(
        "edges", edges.QUESTION, edges.check_edges, edges_asked.EdgesRule,
        "distances in the plane of each sheet of its holes, cut-outs, edges and bends; footprints on panels",
        "exact for holes, slots and rectangles; other edges to their facets",
        "the two places it lies between",
    ),
    Check(
        "ventilation", ventilation.QUESTION, ventilation.check_ventilation, ventilation.VentilationRule,
        "the least cut of free space as a graph finds the neck, a section on the exact shapes measures it",
        "flat necks to 0.1 %; others by the graph, to 5 % or what finer grids still changed",
        "the outline of the neck",
    ),
    Check(
        "sight", sight.QUESTION, sight.check_sight, sight.SightRule,
        "straight lines from points spread over its surface to the eyes, past all that is not transparent",
        "1,000 to 16,000 points, the more the nearer to the demand; of a box of eyes the worst found",
        "what is seen of the part",
    ),
    Check(
        "gaps", gaps.QUESTION, gaps.check_gaps, list[gaps.GapRule],
        "first touch of the moving part along the side",
        "exact where faces meet; a contact of 0.01 mm is let pass: up to 0.03 mm late along round sides",
        "the middle of the side that moves ahead",
        optional=True,
    ),
    Check(
        "empty_boxes", empty_boxes.QUESTION, empty_boxes.check_empty_boxes, empty_boxes.EmptyBoxesRule,
        "best-first search among boxes that cover the solids, then each face moved out to the first touch",
        "exact where all stands square; never too large, and round or slanted parts may hide a larger one",
        "the middle of the box",
        optional=True,
    ),
    Check(
        "removal", removal.QUESTION, removal.check_removal, list[removal.RemovalRule],
        "the volume that the part sweeps on a straight way; on a hinge steps no longer than what is left",
        "straight: as clearance, continuous; on a hinge proved to 0.01 mm",
        "where the part is stopped, or comes nearest on its way",
    ),
    Check(
        "assembly_order", assembly_order.QUESTION, assembly_order.check_assembly_order,
        assembly_order.AssemblyOrderRule,
        "which parts stop which on their way to each of six sides; whatever can go goes, until nothing can",
        "straight moves as in removal; that nothing else would do is not proved",
        "what is shut in, or does not come out as demanded",
    ),
    Check(
        "support", support.QUESTION, support.check_support, support.SupportRule,
        "rests, joins and touches followed from the case where they touch; statics of rigid bodies",
        "contacts to 0.05 mm; masses as given, centres as if each part were of one material",
        "where a support ends short, or the middle of the part",
    ),
    Check(
        "access", access.QUESTION, access.check_access, access.AccessRule,
        "the widest ball that comes from outside to the place by any way; a tool straight along its axis",
        "a way that is given is proved; that none is wider to 0.1 mm where it says so",
        "the narrowest place of the way in",
    ),
    Check(
        "tolerance", tolerance.QUESTION, tolerance.check_tolerance, tolerance.ToleranceRule,
        "how far apart solids are along one direction, at its least in a corner of the ranges; "
        "halved ranges where the direction changes; samples for the probability",
        "a bound within 0.01 mm (5 % of a depth) of a value that was met; probabilities to a 95 % interval",
        "nothing",
    ),
)  # fmt: skip

# Types of rules by check name, for the reader of scene files.
RULE_TYPES: dict[str, Any] = {check.name: check.rule for check in CHECKS if check.rule is not None}


def run_checks(
    world: World, facts: bool = True, tell: Callable[[str], None] | None = None, fast: bool = False
) -> Answer:
    """Ask all checks in the order of `CHECKS`; then say which findings follow from which.

    Args:
        world: the placed scene.
        facts: also ask what no rule demands (how far each part can travel, which boxes are empty).
        tell: hears the name of each check before it is asked.
        fast: what was asked before may be remembered, and a second process may help (`at_once`).

    Returns:
        All findings, facts by check name, and what was not checked.

    Raises:
        ValueMistake: a rule names something that the scene does not have.
    """
    asked = [check for check in CHECKS if facts or not check.optional or world.rules.get(check.name)]
    heard = tell or (lambda name: None)
    answers = at_once.ask(world, asked, heard) if fast else [_one(check, world, heard) for check in asked]
    findings = [finding for answer in answers for finding in answer.findings]
    known = {check.name: one.facts for check, one in zip(asked, answers, strict=True) if one.facts}
    not_checked = [said for answer in answers for said in answer.not_checked]
    return Answer(caused(world, findings), known, tuple(dict.fromkeys(not_checked)))


def _one(check: Check, world: World, tell: Callable[[str], None]) -> Answer:
    tell(check.name)
    return check.run(world)
