"""Run: has each tube and cable a way with its size and bend radius?"""

from __future__ import annotations

from typing import Any

from fitcheck.checks.verdicts import mm
from fitcheck.finding import Answer, Finding, Verdict
from fitcheck.world.wishes import CABLE, RIGID, SOFT, LaidRun, NoWay, RunWish
from fitcheck.world.world import World

QUESTION = "has each tube and cable a way with its size and bend radius?"
# What a builder does about a bend radius that nobody measured.
ASK = {
    SOFT: "ask the tube's maker or bend a piece and measure",
    RIGID: "measure your mandrel",
    CABLE: "ask the cable's maker or bend a piece and measure",
}


def check_run(world: World) -> Answer:
    """Say of every run whether it has a way, how long it is, and how near it comes to what.

    Runs are laid before the checks are asked; this only tells. A way was proved on the exact
    shapes: nowhere tighter than the bend radius, nowhere nearer than demanded.

    Returns:
        One finding for each run, in scene order. `unknown` where no way was found and none was
        proved impossible.
    """
    return Answer(tuple(_finding(run) for run in world.laid))


def _finding(run: LaidRun) -> Finding:
    wish = run.wish
    verdict, said = _judged(run)
    if wish.assumed:
        said += f"; its bend radius of {wish.radius:g} mm is a placeholder by size: {ASK[wish.kind]}"
    for note in run.notes:
        said += f"; {note}"
    measured, required = _figures(run)
    return Finding(
        check="run",
        parts=tuple(dict.fromkeys((wish.name, *_partners(run)))),
        verdict=verdict,
        sentence=f"{wish.name}, {_thing(wish)}, {said}",
        measured=measured,
        required=required,
        where=() if run.where is None else (run.where,),
        rule=f"runs.{wish.name}",
        rule_line=wish.line,
        mend=run.mend,
        details=details(run),
    )


def _figures(run: LaidRun) -> tuple[float | None, float | None]:
    """What was measured and what is demanded, mm: of a laid run its room, of a neck what passes there."""
    if run.corners is not None:
        return run.least, run.demand
    if run.no_way is not None and run.no_way.reason == "narrow":
        return run.no_way.widest, min(run.wish.flat or (run.wish.outside,))
    return None, None


def _partners(run: LaidRun) -> tuple[str, ...]:
    if run.no_way is not None:
        return run.no_way.parts
    return (run.nearest,) if run.nearest else ()


def _thing(wish: RunWish) -> str:
    if wish.flat:
        return f"a flat cable of {wish.flat[0]:g} x {wish.flat[1]:g} mm"
    return f"a {wish.kind} of {wish.outside:g} mm"


def _judged(run: LaidRun) -> tuple[Verdict, str]:
    if run.no_way is not None:
        verdict = Verdict.FAILS if run.no_way.proved else Verdict.UNKNOWN
        return verdict, _no_way(run.wish, run.no_way)
    bends = "no bend" if run.bends == 0 else f"{run.bends} bend{'s' if run.bends > 1 else ''}"
    near = f"{mm(run.least, against=run.demand)} from {run.nearest}" if run.nearest else "clear of everything"
    way = f"{mm(run.length)} long with {bends}, at the nearest {near}"
    wrong = [] if run.spare >= 0 else [f"{mm(run.demand)} are demanded"]
    wrong += [flaw.said for flaw in run.flaws]
    if wrong:
        drawn = "is drawn" if run.wish.drawn is not None else "is laid"
        sure = run.spare < 0 or any(flaw.sure for flaw in run.flaws)
        return Verdict.FAILS if sure else Verdict.UNKNOWN, f"{drawn} {way}; {'; '.join(wrong)}"
    return Verdict.FITS, f"has a way {way}"


def _no_way(wish: RunWish, why: NoWay) -> str:
    """Why there is none, and what would pass."""
    found = "has no way" if why.proved else "has no way that was found"
    among = " and ".join(why.parts) if why.parts else ""
    if why.reason == "narrow":
        between = "in" if len(why.parts) == 1 else "between"
        neck = f"too narrow {between} {among}" if among else "too narrow"
        said = f"{found}: {neck}; at most {why.widest:.1f} mm pass there"
    elif why.reason == "bend":
        at = "" if why.place.startswith("between ") else "at "
        said = f"{found}: no room to bend {at}{why.place}{f', {among} in the way' if among else ''}"
    elif why.reason == "taken":
        said = f"{found} beside {among}: alone it has one"
    elif why.reason == "outside":
        said = f"has no way yet: {why.place} lies outside {among}; name the opening that it goes through"
    else:
        said = found
    would = []
    if why.largest_outside is not None:
        would.append(f"{why.largest_outside:.1f} mm outside with the same bends")
    if why.largest_radius is not None:
        would.append(f"a bend radius of {why.largest_radius:.1f} mm with the same outside")
    if would:
        said += f"; it would pass with {' or with '.join(would)}"
    return said


def details(run: LaidRun) -> dict[str, Any]:
    """What one number cannot hold, as plain data."""
    wish = run.wish
    known: dict[str, Any] = {
        "kind": wish.kind,
        "outside": wish.outside,
        "bend_radius": wish.radius,
        "bend_radius_assumed": wish.assumed,
        "from": wish.start.place,
        "to": wish.goal.place,
    }
    if run.corners is not None:
        known |= {
            "length": run.length,
            "no_shorter_than": run.bound,
            "bends": run.bends,
            "through": run.through,
            "nearest": run.nearest,
            "centre_line": tuple(tuple(map(float, corner)) for corner in run.corners),
        }
    if run.no_way is not None:
        why = run.no_way
        known |= {
            "reason": why.reason,
            "proved": why.proved,
            "widest": why.widest,
            "largest_outside": why.largest_outside,
            "largest_bend_radius": why.largest_radius,
        }
    return known
