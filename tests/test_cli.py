"""The commands as a user meets them: exit codes, streams, JSON that its schema accepts."""

import contextlib
import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest
from small_runs import fitting, scene

from fitcheck.checks import CHECKS

TOP = Path(__file__).resolve().parents[1]
DOME = "scenes/dome_render.yaml"


PLAIN = "from fitcheck.cli import run; run()"


def run(*words, text=None, cwd=TOP, code=PLAIN):
    environment = {**os.environ, "PYTHONPATH": str(TOP)}
    return subprocess.run(
        [sys.executable, "-c", code, *words],
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
        (("schema", "scnee"), "one of scene, model, layouts, result"),
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
    slow = ["pyvista", "trimesh", "numba", "scipy", "fcl", "numpy", "ezdxf", "reportlab"]
    code = f"import sys, fitcheck, fitcheck.cli; print([m for m in {slow} if m in sys.modules])"
    got = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=TOP, timeout=60, check=False
    )
    assert got.stdout.strip() == "[]"
    assert "check" in run("--help").stdout


def test_a_check_leaves_the_compiler_and_slow_libraries_alone():
    assert run("check", DOME, "--quiet").returncode == 0  # now its kernels are kept
    slow = ["numba", "scipy", "trimesh", "pyvista", "fcl", "rich", "ezdxf", "reportlab"]
    code = (
        "import os, sys, fitcheck.cli\n"
        f"os._exit = lambda code: print(code, [m for m in {slow} if m in sys.modules])\n"
        f"sys.argv = ['fitcheck', 'check', {DOME!r}, '--quiet']; fitcheck.cli.run()"
    )
    got = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=TOP, timeout=60, check=False
    )
    assert got.stdout.splitlines()[-1] == "0 []"


TUBE = "{kind: soft tube, outside: 13 mm, bend_radius: 40 mm, from: %s.tube_end, to: %s.tube_end}"
TWO_TUBES = scene(
    fitting("a", "[0, 0, 0]", "+x") + fitting("b", "[240, 0, 0]", "-x")
    + fitting("c", "[0, 0, 200]", "+x") + fitting("d", "[260, 0, 200]", "-x"),
    f"long_one: {TUBE % ('c', 'd')}\nshort_one: {TUBE % ('a', 'b')}",
)  # fmt: skip
# The second search waits for a key that stops the program.
STOPPED = """
import sys, time, fitcheck.cli, fitcheck.world.disk as disk, fitcheck.runs.together as together
disk.folders = lambda: ()
find = together.find_way
together.find_way = lambda *asked: find(*asked) if asked[1].name == "short_one" else time.sleep(60)
sys.argv = ["fitcheck", "check", *sys.argv[1:]]
fitcheck.cli.run()
"""
# No way is remembered, nor kept for others to remember.
ANEW = """
import sys, fitcheck.cli, fitcheck.world.disk as disk
disk.folders = lambda: ()
sys.argv = ["fitcheck", "check", *sys.argv[1:]]
fitcheck.cli.run()
"""
PROGRESS = "\r\x1b[Klaying runs: 1 of 2, short_one\r\x1b[Klaying runs: 2 of 2, long_one\r\x1b[K"


def on_a_terminal(code, *words, stop_at=None):
    """Exit code and what a terminal got as standard error; a key stops the program at a text."""
    pty = pytest.importorskip("pty")
    ours, theirs = pty.openpty()
    started = subprocess.Popen(
        [sys.executable, "-c", code, *words],
        stdout=subprocess.DEVNULL,
        stderr=theirs,
        cwd=TOP,
        env={**os.environ, "PYTHONPATH": str(TOP), "TERM": "xterm"},
    )
    os.close(theirs)
    got = ""
    with contextlib.suppress(OSError):  # the other side was closed
        while more := os.read(ours, 1000).decode():
            got += more
            if stop_at is not None and stop_at in got:
                started.send_signal(signal.SIGINT)
                stop_at = None
    os.close(ours)
    return started.wait(timeout=60), got


@pytest.fixture
def two_tubes(tmp_path):
    (tmp_path / "scene.yaml").write_text(TWO_TUBES)
    return str(tmp_path / "scene.yaml")


