"""The checks: one question each, listed here; the same word names file, function, report and rule."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from fitcheck.checks import containment
from fitcheck.checks.causes import caused
from fitcheck.finding import Answer, Finding
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
    """

    name: str
    question: str
    run: Callable[[World], Answer]
    rule: Any
    how: str
    exact: str
    marks: str


CHECKS: tuple[Check, ...] = (
    Check(
        "containment", containment.QUESTION, containment.check_containment, None,
        "the part's farthest point beyond each of the six walls of the compartment",
        "exact for every shape; meshes to their facets",
        "the point that sticks out farthest",
    ),
)  # fmt: skip

# Types of rules by check name, for the reader of scene files.
RULE_TYPES: dict[str, Any] = {check.name: check.rule for check in CHECKS if check.rule is not None}


def run_checks(world: World) -> Answer:
    """Ask all checks in the order of `CHECKS`; then say which findings follow from which.

    Returns:
        All findings, facts by check name, and what was not checked.

    Raises:
        ValueMistake: a rule names something that the scene does not have.
    """
    findings: list[Finding] = []
    facts: dict[str, Any] = {}
    not_checked: list[str] = []
    for check in CHECKS:
        answer = check.run(world)
        findings += answer.findings
        if answer.facts:
            facts[check.name] = answer.facts
        not_checked += answer.not_checked
    return Answer(caused(world, findings), facts, tuple(dict.fromkeys(not_checked)))
