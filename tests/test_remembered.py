"""Answers kept on disk and asked beside: what is read is what would be found, or it is found anew."""

from __future__ import annotations

import math
import os
import signal
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from worlds import box, part, world

import fitcheck
from fitcheck.checks import CHECKS, at_once, remembered, run_checks
from fitcheck.checks.removal import check_removal
from fitcheck.finding import Answer, Finding, Verdict
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.world import disk
from fitcheck.world.digest import add

SCENES = Path(__file__).resolve().parents[1] / "scenes"


@pytest.fixture
def kept(tmp_path, monkeypatch):
    """Answers are kept in a folder of the test's own."""
    monkeypatch.setattr(disk, "folders", lambda: [tmp_path])
    return tmp_path


def scene(at=0.0, keep=1.0, height=30.0):
    """A block beside a wall that slides out."""
    return world(
        part("mover", box([0, at, 0], [10, 20 + at, 10])), part("wall", box([12, -20, 0], [14, 80, height])),
        removal=[{"part": "mover", "towards": "rear", "keep": keep}],
    )  # fmt: skip


# Digests.


@dataclass(frozen=True)
class Thing:
    name: str
    sizes: tuple
    line: int = 0


PLAIN = st.recursive(
    st.none() | st.booleans() | st.integers(-5, 5) | st.floats(allow_nan=False) | st.text(max_size=3),
    lambda inner: st.lists(inner, max_size=3) | st.tuples(inner, inner) | st.dictionaries(st.text(max_size=2), inner, max_size=3),
    max_leaves=8,
)  # fmt: skip


def digest(value):
    found = sha256()
    add(found, value)
    return found.hexdigest()


@given(one=PLAIN, other=PLAIN)
def test_digests_tell_values_apart(one, other):
    """A list and a tuple of the same count as the same, and repr tells 1 from 1.0 and True."""

    def lists(value):
        if isinstance(value, (list, tuple)):
            return [lists(inner) for inner in value]
        if isinstance(value, dict):
            return {"dict": [(key, lists(inner)) for key, inner in value.items()]}
        return value

    assert (digest(one) == digest(other)) is (repr(lists(one)) == repr(lists(other)))


def test_digests_of_arrays_sets_and_things():
    assert digest(np.arange(6.0)) != digest(np.arange(6.0).reshape(2, 3))
    assert digest(np.arange(3)) != digest(np.arange(3.0))
    assert digest(np.arange(8.0)[::2]) == digest(np.array([0.0, 2.0, 4.0, 6.0]))
    assert digest({"b", "a"}) == digest(["a", "b"])
    assert digest(Thing("a", (1.0,), line=3)) == digest(Thing("a", (1.0,), line=9))
    assert digest(Thing("a", (1.0,))) != digest(Thing("a", (1.5,)))
    assert digest(np.float64(1.5)) == digest(1.5)
    with pytest.raises(TypeError, match="function has no digest"):
        digest([scene])


# Answers.

DETAILS = {
    "way": (1.0, math.inf, (2, "x")),
    "names": ["a", ("b",)],
    "by": {"left": 0.1 + 0.2, 3: None},
    "yes": True,
}


def test_an_answer_comes_back_as_it_was(kept):
    asked = scene()
    finding = Finding(
        "removal", ("a", "b"), Verdict.TIGHT, "ü", 1 / 3, None, where=((1.0, 2.0, 3.0),), details=DETAILS
    )
    answer = Answer((finding,), {"fact": (1, 2)}, ("not this",))
    assert remembered.recall(asked, "removal") is None
    remembered.remember(asked, "removal", answer)
    again = remembered.recall(asked, "removal")
    assert again == answer
    assert repr(again) == repr(answer)


def test_what_is_not_plain_is_not_kept(kept):
    finding = Finding("removal", ("a",), Verdict.FITS, "", details={"at": np.zeros(3)})
    remembered.remember(scene(), "removal", Answer((finding,)))
    assert list(kept.iterdir()) == []


@pytest.mark.parametrize("other", [scene(at=1e-9), scene(height=30.5), scene(keep=1.25)])
def test_another_scene_or_another_rule_is_asked_anew(kept, other):
    remembered.remember(scene(), "removal", check_removal(scene()))
    assert remembered.recall(scene(), "removal") is not None
    assert remembered.recall(other, "removal") is None


