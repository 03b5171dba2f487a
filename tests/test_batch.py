"""A batch of layouts as it is run: stopped, torn, killed, gone on with; and what it says and writes."""

from __future__ import annotations

import csv
import json
import multiprocessing
import os
import random
import re
import resource
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_layouts import LAYOUTS, SCENE, written

from fitcheck.layouts import workers
from fitcheck.layouts.asked import Asker, numbered
from fitcheck.layouts.batch import Batch
from fitcheck.layouts.columns import varied_columns
from fitcheck.layouts.read import read_layouts
from fitcheck.layouts.workers import Shares, Workers
from fitcheck.outputs.layouts_parquet import write_parquet
from fitcheck.outputs.layouts_text import layouts_csv
from fitcheck.scene.mistakes import Mistakes

TOP = Path(__file__).resolve().parents[1]
RUN = "from fitcheck.cli import run; run()"


def command(*words):
    return [sys.executable, "-c", RUN, *map(str, words)]


def run(*words, most=None):
    """The command in a process of its own, whose files do not grow beyond so many bytes."""

    def confine():
        if most is not None:
            resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))

    environment = {**os.environ, "PYTHONPATH": str(TOP)}
    return subprocess.run(
        command(*words),
        capture_output=True,
        text=True,
        env=environment,
        timeout=120,
        check=False,
        preexec_fn=confine,
    )


def silent(done, total, now):
    """Tell nobody."""


def results(path):
    """Records by number of layout; a number that came twice is an error."""
    lines = path.read_bytes().split(b"\n")
    assert lines[-1] == b""
    records = [json.loads(line) for line in lines[1:-1]]
    found = {record["layout"]: record for record in records}
    assert len(found) == len(records)
    return found


def batch(path, out, processes=1, anew=False):
    return Batch(read_layouts(path), path, None, out, processes, anew)


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """What an uninterrupted batch of one process finds."""
    folder = tmp_path_factory.mktemp("whole")
    path = written(folder)
    batch(path, folder / "out.jsonl").run(silent)
    return results(folder / "out.jsonl")


def test_every_layout_once(whole, tmp_path):
    layouts = read_layouts(written(tmp_path))
    assert sorted(whole) == [number + 1 for number in layouts.choices.numbers()]
    asker = Asker(layouts)
    assert all(whole[n + 1] == asker.ask(n) for n in list(layouts.choices.numbers())[::7])


@pytest.mark.parametrize("left", [0, 1, 40, 99])
def test_stopped_in_a_line_it_goes_on(whole, tmp_path, left):
    path, out = written(tmp_path), tmp_path / "out.jsonl"
    batch(path, out).run(silent)
    lines = out.read_bytes().splitlines(keepends=True)
    for torn in (b"", b'{"layout":', lines[left + 1][:-1]):
        out.write_bytes(b"".join(lines[: left + 1]) + torn)
        told = []
        batch(path, out).run(lambda done, total, now, told=told: told.append((done, total, now)))
        assert told[0] == (left, len(whole), 0)
        assert told[-1] == (len(whole), len(whole), len(whole) - left)
        assert results(out) == whole


def test_two_processes_find_the_same(whole, tmp_path):
    path, out = written(tmp_path), tmp_path / "out.jsonl"
    batch(path, out, processes=2).run(silent)
    assert results(out) == whole


def test_the_order_in_which_they_came_is_forgotten(tmp_path):
    path, out = written(tmp_path), tmp_path / "out.jsonl"
    batch(path, out).run(silent)
    expected = out.read_bytes()
    lines = expected.splitlines(keepends=True)
    shuffled = random.Random(0).sample(lines[1:], len(lines) - 1)
    assert shuffled != lines[1:]
    # All but three were asked, in any order.
    out.write_bytes(b"".join([lines[0], *shuffled[3:]]))
    journal = batch(path, out).run(silent)
    assert out.read_bytes() == expected
    assert list(journal) == [json.loads(line) for line in lines[1:]]


def dying(asker, numbers):
    """As `workers._ask`, but layout 30 ends its process every time, layout 50 once."""
    folder = Path(os.environ["FITCHECK_TEST_FOLDER"])
    for number in numbers:
        once = folder / "died"
        if number == 29 or (number == 49 and not once.exists()):
            once.touch()
            os.kill(os.getpid(), signal.SIGKILL)
    return _ask(asker, numbers)


