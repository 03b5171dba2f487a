"""The commands for many layouts of a scene: thin, one function each."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fitcheck.console import DebugOption, SetOption, app, checked, given_values, refuse, say


@app.command()
def batch(
    layouts: Annotated[
        Path, typer.Argument(metavar="LAYOUTS", help="Layouts file, or a CSV with one layout a row.")
    ],
    out: Annotated[
        Path,
        typer.Option(
            "--out", "-o", metavar="FILE", help="Results: .jsonl as they come; .csv or .parquet at the end."
        ),
    ],
    scene: Annotated[
        Path | None, typer.Option("--scene", metavar="SCENE", help="The scene that a CSV file is about.")
    ] = None,
    jobs: Annotated[int, typer.Option("--jobs", "-j", metavar="N", help="Processes; 0: one a core.")] = 0,
    cluster: Annotated[
        str | None,
        typer.Option(
            "--cluster", metavar="ADDRESS", help="Dask scheduler whose workers ask: tcp://HOST:8786."
        ),
    ] = None,
    anew: Annotated[bool, typer.Option("--anew", help="Throw away results that are there.")] = False,
    sheet: Annotated[
        Path | None, typer.Option("--sheet", metavar="FILE", help="PNG of the best, side by side.")
    ] = None,
    view: Annotated[
        str | None, typer.Option("--view", metavar="NAME", help="View of the scene file, for the sheet.")
    ] = None,
    plot: Annotated[
        Path | None,
        typer.Option("--plot", metavar="FILE", help="PNG of all: heat map of two that vary, lines of more."),
    ] = None,
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="Show no progress.")] = False,
    debug: DebugOption = False,
) -> None:
    """Ask many layouts of a scene; stopped, it goes on where it was.

    Example: fitcheck batch scenes/dome_layouts.yaml --out dome_layouts.csv
    """
    from fitcheck.batching import Asked, run_batch

    run_batch(Asked(layouts, out, scene, jobs, cluster, anew, quiet, sheet, view, plot))


@app.command()
def best(
    layouts: Annotated[Path, typer.Argument(metavar="LAYOUTS", help="Layouts file.")],
    most: Annotated[
        int, typer.Option("--most", metavar="N", help="Layouts asked, about so many at most.")
    ] = 2000,
    as_json: Annotated[bool, typer.Option("--json", help="Write the layout as JSON.")] = False,
    debug: DebugOption = False,
) -> None:
    """Seek the best layout, between the steps too, to 0.01 mm.

    Example: fitcheck best scenes/dome_layouts.yaml
    """
    from fitcheck.seeking import run_best

    run_best(layouts, None, most, as_json)


@app.command("range")
def range_(
    scene: Annotated[str, typer.Argument(metavar="SCENE", help="Scene file.")],
    parameter: Annotated[str, typer.Argument(metavar="PARAMETER", help="Which of its parameters.")],
    from_: Annotated[str | None, typer.Option("--from", help="The least value asked.")] = None,
    to: Annotated[str | None, typer.Option("--to", help="The greatest value asked.")] = None,
    step: Annotated[str | None, typer.Option("--step", help="From one value asked to the next.")] = None,
    set_: SetOption = None,
    runs_too: Annotated[bool, typer.Option("--runs", help="Lay tubes and cables, too: slow.")] = False,
    debug: DebugOption = False,
) -> None:
    """Find which values of a parameter fit, to 0.01 mm, and what stops it beyond.

    Example: fitcheck range scenes/dome_render.yaml setback --from 2 --to 130
    """
    from fitcheck.ranging import run_range

    run_range(scene, parameter, (from_, to), step, given_values(set_), runs_too)


@app.command()
def compare(
    scene: Annotated[str, typer.Argument(metavar="SCENE", help="Scene file; with --layouts a layouts file.")],
    other: Annotated[
        str | None, typer.Argument(metavar="[OTHER]", help="Another scene file; the same if not given.")
    ] = None,
    set_: SetOption = None,
    other_set: Annotated[
        list[str] | None,
        typer.Option("--other-set", metavar="NAME=VALUE", help="Set a parameter of the other; as --set."),
    ] = None,
    layouts: Annotated[
        tuple[int, int] | None, typer.Option("--layouts", metavar="N M", help="Two layouts, by number.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Write the changes as JSON.")] = False,
    debug: DebugOption = False,
) -> None:
    """Compare two scenes or layouts: which findings came, went, changed by how much.

    Example: fitcheck compare scenes/dome_render.yaml --other-set fan_row=3
    """
    from fitcheck.layouts.compare import compare as changes_of
    from fitcheck.outputs.changes import changes_json, changes_text

    if layouts is None:
        before, after = (checked(scene, set_)[1], checked(other or scene, other_set)[1])
    elif other or set_ or other_set:
        refuse("--layouts: two layouts of one file are compared; leave out OTHER, --set and --other-set")
    else:
        from fitcheck.batching import two_reports

        before, after = two_reports(Path(scene), layouts)
    changes = changes_of(before, after)
    say(changes_json(before, after, changes) if as_json else changes_text(before, after, changes))
