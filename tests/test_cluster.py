"""A batch asked by a Dask cluster of processes of this computer: the same results, whoever dies."""

from __future__ import annotations

import json
import os
import pickle
import random
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
import slow_worker
from small_layouts import LAYOUTS, written

from fitcheck.batching import _write
from fitcheck.layouts import cluster, journal
from fitcheck.layouts.asked import Asker
from fitcheck.layouts.batch import Batch
from fitcheck.layouts.cluster import Cluster, NoCluster, Site, bundle_of
from fitcheck.layouts.read import read_layouts
from fitcheck.layouts.workers import lost

distributed = pytest.importorskip("distributed")

TOP = Path(__file__).resolve().parents[1]
RUN = "from fitcheck.cli import run; run()"
ENVIRONMENT = {**os.environ, "PYTHONPATH": f"{TOP}{os.pathsep}{TOP / 'tests'}"}


def silent(done, total, now):
    """Tell nobody."""


@pytest.fixture(scope="module")
def crew(tmp_path_factory):
    """A scheduler with three workers, each a process of its own with a nanny that starts it again."""
    folder = tmp_path_factory.mktemp("crew")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PYTHONPATH", ENVIRONMENT["PYTHONPATH"])
        with distributed.LocalCluster(
            n_workers=3,
            threads_per_worker=1,
            dashboard_address=None,
            local_directory=str(folder),
            silence_logs=50,
        ) as crew:
            yield crew


@pytest.fixture(scope="module")
def local(tmp_path_factory):
    """The files that a plain batch of one process writes."""
    folder = tmp_path_factory.mktemp("local")
    path = written(folder)
    Batch(read_layouts(path), path, None, folder / "out.jsonl", 1).run(silent)
    return folder


def pids(crew):
    return {worker.pid for worker in crew.workers.values()}


def run(path, out, address, *words, patched=""):
    """The command in a process of its own; `patched` runs before it."""
    command = ["batch", str(path), "--out", str(out), "--cluster", address, *words]
    return subprocess.Popen(
        [sys.executable, "-c", patched + RUN, *command],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=ENVIRONMENT,
    )


def lines(path):
    return path.read_bytes().count(b"\n") if path.exists() else 0


def wait_for(claim):
    for _ in range(600):
        if claim():
            return
        time.sleep(0.05)
    raise AssertionError("it never came to that")


def test_the_same_files_as_one_process(crew, local, tmp_path):
    path, out = local / "layouts.yaml", tmp_path / "out.csv"
    plain = Batch(read_layouts(path), path, None, local / "out.jsonl", 1)
    _write(local / "plain.csv", plain.layouts, plain.run(silent))
    going = run(path, out, crew.scheduler_address)
    assert going.communicate(timeout=60)[1] == f"wrote {out} and {out.with_suffix('.jsonl')}\n"
    assert going.returncode == 0
    assert out.with_suffix(".jsonl").read_bytes() == (local / "out.jsonl").read_bytes()
    assert out.read_bytes() == (local / "plain.csv").read_bytes()


def test_a_worker_killed_half_way_costs_nothing(crew, local, tmp_path, monkeypatch):
    monkeypatch.setattr(cluster, "ask_on_worker", slow_worker.slowly)
    path, out = local / "layouts.yaml", tmp_path / "out.jsonl"
    before = pids(crew)
    assert len(before) == 3
    killed = []

    def kill(done, total, now):
        if done >= total // 2 and not killed:
            killed.append(min(before))
            os.kill(killed[0], signal.SIGKILL)

    Batch(read_layouts(path), path, None, out, 1, cluster=crew.scheduler_address).run(kill)
    assert killed
    wait_for(lambda: killed[0] not in pids(crew))
    assert out.read_bytes() == (local / "out.jsonl").read_bytes()


@pytest.mark.long
def test_workers_killed_again_and_again_cost_nothing(crew, local, tmp_path, monkeypatch):
    monkeypatch.setattr(cluster, "ask_on_worker", slow_worker.slowly)
    path, out = local / "layouts.yaml", tmp_path / "out.jsonl"
    rng = random.Random(0)
    moments = iter([*range(5, 100, 15), 1000])
    following = [next(moments)]

    def kill(done, total, now):
        there = sorted(pids(crew) - {None})
        if done >= following[0] and there:
            os.kill(rng.choice(there), signal.SIGKILL)
            following[0] = next(moments)

    Batch(read_layouts(path), path, None, out, 1, cluster=crew.scheduler_address).run(kill)
    assert following == [1000]
    assert out.read_bytes() == (local / "out.jsonl").read_bytes()


@pytest.mark.long
def test_a_layout_that_kills_its_workers_is_answered_with_what_happened(crew, local, monkeypatch):
    monkeypatch.setattr(cluster, "ask_on_worker", slow_worker.deadly)
    layouts = read_layouts(local / "layouts.yaml")
    asked = Cluster(layouts, crew.scheduler_address).ask(layouts.choices.numbers())
    found = {record["layout"]: record for record in asked}
    expected = {r["layout"]: r for r in map(json.loads, (local / "out.jsonl").read_text().splitlines()[1:])}
    assert found.pop(slow_worker.DEADLY + 1) == lost(layouts, slow_worker.DEADLY)
    del expected[slow_worker.DEADLY + 1]
    assert found == expected


