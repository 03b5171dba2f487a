"""Sight: what share of a part is seen from the given eyes, past panels and through windows?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from pydantic import Field

from fitcheck.checks.names import choose
from fitcheck.checks.verdicts import point, rule_line
from fitcheck.finding import Answer, Finding, Verdict
from fitcheck.scene.mistakes import nearest
from fitcheck.scene.names import FreeName
from fitcheck.scene.rules import Length, PartRef, Rule, Share, Text
from fitcheck.sight.eyes import worst
from fitcheck.sight.seen import hiding, opaque, seen, windows
from fitcheck.sight.surfaces import Spread, spread
from fitcheck.world.bodies import bodies
from fitcheck.world.world import World

QUESTION = "what share of a part is seen from the given eyes, past panels and through windows?"
# Points over a surface: at first; at most, where the share is near its demand; over each part for the facts.
FEW, MANY, FACTS = 1000, 16_000, 300
# Standard errors of a share that a verdict leaves for chance. The points are spread evenly, so that the true
# error is far smaller.
SURE = 3.0
# Things that hide a part which are named.
NAMED = 3


class EyeRule(Rule):
    """Where somebody's eyes are: a place, or anywhere in a box."""

    at: list[Length] | None = Field(None, min_length=3, max_length=3, description="The place, [x, y, z].")
    low: list[Length] | None = Field(
        None, min_length=3, max_length=3, description="Left front bottom corner of a box of places."
    )
    high: list[Length] | None = Field(
        None, min_length=3, max_length=3, description="Right rear top corner of the box."
    )

    def box(self) -> np.ndarray:
        """(2, 3) low and high corner, mm."""
        return np.array([self.at, self.at] if self.at is not None else [self.low, self.high], float)


class HiddenRule(Rule):
    """A part that must not be seen."""

    part: PartRef = Field(description="The part, run or solid; several by power_*, each for itself.")
    from_: Text | None = Field(None, alias="from", description="Which of the eyes; all of them if not given.")
    at_most: Share = Field(0.0, description="The largest share of its surface that may be seen.")
    margin: Share = Field(0.0, description="From demand - margin up to the demand the verdict is tight.")


class ShownRule(Rule):
    """A part that must be seen."""

    part: PartRef = Field(description="The part, run or solid; several by card*, each for itself.")
    from_: Text | None = Field(None, alias="from", description="Which of the eyes; all of them if not given.")
    at_least: Share = Field(description="The least share of its surface that must be seen from every place.")
    margin: Share = Field(0.0, description="From the demand up to demand + margin the verdict is tight.")


class SightRule(Rule):
    """What is seen of the machine, and what must not be."""

    eyes: dict[FreeName, EyeRule] = Field(description="Where eyes are, by name.")
    hidden: list[HiddenRule] = Field(default_factory=list, description="What must not be seen.")
    shown: list[ShownRule] = Field(default_factory=list, description="What must be seen.")

    def wrong(self) -> Iterator[tuple[Any, str, str]]:
        """Eyes that are nowhere, names that no eye has, shares beyond all or nothing."""
        if not self.eyes:
            yield "eyes", "names no eye", "write eyes: {visitor: {at: [-1500, 0, 1000]}}"
        for name, eye in self.eyes.items():
            if (eye.at is None) == (eye.low is None) or (eye.low is None) != (eye.high is None):
                yield ("eyes", name), "is neither a place nor a box", "write at: [x, y, z], or low and high"
            elif eye.low and eye.high and any(a > b for a, b in zip(eye.low, eye.high, strict=True)):
                yield ("eyes", name, "low"), "does not lie below high in each of x, y, z", "swap them"
        asked: list[tuple[str, int, HiddenRule | ShownRule]] = [
            *(("hidden", at, rule) for at, rule in enumerate(self.hidden)),
            *(("shown", at, rule) for at, rule in enumerate(self.shown)),
        ]
        for kind, at, rule in asked:
            if rule.from_ is not None and rule.from_ not in self.eyes:
                near = nearest(rule.from_, self.eyes)
                said = f"there are no eyes named `{rule.from_}` (there are {', '.join(self.eyes)})"
                yield (kind, at, "from"), said, f"write {near}" if near else ""
            key = "at_most" if isinstance(rule, HiddenRule) else "at_least"
            for share in (key, "margin"):
                if not 0.0 <= getattr(rule, share) <= 1.0:
                    yield (kind, at, share), f"{getattr(rule, share):g} is no share from 0 to 1", ""


