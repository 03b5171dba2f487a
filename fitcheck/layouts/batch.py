"""All layouts of a file asked, their results kept as they come; goes on where it stopped."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from fitcheck.layouts.cluster import Cluster
from fitcheck.layouts.journal import Journal, digest, models_of
from fitcheck.layouts.read import Layouts
from fitcheck.layouts.workers import Record, Workers

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

    def run(self, tell: Tell) -> Journal:
        """Ask what was not asked before.

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
            for count, record in enumerate(self._asked(self._left(journal.done)), 1):
                journal.write(record)
                tell(before + count, total, count)
        journal.settle()
        return journal

    def _asked(self, numbers: Iterator[int]) -> Iterator[Record]:
        if self.cluster is not None:
            return Cluster(self.layouts, self.cluster).ask(numbers)
        return Workers(self.layouts, self.path, self.scene, self.processes).ask(numbers)

    def _left(self, done: set[int]) -> Iterator[int]:
        return (number for number in self.layouts.choices.numbers() if number + 1 not in done)