_ask = workers._ask


def test_a_process_that_dies_costs_no_layout(whole, tmp_path, monkeypatch):
    monkeypatch.setattr(workers, "_ask", dying)
    monkeypatch.setenv("FITCHECK_TEST_FOLDER", str(tmp_path))
    monkeypatch.syspath_prepend(str(TOP / "tests"))
    path = written(tmp_path)
    layouts = read_layouts(path)
    asked = list(Workers(layouts, path, None, 2).ask(layouts.choices.numbers()))
    found = {record["layout"]: record for record in asked}
    assert len(found) == len(asked) == len(whole)
    lost = found.pop(30)
    assert lost["verdict"] is None
    assert lost["mistakes"] == ["the process that asked it ended without an answer"]
    assert found == {number: record for number, record in whole.items() if number != 30}


def test_killed_it_goes_on(tmp_path):
    _killed(tmp_path, 1, kills=2, step=0.5)


@pytest.mark.long
@pytest.mark.parametrize("processes", [1, 2])
def test_killed_twenty_times_it_goes_on(tmp_path, processes):
    _killed(tmp_path, processes, kills=20, step=0.05)


def _lines(path):
    return path.read_bytes().count(b"\n") if path.exists() else 0


def _killed(folder, processes, kills, step):
    """Killed by the system again and again, at any moment: nothing is lost or asked twice."""
    path = written(folder, LAYOUTS.replace("step: 1.5 mm", f"step: {step} mm"))
    whole, out = folder / "whole.csv", folder / "out.csv"
    assert run("batch", path, "--out", whole, "--jobs", 1).returncode == 0
    results_file = out.with_suffix(".jsonl")
    moments = random.Random(processes)
    environment = {**os.environ, "PYTHONPATH": str(TOP)}
    words = ["batch", str(path), "--out", str(out), "--jobs", str(processes)]
    held, all_lines = 0, _lines(whole.with_suffix(".jsonl"))
    reached = set()
    for _ in range(kills):
        going = subprocess.Popen(
            command(*words),
            env=environment,
            start_new_session=True,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        # One in four while it starts, the others some time after a layout was answered, or at the end.
        late = moments.random() > 0.25
        until = time.monotonic() + 30
        while late and max(held, 1) >= _lines(results_file) < all_lines and time.monotonic() < until:
            time.sleep(0.01)
        time.sleep(moments.uniform(0, 0.4))
        # Not waited for until then: its number is still its own.
        os.killpg(going.pid, signal.SIGKILL)
        going.wait()
        lines = _lines(results_file)
        assert lines >= held
        held = lines
        reached |= {lines} if 1 < lines < all_lines else set()
    assert len(reached) >= kills / 4, reached
    assert run(*words).returncode == 0
    for suffix in (".csv", ".jsonl"):
        assert out.with_suffix(suffix).read_bytes() == whole.with_suffix(suffix).read_bytes()
    assert not list(folder.glob("*.part"))


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("scene.yaml", SCENE.replace("wide: 20 mm", "wide: 21 mm")),
        ("layouts.yaml", LAYOUTS.replace("step: 1.5 mm", "step: 3 mm").replace(", 1.5 mm]", "]")),
        ("models/crate.yaml", None),
    ],
)
def test_what_changed_is_noticed(tmp_path, name, text):
    path, out = written(tmp_path), tmp_path / "out.jsonl"
    batch(path, out).run(silent)
    before = out.read_bytes()
    changed = tmp_path / name
    changed.write_text(text or changed.read_text().replace("20, tall", "21, tall"))
    with pytest.raises(Mistakes, match="has changed since; give --anew to begin again, or another --out"):
        batch(path, out).run(silent)
    assert out.read_bytes() == before
    batch(path, out, anew=True).run(silent)
    assert out.read_bytes() != before


def test_another_file_is_not_written_over(tmp_path):
    path, out = written(tmp_path), tmp_path / "out.jsonl"
    for text in ("a letter\n", '{"format": "other/1"}\n{"layout": 1}\n'):
        out.write_text(text)
        with pytest.raises(Mistakes, match="holds no results of layouts"):
            batch(path, out).run(silent)
        assert out.read_text() == text


