"""Report: what all checks together say of a world, worst first, causes before consequences."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from fitcheck.checks import CHECKS, run_checks
from fitcheck.checks.run import details
from fitcheck.finding import SEVERITY, Finding, Verdict, worst
from fitcheck.runs.lay import laid
from fitcheck.world.world import World

# Exit codes of the command line: a crash or a wrong call is none of these.
FITS, FAILS, UNKNOWN = 0, 1, 3


@dataclass(frozen=True)
class Report:
    """All findings and facts of one scene.

    Args:
        title: of the scene.
        verdict: the worst of the findings.
        findings: worst first; what follows from a finding comes right after it.
        facts: by check name, figures that no rule asked about.
        not_checked: what was left out, and why, in plain sentences.
        parameters: the scene's parameters as resolved.
        runs: of each tube and cable its name, its verdict and what is known of its way.
        notes: what was mended in mesh files, or looks wrong with them.
    """

    title: str
    verdict: Verdict
    findings: tuple[Finding, ...] = ()
    facts: dict[str, Any] = field(default_factory=dict)
    not_checked: tuple[str, ...] = ()
    parameters: dict[str, Any] = field(default_factory=dict)
    runs: tuple[dict[str, Any], ...] = ()
    notes: tuple[str, ...] = ()


def check_world(
    world: World, facts: bool = True, tell: Callable[[str], None] | None = None, fast: bool = False
) -> Report:
    """Ask every check of a placed world and put the answers in order.

    `facts` also asks what no rule demands; leaving it out saves most of the time. `tell` hears the name of
    each check before it is asked. `fast`: what was asked before may be remembered, on disk, and a second
    process may help; for a scene that is asked by itself.

    Raises:
        ValueMistake: a rule names something that the scene does not have.
    """
    world = laid(world)
    answer = run_checks(world, facts, tell, fast)
    return Report(
        world.title,
        worst([finding.verdict for finding in answer.findings]),
        ordered(answer.findings),
        dict(answer.facts),
        answer.not_checked,
        dict(world.parameters),
        _runs(world, answer.findings),
        mesh_notes(world),
    )


def _runs(world: World, findings: Sequence[Finding]) -> tuple[dict[str, Any], ...]:
    verdicts = {finding.parts[0]: str(finding.verdict) for finding in findings if finding.check == "run"}
    return tuple(
        {
            "name": run.name,
            "verdict": verdicts[run.name],
            "least_distance": None if run.corners is None else run.least,
            **details(run),
        }
        for run in world.laid
    )


def exit_code(verdict: Verdict, strict: bool = False) -> int:
    """0 for fits and tight, 1 for fails, 3 for unknown; strict: all but fits are 1."""
    if verdict == Verdict.FITS or (verdict == Verdict.TIGHT and not strict):
        return FITS
    return UNKNOWN if verdict == Verdict.UNKNOWN and not strict else FAILS


def ordered(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Worst first, each followed by what follows from it.

    Equal verdicts: in the order of the checks, then by how much is missing, then in the
    order of the scene.
    """
    checks = [check.name for check in CHECKS]
    followers: dict[str, list[Finding]] = {}
    leaders = []
    for finding in sorted(findings, key=lambda f: _rank(f, checks)):
        if finding.follows:
            followers.setdefault(finding.follows, []).append(finding)
        else:
            leaders.append(finding)
    return tuple(f for leader in leaders for f in (leader, *followers.get(leader.id, ())))


def _rank(finding: Finding, checks: list[str]) -> tuple[float, ...]:
    missing = 0.0
    if finding.measured is not None and finding.required is not None:
        missing = abs(finding.required - finding.measured)
    if finding.verdict != Verdict.FAILS:
        missing = 0.0
    return -SEVERITY.index(finding.verdict), checks.index(finding.check), -missing


def mesh_notes(world: World) -> tuple[str, ...]:
    """What reading the scene's mesh files had to mend or found odd, by solid."""
    return tuple(
        f"{part.name}.{solid.name}: {said}"
        for part in world.parts
        for solid in part.shape.solids.values()
        for piece in solid.pieces
        if piece.mesh is not None
        for said in piece.mesh.repairs
    )
