"""The report for people: the verdict first, then the worst, then what was not checked."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import islice

from fitcheck.finding import Finding, Verdict
from fitcheck.report import Report
from fitcheck.scene.mistakes import Mark, Mistakes

# What each verdict means to someone who has not read the README.
MEANING = {
    Verdict.FITS: "everything demanded is met",
    Verdict.TIGHT: "it fits, but within the margin of a rule",
    Verdict.UNKNOWN: "something could not be decided",
    Verdict.FAILS: "at least one demand is not met",
}
COLOUR = {Verdict.FITS: "32", Verdict.TIGHT: "33", Verdict.UNKNOWN: "35", Verdict.FAILS: "31"}
# On a terminal, consequences of one cause beyond these are counted, not listed.
FOLLOWERS = 6
# Longer lists of words have a line for each, numbered.
LISTED = 8


def report_text(report: Report, colour: bool = False, everything: bool = False) -> str:
    """The report as text, one finding a line, ending in a newline.

    Args:
        report: what was found.
        colour: paint the verdict words (for a terminal); the words stay the same.
        everything: also list what fits and the facts.
    """
    return "\n".join(_lines(report, colour, everything)) + "\n"


def _lines(report: Report, colour: bool, everything: bool) -> Iterator[str]:
    yield f"{_word(report.verdict, colour)}: {report.title}: {MEANING[report.verdict]}"
    shown = [f for f in report.findings if everything or f.verdict != Verdict.FITS]
    leading = [f for f in shown if not f.follows]
    for finding in leading:
        yield from _finding(finding, colour)
        followers = [f for f in shown if f.follows == finding.id]
        for follower in followers[: None if everything else FOLLOWERS]:
            yield f"    so: {_word(follower.verdict, colour)}: {follower.sentence}"
        if len(followers) > FOLLOWERS and not everything:
            yield f"    so: and {len(followers) - FOLLOWERS} more that follow from it"
    met = [f for f in report.findings if f.verdict == Verdict.FITS]
    if met and not everything:
        yield f"{len(met)} demands are met:"
        for finding in met:
            yield f"  {finding.sentence}"
    for line in report.not_checked:
        yield f"not checked: {line}"
    for line in report.notes:
        yield f"note: {line}"


def _finding(finding: Finding, colour: bool) -> Iterator[str]:
    rule = f" (rule at line {finding.rule_line})" if finding.rule_line else ""
    yield f"  {_word(finding.verdict, colour)}: {finding.sentence}{rule}"
    if finding.mend:
        yield f"    mend: {finding.mend}"


def verdict_line(report: Report) -> str:
    """One line: the verdict and the leading finding's sentence."""
    first = next((f for f in report.findings if f.verdict == report.verdict), None)
    return f"{report.verdict}: {first.sentence if first else report.title}"


def finding_text(finding: Finding, how: str, exact: str) -> str:
    """All about one finding: which rule, how it was measured, how exact, what would mend it."""
    lines = [
        f"{finding.verdict}: {finding.sentence}",
        f"finding   {finding.id}",
        f"parts     {', '.join(finding.parts)}",
    ]
    if finding.measured is not None:
        lines.append(f"measured  {finding.measured:.3f} {finding.unit}")
    if finding.required is not None:
        lines.append(f"required  {finding.required:.3f} {finding.unit}")
    where = "the rule is built in" if finding.rule_line is None else f"line {finding.rule_line}"
    lines.append(f"rule      {finding.rule or finding.check}, {where}")
    lines += [f"at        x {x:.1f}, y {y:.1f}, z {z:.1f}" for x, y, z in finding.where]
    lines += [f"how       {how}", f"exact     {exact}"]
    lines.append(f"mend      {finding.mend or 'none that was checked to help'}")
    if finding.follows:
        lines.append(f"follows   {finding.follows}")
    lines += [f"  {line}" for line in _details(finding.details.items())]
    return "\n".join(lines) + "\n"


def _details(items: Iterable[tuple[str, object]]) -> Iterator[str]:
    for key, value in items:
        if isinstance(value, tuple) and len(value) > LISTED and all(isinstance(one, str) for one in value):
            yield f"{key}:"
            yield from (f"  {number}. {item}" for number, item in enumerate(value, 1))
        else:
            yield f"{key}: {_short(value)}"


def _short(value: object) -> str:
    if isinstance(value, float):
        return f"{value:.3f}"
    if isinstance(value, (list, tuple)):
        return ", ".join(_short(inner) for inner in value)
    if isinstance(value, dict):
        return "; ".join(f"{key} {_short(inner)}" for key, inner in value.items())
    return str(value)


def _word(verdict: Verdict, colour: bool) -> str:
    return f"\x1b[1;{COLOUR[verdict]}m{verdict}\x1b[0m" if colour else str(verdict)


def mistakes_text(wrong: Mistakes, pointing: bool = False) -> str:
    """All mistakes of a file, one a line; `pointing` adds the source line and a caret (terminals)."""
    lines = []
    for item in wrong.items:
        lines.append(str(item))
        if pointing:
            lines += _source(item.mark)
    return "\n".join(lines)


def _source(mark: Mark) -> list[str]:
    """The line a mistake stands in, with a caret below the place; nothing if it cannot be read again."""
    try:
        with open(mark.file, encoding="utf-8") as file:
            line = next(islice(file, mark.line - 1, mark.line)).rstrip("\n")
    except (OSError, UnicodeDecodeError, StopIteration):
        return []
    return [f"    {line}", "    " + " " * (mark.column - 1) + "^"]