def test_a_full_disk_loses_nothing(whole, tmp_path):
    """The system itself lets no file grow beyond half of what is to be written."""
    path, out = written(tmp_path), tmp_path / "out.csv"
    journal = out.with_suffix(".jsonl")
    batch(path, journal).run(silent)
    expected = journal.read_bytes()
    journal.unlink()
    got = run("batch", path, "--out", out, "--jobs", 1, most=len(expected) // 2)
    assert got.returncode == 2
    assert got.stderr == f"--out {out}: File too large; what was written before is kept\n"
    assert not out.exists()
    # The last line is torn where the room ended, the others are whole.
    lines = journal.read_bytes().splitlines(keepends=True)
    assert lines[:-1] == expected.splitlines(keepends=True)[: len(lines) - 1]
    assert len(lines) > len(whole) // 3
    assert run("batch", path, "--out", out, "--jobs", 1).returncode == 0
    assert journal.read_bytes() == expected


def test_a_table_that_finds_no_room_leaves_the_old_one(tmp_path):
    path, out = written(tmp_path), tmp_path / "out.csv"
    batch(path, out.with_suffix(".jsonl")).run(silent)
    before = out.with_suffix(".jsonl").read_bytes()
    out.write_text("the old one")
    for plot in ((), ("--plot", tmp_path / "plot.png")):
        got = run("batch", path, "--out", out, *plot, most=1000)
        assert got.returncode == 2
        assert got.stderr == f"--out {out}: File too large; what was written before is kept\n"
        assert out.read_text() == "the old one"
    assert sorted(file.name for file in tmp_path.glob("*.*")) == [
        "layouts.yaml",
        "out.csv",
        "out.jsonl",
        "scene.yaml",
    ]
    assert out.with_suffix(".jsonl").read_bytes() == before


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
@pytest.mark.parametrize("kind", ["jsonl", "csv"])
def test_a_device_without_room(tmp_path, kind):
    path, out = written(tmp_path), tmp_path / "out.csv"
    out.with_suffix(f".{kind}").symlink_to("/dev/full")
    got = run("batch", path, "--out", out, "--jobs", 1)
    assert got.returncode == 2
    assert got.stderr == f"--out {out}: No space left on device; what was written before is kept\n"


def test_a_folder_that_may_not_be_written(tmp_path):
    path, folder = written(tmp_path), tmp_path / "shut"
    folder.mkdir(mode=0o500)
    # Nothing is shut for the system's administrator, but what the kernel itself keeps.
    folder = Path("/sys") if os.access(folder, os.W_OK) else folder
    if not folder.exists():
        pytest.skip("no folder that cannot be written")
    got = run("batch", path, "--out", folder / "out.csv", "--jobs", 1)
    assert got.returncode == 2
    assert re.fullmatch(
        rf"--out {folder}/out.csv: (Permission denied|Read-only file system|Operation not permitted); "
        "what was written before is kept\n",
        got.stderr,
    )


def test_the_command(tmp_path, whole):
    path, out = written(tmp_path), tmp_path / "out.csv"
    got = run("batch", path, "--out", out, "--jobs", 1, "--plot", tmp_path / "plot.png")
    assert got.returncode == 0
    assert got.stderr == f"wrote {out} and {out.with_suffix('.jsonl')}\nwrote {tmp_path / 'plot.png'}\n"
    assert (tmp_path / "plot.png").read_bytes().startswith(b"\x89PNG")
    good = [r for r in whole.values() if r["verdict"] in ("fits", "tight") and not r["missed"]]
    first = got.stdout.splitlines()[0]
    assert first == f"crates: {len(good)} of {len(whole)} layouts fit and meet the demands"
    with out.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [int(row["layout"]) for row in rows] == sorted(whole)
    for row in rows:
        record = whole[int(row["layout"])]
        assert row["verdict"] == record["verdict"]
        assert float(row["least [mm]"]) == record["figures"]["least"]
        assert f"{row['gap [mm]']} mm" == record["values"]["gap"]
        assert row["upper"] == record["values"]["upper"]
    again = run("batch", path, "--out", out)
    assert again.stdout == got.stdout


def test_parquet_holds_what_the_csv_holds_with_types(tmp_path, whole):
    parquet = pytest.importorskip("pyarrow.parquet")
    path = written(tmp_path)
    layouts = read_layouts(path)
    records = [whole[number] for number in sorted(whole)]
    with (tmp_path / "out.parquet").open("wb") as file:
        write_parquet(file, layouts, records)
    table = parquet.read_table(tmp_path / "out.parquet")
    lines = b"".join(layouts_csv(layouts, records)).decode("utf-8-sig")
    rows = list(csv.reader(lines.splitlines()))
    assert table.column_names == rows[0]
    types = {name: str(table.schema.field(name).type) for name in table.column_names}
    assert types == {
        "layout": "int64", "wide [mm]": "double", "gap [mm]": "double", "upper": "string",
        "verdict": "string", "holds": "bool", "least [mm]": "double", "price": "double",
        "missed": "string", "worst": "string", "sentence": "string",
    }  # fmt: skip

    def shown(cell):
        return "" if cell is None else ("no", "yes")[cell] if isinstance(cell, bool) else cell

    for row, cells in zip(rows[1:], table.to_pylist(), strict=True):
        for said, cell in zip(row, cells.values(), strict=True):
            assert said == shown(cell) if isinstance(cell, str | bool | None) else float(said) == cell


def test_columns_of_what_varies(tmp_path):
    """A length in any unit is in mm, a bare number stays one, and what a scene has to work out stays text."""
    scene = SCENE.replace("  high:", "  a: 1\n  b: 1 mm\n  c: 1\n  d: yes\n  e: 0.5\n  f: 1 deg\n  high:")
    text = LAYOUTS.partition("vary:")[0] + (
        "vary: {wide: [1 in, 20, 2 cm], a: [1, 2], b: [wide + 1 mm, 2 mm], d: [yes, no], e: [0.0005, 0.25]}\n"
        "tables: [{columns: [f, high], rows: [[30 deg, low], [-0.5, tall]]}]\n"
    )
    layouts = read_layouts(written(tmp_path, text, scene))
    found = [
        (column.title, str(column.kind), list(cells.values())) for column, cells in varied_columns(layouts)
    ]
    assert found == [
        ("wide [mm]", "number", [25.4, 20.0, 20.0]),
        ("a", "whole", [1, 2]),
        ("b", "text", ["wide + 1 mm", "2 mm"]),
        ("d", "text", ["yes", "no"]),
        ("e", "number", [0.0005, 0.25]),
        ("f [deg]", "number", [30.0, -0.5]),
        ("high", "text", ["low", "tall"]),
    ]
    record = {**numbered(layouts, 0), "verdict": None, "mistakes": ["= not a formula"]}
    row = list(csv.reader(b"".join(layouts_csv(layouts, [record])).decode("utf-8-sig").splitlines()))[1]
    assert row[1:8] == ["25.4", "1", "wide + 1 mm", "yes", "0.0005", "30", "low"]
    assert row[-1] == "'= not a formula"


def test_a_library_that_is_missing_is_said_before_anything_is_asked(tmp_path):
    path = written(tmp_path)
    hidden = "import sys; sys.modules['pyarrow'] = None; import fitcheck.cli as c; c.run()"
    words = [sys.executable, "-c", hidden, "batch", path, "--out", tmp_path / "x.parquet"]
    environment = {**os.environ, "PYTHONPATH": str(TOP)}
    got = subprocess.run(words, capture_output=True, text=True, env=environment, timeout=60, check=False)
    assert got.returncode == 2
    assert "pip install 'fitcheck[parquet]'" in got.stderr
    assert "Traceback" not in got.stderr
    assert not (tmp_path / "x.jsonl").exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("layouts.yaml", "--out", "x.xls"), "write x.jsonl, x.csv, x.parquet"),
        (("layouts.yaml", "--out", "no/such/folder/x.csv"), "No such file"),
        (("layouts.yaml", "--out", "x.csv", "--jobs", "-1"), "--jobs"),
        (
            ("layouts.yaml", "--out", "x.csv", "--jobs", "2", "--cluster", "tcp://127.0.0.1:9"),
            "leave one out",
        ),
        (("layouts.yaml", "--out", "x.csv", "--plot", "x.pdf"), "--plot"),
        (("layuots.yaml", "--out", "x.csv"), "there is no such file"),
        (("rows.csv", "--out", "x.csv"), "give --scene FILE"),
    ],
)
def test_wrong_calls_end_with_2_and_say_why(tmp_path, words, said):
    written(tmp_path)
    (tmp_path / "rows.csv").write_text("wide\n10 mm\n")
    got = run("batch", *(tmp_path / word if "." in word and "-" not in word else word for word in words))
    assert got.returncode == 2
    assert said in got.stderr
    assert "Traceback" not in got.stderr


