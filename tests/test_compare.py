"""Two reports beside each other: what came, went and changed, by hand."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st
from small_layouts import written

from fitcheck.finding import Finding, Verdict
from fitcheck.layouts.compare import compare
from fitcheck.report import Report

TOP = Path(__file__).resolve().parents[1]


def report(*findings: Finding) -> Report:
    return Report("t", Verdict.FITS, tuple(findings))


def finding(name, verdict=Verdict.FAILS, measured=1.0):
    return Finding("clearance", (name, "case"), verdict, f"{name} is near", measured, 2.0)


def test_what_came_went_and_changed():
    before = report(finding("a"), finding("b", measured=1.5), finding("c"), finding("d", Verdict.FITS, 9.0))
    after = report(finding("b", measured=1.25), finding("c"), finding("d", Verdict.TIGHT, 2.5), finding("e"))
    found = {change.finding.parts[0]: (change.kind, change.by) for change in compare(before, after)}
    assert found == {
        "e": ("came", None),
        "b": ("changed", -0.25),
        "a": ("went", None),
        "d": ("changed", -6.5),
    }
    # The worst first.
    assert [change.finding.parts[0] for change in compare(before, after)] == ["e", "b", "a", "d"]


findings = st.builds(
    finding,
    st.sampled_from("abcdef"),
    st.sampled_from([Verdict.FITS, Verdict.TIGHT, Verdict.FAILS]),
    st.none() | st.floats(-5, 5).map(lambda x: round(x, 3)),
)
reports = st.lists(findings, unique_by=lambda f: f.id).map(lambda some: report(*some))


@given(before=reports, after=reports)
def test_turned_about_what_came_went(before, after):
    there, back = compare(before, after), compare(after, before)
    assert not compare(before, before)
    turned = {"came": "went", "went": "came", "changed": "changed"}
    assert {(c.finding.id, c.kind) for c in there} == {(c.finding.id, turned[c.kind]) for c in back}
    assert {c.finding.id: c.by for c in there if c.by is not None} == {
        c.finding.id: -c.by for c in back if c.by is not None
    }
    # Nothing that differs is left out.
    old, new = ({f.id: (f.verdict, f.measured) for f in one.findings} for one in (before, after))
    both = {name for name in old.keys() & new.keys() if old[name] != new[name]}
    only = {name for one, other in ((old, new), (new, old)) for name in one.keys() - other.keys()
            if one[name][0] != Verdict.FITS}  # fmt: skip
    assert {c.finding.id for c in there} == both | only


def run(*words):
    environment = {**os.environ, "PYTHONPATH": str(TOP)}
    code = "from fitcheck.cli import run; run()"
    return subprocess.run(
        [sys.executable, "-c", code, *map(str, words)],
        capture_output=True, text=True, env=environment, timeout=120, check=False,
    )  # fmt: skip


def test_the_command(tmp_path):
    path = written(tmp_path)
    scene = tmp_path / "scene.yaml"
    # 5 mm between the crates, then 2.5: tight; then they overlap.
    got = run("compare", scene, "--other-set", "gap=2.5 mm")
    assert got.stdout.splitlines() == [
        "fits before, tight after: 1 finding differs",
        "  came: tight: first.body and second.body are 2.5 mm apart, 2.0 mm are demanded: within the margin",
    ]
    got = run("compare", scene, "--set", "gap=2.5 mm", "--other-set", "gap=1.5 mm", "--json")
    (change,) = json.loads(got.stdout)["changes"]
    assert (change["kind"], change["by"]) == ("changed", -1.0)
    assert run("compare", scene).stdout == "fits before, fits after: all findings are the same\n"
    # Layouts 37 (20 mm wide, no gap) and 45 (3 mm): touching is too near, 3 mm is not.
    got = run("compare", path, "--layouts", 37, 45)
    assert got.stdout.startswith(
        "fails before, fits after: 1 finding differs\n  went: fails: first.body and second.body touch"
    )
    for words in ((path, "--layouts", 0, 5), (path, scene, "--layouts", 1, 2)):
        wrong = run("compare", *words)
        assert wrong.returncode == 2
        assert "--layouts" in wrong.stderr
