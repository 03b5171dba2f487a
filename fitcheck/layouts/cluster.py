"""Layouts asked by the workers of a Dask cluster; one that dies costs no layout.

Workers need not share a disk: what a layout rests on (both files, models of the scene's own, mesh
files) is sent to them, and each works in a folder of its own. They must have the same fitcheck installed;
the digest that the results carry tells whether they have. Dask asks again what a dead worker had in hand.
A chunk that kills workers again and again is asked one layout at a time, and a layout that does so is
answered with what happened.
"""

from __future__ import annotations

import logging
import os
import tempfile
from collections.abc import Iterable, Iterator
from concurrent.futures import CancelledError
from contextlib import suppress
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from threading import Lock
from time import monotonic, perf_counter
from typing import Any

from fitcheck.layouts.asked import Asker
from fitcheck.layouts.journal import digest, models_of
from fitcheck.layouts.read import Layouts
from fitcheck.layouts.workers import AHEAD, Record, chunk_after, lost
from fitcheck.scene.saved import is_mesh

# The scheduler has to answer within so many seconds; so long no worker may be there before we give up.
ANSWERS, ALONE = 10.0, 60.0
# So often it is asked how many workers there are, s.
LOOK = 2.0


class NoCluster(Exception):
    """The cluster cannot be used; says why, and what to do."""


@dataclass(frozen=True)
class Bundle:
    """All that layouts rest on.

    Args:
        layouts: as read; holds the text of both files.
        files: models and meshes by path below the scene's folder: when it changed, ns, and what it holds.
        digest: of the results.
    """

    layouts: Layouts
    files: dict[str, tuple[int, bytes]]
    digest: str


def bundle_of(layouts: Layouts) -> Bundle:
    """Everything beside the installed package that a layout's answer rests on."""
    models = models_of(layouts)
    folder = layouts.scene_path.parent
    written = layouts.scene.data.get("model_folders") or ()
    paths = [path for name in written for path in (folder / name).glob("*.yaml")]
    paths += [path for path in folder.rglob("*") if is_mesh(path)]
    files = {
        Path(os.path.relpath(path, folder)).as_posix(): (path.stat().st_mtime_ns, path.read_bytes())
        for path in sorted(paths)
    }
    return Bundle(layouts, files, digest(layouts, models))


class Site:
    """A worker's own folder with a bundle unpacked, and what asks there."""

    def __init__(self, bundle: Bundle) -> None:
        self.folder = tempfile.TemporaryDirectory(prefix="fitcheck-")
        root = Path(self.folder.name)
        for name, (changed, content) in bundle.files.items():
            path = root / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
            os.utime(path, ns=(changed, changed))
        scene = bundle.layouts.scene_path
        layouts = replace(bundle.layouts, scene_path=root / scene.name)
        if digest(layouts, models_of(layouts)) != bundle.digest:
            raise NoCluster(
                "a worker has another fitcheck or other built-in models than this computer; "
                "install the same version there"
            )
        self._asker = Asker(layouts)
        # How a path begins here, and how it begins where the results are read.
        self._here = f"{root}{os.sep}"
        self._there = str(scene.parent / "x").removesuffix("x")

    def ask(self, number: int) -> Record:
        """What is found out about a layout; files are called as they are where the results are read."""
        record = self._asker.ask(number)
        if "mistakes" in record:
            record["mistakes"] = [said.replace(self._here, self._there) for said in record["mistakes"]]
        return record


# By digest; one layout at a time is asked in a process, however many threads it has.
_sites: dict[str, Site] = {}
_lock = Lock()


def ask_on_worker(bundle: Bundle, numbers: list[int]) -> tuple[list[Record], float]:
    """What is found out about layouts, and how many seconds it took."""
    with _lock:
        if bundle.digest not in _sites:
            _sites.clear()
            _sites[bundle.digest] = Site(bundle)
        begun = perf_counter()
        return [_sites[bundle.digest].ask(number) for number in numbers], perf_counter() - begun


def _as_it_is(bundle: Bundle) -> Bundle:
    """A task that holds the bundle: where the worker that has it dies, Dask does the task again."""
    return bundle


