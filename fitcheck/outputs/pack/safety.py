"""The leak-test and safety sheet: what to mind with this machine, from what the scene holds.

All of it is common practice of builders, without a source, unless a line names one; figures come from the
scene and its report.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from fitcheck.checks.support import SupportRule
from fitcheck.finding import Verdict
from fitcheck.outputs.drawings.paper import Flow, Pages
from fitcheck.report import Report
from fitcheck.templates.made import Stock
from fitcheck.world.wishes import RIGID, SOFT
from fitcheck.world.world import World

# From so much on a machine is lifted by two, kg (common practice; rules of work safety differ).
FOR_TWO = 20.0
LOCAL = (
    "Local codes and regulations come first, and the makers' own instructions. Wiring "
    "that carries mains voltage, and anchors in a wall, are work for those who are licensed for it."
)
SOURCE = "Common practice of builders, no source; figures are those of the drawing, not of your parts."


class Told(str):
    """A sentence of the report: it is told, not ticked off."""


@dataclass(frozen=True)
class Section:
    """A heading and what is said under it; with `boxes` the lines are ticked off one by one."""

    title: str
    lines: tuple[str, ...]
    boxes: bool = False


def safety_sheet(world: World, report: Report, stock: Sequence[Stock], paper: str) -> bytes:
    """The sheet as PDF."""
    pages = Pages(f"{report.title}: leak test and safety", paper)
    flow = Flow(pages, "Leak test and safety")
    flow.say("Leak test and safety", 4.6, True, gap=1.5)
    flow.say(report.title, gap=1.0)
    if report.verdict != Verdict.FITS:
        flow.say(
            f"The check of this scene says: {report.verdict}. See report.txt before you build.", bold=True
        )
    for section in sections(world, report, stock):
        flow.room(16.0)
        flow.y -= 2.0
        flow.say(section.title, 3.4, True, gap=0.5)
        for line in section.lines:
            told = isinstance(line, Told) or not section.boxes
            flow.say(f"{'•' if told else '☐'} {line}", indent=4.0)
    flow.y -= 3.0
    flow.say(LOCAL, bold=True)
    flow.say(SOURCE)
    return pages.bytes()


def sections(world: World, report: Report, stock: Sequence[Stock]) -> tuple[Section, ...]:
    """What this machine calls for; nothing of what it does not have."""
    makers: tuple[Callable[[World, Report, Sequence[Stock]], Section | None], ...] = (
        _cutting, _glass, _rigid, _before, _pressure, _filling, _draining, _mains, _weight, _wall,
    )  # fmt: skip
    return tuple(made for maker in makers if (made := maker(world, report, stock)) is not None)


def _cutting(world: World, report: Report, stock: Sequence[Stock]) -> Section | None:
    if not stock:
        return None
    lines = [
        "Measure your own parts first; check the 100 mm marks of every template.",
        "Eye protection at the drill, the saw and the file. No gloves at a turning drill: they "
        "are pulled in.",
        "Clamp the work on wood; never hold sheet by hand under a drill.",
        "Deburr every edge, also inside holes that tubes and cables go through; put grommets in those.",
        "Cut and drill before any electronics are in the case: chips of metal make shorts. "
        "Vacuum, do not blow.",
    ]
    thin = sorted(
        {one.size[0] for one in stock if one.what in ("sheet", "folded sheet") and one.made_of != "glass"}
    )
    if thin:
        lines.append(
            f"Sheet of {', '.join(f'{t:g}' for t in thin)} mm cuts: carry large panels by two, edges taped."
        )
    return Section("Cutting and drilling", tuple(lines))


def _glass(world: World, report: Report, stock: Sequence[Stock]) -> Section | None:
    panes = [
        f"{part.name}.{solid.name}"
        for part in world.parts
        for solid in part.shape.solids.values()
        if solid.role == "glass"
    ]
    if not panes:
        return None
    return Section(
        "Glass",
        (
            f"Of glass here: {', '.join(panes)}.",
            "Toughened glass bursts from a knock on its edge: set it down on cardboard, never on "
            "tiles or concrete.",
            "It cannot be cut or drilled: have it made to its drawing. Gloves and eye protection "
            "when handling it.",
        ),
    )


def _rigid(world: World, report: Report, stock: Sequence[Stock]) -> Section | None:
    rigid = [wish.name for wish in world.wishes if wish.kind == RIGID]
    if not rigid:
        return None
    return Section(
        f"Rigid tubes ({len(rigid)})",
        (
            "Cut square (mitre box, fine saw), by cut_list.csv; bend by bend_table.csv, and try "
            "one bend first.",
            "Deburr inside and outside and chamfer the end: a sharp edge cuts the seal of its "
            "fitting, and it leaks later.",
            "Heat plastic evenly, with a cord inside, heat-proof gloves and fresh air; hot tube "
            "burns the skin.",
            "Push home by hand with a drop of coolant on the seal; a tube that must be forced is "
            "too long or too bent.",
        ),
    )


def _wet(world: World) -> bool:
    return bool(world.loops) or any(wish.kind in (SOFT, RIGID) for wish in world.wishes)


def _before(world: World, report: Report, stock: Sequence[Stock]) -> Section | None:
    if not _wet(world):
        return None
    tubes = [wish for wish in world.wishes if wish.kind in (SOFT, RIGID)]
    lines = [
        f"All {2 * len(tubes)} tube ends are fully home and their collars tight; all threads "
        "seated by hand, then snug.",
        "Every port that no tube or fitting is in has its plug.",
    ]
    for name, loop in world.loops.items():
        if loop.drain:
            lines.append(f"{name}: the drain is shut ({_listed(loop.drain)}).")
    lines += _said(report, "loop", ".leaks")
    lines.append(
        "Paper towels under and around every joint, first where a drip would land on "
        "electronics: they show the first drop."
    )
    lines.append("Board, cards and drives stay out of the machine, or are covered and without power.")
    return Section("Before the leak test", tuple(lines), boxes=True)


def _pressure(world: World, report: Report, stock: Sequence[Stock]) -> Section | None:
    if not _wet(world):
        return None
    return Section(
        "Dry test with air",
        (
            "By a hand pump with a gauge, never a compressor: up to 0.3 bar, and no more than "
            "the weakest part's maker allows.",
            "Shut the pump's valve and wait 15 minutes: a falling needle is a leak. Soap water "
            "on the joints shows which.",
            "Let the air out before you open anything.",
        ),
        boxes=True,
    )


def _filling(world: World, report: Report, stock: Sequence[Stock]) -> Section | None:
    if not world.loops:
        return None
    lines = [
        "While you fill, and whenever anything is open or wet, the supply is unplugged from the mains.",
        "To run the pump, nothing but its plug is on the supply: those of board, cards and drives stay "
        "off. The supply's start wire is bridged by a jumper made for it, as is common practice, or the "
        "pump has a small supply of its own that stands aside.",
        "Plug in for short runs; unplug again before you touch a joint.",
    ]
    for name, loop in world.loops.items():
        where = [loop.fill] if loop.fill else list(loop.vent)
        if where:
            lines.append(
                f"{name}: fill at {_listed(where)}, a little at a time; switch the pump off "
                "before its intake runs dry."
            )
        lines += _said(report, "drainage", f"loops.{name}.fill")
        lines += _said(report, "loop", f"loops.{name}.pump")
    lines += [
        "Tip the machine gently to all sides to free the air; top up.",
        "Let the pump run and watch for some hours, better a day: in the first hour stay beside "
        "it. New towels if in doubt.",
        "A wet towel: pump off, drain, mend, dry, and begin again.",
        "Only when all is dry: plug the rest in. Whatever got wet dries for a day before it gets power.",
    ]
    return Section("Filling and watching", tuple(lines), boxes=True)


def _draining(world: World, report: Report, stock: Sequence[Stock]) -> Section | None:
    lines: list[str] = []
    for name, loop in world.loops.items():
        if loop.drain:
            opened = f", {_listed(loop.vent)} opened" if loop.vent else ""
            lines.append(f"{name}: unplugged, at {_listed(loop.drain)} with a hose{opened}.")
            lines += _said(report, "drainage", f"loops.{name}.drain")
    if not lines:
        return None
    lines.append("What stays runs out when a tube is pulled: hold a towel there, and tip the machine first.")
    return Section("Draining", tuple(lines))


def _mains(world: World, report: Report, stock: Sequence[Stock]) -> Section | None:
    supplies = [
        part.name for part in world.parts if any(solid.startswith("mains") for solid in part.shape.solids)
    ]
    if not supplies:
        return None
    lines = [
        f"Mains voltage comes in at {', '.join(supplies)}. Pull the plug before any cover comes "
        "off; never open a supply.",
        "Metal panels are bonded to the protective earth; test that before first power.",
    ]
    if _wet(world):
        lines.append(
            "Keep coolant joints away from it, and none above it. Use an outlet with a "
            "residual-current device."
        )
    return Section("Mains", tuple(lines))


def _weight(world: World, report: Report, stock: Sequence[Stock]) -> Section | None:
    mass = report.facts.get("support", {}).get("mass")
    if mass is None:
        return None
    lines = [f"What is known of its parts weighs {mass:.1f} kg" + _unknown(report) + "."]
    if mass >= FOR_TWO:
        lines.append("Lift it by two, with straight backs, tubes drained or well supported.")
    lines += _said(report, "support", "support.stands_on")
    for name, tray in report.facts.get("support", {}).get("trays", {}).items():
        lines.append(f"{name} with all on it weighs {tray['mass']:.1f} kg when it is drawn out.")
    return Section("Weight", tuple(lines))


def _wall(world: World, report: Report, stock: Sequence[Stock]) -> Section | None:
    rule = SupportRule.model_validate(world.rules["support"]) if "support" in world.rules else None
    anchors = (rule.anchors if rule is not None else []) or [
        f"{part.name}.{hole}" for part in world.parts for hole in part.shape.holes if "anchor" in hole
    ]
    if not anchors:
        return None
    lines = [f"It hangs on {len(anchors)} anchors: {', '.join(anchors)}."]
    lines += _said(report, "support", "support.anchors")
    lines += [
        "What a wall bears, and which anchor suits it, is for a builder to say. Look for pipes "
        "and wires before you drill.",
        "Hang it by two, drained and without its glass; then put the rest in.",
    ]
    return Section("On the wall", tuple(lines))


def _unknown(report: Report) -> str:
    left = next((line for line in report.not_checked if line.startswith("support: what")), "")
    return ", coolant and the rest not counted" if left else ""


def _said(report: Report, check: str, rule: str) -> Iterator[Told]:
    """What findings say of a check whose rule ends so, in the report's order."""
    return (Told(f"{f.sentence}.") for f in report.findings if f.check == check and f.rule.endswith(rule))


def _listed(names: str | Sequence[str]) -> str:
    return names if isinstance(names, str) else ", ".join(map(str, names))
