"""At the desk: watching, putting files in order, completing words, inches."""

from __future__ import annotations

import contextlib
import os
import re
import signal
import subprocess
import sys
import time
from fractions import Fraction
from pathlib import Path

import pytest
import ruamel.yaml
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from fitcheck import watching
from fitcheck.outputs.inches import in_inches, inches
from fitcheck.scene.tidy import tidy

TOP = Path(__file__).resolve().parents[1]
OURS = sorted([*TOP.glob("scenes/*.yaml"), *TOP.glob("models/*.yaml")])
CODE = "from fitcheck.cli import run; run()"


def command(*words, **environment):
    return subprocess.run(
        [sys.executable, "-c", CODE, *map(str, words)], capture_output=True, text=True, cwd=TOP,
        env={**os.environ, **environment}, timeout=120,
    )  # fmt: skip


# Inches.


@pytest.mark.parametrize(
    ("millimetres", "said"),
    [("25.4", "1"), ("12.7", "1/2"), ("101.0", "3 31/32"), ("0.8", "0.031"), ("0.0", "0"), ("-4.0", "-5/32"),
     ("1,016.0", "40"), ("1.5", "0.059"), ("1.6", "1/16")],
)  # fmt: skip
def test_fractions_by_hand(millimetres, said):
    assert inches(millimetres) == said


@given(st.integers(0, 20_000_00))
def test_rounded_as_stated(hundredths):
    said = inches(f"{hundredths / 100:.2f}")
    value = float(sum(map(Fraction, said.split())))
    off = abs(value * 25.4 - hundredths / 100)
    assert off <= 25.4 / 128 + 1e-9 if "." not in said else off <= 25.4 / 2000 + 1e-9


def test_only_lengths_are_said_anew():
    text = (
        "a is 12.7 mm from b_2.5 mm2, 120.0 x 25.4 mm, 3 mm², 25 % of 50.8 mm, from 25.4 to 50.8 mm, fan[2]"
    )
    assert in_inches(text) == (
        "a is 1/2 in from b_2.5 mm2, 4 23/32 x 1 in, 3 mm², 25 % of 2 in, from 1 to 2 in, fan[2]"
    )


def test_the_option_says_how_it_rounds(tmp_path):
    scene = tmp_path / "scene.yaml"
    scene.write_text(
        "parts:\n  a: {model: fan}\n  b: {model: fan, place: {at: [0, 0, 50.4 mm]}}\n"
        "rules: {clearance: {pairs: [{between: a, and: b, at_least: 12.7 mm}]}}\n"
    )
    done = command("check", scene, "--inches", "--verbose")
    assert "a.frame and b.frame are 1 in apart, at least 1/2 in as demanded" in done.stdout
    assert done.stdout.endswith("to 0.001 in; what fits was decided in exact figures)\n")
    both = command("check", scene, "--inches", "--json")
    assert (both.returncode, both.stderr) == (
        2,
        "--json and --inches: JSON is in millimetres; leave one out\n",
    )


# Putting in order.


@pytest.mark.parametrize("file", OURS, ids=lambda file: file.name)
def test_our_own_files_mean_the_same_and_stay_in_order(file):
    text = file.read_text()
    once = tidy(text)
    assert tidy(once) == once
    assert yaml.safe_load(once) == yaml.safe_load(text)
    if file.parent.name == "scenes":
        assert once == text


UNTIDY = """

# Head.
parameters:
     short:    1 mm   # first
     longer_one: 2 mm

     # About the third.
     third:   {value:3 mm,range: [ 1,5 ]}
parts:
  - a:   {  model : fan ,with:{size:  80 mm} }   \t


  - b
notes: >
   kept
     as it is
rules:
      removal:
      - part: a    # drawn out
        towards:   top
      - {part: b}
"""
IN_ORDER = """# Head.
parameters:
  short:    1 mm   # first
  longer_one: 2 mm

  # About the third.
  third: {value:3 mm, range: [1, 5]}
parts:
  - a: {model: fan, with: {size: 80 mm}}

  - b
notes: >
   kept
     as it is
rules:
  removal:
    - part: a    # drawn out
      towards: top
    - {part: b}
"""


def test_an_untidy_file_by_hand():
    text = UNTIDY.replace("with:{size:", "with: {size:")
    assert tidy(text) == IN_ORDER


def mangled(text, random):
    """The same file with blanks where nobody wants them: in flows, behind colons, at ends of lines."""
    lines = []
    for line in text.split("\n"):
        code, hash_, comment = line.partition("  #")
        if not re.search(r"[\"'>|]", code) and not code.lstrip().startswith("#") and ":" in code:
            code = re.sub(r"(?<=[{\[,])(?=\S)|(?=[}\]])", lambda _: " " * random.randint(0, 2), code)
        lines.append(code + hash_ + comment + " " * (random.randint(0, 2) if "{" in code else 0))
    return "\n".join(lines)


@pytest.mark.parametrize("name", ["dome_render", "field_cube", "cabinet_wall"])
@given(random=st.randoms(use_true_random=False))
@settings(max_examples=8, deadline=None)
def test_mangled_scenes_come_back(name, random):
    text = (TOP / "scenes" / f"{name}.yaml").read_text()
    untidy = mangled(text, random)
    assert yaml.safe_load(untidy) == yaml.safe_load(text)
    assert tidy(untidy) == text