def test_a_key_stops_it_and_nothing_is_lost(tmp_path, whole):
    path, out = written(tmp_path, LAYOUTS), tmp_path / "out.jsonl"
    slow = (
        "import time, fitcheck.layouts.asked as a, fitcheck.cli\n"
        "ask = a.Asker.ask\n"
        "a.Asker.ask = lambda self, n: (time.sleep(0.2), ask(self, n))[1]\n"
        "fitcheck.cli.run()"
    )
    environment = {**os.environ, "PYTHONPATH": str(TOP)}
    words = [sys.executable, "-c", slow, "batch", str(path), "--out", str(out), "--jobs", "1"]
    going = subprocess.Popen(words, env=environment, stderr=subprocess.PIPE, text=True)
    while not out.exists() or out.read_bytes().count(b"\n") < 4:
        time.sleep(0.05)
    going.send_signal(signal.SIGINT)
    said = going.communicate(timeout=30)[1]
    assert going.returncode == 130
    assert "the same command goes on where it was" in said
    assert "Traceback" not in said
    assert 3 <= len(results(out)) < len(whole)
    assert run("batch", path, "--out", out, "--jobs", 1).returncode == 0
    assert results(out) == whole


@given(
    count=st.integers(0, 3000),
    workers=st.integers(1, 5),
    share=st.integers(1, 2000),
    seed=st.integers(0, 999),
)
@settings(max_examples=60, deadline=None)
def test_shares_deal_every_layout_once(count, workers, share, seed):
    """Whoever asks when: each number once, in runs, and nobody is left without while others have two."""
    dice = np.random.default_rng(seed)
    shares = Shares(iter(range(count)), workers, share)
    dealt: list = []
    while True:
        chunk = shares.next(int(dice.integers(workers)), int(dice.integers(1, 40)))
        if not chunk:
            break
        assert chunk == list(range(chunk[0], chunk[0] + len(chunk)))
        dealt += chunk
    assert sorted(dealt) == list(range(count))
    assert all(shares.next(worker, 5) == [] for worker in range(workers))


