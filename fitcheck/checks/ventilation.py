"""Ventilation: how narrow is the way between the outside and each fan, against its swept area?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

from pydantic import Field

from fitcheck.air.asked import Aired, Settings, Standing, aired, standing
from fitcheck.air.flow import NoFlow
from fitcheck.checks import ventilation_said as say
from fitcheck.checks.names import Chosen, choose
from fitcheck.checks.verdicts import point, rule_line
from fitcheck.finding import Answer, Finding, Verdict
from fitcheck.scene.rules import Length, PartRef, PlaceRef, Rule, Share, Side
from fitcheck.world.bodies import bodies
from fitcheck.world.world import World

QUESTION = (
    "what is the narrowest free cross-section between the outside and each fan, against its swept area?"
)
# What each side of a fan must have of its swept area where no rule says it: common practice, no source.
USUAL = 0.5
# Grids that are finer than this take too long, those that are coarser see no fan, mm.
FINEST, COARSEST = 3.0, 25.0
# Places of a neck that are drawn.
DRAWN = 4


class FanRule(Rule):
    """What one fan needs, or how it must blow."""

    fan: PartRef = Field(description="The fan, or several by fan*.")
    at_least: Share | None = Field(None, description="Share of its swept area that each side must have.")
    blows: Literal["in", "out", "inside"] | None = Field(
        None, description="Which way it must blow: into the machine, out of it, or only inside."
    )


class GrilleRule(Rule):
    """An opening that is not all open."""

    opening: PlaceRef = Field(description="The opening; or the core of a radiator, part.core.")
    open: Share = Field(description="The share of it that is open.")


class VentilationRule(Rule):
    """How much air the fans must get."""

    at_least: Share = Field(
        USUAL, description="Share of its swept area that each side of each fan must have by itself."
    )
    together: Share | None = Field(
        None, description="The same of fans that take from each other, all of them blowing."
    )
    margin: Share = Field(0.0, description="From the demand up to demand + margin the verdict is tight.")
    fans: list[FanRule] = Field(default_factory=list, description="Fans that differ.")
    grilles: list[GrilleRule] = Field(default_factory=list, description="Openings behind grilles.")
    closed: list[Side] = Field(
        default_factory=list, description="Sides on which the machine stands against a floor or a wall."
    )
    recirculation_at_most: Share | None = Field(
        None, description="Largest gap back beside a radiator, as a share of its fans' swept area."
    )
    blown_in_at_least: Share | None = Field(
        None, description="Least share of the fans at the outside, by swept area, that blow in."
    )
    blown_in_at_most: Share | None = Field(None, description="The largest such share.")
    pitch: Length | None = Field(
        None, description="Pitch of the grid that finds the necks; if not given, by the size of the case."
    )

    def wrong(self) -> Iterator[tuple[Any, str, str]]:
        """Shares beyond all or nothing, grids that cannot be made."""
        named: list[tuple[tuple[str | int, ...], float | None]] = [
            (("at_least",), self.at_least), (("together",), self.together), (("margin",), self.margin),
            (("recirculation_at_most",), self.recirculation_at_most),
            (("blown_in_at_least",), self.blown_in_at_least), (("blown_in_at_most",), self.blown_in_at_most),
            *((("fans", at, "at_least"), one.at_least) for at, one in enumerate(self.fans)),
            *((("grilles", at, "open"), one.open) for at, one in enumerate(self.grilles)),
        ]  # fmt: skip
        for path, share in named:
            if share is not None and not 0.0 <= share <= 1.0:
                yield path, f"{share:g} is no share from 0 to 1", ""
        if self.pitch is not None and not FINEST <= self.pitch <= COARSEST:
            yield "pitch", f"{self.pitch:g} mm is not from {FINEST:g} to {COARSEST:g} mm", "leave it out"

    def settings(self) -> Settings:
        """What of it the ways of the air rest on."""
        grilles = tuple((one.opening, one.open) for one in self.grilles)
        return Settings(tuple(sorted(set(self.closed))), grilles, self.pitch)


@dataclass(frozen=True, eq=False)
class _Asked:
    """A scene's air, ready to be told of."""

    world: World
    rule: VentilationRule
    standing: Standing
    of_fan: dict[str, tuple[int, FanRule]]

    def demand(self, fan: str) -> tuple[float, str]:
        """The share that each side of a fan must have, and the rule that says so."""
        at, own = self.of_fan.get(fan, (0, None))
        if own is not None and own.at_least is not None:
            return own.at_least, f"ventilation.fans[{at}]"
        return self.rule.at_least, "ventilation"


