"""Two reports beside each other: which findings came, which went, which changed and by how much."""

from __future__ import annotations

from dataclasses import dataclass

from fitcheck.finding import DIGITS, SEVERITY, Finding, Verdict
from fitcheck.report import Report


@dataclass(frozen=True)
class Change:
    """One finding that is not the same in both.

    Args:
        before, after: the finding in the first and in the second report; None where it has none.
    """

    before: Finding | None
    after: Finding | None

    @property
    def kind(self) -> str:
        """Whether it came, went, or changed."""
        if self.before is None:
            return "came"
        return "went" if self.after is None else "changed"

    @property
    def by(self) -> float | None:
        """By how much more was measured after than before; None where one has no figure."""
        if self.before is None or self.after is None:
            return None
        if self.before.measured is None or self.after.measured is None:
            return None
        return self.after.measured - self.before.measured

    @property
    def finding(self) -> Finding:
        """It as it is now, or as it was."""
        found = self.after or self.before
        assert found is not None
        return found


def compare(before: Report, after: Report) -> tuple[Change, ...]:
    """All findings that differ: by their names, verdicts, or by what was measured.

    Findings are the same if they have one id: the check, the parts and the rule. What fits in one and
    is not asked in the other is left out.

    Returns:
        The worst first: what fails now or failed before, then what is unknown, tight, fits.
    """
    old = {finding.id: finding for finding in before.findings}
    new = {finding.id: finding for finding in after.findings}
    changes = [Change(old.get(name), new.get(name)) for name in dict.fromkeys([*new, *old])]
    different = [change for change in changes if _differs(change)]
    return tuple(sorted(different, key=_rank))


def _differs(change: Change) -> bool:
    if change.before is None or change.after is None:
        return change.finding.verdict != Verdict.FITS
    if change.before.verdict != change.after.verdict:
        return True
    if change.by is None:
        return change.before.measured != change.after.measured
    return round(abs(change.by), DIGITS) > 0


def _rank(change: Change) -> tuple[int, str, str]:
    worst = max(SEVERITY.index(f.verdict) for f in (change.before, change.after) if f is not None)
    order = {"came": "0", "changed": "1", "went": "2"}[change.kind]
    return -worst, order, change.finding.id
