"""The batch command: layouts asked with progress on a terminal, results to a file, a summary at the end."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from time import monotonic

import typer

from fitcheck.console import announce_compilation, reading, refuse, say, tell
from fitcheck.layouts.asked import Asker
from fitcheck.layouts.batch import Batch, Tell
from fitcheck.layouts.read import Layouts, read_layouts
from fitcheck.layouts.summary import Summary, said_figures, said_values, summary
from fitcheck.layouts.workers import cores
from fitcheck.outputs.layouts_text import layouts_table, summary_text
from fitcheck.outputs.progress import rewritten_line
from fitcheck.report import Report, check_world
from fitcheck.runs.lay import laid
from fitcheck.scene.mistakes import ValueMistake

# So many of the best layouts are drawn on a sheet.
DRAWN = 4
# What results may be written as.
KINDS = (".jsonl", ".csv")


def run_batch(
    path: Path,
    out: Path,
    scene: Path | None,
    jobs: int,
    anew: bool,
    quiet: bool,
    sheet: Path | None = None,
    view: str | None = None,
) -> None:
    """Ask all layouts of a file that were not asked before, and say what they come to."""
    if out.suffix.lower() not in KINDS:
        refuse(f"--out {out}: write {' or '.join(f'{out.stem}{kind}' for kind in KINDS)}")
    if jobs < 0:
        refuse(f"--jobs {jobs}: write 0 for one process a core, or how many there shall be")
    layouts = reading(lambda: read_layouts(path, scene))
    announce_compilation(elsewhere=(jobs or cores()) > 1)
    results = out.with_suffix(".jsonl")
    batch = Batch(layouts, path, scene, results, jobs or cores(), anew)
    try:
        with rewritten_line(sys.stderr, silent=quiet) as write:
            journal = reading(lambda: batch.run(_telling(write)))
        found = summary(layouts, journal.records())
        if out != results:
            out.write_bytes(layouts_table(layouts, journal.records()))
    except OSError as why:
        refuse(f"--out {out}: {why.strerror or why}; what was written before is kept")
    except KeyboardInterrupt:
        tell(f"stopped; the same command goes on where it was (results so far in {results})\n")
        raise
    say(summary_text(layouts, found))
    tell(f"wrote {out}\n" if out == results else f"wrote {out} and {results}\n")
    if sheet is not None:
        _draw(layouts, found, sheet, view)
    raise typer.Exit(0 if found.good else 1)


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


def _duration(seconds: float) -> str:
    if seconds < 90:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"
