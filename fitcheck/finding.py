"""Finding and Verdict: the one type that checks give and outputs show."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Any

Point = tuple[float, float, float]
# Decimals of every length that is written down, mm: far below the contact tolerance, far above rounding.
DIGITS = 3


class Verdict(StrEnum):
    """What a finding, or a whole scene, comes to."""

    FITS = "fits"
    TIGHT = "tight"
    UNKNOWN = "unknown"
    FAILS = "fails"


# From harmless to worst; the worst of a scene's findings is the scene's verdict.
SEVERITY = (Verdict.FITS, Verdict.TIGHT, Verdict.UNKNOWN, Verdict.FAILS)


@dataclass(frozen=True)
class Finding:
    """One answer to one question, as plain data.

    `measured` and `required` are in `unit`; either is None where the question has no
    number. `where` holds points in world coordinates, mm. `follows` names the finding
    (by id) whose cause explains this one. `details` holds what one number cannot:
    strings, numbers, tuples and dicts of these only.
    """

    check: str
    parts: tuple[str, ...]
    verdict: Verdict
    sentence: str
    measured: float | None = None
    required: float | None = None
    unit: str = "mm"
    where: tuple[Point, ...] = ()
    rule: str = ""
    rule_line: int | None = None
    mend: str = ""
    follows: str = ""
    details: dict[str, Any] = field(default_factory=dict)

    @property
    def id(self) -> str:
        """Stable name: the check, the parts, and the rule where several ask the same."""
        end = f"#{self.rule}" if self.rule else ""
        return f"{self.check}:{'~'.join(self.parts)}{end}"

    def following(self, cause: str) -> Finding:
        """The same finding, marked as a consequence of the finding named `cause`."""
        return replace(self, follows=cause)


@dataclass(frozen=True)
class Answer:
    """What one check gives: findings, and facts that no rule asked about.

    `not_checked` says in plain sentences what the check left out, and why.
    """

    findings: tuple[Finding, ...] = ()
    facts: dict[str, Any] = field(default_factory=dict)
    not_checked: tuple[str, ...] = ()


def worst(verdicts: list[Verdict]) -> Verdict:
    """The verdict that counts: fails before unknown before tight before fits."""
    return max(verdicts, key=SEVERITY.index, default=Verdict.FITS)


def plain(value: Any) -> Any:
    """Numbers rounded, tuples as lists, an endless length as null; minus zero is zero."""
    if isinstance(value, dict):
        return {str(key): plain(inner) for key, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(inner) for inner in value]
    if isinstance(value, bool) or value is None or isinstance(value, (str, int)):
        return value
    number = float(value)
    return round(number, DIGITS) + 0.0 if math.isfinite(number) else None
