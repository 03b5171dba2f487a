"""Layouts asked by several processes; one that dies costs no layout.

Each process has a share of numbers of its own, handed out in small chunks. Where a process dies, what it
had in hand is asked again, one layout at a time; a layout that kills a process of its own is answered
with what happened.
"""

from __future__ import annotations

import gc
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from itertools import islice
from multiprocessing import get_context
from multiprocessing.connection import Connection
from multiprocessing.connection import wait as wait_for
from pathlib import Path
from time import perf_counter
from typing import Any

from fitcheck.layouts.asked import Asker, numbered
from fitcheck.layouts.read import Layouts, read_layouts
from fitcheck.world.volumes import use_one_thread

Record = dict[str, Any]
# What is found out about some layouts, and how many seconds it took.
Found = tuple[list[Record], float]
# A chunk takes about so long, s; the first ones are of one layout. So many layouts it has at most.
CHUNK = 1.0
MOST = 500
# A process is dealt out so many layouts that follow each other at most.
SHARE = 100_000
# Chunks in hand for each process: it never waits for the next one.
AHEAD = 2


def _ask(asker: Asker, numbers: list[int]) -> Found:
    """What is found out about layouts."""
    begun = perf_counter()
    return [asker.ask(number) for number in numbers], perf_counter() - begun


def _serve(
    pipe: Connection, of_others: list[Connection], files: tuple[Path, Path | None], layouts: Layouts | None,
    ask: Callable[[Asker, list[int]], Found],
) -> None:  # fmt: skip
    """Answer chunks until the one that asks has no more, or is gone; a key does not stop it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for other in of_others:
        # A copy of the asking process holds its ends too: open they would hide that it is gone.
        other.close()
    use_one_thread()
    asker = Asker(read_layouts(*files) if layouts is None else layouts)
    with suppress(EOFError, BrokenPipeError, ConnectionResetError):
        while True:
            chunk = pipe.recv()
            try:
                pipe.send(ask(asker, chunk))
            except (EOFError, BrokenPipeError, ConnectionResetError):
                raise
            except Exception as wrong:
                # A fault of the program is for whoever asked, not an answer.
                pipe.send(wrong)


class _Worker:
    """A process that asks, and the chunks it has in hand, in order."""

    def __init__(self, files: tuple[Path, Path | None], layouts: Layouts, others: Iterable[_Worker]) -> None:
        # A copy of this process begins at once, with all that was read; safe as long as it has no threads.
        copied = sys.platform == "linux" and threading.active_count() == 1
        context = get_context("fork") if copied else get_context("spawn")
        self.pipe, theirs = context.Pipe()
        shut = [self.pipe, *(other.pipe for other in others)] if copied else []
        given = theirs, shut, files, layouts if copied else None, _ask
        self.process = context.Process(target=_serve, args=given, daemon=True)
        self.in_hand: list[list[int]] = []
        self.process.start()
        theirs.close()

    def give(self, chunk: list[int]) -> None:
        """Have a chunk asked after those before; one that is dead is found out when it is waited for."""
        self.in_hand.append(chunk)
        with suppress(BrokenPipeError, ConnectionResetError):
            self.pipe.send(chunk)

    def take(self) -> Found | None:
        """What was found out about the first chunk in hand; None when the process died over it."""
        try:
            found: Found | Exception = self.pipe.recv()
        except (EOFError, ConnectionResetError):
            return None
        if isinstance(found, Exception):
            raise found
        del self.in_hand[0]
        return found

    def stop(self) -> None:
        """End it without waiting for what it does."""
        self.pipe.close()
        self.process.kill()
        self.process.join()


class Workers:
    """Processes that ask layouts.

    Args:
        layouts: as read from `path`, with `scene` as given.
        count: how many processes; with one, this one asks.
    """

    def __init__(self, layouts: Layouts, path: Path, scene: Path | None, count: int) -> None:
        self.layouts, self.files, self.count = layouts, (path, scene), count
        self._chunk = 1
        self._workers: dict[int, _Worker] = {}

    def ask(self, numbers: Iterable[int]) -> Iterator[Record]:
        """Every layout once, in the order in which they are ready."""
        if self.count == 1:
            asker = Asker(self.layouts)
            yield from (asker.ask(number) for number in numbers)
            return
        share = min(-(-self.layouts.choices.count // self.count), SHARE)
        shares = Shares(iter(numbers), self.count, share)
        # What is here stays: no process has to look through it again and again.
        gc.freeze()
        try:
            while True:
                for which in range(self.count):
                    self._deal(which, shares)
                asked = {one.pipe: which for which, one in self._workers.items() if one.in_hand}
                if not asked:
                    return
                for pipe in wait_for(list(asked)):
                    yield from self._taken(asked[pipe])  # type: ignore[index]
        finally:
            for one in self._workers.values():
                one.stop()
            gc.unfreeze()

    def _deal(self, which: int, shares: Shares) -> None:
        """See that a process has enough in hand; one that has never had anything is not begun for nothing."""
        held = len(self._workers[which].in_hand) if which in self._workers else 0
        for _ in range(AHEAD - held):
            if chunk := shares.next(which, self._chunk):
                self._started(which).give(chunk)

    def _taken(self, which: int) -> Iterator[Record]:
        worker = self._workers[which]
        size = len(worker.in_hand[0])
        found = worker.take()
        if found is None:
            yield from self._after_a_death(which)
            return
        records, seconds = found
        self._chunk = chunk_after(size, seconds)
        yield from records

    def _after_a_death(self, which: int) -> Iterator[Record]:
        """What a process had in hand is asked by a new one, one layout at a time."""
        left = self._ended(which).in_hand
        for number in (number for chunk in left for number in chunk):
            self._started(which).give([number])
            found = self._workers[which].take()
            if found is None:
                self._ended(which)
                yield lost(self.layouts, number)
            else:
                yield from found[0]

    def _started(self, which: int) -> _Worker:
        if which not in self._workers:
            self._workers[which] = _Worker(self.files, self.layouts, self._workers.values())
        return self._workers[which]

    def _ended(self, which: int) -> _Worker:
        worker = self._workers.pop(which)
        worker.stop()
        return worker


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
