"""The batch command: layouts asked with progress on a terminal, results to a file, a summary at the end."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from time import monotonic

import typer

from fitcheck.console import announce_compilation, reading, refuse, say, tell
from fitcheck.layouts.asked import Asker
from fitcheck.layouts.batch import Batch, Tell
from fitcheck.layouts.cluster import NoCluster
from fitcheck.layouts.journal import Journal
from fitcheck.layouts.read import Layouts, read_layouts
from fitcheck.layouts.summary import Summary, said_figures, said_values, summary
from fitcheck.layouts.whole_file import whole_file
from fitcheck.layouts.workers import cores
from fitcheck.outputs.layouts_parquet import can_write_parquet, write_parquet
from fitcheck.outputs.layouts_text import layouts_csv, summary_text
from fitcheck.outputs.progress import rewritten_line
from fitcheck.report import Report, check_world
from fitcheck.runs.lay import laid
from fitcheck.scene.mistakes import ValueMistake

# So many of the best layouts are drawn on a sheet.
DRAWN = 4
# What results may be written as.
KINDS = (".jsonl", ".csv", ".parquet")


@dataclass(frozen=True)
class Asked:
    """What the command was given.

    Args:
        path: of the layouts file, or of a CSV.
        out: the results.
        scene: that a CSV is about.
        jobs: processes; 0 for one a core.
        cluster: address of a Dask scheduler, whose workers ask instead.
        anew: throw away results that are there.
        quiet: show no progress.
        sheet: where the best are drawn side by side, by `view`.
        plot: where all results are drawn.
    """

    path: Path
    out: Path
    scene: Path | None
    jobs: int
    cluster: str | None
    anew: bool
    quiet: bool
    sheet: Path | None
    view: str | None
    plot: Path | None

    @property
    def results(self) -> Path:
        """The file that results are written to as they come."""
        return self.out.with_suffix(".jsonl")


def run_batch(asked: Asked) -> None:
    """Ask all layouts of a file that were not asked before, and say what they come to."""
    _refuse_what_cannot_be(asked)
    layouts = reading(lambda: read_layouts(asked.path, asked.scene))
    processes = asked.jobs or cores()
    announce_compilation(elsewhere=processes > 1)
    batch = Batch(layouts, asked.path, asked.scene, asked.results, processes, asked.anew, asked.cluster)
    try:
        with rewritten_line(sys.stderr, silent=asked.quiet) as write:
            journal = reading(lambda: batch.run(_telling(write), _tabulating(write)))
        found = summary(layouts, journal)
        _write(asked.out, layouts, journal)
    except NoCluster as why:
        refuse(f"--cluster {asked.cluster}: {why}; what was written before is kept")
    except OSError as why:
        refuse(f"--out {asked.out}: {why.strerror or why}; what was written before is kept")
    except KeyboardInterrupt:
        tell(f"stopped; the same command goes on where it was (results so far in {asked.results})\n")
        raise
    say(summary_text(layouts, found))
    tell(f"wrote {' and '.join(map(str, dict.fromkeys((asked.out, asked.results))))}\n")
    if asked.plot is not None:
        _plot(layouts, journal, found, asked.plot)
    if asked.sheet is not None:
        _draw(layouts, found, asked.sheet, asked.view)
    raise typer.Exit(0 if found.good else 1)


def _refuse_what_cannot_be(asked: Asked) -> None:
    """Before anything is asked: files and options that could not be served at the end."""
    kind = asked.out.suffix.lower()
    if kind not in KINDS:
        refuse(f"--out {asked.out}: write {', '.join(f'{asked.out.stem}{kind}' for kind in KINDS)}")
    if kind == ".parquet" and not can_write_parquet():
        other = asked.out.with_suffix(".csv")
        refuse(f"--out {asked.out}: needs pip install 'fitcheck[parquet]'; {other} does without")
    for option, picture in (("--plot", asked.plot), ("--sheet", asked.sheet)):
        if picture is not None and picture.suffix.lower() != ".png":
            refuse(f"{option} {picture}: write {picture.stem}.png")
    if asked.jobs < 0:
        refuse(f"--jobs {asked.jobs}: write 0 for one process a core, or how many there shall be")
    if asked.jobs and asked.cluster is not None:
        refuse("--jobs is for this computer, --cluster asks others; leave one out")


def _write(out: Path, layouts: Layouts, journal: Journal) -> None:
    """The results as they were asked for, besides the file that they came to."""
    kind = out.suffix.lower()
    if kind == ".csv":
        with whole_file(out) as file:
            file.writelines(layouts_csv(layouts, journal))
    if kind == ".parquet":
        with whole_file(out) as file:
            write_parquet(file, layouts, journal)


def _plot(layouts: Layouts, journal: Journal, found: Summary, path: Path) -> None:
    """Draw all results: a heat map, or parallel lines."""
    from fitcheck.outputs.plots import write_plot

    try:
        with whole_file(path) as file:
            write_plot(file, layouts, journal, found)
    except OSError as why:
        refuse(f"--plot {path}: {why.strerror or why}")
    tell(f"wrote {path}\n")


def _draw(layouts: Layouts, found: Summary, path: Path, view: str | None) -> None:
    """Draw the best layouts side by side; where none fits there is nothing to draw."""
    from fitcheck.outputs.pictures import NoPicture, named_view
    from fitcheck.outputs.pictures.sheet import sheet

    if not found.best:
        tell(f"no layout fits: {path} was not drawn\n")
        return
    asker = Asker(layouts)
    shown = []
    for record in found.best[:DRAWN]:
        world = laid(asker.world(record["layout"] - 1))
        name = f"layout {record['layout']}: {said_values(record)}"
        shown.append((name, ", ".join(said_figures(record)), world, check_world(world, facts=False)))
    try:
        sheet(shown, named_view(shown[0][2], view)).save(path, "PNG")
    except NoPicture as why:
        refuse(f"no picture: {why}", code=3)
    except ValueMistake as why:
        refuse(f"--view {view}: {why.problem}" + (f"; {why.mend}" if why.mend else ""))
    except OSError as why:
        refuse(f"--sheet {path}: {why.strerror or why}")
    tell(f"wrote {path}\n")


def two_reports(path: Path, numbers: tuple[int, int]) -> tuple[Report, Report]:
    """The reports of two layouts of a file, by their numbers from 1."""
    announce_compilation()
    layouts = reading(lambda: read_layouts(path))
    asker = Asker(layouts)
    for number in numbers:
        if not 1 <= number <= layouts.choices.count:
            refuse(f"--layouts {number}: the file has layouts 1 to {layouts.choices.count}")

    def asked() -> tuple[Report, Report]:
        first, second = (check_world(asker.world(number - 1), facts=False) for number in numbers)
        return first, second

    return reading(asked)


def _telling(write: Callable[[str], None]) -> Tell:
    begun = monotonic()

    def tell_of(done: int, total: int, now: int) -> None:
        took = monotonic() - begun
        rate = now / took if took > 0 else 0.0
        said = f"layout {done:,} of {total:,}"
        if now:
            left = (total - done) / rate
            said += f", {rate:.1f} a second, {_duration(left)} left"
        write(said)

    return tell_of


def _tabulating(write: Callable[[str], None]) -> Callable[[int, int], None]:
    return lambda full, cells: write(f"tables of interference: {full:,} of {cells:,} cells")


def _duration(seconds: float) -> str:
    if seconds < 90:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"
