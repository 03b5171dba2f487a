"""The commands for one scene, and the program itself: thin, one function each."""

from __future__ import annotations

import contextlib
import gc
import json
import os
import sys
import traceback
from pathlib import Path
from typing import Annotated

import typer

from fitcheck.console import (
    CRASH,
    INTERRUPTED,
    DebugOption,
    InchesOption,
    SceneArgument,
    SetOption,
    app,
    checked,
    colour,
    reading,
    refuse,
    say,
    say_lengths,
    tell,
)


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
    inches: InchesOption = False,
    debug: DebugOption = False,
) -> None:
    """Check a scene: does everything fit?

    Exit code 0 fits or tight, 1 fails, 2 wrong input, 3 unknown.

    Example: fitcheck check scenes/dome_render.yaml --set fan_row=5
    """
    from fitcheck.outputs.json import report_json
    from fitcheck.outputs.text import report_text, verdict_line
    from fitcheck.report import exit_code

    if as_json and inches:
        refuse("--json and --inches: JSON is in millimetres; leave one out")
    _, report = checked(scene, set_, facts=as_json, quiet=quiet)
    if as_json:
        say(report_json(report))
    elif quiet:
        say_lengths(verdict_line(report) + "\n", inches)
    else:
        say_lengths(report_text(report, colour=colour(), everything=verbose), inches)
    raise typer.Exit(exit_code(report.verdict, strict))


@app.command()
def render(
    scene: SceneArgument,
    out: Annotated[Path, typer.Option("--out", "-o", metavar="FILE", help="PNG file to write.")],
    view: Annotated[
        str | None, typer.Option("--view", metavar="NAME", help="View of the scene file.")
    ] = None,
    eye: Annotated[
        str | None, typer.Option("--eye", metavar="NAME", help="Seen by these eyes of the rule sight.")
    ] = None,
    set_: SetOption = None,
    debug: DebugOption = False,
) -> None:
    """Draw a scene as a picture, with clearances in colour; or as given eyes see it.

    Example: fitcheck render scenes/dome_render.yaml --out plinth.png --view plinth
    """
    world, report = checked(scene, set_)
    if view is not None and view not in world.views:
        from fitcheck.scene.mistakes import nearest

        near = nearest(view, world.views)
        listed = ", ".join(world.views) or "none"
        refuse(
            f"--view {view}: the scene has no such view (it has {listed})"
            + (f"; write {near}" if near else "")
        )
    from fitcheck.outputs.pictures import NoPicture, render_file
    from fitcheck.scene.mistakes import ValueMistake

    if eye is not None and view is not None:
        refuse("--eye and --view: a picture is of one of the two")
    try:
        render_file(world, report, out, view if eye is None else {"eye": eye})
    except ValueMistake as why:
        asked = f"--view {view}" if eye is None else f"--eye {eye}"
        refuse(f"{asked}: {why.problem}" + (f"; {why.mend}" if why.mend else ""))
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

    world, report = checked(scene, set_)
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
def completion(
    shell: Annotated[str, typer.Argument(metavar="SHELL", help="bash, zsh or fish.")],
    debug: DebugOption = False,
) -> None:
    """Print what makes a shell complete commands, scene files and the parameters of --set.

    Example: fitcheck completion bash >> ~/.bashrc
    """
    from fitcheck.completing import SHELLS, script

    if shell not in SHELLS:
        refuse(f"completion {shell}: write one of {', '.join(SHELLS)}")
    say(script(shell))


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
    inches: InchesOption = False,
    debug: DebugOption = False,
) -> None:
    """Explain a finding: which line, which rule, how measured, how exact, what would mend it.

    Example: fitcheck explain scenes/dome_render.yaml room:drain
    """
    from fitcheck.checks import CHECKS
    from fitcheck.outputs.text import finding_text
    from fitcheck.scene.mistakes import nearest

    _, report = checked(scene, set_)
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
    texts = [finding_text(f, by_name[f.check].how, by_name[f.check].exact) for f in found]
    say_lengths("\n".join(texts), inches)


# Further commands add themselves when they are imported: last, as they are listed.
from fitcheck import cli_adopt as cli_adopt  # noqa: E402
from fitcheck import cli_desk as cli_desk  # noqa: E402
from fitcheck import cli_layouts as cli_layouts  # noqa: E402
from fitcheck import cli_page as cli_page  # noqa: E402
from fitcheck import cli_workshop as cli_workshop  # noqa: E402


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
    if any(name.startswith("_FITCHECK_COMPLETE") for name in os.environ):
        from fitcheck.completing import listen

        listen()
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
        app(prog_name="fitcheck")
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
