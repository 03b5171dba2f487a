"""The order of assembly as a sheet for the wall: what goes in when, and with which screws."""

from __future__ import annotations

from fitcheck.finding import Finding
from fitcheck.outputs.drawings.paper import Flow, Pages
from fitcheck.report import Report
from fitcheck.world.world import World

# What runs are called in a step.
LOOSE = "off its ends"


def assembly_sheet(world: World, report: Report, paper: str) -> bytes | None:
    """The order that the check `assembly_order` found, or None where it was not asked."""
    order = report.facts.get("assembly_order", {}).get("order")
    if not order:
        return None
    pages = Pages(f"{report.title}: order of assembly", paper)
    flow = Flow(pages, "Order of assembly")
    flow.say("Order of assembly", 4.6, True, gap=1.5)
    flow.say(report.title, gap=1.0)
    for finding in report.findings:
        if finding.check == "assembly_order" and finding.rule == "assembly_order":
            flow.say(f"{finding.verdict}: {finding.sentence}.", gap=1.0)
    flow.say(
        "Found by taking the machine apart: each step comes out again the way that is written, "
        "when all later steps are out. What stays is there from the beginning: the case. Tubes and "
        "cables are put on their ends."
    )
    flow.y -= 2.0
    screws = _screws(world, report, [set(step["parts"]) for step in order])
    kinds = {run.name: run.wish.kind for run in world.laid}
    rows = [
        (
            "☐",
            str(k),
            _step(step["parts"], kinds),
            "" if step["out"] == LOOSE else step["out"],
            "; ".join(own),
        )
        for k, (step, own) in enumerate(zip(order, screws, strict=True), 1)
    ]
    header = ("", "no.", "what goes in", "comes out again", "screws (all of this kind)")
    flow.table(header, rows, frozenset((1,)))
    flow.say("Done:  ______________________   Date:  ______________", gap=0.0)
    return pages.bytes()


def _step(parts: tuple[str, ...], kinds: dict[str, str]) -> str:
    said = [f"{name} ({kinds[name]})" if name in kinds else name for name in parts]
    return said[0] if len(said) == 1 else f"together: {', '.join(said)}"


def _screws(world: World, report: Report, steps: list[set[str]]) -> list[list[str]]:
    """For each step the kinds of screws that its parts are fastened with to what is there already."""
    found: list[list[str]] = [[] for _ in steps]
    for finding in report.findings:
        if finding.check != "fastening" or "screw" not in finding.details:
            continue
        groups = {_group(world, name) for name in finding.parts}
        at = [k for k, parts in enumerate(steps) if parts & groups]
        if at:
            said = f"{finding.details['count']} × {finding.details['screw']}"
            found[max(at)].append(f"{said}{_washers(finding)}")
    return found


def _washers(finding: Finding) -> str:
    many = finding.details["washers"]
    return f" on {many} washer{'s' if many > 1 else ''}" if many else ""


def _group(world: World, hole: str) -> str:
    """The scene's own part that a hole's name belongs to."""
    owner = hole.rpartition(".")[0]
    return world.by_name[owner].group if owner in world.by_name else owner
