"""A batch of layouts as it is run: stopped, torn, killed, gone on with; and what it says and writes."""

from __future__ import annotations

import csv
import json
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from small_layouts import LAYOUTS, SCENE, written

from fitcheck.layouts import workers
from fitcheck.layouts.asked import Asker, numbered
from fitcheck.layouts.batch import Batch
from fitcheck.layouts.columns import varied_columns
from fitcheck.layouts.journal import Journal
from fitcheck.layouts.read import read_layouts
from fitcheck.layouts.workers import Workers
from fitcheck.outputs.layouts_parquet import write_parquet
from fitcheck.outputs.layouts_text import layouts_csv
from fitcheck.scene.mistakes import Mistakes

TOP = Path(__file__).resolve().parents[1]
RUN = "from fitcheck.cli import run; run()"


def command(*words):
    return [sys.executable, "-c", RUN, *map(str, words)]


def run(*words):
    environment = {**os.environ, "PYTHONPATH": str(TOP)}
    return subprocess.run(
        command(*words), capture_output=True, text=True, env=environment, timeout=120, check=False
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


def dying(numbers):
    """As `workers._ask`, but layout 30 ends its process every time, layout 50 once."""
    folder = Path(os.environ["FITCHECK_TEST_FOLDER"])
    for number in numbers:
        once = folder / "died"
        if number == 29 or (number == 49 and not once.exists()):
            once.touch()
            os.kill(os.getpid(), signal.SIGKILL)
    return _ask(numbers)


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


@pytest.mark.parametrize("seed", [1])
def test_killed_it_goes_on(whole, tmp_path, seed):
    _killed(whole, tmp_path, seed)


@pytest.mark.long
@pytest.mark.parametrize("seed", [0, *range(2, 20)])
def test_killed_it_goes_on_long(whole, tmp_path, seed):
    _killed(whole, tmp_path, seed)


def _killed(whole, tmp_path, seed):
    """Killed by the system as often as it takes, at any moment: nothing is lost or asked twice."""
    path, out = written(tmp_path), tmp_path / "out.jsonl"
    moments = random.Random(seed)
    environment = {**os.environ, "PYTHONPATH": str(TOP)}
    for _ in range(3):
        words = command("batch", path, "--out", out, "--jobs", 1 + seed % 2)
        going = subprocess.Popen(
            words,
            env=environment,
            start_new_session=True,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        time.sleep(moments.uniform(0.5, 4.0))
        os.killpg(going.pid, signal.SIGKILL)
        going.wait()
    assert run("batch", path, "--out", out).returncode == 0
    assert results(out) == whole


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


def test_a_full_disk_loses_nothing(whole, tmp_path, monkeypatch):
    path, out = written(tmp_path), tmp_path / "out.jsonl"
    write, room = Journal.write, [20]

    def full(self, record):
        room[0] -= 1
        if room[0] < 0:
            # As the system does it: part of the line is written.
            self._file.write(b'{"lay')
            raise OSError(28, "No space left on device")
        write(self, record)

    monkeypatch.setattr(Journal, "write", full)
    with pytest.raises(OSError, match="No space"):
        batch(path, out).run(silent)
    monkeypatch.undo()
    batch(path, out).run(silent)
    assert results(out) == whole


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
