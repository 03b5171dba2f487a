"""Answers of the slower checks kept on disk: what was asked of a scene before is not worked out again.

A file's name is a digest of all that the check is given, of the sources, and of what is installed:
what is read is what would be found now, or nothing. Lines are kept as they lie to the check's own
rule, so that an edit elsewhere in the scene file does not count as a change.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any
from weakref import WeakKeyDictionary

from fitcheck.finding import Answer, Finding, Verdict
from fitcheck.world import disk
from fitcheck.world.digest import add
from fitcheck.world.kernels.kept import fingerprint
from fitcheck.world.world import World

# Checks that take long enough. Each looks at its own rule, and at those of checks that are not listed here.
REMEMBERED = (
    "loop", "drainage", "fastening", "edges", "ventilation", "sight", "gaps", "empty_boxes",
    "removal", "assembly_order", "support", "access",
)  # fmt: skip
# So many answers are kept, the last ones used.
MOST = 2000


def recall(world: World, check: str) -> Answer | None:
    """What a check answered of a world like this; None if it was not asked."""
    name = _name(world, check)
    held = None if name is None else disk.read(name)
    if held is None:
        return None
    try:
        told = _decoded(json.loads(held))
        findings = tuple(_finding(one, _first_line(world, check)) for one in told["findings"])
        return Answer(findings, told["facts"], told["not_checked"])
    except (ValueError, KeyError, TypeError):
        return None


def remember(world: World, check: str, answer: Answer) -> None:
    """Keep what a check answered."""
    name = _name(world, check)
    if name is None:
        return
    first = _first_line(world, check)
    held = {
        "findings": tuple(_plain(one, first) for one in answer.findings),
        "facts": answer.facts,
        "not_checked": answer.not_checked,
    }
    try:
        text = json.dumps(_coded(held))
    except TypeError:
        return
    disk.write(name, text, "answer", MOST)


_given: WeakKeyDictionary[World, Any] = WeakKeyDictionary()


def _name(world: World, check: str) -> str | None:
    """The file for a world and a check; None where the world holds what has no digest."""
    try:
        if world not in _given:
            _given[world] = _all_but_rules(world)
        found = _given[world].copy()
        rules = {name: one for name, one in world.rules.items() if name == check or name not in REMEMBERED}
        first = _first_line(world, check)
        lines = {name: line - first for name, line in _own_lines(world, check).items()}
        add(found, (check, rules, lines))
    except TypeError:
        return None
    return f"answer-{found.hexdigest()[:32]}.json"


def _all_but_rules(world: World) -> Any:
    found = hashlib.sha256(_sources())
    runs = [(run, run.wish) for run in world.laid]
    add(found, (world.parts, world.contacts, world.compartments, world.uncertain, world.parameters))
    add(found, (runs, world.wishes, world.loops))
    return found


def _own_lines(world: World, check: str) -> Mapping[str, int]:
    return {
        name: n
        for name, n in world.lines.items()
        if name == check or name.startswith((f"{check}.", f"{check}["))
    }


def _first_line(world: World, check: str) -> int:
    return min(_own_lines(world, check).values(), default=0)


@lru_cache(maxsize=1)
def _sources() -> bytes:
    """What the checks are: all sources of this package, the processor, and what is installed beside it."""
    found = hashlib.sha256(fingerprint("runs").encode())
    package = Path(__file__).parents[1]
    for source in sorted(package.rglob("*.py")):
        found.update(source.relative_to(package).as_posix().encode() + source.read_bytes())
    for folder in sys.path:
        # Names and versions; to ask the standard library for them would take longer than many a check.
        if os.path.isdir(folder):
            found.update(repr(sorted(n for n in os.listdir(folder) if n.endswith(".dist-info"))).encode())
    return found.digest()


def _plain(finding: Finding, first: int) -> dict[str, Any]:
    line = None if finding.rule_line is None else finding.rule_line - first
    return {**vars(finding), "verdict": str(finding.verdict), "rule_line": line}


def _finding(held: dict[str, Any], first: int) -> Finding:
    line = None if held["rule_line"] is None else held["rule_line"] + first
    return replace(Finding(**held), verdict=Verdict(held["verdict"]), rule_line=line)


def _coded(value: Any) -> Any:
    """Tuples and dicts with their kinds, for JSON knows no tuples.

    Raises:
        TypeError: a value that is not plain.
    """
    if value is None or isinstance(value, (str, bool, int, float)):
        return value
    if isinstance(value, tuple):
        return {"tuple": [_coded(one) for one in value]}
    if isinstance(value, list):
        return [_coded(one) for one in value]
    if isinstance(value, dict):
        return {"dict": [[_coded(key), _coded(one)] for key, one in value.items()]}
    raise TypeError(f"a {type(value).__name__} is not plain")


def _decoded(value: Any) -> Any:
    if isinstance(value, list):
        return [_decoded(one) for one in value]
    if not isinstance(value, dict):
        return value
    if "tuple" in value:
        return tuple(_decoded(one) for one in value["tuple"])
    return {_decoded(key): _decoded(one) for key, one in value["dict"]}
