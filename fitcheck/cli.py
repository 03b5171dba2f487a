"""The commands: thin, one function each."""

from __future__ import annotations

import contextlib
import gc
import json
import os
import sys
import traceback
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fitcheck.console import CRASH, INTERRUPTED, announce_compilation, colour, reading, refuse, say, tell

if TYPE_CHECKING:
    from fitcheck.report import Report
    from fitcheck.world.world import World

app = typer.Typer(
    name="fitcheck",
    help="Does it fit? Checks the inside of a computer case from a text file.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)

SceneArgument = Annotated[str, typer.Argument(metavar="SCENE", help="Scene file, or - for standard input.")]
SetOption = Annotated[
    list[str] | None,
    typer.Option("--set", metavar="NAME=VALUE", help="Set a scene parameter; may be given several times."),
]
DebugOption = Annotated[
    bool, typer.Option("--debug", help="Show the full trace if the program itself fails.")
]


@app.callback(invoke_without_command=True)
def _main(version: Annotated[bool, typer.Option("--version", help="Show the version.")] = False) -> None:
    if version:
        from fitcheck import __version__

        say(f"fitcheck {__version__}\n")
        raise typer.Exit()


@app.command()
def check(
    scene: SceneArgument,
    set_: SetOption = None,
    as_json: Annotated[bool, typer.Option("--json", help="Write the report as JSON.")] = False,
    strict: Annotated[bool, typer.Option("--strict", help="Count tight and unknown as fails.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="Write the verdict line only.")] = False,
    verbose: Annotated[bool, typer.Option("--verbose", "-v", help="List what fits as well.")] = False,
    debug: DebugOption = False,
) -> None:
    """Check a scene: does everything fit?

    Exit code 0 fits or tight, 1 fails, 2 wrong input, 3 unknown.

    Example: fitcheck check scenes/dome_render.yaml --set fan_row=5
    """
    from fitcheck.outputs.json import report_json
    from fitcheck.outputs.text import report_text, verdict_line
    from fitcheck.report import exit_code

    _, report = _checked(scene, set_, facts=as_json, quiet=quiet)
    if as_json:
        say(report_json(report))
    elif quiet:
        say(verdict_line(report) + "\n")
    else:
        say(report_text(report, colour=colour(), everything=verbose))
    raise typer.Exit(exit_code(report.verdict, strict))


@app.command()
def render(
    scene: SceneArgument,
    out: Annotated[Path, typer.Option("--out", "-o", metavar="FILE", help="PNG file to write.")],
    view: Annotated[
        str | None, typer.Option("--view", metavar="NAME", help="View of the scene file.")
    ] = None,
    set_: SetOption = None,
    debug: DebugOption = False,
) -> None:
    """Draw a scene as a picture, with clearances in colour.

    Example: fitcheck render scenes/dome_render.yaml --out plinth.png --view plinth
    """
    world, report = _checked(scene, set_)
    if view is not None and view not in world.views:
        from fitcheck.scene.mistakes import nearest

        near = nearest(view, world.views)
        listed = ", ".join(world.views) or "none"
        refuse(
            f"--view {view}: the scene has no such view (it has {listed})"
            + (f"; write {near}" if near else "")
        )
    from fitcheck.outputs.pictures import NoPicture, render_file

    try:
        render_file(world, report, out, view)
    except NoPicture as why:
        refuse(f"no picture: {why}", code=3)
    except OSError as why:
        refuse(f"--out {out}: {why.strerror or why}")
    tell(f"wrote {out}\n")


@app.command()
def runs(
    scene: SceneArgument,
    cut_list: Annotated[
        Path | None, typer.Option("--cut-list", metavar="FILE", help="Write what to cut, as CSV.")
    ] = None,
    bends: Annotated[
        Path | None,
        typer.Option("--bend-table", metavar="FILE", help="Write how rigid tubes are bent, as CSV."),
    ] = None,
    set_: SetOption = None,
    debug: DebugOption = False,
) -> None:
    """List tubes and cables: lengths, bends, cut list, bend table.

    Example: fitcheck runs scenes/cabinet_wall.yaml --bend-table bends.csv
    """
    from fitcheck.outputs.run_list import bend_table_file, cut_list_file, run_list

    world, report = _checked(scene, set_)
    for option, file, content in (
        ("--cut-list", cut_list, cut_list_file),
        ("--bend-table", bends, bend_table_file),
    ):
        if file is not None:
            try:
                file.write_bytes(content(world.laid))
            except OSError as why:
                refuse(f"{option} {file}: {why.strerror or why}")
            tell(f"wrote {file}\n")
    say(run_list(world.laid, report.findings))


@app.command()
def models(
    scene: Annotated[
        str | None, typer.Argument(metavar="[SCENE]", help="Also list this scene's own.")
    ] = None,
    debug: DebugOption = False,
) -> None:
    """List all models.

    Example: fitcheck models
    """
    from fitcheck.outputs.catalogue import model_list

    say(reading(lambda: model_list(scene)))


@app.command()
def model(
    name: Annotated[str, typer.Argument(metavar="MODEL", help="Name of a model, or a model file.")],
    debug: DebugOption = False,
) -> None:
    """Describe a model: parameters, faces, ports, holes, openings.

    Example: fitcheck model radiator
    """
    from fitcheck.outputs.catalogue import model_text

    say(reading(lambda: model_text(name)))


@app.command()
def schema(
    kind: Annotated[str, typer.Argument(metavar="KIND", help="scene, model, layouts or result.")],
    debug: DebugOption = False,
) -> None:
    """Print a JSON Schema, for an editor or a program.

    Example: fitcheck schema scene > fitcheck.schema.json
    """
    from fitcheck.outputs.catalogue import SCHEMAS

    if kind not in SCHEMAS:
        refuse(f"schema {kind}: there is no such schema; write one of {', '.join(SCHEMAS)}")
    say(json.dumps(SCHEMAS[kind](), ensure_ascii=False, indent=2) + "\n")


@app.command()
def new(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Scene file to write.")],
    debug: DebugOption = False,
) -> None:
    """Start a commented scene, with its schema beside it for the editor.

    Example: fitcheck new my_machine.yaml
    """
    from fitcheck.outputs.start import write_start

    if file.exists():
        refuse(f"{file}: is there already; name another file")
    try:
        written = write_start(file)
    except OSError as why:
        refuse(f"{file}: {why.strerror or why}")
    tell("".join(f"wrote {path}\n" for path in written))


@app.command()
def explain(
    scene: SceneArgument,
    finding: Annotated[
        str, typer.Argument(metavar="FINDING", help="Id of a finding, as in --json; or its start.")
    ],
    set_: SetOption = None,
    debug: DebugOption = False,
) -> None:
    """Explain a finding: which line, which rule, how measured, how exact, what would mend it.

    Example: fitcheck explain scenes/dome_render.yaml room:drain
    """
    from fitcheck.checks import CHECKS
    from fitcheck.outputs.text import finding_text
    from fitcheck.scene.mistakes import nearest

    _, report = _checked(scene, set_)
    found = [f for f in report.findings if f.id == finding] or [
        f for f in report.findings if f.id.startswith(finding)
    ]
    if not found:
        ids = [f.id for f in report.findings]
        near = nearest(finding, ids)
        refuse(
            f"explain {finding}: no such finding"
            + (f"; write {near}" if near else f"; there are {', '.join(ids)}")
        )
    by_name = {c.name: c for c in CHECKS}
    say("\n".join(finding_text(f, by_name[f.check].how, by_name[f.check].exact) for f in found))


@app.command()
def batch(
    layouts: Annotated[
        Path, typer.Argument(metavar="LAYOUTS", help="Layouts file, or a CSV with one layout a row.")
    ],
    out: Annotated[
        Path,
        typer.Option("--out", "-o", metavar="FILE", help="Results: .jsonl as they come, .csv at the end."),
    ],
    scene: Annotated[
        Path | None, typer.Option("--scene", metavar="SCENE", help="The scene that a CSV file is about.")
    ] = None,
    jobs: Annotated[int, typer.Option("--jobs", "-j", metavar="N", help="Processes; 0: one a core.")] = 0,
    anew: Annotated[bool, typer.Option("--anew", help="Throw away results that are there.")] = False,
    sheet: Annotated[
        Path | None, typer.Option("--sheet", metavar="FILE", help="PNG of the best, side by side.")
    ] = None,
    view: Annotated[
        str | None, typer.Option("--view", metavar="NAME", help="View of the scene file, for the sheet.")
    ] = None,
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="Show no progress.")] = False,
    debug: DebugOption = False,
) -> None:
    """Ask many layouts of a scene; stopped, it goes on where it was.

    Example: fitcheck batch scenes/dome_layouts.yaml --out dome_layouts.csv
    """
    from fitcheck.batching import run_batch

    run_batch(layouts, out, scene, jobs, anew, quiet, sheet, view)


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

    run_range(scene, parameter, (from_, to), step, _values(set_), runs_too)


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
        before, after = (_checked(scene, set_)[1], _checked(other or scene, other_set)[1])
    elif other or set_ or other_set:
        refuse("--layouts: two layouts of one file are compared; leave out OTHER, --set and --other-set")
    else:
        from fitcheck.batching import two_reports

        before, after = two_reports(Path(scene), layouts)
    changes = changes_of(before, after)
    say(changes_json(before, after, changes) if as_json else changes_text(before, after, changes))


def _checked(
    scene: str, given: list[str] | None, facts: bool = False, quiet: bool = False
) -> tuple[World, Report]:
    """Load and check a scene, or end with its mistakes."""
    from fitcheck import check_world, load

    values = _values(given)
    text = sys.stdin.read() if scene == "-" else None
    announce_compilation()
    world = reading(lambda: load(scene, values) if text is None else load(text, values, name="-"))
    world = _laid(world, quiet)
    return world, check_world(world, facts)


def _values(given: list[str] | None) -> dict[str, str]:
    """Values of options `--set`, by name."""
    values = {}
    for item in given or []:
        name, equals, value = item.partition("=")
        if not equals or not name:
            refuse(f"--set {item}: expected NAME=VALUE, such as --set fan_row=5")
        values[name] = value
    return values


def _laid(world: World, quiet: bool) -> World:
    """The world with its runs laid; says what the first search waits for, and which run is searched for."""
    from fitcheck.outputs.progress import rewritten_line
    from fitcheck.runs.lay import is_compiled, laid

    begun = False

    def begin(number: int, run: str) -> None:
        # Asked when there is something to search for: where ways are remembered, no compiler is loaded.
        nonlocal begun
        if not begun and not is_compiled():
            tell("compiling the search for runs; this happens once and takes about a minute …\n")
        begun = True
        write(f"laying runs: {number} of {len(world.wishes)}, {run}")

    with rewritten_line(sys.stderr, silent=quiet) as write:
        return laid(world, begin)


def run() -> None:
    """Run the program and end the process; a crash ends with 70, never with the code of a verdict.

    It ends at once: to take apart what was loaded would cost an eighth of a check.
    """
    # Little of what a run makes is ever thrown away: looking for it costs a tenth of a check.
    gc.set_threshold(1_000_000)
    # Nothing else that is installed has a say in what a file means; to look for it takes time, too.
    os.environ["PYDANTIC_DISABLE_PLUGINS"] = "__all__"
    for stream in (sys.stdout, sys.stderr):
        stream.reconfigure(encoding="utf-8", errors="replace")  # type: ignore[union-attr]
    sys.unraisablehook = _unraisable
    code = _ended()
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(OSError):
            stream.flush()
    os._exit(code)


def _unraisable(lost: sys.UnraisableHookArgs) -> None:
    """End at once where a key stops us inside a call from a library.

    The compiler makes such calls: what they raise is lost, and the library then fails without it.
    """
    if lost.exc_type is not KeyboardInterrupt:
        sys.__unraisablehook__(lost)
        return
    from fitcheck.outputs.progress import WIPE

    if sys.stderr.isatty():
        tell(WIPE)
    os._exit(INTERRUPTED)


def _ended() -> int:
    """Run the command that is asked for; its exit code."""
    try:
        app()
    except SystemExit as end:
        return end.code if isinstance(end.code, int) else int(end.code is not None)
    except KeyboardInterrupt:
        return INTERRUPTED
    except Exception as crash:
        if "--debug" in sys.argv:
            traceback.print_exc()
        else:
            tell(f"fitcheck failed: {type(crash).__name__}: {crash}\nadd --debug for the full trace\n")
        return CRASH
    return 0
