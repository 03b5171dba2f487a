"""Layouts asked by several processes; one that dies costs no layout.

Each process has a share of numbers of its own, handed out in small chunks. Where a process dies, what it
had in hand is asked again, one layout at a time; a layout that kills a process of its own is answered
with what happened.
"""

from __future__ import annotations

import os
import signal
from collections import Counter
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
# A process is dealt out so many layouts that follow each other at most.
SHARE = 100_000
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


# What is running: by its future the process that has it in hand, and its layouts.
Running = dict["Future[tuple[list[Record], float]]", tuple[int, list[int]]]


class Workers:
    """Processes that ask layouts.

    Args:
        layouts: as read from `path`, with `scene` as given.
        count: how many processes; with one, this one asks.
    """

    def __init__(self, layouts: Layouts, path: Path, scene: Path | None, count: int) -> None:
        self.layouts, self.path, self.scene, self.count = layouts, path, scene, count
        self._chunk = 1
        # A pool of one for each process, for each gets layouts of its own.
        self._pools: dict[int, ProcessPoolExecutor] = {}

    def ask(self, numbers: Iterable[int]) -> Iterator[Record]:
        """Every layout once, in the order in which they are ready."""
        if self.count == 1:
            asker = Asker(self.layouts)
            yield from (asker.ask(number) for number in numbers)
            return
        share = min(-(-self.layouts.choices.count // self.count), SHARE)
        shares = Shares(iter(numbers), self.count, share)
        running: Running = {}
        try:
            while True:
                busy = Counter(worker for worker, _ in running.values())
                for worker in range(self.count):
                    for _ in range(AHEAD - busy[worker]):
                        if chunk := shares.next(worker, self._chunk):
                            running[self._started(worker).submit(_ask, chunk)] = worker, chunk
                if not running:
                    return
                done, _ = wait(running, return_when=FIRST_COMPLETED)
                dead = {running[one][0] for one in done if isinstance(one.exception(), BrokenProcessPool)}
                for worker in sorted(dead):
                    yield from self._after_a_death(worker, running)
                for future in done & running.keys():
                    _, chunk = running.pop(future)
                    records, seconds = future.result()
                    self._chunk = chunk_after(len(chunk), seconds)
                    yield from records
        finally:
            self._stop()

    def _after_a_death(self, worker: int, running: Running) -> Iterator[Record]:
        """What is ready is kept; what a process had in hand is asked by a new one, one layout at a time."""
        had = {future: chunk for future, (whose, chunk) in running.items() if whose == worker}
        wait(had)
        self._stop(worker)
        for future, chunk in had.items():
            del running[future]
            if future.exception() is None:
                yield from future.result()[0]
                continue
            for number in chunk:
                try:
                    yield from self._started(worker).submit(_ask, [number]).result()[0]
                except BrokenProcessPool:
                    self._stop(worker)
                    yield lost(self.layouts, number)

    def _started(self, worker: int) -> ProcessPoolExecutor:
        if worker not in self._pools:
            # A new process, not a copy of this one: what it computes hangs on nothing done here before.
            context = get_context("spawn")
            self._pools[worker] = ProcessPoolExecutor(1, context, _begin, (self.path, self.scene))
        return self._pools[worker]

    def _stop(self, worker: int | None = None) -> None:
        """Stop one process, or all."""
        for one in [worker] if worker is not None else list(self._pools):
            if one in self._pools:
                self._pools.pop(one).shutdown(wait=True, cancel_futures=True)


class Shares:
    """Layouts dealt out to processes, each a run of numbers that follow each other.

    Layouts that follow each other have most in common, and a process remembers what it worked out: dealt
    out one after the other every process would work out nearly all that one alone would. At the end one
    that has no more takes half of what another has left.

    Args:
        share: so many at once.
    """

    def __init__(self, numbers: Iterator[int], count: int, share: int) -> None:
        self._numbers, self._share = numbers, share
        self._hands: list[list[int]] = [[] for _ in range(count)]

    def next(self, worker: int, most: int) -> list[int]:
        """The next layouts for a process, `most` at most; none when all are dealt out."""
        hand = self._hands[worker]
        if not hand:
            hand += islice(self._numbers, self._share)
        if not hand:
            richest = max(self._hands, key=len)
            half = len(richest) // 2
            hand += richest[half:]
            del richest[half:]
        chunk = hand[:most]
        del hand[:most]
        return chunk


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