def test_comments_against_a_round_trip_reader():
    """Every comment that another reader keeps is there, in the same order."""
    for file in OURS[:12]:
        text = tidy(file.read_text())
        held = ruamel.yaml.YAML(typ="rt").load(text)
        assert held is not None
        words = re.findall(r"(?m)(?:^|\s)#\s?(.*)$", file.read_text())
        assert re.findall(r"(?m)(?:^|\s)#\s?(.*)$", text) == [word.rstrip() for word in words]


def test_the_format_command(tmp_path):
    file = tmp_path / "scene.yaml"
    file.write_text("parts:\n    a:   {model: fan}  # keep me\n")
    looked = command("format", file, "--check")
    assert (looked.returncode, looked.stderr) == (1, f"{file} would change\n")
    assert file.read_text().startswith("parts:\n    a")
    assert command("format", file).returncode == 0
    assert file.read_text() == "parts:\n  a: {model: fan}  # keep me\n"
    again = command("format", file, "--check")
    assert (again.returncode, again.stderr) == (0, "")
    file.write_text("parts: {a: [1, 2\n")
    wrong = command("format", file)
    assert wrong.returncode == 2
    assert wrong.stderr.startswith(f"{file}:")
    assert file.read_text() == "parts: {a: [1, 2\n"


# Completing.


def completed(words, at):
    done = command(COMP_WORDS=words, COMP_CWORD=str(at), _FITCHECK_COMPLETE="complete_bash")
    return done.stdout.split()


def test_words_are_completed():
    assert completed("fitcheck ch", 1) == ["check"]
    assert "scenes/dome_render.yaml" in completed("fitcheck check scenes/d", 2)
    assert "scenes/dome_render.png" not in completed("fitcheck check scenes/d", 2)
    assert completed("fitcheck check scenes/dome_render.yaml --set fan", 4) == ["fan_row="]
    assert completed("fitcheck check scenes/nowhere.yaml --set fan", 4) == []


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_the_script_for_a_shell(shell):
    done = command("completion", shell)
    assert done.returncode == 0
    assert "_FITCHECK_COMPLETE" in done.stdout
    assert command("completion", "tcsh").stderr == "completion tcsh: write one of bash, zsh, fish\n"


# Watching.

SCENE = """parameters: {gap: 12 mm}
parts:
  a: {model: fan, with: {intake: ducted}}
  b: {model: fan, with: {intake: ducted}, place: {at: [0, 0, 25 + gap]}}
rules: {clearance: {pairs: [{between: a, and: b, at_least: 10 mm}]}}
"""


def until(read, wanted, seconds=60):
    ends = time.monotonic() + seconds
    while wanted not in (got := read()):
        assert time.monotonic() < ends, got
        time.sleep(0.05)
    return got


def saved(file, text):
    """As many editors save: another file that takes the place of the first."""
    other = file.with_suffix(".swp")
    other.write_text(text)
    other.replace(file)


def test_watch_tells_what_changed(tmp_path):
    scene, out, err = (tmp_path / name for name in ("scene.yaml", "out", "err"))
    scene.write_text(SCENE)
    with out.open("w") as stdout, err.open("w") as stderr:
        started = subprocess.Popen(
            [sys.executable, "-c", CODE, "watch", str(scene)], stdout=stdout, stderr=stderr, cwd=TOP
        )
    try:
        until(err.read_text, "watching")
        saved(scene, SCENE.replace("12 mm", "8 mm"))
        got = until(out.read_text, "fits before, fails after")
        assert "changed: fits to fails, -4.0 mm (was 12.0 mm): a.frame and b.frame are 8.0 mm apart" in got
        saved(scene, SCENE.replace("12 mm", "8 mmm"))
        until(err.read_text, "unknown unit `mmm`")
        until(err.read_text, "what could be read last: fails")
        saved(scene, SCENE.replace("12 mm", "11 mm"))
        until(out.read_text, "fails before, fits after")
    finally:
        started.send_signal(signal.SIGINT)
        assert started.wait(timeout=30) == 130


def test_a_newer_save_ends_a_check_that_is_under_way(tmp_path, monkeypatch):
    scene = tmp_path / "scene.yaml"
    scene.write_text(SCENE)
    saves = watching.Saves(scene)
    saved(scene, SCENE.replace("12", "13"))
    assert saves.any()
    with pytest.raises(watching.Saved):
        watching._asked(scene, {}, None, saves)
    saves.wait()
    assert not saves.any()
    with contextlib.redirect_stdout(open(os.devnull, "w")):
        assert watching._asked(scene, {}, None, saves).verdict == "fits"


def test_models_and_meshes_are_watched(tmp_path):
    (tmp_path / "own").mkdir()
    scene = tmp_path / "scene.yaml"
    scene.write_text(f"model_folders: [own]\n{SCENE}")
    saves = watching.Saves(scene)
    (tmp_path / "own" / "notes.txt").write_text("not heard")
    assert not saves.any()
    (tmp_path / "own" / "part.stl").write_text("heard")
    assert saves.any()
    saves.wait()
    assert not saves.any()
    # A scene that names another folder is followed there, one that cannot be read to itself.
    (tmp_path / "other").mkdir()
    scene.write_text(f"model_folders: [other]\n{SCENE}")
    saves.wait()
    (tmp_path / "other" / "shelf.yaml").write_text("heard")
    assert saves.any()
    scene.write_text("parts: [")
    saves.wait()
    assert not saves.any()
