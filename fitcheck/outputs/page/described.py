"""A world and its report as the plain data that the page shows."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

import numpy as np

from fitcheck.finding import Finding, Verdict, plain
from fitcheck.outputs.page.packed import record
from fitcheck.outputs.page.shapes import Drawn
from fitcheck.outputs.page.words import CAUTIONS, HEADINGS
from fitcheck.outputs.pictures import choose, looks
from fitcheck.outputs.pictures.bands import FAR, NEAR, OVERLAP, Bands
from fitcheck.outputs.pictures.camera import View, as_view, framing
from fitcheck.outputs.pictures.dimensions import ends, figure
from fitcheck.outputs.pictures.margins import VERDICT_COLOURS
from fitcheck.outputs.pictures.section import resolved
from fitcheck.outputs.pictures.studio import OVERVIEW
from fitcheck.outputs.text import MEANING
from fitcheck.parts.solids import Solid
from fitcheck.report import Report
from fitcheck.world.frames import SIDES
from fitcheck.world.wishes import LaidRun
from fitcheck.world.world import Part, World

# Names of two solids, as findings have them in their details.
BETWEEN = re.compile(r"\s*~\s*")


def described(world: World, report: Report, solids: Sequence[Drawn], bands: Bands) -> dict[str, Any]:
    """All of the page but the shapes; the names in it are as the scene's author wrote them."""
    ranked = choose.worst_first(report.findings)
    verdicts = looks.part_verdicts(world, ranked)
    case = choose.case_parts(world)
    wrong = [f for f in report.findings if f.verdict == report.verdict != Verdict.FITS]
    return {
        "title": report.title,
        "verdict": str(report.verdict),
        "meaning": MEANING[report.verdict],
        "lead": wrong[0].sentence if wrong else "Nothing that was checked is in the way.",
        "findings": [_finding(world, finding) for finding in report.findings],
        "parts": [_part(world.parts[k], k in case, verdicts.get(k)) for k in range(len(world.parts))],
        "solids": [_solid(one) | record(one) for one in solids],
        "bounds": bounds(world),
        "bands": {"edges": list(bands.edges), "colours": [OVERLAP, *NEAR, FAR]},
        "verdict_colours": {str(v): looks_like(c) for v, c in VERDICT_COLOURS.items()},
        "legends": _legends(world, solids, bands, verdicts, case),
        "views": [_view(world, name, solids) for name in world.views],
        "runs": [_run(run, report.findings) for run in world.laid],
        "gaps": _gaps(world, report.facts.get("gaps", {})),
        "rooms": _rooms(report.facts.get("empty_boxes", {})),
        "layouts": None,
        "plots": [],
        "cautions": list(CAUTIONS),
        "not_checked": list(report.not_checked),
        "notes": list(report.notes),
        "live": None,
    }


def looks_like(colour: Sequence[int]) -> str:
    """`#RRGGBB` of a colour."""
    return "#{:02X}{:02X}{:02X}".format(*(int(c) for c in colour))


def bounds(world: World) -> list[list[float]]:
    """What the camera aims at, mm: the same for every layout of one case, as in the pictures."""
    boxes = np.array([part.bounds for part in world.parts])
    everything = np.array([boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)])
    return _points(framing(choose.case_bounds(world), everything))


def _points(points: np.ndarray) -> list[list[float]]:
    found: list[list[float]] = plain(np.asarray(points, float).tolist())
    return found


def _finding(world: World, finding: Finding) -> dict[str, Any]:
    named = finding.details.get("solids", ())
    outlines = finding.details.get("outlines", ()) if finding.verdict != Verdict.FITS else ()
    return {
        "id": finding.id,
        "check": finding.check,
        "verdict": str(finding.verdict),
        "sentence": finding.sentence,
        "mend": finding.mend,
        "follows": finding.follows,
        "concerned": sorted(choose.concerned(world, finding)),
        "solids": [name for pair in named if isinstance(pair, str) for name in BETWEEN.split(pair)],
        "ends": _points(ends(finding)) if finding.where else None,
        "figure": figure(finding),
        "outlines": [_points(np.array(outline, float).reshape(-1, 3)) for outline in outlines],
    }


def _part(part: Part, is_case: bool, verdict: Verdict | None) -> dict[str, Any]:
    pose = [*part.pose.rotation.ravel(), *part.pose.origin]
    return {
        "name": part.name,
        "case": is_case,
        "verdict": "" if verdict is None else str(verdict),
        "pose": [round(float(x), 6) for x in pose],
    }