@dataclass(frozen=True, eq=False)
class _Asked:
    """One part and one pair of eyes of a rule."""

    part: str
    rows: np.ndarray
    eyes: str
    box: np.ndarray
    rule: HiddenRule | ShownRule
    name: str

    @property
    def demand(self) -> float:
        return self.rule.at_most if isinstance(self.rule, HiddenRule) else self.rule.at_least

    @property
    def sign(self) -> float:
        """The share times this is the larger the worse."""
        return 1.0 if isinstance(self.rule, HiddenRule) else -1.0


@dataclass(frozen=True)
class _Sight:
    """What was found of one of them: the eye at which it is worst."""

    eye: tuple[float, float, float]
    share: float
    angle: float
    points: int
    where: tuple[float, float, float]
    behind: tuple[tuple[str, float], ...]


def check_sight(world: World) -> Answer:
    """Ask of each part that must be hidden or shown what share of its surface the eyes see.

    Lines go straight from points spread evenly over the surface to the eye; transparent solids do not stop
    them. Of a box of eyes the place that is worst for the rule counts.

    Returns:
        One finding for each rule, part and pair of eyes. Facts: by eyes, the share of each part that is seen
        from their middle.
    """
    rule = SightRule.model_validate(world.rules["sight"]) if "sight" in world.rules else None
    if rule is None:
        return Answer()
    findings = tuple(_finding(world, asked) for asked in _asked(world, rule))
    return Answer(findings, {name: _facts(world, eye.box()) for name, eye in rule.eyes.items()})


def _asked(world: World, rule: SightRule) -> Iterator[_Asked]:
    rules: list[tuple[str, HiddenRule | ShownRule]] = [
        *((f"sight.hidden[{k}]", one) for k, one in enumerate(rule.hidden, 1)),
        *((f"sight.shown[{k}]", one) for k, one in enumerate(rule.shown, 1)),
    ]
    for name, one in rules:
        for part, rows in _parts(world, one.part):
            for eyes in rule.eyes if one.from_ is None else (one.from_,):
                yield _Asked(part, rows, eyes, rule.eyes[eyes].box(), one, name)


def _parts(world: World, said: str) -> Iterator[tuple[str, np.ndarray]]:
    """What a name stands for, each with its pieces: an assembly as one, a repeat or a pattern one by one."""
    chosen = choose(world, said)
    solids = bodies(world)
    groups: dict[str, list[int]] = {}
    for k, body in enumerate(solids.all):
        if chosen.holds(body.part_name, body.solid):
            whole = body.part_name in chosen.whole
            name = said if not whole else body.group if _means(said, body.group) else body.part_name
            groups.setdefault(name, []).append(k)
    for part in chosen.solids:
        if not chosen.solids[part]:
            groups.setdefault(part, [])
    for name, own in groups.items():
        yield name, solids.rows(own)


def _means(said: str, group: str) -> bool:
    """Whether a name means a whole part of the scene, or several by a pattern or without their index."""
    return said == group or "*" in said or group.partition("[")[0] == said


def _finding(world: World, asked: _Asked) -> Finding:
    key = (
        "sight", bodies(world).serials.tobytes(), asked.rows.tobytes(), asked.box.tobytes(),
        asked.demand, asked.sign,
    )  # fmt: skip
    if not len(asked.rows):
        return Finding(
            "sight", (asked.part, asked.eyes), Verdict.UNKNOWN,
            f"whether {asked.part} is seen from {asked.eyes} is unknown: it has no solids, or no way yet",
            rule=asked.name, rule_line=rule_line(world, asked.name),
        )  # fmt: skip
    found = world.answers.of(key, lambda: _look(world, asked))
    verdict = _verdict(asked, found.share)
    details: dict[str, Any] = {
        "at_most": asked.sign > 0, "eye": found.eye, "points": found.points, "margin": asked.rule.margin,
        "solid_angle": found.angle, "hidden_by": dict(found.behind),
    }  # fmt: skip
    pictured = _windows_angle(world, np.array(found.eye))
    if pictured > 0:
        details["share_of_windows"] = found.angle / pictured
    return Finding(
        check="sight",
        parts=(asked.part, asked.eyes),
        verdict=verdict,
        sentence=_said(asked, found),
        measured=found.share,
        required=asked.demand,
        unit="share",
        where=(found.where,),
        rule=asked.name,
        rule_line=rule_line(world, asked.name),
        details=details,
    )