def check_ventilation(world: World) -> Answer:
    """Find the narrowest free cross-section of the ways of the air, and how the fans stand.

    This is geometry: no flow is worked out.

    Returns:
        For each fan and each of its sides the narrowest cross-section to the outside; fans that take from
        each other; fans that face each other; which way each blows, and the balance of intake and exhaust;
        gaps back beside radiators. Facts: the area of each opening.
    """
    if "ventilation" not in world.rules:
        return Answer()
    rule = VentilationRule.model_validate(world.rules["ventilation"])
    settings = rule.settings()
    serials = bodies(world).serials.tobytes()
    found = world.answers.of(("standing", serials, settings), lambda: standing(world, settings))
    asked = _Asked(world, rule, found, _rules_of_fans(world, rule, found))
    facts = {"openings": {gap.name: say.opening(gap) for gap in found.gaps}}
    if not found.fans:
        none = Finding(
            "ventilation", (), Verdict.UNKNOWN, "there is no fan whose air could be followed",
            rule="ventilation", rule_line=rule_line(world, "ventilation"),
        )  # fmt: skip
        return Answer((none,), facts)
    findings = [*_directions(asked), *_faces(asked), _balance(asked)]
    try:
        ways = world.answers.of(("aired", serials, settings), lambda: aired(world, found, settings))
    except NoFlow as missing:
        names = tuple(fan.name for fan in found.fans)
        unknown = Finding(
            "ventilation", names, Verdict.UNKNOWN, f"the ways of the air are unknown: {missing}",
            rule="ventilation", rule_line=rule_line(world, "ventilation"), mend="pip install 'fitcheck[air]'",
        )  # fmt: skip
        return Answer((unknown, *findings), facts)
    necks = [*_necks(asked, ways), *_shared(asked, ways), *_backs(asked, ways)]
    return Answer((*necks, *findings), facts)


def _rules_of_fans(world: World, rule: VentilationRule, found: Standing) -> dict[str, tuple[int, FanRule]]:
    of_fan: dict[str, tuple[int, FanRule]] = {}
    for at, one in enumerate(rule.fans, 1):
        chosen: Chosen = choose(world, one.fan)
        for fan in found.fans:
            if fan.name in chosen.solids:
                of_fan[fan.name] = at, one
    return of_fan


def _finding(
    asked: _Asked, rule: str, parts: tuple[str, ...], verdict: Verdict, said: str, **more: Any
) -> Finding:
    line = rule_line(asked.world, rule)
    return Finding("ventilation", parts, verdict, said, unit="share", rule=rule, rule_line=line, **more)


def _verdict(share: float, error: float, least: float, margin: float) -> Verdict:
    """Of a share that should be at least so much: what its error leaves open is tight."""
    if share + error < least - ROUNDING:
        return Verdict.FAILS
    return Verdict.TIGHT if share - error < least + margin - ROUNDING else Verdict.FITS


# Rounding of areas to hundredths of mm2, and of sections measured square by square, as a share.
ROUNDING = 1e-3


def _necks(asked: _Asked, ways: Aired) -> Iterator[Finding]:
    for fan in asked.standing.fans:
        least, rule = asked.demand(fan.name)
        for side in ("intake", "exhaust"):
            one = ways.necks[fan.name, side]
            share, error = min(one.area / fan.swept, 1.0), one.error / fan.swept
            error = 0.0 if one.area - one.error >= fan.swept else error
            yield _finding(
                asked, f"{rule}.{side}", (fan.name,),
                _verdict(share, error, least, asked.rule.margin if share < 1.0 else 0.0),
                say.neck(asked.world, fan, side, one),
                measured=share, required=least, where=say.places(fan.middle, one),
                details={**say.details(one, DRAWN), "swept": fan.swept, "side": side, "pitch": ways.pitch},
            )  # fmt: skip