class Cluster:
    """A Dask cluster that asks layouts.

    Args:
        layouts: as read.
        address: of its scheduler, such as tcp://10.0.0.5:8786.
    """

    def __init__(self, layouts: Layouts, address: str) -> None:
        self.layouts, self.address = layouts, address
        self._chunk = 1

    def ask(self, numbers: Iterable[int]) -> Iterator[Record]:
        """Every layout once, in the order in which they are ready.

        Raises:
            NoCluster: no scheduler answers, no worker is left, or they have another fitcheck.
        """
        bundle = bundle_of(self.layouts)
        client = _connected(self.address)
        asked = _Asked(client, client.submit(_as_it_is, bundle, pure=False), self.address)
        try:
            yield from self._answers(asked, iter(numbers))
        except (OSError, CancelledError):
            raise NoCluster("the scheduler has gone") from None
        finally:
            # Chunks in hand are given up, and nothing of ours stays there.
            asked.give_up()

    def _answers(self, asked: _Asked, left: Iterator[int]) -> Iterator[Record]:
        suspects: list[int] = []
        while True:
            # Whoever is suspected is asked alone, so that nobody is blamed for a neighbour.
            if suspects and not asked.running:
                asked.send([suspects.pop(0)], alone=True)
            elif not suspects and not (asked.alone and asked.running):
                for _ in range(max(1, AHEAD * asked.workers()) - len(asked.running)):
                    chunk = list(islice(left, self._chunk))
                    if chunk:
                        asked.send(chunk)
            if not asked.running:
                return
            for chunk, answer in asked.ready():
                if answer is not None:
                    records, seconds = answer
                    self._chunk = chunk_after(len(chunk), seconds)
                    yield from records
                elif asked.alone:
                    yield lost(self.layouts, chunk[0])
                else:
                    suspects += chunk


def _connected(address: str) -> Any:
    try:
        from distributed import Client
    except ImportError:
        raise NoCluster("needs pip install 'fitcheck[cluster]', here and on each worker") from None
    # A scheduler that is not there is said once, in our words.
    for name in ("distributed", "distributed.client"):
        logging.getLogger(name).setLevel(logging.CRITICAL)
    try:
        return Client(address, timeout=ANSWERS)
    except (OSError, ValueError) as why:
        raise NoCluster(f"no scheduler answers there ({str(why).splitlines()[0]})") from None


class _Asked:
    """Chunks that the cluster has in hand."""

    def __init__(self, client: Any, bundle: Any, address: str) -> None:
        self.running: dict[Any, list[int]] = {}
        self.alone = False
        self._client, self._bundle, self._address = client, bundle, address
        self._workers, self._looked, self._alone = 0, -LOOK, monotonic()

    def send(self, chunk: list[int], alone: bool = False) -> None:
        """Hand a chunk to whoever is free; `alone` remembers that nothing else is in hand."""
        self.alone = alone
        future = self._client.submit(ask_on_worker, self._bundle, chunk, pure=False)
        self.running[future] = chunk

    def workers(self) -> int:
        """How many workers there are, looked up now and then.

        Raises:
            NoCluster: there was none for a while.
        """
        now = monotonic()
        if now - self._looked >= LOOK:
            self._workers, self._looked = len(self._client.nthreads()), now
        if self._workers:
            self._alone = now
        elif now - self._alone > ALONE:
            raise NoCluster(
                f"no worker is there for {ALONE:.0f} s; start one with dask worker {self._address}"
            )
        return self._workers

    def ready(self) -> Iterator[tuple[list[int], tuple[list[Record], float] | None]]:
        """Each chunk that is answered, with its records and seconds; None where it kills its workers.

        Raises:
            NoCluster: the scheduler is gone, or a worker cannot ask.
        """
        from distributed import KilledWorker, wait

        self.workers()
        try:
            done = wait(list(self.running), timeout=LOOK, return_when="FIRST_COMPLETED").done
        except TimeoutError:
            return
        for future in done:
            chunk = self.running.pop(future)
            if future.status == "finished":
                yield chunk, future.result()
                continue
            why = future.exception() if future.status == "error" else None
            if isinstance(why, KilledWorker):
                yield chunk, None
            elif isinstance(why, NoCluster):
                raise why
            elif why is None:
                raise NoCluster("the scheduler has gone")
            else:
                raise NoCluster(f"a worker cannot ask: {type(why).__name__}: {why}")

    def give_up(self) -> None:
        """Leave the cluster; what it has in hand is not asked any more."""
        with suppress(OSError):
            if self._client.status == "running":
                self._client.cancel([*self.running, self._bundle])
            self._client.close(timeout=ANSWERS)
