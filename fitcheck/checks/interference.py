"""Interference: do two parts overlap deeper than a contact?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from fitcheck.checks.clashes import Clash, clashes
from fitcheck.checks.mends import Move, mend, mover_of, moves_away, shortest_move
from fitcheck.checks.verdicts import mm, point, towards
from fitcheck.finding import Answer, Finding, Point, Verdict
from fitcheck.world.bodies import Bodies, bodies
from fitcheck.world.engine import overlap
from fitcheck.world.frames import OPPOSITE
from fitcheck.world.world import World

QUESTION = "do two parts overlap deeper than the contact tolerance (0.01 mm)?"
# Names listed of what a move would hit.
LISTED = 3


def check_interference(world: World) -> Answer:
    """Find every two parts that overlap deeper than a contact, or than their contact gives.

    Parts of one assembly are checked against each other too; solids of one part are not.
    The depth is the shortest move found that frees one part from the other, in the
    direction in which the two deepest solids part, or to one of the six sides.

    Returns:
        One finding for each pair of parts, in scene order. `unknown` where an open mesh
        leaves open whether one lies in the other.
    """
    solids = bodies(world)
    pairs: dict[tuple[str, str], list[Clash]] = {}
    for clash in clashes(world):
        a, b = (solids.all[k].part_name for k in clash.pair)
        pairs.setdefault((a, b), []).append(clash)
    findings = tuple(_report(world, solids, names, found) for names, found in pairs.items())
    return Answer(findings, not_checked=tuple(_open_meshes(solids)))


def _open_meshes(solids: Bodies) -> Iterator[str]:
    """One sentence for each body with a mesh that is not closed: it has no inside."""
    for body in solids.all:
        meshes = solids.meshes[body.pieces]
        if any(mesh is not None and not mesh.closed for mesh in meshes):
            yield f"{body.name}: its mesh is not closed, so what lies inside it may count as free"


def _report(world: World, solids: Bodies, names: tuple[str, str], found: list[Clash]) -> Finding:
    certain = [clash for clash in found if clash.decided]
    if not certain:
        return _undecided(solids, names, found[0])
    # Deepest first; an unknown depth only when there is no other.
    lead = max(certain, key=lambda c: -1.0 if np.isnan(c.depth) else c.depth)
    known = not np.isnan(lead.depth)
    away = moves_away(world, solids, mover_of(world, *names), names, certain)
    depth = shortest_move(solids, away, lead)
    details = _details(solids, certain, away)
    return Finding(
        check="interference",
        parts=names,
        verdict=Verdict.FAILS,
        sentence=_said(solids, lead, depth, away),
        measured=depth if known else None,
        required=lead.permitted,
        where=_where(lead, details),
        mend=mend(world, solids, away),
        details=details,
    )


@dataclass(frozen=True, eq=False)
class _Shared:
    """What all clashing solids of two parts share: volume, mm3, and bounds (2, 3)."""

    volume: float | None
    bounds: np.ndarray | None


def _shared(solids: Bodies, found: list[Clash]) -> _Shared:
    pieces = [overlap(solids, *clash.pair) for clash in found]
    boxes = [piece.bounds for piece in pieces if piece.bounds is not None]
    bounds = None
    if boxes:
        bounds = np.array([np.min([b[0] for b in boxes], axis=0), np.max([b[1] for b in boxes], axis=0)])
    known = all(piece.known for piece in pieces)
    return _Shared(sum(piece.volume for piece in pieces) if known else None, bounds)


def _details(solids: Bodies, found: list[Clash], away: Move) -> dict[str, Any]:
    shared = _shared(solids, found)
    details: dict[str, Any] = {
        "solid_pairs": len(found),
        "solids": tuple(" ~ ".join(solids.all[k].name for k in clash.pair) for clash in found),
        "mover": away.mover,
    }
    if shared.volume is not None:
        details["volume"] = round(shared.volume, 3)
    if shared.bounds is not None:
        details["overlap"] = {"low": point(shared.bounds[0]), "high": point(shared.bounds[1])}
    if away.ways:
        shortest = away.shortest
        details["side"] = OPPOSITE[shortest]
        details["moves"] = {side: round(way, 3) for side, way in away.ways.items()}
        details["move"] = {
            "side": shortest,
            "way": round(away.ways[shortest], 3),
            "hits": tuple(" ~ ".join(pair) for pair in away.hits),
        }
    return details


def _said(solids: Bodies, lead: Clash, depth: float, away: Move) -> str:
    a, b = (solids.all[k].name for k in lead.pair)
    if lead.beyond is not None:
        said = _beyond_said(a, b, lead)
    elif np.isnan(lead.depth):
        said = f"{a} and {b} run into each other, how deep is unknown: a mesh of theirs is not closed"
    else:
        said = f"{a} and {b} overlap {mm(depth, against=0.0)} deep"
        if lead.permitted:
            said += f", their contact gives {mm(lead.permitted)}"
    if not away.ways:
        return said
    side = away.shortest
    said += f"; {away.mover} is free of it moved {mm(away.ways[side], against=0.0)} {towards(side)}"
    return said + _hits_said(away)


def _hits_said(away: Move) -> str:
    """`, but there it hits a and b, and drain hits c`."""
    by_mover: dict[str, list[str]] = {}
    for mover, hit in away.hits:
        by_mover.setdefault("it" if mover == away.mover else mover, []).append(hit)
    said = []
    for mover, hits in by_mover.items():
        more = f" and {len(hits) - LISTED} more" if len(hits) > LISTED else ""
        said.append(f"{mover} hits {', '.join(hits[:LISTED])}{more}")
    return f", but there {', and '.join(said)}" if said else ""


def _beyond_said(a: str, b: str, lead: Clash) -> str:
    assert lead.beyond is not None
    beyond = lead.beyond
    if beyond.end == beyond.most:
        deeper = mm(beyond.end, against=0.0)
        return f"{a} and {b} are joined, but the end goes {deeper} deeper than the port takes"
    where = "beside" if beyond.side == beyond.most else "in front of"
    return f"{a} and {b} are joined, but overlap {mm(beyond.most, against=0.0)} {where} the port"


def _where(lead: Clash, details: dict[str, Any]) -> tuple[Point, ...]:
    if lead.beyond is None:
        return (point(lead.measured.on_a),)
    box = details.get("overlap")
    return () if box is None else (point((np.array(box["low"]) + np.array(box["high"])) / 2),)


def _undecided(solids: Bodies, names: tuple[str, str], clash: Clash) -> Finding:
    a, b = (solids.all[k].name for k in clash.pair)
    said = f"{a} may lie inside {b} or the other way round: a mesh of theirs is not closed"
    return Finding(
        "interference", names, Verdict.UNKNOWN, said, None, 0.0,
        where=(point(clash.measured.on_a),),
        details={"solids": (f"{a} ~ {b}",), "solid_pairs": 1},
    )  # fmt: skip