def faulty(asker, numbers):
    """As `workers._ask` of a program with a fault."""
    raise ZeroDivisionError("of layout 30")


def test_a_fault_in_a_process_is_told_not_written(tmp_path, monkeypatch):
    monkeypatch.setattr(workers, "_ask", faulty)
    monkeypatch.syspath_prepend(str(TOP / "tests"))
    path = written(tmp_path)
    layouts = read_layouts(path)
    with pytest.raises(ZeroDivisionError, match="of layout 30"):
        list(Workers(layouts, path, None, 2).ask(layouts.choices.numbers()))


@pytest.mark.parametrize("threads", [0, 1])
def test_processes_begin_as_copies_or_anew(whole, tmp_path, monkeypatch, threads):
    """Beside threads that may hold locks a copy is not safe: a new process reads the files itself."""
    path, begun = written(tmp_path), []
    monkeypatch.setattr(workers.threading, "active_count", lambda: 1 + threads)
    monkeypatch.setattr(
        workers, "get_context", lambda method: begun.append(method) or multiprocessing.get_context(method)
    )
    layouts = read_layouts(path)
    found = list(Workers(layouts, path, None, 2).ask(layouts.choices.numbers()))
    assert {record["layout"]: record for record in found} == whole
    assert begun == ["spawn" if threads or sys.platform != "linux" else "fork"] * 2