def _solid(one: Drawn) -> dict[str, Any]:
    skin = one.skin
    colour = looks.ROLE_COLOURS.get(looks.role_of(skin), looks.ROLE_COLOURS["body"])
    return {
        "part": skin.part,
        "name": skin.solid.name,
        "colour": looks_like(colour),
        "clear": skin.solid.transparent,
        "closed": _is_closed(skin.solid),
    }


def _is_closed(solid: Solid) -> bool:
    return all(piece.mesh is None or piece.mesh.closed for piece in solid.pieces)


def _legends(
    world: World, solids: Sequence[Drawn], bands: Bands, verdicts: dict[int, Verdict], case: set[int]
) -> dict[str, Any]:
    skins = [one.skin for one in solids]
    inner = np.array([skin.part not in case for skin in skins], bool)
    rows = {
        "clearance": bands.legend(),
        "verdict": looks.verdict_legend(verdicts),
        "role": looks.role_legend(skins, inner),
    }
    return {
        by: {
            "heading": HEADINGS[by],
            "rows": [(colour, words.replace("\n", " ")) for colour, words in legend],
        }
        for by, legend in rows.items()
    }


def _view(world: World, name: str, solids: Sequence[Drawn]) -> dict[str, Any]:
    """A view of the scene file; one that is moved apart, or an eye's, is shown put together."""
    view: View = as_view(world.views[name], name)
    if view.cut and not view.look:
        view = resolved(view, view.cut)
    on = choose.shown(world, view, [one.skin for one in solids])
    shown = {one.skin.part for one, yes in zip(solids, on, strict=True) if yes}
    look = view.look or OVERVIEW.look
    return {
        "name": name,
        "look": look,
        "cut": _cut(view, look),
        "colour": view.colour,
        "hidden": [part.name for k, part in enumerate(world.parts) if k not in shown],
    }


def _cut(view: View, look: str) -> dict[str, Any] | None:
    """The plane and which half is taken away: the one towards the viewer."""
    if view.cut is None:
        return None
    axis = "xyz".index(view.cut[0])
    towards = sum(SIDES[side][axis] for side in look.split()[1:])
    usual = 1 if view.cut[0] == "z" else -1
    side = 1 if towards * usual >= 0 else -1
    return {"axis": view.cut[0], "at": round(view.cut[1], 3), "side": side}


def _run(run: LaidRun, findings: Sequence[Finding]) -> dict[str, Any]:
    wish = run.wish
    verdict = next(f.verdict for f in findings if f.check == "run" and f.parts[0] == run.name)
    has_way = run.corners is not None
    size = f"{wish.flat[0]:g} x {wish.flat[1]:g}" if wish.flat else f"{wish.outside:g}"
    return {
        "name": run.name,
        "kind": wish.kind,
        "size": size,
        "bore": f"{wish.bore:g}" if wish.bore else None,
        "length": round(run.length, 1) if has_way else None,
        "cut": round(run.length + sum(wish.allowance), 1) if has_way else None,
        "bends": run.bends if has_way else None,
        "verdict": str(verdict),
    }


def _gaps(world: World, facts: dict[str, Any]) -> list[dict[str, Any]]:
    """Free ways of each part, the narrow ones first; from the middle of the side that moves ahead."""
    found = []
    for name, sides in facts.items():
        part = world.by_name.get(name)
        for side, gap in sides.items():
            if part is None or gap["free"] is None or gap["free"] <= 0 or not np.isfinite(gap["free"]):
                continue
            start = part.bounds.mean(axis=0)
            axis = int(np.abs(SIDES[side]).argmax())
            start[axis] = part.bounds[int(SIDES[side][axis] > 0)][axis]
            line = _points(np.array([start, start + SIDES[side] * gap["free"]]))
            free = round(float(gap["free"]), 3)
            found.append({"part": name, "side": side, "free": free, "touches": gap["touches"], "ends": line})
    return sorted(found, key=lambda gap: gap["free"])


def _rooms(facts: dict[str, Any]) -> list[dict[str, Any]]:
    return [
        {
            "in": room,
            "low": plain(box["low"]),
            "high": plain(box["high"]),
            "size": plain(box["size"]),
            "litres": round(float(box["volume"]) / 1e6, 2),
        }
        for room, boxes in facts.items()
        for box in boxes
    ]
