"""How a placement is written: rest a face on a face, join a port to a port, or absolute."""

from __future__ import annotations

from typing import Any, Literal, Self

from pydantic import ConfigDict, Field, model_validator

from fitcheck.scene.kinds import Axis, Point, Problem, Shaped, SideWord, WrittenAngle, WrittenLength, refusal
from fitcheck.scene.names import SIDES, Reference, References

# Which keys go with which way of placing; the first of each way chooses it, the needed ones must be there.
WAYS: dict[str, tuple[str, ...]] = {
    "rest": ("on", "lift", "turn", *SIDES, "centre", "match", "ruler", "lean", "also_on", "mirror"),
    "join": ("to", "turn", "mirror"),
    "at": ("put", "turn", "turns", "of", "mirror"),
}
NEEDS = {"rest": "on", "join": "to"}
OPPOSITE = (("left", "right"), ("front", "rear"), ("bottom", "top"))


class Match(Shaped):
    """Lay a feature of mine opposite a feature of another part, in both directions of the face."""

    mine: Reference = Field(description="A hole, port or face of this part, such as hole[1].")
    theirs: Reference = Field(description="A feature of the other part, such as bracket.hole[1].")


class Ruler(Shaped):
    """My feature or edge lies `apart` from theirs, towards a side."""

    mine: Reference = Field(description="A side word (that edge of my face), centre, or a feature of mine.")
    theirs: Reference = Field(description="A side word (that edge of the host's face), centre, or a feature.")
    apart: WrittenLength = Field(description="How far apart, as a ruler reads it.")
    towards: SideWord = Field(description="Towards which side of the world mine lies from theirs.")


class Lean(Shaped):
    """Tip the part about its face's edge at the named side."""

    to: SideWord = Field(description="The side to tip towards.")
    by: WrittenAngle = Field(description="By how many degrees.")


class Turn(Shaped):
    """A turn about an axis through a point."""

    about: Axis = Field(description="The axis: x, y or z.")
    by: WrittenAngle = Field(description="Degrees, counter-clockwise seen from the axis' tip.")
    at: Point | None = Field(None, description="A point on the axis; the origin if not given.")


class Step(Shaped):
    """One of several turns, made in the order written."""

    about: Axis = Field(description="The axis: x, y or z.")
    by: WrittenAngle = Field(description="Degrees, counter-clockwise seen from the axis' tip.")


def _ways_schema() -> dict[str, Any]:
    return {
        "oneOf": [
            {"required": [w, *([NEEDS[w]] if w in NEEDS else [])], "propertyNames": {"enum": [w, *WAYS[w]]}}
            for w in WAYS
        ]
    }


class Place(Shaped):
    """Where a part sits: exactly one of rest (a face on a face), join (a port to a port), at (absolute)."""

    model_config = ConfigDict(json_schema_extra=_ways_schema())

    rest: Reference | None = Field(None, description="A face of this part, laid on the face named by `on`.")
    on: Reference | None = Field(None, description="The face or compartment wall to rest on.")
    lift: WrittenLength | None = Field(None, description="Distance left between the two faces.")
    left: WrittenLength | None = Field(None, description="My left edge lies so far inside the host's.")
    right: WrittenLength | None = Field(None, description="My right edge lies so far inside the host's.")
    front: WrittenLength | None = Field(None, description="My front edge lies so far inside the host's.")
    rear: WrittenLength | None = Field(None, description="My rear edge lies so far inside the host's.")
    bottom: WrittenLength | None = Field(None, description="My bottom edge lies so far inside the host's.")
    top: WrittenLength | None = Field(None, description="My top edge lies so far inside the host's.")
    centre: Literal["across", "both"] | None = Field(
        None, description="across: centred in the direction without a ruler; both: centred in both."
    )
    match: Match | None = Field(None, description="Lay a feature of mine opposite one of theirs.")
    ruler: list[Ruler] = Field(default_factory=list, description="Rulers in the long form.")
    lean: Lean | None = Field(None, description="Tip towards a side.")
    also_on: References = Field(
        default_factory=list,
        description="Further faces it rests on: they do not move it, the contact is meant.",
    )
    join: Reference | None = Field(None, description="A port of this part, joined to the port named by `to`.")
    to: Reference | None = Field(None, description="The other part's port.")
    at: Point | None = Field(None, description="Where my origin (or what `put` names) goes.")
    put: Reference | None = Field(None, description="The feature of mine that goes to `at`.")
    of: Reference | None = Field(None, description="Read `at` and the turns in the frame of that part.")
    turn: WrittenAngle | None = Field(
        None,
        description="Degrees about the host face's normal, the other port's axis, or z; "
        "counter-clockwise seen from outside the host.",
    )
    turns: list[Step] = Field(default_factory=list, description="Several turns, in the order written.")
    mirror: Axis | None = Field(None, description="Take the mirror image along this axis of its own frame.")

    @property
    def way(self) -> Literal["rest", "join", "at"]:
        """Which of the three ways it is."""
        return "rest" if self.rest is not None else "join" if self.join is not None else "at"

    @property
    def rulers(self) -> dict[str, int | float | str]:
        """The offsets written with a side word, by side."""
        written = {side: getattr(self, side) for side in SIDES}
        return {side: value for side, value in written.items() if value is not None}

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        written = self.model_fields_set
        ways = [way for way in WAYS if way in written]
        if len(ways) != 1:
            raise refusal(Problem(_which_way(ways), key=ways[1] if ways else ""))
        way = ways[0]
        problems = [
            Problem(f"does not go with {way}; it takes {', '.join(WAYS[way])}", key=key)
            for key in type(self).model_fields
            if key in written and key != way and key not in WAYS[way]
        ]
        if way in NEEDS and NEEDS[way] not in written:
            problems.append(Problem(f"{way} needs {NEEDS[way]}: what it {_VERB[way]}", key=way))
        if way == "at" and {"turn", "turns"} <= written:
            problems.append(Problem("turn and turns together; turns holds them all", key="turn"))
        if way == "rest" and not problems:
            problems += _ruler_problems(self)
        if problems:
            raise refusal(*problems)
        return self


_VERB = {"rest": "rests on", "join": "is joined to"}


def _which_way(ways: list[str]) -> str:
    if ways:
        return f"placed in more than one way ({' and '.join(ways)}); keep one"
    return "no way of placing; give one of rest (a face on a face), join (a port to a port), at (absolute)"


def _ruler_problems(place: Place) -> list[Problem]:
    """A rest is fixed in exactly two directions."""
    sides = list(place.rulers)
    twice = [pair for pair in OPPOSITE if set(pair) <= set(sides)]
    if twice:
        return [Problem(f"{a} and {b} measure the same direction; keep one", key=b) for a, b in twice]
    fixed = len(sides) + len(place.ruler) + (2 if place.match else 0)
    centred = {"across": 1, "both": 2}.get(place.centre or "", 0)
    if fixed + centred == 2:
        return []
    if fixed + centred > 2:
        said = [*sides, *(["ruler"] if place.ruler else []), *(["match"] if place.match else [])]
        said += ["centre"] if place.centre else []
        return [Problem(f"fixed in more than two directions ({', '.join(said)}); keep two", key=said[-1])]
    if place.centre:
        lacking = "across centres in one direction and the other has no ruler"
        return [Problem(lacking, "write both", "centre", at_value=True)]
    word = "across" if fixed else "both"
    return [
        Problem(
            f"where on the face is not said in {'one direction' if fixed else 'two directions'}: "
            "give a ruler (left, right, front, rear, bottom, top), centre or match",
            f"add centre: {word}",
            "rest",
        )
    ]