@pytest.mark.long
def test_a_key_stops_it_and_the_next_run_goes_on(crew, local, tmp_path):
    path, out = local / "layouts.yaml", tmp_path / "out.jsonl"
    patched = "import slow_worker, fitcheck.layouts.cluster as c; c.ask_on_worker = slow_worker.slowly\n"
    going = run(path, out, crew.scheduler_address, patched=patched)
    wait_for(lambda: lines(out) > 10)
    going.send_signal(signal.SIGINT)
    said = going.communicate(timeout=30)[1]
    assert going.returncode == 130
    # Before it a notice may stand that something is compiled.
    assert (
        said.splitlines(keepends=True)[-1]
        == f"stopped; the same command goes on where it was (results so far in {out})\n"
    )
    assert 10 < lines(out) < lines(local / "out.jsonl")
    going = run(path, out, crew.scheduler_address)
    assert going.communicate(timeout=60)[1] == f"wrote {out}\n"
    assert out.read_bytes() == (local / "out.jsonl").read_bytes()


BLOCK = """\
solid block
facet normal 0 0 -1
outer loop
vertex 0 0 0
vertex 0 9 0
vertex 9 0 0
endloop
endfacet
endsolid block
"""
MESHED = """\
model: meshed
summary: a mesh
parameters: {tall: {type: length, default: 10, range: [1 mm, 20 mm], meaning: z, source: invented}}
solids:
  body: {mesh: {file: block.stl, unit: mm}}
  top: {box: {low: [0, 0, 1], high: [9, 9, tall]}}
"""


@pytest.mark.parametrize("relative", [False, True])
def test_a_worker_needs_no_disk_of_ours(tmp_path, monkeypatch, relative):
    """Files are sent; what is said of them names them as they are called where the results are read."""
    wide = LAYOUTS.replace(
        "wider: {parts: {roof: {with: {width: 150}}}}", "odd: {parts: {roof: {model: meshed}}}"
    )
    path = written(tmp_path / "here", wide)
    (tmp_path / "here/models/meshed.yaml").write_text(MESHED)
    (tmp_path / "here/models/block.stl").write_text(BLOCK)
    if relative:
        monkeypatch.chdir(path.parent)
        path = Path(path.name)
    layouts = read_layouts(path)
    numbers = list(layouts.choices.numbers())
    expected = [Asker(layouts).ask(number) for number in numbers]
    wrong = [record["mistakes"] for record in expected if "mistakes" in record]
    assert any("meshed.yaml:" in said for mistakes in wrong for said in mistakes)
    bundle = bundle_of(layouts)
    monkeypatch.chdir(tmp_path)
    shutil.rmtree(tmp_path / "here")
    site = Site(pickle.loads(pickle.dumps(bundle)))
    assert [site.ask(number) for number in numbers] == expected


def test_another_version_is_refused(tmp_path, monkeypatch):
    bundle = bundle_of(read_layouts(written(tmp_path)))
    monkeypatch.setattr(journal, "__version__", "0.0.0")
    with pytest.raises(NoCluster, match="install the same version there"):
        Site(bundle)


def test_no_scheduler_and_no_worker_are_said(tmp_path, monkeypatch):
    layouts = read_layouts(written(tmp_path))
    monkeypatch.setattr(cluster, "ANSWERS", 0.5)
    with pytest.raises(NoCluster, match="no scheduler answers there"):
        list(Cluster(layouts, "tcp://127.0.0.1:9").ask([0]))
    with pytest.raises(NoCluster, match="no scheduler answers there"):
        list(Cluster(layouts, "somewhere:over").ask([0]))
    monkeypatch.setattr(cluster, "ANSWERS", 10.0)
    monkeypatch.setattr(cluster, "ALONE", 0.5)
    monkeypatch.setattr(cluster, "LOOK", 0.1)
    with (
        distributed.LocalCluster(n_workers=0, dashboard_address=":0", silence_logs=50) as empty,
        pytest.raises(NoCluster, match="no worker is there"),
    ):
        list(Cluster(layouts, empty.scheduler_address).ask([0]))


@pytest.mark.long
def test_a_scheduler_that_dies_is_said_and_nothing_is_lost(local, tmp_path):
    path, out = local / "layouts.yaml", tmp_path / "out.jsonl"
    host = (
        "import distributed, time\n"
        "if __name__ == '__main__':\n"
        "    c = distributed.LocalCluster(n_workers=1, threads_per_worker=1, processes=False,"
        " protocol='tcp', dashboard_address=None, host='127.0.0.1')\n"
        "    print(c.scheduler_address, flush=True)\n"
        "    time.sleep(60)\n"
    )
    hosting = subprocess.Popen(
        [sys.executable, "-c", host],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        env=ENVIRONMENT,
    )
    address = hosting.stdout.readline().strip()
    patched = "import slow_worker, fitcheck.layouts.cluster as c; c.ask_on_worker = slow_worker.slowly\n"
    going = run(path, out, address, patched=patched)
    wait_for(lambda: lines(out) > 10)
    hosting.kill()
    hosting.wait()
    said = going.communicate(timeout=60)[1]
    assert going.returncode == 2
    assert (
        said.splitlines()[-1]
        == f"--cluster {address}: the scheduler has gone; what was written before is kept"
    )
    Batch(read_layouts(path), path, None, out, 1).run(silent)
    assert out.read_bytes() == (local / "out.jsonl").read_bytes()
