"""Machine code on disk: what is kept is what would be compiled, and stands alone."""

from __future__ import annotations

import math
import sys
from typing import NamedTuple

import numpy as np
import pytest

from fitcheck.world.kernels import kept
from fitcheck.world.kernels.native import BareEntry, Entry, is_kept, native
from fitcheck.world.kernels.waits import tell_of_waits


class Pair(NamedTuple):
    first: np.ndarray
    second: np.ndarray


@native
def halved(x: float) -> float:
    return x / 2.0


def weigh(pair: Pair, power: int, flip: bool, out: np.ndarray) -> float:
    total = 0.0
    for k in range(pair.first.shape[0]):
        for m in range(pair.first.shape[1]):
            out[k, m] = pair.first[k, m] * (pair.second[k] * power)
            total += -out[k, m] if flip else out[k, m]
    return halved(total)


def allocates(n: int) -> float:
    return np.empty(n)[0]


def raises(x: float) -> None:
    if x < 0.0:
        raise ValueError("negative")


def turns(x: float) -> float:
    return math.atan2(x, 1.0) / x


def entry(function):
    # As if it stood in the kernels of the world.
    function.__module__ = "fitcheck.world.kernels.made_up"
    return BareEntry(function)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setattr(kept, "folders", lambda: iter([tmp_path / "kept"]))
    return tmp_path / "kept"


def ask(function):
    pair = Pair(np.array([[1.0, 2.0, 3.0], [4.0, 5.0, 6.0]]), np.array([2.0, 10.0]))
    out = np.zeros((2, 3))
    return function(pair, 2, True, out), out


def test_arrays_tuples_and_numbers_arrive(folder):
    found, out = ask(entry(weigh))
    # Rows times 4 and 20; half of minus their sum: (24 + 300) / 2.
    assert out.tolist() == [[4.0, 8.0, 12.0], [80.0, 100.0, 120.0]]
    assert found == -162.0


def test_code_is_made_once_and_then_read(folder, monkeypatch):
    first = entry(weigh)
    assert not is_kept(first)
    ask(first)
    assert is_kept(first)
    (file,) = folder.iterdir()
    monkeypatch.setitem(sys.modules, "fitcheck.world.kernels.machine_code", None)
    assert ask(entry(weigh))[0] == -162.0
    # Other kinds of arguments have other code, which cannot be made now.
    with pytest.raises(ImportError):
        entry(weigh)(Pair(np.ones((1, 1)), np.ones(1)), 2, 1, np.ones((1, 1)))
    assert list(folder.iterdir()) == [file]


@pytest.fixture
def told():
    rooms = []
    tell_of_waits(rooms.append)
    yield rooms
    tell_of_waits(None)


def test_who_waits_for_the_compiler_is_told_once(folder, told):
    ask(entry(weigh))
    # One that became part of it was compiled on the way.
    assert told == ["world"]
    ask(entry(weigh))
    assert told == ["world"]


def test_who_waits_for_a_kernel_that_numba_keeps_is_told_once(tmp_path, told):
    # numba keeps code for functions that stand in a file, each time they are made of it anew.
    source = tmp_path / "made_up.py"
    source.write_text("def twice(x: float) -> float:\n    return 2.0 * x\n")
    for _ in range(2):
        made = {"__name__": "fitcheck.runs.kernels.made_up"}
        exec(compile(source.read_text(), str(source), "exec"), made)
        assert Entry(made["twice"])(2.5) == 5.0
        assert told == ["runs"]


def test_damaged_code_is_made_anew(folder):
    ask(entry(weigh))
    (file,) = folder.iterdir()
    whole = file.read_bytes()
    for broken in (whole[:-1], whole[:200] + bytes([whole[200] ^ 1]) + whole[201:], b""):
        file.write_bytes(broken)
        assert ask(entry(weigh))[0] == -162.0
        assert len(file.read_bytes()) == len(whole)


def test_code_for_other_sources_is_not_used_and_goes(folder, monkeypatch):
    ask(entry(weigh))
    (old,) = folder.iterdir()
    processor, _, sources = kept.fingerprint("world").partition("-")
    other = "0" * len(sources)
    monkeypatch.setattr(kept, "fingerprint", lambda room: f"{processor}-{other}")
    assert not is_kept(entry(weigh))
    ask(entry(weigh))
    (new,) = folder.iterdir()
    assert new.name == old.name.replace(sources, other)
    # Another machine may share the folder: its code stays.
    monkeypatch.setattr(kept, "fingerprint", lambda room: f"abcdef-{other}")
    ask(entry(weigh))
    assert len(list(folder.iterdir())) == 2


def test_fingerprint_holds_sources_compiler_and_processor(tmp_path, monkeypatch):
    for name in ("world", "runs"):
        (tmp_path / name / "kernels").mkdir(parents=True)
        (tmp_path / name / "kernels" / "a.py").write_text("x = 1\n")
    monkeypatch.setattr(kept, "PACKAGE", tmp_path)

    def fingerprints():
        kept.fingerprint.cache_clear()
        return kept.fingerprint("world"), kept.fingerprint("runs")

    world, runs = fingerprints()
    assert fingerprints() == (world, runs)
    (tmp_path / "runs" / "kernels" / "a.py").write_text("x = 2\n")
    # Kernels of the world call none of the runs'.
    assert fingerprints()[0] == world
    assert fingerprints()[1] != runs
    (tmp_path / "world" / "kernels" / "b.py").write_text("")
    (tmp_path / "world" / "kernels" / "a.py").write_text("x = 3\n")
    assert world != fingerprints()[0]
    for name, value in (
        ("_numba_version", lambda: b"another"),
        ("_processor", lambda: ("a", "b", "c")),
    ):
        before = fingerprints()
        monkeypatch.setattr(kept, name, value)
        assert not set(before) & set(fingerprints())
    kept.fingerprint.cache_clear()


@pytest.mark.parametrize(("function", "value"), [(allocates, 3), (raises, 1.0)])
def test_what_cannot_stand_alone_is_refused(folder, function, value):
    with pytest.raises(TypeError, match=f"{function.__name__} allocates or may raise"):
        entry(function)(value)


def test_division_by_zero_is_as_in_numpy(folder):
    assert math.isnan(entry(turns)(0.0))
    assert entry(turns)(1.0) == math.pi / 4


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (np.ones((4, 4))[:, ::2], "whole arrays"),
        ("x", "no str"),
        ((1.0, 2.0), "no tuple"),
        (np.int64(3), "no int64"),
    ],
)
def test_what_c_does_not_know_is_refused(folder, value, said):
    with pytest.raises(TypeError, match=said):
        entry(turns)(value)


def test_without_a_place_to_keep_it_code_still_runs(tmp_path, monkeypatch):
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setattr(kept, "folders", lambda: iter([tmp_path / "file" / "kept"]))
    assert ask(entry(weigh))[0] == -162.0
    assert not kept.is_kept("weigh", "world")