def _shared(asked: _Asked, ways: Aired) -> Iterator[Finding]:
    for common in ways.shared:
        swept = sum(fan.swept for fan in common.fans)
        share, error = min(common.neck.area / swept, 1.0), common.neck.error / swept
        least = asked.rule.together
        verdict = Verdict.FITS if least is None else _verdict(share, error, least, asked.rule.margin)
        yield _finding(
            asked, f"ventilation.together.{common.side}", tuple(fan.name for fan in common.fans), verdict,
            say.shared(asked.world, common),
            measured=share, required=least, where=say.places(common.fans[0].middle, common.neck),
            details={**say.details(common.neck, DRAWN), "swept": swept, "side": common.side},
        )  # fmt: skip


def _backs(asked: _Asked, ways: Aired) -> Iterator[Finding]:
    most = asked.rule.recirculation_at_most
    for back in ways.back:
        swept = sum(fan.swept for fan in back.fans)
        area = 0.0 if back.neck is None else back.neck.area
        error = 0.0 if back.neck is None else back.neck.error
        verdict = Verdict.FITS
        if most is not None and area + error > (most + ROUNDING) * swept:
            verdict = Verdict.FAILS if area - error > (most + ROUNDING) * swept else Verdict.TIGHT
        part = back.core.name.rpartition(".")[0]
        yield _finding(
            asked, "ventilation.recirculation_at_most", (part, *(fan.name for fan in back.fans)), verdict,
            say.back(asked.world, part, back, most), measured=area / swept, required=most,
            where=() if back.neck is None else say.places(back.core.middle, back.neck),
            details={"area": area, "swept": swept} if back.neck is None else
            {**say.details(back.neck, DRAWN), "swept": swept},
        )  # fmt: skip


def _directions(asked: _Asked) -> Iterator[Finding]:
    """Fans that must blow one way."""
    for fan in asked.standing.fans:
        at, own = asked.of_fan.get(fan.name, (0, None))
        if own is not None and own.blows is not None:
            does = asked.standing.blows[fan.name]
            yield _finding(
                asked, f"ventilation.fans[{at}].blows", (fan.name,),
                Verdict.FITS if does == own.blows else Verdict.FAILS, say.direction(fan, does, own.blows),
                where=(point(fan.middle),), details={"blows": does},
            )  # fmt: skip


def _faces(asked: _Asked) -> Iterator[Finding]:
    for pair in asked.standing.facing:
        yield _finding(
            asked, "ventilation.facing", (pair.one.name, pair.other.name), Verdict.TIGHT, say.face(pair),
            where=(point(pair.one.middle), point(pair.other.middle)),
            details={"apart": pair.apart, "side": pair.side},
        )  # fmt: skip


def _balance(asked: _Asked) -> Finding:
    rule, found = asked.rule, asked.standing
    areas = {way: sum(f.swept for f in found.fans if found.blows[f.name] == way) for way in ("in", "out")}
    total = sum(areas.values())
    share = areas["in"] / total if total else None
    low, high = rule.blown_in_at_least, rule.blown_in_at_most
    wrong = share is not None and (
        (low is not None and share < low - ROUNDING) or (high is not None and share > high + ROUNDING)
    )
    undecided = share is None and (low is not None or high is not None)
    verdict = Verdict.UNKNOWN if undecided else Verdict.FAILS if wrong else Verdict.FITS
    name = "ventilation.blown_in_at_most" if wrong and high is not None and share and share > high else (
        "ventilation.blown_in_at_least"
    )  # fmt: skip
    return _finding(
        asked, name, tuple(fan.name for fan in found.fans), verdict, say.balance(found, areas, low, high),
        measured=share, required=high if name.endswith("most") else low,
        details={"in": areas["in"], "out": areas["out"], "blows": dict(found.blows)},
    )  # fmt: skip
