"""Folders that commands write: clear errors, all or nothing, and no name leads out of them."""

import os
import sys
from dataclasses import replace
from pathlib import Path, PureWindowsPath

import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

import fitcheck
import fitcheck.cli
from fitcheck.console import app
from fitcheck.outputs.drawings.files import template_files
from fitcheck.outputs.drawings.folder import write_folder
from fitcheck.outputs.drawings.names import file_names
from fitcheck.scene.mistakes import ValueMistake
from fitcheck.templates.made import templates

SCENE = Path(__file__).resolve().parents[1] / "scenes" / "field_cube.yaml"
HOSTILE = [
    "../../etc/passwd", "/etc/passwd", "..", ".", "", "a/b", "a\\b", "C:\\x", "con", "NUL.txt", "COM1", "bell\x07\n\x00",
    "x" * 300, ".hidden", "trailing. ", "Größe", "名前", "-rf", "a:b", "A", "a", "a\u202egnp", "~root", "$HOME", "%TEMP%",
]  # fmt: skip


def run(*words):
    """A command in this process, as the program runs it."""
    return CliRunner().invoke(app, [str(word) for word in words])


def is_safe(name):
    assert name and len(name) < 100
    assert name.isascii() and name.isprintable()
    assert not set(name) & set('/\\:*?"<>|$%~ ')
    assert name[0] not in ".-" and name[-1] not in ". "
    assert not PureWindowsPath(f"{name}.pdf").is_reserved() if sys.version_info < (3, 13) else True
    assert not os.path.isreserved(f"{name}.pdf") if hasattr(os.path, "isreserved") else True


def test_hostile_names_are_made_safe_and_stay_apart():
    found = file_names(HOSTILE)
    for name in found:
        is_safe(name)
    assert len({name.casefold() for name in found}) == len(HOSTILE)


@given(st.lists(st.text(max_size=120), max_size=8))
def test_any_names(names):
    found = file_names(names)
    for name in found:
        is_safe(name)
    assert len({name.casefold() for name in found}) == len(names)


def test_a_part_with_a_hostile_name_stays_in_its_folder(tmp_path):
    """Scene files refuse such names; a world made by a program may have any."""
    text = "parts:\n  panel: {model: flat_panel}\n"
    world = fitcheck.load(text, name="panel")
    bad = "../../out\n\x1b[31m<script>&\x00"
    hostile = replace(world, parts=tuple(replace(part, name=bad) for part in world.parts))
    drawings = templates(hostile).drawings
    out = tmp_path / "in" / "out"
    out.parent.mkdir()
    written = write_folder(out, template_files(drawings, "a4"))
    assert {path.parent for path in written} == {out}
    assert sorted(p.name for p in tmp_path.rglob("*") if p.is_file()) == sorted(p.name for p in written)
    # The drawings themselves can still be read.
    import xml.etree.ElementTree as ET

    import ezdxf

    for path in written:
        if path.suffix == ".svg":
            ET.parse(path)
        if path.suffix == ".dxf":
            assert not ezdxf.readfile(path).audit().errors


@pytest.mark.parametrize("name", ["../x", "/x", "a/b/c", "a/../../x"])
def test_no_file_leaves_the_folder(tmp_path, name):
    with pytest.raises(ValueMistake, match="would leave it"):
        write_folder(tmp_path / "out", [("fine.txt", b""), (name, b"")])
    assert list(tmp_path.iterdir()) == []


def test_what_stops_halfway_leaves_nothing(tmp_path):
    def files():
        yield "first.txt", b"1"
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_folder(tmp_path / "out", files())
    assert list(tmp_path.iterdir()) == []


def test_an_empty_folder_is_taken(tmp_path):
    (tmp_path / "out").mkdir()
    write_folder(tmp_path / "out", [("a.txt", b"1"), ("deep/b.txt", b"2")])
    assert (tmp_path / "out" / "deep" / "b.txt").read_bytes() == b"2"
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


@pytest.mark.parametrize("command", ["templates", "pack"])
@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda out: (out.mkdir(), (out / "mine.txt").write_text("")), "is there already, with files in it; name another"),
        (lambda out: out.write_text(""), "is a file; name a folder"),
        (lambda out: out.parent.rmdir(), "there is no folder"),
    ],
)  # fmt: skip
def test_a_folder_that_cannot_be_made(tmp_path, command, make, said):
    out = tmp_path / "deep" / "out"
    out.parent.mkdir()
    make(out)
    before = sorted(tmp_path.rglob("*"))
    told = run(command, SCENE, "--out", str(out))
    assert told.exit_code == 2
    assert said in told.stderr and "Traceback" not in told.stderr
    assert sorted(tmp_path.rglob("*")) == before


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root writes everywhere")
def test_a_folder_that_is_not_writable(tmp_path):
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(ValueMistake, match="nothing can be written"):
            write_folder(tmp_path / "out", [])
    finally:
        tmp_path.chmod(0o700)


def test_not_writable_as_the_system_says_it(tmp_path, monkeypatch):
    monkeypatch.setattr(os, "access", lambda *_: False)
    with pytest.raises(ValueMistake, match="nothing can be written"):
        write_folder(tmp_path / "out", [])


def test_templates_of_one_part(tmp_path):
    out = tmp_path / "made"
    told = run(
        "templates",
        SCENE,
        "--out",
        str(out),
        "--parts",
        "case.midplate",
        "--paper",
        "letter",
    )
    assert (told.exit_code, told.stdout) == (0, "")
    assert sorted(path.name for path in out.iterdir()) == [
        f"case.midplate.{end}" for end in ("csv", "dxf", "pdf", "svg")
    ]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--parts", "case.midplat"), "--parts case.midplat: "),
        (("--parts", "supply"), "nothing of that has a template"),
        (("--measured", "99.4", "210"), "fitted to the page"),
        (("--measured", "nan", "100"), "fitted to the page"),
        (("--paper", "a0"), "a4"),
    ],
)
def test_wrong_options(tmp_path, words, said):
    told = run("templates", SCENE, "--out", str(tmp_path / "made"), *words)
    assert told.exit_code == 2
    assert said in told.stderr and "Traceback" not in told.stderr
    assert list(tmp_path.iterdir()) == []
