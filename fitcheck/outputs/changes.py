"""What changed from one report to another, as text and as data."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from typing import Any

from fitcheck.finding import plain
from fitcheck.layouts.compare import Change
from fitcheck.outputs.json import finding_data
from fitcheck.report import Report

# Raised when a key changes its meaning or goes; new keys do not raise it.
FORMAT = "fitcheck-changes/1"


def changes_text(before: Report, after: Report, changes: Sequence[Change]) -> str:
    """The verdicts, and a line for each finding that is not the same."""
    return "".join(f"{line}\n" for line in _lines(before, after, changes))


def _lines(before: Report, after: Report, changes: Sequence[Change]) -> Iterator[str]:
    said = f"{before.verdict} before, {after.verdict} after"
    many = "1 finding differs" if len(changes) == 1 else f"{len(changes)} findings differ"
    yield f"{said}: {many if changes else 'all findings are the same'}"
    for change in changes:
        yield f"  {change.kind}: {_said(change)}"


def _said(change: Change) -> str:
    if change.before is None or change.after is None:
        return f"{change.finding.verdict}: {change.finding.sentence}"
    before, after = change.before, change.after
    verdict = (
        f"{after.verdict}" if before.verdict == after.verdict else f"{before.verdict} to {after.verdict}"
    )
    if change.by is None:
        return f"{verdict}: {after.sentence}"
    scale, unit = (100, " %") if after.unit == "share" else (1, f" {after.unit}" if after.unit else "")
    was = scale * (before.measured or 0.0)
    return f"{verdict}, {scale * change.by:+.1f}{unit} (was {was:.1f}{unit}): {after.sentence}"


def changes_json(before: Report, after: Report, changes: Sequence[Change]) -> str:
    """The same as JSON text, ending in a newline."""
    data: dict[str, Any] = {
        "format": FORMAT,
        "verdict_before": str(before.verdict),
        "verdict_after": str(after.verdict),
        "changes": [
            {
                "id": change.finding.id,
                "kind": change.kind,
                "by": plain(change.by),
                "before": None if change.before is None else finding_data(change.before),
                "after": None if change.after is None else finding_data(change.after),
            }
            for change in changes
        ],
    }
    return json.dumps(data, ensure_ascii=False, indent=2, sort_keys=True) + "\n"
