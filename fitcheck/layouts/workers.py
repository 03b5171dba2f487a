"""Layouts asked by several processes; one that dies costs no layout.

Numbers are handed out in small chunks. Where a process dies, what it had in hand is asked again, one
layout at a time; a layout that kills a process of its own is answered with what happened.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from itertools import islice
from multiprocessing import get_context
from pathlib import Path
from time import perf_counter
from typing import Any

from fitcheck.layouts.asked import Asker, numbered
from fitcheck.layouts.read import Layouts, read_layouts

Record = dict[str, Any]
# A chunk takes about so long, s; the first ones are of one layout. So many layouts it has at most.
CHUNK = 1.0
MOST = 500
# Chunks in hand for each process: it never waits for the next one.
AHEAD = 2

_asker: Asker | None = None


def _begin(path: Path, scene: Path | None) -> None:
    """Make a process ready: the one that asks for it stops it, a key does not."""
    global _asker
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _asker = Asker(read_layouts(path, scene))


def _ask(numbers: list[int]) -> tuple[list[Record], float]:
    """What is found out about layouts, and how many seconds it took."""
    assert _asker is not None
    begun = perf_counter()
    return [_asker.ask(number) for number in numbers], perf_counter() - begun


Running = dict["Future[tuple[list[Record], float]]", list[int]]


class Workers:
    """Processes that ask layouts.

    Args:
        layouts: as read from `path`, with `scene` as given.
        count: how many processes; with one, this one asks.
    """

    def __init__(self, layouts: Layouts, path: Path, scene: Path | None, count: int) -> None:
        self.layouts, self.path, self.scene, self.count = layouts, path, scene, count
        self._chunk = 1
        self._pool: ProcessPoolExecutor | None = None

    def ask(self, numbers: Iterable[int]) -> Iterator[Record]:
        """Every layout once, in the order in which they are ready."""
        if self.count == 1:
            asker = Asker(self.layouts)
            yield from (asker.ask(number) for number in numbers)
            return
        left = iter(numbers)
        running: Running = {}
        try:
            while True:
                for _ in range(self.count * AHEAD - len(running)):
                    chunk = list(islice(left, self._chunk))
                    if chunk:
                        running[self._started(self.count).submit(_ask, chunk)] = chunk
                if not running:
                    return
                done, _ = wait(running, return_when=FIRST_COMPLETED)
                if any(isinstance(future.exception(), BrokenProcessPool) for future in done):
                    yield from self._after_a_death(running)
                    running.clear()
                    continue
                for future in done:
                    chunk = running.pop(future)
                    records, seconds = future.result()
                    self._chunk = chunk_after(len(chunk), seconds)
                    yield from records
        finally:
            self._stop()

    def _after_a_death(self, running: Running) -> Iterator[Record]:
        """What is ready is kept; what was in hand is asked in one process, one layout at a time."""
        wait(running)
        self._stop()
        for future, chunk in running.items():
            if future.exception() is None:
                yield from future.result()[0]
                continue
            for number in chunk:
                try:
                    yield from self._started(1).submit(_ask, [number]).result()[0]
                except BrokenProcessPool:
                    self._stop()
                    yield lost(self.layouts, number)
        self._stop()

    def _started(self, count: int) -> ProcessPoolExecutor:
        if self._pool is None:
            # A new process, not a copy of this one: what it computes hangs on nothing done here before.
            context = get_context("spawn")
            self._pool = ProcessPoolExecutor(count, context, _begin, (self.path, self.scene))
        return self._pool

    def _stop(self) -> None:
        if self._pool is not None:
            self._pool.shutdown(wait=True, cancel_futures=True)
            self._pool = None


def chunk_after(layouts: int, seconds: float) -> int:
    """How many layouts the next chunk has, when so many took so long."""
    return max(1, min(MOST, int(CHUNK * layouts / max(seconds, 1e-6))))


def lost(layouts: Layouts, number: int) -> Record:
    """What is written down about a layout that kills whoever asks it."""
    said = ["the process that asked it ended without an answer"]
    return {**numbered(layouts, number), "verdict": None, "mistakes": said}


def cores() -> int:
    """How many processes there may be work for."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
