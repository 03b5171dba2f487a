"""The commands as a user meets them: exit codes, streams, JSON that its schema accepts."""

import json
import os
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest

TOP = Path(__file__).resolve().parents[1]
DOME = "scenes/dome_render.yaml"


def run(*words, text=None, cwd=TOP):
    environment = {**os.environ, "PYTHONPATH": str(TOP)}
    return subprocess.run(
        [sys.executable, "-c", "from fitcheck.cli import run; run()", *words],
        input=text,
        capture_output=True,
        text=True,
        cwd=cwd,
        env=environment,
        timeout=300,
        check=False,
    )


def test_fits_is_0_and_fails_is_1():
    assert run("check", DOME, "--quiet").returncode == 0
    failed = run("check", DOME, "--quiet", "--set", "fan_row=5")
    assert failed.returncode == 1
    assert failed.stdout == "fails: plinth_radiator sticks 19.0 mm out of case.plinth at the rear\n"


def test_json_keeps_to_its_schema_and_its_bytes():
    first, second = (run("check", DOME, "--json", "--set", "fan_row=5") for _ in range(2))
    assert first.stdout == second.stdout
    schema = json.loads(run("schema", "result").stdout)
    jsonschema.validate(json.loads(first.stdout), schema)
    assert str(TOP) not in first.stdout


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("check", "scenes/dome_rendr.yaml"), "dome_rendr.yaml"),
        (("check", "README.md"), "plain text where a key and its value are due"),
        (("check", DOME, "--set", "fan_rwo=5"), "write fan_row"),
        (("check", DOME, "--set", "fan_row"), "expected NAME=VALUE"),
        (("check", DOME, "--set", "fan_row=six"), "six"),
        (("render", DOME, "--out", "x.png", "--view", "plint"), "write plinth"),
        (("model", "radiatr"), "write radiator"),
        (("schema", "scnee"), "one of scene, model, result"),
        (("explain", DOME, "rooom:x"), "no such finding"),
        (("chekc", DOME), "check"),
    ],
)
def test_a_wrong_call_is_2_and_says_the_mend(words, said):
    got = run(*words)
    assert (got.returncode, got.stdout) == (2, "")
    assert said in got.stderr
    assert "Traceback" not in got.stderr


def test_a_scene_from_standard_input():
    text = "parts:\n  case: {model: floor_tower}\n"
    got = run("check", "-", text=text)
    assert (got.returncode, got.stderr.count("Traceback")) == (0, 0)


def test_explain_says_line_rule_and_measure():
    got = run("explain", DOME, "room:")
    assert got.returncode == 0
    assert "measured  101.000 mm" in got.stdout
    assert "required  60.000 mm" in got.stdout
    assert "line " in got.stdout


def test_new_writes_a_scene_that_fits_and_its_schema(tmp_path):
    got = run("new", str(tmp_path / "mine.yaml"))
    assert got.returncode == 0
    assert run("check", str(tmp_path / "mine.yaml")).returncode == 0
    assert (
        (tmp_path / "mine.yaml")
        .read_text()
        .startswith("# yaml-language-server: $schema=fitcheck.schema.json")
    )
    jsonschema.Draft202012Validator.check_schema(json.loads((tmp_path / "fitcheck.schema.json").read_text()))
    assert run("new", str(tmp_path / "mine.yaml")).returncode == 2


def test_models_are_listed_and_described():
    listed = run("models").stdout
    assert "radiator " in listed
    assert "thread G1/4 female" in run("model", "radiator").stdout


def test_a_reader_that_goes_away_is_141():
    code = "from fitcheck.cli import run; run()"
    command = f"'{sys.executable}' -c '{code}' schema scene | true; echo ${{PIPESTATUS[0]}}"
    got = subprocess.run(
        ["bash", "-c", command], capture_output=True, text=True, cwd=TOP, timeout=60, check=False
    )
    assert got.stdout.strip() == "141"


@pytest.mark.parametrize("debug", [False, True])
def test_a_crash_is_70_with_or_without_its_trace(debug):
    words = ["check", DOME, *(["--debug"] if debug else [])]
    code = (
        "import sys, fitcheck.cli, fitcheck\n"
        "def fail(*_): raise RuntimeError('broken inside')\n"
        f"fitcheck.load = fail; sys.argv = ['fitcheck', *{words}]; fitcheck.cli.run()"
    )
    got = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=TOP, check=False)
    assert (got.returncode, got.stdout) == (70, "")
    assert "broken inside" in got.stderr
    assert ("Traceback" in got.stderr) == debug


def test_help_and_import_leave_slow_libraries_alone():
    slow = ["pyvista", "trimesh", "numba", "scipy", "fcl", "numpy"]
    code = f"import sys, fitcheck, fitcheck.cli; print([m for m in {slow} if m in sys.modules])"
    got = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=TOP, timeout=60, check=False
    )
    assert got.stdout.strip() == "[]"
    assert "check" in run("--help").stdout


def test_a_check_leaves_the_compiler_and_slow_libraries_alone():
    assert run("check", DOME, "--quiet").returncode == 0  # now its kernels are kept
    slow = ["numba", "scipy", "numpy.ma", "trimesh", "pyvista", "fcl", "rich"]
    code = (
        "import os, sys, fitcheck.cli\n"
        f"os._exit = lambda code: print(code, [m for m in {slow} if m in sys.modules])\n"
        f"sys.argv = ['fitcheck', 'check', {DOME!r}, '--quiet']; fitcheck.cli.run()"
    )
    got = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=TOP, timeout=60, check=False
    )
    assert got.stdout.splitlines()[-1] == "0 []"
