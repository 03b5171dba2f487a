"""All layouts of a file asked, their results kept as they come; goes on where it stopped."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import numpy as np

from fitcheck.layouts.asked import Asker, ruled_out
from fitcheck.layouts.cluster import Cluster
from fitcheck.layouts.journal import Journal, digest, models_of
from fitcheck.layouts.read import Layouts
from fitcheck.layouts.tables import FREE, UNSURE, Tables
from fitcheck.layouts.workers import Record, Workers

# Layouts looked up in one go.
AT_ONCE = 65_536
# Told after each layout: how many are answered, how many there are, how many it answered itself.
Tell = Callable[[int, int, int], None]


@dataclass(frozen=True)
class Batch:
    """What is asked, and where the results go.

    Args:
        layouts: as read from `path`.
        path: of the layouts file.
        scene: as given beside a CSV file.
        journal: the file of results, JSON Lines.
        processes: how many ask; none of ours where a cluster does.
        cluster: address of the scheduler of a Dask cluster.
        anew: throw away what the file of results holds.
    """

    layouts: Layouts
    path: Path
    scene: Path | None
    journal: Path
    processes: int
    anew: bool = False
    cluster: str | None = None

    def run(self, tell: Tell, tabulating: Callable[[int, int], None] | None = None) -> Journal:
        """Ask what was not asked before.

        Args:
            tell: told after each layout.
            tabulating: told while tables are filled how many cells are, of how many.

        Returns:
            The journal with every layout in order, closed.

        Raises:
            Mistakes: the scene is wrong whatever the layout, or the file of results is about others.
            OSError: the results cannot be written; those before are kept.
            NoCluster: the cluster cannot be used; those before are kept.
        """
        choices = self.layouts.choices
        head = {"digest": digest(self.layouts, models_of(self.layouts)), "layouts": choices.count}
        with Journal(self.journal, head, self.anew) as journal:
            total = choices.count if not choices.excluded else sum(1 for _ in choices.numbers())
            before = len(journal.done)
            tell(before, total, 0)
            answered = 0

            def keep(record: Record) -> None:
                nonlocal answered
                journal.write(record)
                answered += 1
                tell(before + answered, total, answered)

            for record in self._asked(self._to_ask(self._left(journal.done), keep, tabulating)):
                keep(record)
        journal.settle()
        return journal

    def _to_ask(
        self,
        numbers: Iterator[int],
        keep: Callable[[Record], None],
        tabulating: Callable[[int, int], None] | None,
    ) -> Iterator[int]:
        """The layouts that have to be worked out; those that a look-up rules out are answered."""
        tables = Tables(Asker(self.layouts)) if self.layouts.file.measure == "fitting" else None
        if tables is None or not tables.fill(tabulating):
            yield from numbers
            return
        while chunk := list(islice(numbers, AT_ONCE)):
            found = tables.first_clashes(np.array(chunk, np.int64)).tolist()
            for number, place in zip(chunk, found, strict=True):
                if place in (FREE, UNSURE):
                    yield number
                else:
                    keep(ruled_out(self.layouts, number, tables.pairs[place]))

    def _asked(self, numbers: Iterator[int]) -> Iterator[Record]:
        if self.cluster is not None:
            return Cluster(self.layouts, self.cluster).ask(numbers)
        return Workers(self.layouts, self.path, self.scene, self.processes).ask(numbers)

    def _left(self, done: set[int]) -> Iterator[int]:
        return (number for number in self.layouts.choices.numbers() if number + 1 not in done)
