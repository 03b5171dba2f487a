"""The command that seeks the best layout."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path

from fitcheck.console import announce_compilation, reading, refuse, say
from fitcheck.layouts.journal import models_of
from fitcheck.layouts.read import Layouts, read_layouts
from fitcheck.layouts.seek import TO, WORST, Best, Seeker
from fitcheck.layouts.summary import said_figures, said_values
from fitcheck.outputs.progress import rewritten_line


def run_best(path: Path, scene: Path | None, most: int, as_json: bool) -> None:
    """Seek the best layout of a file, and say which it is."""
    import typer

    layouts = reading(lambda: read_layouts(path, scene))
    reading(lambda: models_of(layouts))
    announce_compilation()
    with rewritten_line(sys.stderr) as write:

        def tell(asked: int, best: float) -> None:
            so_far = "none holds yet" if best >= WORST else f"best {layouts.rank[0][1]} {abs(best):.1f}"
            write(f"{asked} layouts asked, {so_far}")

        try:
            found = Seeker(layouts, most, tell).seek()
        except ImportError:
            refuse("to seek between the steps scipy is needed: pip install 'fitcheck[search]'")
    if as_json:
        record = found.record or found.nearest
        say(json.dumps({"found": found.record is not None, "asked": found.asked, "complete": found.complete,
                        "layout": record}, indent=2, ensure_ascii=False) + "\n")  # fmt: skip
    else:
        say("".join(f"{line}\n" for line in _lines(layouts, found)))
    raise typer.Exit(0 if found.record is not None else 1)


def _lines(layouts: Layouts, found: Best) -> Iterator[str]:
    how = "every combination asked" if found.complete else (
        f"between the steps too, to {TO:g}; a better one may have been missed"
    )  # fmt: skip
    if found.record is None:
        yield f"no layout holds ({found.asked} asked, {how})"
        if found.nearest is not None:
            yield f"  least is missing with {said_values(found.nearest)}"
            yield from (f"  {said}" for said in _why(found.nearest))
        return
    ranked = ", then ".join(f"{sense} {figure}" for sense, figure in layouts.rank)
    yield f"best by {ranked} ({found.asked} layouts asked, {how}):"
    yield f"  {said_values(found.record)}"
    yield f"  {found.record['verdict']}; {', '.join(said_figures(found.record))}"


def _why(record: dict[str, object]) -> list[str]:
    mistakes = record.get("mistakes")
    if isinstance(mistakes, list):
        return [str(one) for one in mistakes]
    missed = record.get("missed")
    said = [str(record["sentence"])] if "sentence" in record else []
    if isinstance(missed, list) and missed:
        said.append(f"demands not met: {', '.join(map(str, missed))}")
    return said
