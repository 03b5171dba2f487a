"""Tiny scenes with runs, written as text: two fittings, and what stands between them."""

from __future__ import annotations

import fitcheck

SOFT = "kind: soft tube, bore: 10 mm, outside: 13 mm, bend_radius: 40 mm, clearance: 2 mm"


def fitting(name: str, at: str, towards: str = "+z", outside: float = 13) -> str:
    """A straight fitting 20 mm long whose tube end looks towards an axis; `at` is its shoulder."""
    turns = {
        "+z": "", "-z": ", turns: [{about: x, by: 180}]",
        "+x": ", turns: [{about: y, by: 90}]", "-x": ", turns: [{about: y, by: -90}]",
        "+y": ", turns: [{about: x, by: -90}]", "-y": ", turns: [{about: x, by: 90}]",
    }[towards]  # fmt: skip
    values = f"tube_outside: {outside}, length: 20"
    return f"  {name}: {{model: straight_fitting, with: {{{values}}}, place: {{at: {at}{turns}}}}}\n"


def scene(parts: str, runs: str, rules: str = "") -> str:
    """The text of a scene; `runs` holds one run a line."""
    lines = "".join(f"  {line}\n" for line in runs.strip().splitlines())
    return f"title: small\nparts:\n{parts}runs:\n{lines}{rules}"


def load(parts: str, runs: str, rules: str = ""):
    """The placed world of such a scene."""
    return fitcheck.load(scene(parts, runs, rules), name="small")
