"""What the rule `fastening` may say, and its names looked up in a world."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal

from pydantic import Field

from fitcheck.checks.names import Chosen, choose, choose_holes
from fitcheck.checks.verdicts import ROUNDING
from fitcheck.fasteners.bores import Bore
from fitcheck.fasteners.joints import Line, Named
from fitcheck.fasteners.tables import THREADS, Thread, thread_for
from fitcheck.scene.rules import Count, Flag, HolesRef, Length, PartRef, Rule
from fitcheck.world.world import World

Size = Literal["M2.5", "M3", "M4", "M5", "M6", "6-32"]
Material = Literal["steel", "brass", "aluminium", "plastic"]
HeadForm = Literal["cap", "button"]


class MaterialRule(Rule):
    """What a part's threads are cut into."""

    of: PartRef = Field(description="The part, or several.")
    is_: Material = Field(alias="is", description="steel, brass, aluminium or plastic.")
    engagement: Length | None = Field(None, description="Thread that must hold, in place of the handbook's.")


class CoatRule(Rule):
    """Paint or powder on a part."""

    of: PartRef = Field(description="The part, or several.")
    thickness: Length = Field(description="On every side, and in its clearance holes.")


class PairRule(Rule):
    """Two parts, or solids of parts."""

    between: PartRef = Field(description="A part, or several by drive*.")
    and_: PartRef = Field(alias="and", description="The other.")


class JointRule(Rule):
    """Two patterns of holes that belong together."""

    between: HolesRef = Field(description="A part, or the holes of one: case.rear_fan_screws.")
    and_: HolesRef = Field(alias="and", description="The other.")
    screws: Flag = Field(True, description="no: only the holes are asked (studs, rivets, clips).")
    thread: Size | None = Field(None, description="If not given, the tapped one, else by the holes.")
    length: Length | None = Field(None, description="The screw at hand; if not given, one is chosen.")
    head: HeadForm | None = Field(None, description="cap or button.")
    washers: Count | None = Field(
        None, description="At most so many under the head; with a length just so many."
    )
    into: Material | None = Field(None, description="What the thread is cut into.")
    engagement: Length | None = Field(None, description="Thread that must hold, in place of the handbook's.")
    gasket: Length = Field(0.0, description="Thickness of gaskets and pads in the joint that are not drawn.")
    gives: Length = Field(0.0, description="How far they may be pressed together.")
    on_bench: Flag = Field(
        False, description="yes: screwed before it goes in; nothing else is in the key's way."
    )


class FasteningRule(Rule):
    """Patterns of holes, and the screws through them."""

    found: Flag = Field(
        True, description="Also joints that are found where parts rest on or touch each other."
    )
    screws: Flag = Field(True, description="no: of found joints only the holes are asked.")
    margin: Length = Field(0.0, description="With less play than this left the verdict is tight.")
    head: HeadForm = Field("cap", description="Of screws that are not named: cap or button.")
    washers: Count = Field(1, description="At most so many washers under a head.")
    on_bench: Flag = Field(False, description="yes: found joints are screwed before they go in.")
    materials: list[MaterialRule] = Field(
        default_factory=list, description="What parts with threads are made of."
    )
    coats: list[CoatRule] = Field(
        default_factory=list, description="Parts that are painted or powder-coated."
    )
    joints: list[JointRule] = Field(default_factory=list, description="Joints named by hand.")
    ignore: list[PairRule] = Field(
        default_factory=list, description="Pairs of parts of which nothing is asked."
    )

    def wrong(self) -> Iterable[tuple[str, str, str]]:
        """A negative number of washers, a pad that gives more than it has."""
        if self.washers < 0 or any((one.washers or 0) < 0 for one in self.joints):
            yield (
                "washers" if self.washers < 0 else "joints",
                "there cannot be less than no washer",
                "write 0",
            )
        if any(one.gives > one.gasket + ROUNDING for one in self.joints):
            yield "joints", "a gasket gives more than it is thick", ""


@dataclass(frozen=True, eq=False)
class Asked:
    """The rule with its names looked up.

    Args:
        rule: as written.
        materials, coats: the parts that each entry means.
        ignored: pairs of parts.
    """

    rule: FasteningRule
    materials: tuple[tuple[Chosen, MaterialRule], ...]
    coats: tuple[tuple[Chosen, float], ...]
    ignored: tuple[tuple[Chosen, Chosen], ...]
    named: tuple[Named, ...] = field(default=())

    def coat(self, part: str) -> float:
        """Thickness of the paint on a part, mm."""
        return next((thick for chosen, thick in self.coats if part in chosen.solids), 0.0)

    def material(self, part: str) -> tuple[str, float | None]:
        """What a part's threads are cut into, or empty; and the engagement said for it, mm."""
        found = next((one for chosen, one in self.materials if part in chosen.solids), None)
        return ("", None) if found is None else (found.is_, found.engagement)

    def skips(self, a: str, b: str) -> bool:
        """Is nothing asked of this pair?"""
        pairs = ((one.solids, other.solids) for one, other in self.ignored)
        return any((a in one and b in other) or (b in one and a in other) for one, other in pairs)

    def joint(self, line: Line) -> JointRule | None:
        """What the scene names of a line; the first where several do."""
        named = sorted(joint.named for joint in line.joints if joint.named >= 0)
        return self.rule.joints[named[0]] if named else None

    def where(self, named: int) -> str:
        """Name of the rule that a joint comes from."""
        return "fastening" if named < 0 else f"fastening.joints[{named + 1}]"


def asked_of(world: World) -> Asked:
    """The rule of a world with its names looked up."""
    rule = FasteningRule.model_validate(world.rules["fastening"])
    return Asked(
        rule,
        tuple((choose(world, one.of), one) for one in rule.materials),
        tuple((choose(world, one.of), one.thickness) for one in rule.coats),
        tuple((choose(world, one.between), choose(world, one.and_)) for one in rule.ignore),
        tuple(Named(choose_holes(world, one.between), choose_holes(world, one.and_)) for one in rule.joints),
    )


def thread_on(asked: Asked, line: Line) -> Thread | None:
    """The screw on a line: as named, as tapped, else the largest that goes through all its holes."""
    joint = asked.joint(line)
    if joint is not None and joint.thread is not None:
        return THREADS[joint.thread]
    tapped = [bore.thread for bore in line.bores if bore.thread]
    if tapped:
        return THREADS.get(tapped[0])
    return thread_for(min(bore.diameter - 2 * asked.coat(bore.part) for bore in line.bores))


def play(asked: Asked, bore: Bore, thread: Thread) -> float:
    """How far a screw may be off the middle of a hole, mm: none in a thread; below 0 it does not pass."""
    if bore.thread:
        return 0.0
    return (bore.diameter - thread.major) / 2 - asked.coat(bore.part)
