"""The report as JSON: versioned, sorted, the same bytes for the same scene."""

from __future__ import annotations

import json
from typing import Any

from fitcheck.finding import Finding, Verdict, plain
from fitcheck.report import Report

# Raised when a key changes its meaning or goes; new keys do not raise it.
FORMAT = "fitcheck-report/1"


def report_json(report: Report) -> str:
    """The whole report as JSON text, ending in a newline."""
    return json.dumps(report_data(report), ensure_ascii=False, indent=2, sort_keys=True) + "\n"


def report_data(report: Report) -> dict[str, Any]:
    """The report as plain data, floats rounded to 0.001 mm."""
    return {
        "format": FORMAT,
        "title": report.title,
        "verdict": str(report.verdict),
        "findings": [finding_data(finding) for finding in report.findings],
        "facts": plain(report.facts),
        "not_checked": list(report.not_checked),
        "parameters": plain(report.parameters),
        "runs": plain(report.runs),
        "notes": list(report.notes),
    }


def finding_data(finding: Finding) -> dict[str, Any]:
    """One finding as plain data."""
    return {
        "id": finding.id,
        "check": finding.check,
        "rule": finding.rule,
        "rule_line": finding.rule_line,
        "parts": list(finding.parts),
        "verdict": str(finding.verdict),
        "measured": plain(finding.measured),
        "required": plain(finding.required),
        "unit": finding.unit,
        "where": [[plain(x) for x in point] for point in finding.where],
        "sentence": finding.sentence,
        "mend": finding.mend,
        "follows": finding.follows,
        "details": plain(finding.details),
    }


def result_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of what `report_json` writes."""
    text, number = {"type": "string"}, {"type": ["number", "null"]}
    point = {"type": "array", "items": {"type": "number"}, "minItems": 3, "maxItems": 3}
    verdict = {"enum": [str(v) for v in Verdict]}
    finding = {
        "id": text | {"description": "check:parts#rule; stable while names stay"},
        "check": text | {"description": "name of the check that asked"},
        "rule": text | {"description": "which rule of the scene file, empty if none"},
        "rule_line": {"type": ["integer", "null"], "description": "its line in the scene file"},
        "parts": {"type": "array", "items": text},
        "verdict": verdict,
        "measured": number | {"description": "in `unit`; null where the question has no number"},
        "required": number | {"description": "in `unit`"},
        "unit": text,
        "where": {"type": "array", "items": point, "description": "world coordinates, mm"},
        "sentence": text,
        "mend": text | {"description": "something to change that was checked to help, or empty"},
        "follows": text | {"description": "id of the finding whose cause explains this one, or empty"},
        "details": {"type": "object"},
    }
    properties = {
        "format": {"const": FORMAT},
        "title": text,
        "verdict": verdict,
        "findings": {"type": "array", "items": _exactly(finding)},
        "facts": {"type": "object", "description": "by check: figures that no rule asked about"},
        "not_checked": {"type": "array", "items": text},
        "parameters": {"type": "object", "description": "the scene's parameters, mm and degrees"},
        "runs": {"type": "array", "items": _run_schema(), "description": "tubes and cables, in scene order"},
        "notes": {"type": "array", "items": text, "description": "what was mended in mesh files"},
    }
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "fitcheck report"} | _exactly(
        properties
    )


def _run_schema() -> dict[str, Any]:
    text, number = {"type": "string"}, {"type": ["number", "null"]}
    point = {"type": "array", "items": {"type": "number"}, "minItems": 3, "maxItems": 3}
    properties = {
        "name": text,
        "kind": {"enum": ["soft tube", "rigid tube", "cable"]},
        "verdict": {"enum": [str(v) for v in Verdict]},
        "outside": number,
        "bend_radius": number,
        "bend_radius_assumed": {"type": "boolean", "description": "a placeholder by size"},
        "from": text,
        "to": text,
        "length": number | {"description": "of the centre line from mouth to mouth, mm"},
        "no_shorter_than": number | {"description": "proved lower bound of any way, mm"},
        "least_distance": number,
        "bends": {"type": "integer"},
        "centre_line": {"type": "array", "items": point, "description": "corners, rounded with bend_radius"},
    }
    needed = ["name", "kind", "verdict", "outside", "bend_radius", "bend_radius_assumed", "from", "to"]
    return {"type": "object", "properties": properties, "required": needed}


def _exactly(properties: dict[str, Any]) -> dict[str, Any]:
    return {
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
    }
