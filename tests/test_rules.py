"""What a check's rule becomes: plain values in place of what was written."""

from __future__ import annotations

from typing import Any

from demo_rules import PairRule
from pydantic import Field

from fitcheck.scene.rules import Angle, Length, Rule, Share, Side, walk_rule


class Everything(Rule):
    """Each way a field can be written."""

    length: Length = 1.0
    maybe: Length | None = None
    turns: list[Angle] = Field(default_factory=list)
    shares: dict[str, Share] = Field(default_factory=dict)
    pairs: list[PairRule] = Field(default_factory=list)
    one: PairRule | None = None
    either: list[Length] | Length = 0.0
    side: Side = "left"
    word: str = "as it is"


def test_walk_replaces_each_field_by_its_value():
    written = {
        "length": "3 mm", "turns": ["90", 4], "shares": {"a": 0.5}, "side": "top", "either": [1, "2"],
        "pairs": [{"between": "p", "and": "q*", "at_least": "x"}],
        "one": {"between": "r", "and": "s", "at_least": 1},
    }  # fmt: skip
    asked = []

    def evaluate(kind: str, raw: Any, path: tuple[Any, ...]) -> Any:
        asked.append((kind, raw, path))
        return f"<{raw}>"

    rule = walk_rule(Everything.model_validate(written), evaluate, ("rules", "e"))
    at = ("rules", "e")
    assert asked == [
        ("length", "3 mm", (*at, "length")),
        ("angle", "90", (*at, "turns", 0)),
        ("angle", 4, (*at, "turns", 1)),
        ("share", 0.5, (*at, "shares", "a")),
        ("part", "p", (*at, "pairs", 0, "between")),
        ("part", "q*", (*at, "pairs", 0, "and")),
        ("length", "x", (*at, "pairs", 0, "at_least")),
        ("part", "r", (*at, "one", "between")),
        ("part", "s", (*at, "one", "and")),
        ("length", 1, (*at, "one", "at_least")),
        ("length", 1, (*at, "either", 0)),
        ("length", "2", (*at, "either", 1)),
        ("side", "top", (*at, "side")),
    ]
    assert isinstance(rule, Everything)
    assert (rule.length, rule.maybe, rule.turns, rule.word) == ("<3 mm>", None, ["<90>", "<4>"], "as it is")
    assert rule.pairs[0].and_ == "<q*>"
    assert rule.either == ["<1>", "<2>"]


def test_walk_of_a_list_of_rules_counts_in_the_path():
    rules = [PairRule.model_validate({"between": "a", "and": "b", "at_least": 2})] * 2
    paths = []
    walk_rule(rules, lambda kind, raw, path: paths.append(path), ("rules", "room"))
    assert paths[3] == ("rules", "room", 1, "between")