def _look(world: World, asked: _Asked) -> _Sight:
    """The worst eye, with more points the nearer its share is to the demand."""
    among = opaque(world)
    count = FEW
    while True:
        surface = spread(bodies(world), asked.rows, count)
        eye, _ = worst(asked.box, lambda at, s=surface: asked.sign * seen(among, s, at).share)  # type: ignore[misc]
        found = seen(among, surface, eye)
        error = SURE * float(np.sqrt(found.share * (1 - found.share) / max(len(surface), 1)))
        if abs(found.share - asked.demand) > error or count >= MANY or found.share in (0.0, 1.0):
            break
        count *= 4
    behind = _behind(world, surface, eye) if asked.sign < 0 else ()
    return _Sight(point(eye), found.share, found.angle, len(surface), _where(surface, found.visible), behind)


def _where(surface: Spread, visible: np.ndarray) -> tuple[float, float, float]:
    """The point seen that is nearest to the middle of what is seen; of all, when nothing is."""
    points = surface.points[visible] if visible.any() else surface.points
    middle = points.mean(axis=0)
    return point(points[int(np.linalg.norm(points - middle, axis=1).argmin())])


def _behind(world: World, surface: Spread, eye: np.ndarray) -> tuple[tuple[str, float], ...]:
    """What hides most of it: names, and shares of the whole surface."""
    solids = bodies(world)
    rows = hiding(opaque(world), surface, eye)
    counts = Counter(solids.all[body].name for body in solids.body[rows].tolist())
    return tuple((name, many / len(surface)) for name, many in counts.most_common(NAMED))


def _windows_angle(world: World, eye: np.ndarray) -> float:
    """Solid angle that the transparent solids take up, as far as nothing stands before them."""
    key = "windows", bodies(world).serials.tobytes(), eye.tobytes()
    surface = spread(bodies(world), windows(world), FEW)
    return world.answers.of(key, lambda: seen(opaque(world), surface, eye).angle)


def _facts(world: World, box: np.ndarray) -> dict[str, float]:
    solids = bodies(world)
    among, eye = opaque(world), box.mean(axis=0)

    def shares() -> dict[str, float]:
        found = {}
        for index, part in enumerate(world.parts):
            rows = np.flatnonzero(solids.body_parts[solids.body] == index)
            if len(rows):
                found[part.name] = seen(among, spread(solids, rows, FACTS), eye).share
        return found

    return world.answers.of(("seen", solids.serials.tobytes(), box.tobytes()), shares)


def _verdict(asked: _Asked, share: float) -> Verdict:
    spare = asked.sign * (asked.demand - share)
    if spare < 0:
        return Verdict.FAILS
    return Verdict.TIGHT if spare < asked.rule.margin else Verdict.FITS


def _said(asked: _Asked, found: _Sight) -> str:
    where = f"from {asked.eyes}"
    if (asked.box[0] != asked.box[1]).any():
        x, y, z = found.eye
        where += f" (most from x {x:.0f}, y {y:.0f}, z {z:.0f})" if asked.sign > 0 else (
            f" (least from x {x:.0f}, y {y:.0f}, z {z:.0f})"
        )  # fmt: skip
    seen_part = percent(found.share, asked.demand)
    if isinstance(asked.rule, HiddenRule):
        if found.share == 0:
            return f"none of {found.points} points of {asked.part} is seen from {asked.eyes}"
        allowed = "none may be" if asked.demand == 0 else f"{percent(asked.demand)} at most are allowed"
        return f"{seen_part} of {asked.part} is seen {where}, {allowed}"
    said = f"{seen_part} of {asked.part} is seen {where}, {percent(asked.demand)} at least are demanded"
    if found.share < asked.demand and found.behind:
        said += "; before it stand " + ", ".join(f"{name} ({percent(part)})" for name, part in found.behind)
    return said


def percent(share: float, against: float | None = None) -> str:
    """A share in percent to a tenth; finer where that would hide the difference to `against`.

    >>> percent(0.25), percent(0.2004, against=0.2)
    ('25.0 %', '20.04 %')
    """
    for digits in (1, 2, 3):
        said = f"{100 * share:.{digits}f} %"
        if against is None or share == against or said != f"{100 * against:.{digits}f} %":
            break
    return said
