"""Access: does a hand, a finger or a tool get to what must be reached: ports, valves, plugs, screws, caps?"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

import numpy as np
from pydantic import Field

from fitcheck.checks.names import choose
from fitcheck.checks.verdicts import mm, point, rule_line
from fitcheck.finding import Answer, Finding, Verdict
from fitcheck.motions.hidden import hides_point
from fitcheck.reaching.sizes import DRIVER, FIST, HANDS, TOOLS, Tool
from fitcheck.reaching.straight import OFF, Reach, straight_in
from fitcheck.scene.mistakes import ValueMistake, nearest
from fitcheck.scene.rules import Length, PartRef, PlaceRef, Rule, Side
from fitcheck.world.bodies import bodies
from fitcheck.world.frames import SIDES
from fitcheck.world.world import Part, World, piece_bounds

QUESTION = "does a hand, a finger or a tool get to what must be reached, and what is in the way?"


class OwnTool(Rule):
    """A straight tool by its measures."""

    shank: Length = Field(DRIVER.shank, description="Diameter of the shank.")
    reach: Length = Field(DRIVER.reach, description="From its tip to the handle.")
    handle: Length = Field(DRIVER.handle, description="Diameter of the handle.")
    length: Length = Field(DRIVER.length, description="Length of the handle.")
    hand: Length = Field(FIST, description="Diameter of the hand behind it.")


class ReachRule(Rule):
    """Something that must be reached."""

    to: PlaceRef | None = Field(None, description="A port, hole or face: pump.outlet, drain.tail_face.")
    part: PartRef | None = Field(None, description="Or a part, or a solid of it: fill_port.cap.")
    side: Side | None = Field(
        None, description="On which side a solid or part is touched; any of the six if not given."
    )
    by: Literal["finger", "fingers", "hand", "driver"] = Field(
        "hand", description="finger 25 mm, two fingers 50 mm, hand 100 mm, or a straight driver."
    )
    diameter: Length | None = Field(None, description="Another diameter of finger or hand.")
    tool: OwnTool | None = Field(None, description="A straight tool of other measures; then it is that.")

    def wrong(self) -> Iterable[tuple[str, str, str]]:
        """Neither a place nor a part, or both."""
        if (self.to is None) == (self.part is None):
            problem = "what is to be reached is not said" if self.to is None else "to and part together"
            yield (
                "part" if self.part else "to",
                problem,
                "give to (a port, hole, face) or part",
            )

    @property
    def named(self) -> str:
        """What is to be reached."""
        return self.to or self.part or ""


class AccessRule(Rule):
    """What must be reached, and what is opened for it."""

    opened: list[PartRef] = Field(
        default_factory=list, description="What is off then: panels, doors, other parts."
    )
    shut: list[Side] = Field(
        ["bottom"],
        description="Sides of the world that a floor or a wall closes; bottom if nothing is said.",
    )
    reach: list[ReachRule] = Field(default_factory=list, description="What must be reached.")

    def wrong(self) -> Iterable[tuple[str, str, str]]:
        """All sides shut."""
        if len(set(self.shut)) == 6:
            yield "shut", "all six sides are shut: nothing gets in", "leave one open"


def check_access(world: World) -> Answer:
    """Bring a ball as large as a finger or a hand to each place from outside, by any way, or a tool straight.

    What is touched, its tubes and cables, and what was opened do not count.

    Returns:
        One finding for each place.
    """
    if "access" not in world.rules:
        return Answer()
    rule = AccessRule.model_validate(world.rules["access"])
    opened = _names(world, rule.opened)
    return Answer(
        tuple(_finding(world, rule, one, opened, f"access.reach[{i}]") for i, one in enumerate(rule.reach, 1))
    )


def _names(world: World, said: list[str]) -> set[str]:
    """Names of the solids that are off."""
    chosen = [choose(world, name) for name in said]
    return {f"{part}.{solid}" for one in chosen for part, solids in one.solids.items() for solid in solids}


def _finding(world: World, rule: AccessRule, asked: ReachRule, opened: set[str], name: str) -> Finding:
    part, places = _spots(world, asked)
    tied = {run.name for run in world.laid if part.name in (run.wish.start.part, run.wish.goal.part)}
    left_out = opened | {part.name} | tied
    tool = _tool(asked)
    spots, hides = _told_apart(world, places, left_out)
    size = HANDS.get(asked.by, FIST) if asked.diameter is None else asked.diameter
    what = {"fingers": "two fingers"}.get(asked.by, f"a {asked.by}") + f" of {mm(size)}"
    if tool is not None:
        size, what = tool.shank, f"a driver of {mm(tool.shank)}"
    elif spots and straight_in(world, spots, size, left_out, rule.shut):
        return _made(world, asked, Reach(True, size, spots[0][0], ()), True, (what, size), name)
    # Searching round corners brings the compiler along: only where it is needed.
    from fitcheck.reaching.ways import by_hand, by_tool

    tries: list[Reach] = []
    for at, out in spots:
        if tool is not None:
            tries.append(by_tool(world, at, out, tool, left_out, rule.shut))
        else:
            tries.append(by_hand(world, at, out, size, left_out, rule.shut))
        if tries[-1].gets:
            break
    if hides and not any(one.gets for one in tries):
        # A place in an open mesh may lie in what the mesh stands for: there nothing is known.
        tries.append(Reach(False, 0.0, places[0][0], hides, sure=False))
    found = max(tries, key=lambda one: (one.gets, one.most))
    sure = all(one.sure for one in tries)
    return _made(world, asked, found, sure, (what, size), name)


def _told_apart(
    world: World, places: list[tuple[np.ndarray, np.ndarray]], left_out: set[str]
) -> tuple[list[tuple[np.ndarray, np.ndarray]], tuple[str, ...]]:
    """The places that lie in no open mesh, and names of the bodies whose open mesh may hold the others."""
    solids = bodies(world)
    gone = {k for k, one in enumerate(solids.all) if left_out & {one.name, one.part_name, one.group}}
    held = [hides_point(solids, at + OFF * out, gone) for at, out in places]
    free = [place for place, body in zip(places, held, strict=True) if body is None]
    return free, tuple(dict.fromkeys(solids.all[k].name for k in held if k is not None))


def _made(
    world: World, asked: ReachRule, found: Reach, sure: bool, asking: tuple[str, float], name: str
) -> Finding:
    what, size = asking
    verdict = Verdict.FITS if found.gets else Verdict.FAILS if sure else Verdict.UNKNOWN
    return Finding(
        check="access",
        parts=(asked.named, *found.by[:1]) if not found.gets else (asked.named,),
        verdict=verdict,
        sentence=_said(asked, found, what, size, sure),
        measured=found.most,
        required=size,
        where=(point(found.where),),
        rule=name,
        rule_line=rule_line(world, name),
        details={"by": found.by},
    )


def _said(asked: ReachRule, found: Reach, what: str, size: float, sure: bool) -> str:
    tool = _tool(asked)
    many = asked.by == "fingers" and tool is None
    if found.gets:
        return f"{what} get{'' if many else 's'} to {asked.named}"
    fails = f"{what} do{'' if many else 'es'} not get to {asked.named}"
    beside = " and ".join(found.by) or "what is round it"
    if tool is not None:
        return f"{fails}: {beside} is in its way"
    if not sure and not found.most:
        return f"whether {what} can get to {asked.named} is not decided: the mesh of {beside} is not closed"
    if not sure:
        return f"no way of {what} to {asked.named} was found; the widest is {mm(found.most)}, by {beside}"
    return f"{fails}: the widest that does is {mm(found.most, against=size)}, by {beside}"


def _tool(asked: ReachRule) -> Tool | None:
    if asked.tool is not None:
        own = asked.tool
        return Tool(own.shank, own.reach, own.handle, own.length, own.hand)
    return TOOLS.get(asked.by)


def _spots(world: World, asked: ReachRule) -> tuple[Part, list[tuple[np.ndarray, np.ndarray]]]:
    """The part that is touched, and each place (3,) with the way (3,) it looks, where it may be."""
    said = asked.named
    for part in world.parts:
        if said != part.name and not said.startswith(f"{part.name}."):
            continue
        name = said[len(part.name) + 1 :]
        shape, pose = part.shape, part.pose
        if name in shape.ports:
            return part, [(pose.point(shape.ports[name].at), pose.direction(shape.ports[name].axis))]
        if name in shape.holes:
            return part, [(pose.point(shape.holes[name].at), pose.direction(shape.holes[name].axis))]
        if name in shape.faces:
            return part, [(pose.point(shape.faces[name].centre), pose.direction(shape.faces[name].normal))]
        solids = (
            list(shape.solids.values()) if not name else [s for s in shape.solids.values() if s.name == name]
        )
        boxes = [piece_bounds(piece, pose) for solid in solids for piece in solid.pieces]
        if boxes:
            low, high = np.min([b[0] for b in boxes], axis=0), np.max([b[1] for b in boxes], axis=0)
            sides = SIDES if asked.side is None else {asked.side: SIDES[asked.side]}
            middle, half = (low + high) / 2, (high - low) / 2
            return part, [(middle + half * towards, towards) for towards in sides.values()]
    known = [part.name for part in world.parts] + [
        f"{part.name}.{name}"
        for part in world.parts
        for name in (*part.shape.ports, *part.shape.holes, *part.shape.faces, *part.shape.solids)
    ]
    near = nearest(said, known)
    raise ValueMistake(f"{said} is no part, port, hole, face or solid", f"write {near}" if near else "")