def test_rules_of_others_that_are_remembered_do_not_count(kept):
    one = scene()
    remembered.remember(one, "removal", check_removal(one))
    assert (
        remembered.recall(replace(one, rules={**one.rules, "gaps": [{"part": "mover"}]}), "removal")
        is not None
    )
    assert (
        remembered.recall(replace(one, rules={**one.rules, "clearance": {"at_least": 1.0}}), "removal")
        is None
    )


def test_lines_follow_the_rule(kept):
    early, late = (replace(scene(), lines={"removal": n, "removal[1]": n + 1, "room": 3}) for n in (10, 40))
    remembered.remember(early, "removal", check_removal(early))
    (finding,) = remembered.recall(late, "removal").findings
    assert finding.rule_line == 41
    longer = replace(late, lines={"removal": 40, "removal[1]": 43})
    assert remembered.recall(longer, "removal") is None


@pytest.mark.parametrize("torn", ["", "{", "[]", '{"dict": [["findings", {"tuple": [{"dict": []}]}]]}'])
def test_a_torn_file_is_asked_anew(kept, torn):
    remembered.remember(scene(), "removal", check_removal(scene()))
    (file,) = kept.iterdir()
    file.write_text(torn)
    assert remembered.recall(scene(), "removal") is None


def test_only_the_last_used_are_kept(kept):
    for k in range(5):
        disk.write(f"answer-{k}.json", "{}", "answer", 3)
        os.utime(kept / f"answer-{k}.json", (k, k))
    assert sorted(file.name for file in kept.iterdir()) == ["answer-2.json", "answer-3.json", "answer-4.json"]


def test_nowhere_to_write(monkeypatch):
    monkeypatch.setattr(disk, "folders", lambda: [Path("/proc/nowhere")])
    remembered.remember(scene(), "removal", check_removal(scene()))
    assert remembered.recall(scene(), "removal") is None


# Asked beside.


def beside(monkeypatch, may=True):
    """Removal is asked by a copy of this process."""
    monkeypatch.setattr(at_once, "BESIDE", ("removal",))
    monkeypatch.setattr(at_once, "_may_copy", lambda: may)


def asked_where(monkeypatch, ask):
    """Removal is asked by a function; the number of times that happened in this process."""
    times = []

    def counted(world):
        times.append(world)
        return ask(world)

    row = next(check for check in CHECKS if check.name == "removal")
    checks = tuple(replace(row, run=counted) if check is row else check for check in CHECKS)
    monkeypatch.setattr(fitcheck.checks, "CHECKS", checks)
    return times


def test_a_copy_answers_and_it_is_remembered(kept, monkeypatch):
    beside(monkeypatch)
    plain = run_checks(scene(), facts=False)
    here = asked_where(monkeypatch, check_removal)
    told = []
    assert run_checks(scene(), False, told.append, fast=True) == plain
    assert (here, told[-1]) == ([], "removal")
    told.clear()
    assert run_checks(scene(), False, told.append, fast=True) == plain
    assert "removal" not in told


def test_where_the_copy_dies_it_is_asked_here(kept, monkeypatch):
    beside(monkeypatch)
    plain = run_checks(scene(), facts=False)
    parent = os.getpid()

    def dies(world):
        if os.getpid() != parent:
            os.kill(os.getpid(), signal.SIGKILL)
        return check_removal(world)

    here = asked_where(monkeypatch, dies)
    assert run_checks(scene(), False, fast=True) == plain
    assert len(here) == 1


@pytest.mark.parametrize("may", [True, False])
def test_a_wrong_rule_is_told_the_same(kept, monkeypatch, may):
    beside(monkeypatch, may)
    wrong = world(part("mover", box([0, 0, 0], [1, 1, 1])), removal=[{"part": "nobody"}])
    fork, copies = os.fork, []

    def noted():
        copy = fork()
        copies.append(copy)
        return copy

    monkeypatch.setattr(os, "fork", noted)
    with pytest.raises(ValueMistake):
        run_checks(wrong, False, fast=True)
    assert len(copies) == may
    for copy in copies:
        with pytest.raises(ChildProcessError):  # none is left behind
            os.waitpid(copy, os.WNOHANG)


@pytest.mark.long
@pytest.mark.parametrize("name", ["dome_render", "field_cube", "cabinet_wall"])
def test_demo_scenes_answer_the_same_at_once_and_remembered(kept, name):
    plain = fitcheck.check(SCENES / f"{name}.yaml")
    for _ in range(2):
        assert fitcheck.check_world(fitcheck.load(SCENES / f"{name}.yaml"), fast=True) == plain
    assert len([file for file in kept.iterdir() if file.name.startswith("answer")]) == len(
        remembered.REMEMBERED
    )