def test_progress_is_one_line_of_a_terminal_and_wiped(two_tubes):
    assert run("check", two_tubes).returncode == 0  # now its kernels are kept
    asked = (check.name.replace("_", " ") for check in CHECKS if not check.optional)
    asking = "".join(f"\r\x1b[Kasking: {name}" for name in asked)
    assert on_a_terminal(ANEW, two_tubes) == (0, f"{PROGRESS}{asking}\r\x1b[K")
    assert on_a_terminal(ANEW, two_tubes, "--quiet") == (0, "")
    assert run(two_tubes, code=ANEW).stderr == ""


def test_a_key_that_stops_a_search_is_130_and_leaves_no_line(two_tubes):
    code, got = on_a_terminal(STOPPED, two_tubes, stop_at="long_one")
    # What is said while kernels are compiled comes before.
    assert (code, got[-len(PROGRESS) :]) == (130, PROGRESS)


# Kernels are looked for in a folder of the test, where there are none; it ends where some would be compiled.
NOTHING_KEPT = """
import sys, fitcheck.cli, fitcheck.world.disk as disk
from pathlib import Path
from fitcheck.world.kernels import kept, machine_code
begin, ends_at, folder = machine_code.wait_begins, {ends_at!r}, Path({folder!r})
def end(room):
    begin(room)
    if room == ends_at:
        sys.exit(0)
machine_code.wait_begins = end
disk.folders = lambda: ()
if ends_at == "world":
    kept.folders = lambda: iter([folder])
sys.argv = ["fitcheck", "check", "-"]
fitcheck.cli.run()
"""
SEARCHED = "tube: {kind: soft tube, outside: 13 mm, from: a.tube_end, to: b.tube_end}"
DRAWN = SEARCHED.replace("}", ", points: [[120, 0, 50]]}")
FOR_GEOMETRY = "compiling the geometry kernels; this happens once and takes up to a minute …"
FOR_RUNS = "compiling the kernels for tubes and cables; this happens once and takes up to a minute …"


@pytest.mark.parametrize(
    ("runs", "apart", "ends_at", "code", "said"),
    [
        (SEARCHED, 240, "runs", 0, [FOR_RUNS]),
        (DRAWN, 240, "runs", 0, [FOR_RUNS]),
        (None, 240, "runs", 0, []),
        # These overlap.
        (None, -2, "world", 0, [FOR_GEOMETRY]),
        # Nothing is compiled for a file that is refused.
        (SEARCHED.replace("soft tube", "soft hose"), -2, "world", 2, []),
    ],
)
def test_what_waits_for_the_compiler_says_so(tmp_path, runs, apart, ends_at, code, said):
    ends = fitting("a", "[0, 0, 0]", "+x") + fitting("b", f"[{apart}, 0, 0]", "-x")
    got = subprocess.run(
        [sys.executable, "-c", NOTHING_KEPT.format(ends_at=ends_at, folder=str(tmp_path))],
        input=scene(ends, runs) if runs else f"parts:\n{ends}",
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(TOP), "NUMBA_CACHE_DIR": str(tmp_path)},
        timeout=120,
        check=False,
    )
    lines = [line for line in got.stderr.splitlines() if line.startswith("compiling")]
    # Those of geometry may have to be compiled before, and are kept then.
    assert [line for line in lines if line != FOR_GEOMETRY or ends_at == "world"] == said
    assert got.returncode == code


def test_a_key_is_not_lost_where_a_library_calls_python():
    # What such a call raises, Python can only report.
    code = (
        "import ctypes, signal, sys, time, fitcheck, fitcheck.cli\n"
        "call = ctypes.CFUNCTYPE(None)(lambda: signal.raise_signal(signal.SIGINT))\n"
        "fitcheck.load = lambda *_: (call(), time.sleep(60)); sys.argv = ['fitcheck', 'check', 'x.yaml']\n"
        "fitcheck.cli.run()"
    )
    got = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=TOP, timeout=30, check=False
    )
    assert (got.returncode, got.stdout) == (130, "")
    assert "KeyboardInterrupt" not in got.stderr


def test_a_rule_that_cannot_be_asked_is_said_at_its_line(tmp_path):
    path = tmp_path / "scene.yaml"
    path.write_text("parts:\n  a: {model: pump, place: {at: [0, 0, 0]}}\nrules:\n  support: {}\n")
    got = run("check", str(path))
    assert got.returncode == 2
    assert got.stdout == ""
    said = f"{path}:4: support: nothing stands by itself: the scene has no case; name it under ground\n"
    assert got.stderr == said
    path.write_text(path.read_text().replace("support: {}", "support: {ground: [a]}"))
    assert run("check", str(path)).returncode == 0
